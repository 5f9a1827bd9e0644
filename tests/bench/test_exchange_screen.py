"""Errands with files at the bench: a look first, F2 does it, and no burst answers."""

from __future__ import annotations

import csv
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import pytest
from textual.pilot import Pilot

from tests.bench.screens import SIZES, Screen, bench
from tests.bench.test_terminal import Terminal
from tests.shop import DAY, demo_file, open_shop
from workbench.bench import start
from workbench.bench.app import Bench
from workbench.bench.bases.forms import Form
from workbench.bench.screens.shop.file_screens import (
    ERRANDS,
    ExchangeScreen,
    Outcome,
    ReportScreen,
    TrialScreen,
)
from workbench.records.book import Book
from workbench.work.exchange import exchange
from workbench.work.exchange.backup import back_up_today
from workbench.work.job.shop import Shop

HEADER = "ski,serial,unit,blade,block,due\n"
NEW = "Gull 66,G-1,in,Plate A,1,09:00\n"


async def open_files(screen: Screen) -> ExchangeScreen:
    screen.app.do_("exchange")
    await screen.settle()
    top = screen.app.screen
    assert isinstance(top, ExchangeScreen)
    return top


async def errand(screen: Screen, letter: str, path: str) -> None:
    """Choose an errand by its letter, give a path, press F2, and wait until it is done."""
    await screen.pilot.press(letter)
    await screen.settle()
    form = screen.app.screen
    assert isinstance(form, Form)
    form.current.value = path
    await screen.pilot.press("f2")
    await done(screen)


async def done(screen: Screen) -> None:
    await screen.pilot.pause()
    for _ in range(200):
        files = next(s for s in screen.app.screen_stack if isinstance(s, ExchangeScreen))
        if not files._busy:
            break
        await screen.pilot.pause(0.02)
    await screen.settle()


def test_each_errand_has_a_letter_of_its_own() -> None:
    """A letter for each, and hints that fit 80 columns."""
    assert len({e.key for e in ERRANDS}) == len(ERRANDS)
    assert all(len(e.hint) <= 47 for e in ERRANDS)


async def test_book_and_ski_go_out(shop: Shop, tmp_path: Path) -> None:
    """To the paths typed; what was written stands in words."""
    async with bench(shop) as screen:
        await open_files(screen)
        await errand(screen, "b", str(tmp_path / "book.json"))
        assert "Written: " in screen.shown()
        await errand(screen, "s", str(tmp_path / "ski.json"))
    assert (tmp_path / "book.json").stat().st_size > (tmp_path / "ski.json").stat().st_size > 0


async def test_every_csv_of_the_command_line_goes_out(shop: Shop, tmp_path: Path) -> None:
    """The history of all skis or of the one in hand alone."""
    async with bench(shop) as screen:
        screen.app.hands.open(next(x.job_id for x in shop.roster() if x.ski_name == "Heron 67"))
        await open_files(screen)
        for letter in "qlrho":
            await errand(screen, letter, str(tmp_path / f"{letter}.csv"))
            assert "Written: " in screen.shown()
    skis = {
        letter: {row["ski"] for row in csv.DictReader(file.read_text("utf-8-sig").splitlines())}
        for letter in "qlrho"
        if (file := tmp_path / f"{letter}.csv")
    }
    assert skis["o"] == {"Heron 67"}
    assert skis["o"] < skis["h"] == skis["l"]
    assert skis["q"] <= skis["l"]


async def test_a_file_is_looked_at_first_and_f2_takes_it_in(shop: Shop, tmp_path: Path) -> None:
    """Escape leaves the book as it was."""
    (tmp_path / "b").mkdir()
    file = str(tmp_path / "theirs.json")
    with open_shop(demo_file(tmp_path / "b")) as other:
        other.book.set_setting("shop", "Theirs")
        exchange.export_book(other, file)
    async with bench(shop) as screen:
        await open_files(screen)
        await errand(screen, "i", file)
        assert isinstance(screen.app.screen, TrialScreen)
        assert "Would take in: 1 setting" in screen.shown()
        await screen.pilot.press("escape")
        await screen.settle()
        assert shop.book.setting("shop") == "The boathouse (demo)"
        await errand(screen, "i", file)
        await screen.pilot.press("f2")
        await done(screen)
        assert shop.book.setting("shop") == "Theirs"
        assert "Taken in: 1 setting" in screen.shown()
        await errand(screen, "i", file)
        assert "Nothing new in this file" in screen.shown()


async def test_a_csv_with_problems_is_listed_and_not_taken_in(shop: Shop, tmp_path: Path) -> None:
    """A line for each problem; F2 does nothing there; a good file stands in the roster at once."""
    path = tmp_path / "day.csv"
    path.write_text(HEADER + NEW + "Gull 67,G-2,cm,Plate A,1,\n")
    async with bench(shop) as screen:
        await open_files(screen)
        await errand(screen, "c", str(path))
        assert isinstance(screen.app.screen, ReportScreen)
        assert "✗ line 3, unit: 'cm'" in screen.shown()
        await screen.pilot.press("f2", "escape")
        await screen.settle()
        path.write_text(HEADER + NEW)
        await errand(screen, "c", str(path))
        await screen.pilot.press("f2")
        await done(screen)
        await screen.pilot.press("escape")
        await screen.settle()
        assert "Gull 66" in [line.ski_name for line in screen.app.hands.state.roster]


