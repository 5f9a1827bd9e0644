"""A fin by every method of its blade, as plain lines, one fact a line."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from workbench.measure.display import FINE, change_text, fine_text, length_text
from workbench.measure.units import Unit
from workbench.work.job_text.how_to_hold import Restated
from workbench.work.offsets.offsets import LearntReading
from workbench.work.text.words import clean


def method_lines(
    found: Sequence[Restated], learnt: Mapping[str, LearntReading], unit: Unit
) -> list[str]:
    """Return what each method reads; ``learnt``, by method name, is what pairs make of it."""
    out: list[str] = []
    for number, row in enumerate(found, 1):
        out += _one(f"Method {number}", row, unit)
        pairs = learnt.get(row.method.name)
        if pairs is not None:
            value, u_text = length_text(pairs.value_mm, unit), fine_text(pairs.u_mm, unit)
            out.append(
                f"Method {number} learned: {value} {unit}, u {u_text} {unit}; {clean(pairs.words)}"
            )
    return out


def _one(name: str, row: Restated, unit: Unit) -> Iterator[str]:
    yield f"{name}: {clean(row.method.name)}"
    if row.value_mm is None or row.u_mm is None:
        yield f"{name} reads: nothing here: {row.trouble}"
        return
    both = " = ".join(f"{length_text(row.value_mm, u)} {u}" for u in ("in", "mm"))
    read = ", read in this round" if row.read else ""
    yield f"{name} reads: {both}, u {fine_text(row.u_mm, unit)} {unit}{read}"
    if row.against is not None and row.difference_mm is not None:
        apart = change_text(row.difference_mm, unit, FINE[unit])
        yield f"{name} less {clean(row.against.name)}: {apart} {unit}"
