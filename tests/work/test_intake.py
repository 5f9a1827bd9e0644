"""A day's skis from a CSV: known ones queued, new ones added, all or none, each problem by line."""

from __future__ import annotations

import csv
import io
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.shop import demo_file, open_shop, rows_out
from workbench.errors import InputError
from workbench.records.book import Book
from workbench.records.store.rows import Reading
from workbench.work.exchange import exchange
from workbench.work.exchange.csv_files import CsvWanted, csv_of, write_csv
from workbench.work.exchange.intake import Intake, intake_lines, take_in_skis
from workbench.work.job.shop import Shop
from workbench.work.roster.adding import ensure_starter, known_ski
from workbench.work.text.local_time import day_typed

NEW = 'Gull 66,Ana Ruell,G-1,in,Plate A,"Block one, inch studs",yes,09:00,ridden hard\r\n'
HEADER = "Ski,Rider,Serial,Unit,Blade,Block,Wing,Due,Note\r\n"
TOMORROW = "2026-11-26"


@pytest.fixture
def shop(tmp_path: Path):
    with open_shop(demo_file(tmp_path)) as opened:
        for line in opened.roster():
            opened.book.strike(line.job_id, "an empty day", "KV")
        yield opened


def write(folder: Path, text: str | bytes, name: str = "day.csv") -> str:
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return str(path)


def take(shop: Shop, text: str | bytes, *, dry_run: bool = False) -> Intake:
    return take_in_skis(shop, write(shop.book.path.parent, text), dry_run=dry_run)


def test_a_known_ski_is_queued_and_a_new_one_added(shop: Shop) -> None:
    """In the file's order, with due and note; the ski's own data from the columns."""
    intake = take(shop, HEADER + "Heron 66,,H66-014,,,,,08:30,\r\n" + NEW)
    assert (intake.queued, intake.added, intake.problems) == (("Heron 66",), ("Gull 66",), ())
    lines = shop.roster()
    assert [(x.ski_name, x.due) for x in lines] == [("Heron 66", "08:30"), ("Gull 66", "09:00")]
    job = shop.book.job(lines[1].job_id)
    ski = shop.book.ski(job.ski_id)
    assert (job.note, ski.rider, ski.serial, ski.has_wing) == (
        "ridden hard", "Ana Ruell", "G-1", True)  # fmt: skip
    assert shop.view(lines[1].job_id).stage == "waiting"


def test_a_dry_run_says_what_would_come_and_keeps_nothing(shop: Shop) -> None:
    """The same words, in the conditional."""
    before = rows_out(shop.book)
    intake = take(shop, HEADER + NEW, dry_run=True)
    assert intake_lines(intake) == ["1 ski would be queued: 1 new, 0 known", "+ Gull 66 (new)"]
    assert rows_out(shop.book) == before


