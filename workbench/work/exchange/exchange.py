"""The book, or one ski, as a file for another bench, and such a file taken in.

The file is JSON: what it is, how the book was made that it came from, and its rows by table. Equal
books give equal files, byte for byte. Rows pass through in lots, so that memory does not grow with
the book; a file whose rows are all here, as its digest tells, is not read again.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from workbench.errors import BenchError, InputError, shown
from workbench.fin.blade import Blade
from workbench.records.book import Book, UndoneError
from workbench.records.exchange import arrivals, rows_in, rows_out
from workbench.records.exchange.arrivals import Brought, Clash, new_among, new_values
from workbench.records.exchange.form import OtherLayoutError
from workbench.records.store import rows
from workbench.records.store.database import Told, quiet
from workbench.records.store.specs import Table
from workbench.records.tables.roster import blade_of, method_of, rig_of, stud_of
from workbench.work.exchange.exchange_file import (
    BEGINNING,
    FORMAT,
    KNOWN,
    VERSION,
    FileMark,
    mark_among,
    new_digest,
    opened,
    read_lines,
    read_whole,
    text_of,
    with_mark,
)
from workbench.work.files.safe_write import path_of, write_file
from workbench.work.job.shop import Shop
from workbench.work.job.ski_state import SkiState, conclude
from workbench.work.roster.adding import known_ski
from workbench.work.roster.settings import misfit_lines
from workbench.work.trust.shop_policy import FINAL_SETTING, RECEIVED_SETTING, shop_rules

SKIS_AT_ONCE = 40
"""So many skis are concluded upon together, so that no book's facts are in memory at once."""

LONGEST_PLACE = 200
_KEYS = ("format", "version", "migrations", "holds", "rows")


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


def export_book(shop: Shop, path: str, told: Told = quiet) -> Exported:
    """Write the whole book to a file; ``told`` is told of rows written.

    Raises:
        InputError: it cannot be written.
    """
    done, mark = _export(shop.book, path, None, told)
    _remember(shop, mark)
    return done


def export_ski(shop: Shop, ski: str, path: str) -> Exported:
    """Write one ski, by its name or serial, with everything it needs; never over a whole book."""
    return export_ski_of_id(shop, known_ski(shop, ski).id, path)


def export_ski_of_id(shop: Shop, ski_id: str, path: str) -> Exported:
    """Write one ski, by its id, with everything it needs; never over a whole book."""
    return _export(shop.book, path, ski_id, quiet)[0]


def _export(book: Book, path: str, ski_id: str | None, told: Told) -> tuple[Exported, FileMark]:
    target = path_of(path)
    there: list[str] = []
    counts: list[int] = []
    digest = new_digest()

    def may_go(head: bytes) -> bool:
        found = BEGINNING.match(head)
        there.append(found[1].decode() if found else "")
        if there == ["book"] and ski_id is not None:
            accepted = "another name: a whole book is there, and this is one ski"
            raise InputError("file", str(target), accepted)
        return there != [""]

    def passed(rows: int) -> None:
        counts.append(rows)
        told(rows)

    def text() -> Iterator[bytes]:
        lots = book.read(rows_out.lines_out, ski_id)
        for chunk in text_of(book.read(rows_out.steps_of), lots, ski_id is None, passed):
            digest.update(chunk)
            yield chunk

    size = book.at_once(write_file, target, text(), may_go)
    mark = FileMark(digest.hexdigest(), sum(counts))
    return Exported(target, mark.rows, size, bool(there)), mark


def take_in(shop: Shop, path: str, *, dry_run: bool = False, told: Told = quiet) -> TakenIn:
    """Take a file in: all its rows or none. A dry run says what would come of it.

    Raises:
        InputError: naming the file, the place in it, the value and what is accepted.
    """
    book = shop.book
    with _in_file(path), opened(path if path == "-" else path_of(path)) as file:
        known = mark_among(book.setting(KNOWN), file)
        if known is not None:
            return TakenIn(path, dry_run, Brought(known=known.rows, latest=known.latest), (), ())
        digest = new_digest()
        try:
            head, lots = read_lines(file, digest)
            _check_head(book, head)
            data = rows_in.LinesIn(lots)
            taken = book.batch(take_rows, book, path, data, dry_run=dry_run, told=told)
        except OtherLayoutError as why:
            whole = read_whole(file, why.place)
            _check_head(book, whole)
            rows = whole.get("rows", {})
            return book.batch(take_rows, book, path, rows, dry_run=dry_run, told=told)
        brought = taken.brought
        if not dry_run and not brought.differs and not brought.settings_left:
            count = brought.known + sum(brought.new.values())
            _remember(shop, FileMark(digest.hexdigest(), count, brought.latest))
        return taken


def _remember(shop: Shop, mark: FileMark) -> None:
    """Keep the mark of a file whose rows are all in the book: they never leave it."""
    marks = with_mark(shop.book.setting(KNOWN), mark)
    if marks is not None:
        shop.remember(KNOWN, marks)


