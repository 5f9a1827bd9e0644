"""The queue, the roster and the readings as CSV files that a spreadsheet may open."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import chain

from workbench.errors import BenchError, InputError
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.records.store.database import Told, quiet
from workbench.work.exchange.intake import COLUMNS
from workbench.work.files.csv_cells import cell_of, csv_chunks
from workbench.work.files.safe_write import path_of, write_file
from workbench.work.history.history import load_history
from workbench.work.history.timeline import row_words, timeline_of
from workbench.work.job.shop import Shop
from workbench.work.paper.day_sheet import NAME
from workbench.work.roster.adding import known_ski
from workbench.work.text.local_time import local_day
from workbench.work.text.safe_text import visible

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
