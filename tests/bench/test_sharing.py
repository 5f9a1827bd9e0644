"""What the bench shows of its hub: a sign, who else has this ski, and clashes; no hub, nothing."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from tests.shop import at_stage, demo_file, open_shop
from workbench.bench.hand.hands import Hands
from workbench.bench.panels.panel_text import danger_rows, top_line
from workbench.bench.start import Sharing
from workbench.records.sharing.hub import BenchThere
from workbench.work.job.shop import Shop
from workbench.work.sharing.hubs import Shared, Standing
from workbench.work.sharing.rounds import Round, SetTwice, Version

NOON = datetime(2026, 11, 25, 12, 5, tzinfo=UTC)


class Seen:
    """A watch that stands as it is told to, and an app that hears what is said."""

    def __init__(self, shop: Shop) -> None:
        self.hands = Hands(shop)
        self.shop = shop
        self.told: list[str] = []
        self.hand: tuple[str, str] = ("", "")
        self.standing = Standing("in step", NOON)

    def in_hand(self, who: str, ski: str) -> None:
        self.hand = (who, ski)

    def tell(self, words: str) -> None:
        self.told.append(words)


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with open_shop(demo_file(tmp_path)) as shop:
        yield shop


def look(sharing: Sharing, seen: Seen) -> None:
    sharing._look(seen, seen)  # type: ignore[arg-type]


def text_at(seen: Seen, width: int) -> tuple[str, str]:
    state = seen.hands.state
    above = " ".join(row.plain for row in danger_rows(state, width))
    return top_line(state, width).plain, " ".join(above.split())


@pytest.mark.parametrize("width", [80, 120])
def test_the_sign_says_how_it_stands_and_since_when(shop: Shop, width: int) -> None:
    """In step, behind, alone: a sign and a word in the line at the top; nothing without a hub."""
    seen, sharing = Seen(shop), Sharing(shop.book)
    assert "in step" not in text_at(seen, width)[0]
    look(sharing, seen)
    assert "= in step" in text_at(seen, width)[0]
    seen.standing = Standing("alone", NOON, "no answer", unsent=3)
    look(sharing, seen)
    since = f"{NOON:%H:%M}"
    line = text_at(seen, width)[0]
    assert (f"! alone since {since}, 3 to send" if width > 100 else f"! alone {since}") in line
    assert len(line) <= width
    seen.standing = Standing("behind", NOON, "catching up")
    look(sharing, seen)
    assert "~ behind" in text_at(seen, width)[0]


def test_a_ski_that_somebody_else_has_in_hand_says_who_and_where(shop: Shop) -> None:
    """And the bench says which it has, whose hands are at it."""
    seen, sharing = Seen(shop), Sharing(shop.book)
    view = at_stage(shop, "turning")
    seen.hands.open(view.job.id)
    ski = view.ski.id
    there = BenchThere("b2", "window [bench]", "JT", ski, NOON, NOON, 7, True)
    seen.standing = Standing("in step", NOON, others=(there,))
    look(sharing, seen)
    assert seen.hand == ("KV", ski)
    said = text_at(seen, 80)[1]
    assert f"JT has this ski in hand at 'window [bench]' since {NOON.astimezone():%H:%M}" in said
    seen.standing = Standing("alone", NOON, "no answer")
    look(sharing, seen)
    assert "in hand at" not in text_at(seen, 80)[1]


def test_a_clash_is_told_at_once_and_stays_with_its_ski(shop: Shop) -> None:
    """Both versions; another ski in hand shows nothing of it."""
    seen, sharing = Seen(shop), Sharing(shop.book)
    view = at_stage(shop, "turning")
    seen.hands.open(view.job.id)
    ours, theirs = (
        Version("long bench", "KV", "tail 0.7850 in"),
        Version("boat", "", "tail 0.79 in"),
    )
    found = SetTwice(view.ski.id, view.ski.name, ours, theirs)
    sharing._came.append(Shared("hub", Round(), (found,)))
    look(sharing, seen)
    (told,) = seen.told
    for words in (told, text_at(seen, 80)[1]):
        assert "at long bench (KV) tail 0.7850 in" in words
        assert "at boat tail 0.79 in" in words
    seen.hands.step_queue(1)
    look(sharing, seen)
    assert "set at two" not in text_at(seen, 80)[1]


async def test_without_a_hub_nothing_is_begun(shop: Shop) -> None:
    """The thread, the driver and the looking all wait for a hub that is joined."""
    sharing = Sharing(shop.book)
    app: Any = SimpleNamespace()
    await sharing.keep_up(app, 0.0)
    assert sharing._watch is None
    sharing.stop()
