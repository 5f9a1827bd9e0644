"""A ski's kept rounds as JSON lines, in the form that ``turns --history`` reads."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping

from workbench.measure.units import MM_PER, Unit
from workbench.records.book import Book
from workbench.records.store import rows
from workbench.work.learn.kept_rounds import LEAST_READINGS, KeptRound, Takes, rounds_of_ski
from workbench.work.learn.teaching import hand_then, sheet_at

DECIMALS = 9
"""Of a take in its unit: far below any caliper's step, and what was typed reads as it was typed."""


def round_lines(book: Book, ski: rows.Ski, unit: Unit) -> list[str]:
    """Return a ski's rounds with its blade and block of now, a JSON line each, oldest first."""
    return book.at_once(_lines, book, ski, unit)


def _lines(book: Book, ski: rows.Ski, unit: Unit) -> list[str]:
    block, versions = book.block(ski.block_id), book.block_versions(ski.block_id)
    names = {m.id: m.name for m in book.methods_of(ski.blade_id) if m.scribe_x_mm is None}
    sheets = book.ski_versions(ski.id)
    rounds = (
        hand_then(r, block, versions)
        for r in rounds_of_ski(book.history_of_ski(ski.id), sheets)
        if sheet_at(sheets, r.id).block_id == block.id
    )
    return _lines_of(rounds, names, unit, book.blade(ski.blade_id).name)


def _lines_of(
    rounds: Iterable[KeptRound], names: Mapping[str, str], unit: Unit, blade: str
) -> list[str]:
    """Return rounds as JSON lines, one for each: what ``turns --history`` reads.

    ``names`` are the methods' names by id; takes by any other method are left out.
    """
    out: list[str] = []
    newest, gone = "", set[str]()
    for each in rounds:
        before, after = _named(each.before, names, unit), _named(each.after, names, unit)
        if each.chain in gone or len(after) < LEAST_READINGS:
            gone.add(each.chain)  # of another blade, which the ski has no longer
            continue
        line: dict[str, object] = {"job": each.chain, "unit": unit, "blade": blade}
        if each.at >= newest:  # a clock set back tells no order, the lines do
            line["at"] = newest = each.at
        if each.before:
            line["before"] = before
        line |= {"turns": dict(each.turns), "after": after}
        if each.settled:
            line["settled"] = True
        out.append(json.dumps(line, ensure_ascii=False))
    return out


def _named(takes: Takes, names: Mapping[str, str], unit: Unit) -> dict[str, list[float]]:
    return {
        names[i]: [round(mm / MM_PER[unit], 9) for mm in values]
        for i, values in takes.items()
        if i in names
    }
