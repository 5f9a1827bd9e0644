"""Whether a row says what was written: its check sum, and what was typed beside what is kept.

A flipped bit of a disk or a memory gives another number that looks like any other.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import chain
from typing import Any

from workbench.errors import shown
from workbench.records.store.row_checks import BookRow, Fault
from workbench.records.store.specs import SPECS, Table


def check_sum(columns: Iterable[tuple[str, object]], parts: Iterable[Mapping[str, object]]) -> int:
    """The CRC-32 of a row's columns, in the order of the table, and of the parts lying in it.

    What is empty is left out, so that a column added later changes no sum; a whole number counts as
    the number that it is, since SQLite gives back 7 as 7.0 where a column holds any.
    """
    kept = [*columns]
    for place, part in enumerate(parts):
        kept += [(f"{place}.{name}", value) for name, value in part.items()]
    said = [
        f"{name}={value}" if isinstance(value, str) else f"{name}={value + 0.0!r}"  # type: ignore[operator]
        for name, value in kept
        if value is not None and value != ""
    ]
    return zlib.crc32("\n".join(said).encode())


def check_sums(columns: Sequence[str], rows: Sequence[Sequence[Any]]) -> list[int]:
    """The check sums of many rows of one table in which no parts lie, of their values by column.

    The same as one by one in about half the time; a column holds either texts or numbers.
    """
    said = []
    for name, values in zip(columns, zip(*rows, strict=True), strict=True):
        begin = f"\n{name}="
        if str in {*map(type, values)}:
            said.append([begin + value if value else "" for value in values])
        else:
            said.append(["" if n is None else f"{begin}{n + 0.0!r}" for n in values])
    return [zlib.crc32("".join(row)[1:].encode()) for row in zip(*said, strict=True)]


def damage_of(
    table: Table,
    row: Mapping[str, object],
    parts: Iterable[Mapping[str, object]] = (),
    part_table: Table | None = None,
) -> str:
    """Say in words what of a row does not agree, or nothing.

    ``row`` has the columns of its table in their order, ``check_sum`` among them; a row of before
    there were sums has none, and of it only what was typed can be compared.
    """
    kept = row.get("check_sum")
    if kept is not None:
        columns = ((name, value) for name, value in row.items() if name != "check_sum")
        if check_sum(columns, parts) == kept:
            return ""
    inner = (contradictions(part_table, part) for part in parts) if part_table else ()
    for column, value, accepted in chain(contradictions(table, row), *inner):
        return f"{column} {shown(value)}, but {accepted}"
    return "" if kept is None else "its check sum is that of something else"


def contradictions(table: Table, row: BookRow) -> Iterator[Fault]:
    """Yield the columns of a row whose figure is not that of its text."""
    for figure in SPECS[table].figures:
        yield from figure.faults(row)
