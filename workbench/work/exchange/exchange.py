"""The book, or one ski, as a file for another bench, and such a file taken in.

The file is JSON: what it is, how the book was made that it came from, and its rows by table. Equal
books give equal files, byte for byte.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from workbench.errors import BenchError, InputError, shown
from workbench.fin.parts.blade import Blade
from workbench.records.book import Book
from workbench.records.exchange.clashes import Clash
from workbench.records.exchange.rows_in import Brought
from workbench.records.store import rows
from workbench.records.store.specs import Table
from workbench.work.files.safe_write import path_of, write_file
from workbench.work.files.table_files import parse_table, read_text
from workbench.work.job.shop import Shop
from workbench.work.job.ski_state import SkiState, conclude
from workbench.work.order.rigs import (
    blade_of,
    method_of,
    rig_of,
    stud_of,
)
from workbench.work.order.shop_policy import FINAL_SETTING, RECEIVED_SETTING, rules_of
from workbench.work.roster.adding import known_ski
from workbench.work.roster.settings import misfit_lines

FORMAT = "quarterturn exchange"
VERSION = 1
LARGEST_BYTES = 200_000_000
SURELY_OVER = 1.2
"""A file foretold to be so many times the largest is refused before the work begins."""

LONGEST_PLACE = 200
_KEYS = ("format", "version", "migrations", "holds", "rows")
_BEGINNING = re.compile(
    rb'\{\n"format": "quarterturn exchange",\n"version": [0-9]+,\n'
    rb'"migrations": \[[^\n]*\],\n"holds": "(book|ski)",\n"rows": \{'
)
"""How :func:`text_of` begins every file, byte for byte."""


@dataclass(frozen=True, slots=True)
class Exported:
    """A file that was written: where, how many rows and bytes, whether one was there before."""

    path: Path
    rows: int
    size: int
    replaced: bool


@dataclass(frozen=True, slots=True)
class Change:
    """A ski of which a file says something else: ``before`` is None where it was not known here.

    ``contradicted`` are its sign-offs that do not follow from its facts, each with why.
    """

    name: str
    serial: str
    before: SkiState | None
    now: SkiState
    contradicted: tuple[tuple[rows.SignOff, str], ...]

    @property
    def is_danger(self) -> bool:
        """Whether it is not to be ridden, or said to be released by what does not follow."""
        return bool(self.now.danger or self.contradicted)


@dataclass(frozen=True, slots=True)
class TakenIn:
    """What a file brought, or would bring: ``troubles`` are skis that do not fit together here.

    ``changes`` are the skis of which it says something else than was known, dangers first.
    """

    file: str
    dry_run: bool
    brought: Brought
    clashes: tuple[Clash, ...]
    troubles: tuple[str, ...]
    changes: tuple[Change, ...] = ()

    @property
    def is_danger(self) -> bool:
        """Whether a ski is not released that was, or was signed off against its own facts."""
        return any(change.is_danger for change in self.changes)


class _UndoneError(Exception):
    """Ends a dry run, so that its batch is undone."""

    def __init__(self, taken: TakenIn) -> None:
        self.taken = taken


def export_book(shop: Shop, path: str) -> Exported:
    """Write the whole book to a file.

    Raises:
        InputError: it cannot be written, or would be larger than a bench takes in. The size is
            foretold, so that this is said before the work; where that was wrong, as soon as the
            file is too large. Nothing is written then.
    """
    path_of(path)
    likely = shop.book.likely_size()
    if likely > SURELY_OVER * LARGEST_BYTES:
        raise _too_large(path, f"about {likely // 1_000_000} MB")
    return _export(shop.book, path, None)


def export_ski(shop: Shop, ski: str, path: str) -> Exported:
    """Write one ski, by its name or serial, with everything it needs; never over a whole book."""
    return _export(shop.book, path, known_ski(shop, ski).id)


def export_ski_of_id(shop: Shop, ski_id: str, path: str) -> Exported:
    """Write one ski, by its id, with everything it needs; never over a whole book."""
    return _export(shop.book, path, ski_id)


def _export(book: Book, path: str, ski_id: str | None) -> Exported:
    target = path_of(path)
    found = book.rows_out(ski_id)
    text = _bounded(path, text_of(book.steps(), found, ski_id is None))
    there: list[str] = []

    def may_go(head: bytes) -> bool:
        there.append(_holds(head))
        if there == ["book"] and ski_id is not None:
            accepted = "another name: a whole book is there, and this is one ski"
            raise InputError("file", str(target), accepted)
        return there != [""]

    size = write_file(target, text, may_go)
    return Exported(target, sum(map(len, found.values())), size, bool(there))


def _holds(head: bytes) -> str:
    """Return what an exchange file holds, by its first bytes; nothing where it is none of ours."""
    found = _BEGINNING.match(head)
    return found[1].decode() if found else ""


def _bounded(path: str, chunks: Iterator[bytes]) -> Iterator[bytes]:
    """Pass a file's text on, and refuse as soon as no bench would take it in."""
    size = 0
    for chunk in chunks:
        size += len(chunk)
        if size > LARGEST_BYTES:
            raise _too_large(path, "more than that")
        yield chunk