def take_rows(
    book: Book, path: str, data: object, *, dry_run: bool = False, told: Told = quiet
) -> TakenIn:
    """Take rows in, by table or as lines, as from a file at ``path``, and say what came of it.

    In a batch. Raises:
        InputError: naming the place in ``data``.
    """
    brought = book.write(rows_in.take_in, data, follow=not dry_run, told=told)
    if not brought.new:
        return TakenIn(path, dry_run, brought, (), ())
    _check_parts(book)
    clashes, troubles = book.read(arrivals.clashes), (*_misfits(book), *_troubles(book))
    taken = TakenIn(path, dry_run, brought, clashes, troubles, _changes(book, brought, told))
    book.write(lambda pen: arrivals.forget(pen.db))
    if dry_run:
        raise UndoneError(taken)
    return taken


def _misfits(book: Book) -> list[str]:
    """Return in words which settings just received do not fit."""
    came = book.read(new_values, Table.SETTINGS, "name")
    return misfit_lines({n: text for n, text in book.settings().items() if n in came})


def _changes(book: Book, brought: Brought, told: Told) -> tuple[Change, ...]:
    """Return the skis whose state is another one than before, or is contradicted; dangers first."""
    touched = book.read(arrivals.skis_touched, (RECEIVED_SETTING, FINAL_SETTING))
    rules = shop_rules(book)
    earlier = rules.without(book.read(new_among, rules.ids))
    struck = book.read(arrivals.newly_struck, brought)
    out = []
    for at in range(0, len(touched), SKIS_AT_ONCE):
        some = touched[at : at + SKIS_AT_ONCE]
        came = book.read(new_among, some)
        known = [ski for ski in some if ski not in came]
        facts = book.ski_facts(came, keep=False, fresh=True)
        facts |= book.ski_facts(known, whole=True, keep=False)
        new = book.read(new_among, [i for ski in known for i in facts[ski].ids])
        told(0)
        for ski in some:
            now = conclude(facts[ski], rules)
            before = None
            if ski not in came:
                before = conclude(facts[ski].without(new, struck), earlier)
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


def _check_head(book: Book, data: Mapping[str, Any]) -> None:
    """Refuse a file that says of itself that it is none of ours, or one of a newer bench."""
    if data.get("format") != FORMAT:
        accepted = f"'{FORMAT}': a file that quarterturn export wrote"
        raise InputError("format", data.get("format", "(missing)"), accepted)
    _refuse_newer(book, data)
    for key in data:
        if key not in _KEYS:
            raise InputError(key, data[key], f"one of {', '.join(_KEYS)}")
    if data.get("holds") not in ("book", "ski"):
        raise InputError("holds", data.get("holds", "(missing)"), "'book' or 'ski'")


def _refuse_newer(book: Book, data: Mapping[str, Any]) -> None:
    newer = "was written by a newer Quarterturn; update this one"
    version, steps = data.get("version", "(missing)"), data.get("migrations", "(missing)")
    if isinstance(version, bool) or not isinstance(version, int) or version < 1:
        raise InputError("version", version, f"a whole number, at most {VERSION}")
    if version > VERSION:
        raise InputError("version", version, f"at most {VERSION}: the file {newer}")
    if not isinstance(steps, list):
        raise InputError("migrations", steps, "a list of names")
    known = book.read(rows_out.steps_of)
    for step in steps:
        if step not in known:
            raise InputError("migrations", step, f"steps that this book knows: the file {newer}")


def _check_parts(book: Book) -> None:
    """Refuse a blade or a stud that the bench could not work with."""
    for blade in map(book.blade, book.read(new_values, Table.BLADES, "root")):
        with _part(f"blade {shown(blade.name)}"):
            blade_of(blade)
    for block in map(book.block, book.read(new_values, Table.BLOCKS, "root")):
        with _part(f"block {shown(block.name)}"):
            for stud in block.studs:
                stud_of(stud)


@contextmanager
def _part(name: str) -> Iterator[None]:
    try:
        yield
    except InputError as why:
        raise InputError(f"{name}, {why.field}", why.value, why.accepted) from None


def _troubles(book: Book) -> tuple[str, ...]:
    """What keeps a ski from the bench now: say, a method whose hole its blade no longer has.

    A ski that was here before is kept from it as well by a part that was received or corrected.
    """
    blade_by_id = cache(lambda i: _readable(book, i))
    studs_by_id = cache(lambda i: book.block(i).studs)
    fitted = cache(lambda i, blade_id: method_of(book.method(i), blade_by_id(blade_id)))
    out = []
    for ski in _touched(book):
        try:
            rig_of(ski, blade_by_id(ski.blade_id), studs_by_id(ski.block_id))
            for method_id in ski.methods:
                fitted(method_id, ski.blade_id)
        except BenchError as why:
            out.append(f"{ski.name} does not fit together: {why}")
    return tuple(out)


def _touched(book: Book) -> Iterator[rows.Ski]:
    """Yield the skis that are new, then those whose blade, block or methods are."""
    new = {*book.read(new_values, Table.SKIS, "root")}
    yield from map(book.ski, sorted(new))
    blades, blocks, methods = (
        {*book.read(new_values, table, "root")}
        for table in (Table.BLADES, Table.BLOCKS, Table.METHODS)
    )
    blades |= {*book.read(new_values, Table.METHODS, "blade_id")}
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