async def test_what_cannot_be_done_is_said(shop: Shop, tmp_path: Path) -> None:
    """A file that is none, a folder that is not there, a blank path."""
    async with bench(shop) as screen:
        await open_files(screen)
        await errand(screen, "i", str(tmp_path / "x"))
        assert "a file that is there" in " ".join(screen.shown().split())
        await errand(screen, "b", str(tmp_path / "no" / "x.json"))
        assert "a file that can be written" in " ".join(screen.shown().split())
        await errand(screen, "q", " ")
        assert isinstance(screen.app.screen, Form)


async def test_a_backup_is_one_key(shop: Shop) -> None:
    """And stands in the list."""
    async with bench(shop) as screen:
        await open_files(screen)
        assert "No daily backup yet" in screen.shown()
        await screen.pilot.press("k")
        await done(screen)
        assert "Daily backups:" in screen.shown()
    assert len(list((shop.book.path.parent / "backups").iterdir())) == 1


@pytest.mark.parametrize("size", SIZES)
async def test_a_burst_is_held_and_changes_nothing(
    shop: Shop, tmp_path: Path, size: tuple[int, int]
) -> None:
    """On the list, and on the screen that waits for F2."""
    path = tmp_path / "day.csv"
    path.write_text(HEADER + NEW)
    async with bench(shop, size) as screen:
        await open_files(screen)
        screen.burst("+6.9365\n")
        await screen.settle()
        assert isinstance(screen.app.screen, ExchangeScreen)
        assert screen.held() == ["+6.9365"]
        await errand(screen, "c", str(path))
        screen.burst("2.4505\n")
        await screen.settle()
        assert isinstance(screen.app.screen, TrialScreen)
        assert screen.held() == ["+6.9365", "2.4505"]
        assert not any(ski.name == "Gull 66" for ski in shop.book.skis())


# As looked at ------------------------------------------------------------------------------

Before = Callable[[Pilot[Any]], Awaitable[None]]


@pytest.fixture
def still(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """A bench whose paths are short and the same everywhere."""
    monkeypatch.chdir(tmp_path)
    demo_file(tmp_path)
    with Book("demo.db") as book:
        yield Shop(book, day=DAY, who="KV")


@pytest.mark.parametrize("size", SIZES, ids=["wide", "narrow"])
def test_the_list_looks_as_it_did(still: Shop, snap_compare: Any, size: tuple[int, int]) -> None:
    """The picture is the one that was looked at and found good."""

    async def before(pilot: Pilot[Any]) -> None:
        pilot.app.do_("exchange")  # type: ignore[attr-defined]
        await pilot.pause(0.2)

    assert snap_compare(Bench(still), terminal_size=size, run_before=before)


@pytest.mark.parametrize("size", SIZES, ids=["wide", "narrow"])
def test_the_look_at_a_file_looks_as_it_did(
    still: Shop, snap_compare: Any, size: tuple[int, int]
) -> None:
    """What is new, what is here already, and what needs a person."""
    outcome = Outcome(
        (
            "Would take in: 2 skis, 1 job, 12 readings",
            "Here already: 650 rows, left as they are",
            "! serial 'H67-003' stands for 'Heron 67' and 'Heron 67 R': correct one, or strike it "
            "out",
            "! ski 'Heron 66' was corrected on both benches: the later one is in force, look it "
            "over",
            "✗ line 3, unit: 'cm' — 'in' or 'mm'",
            "+ Gull 66 (new)",
        ),
        ready=True,
    )

    async def before(pilot: Pilot[Any]) -> None:
        pilot.app.push_screen(TrialScreen(outcome, lambda: None))
        await pilot.pause(0.2)

    assert snap_compare(Bench(still), terminal_size=size, run_before=before)


def test_the_bench_makes_the_days_backup_by_itself(tmp_path: Path) -> None:
    """After the first paint, and again on leaving with what was kept since."""
    path = demo_file(tmp_path)
    folder = tmp_path / "backups"
    bench = Terminal("--book", str(path))
    try:
        bench.wait_for(b"Heron 66")
        for _ in range(100):
            bench.rest(0.1)
            if folder.is_dir() and any(folder.glob("demo.*-*-*.db")):
                break
        (copy,) = folder.glob("demo.*-*-*.db")
        with Book(path) as other:
            other.set_setting("shop", "Written meanwhile")
        bench.write(b"q")
        assert bench.status() == 0
    finally:
        bench.close()
    with Book(copy) as kept:
        assert kept.setting("shop") == "Written meanwhile"


def test_leaving_a_book_begun_anew_says_what_is_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The day's copy is of the lost book and holds more."""
    path = demo_file(tmp_path)
    with Book(path) as book:
        back_up_today(book)
    path.unlink()
    monkeypatch.setattr(start, "_open", lambda *_given, **_named: 0)
    with Book(path) as book:
        assert start._open_and_back_up(book, "") == 0
    (kept,) = (tmp_path / "backups").glob("demo.*.2.db")
    assert f"it is kept as {kept}" in capsys.readouterr().err
