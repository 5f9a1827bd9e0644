"""The queue, the roster and the readings as CSV files that a spreadsheet may open."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from workbench.records import rows
from workbench.work.adding import known_ski
from workbench.work.cells import csv_chunks
from workbench.work.exports import path_of, write_file
from workbench.work.intake import COLUMNS
from workbench.work.shop import Shop

KINDS = ("queue", "skis", "readings")
BOM = b"\xef\xbb\xbf"
"""What tells a spreadsheet that a file is UTF-8."""

READING_COLUMNS = (
    "day", "at", "who", "ski", "serial", "rider", "method", "quantity", "pass", "reading", "unit",
    "mm", "caliper", "struck_out", "reason", "id",
)  # fmt: skip
"""The columns of a file of readings: ``reading`` as typed in ``unit``, ``at`` in UTC."""

_HEADERS: dict[str, tuple[str, ...]] = {
    "queue": COLUMNS,
    "skis": COLUMNS,
    "readings": READING_COLUMNS,
}

Cells = Sequence[str | float | None]


def csv_of(shop: Shop, kind: str, ski: str = "") -> Iterator[bytes]:
    """Yield a CSV file; ``ski`` (its name or serial) leaves the others out of the readings.

    Kinds: ``queue`` (the shop's day, what earlier days left first), ``skis``, ``readings``. The
    first two are such files as :func:`workbench.work.intake.take_in_skis` takes.
    """
    found = {"queue": _queue, "skis": _skis}[kind](shop) if kind != "readings" else None
    return csv_chunks(_HEADERS[kind], _readings(shop, ski) if found is None else found)


def write_csv(shop: Shop, kind: str, path: str, ski: str = "") -> int:
    """Write such a file and return its size; a file of the same columns is written over."""
    chunks = csv_of(shop, kind, ski)

    def with_mark() -> Iterator[bytes]:
        yield BOM
        yield from chunks

    header = ",".join(_HEADERS[kind]).encode()
    return write_file(path_of(path), with_mark(), lambda head: head.startswith(BOM + header))


def _queue(shop: Shop) -> Iterator[Cells]:
    book = shop.book
    for item in (*book.unfinished_before(shop.day), *book.day_queue(shop.day)):
        yield _ski_cells(shop, book.ski(item.job.ski_id), item.job.due, item.job.note)


def _skis(shop: Shop) -> Iterator[Cells]:
    return (_ski_cells(shop, ski, "", "") for ski in shop.book.skis())


def _ski_cells(shop: Shop, ski: rows.Ski, due: str, note: str) -> Cells:
    cells: dict[str, str] = {
        "ski": ski.name,
        "rider": ski.rider,
        "serial": ski.serial,
        "model": ski.model,
        "size": ski.size,
        "unit": ski.unit,
        "blade": shop.book.blade(ski.blade_id).name,
        "block": shop.book.block(ski.block_id).name,
        "base_radius": _mm(ski.base_radius_mm),
        "base_apex": _mm(ski.base_apex_mm),
        "wing": "yes" if ski.has_wing else "no",
        "due": due,
        "note": note,
        "ski_note": ski.note,
    }
    return [cells[column] for column in COLUMNS]


def _mm(length_mm: float | None) -> str:
    """Return a length with its unit, exactly; a curved base is never below nothing."""
    return "" if length_mm is None else f"{length_mm!r} mm"


def _readings(shop: Shop, only: str) -> Iterator[Cells]:
    book = shop.book
    skis = (known_ski(shop, only),) if only else book.skis()
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
                    fact.struck.reason if fact.struck else "", fact.id,
                )  # fmt: skip
