"""Exchange files: the same for equal books, refused in words, conflicts said and never guessed."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.shop import demo_file, heron, open_shop, read, rows_out, ski, walk_to
from workbench.errors import InputError
from workbench.measure.lengths import understand
from workbench.records.book import Book
from workbench.records.exchange import arrivals, rows_in
from workbench.work.exchange import exchange, exchange_file
from workbench.work.exchange.exchange_words import exported_lines, taken_in_lines
from workbench.work.job.aim_last import aim_at_last
from workbench.work.job.entry import Typed
from workbench.work.job.shop import Shop
from workbench.work.job.temperature import state_temperature
from workbench.work.roster import baselines, calipers
from workbench.work.study import offsets


@pytest.fixture
def other(tmp_path: Path) -> Iterator[Shop]:
    with Book(tmp_path / "other.db", bench="other") as book:
        yield Shop(book, who="ML")


def file_of(shop: Shop, folder: Path, name: str = "book.json") -> str:
    path = str(folder / name)
    exchange.export_book(shop, path)
    return path


def test_a_day_at_two_benches_ends_in_equal_files(shop: Shop, tmp_path: Path) -> None:
    """Each works on skis of its own and both on one; files both ways; byte for byte the same."""
    (tmp_path / "b").mkdir()
    with open_shop(demo_file(tmp_path / "b"), who="ML") as other:
        walk_to(shop, ski(shop, "Heron 66"), heron(ski(shop, "Heron 66")), "within")
        walk_to(other, ski(other, "Heron 66"), heron(ski(other, "Heron 66")), "studs")
        shop.note(ski(shop, "Lark 64"), "note", "ours")
        other.book.correct_ski(other.book.skis()[2])
        ours, theirs = file_of(shop, tmp_path), file_of(other, tmp_path, "theirs.json")
        brought = exchange.take_in(shop, theirs)
        exchange.take_in(other, ours)
        assert (
            Path(file_of(shop, tmp_path)).read_bytes()
            == Path(file_of(other, tmp_path, "theirs.json")).read_bytes()
        )
        assert shop.roster() == other.roster()
        said = "\n".join(taken_in_lines(brought))
        assert f"! 'Heron 66' of {shop.day} was worked on at both benches" in said


def test_a_file_is_plain_ascii_and_says_what_it_is(shop: Shop, tmp_path: Path) -> None:
    """So that no name in it acts on a terminal or an editor."""
    template = shop.book.skis()[0]
    shop.book.add_ski(replace(template, name="\x1b[31m\u202e深"))
    path = Path(file_of(shop, tmp_path))
    text = path.read_bytes()
    assert all(32 <= byte < 127 or byte == 10 for byte in text)
    data = json.loads(text)
    assert (data["format"], data["version"], data["holds"]) == (exchange_file.FORMAT, 1, "book")
    assert path.stat().st_mode & 0o777 == 0o600


def test_one_ski_opens_on_another_bench(shop: Shop, other: Shop, tmp_path: Path) -> None:
    """With its stage and all its numbers."""
    view = ski(shop, "Heron 66")
    done = exchange.export_ski(shop, view.ski.serial, str(tmp_path / "ski.json"))
    assert exported_lines(done)[0].startswith("Written: ")
    taken = exchange.take_in(other, str(tmp_path / "ski.json"))
    assert taken.troubles == ()
    there = other.view(view.job.id)
    assert (there.stage, there.ski, there.facts) == (view.stage, view.ski, view.facts)


def test_a_dry_run_says_the_same_and_keeps_nothing(shop: Shop, other: Shop, tmp_path: Path) -> None:
    """In the conditional; ids to come do not follow it either."""
    path = file_of(shop, tmp_path)
    tried = taken_in_lines(exchange.take_in(other, path, dry_run=True))
    assert not other.book.skis()
    done = taken_in_lines(exchange.take_in(other, path))
    assert tried[0].replace("Would take in", "Taken in") == done[0]
    assert tried[1:] == done[1:]
    assert len(other.book.skis()) == len(shop.book.skis())


def test_a_bench_whose_clock_is_ahead_is_said(shop: Shop, other: Shop, tmp_path: Path) -> None:
    """Rows of tomorrow are taken in, with a word on the clocks."""
    taken = exchange.take_in(other, file_of(shop, tmp_path))
    early = taken_in_lines(taken, now=datetime(2020, 1, 1, tzinfo=UTC))
    assert any("check the clocks of both benches" in line for line in early)
    late = taken_in_lines(taken, now=datetime(2099, 1, 1, tzinfo=UTC))
    assert not any("clocks" in line for line in late)


def test_a_blade_that_cannot_be_reckoned_with_is_refused(
    shop: Shop, other: Shop, tmp_path: Path
) -> None:
    """An outline that crosses itself never reaches the bench."""
    path = Path(file_of(shop, tmp_path))
    data = json.loads(path.read_text())
    data["rows"]["blades"][0]["outline_mm"] = "[[0,0],[10,10],[10,0],[0,10]]"
    path.write_text(json.dumps(data))
    with pytest.raises(InputError, match=r"book\.json.*blade 'Plate A', outline"):
        exchange.take_in(other, str(path))
    assert not other.book.skis()


def test_a_ski_that_does_not_fit_together_is_taken_in_and_said(
    shop: Shop, other: Shop, tmp_path: Path
) -> None:
    """Two benches may have changed blade and methods apart; that must not stop an exchange."""
    blade = shop.book.blades()[0]
    shop.book.correct_blade(replace(blade, holes=()))
    taken = exchange.take_in(other, file_of(shop, tmp_path))
    assert any("does not fit together" in line for line in taken_in_lines(taken))


def test_whatever_this_bench_keeps_is_taken_in(shop: Shop, other: Shop, tmp_path: Path) -> None:
    """Readings typed in every way, repeats, targets of every kind, what is written out of them."""
    view = ski(shop, "Heron 66")
    (two,) = offsets.choices(shop, view)
    kept = shop.book.ski(view.ski.id)
    shop.book.correct_ski(replace(kept, methods=(*kept.methods, two.second.id)), who="KV")
    view = walk_to(shop, shop.view(view.job.id), heron(view), "studs")
    line = view.lines[0]
    for text in ("2450", "24500in", "2 7/16", "62.23mm", " 2,4505", "2450 thou", '2.45"', "6223"):
        placing = understand(text, "in", line.usual_mm).placings[0]
        view = shop.take_reading(view, line, Typed(text, placing.unit, placing.mm))
    view = state_temperature(shop, view, {"blade": "86 F", "scale": "F"})
    view = read(shop, view, view.lines[2], "6.9400")
    offsets.take_offered(shop, two, offsets.study(shop, view, two).offered)
    baseline = baselines.keep_now(shop, view, "as it came", "ski")
    baselines.correct_baseline(shop, baseline.id, {line.method.name: "62.3 mm"}, "misread")
    view = shop.seat_studs(view)
    view = shop.aim_at_baseline(view, shop.book.baselines_of(view.ski.id)[0])
    view = shop.aim(view, line, "+.010", "in")
    view = shop.aim(view, line, "63.1mm", "in")
    again = shop.queue(ski(shop, "Heron 67").ski.id)
    last = shop.view(again.id)
    aim_at_last(shop, walk_to(shop, last, heron(last), "target"))
    row = shop.book.calipers()[0]
    calipers.check_zero(shop, row, "-.0005")
    calipers.check_block(shop, row, calipers.block_size("50mm", row.unit), "19685")
    fields = {"name": "Old one", "unit": "mm", "resolution": ".05", "jaw_height": '1/2"'}
    calipers.add_caliper(shop, fields)
    exchange.take_in(other, file_of(shop, tmp_path))
    assert rows_out(other.book) == rows_out(shop.book)


WRONG: dict[str, tuple[Any, str]] = {
    "no JSON": ("{", r"line 1"),
    "a list": ([], r"list.*a table"),
    "another format": ({"format": "xyz"}, r"format: 'xyz'.*quarterturn export wrote"),
    "nothing in it": ({}, r"format: '\(missing\)'"),
    "a newer version": ({"version": 2}, r"version: 2.*newer Quarterturn; update"),
    "a version that is none": ({"version": "1"}, r"version: '1'.*whole number"),
    "true for a version": ({"version": True}, r"version: True"),
    "newer migrations": ({"migrations": ["first_book", "x9"]}, r"migrations: 'x9'.*newer"),
    "migrations that are none": ({"migrations": "x"}, r"migrations: 'x'.*list"),
    "an unknown key": ({"colour": 1}, r"colour: 1.*one of format"),
    "holds nothing known": ({"holds": "all"}, r"holds: 'all'"),
    "rows that are none": ({"rows": []}, r"rows: '\(a list\)'"),
    "nested too deeply": ('{"format": ' + "[" * 100_000 + "]" * 100_000 + "}", r"nested too deep"),
    "NaN": ('{"format": NaN}', r"finite"),
    "an endless number": ('{"format": 1' + "0" * 5000 + "}", r"number|digits"),
    "a key twice": ('{"format": 1, "format": 2}', r"each key once"),
    "not text": (b"\xff\xfe{", r"UTF-8"),
}  # fmt: skip


@pytest.mark.parametrize("case", WRONG)
def test_a_file_that_is_no_exchange_file_is_refused(other: Shop, tmp_path: Path, case: str) -> None:
    """File, place, value and what is accepted, on one line."""
    content, words = WRONG[case]
    path = tmp_path / "wrong.json"
    if isinstance(content, dict):
        good = {"format": exchange_file.FORMAT, "version": 1, "migrations": [], "holds": "book"}
        content = json.dumps({} if not content else good | content)
    elif isinstance(content, list):
        content = json.dumps(content)
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    with pytest.raises(InputError, match=rf"wrong\.json.*{words}"):
        exchange.take_in(other, str(path))


def as_by_hand(path: str) -> bytes:
    """The same rows laid out by another program."""
    return json.dumps(json.loads(Path(path).read_bytes()), indent=1).encode()


def test_a_file_laid_out_by_hand_is_read_whole_and_so_has_a_limit(
    shop: Shop, other: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One of ours has none: it is read line by line."""
    path, by_hand = file_of(shop, tmp_path), tmp_path / "by_hand.json"
    by_hand.write_bytes(as_by_hand(path))
    with monkeypatch.context() as patched:
        patched.setattr(exchange_file, "LARGEST_WHOLE", 2_000)
        with pytest.raises(InputError, match=r"by_hand\.json.*over 2000 bytes.*its beginning"):
            exchange.take_in(other, str(by_hand))
        assert not other.book.skis()
        taken = exchange.take_in(other, path)
    again = exchange.take_in(other, str(by_hand))
    assert not again.brought.new
    assert again.brought.known == sum(taken.brought.new.values())


