"""The keys of the bench: one table, which a shop may change, and which everything shows."""

from __future__ import annotations

import pytest

from tests.bench.screens import SIZES, bench
from workbench.bench.action_menu import CHOICES, Sheet
from workbench.bench.bases.forms import Form
from workbench.bench.bases.prompts import Prompt
from workbench.bench.panels.next_line import key_at, keys_line
from workbench.bench.screens.help_screens import Help, entries
from workbench.bench.screens.ski.history_screen import HistoryScreen
from workbench.errors import InputError
from workbench.records.exchange.form import LOCAL_SETTINGS
from workbench.work.job.shop import Shop
from workbench.work.roster import settings
from workbench.work.roster.keys import AS_SHIPPED, SHIPPED, keys_in_force, keys_of


def test_the_table_has_every_action_and_each_key_once() -> None:
    """What the sheet lists, and nothing else."""
    assert set(SHIPPED) == {choice.action for choice in CHOICES}
    keys = [key.casefold() for key in SHIPPED.values() if key]
    assert len(keys) == len(set(keys))
    assert keys_of("") == AS_SHIPPED
    assert keys_of("; ".join(f"{a}={k or 'none'}" for a, k in SHIPPED.items())) == AS_SHIPPED


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("history=w", "w would be that of note and of history"),
        ("history=W", "w would be that of note and of history"),
        ("wing=F8", "F8 would be that of undo_change and of wing"),
        ("wing=]; ride=]", "] would be that of ride and of wing"),
        *[(f"note={key}", f"a caliper types {key}") for key in "0123456789.,+-/"],
        *[(f"note={key}", "meaning that stays") for key in ("Enter", "Tab", "Esc", "F1", "*", "?")],
        ("note=ww", "a letter a to z"),
        ("note=", "a letter a to z"),
        ("note=é", "a letter a to z"),
        ("note=ctrl+a", "a letter a to z"),
        ("note", "an action = its key"),
        ("notes=w", "one of these before the =: take_back"),
        ("note=]; note=[", "each action once"),
    ],
)
def test_what_cannot_be_a_key_is_refused(shop: Shop, text: str, words: str) -> None:
    """A clash with both actions named; nothing is kept, and what is accepted is said."""
    with pytest.raises(InputError, match="keys") as why:
        settings.change(shop, {"keys": text})
    assert words in str(why.value)
    assert shop.book.setting("keys", "") == ""


def test_two_actions_may_exchange_their_keys(shop: Shop) -> None:
    """What is kept names what differs alone; it stays with this bench."""
    settings.change(shop, {"keys": " Note = O ;history=W; add-ski=none;large=none;wing=="})
    kept = shop.book.setting("keys", "") or ""
    assert kept == "note=o; add_ski=none; large=none; history=w; wing=="
    keys, wrong = keys_in_force(kept)
    assert (keys.of("history"), keys.action("O"), keys.of("add_ski"), wrong) == (
        "w",
        "note",
        "",
        "",
    )
    assert settings.in_force(shop)["keys"] == kept
    settings.change(shop, {"keys": ""})
    assert keys_in_force(shop.book.setting("keys", "") or "") == (AS_SHIPPED, "")
    assert "keys" in LOCAL_SETTINGS


async def test_a_changed_key_does_its_action_and_is_shown_everywhere(shop: Shop) -> None:
    """The bench, the sheet, the palette, help, the line of keys and what is due next."""
    settings.change(shop, {"keys": "history=w; note=o; take_back=]; help=F4; add_ski=none"})
    async with bench(shop) as screen:
        state = screen.app.hands.state
        assert "] take back" in screen.shown()
        assert "F4 help" in screen.shown()
        await screen.pilot.press("o")
        assert isinstance(screen.app.screen, Prompt)
        await screen.pilot.press("escape", "w")
        assert isinstance(screen.app.screen, HistoryScreen)
        await screen.pilot.press("w")
        assert not isinstance(screen.app.screen, HistoryScreen)
        await screen.pilot.press("n")
        assert not isinstance(screen.app.screen, Form)
        await screen.pilot.press("f4")
        assert isinstance(screen.app.screen, Help)
        await screen.pilot.press("escape", "slash")
        assert isinstance(screen.app.screen, Sheet)
        row = next(r for r in screen.shown().splitlines() if "write a note" in r)
        assert row.partition("write a note")[2].split()[0] == "o"
        await screen.pilot.press("f4")
        assert isinstance(screen.app.screen, Help)
        assert {e.answer: e.key for e in entries(state)}["note"] == "o"


async def test_a_ski_is_worked_on_by_changed_keys(shop: Shop) -> None:
    """The old key does nothing, and what is due names the new one."""
    settings.change(shop, {"keys": "take_back=]; unfinished=none"})
    async with bench(shop) as screen:
        await screen.by_hand("\n+")
        ticked = screen.view.progress.ticked
        assert ticked
        await screen.pilot.press("u")
        assert screen.view.progress.ticked == ticked
        await screen.pilot.press("right_square_bracket")
        assert screen.view.progress.ticked != ticked


@pytest.mark.parametrize("size", SIZES)
async def test_a_wrong_kept_text_is_told_and_the_keys_are_as_shipped(
    shop: Shop, size: tuple[int, int]
) -> None:
    """As an older bench, or another program, may have left it: never fatal."""
    shop.remember("keys", "history=w")
    async with bench(shop, size) as screen:
        state = screen.app.hands.state
        assert state.keys == AS_SHIPPED
        assert state.tone == "warn"
        assert "as shipped" in screen.shown()
        await screen.pilot.press("w")
        assert isinstance(screen.app.screen, Prompt)


def test_a_sentence_names_the_key_in_force() -> None:
    """Where an action has none, the sheet's key; words that are no keys stay."""
    keys = keys_of("take_back=]; retarget=y; theme=t; queue=none; card=F3")
    assert keys.said("Out of reach: u takes it back.") == "Out of reach: ] takes it back."
    assert keys.said("t opens the target.") == "y opens the target."
    assert keys.said("z: the day's queue.") == "/: the day's queue."
    assert keys.said("a shows its card, n adds a ski.") == "F3 shows its card, n adds a ski."
    assert keys.said("a ski's block, u 0.0003") == "a ski's block, u 0.0003"
    assert AS_SHIPPED.said("u takes it back") == "u takes it back"


def test_the_line_of_keys_is_hit_where_it_is_drawn() -> None:
    """With changed keys too; one that is taken away leaves no gap."""
    keys = keys_of("take_back=F4; help=none")
    for narrow in (False, True):
        row = keys_line(narrow, keys).plain
        assert key_at(row.index("F4"), narrow, keys) == "F4"
        assert key_at(row.index("more"), narrow, keys) == "/"
        assert "help" not in row