def test_one_problem_keeps_all_out_and_each_is_listed_by_line(shop: Shop) -> None:
    """Line numbers are those of the file, quoted line ends and empty lines counted."""
    rows = (
        HEADER + NEW
        + '"Gull\n67",,G-2,in,Plate A,1,no,,\r\n'      # lines 3 and 4
        + "\r\n"
        + ",,G-3,in,Plate A,1,no,,\r\n"                # 6: no name
        + "Gull 68,,G-4,cm,Plate A,1,no,,\r\n"         # 7: unit
        + "Gull 69,,G-5,in,Plate Z,1,no,,\r\n"         # 8: blade
        + "Gull 70,,G-6,in,Plate A,1,maybe,,\r\n"      # 9: wing
        + "Gull 66,,G-1,in,Plate A,1,no,,\r\n"         # 10: twice (and the wing)
        + "Heron 67,,H66-014,,,,,,\r\n"                # 11: the serial is another's
        + "Heron 66,Somebody Else,H66-014,,,,,,\r\n"   # 12: another rider
        + "Gull 71,,G-7,in\r\n"                        # 13: half a row
        + ",,,,,,,,\r\n"                               # 14: empty
        + f"{'x' * 1001},,G-8,in,Plate A,1,no,,\r\n"   # 15: long
    )  # fmt: skip
    before = rows_out(shop.book)
    intake = take(shop, rows)
    assert [(p.line, p.words.split(":")[0]) for p in intake.problems] == [
        (6, "ski"), (7, "unit"), (8, "blade"), (9, "wing"), (10, "wing"), (11, "ski"),
        (12, "rider"), (13, "row"), (15, "ski"),
    ]  # fmt: skip
    assert intake_lines(intake)[-1] == "9 rows to put right; nothing was taken in"
    assert "'Ines Tavary' as the book has it" in intake.problems[6].words
    assert rows_out(shop.book) == before


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "a header and a row for each ski"),
        ("ski\r\n", "a row for each ski"),
        ("rider\r\nA\r\n", "a column 'ski'"),
        ("ski,colour\r\nA,red\r\n", "line 1, header: 'colour'.*columns known here: ski, rider"),
        ("ski,ridr\r\nA,B\r\n", "did you mean 'rider'"),
        ("ski,name\r\nA,B\r\n", "each column once"),
        ("ski;rider,serial\r\nA;B,C\r\n", "one kind of mark.*commas and semicolons"),
        ('ski,rider\r\n"A,B\r\n', "line 2.*quotes closed"),
        ('ski,rider\r\n"A"x,B\r\n', "line 2.*quotes closed"),
        ("ski,rider\r\nA\0,B\r\n", "line 2"),
        (f"ski\r\n{'x' * 200_000}\r\n", "line 2"),
        ("ski\r\nA\r\n".encode("utf-16"), "text in UTF-8"),
        ("ski\r\nMüller\r\n".encode("latin-1"), "text in UTF-8"),
    ],
    ids=range(13),
)
def test_what_is_no_file_of_skis_is_refused_with_its_name(
    shop: Shop, text: str | bytes, words: str
) -> None:
    """File, place, value and what is accepted."""
    with pytest.raises(InputError, match=rf"day\.csv.*{words}"):
        take(shop, text)


@pytest.mark.parametrize("mark", [",", ";", "\t"])
@pytest.mark.parametrize("bom", ["", "\ufeff"])
def test_commas_semicolons_and_tabs_with_and_without_a_mark(
    shop: Shop, mark: str, bom: str
) -> None:
    """Header words in any case, with blanks or underscores."""
    header = ["SKI", " Serial ", "base radius", "Base_Apex", "unit", "blade", "block"]
    row = ["Müller 66", "M-1", "160.0 in", "4 in", "in", "1", "1"]
    take(shop, f"{bom}{mark.join(header)}\n{mark.join(row)}\n")
    ski = next(s for s in shop.book.skis() if s.serial == "M-1")
    assert (ski.name, ski.base_radius_mm) == ("Müller 66", pytest.approx(4064.0))


def test_names_that_could_be_two_skis_are_asked_about(shop: Shop) -> None:
    """A name of two, a serial of two, a name without a serial: never guessed."""
    take(
        shop, HEADER + NEW + NEW.replace("G-1", "G-2") + NEW.replace("G-1", "").replace("66", "67")
    )
    shop.day = TOMORROW
    for line in shop.roster():
        shop.book.strike(line.job_id, "again", "KV")
    rows = HEADER + "Gull 66,,,,,,,,\r\nGull 67,,G-9,in,1,1,,,\r\n"
    first, second = take(shop, rows).problems
    assert "its serial too: 2 skis are called so" in first.words
    assert "the ski of this name has no serial in the book" in second.words


def test_a_ski_that_waits_already_is_a_problem(shop: Shop) -> None:
    """Of an earlier day as well, and twice in one file."""
    take(shop, HEADER + NEW)
    shop.day = TOMORROW
    assert "not in the queue already" in take(shop, HEADER + NEW).problems[0].words
    twice = take(shop, HEADER + "Heron 66,,H66-014,,,,,,\r\nheron 66,,h66-014,,,,,,\r\n")
    assert "each ski once; line 2 has it" in twice.problems[0].words