@pytest.mark.parametrize("at_once", [1, 3])
def test_lines_and_whole_files_say_the_same_whatever_the_lots(
    shop: Shop, other: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, at_once: int
) -> None:
    """What was found of a file does not hang on how much of it is looked at together."""
    monkeypatch.setattr(exchange_file, "AT_ONCE", at_once)
    monkeypatch.setattr(rows_in, "MANY", 10)
    monkeypatch.setattr(arrivals, "MANY", 10)
    view = walk_to(shop, ski(shop, "Heron 66"), heron(ski(shop, "Heron 66")), "within")
    shop.book.strike(view.facts[-1].id, "slipped", "KV")
    path, by_hand = file_of(shop, tmp_path), tmp_path / "by_hand.json"
    by_hand.write_bytes(as_by_hand(path))
    tried = exchange.take_in(other, str(by_hand), dry_run=True)
    assert replace(exchange.take_in(other, path, dry_run=True), file="") == replace(tried, file="")
    exchange.take_in(other, path)
    assert Path(file_of(other, tmp_path, "theirs.json")).read_bytes() == Path(path).read_bytes()
    assert other.book._desk.read(lambda db: has_index(db, "readings_seen"))


def has_index(db: Any, name: str) -> bool:
    return bool([*db.execute("SELECT 1 FROM sqlite_master WHERE name = ?", [name])])