def _too_large(path: str, size: str) -> InputError:
    largest = LARGEST_BYTES // 1_000_000
    return InputError(
        "file", path, f"at most {largest} MB, as much as a bench takes in; this would be {size}. "
        "Nothing was written. Export ski by ski: 'export --ski NAME FILE' on the command line, or "
        "'export this ski' on the files screen. To have the whole book: 'backup FILE'",
    )  # fmt: skip


def text_of(
    steps: tuple[str, ...], found: Mapping[Table, list[dict[str, Any]]], whole: bool
) -> Iterator[bytes]:
    """Yield a file's text: a line for each row, ASCII alone, the same for the same rows."""
    yield f'{{\n"format": {_json(FORMAT)},\n"version": {VERSION},\n'.encode()
    yield f'"migrations": {_json(steps)},\n'.encode()
    yield f'"holds": "{"book" if whole else "ski"}",\n"rows": {{'.encode()
    comma = ""
    for table, listed in found.items():
        yield f"{comma}\n{_json(table)}: [".encode()
        comma = ","
        for i, row in enumerate(listed):
            yield f"{',' if i else ''}\n{_json(row)}".encode()
        yield b"\n]" if listed else b"]"
    yield b"\n}\n}\n"


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=True, allow_nan=False)


def take_in(shop: Shop, path: str, *, dry_run: bool = False) -> TakenIn:
    """Take a file in: all its rows or none. A dry run says what would come of it.

    Raises:
        InputError: naming the file, the place in it, the value and what is accepted.
    """
    book = shop.book
    with _in_file(path):
        data = _rows_in(book, path)
        try:
            return book.batch(take_rows, book, path, data, dry_run=dry_run)
        except _UndoneError as done:
            return done.taken


def take_rows(book: Book, path: str, data: object, *, dry_run: bool = False) -> TakenIn:
    """Take rows in, by table, as from a file at ``path``, and say what came of it; in a batch.

    Raises:
        InputError: naming the place in ``data``.
    """
    brought = book.take_in(data, follow=not dry_run)
    _check_parts(book, brought)
    clashes, troubles = book.clashes(brought), (*_misfits(book, brought), *_troubles(book, brought))
    taken = TakenIn(path, dry_run, brought, clashes, troubles, _changes(book, brought))
    if dry_run:
        raise _UndoneError(taken)
    return taken


def _misfits(book: Book, brought: Brought) -> list[str]:
    """Return in words which settings just received do not fit."""
    came = {row["name"] for row in brought.new.get(Table.SETTINGS, ())}
    return misfit_lines({n: text for n, text in book.settings().items() if n in came})


def _changes(book: Book, brought: Brought) -> tuple[Change, ...]:
    """Return the skis whose state is another one than before, or is contradicted; dangers first."""
    touched = book.skis_touched(brought, (RECEIVED_SETTING, FINAL_SETTING))
    came = brought.new_ids(Table.SKIS)
    known = [ski for ski in touched if ski not in came]
    facts = book.ski_facts([ski for ski in touched if ski in came])
    facts |= book.ski_facts(known, whole=True)
    ids = {row["id"] for listed in brought.new.values() for row in listed}
    struck = brought.newly_struck
    rules = rules_of(book)
    earlier = rules.without(ids)
    out = []
    for ski in touched:
        now = conclude(facts[ski], rules)
        before = None
        if ski not in came:
            before = conclude(facts[ski].without(ids, struck), earlier)
        against = _contradicted(now, before)
        if against or (before is not None and now.key != before.key):
            row = book.ski(ski)
            out.append(Change(row.name, row.serial, before, now, against))
    return tuple(sorted(out, key=lambda change: not change.is_danger))