@pytest.mark.parametrize(("unit", "mm"), [("", 4064.0), ("in", 4064.0), ("mm", 160.0 * 25.4)])
@pytest.mark.parametrize("cell", [None, ""])
def test_a_new_ski_without_a_unit_takes_the_benchs(
    shop: Shop, unit: str, mm: float, cell: str | None
) -> None:
    """The column left out or its cell blank; bare numbers are in it too."""
    if unit:
        shop.book.set_setting("unit", unit)
    radius = "4064" if unit == "mm" else "160"
    header, row = ["ski", "blade", "block", "base radius", "base apex"], ["Gull 66", "1", "1"]
    header += [] if cell is None else ["unit"]
    row += [radius, "4", *([] if cell is None else [cell])]
    intake = take(shop, f"{','.join(header)}\n{','.join(row)}\n")
    assert intake.problems == ()
    ski = next(s for s in shop.book.skis() if s.name == "Gull 66")
    assert (ski.unit, ski.base_radius_mm) == (unit or "in", pytest.approx(mm))


def test_the_ski_alone_is_enough_where_there_is_one_blade_and_one_block(tmp_path: Path) -> None:
    """As the help says."""
    with Book(tmp_path / "young.db") as book:
        ensure_starter(book, "KV")
        young = Shop(book)
        take(young, "ski\nTern 64\n")  # an invented blade is taken by its name alone
        (unknown,) = young.book.skis()
        assert young.view(young.roster()[0].job_id).rig.missing == ("blade", "block")
        young.book.correct_blade(replace(young.book.blades()[0], stand_in=False))
        young.book.correct_block(replace(young.book.blocks()[0], stand_in=False))
        assert take(young, "ski\nGull 66\n").added == ("Gull 66",)
        known = young.book.skis()[-1]
        assert (known.blade_id, known.block_id) != (unknown.blade_id, unknown.block_id)
        assert not young.view(young.roster()[-1].job_id).rig.missing


@pytest.mark.parametrize("cell", ["-5", "2 in", "100mm"])
def test_a_base_radius_that_is_none_is_shown_as_typed(shop: Shop, cell: str) -> None:
    """Not as reckoned in another unit."""
    rows = f"ski,unit,blade,block,base radius,base apex\nGull 66,in,1,1,{cell},4\n"
    (problem,) = take(shop, rows).problems
    assert problem.words.startswith(f"base radius: '{cell}' — a radius of at least 300 mm")


ODD = st.text(alphabet="'=+-@＝;,\"\\x41\t éJ日|", min_size=1, max_size=10)


NAMES = ODD.map(str.strip).filter(bool)


@given(
    names=st.lists(NAMES, min_size=1, max_size=3, unique_by=str.casefold), odd=ODD.map(str.strip)
)
@settings(max_examples=25)
def test_a_queue_written_out_and_taken_in_elsewhere_is_the_same_queue(
    tmp_path_factory: pytest.TempPathFactory, names: list[str], odd: str
) -> None:
    """Every text of it, formulas and all; the second file equals the first byte for byte."""
    folder = tmp_path_factory.mktemp("round")
    with open_shop(demo_file(folder)) as shop, open_shop(demo_file(_sub(folder))) as other:
        for each in (shop, other):
            each.day = "2031-05-06"
            for line in each.roster():
                each.book.strike(line.job_id, "an empty day", "KV")
        template = shop.book.skis()[0]
        for number, name in enumerate(names):
            ski = replace(template, name=name, serial=f"={number}", rider=odd, note=odd, size=odd)
            shop.queue(shop.book.add_ski(ski).id, odd, note=odd)
        path = str(folder / "queue.csv")
        write_csv(shop, CsvWanted("queue"), path)
        intake = take_in_skis(other, path)
        assert intake.problems == ()
        assert b"".join(csv_of(other, CsvWanted("queue"))) == b"".join(
            csv_of(shop, CsvWanted("queue"))
        )


def _sub(folder: Path) -> Path:
    (folder / "other").mkdir()
    return folder / "other"


@given(
    data=st.binary(max_size=300)
    | st.text(alphabet="ski,;\t\"'\n\rrider=x\0", max_size=80).map(str.encode)
)
@settings(max_examples=300)
def test_no_file_crashes_the_intake(fuzzed: Shop, data: bytes) -> None:
    """It is refused, or its problems are listed, or it is a file of skis."""
    path = write(fuzzed.book.path.parent, data, "fuzz.csv")
    with suppress(InputError):
        take_in_skis(fuzzed, path, dry_run=True)


