"""A repeatability study: several skis, several people, several trials.

This holds the readings, complete and alike before anything is computed from them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from workbench.errors import InputError
from workbench.frozen import dataclass
from workbench.measure.repeats import Repeats, checked, summarise


class MissingCellError(InputError):
    """A study that lacks a reading (or has one too many); ``cells`` names who and what."""

    def __init__(self, cells: Sequence[tuple[str, str]], found: str, accepted: str) -> None:
        self.cells = tuple(cells)
        names = ", ".join(f"{person} on {part}" for part, person in self.cells[:3])
        more = len(self.cells) - 3
        super().__init__(
            f"study, {names}{f' and {more} more' if more > 0 else ''}", found, accepted
        )


class MixedUnitsError(InputError):
    """Readings of one study in different units, or by different methods."""


@dataclass(frozen=True, slots=True)
class StudyReading:
    """One reading of a study, in ``unit``, by ``method``."""

    part: str
    person: str
    value: float
    unit: str
    method: str = ""


@dataclass(frozen=True, slots=True)
class Study:
    """A complete study: ``table[part][person]`` holds the trials, as many in every cell."""

    parts: tuple[str, ...]
    persons: tuple[str, ...]
    table: tuple[tuple[tuple[float, ...], ...], ...]
    unit: str
    method: str = ""

    @property
    def trials(self) -> int:
        """Trials in every cell."""
        return len(self.table[0][0])

    def cell(self, part: str, person: str) -> Repeats:
        """The repeats of one person on one part, summarised (a point with its error bar)."""
        return summarise(self.table[self.parts.index(part)][self.persons.index(person)])


def collect(readings: Iterable[StudyReading]) -> Study:
    """Put readings into a complete study; parts and persons in the order they first come.

    Raises :class:`MissingCellError` where somebody's trials are missing or too many, and
    :class:`MixedUnitsError` where units or methods differ.
    """
    given = list(readings)
    if not given:
        raise InputError("study", "no reading", "readings of every person on every part")
    unit = _one_of("units", [r.unit for r in given])
    method = _one_of("methods", [r.method for r in given])
    parts = tuple(dict.fromkeys(r.part for r in given))
    persons = tuple(dict.fromkeys(r.person for r in given))
    cells: dict[tuple[str, str], list[float]] = {(p, q): [] for p in parts for q in persons}
    for reading in given:
        cells[reading.part, reading.person].append(reading.value)
    _check_complete(cells)
    table = tuple(
        tuple(checked(cells[part, person], f"study, {person} on {part}") for person in persons)
        for part in parts
    )
    return Study(parts, persons, table, unit, method)


def _check_complete(cells: dict[tuple[str, str], list[float]]) -> None:
    """Every cell has as many trials as most have."""
    counts = [len(values) for values in cells.values()]
    # Of equally frequent counts the larger: a missing reading is likelier than one too many.
    usual = max(set(counts), key=lambda n: (counts.count(n), n)) or max(counts)
    odd = [cell for cell, values in cells.items() if len(values) != usual]
    if odd:
        found = ", ".join(str(len(cells[cell])) for cell in odd[:3])
        raise MissingCellError(odd, f"{found} of {usual} trials", f"{usual} trials in every cell")


def _one_of(what: str, names: Sequence[str]) -> str:
    found = tuple(dict.fromkeys(names))
    if len(found) > 1:
        raise MixedUnitsError(f"{what} of the study", list(found), "the same for every reading")
    return found[0]
