"""The commands that would change what a turned stud was counted from are refused by its round."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.by_command import Commands, fact
from tests.shop import DAY, heron, open_shop, ski, walk_to
from workbench.work.history.rides import keep_ride


@pytest.fixture
def turned(book: Path) -> str:
    """A ski in hand whose bolts are loosened and whose first stud is turned; its job's id."""
    with open_shop(book) as shop:
        view = walk_to(shop, ski(shop, "Heron 66"), heron(ski(shop, "Heron 66")), "turning")
        keep_ride(shop, view, {"complaints": "1"})
        view = shop.step_done(shop.step_done(shop.view(view.job.id)))
        shop.remember("job", view.job.id)
        assert view.job.day == DAY
        return view.job.id


@pytest.mark.parametrize(
    "words",
    [("aim", "depth", "+.005"), ("aim", "depth", "2.49"), ("aim", "--baseline"), ("aim", "--last"),
     ("aim", "--again"), ("aim", "--setting", "first"), ("finest", "1/16"),
     ("strike", "1", "--reason", "slipped"), ("ride", "--choose", "1")],
)  # fmt: skip
def test_the_pass_comes_first(
    turned: str, book: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...]
) -> None:
    with open_shop(book) as shop:
        before = shop.view(turned).facts
    said = Commands(book, capsys).refused(*words)
    assert "in the middle of a round" in said
    assert "measure first, or take its steps back" in said
    with open_shop(book) as shop:
        assert shop.view(turned).facts == before


def test_a_row_of_the_history_is_struck_out_after_the_pass(
    turned: str, book: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A reading or a target by its id; a note stands in no turn's way."""
    with open_shop(book) as shop:
        view = shop.view(turned)
        note = shop.note(view, "note", "a scratch").facts[-1].id
        target = view.lines[0].target
        assert target is not None
        reading = view.lines[0].latest[0].id
    commands = Commands(book, capsys)
    for row in (reading, target.id):
        assert "middle of a round" in commands.refused("strike", "--row", row, "--reason", "odd")
    commands.run("strike", "--row", note, "--reason", "another ski")


def test_the_queue_says_that_the_clamp_bolts_are_loose(
    turned: str, book: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    commands = Commands(book, capsys)
    commands.run("set-aside", "lunch")
    line = next(x for x in commands.run("queue") if "Heron 66" in x)
    assert "clamp bolts loose  lunch" in line
    assert "clamp bolts are loose" in fact(commands.run("next"), "Caution")
