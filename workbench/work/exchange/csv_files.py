"""The queue, the roster and the readings as CSV files, and what any such file says, cell by cell.

A text in a spreadsheet's cell starts no formula and no escape sequence, and comes back whole.
Common practice, no source: spreadsheets take a cell for a formula that begins with = + - @, a tab
or a line end, full-width forms included. Such a cell gets an apostrophe before it. What does not
print is written out as ``\\x1b``, ``\\u202e`` or ``\\U000e0001``.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import chain

from workbench.errors import BenchError, InputError
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.records.store.database import Told, quiet
from workbench.work.files.safe_write import path_of, write_file
from workbench.work.files.table_files import read_text
from workbench.work.history.history import load_history
from workbench.work.history.timeline import row_words, timeline_of
from workbench.work.job.shop import Shop
from workbench.work.paper.day_sheet import NAME
from workbench.work.roster.adding import known_ski
from workbench.work.text.local_time import local_day
from workbench.work.text.safe_text import visible

COLUMNS = (
    "ski", "rider", "serial", "model", "size", "unit", "blade", "block", "base_radius", "base_apex",
    "wing", "due", "note", "ski_note",
)  # fmt: skip
"""The columns of a file of skis; ``note`` is for this job, ``ski_note`` stays with the ski."""

BOM = b"\xef\xbb\xbf"
"""What tells a spreadsheet that a file is UTF-8."""

READING_COLUMNS = (
    "day", "at", "who", "ski", "serial", "rider", "method", "quantity", "round", "reading", "unit",
    "mm", "caliper", "struck_out", "reason", "id",
)  # fmt: skip
"""The columns of a file of readings: ``reading`` as typed in ``unit``, ``at`` in UTC."""

HISTORY_COLUMNS = (
    "day", "at", "who", "ski", "serial", "rider", "kind", "words", "unit", "job_day", "struck_out",
    "struck_by", "struck_at", "reason", "job", "id",
)  # fmt: skip
"""The columns of a file of history: ``words`` as the timeline says it, its lengths in ``unit``."""

UNFIT = "unfit"

_HEADERS: dict[str, tuple[str, ...]] = {
    "queue": COLUMNS,
    "skis": COLUMNS,
    "readings": READING_COLUMNS,
    "history": HISTORY_COLUMNS,
}

Cells = Sequence[str | float | None]


@dataclass(frozen=True, slots=True)
class CsvWanted:
    """A CSV file that is asked for.

    Kinds: ``queue`` (the shop's day, what earlier days left first), ``skis``, ``readings``,
    ``history`` (every row of a ski, each in its words). The first two are such files as
    :func:`workbench.work.exchange.intake.take_in_skis` takes, and are of all skis; ``ski`` (its
    name or serial) or ``ski_id`` leaves the others out of readings and history. ``comma``: numbers
    have a decimal comma, and semicolons part the cells; what was typed stays as it was typed.
    """

    kind: str
    ski: str = ""
    ski_id: str = ""
    comma: bool = False


def csv_of(
    shop: Shop, wanted: CsvWanted, unfit: list[str] | None = None, told: Told = quiet
) -> Iterator[bytes]:
    """Yield a CSV file; ``told`` is told of each line.

    A ski whose history cannot be told has one line in its place, of the kind ``unfit``, that says
    why; ``unfit`` is given a line for each.
    """
    kind, comma = wanted.kind, wanted.comma
    whole = {"queue": _queue, "skis": _skis}
    if kind in whole:
        if wanted.ski:
            accepted = "readings or history: those can be of one ski alone"
            raise InputError("ski", wanted.ski, accepted)
        found = whole[kind](shop, comma)
    else:
        skis = shop.book.skis()
        if wanted.ski_id:
            skis = (shop.book.ski(wanted.ski_id),)
        elif wanted.ski:
            skis = (known_ski(shop, wanted.ski),)
        if kind == "readings":
            found = _readings(shop, skis)
        else:
            found = _histories(shop, skis, [] if unfit is None else unfit)
    return _telling(csv_chunks(_HEADERS[kind], found, comma=comma), told)


def _telling(chunks: Iterator[bytes], told: Told) -> Iterator[bytes]:
    for chunk in chunks:
        told(1)
        yield chunk


def write_csv(
    shop: Shop, wanted: CsvWanted, path: str, unfit: list[str] | None = None, told: Told = quiet
) -> int:
    """Write such a file and return its size; a file of the same columns is written over."""
    ours = tuple(BOM + mark.join(_HEADERS[wanted.kind]).encode() for mark in ",;")
    chunks = chain([BOM], csv_of(shop, wanted, unfit, told))
    return write_file(path_of(path), chunks, lambda head: head.startswith(ours))


def _queue(shop: Shop, comma: bool) -> Iterator[Cells]:
    book = shop.book
    for item in (*book.unfinished_before(shop.day), *book.day_queue(shop.day)):
        ski = book.ski(item.job.ski_id)
        yield _ski_cells(shop, ski, item.job.due, item.job.note, comma)


def _skis(shop: Shop, comma: bool) -> Iterator[Cells]:
    return (_ski_cells(shop, ski, "", "", comma) for ski in shop.book.skis())


def _ski_cells(shop: Shop, ski: rows.Ski, due: str, note: str, comma: bool) -> Cells:
    cells: dict[str, str] = {
        "ski": ski.name,
        "rider": ski.rider,
        "serial": ski.serial,
        "model": ski.model,
        "size": ski.size,
        "unit": ski.unit,
        "blade": shop.book.blade(ski.blade_id).name,
        "block": shop.book.block(ski.block_id).name,
        "base_radius": _mm(ski.base_radius_mm, comma),
        "base_apex": _mm(ski.base_apex_mm, comma),
        "wing": "yes" if ski.has_wing else "no",
        "due": due,
        "note": note,
        "ski_note": ski.note,
    }
    return [cells[column] for column in COLUMNS]


def _mm(length_mm: float | None, comma: bool) -> str:
    """Return a length with its unit, exactly; a curved base is never below nothing."""
    return "" if length_mm is None else f"{cell_of(length_mm, comma=comma)} mm"


def _histories(shop: Shop, skis: Sequence[rows.Ski], unfit: list[str]) -> Iterator[Cells]:
    kept = shop.book.setting("unit", "in")
    unit: Unit = "mm" if kept == "mm" else "in"
    for ski in skis:
        try:
            yield from list(_history(shop, ski, unit))  # all of a ski's rows or none
        except BenchError as why:
            unfit.append(f"{visible(ski.name, NAME)} cannot be worked out: {why}")
            known = {"ski": ski.name, "serial": ski.serial, "rider": ski.rider}
            known |= {"kind": UNFIT, "words": str(why), "unit": unit}
            yield [known.get(column, "") for column in HISTORY_COLUMNS]


def _history(shop: Shop, ski: rows.Ski, unit: Unit) -> Iterator[Cells]:
    history = load_history(shop, ski.id)
    days = {past.job.id: past.job.day for past in history.jobs}
    for entry in timeline_of(history).entries:
        row, struck = entry.row, entry.struck
        job_id = row.job_id if isinstance(row, rows.Fact) else ""
        yield (
            local_day(row.at), row.at, row.who, ski.name, ski.serial, ski.rider,
            entry.kind, row_words(row, history, unit), unit, days.get(job_id, ""),
            "yes" if struck else "", struck.who if struck else "", struck.at if struck else "",
            _reasons(struck), job_id, row.id,
        )  # fmt: skip


def _reasons(struck: rows.Strike | None) -> str:
    """Return why a row was struck out, on this bench and then on others."""
    if struck is None:
        return ""
    others = [f"on another bench by {s.who or 'nobody named'}: {s.reason}" for s in struck.others]
    return "; ".join([struck.reason, *others])


def _readings(shop: Shop, skis: Sequence[rows.Ski]) -> Iterator[Cells]:
    book = shop.book
    methods: dict[str, rows.Method] = {}
    calipers = {caliper.id: caliper.name for caliper in book.calipers()}
    for ski in skis:
        for history in book.history_of_ski(ski.id):
            for fact in history.facts:
                if not isinstance(fact, rows.Reading):
                    continue
                if fact.method_id not in methods:
                    methods[fact.method_id] = book.method(fact.method_id)
                if fact.caliper_id is not None and fact.caliper_id not in calipers:
                    calipers[fact.caliper_id] = book.caliper(fact.caliper_id).name
                method = methods[fact.method_id]
                yield (
                    history.job.day, fact.at, fact.who, ski.name, ski.serial, ski.rider,
                    method.name, method.quantity, fact.pass_number, fact.text, fact.unit, fact.mm,
                    calipers.get(fact.caliper_id or "", ""), "yes" if fact.struck else "",
                    _reasons(fact.struck), fact.id,
                )  # fmt: skip


# -- cells -----------------------------------------------------------------------------------------

STARTS = "=+-@＝＋－＠"
_MARK = {False: ",", True: ";"}
DELIMITERS = {",": "commas", ";": "semicolons", "\t": "tabs"}

_WRITTEN = re.compile(r"\\(?:x([0-9a-f]{2})|u([0-9a-f]{4})|U([0-9a-f]{8}))")
_INNER = re.compile(
    r"""(?<=[;,|"])(\ *)
    (?: [=@＝＠] | [+\-＋－] (?! \.?\d[\d.,/]* (?: [\ ;,"'] | $) ) )""",
    re.VERBOSE,
)
"""A formula's start behind what another spreadsheet may part cells by; a signed number is none."""


def cell_of(value: str | float | None, *, comma: bool = False) -> str:
    """Return a value as a cell; a number is ours, stays one and takes no apostrophe.

    ``comma``: a number has a decimal comma instead of a point.
    """
    if value is None:
        return ""
    if not isinstance(value, str):
        return repr(value).replace(".", ",") if comma else repr(value)
    text = _written_out(value)
    return f"'{text}" if _starts_formula(text) else text


def cell_text(cell: str) -> str:
    """Return the text that a cell means: :func:`cell_of`, undone."""
    if cell.startswith("'") and _starts_formula(cell[1:]):
        cell = cell[1:]
    return _WRITTEN.sub(_char, cell)


def _starts_formula(text: str) -> bool:
    """Whether a spreadsheet might take this for a formula; apostrophes before it count as ours."""
    bare = text.lstrip("'")
    return bare[:1] in ("\t", "\r", "\n") or bare.lstrip()[:1] in tuple(STARTS)


def _written_out(text: str) -> str:
    """Write out what does not print, and each backslash that would read as such."""
    text = _WRITTEN.sub(lambda found: "\\x5c" + found[0][1:], text)
    if not text.isprintable():
        text = "".join(c if c.isprintable() else _escape(c) for c in text)
    return _INNER.sub(lambda found: f"{found[1]}{_escape(found[0][-1])}", text)


def _escape(char: str) -> str:
    code = ord(char)
    if code < 0x100:
        return f"\\x{code:02x}"
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


def _char(found: re.Match[str]) -> str:
    code = int(found[1] or found[2] or found[3], 16)
    return chr(code) if code <= 0x10FFFF else found[0]


def csv_chunks(
    header: Sequence[str], rows: Iterable[Sequence[str | float | None]], *, comma: bool = False
) -> Iterator[bytes]:
    """Yield a CSV file in UTF-8, a line at a time.

    ``comma``: with decimal commas, and so with semicolons between the cells.
    """
    line = io.StringIO(newline="")
    writer = csv.writer(line, delimiter=_MARK[comma], lineterminator="\r\n")
    writer.writerow(header)
    yield line.getvalue().encode()
    for values in rows:
        line.seek(0)
        line.truncate()
        writer.writerow([cell_of(value, comma=comma) for value in values])
        yield line.getvalue().encode()


def read_csv(path: str) -> list[tuple[int, list[str]]]:
    """Return the rows of a CSV file with the line each begins on, the header first.

    Commas, semicolons or tabs part the cells, told by the header; empty rows are left out.

    Raises:
        InputError: not a file of text in UTF-8, no rows, or not CSV; says on which line.
    """
    text = read_text(path)
    if "\0" in text:
        raise InputError(f"line {text[: text.index(chr(0))].count(chr(10)) + 1}", "\0", "text")
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=_delimiter(text), strict=True)
    out: list[tuple[int, list[str]]] = []
    before = 0
    try:
        for row in reader:
            if any(cell.strip() for cell in row):
                out.append((before + 1, row))
            before = reader.line_num
    except csv.Error as why:
        raise InputError(f"line {before + 1}", str(why), "cells of CSV, quotes closed") from None
    if not out:
        raise InputError("file", "(empty)", "a header and a row for each ski")
    return out


def _delimiter(text: str) -> str:
    """Return what parts the cells of the header; one that is quoted parts nothing."""
    header = next((line for line in text.splitlines() if line.strip()), "")
    bare = re.sub(r'"[^"]*"?', "", header)
    found = [mark for mark in DELIMITERS if mark in bare]
    if len(found) > 1:
        words = " and ".join(DELIMITERS[mark] for mark in found)
        raise InputError("header", header, f"one kind of mark between its columns, not {words}")
    return found[0] if found else ","