@pytest.fixture(scope="module")
def fuzzed(tmp_path_factory: pytest.TempPathFactory):
    with Book(demo_file(tmp_path_factory.mktemp("fuzz"))) as book:
        yield Shop(book)


def test_files_are_for_their_owner_and_never_over_a_foreign_one(shop: Shop) -> None:
    """A CSV of the same columns may be written over; a letter may not."""
    folder = shop.book.path.parent
    path = str(folder / "r.csv")
    write_csv(shop, CsvWanted("readings", "H66-014"), path)
    write_csv(shop, CsvWanted("readings", "H66-014"), path)
    assert Path(path).stat().st_mode & 0o777 == 0o600
    letter = write(folder, "Dear Ines", "letter.txt")
    with pytest.raises(InputError, match="a file of another kind is there"):
        write_csv(shop, CsvWanted("queue"), letter)
    assert Path(letter).read_text() == "Dear Ines"
    with pytest.raises(InputError, match="a file that can be written"):
        write_csv(shop, CsvWanted("queue"), str(folder / "nowhere" / "q.csv"))


def test_readings_carry_the_number_as_typed_and_in_mm(shop: Shop) -> None:
    """Every reading of the ski, millimetres as plain numbers; struck-out ones say why."""
    ski = known_ski(shop, "H66-014")
    jobs = shop.book.history_of_ski(ski.id)
    readings = [f for job in jobs for f in job.facts if isinstance(f, Reading)]
    shop.book.strike(readings[0].id, "=typed wrong", "KV")
    text = b"".join(csv_of(shop, CsvWanted("readings", "H66-014"))).decode()
    found = list(csv.DictReader(io.StringIO(text, newline="")))
    assert [(row["id"], row["reading"], row["unit"], float(row["mm"])) for row in found] == [
        (f.id, f.text, f.unit, f.mm) for f in readings
    ]
    assert (found[0]["struck_out"], found[0]["reason"]) == ("yes", "'=typed wrong")
    assert {row["struck_out"] for row in found[1:]} == {""}


def test_decimal_commas_and_semicolons_go_out_and_come_in(shop: Shop, tmp_path: Path) -> None:
    """Numbers of ours with a comma; what was typed stays; intake reads its own file and others."""
    text = b"".join(csv_of(shop, CsvWanted("readings", "H66-014", comma=True))).decode()
    plain = b"".join(csv_of(shop, CsvWanted("readings", "H66-014"))).decode()
    found = list(csv.DictReader(io.StringIO(text, newline=""), delimiter=";"))
    points = list(csv.DictReader(io.StringIO(plain, newline="")))
    assert found
    for ours, theirs in zip(found, points, strict=True):
        assert ours["mm"] == theirs["mm"].replace(".", ",")
        assert {**ours, "mm": ""} == {**theirs, "mm": ""}
    ski = shop.book.skis()[0]
    shop.book.correct_ski(replace(ski, base_radius_mm=12000.5))
    path = str(tmp_path / "skis.csv")
    for comma in (False, True, False, True):  # each written over the other
        write_csv(shop, CsvWanted("skis", comma=comma), path)
    assert ";12000,5 mm;" in Path(path).read_text("utf-8")
    with Book(tmp_path / "other.db") as empty:
        other = Shop(empty)
        exchange.export_book(shop, str(tmp_path / "book.json"))
        exchange.take_in(other, str(tmp_path / "book.json"))
        for line in other.roster():
            other.book.strike(line.job_id, "an empty day", "KV")
        assert take_in_skis(other, path, dry_run=True).problems == ()


@pytest.mark.parametrize(
    ("typed", "day"),
    [("2026-11-28", "2026-11-28"), ("28.11.2026", "2026-11-28"), (" 1. 2. 2026", "2026-02-01")],
)
def test_a_day_is_read_in_both_ways(typed: str, day: str) -> None:
    assert day_typed("--day", typed) == day


@pytest.mark.parametrize("typed", ["28/11/2026", "31.2.2026", "28.11.26", "tomorrow", ""])
def test_a_day_that_is_none_or_could_be_two_is_refused(typed: str) -> None:
    with pytest.raises(InputError, match=r"--day.*YYYY-MM-DD, or as 28\.11\.2026"):
        day_typed("--day", typed)
