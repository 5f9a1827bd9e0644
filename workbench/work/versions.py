"""Which version of a block or blade a job is shown by.

A job follows the newest version, so that a correction helps at once. Two do not: a signed-off job
keeps showing what it showed, and an open pass is finished as it was begun, for the turns made in
it were counted by what was written down then.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar, cast

from workbench.records import rows
from workbench.records.book import Book
from workbench.work.local_time import day_and_time
from workbench.work.words import clean

Part = TypeVar("Part", rows.Blade, rows.Block)


def held_at(facts: Sequence[rows.AnyFact]) -> str:
    """Return the id of the row that holds a job to what was written down before; else nothing."""
    live = [f for f in facts if f.struck is None]
    signed = [f.id for f in live if isinstance(f, rows.SignOff)]
    if signed:
        return signed[-1]
    others = (rows.Reading, rows.Target, rows.PassRow)
    since = max((f.id for f in live if isinstance(f, others)), default="")
    steps = [f.id for f in live if isinstance(f, rows.Mark) and f.kind == "step" and f.id > since]
    return steps[1] if len(steps) > 1 else ""  # the first is the loosening


def block_for(book: Book, block: rows.Block, until: str) -> tuple[rows.Block, str]:
    """Return the block as it was before the row ``until``, and words on a later correction."""
    return _before(book.block_versions(block.id), block, until, "block")


def blade_for(book: Book, blade: rows.Blade, until: str) -> tuple[rows.Blade, str]:
    """Return the blade as it was before the row ``until``, and words on a later correction."""
    return _before(book.blade_versions(blade.id), blade, until, "blade")


def _before(
    versions: Sequence[rows.PartVersion], newest: Part, until: str, what: str
) -> tuple[Part, str]:
    kept = [v for v in versions if v.id < until]
    if not kept or kept[-1] is versions[-1]:
        return newest, ""
    later = versions[-1]
    by = f" by {clean(later.who)}" if later.who else ""
    return cast("Part", kept[-1].part), f"{what} corrected later, {day_and_time(later.at)}{by}"


def turned_other_way(
    book: Book, block: rows.Block, facts: Sequence[rows.AnyFact]
) -> frozenset[str]:
    """Return the studs whose hand was written down otherwise when the last pass was made.

    They were turned the other way than the pass says: what was told as in moved them out.
    """
    made = [f for f in facts if isinstance(f, rows.PassRow) and f.struck is None]
    return other_way_in(book, block, made[-1]) if made else frozenset()


def other_way_in(book: Book, block: rows.Block, made: rows.PassRow) -> frozenset[str]:
    """Return the studs whose hand was written down otherwise when this pass was made."""
    then, _ = block_for(book, block, made.id)
    hands = {s.name: s.hand for s in then.studs}
    return frozenset(s.name for s in block.studs if hands.get(s.name, s.hand) != s.hand)