def _contradicted(now: SkiState, before: SkiState | None) -> tuple[tuple[rows.SignOff, str], ...]:
    """Return the sign-offs that release nothing and why, unless that was known before."""
    known = before.jobs if before is not None else {}
    return tuple(
        (job.signed, job.why)
        for i, job in now.jobs.items()
        if job.signed and job.is_contradicted and (i not in known or known[i].why != job.why)
    )


@contextmanager
def _in_file(path: str) -> Iterator[None]:
    """Put the file's name in front of the place that an InputError names."""
    try:
        yield
    except InputError as why:
        place = "" if why.field == "file" else f": {why.field[:LONGEST_PLACE]}"
        raise InputError(f"{shown(path, 300)}{place}", why.value, why.accepted) from None


def _rows_in(book: Book, path: str) -> object:
    text = read_text(path if path == "-" else path_of(path), LARGEST_BYTES)
    data = parse_table(text, "json")
    if data.get("format") != FORMAT:
        accepted = f"'{FORMAT}': a file that quarterturn export wrote"
        raise InputError("format", data.get("format", "(missing)"), accepted)
    _refuse_newer(book, data)
    for key in data:
        if key not in _KEYS:
            raise InputError(key, data[key], f"one of {', '.join(_KEYS)}")
    if data.get("holds") not in ("book", "ski"):
        raise InputError("holds", data.get("holds", "(missing)"), "'book' or 'ski'")
    return data.get("rows", {})


def _refuse_newer(book: Book, data: Mapping[str, Any]) -> None:
    newer = "was written by a newer Quarterturn; update this one"
    version, steps = data.get("version", "(missing)"), data.get("migrations", "(missing)")
    if isinstance(version, bool) or not isinstance(version, int) or version < 1:
        raise InputError("version", version, f"a whole number, at most {VERSION}")
    if version > VERSION:
        raise InputError("version", version, f"at most {VERSION}: the file {newer}")
    if not isinstance(steps, list):
        raise InputError("migrations", steps, "a list of names")
    known = book.steps()
    for step in steps:
        if step not in known:
            raise InputError("migrations", step, f"steps that this book knows: the file {newer}")


def _check_parts(book: Book, brought: Brought) -> None:
    """Refuse a blade or a stud that the bench could not work with."""
    for blade in map(book.blade, _new_roots(Table.BLADES, brought)):
        with _part(f"blade {shown(blade.name)}"):
            blade_of(blade)
    for block in map(book.block, _new_roots(Table.BLOCKS, brought)):
        with _part(f"block {shown(block.name)}"):
            for stud in block.studs:
                stud_of(stud)


def _new_roots(table: Table, brought: Brought) -> list[str]:
    return sorted({row["root"] for row in brought.new.get(table, ())})


@contextmanager
def _part(name: str) -> Iterator[None]:
    try:
        yield
    except InputError as why:
        raise InputError(f"{name}, {why.field}", why.value, why.accepted) from None


def _troubles(book: Book, brought: Brought) -> tuple[str, ...]:
    """What keeps a ski from the bench now: say, a method whose hole its blade no longer has.

    A ski that was here before is kept from it as well by a part that was received or corrected.
    """
    blades: dict[str, Blade] = {}
    out = []
    for ski in _touched(book, brought):
        try:
            if ski.blade_id not in blades:
                blades[ski.blade_id] = _readable(book, ski.blade_id)
            blade = blades[ski.blade_id]
            rig_of(ski, blade, book.block(ski.block_id).studs)
            for method_id in ski.methods:
                method_of(book.method(method_id), blade)
        except BenchError as why:
            out.append(f"{ski.name} does not fit together: {why}")
    return tuple(out)


def _touched(book: Book, brought: Brought) -> Iterator[rows.Ski]:
    """Yield the skis that are new, then those whose blade, block or methods are."""
    new = _new_roots(Table.SKIS, brought)
    yield from map(book.ski, new)
    blades, blocks, methods = (
        set(_new_roots(table, brought)) for table in (Table.BLADES, Table.BLOCKS, Table.METHODS)
    )
    blades |= {row["blade_id"] for row in brought.new.get(Table.METHODS, ())}
    if blades or blocks:
        for ski in book.skis():
            parts = ski.blade_id in blades or ski.block_id in blocks
            if ski.id not in new and (parts or not methods.isdisjoint(ski.methods)):
                yield ski


def _readable(book: Book, blade_id: str) -> Blade:
    """Return a blade that each of its methods fits; the bench looks at all of them."""
    blade = blade_of(book.blade(blade_id))
    for method in book.methods_of(blade_id):
        method_of(method, blade)
    return blade
