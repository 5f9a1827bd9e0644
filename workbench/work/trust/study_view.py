"""A repeatability study as kept: its plan, its readings, and what is still to read."""

from __future__ import annotations

from typing import Literal

from workbench.frozen import dataclass
from workbench.records.book import Book
from workbench.records.store import rows
from workbench.work.trust import setting_values

State = Literal["planned", "under way", "complete", "struck out"]


@dataclass(frozen=True, slots=True)
class Turn:
    """Whose turn it is to read what, for which time (from 1)."""

    part: str
    person: str
    trial: int

    @property
    def words(self) -> str:
        """The turn in words; names as typed."""
        return f"{self.person} on {self.part}, trial {self.trial}"


@dataclass(frozen=True, slots=True)
class StudyView:
    """A study as it is: its plan, all its readings and what is still to read.

    ``number`` counts the book's studies from 1, oldest first. ``readings`` holds the struck ones
    too. ``missing`` are the turns to come in their order; ``near_mm`` is about what will be read.
    """

    number: int
    study: rows.Study
    readings: tuple[rows.StudyReading, ...]
    missing: tuple[Turn, ...]
    near_mm: float | None = None

    @property
    def live(self) -> tuple[rows.StudyReading, ...]:
        """The readings that stand, oldest first."""
        return tuple(r for r in self.readings if r.struck is None)

    @property
    def struck(self) -> tuple[rows.StudyReading, ...]:
        """The readings that were struck out, oldest first."""
        return tuple(r for r in self.readings if r.struck is not None)

    @property
    def total(self) -> int:
        """How many readings the plan has."""
        return len(self.study.sequence)

    @property
    def done(self) -> int:
        """How many turns of the plan have their reading."""
        return self.total - len(self.missing)

    @property
    def due(self) -> Turn | None:
        """The turn that comes now; None where none does."""
        return self.missing[0] if self.missing and self.study.struck is None else None

    @property
    def state(self) -> State:
        """Where the study is, in a word."""
        if self.study.struck is not None:
            return "struck out"
        if not self.missing:
            return "complete"
        return "under way" if self.done else "planned"

    @property
    def usual_mm(self) -> tuple[float, float] | None:
        """The range (mm) in which a reading is nothing odd; None before anything is known."""
        known = [r.mm for r in self.live if r.mm > 0.0]
        known += [self.near_mm] if self.near_mm else []
        return (min(known) / REACH, max(known) * REACH) if known else None


def study_as_is(book: Book, number: int, study: rows.Study) -> StudyView:
    """Return the study of this number as it is."""
    readings = book.study_readings(study.id)
    read = {(r.part, r.person, r.trial) for r in readings if r.struck is None}
    missing = tuple(
        Turn(study.parts[i], study.people[j], k + 1)
        for i, j, k in study.sequence
        if (study.parts[i], study.people[j], k) not in read
    )
    return StudyView(number, study, readings, missing, _near(book, study.id))


def _near(book: Book, study_id: str) -> float | None:
    return setting_values.NEAR.of(book.setting(near_name(study_id)))


def near_name(study_id: str) -> str:
    """Return the setting that holds about what a study will read, in mm."""
    return f"{setting_values.NEAR_BEGINS}{study_id}"


REACH = 1.5
"""How many times smaller or larger than what was read so far a reading still is nothing odd: the
parts of a study differ, and a narrower range would tell what was read before."""
