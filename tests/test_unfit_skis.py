"""A ski that cannot be worked out does not hide the others of its day and its shop."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from pathlib import Path

import pytest

from tests.by_command import Commands, demo_of_today
from tests.shop import open_shop, ski
from workbench.bench.screens.shop.file_screens import ERRANDS, run_errand
from workbench.errors import InputError
from workbench.fin.reading.method import Station
from workbench.records.store.rows import Method
from workbench.work.exchange import exchange
from workbench.work.job.shop import Shop
from workbench.work.paper.day_sheet import UNREAD, day_sheet

WHY = "method 'length, odd' jaw_width: 1e-09 — none: only a depth has one"


def spoil(shop: Shop, name: str) -> set[str]:
    """Give the blade of a ski a method that no blade can be read by; return whom it keeps out."""
    blade = ski(shop, name).ski.blade_id
    odd = Method("", blade, "length, odd", "length", (0.0, 1.0), jaw_width_mm=1e-9)
    shop.book.add_method(odd)
    return {each.name for each in shop.book.skis() if each.blade_id == blade}


def take_a_stud_out(shop: Shop, name: str) -> set[str]:
    """Leave the block of a ski two studs; return whom that keeps out."""
    block = shop.book.block(ski(shop, name).ski.block_id)
    shop.book.correct_block(replace(block, studs=block.studs[:2]), who="KV", reason="odd")
    return {each.name for each in shop.book.skis() if each.block_id == block.id}


@pytest.fixture
def book(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    return demo_of_today(tmp_path, monkeypatch)


@pytest.mark.parametrize("guard", ["off", "on"])
def test_a_day_sheet_has_every_ski_and_says_which_is_unfit(book: Path, guard: str) -> None:
    """The others as they were before; the unfit one with what the queue has of it, and why."""
    with open_shop(book) as shop:
        shop.book.set_setting("guard_band", guard)
        before = {row.ski: row for row in day_sheet(shop).rows}
        unfit = spoil(shop, "Otter 65")
        sheet, lines = day_sheet(shop), {line.ski_name: line for line in shop.roster()}
    assert [row.ski for row in sheet.rows] == list(before)
    assert 0 < len(unfit & set(before)) < len(before)
    for row in sheet.rows:
        if row.ski not in unfit:
            assert row == before[row.ski]
            continue
        assert row.said == f"cannot be worked out: {WHY}"
        assert row.numbers == ((UNREAD, UNREAD),) * 3
        line = lines[row.ski]
        assert (row.rider, row.due, row.glyph, row.stage) == (
            line.rider, line.due, line.glyph, line.stage_words,
        )  # fmt: skip
    assert len(sheet.unfit) == len(unfit & set(before))


def test_day_sheet_is_printed_and_written_with_status_1(
    book: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What could be made is on standard output; each unfit ski is named on the other."""
    with open_shop(book) as shop:
        unfit = spoil(shop, "Otter 65") & {line.ski_name for line in shop.roster()}
        others = {line.ski_name for line in shop.roster()} - unfit
    commands = Commands(book, capsys)
    for form in ((), ("--format", "html"), ("--to", str(tmp_path / "sheets"))):
        status, out, err = commands.all_of("day-sheet", *form)
        assert status == 1
        assert len(err.splitlines()) == len(unfit)
        for line in err.splitlines():
            assert line.removeprefix("quarterturn: ").startswith(tuple(unfit))
            assert WHY in line
    assert "day-" in out
    text = next((tmp_path / "sheets").glob("*.txt")).read_text(encoding="utf-8")
    assert all(name in text for name in unfit | others)


def test_the_histories_of_the_others_are_exported_whole(
    book: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line stands for the unfit ski; the readings, which need no reckoning, are all there."""
    commands = Commands(book, capsys)
    before = _table(commands, 0, "history")
    readings = _table(commands, 0, "readings")
    with open_shop(book) as shop:
        names = take_a_stud_out(shop, "Heron 66")
    after = _table(commands, 1, "history")
    assert 0 < len(names) < len({row["ski"] for row in before})
    assert [r for r in after if r["ski"] not in names] == [
        r for r in before if r["ski"] not in names
    ]
    for row in after:
        if row["ski"] in names:
            assert row["kind"] == "unfit"
            assert row["words"].strip()
    assert {row["ski"] for row in after} == {row["ski"] for row in before} | names
    assert _table(commands, 0, "readings") == readings
    file = tmp_path / "h.csv"
    assert commands.all_of("export-csv", "history", "--to", str(file))[0] == 1
    assert file.exists()


def _table(commands: Commands, status: int, what: str) -> list[dict[str, str]]:
    found, out, err = commands.all_of("export-csv", what)
    assert (found, bool(err)) == (status, status != 0)
    return list(csv.DictReader(io.StringIO(out)))


def test_the_files_screen_says_which_ski_is_unfit(book: Path, tmp_path: Path) -> None:
    with open_shop(book) as shop:
        errand = next(e for e in ERRANDS if e.name == "history")
        assert len(run_errand(errand, shop, str(tmp_path / "a.csv")).lines) == 1
        names = take_a_stud_out(shop, "Heron 66")
        lines = run_errand(errand, shop, str(tmp_path / "b.csv")).lines
    assert {x[2:].partition(" cannot be")[0] for x in lines if x.startswith("! ")} == names


# -- what an exchange does to skis that are here ---------------------------------------------------


@pytest.mark.parametrize("part", ["blade", "method", "ski"])
def test_a_part_that_comes_in_may_not_fit_a_ski_that_was_here(
    book: Path, tmp_path: Path, part: str
) -> None:
    """It is taken in, and every ski that it keeps from the bench is named."""
    theirs = tmp_path / "theirs.db"
    theirs.write_bytes(book.read_bytes())
    with open_shop(book) as shop, open_shop(theirs) as other:
        blade = other.book.blade(ski(other, "Heron 66").ski.blade_id)
        names = {each.name for each in shop.book.skis() if each.blade_id == blade.id}
        if part == "blade":
            other.book.correct_blade(replace(blade, holes=()), who="ML", reason="seen")
        elif part == "method":
            odd = Method(
                "", blade.id, "depth, hole 99", "depth", station=Station((0.0, 0.0), "99", "back")
            )
            other.book.add_method(odd)
        else:
            other.book.correct_ski(replace(other.book.skis()[0], rider="another"))
            names = set()
        path = str(tmp_path / "file.json")
        exchange.export_book(other, path)
        for dry_run in (True, False):
            troubles = exchange.take_in(shop, path, dry_run=dry_run).troubles
            assert {line.partition(" does not fit")[0] for line in troubles} == names
            assert all("hole" in line for line in troubles)
        again = exchange.take_in(shop, path).troubles
    assert again == ()


def test_a_method_that_no_blade_can_be_read_by_does_not_come_in(book: Path, tmp_path: Path) -> None:
    """No entry made it, so that it is refused as other damage is."""
    with open_shop(book) as shop:
        exchange.export_book(shop, str(tmp_path / "file.json"))
        data = json.loads((tmp_path / "file.json").read_text())
        known = next(r for r in data["rows"]["methods"] if r["quantity"] == "length")
        odd_id = known["id"][:-4] + "ffff"
        odd = known | {"id": odd_id, "root": odd_id, "jaw_width_mm": 1e-9}
        data["rows"]["methods"].append(odd)
        (tmp_path / "file.json").write_text(json.dumps(data))
        with pytest.raises(InputError, match=r"jaw_width_mm .*only a depth has one"):
            exchange.take_in(shop, str(tmp_path / "file.json"))