def test_a_file_known_by_its_digest_is_not_read_again(
    shop: Shop, other: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not where something of it differed, though: that is said each time."""
    path = file_of(shop, tmp_path)
    first = exchange.take_in(other, path)
    with monkeypatch.context() as patched:
        patched.setattr(rows_in, "take_in", lambda *_, **__: pytest.fail("it was read again"))
        for bench in (shop, other):  # who wrote it knows it too
            again = exchange.take_in(bench, path)
            assert again.brought.known == sum(first.brought.new.values())
            assert taken_in_lines(again)[0] == "Nothing new in this file"
    text = Path(path).read_text().replace('"note": ""', '"note": "other words"', 1)
    Path(path).write_text(text)
    for _ in range(2):
        assert len(exchange.take_in(other, path).brought.differs) == 1


def test_rows_out_of_order_or_twice_are_left_to_the_reader_of_whole_files(
    shop: Shop, other: Shop, tmp_path: Path
) -> None:
    """Whoever sorted a file otherwise gets the same book."""
    path = Path(file_of(shop, tmp_path))
    data = json.loads(path.read_bytes())
    lots = {t: [[json.dumps(row) for row in rows]] for t, rows in data["rows"].items()}
    lots["methods"][0].reverse()
    steps = tuple(data["migrations"])
    path.write_bytes(b"".join(exchange_file.text_of(steps, lots.items(), True, print)))
    exchange.take_in(other, str(path))
    assert rows_out(other.book) == rows_out(shop.book)
    lots["methods"][0].append(lots["methods"][0][0])
    path.write_bytes(b"".join(exchange_file.text_of(steps, lots.items(), True, print)))
    with pytest.raises(InputError, match="an id once"):
        exchange.take_in(other, str(path))


def test_an_export_never_takes_the_place_of_a_foreign_file(shop: Shop, tmp_path: Path) -> None:
    """It must begin as a file of ours does; to speak of one is not enough."""
    for name, content in (
        ("letter.txt", "Dear Ines"),
        ("shop.json", '{"unit": "in"}'),
        ("notes.md", 'Files begin with "format": "quarterturn exchange".\nMine do not.'),
        ("mine.json", '{"note": "mine",\n"format": "quarterturn exchange",\n"version": 1,\n}'),
        ("cut.json", '{\n"format": "quarterturn exchange",\n"version": 1,\n'),
    ):
        (tmp_path / name).write_text(content)
        with pytest.raises(InputError, match="a file of another kind is there"):
            exchange.export_book(shop, str(tmp_path / name))
        assert (tmp_path / name).read_text() == content
    for place in (str(tmp_path), str(tmp_path / "no" / "x.json"), "a\0b", "~nobody/x", " "):
        with pytest.raises(InputError):
            exchange.export_book(shop, place)


def test_an_earlier_export_gives_way_and_that_is_said(shop: Shop, tmp_path: Path) -> None:
    """A book to a book, a ski to a ski or a book; an empty file is none."""
    name, serial = str(tmp_path / "x.json"), shop.book.skis()[0].serial
    Path(name).touch()
    said = [
        *exported_lines(exchange.export_ski(shop, serial, name)),
        *exported_lines(exchange.export_ski(shop, serial, name)),
        *exported_lines(exchange.export_book(shop, name)),
        *exported_lines(exchange.export_book(shop, name)),
    ]
    assert [line.endswith("in place of the exchange file that was there") for line in said] == [
        False, True, True, True,
    ]  # fmt: skip


def test_one_ski_is_never_written_over_a_whole_book(shop: Shop, tmp_path: Path) -> None:
    """By its name or its id: the file is named and stays."""
    path = Path(file_of(shop, tmp_path))
    before, ski = path.read_bytes(), shop.book.skis()[0]
    for write, key in ((exchange.export_ski, ski.serial), (exchange.export_ski_of_id, ski.id)):
        with pytest.raises(InputError, match=r"file: .*a whole book is there, and this is one ski"):
            write(shop, key, str(path))
    assert path.read_bytes() == before


@pytest.fixture(scope="module")
def sample(tmp_path_factory: pytest.TempPathFactory) -> tuple[bytes, Shop, Path]:
    folder = tmp_path_factory.mktemp("sample")
    with open_shop(demo_file(folder)) as shop:
        exchange.export_ski(shop, "H66-014", str(folder / "s.json"))
    target = Shop(Book(folder / "target.db"))
    return (folder / "s.json").read_bytes(), target, folder


@given(data=st.data())
@settings(max_examples=250)
def test_no_spoilt_file_crashes_or_changes_the_book(
    sample: tuple[bytes, Shop, Path], data: st.DataObject
) -> None:
    """Bytes cut out, put in or exchanged anywhere: refused, or the dry run says what it holds."""
    text, target, folder = sample
    spoilt = bytearray(text)
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(spoilt) - 1))
        end = data.draw(st.integers(at, min(at + 40, len(spoilt))))
        spoilt[at:end] = data.draw(
            st.binary(max_size=6) | st.sampled_from([b"1e400", b"NaN", b"null", b"[[", b'"', b"{}"])
        )
    path = folder / "spoilt.json"
    path.write_bytes(spoilt)
    with suppress(InputError):
        exchange.take_in(target, str(path), dry_run=True)
    assert not target.book.skis()
