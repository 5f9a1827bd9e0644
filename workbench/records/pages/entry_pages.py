"""The pages of a book about what belongs to no job: pairs, curves, studies."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from workbench.records.desk.door import Door
from workbench.records.store.rows import (
    Curve,
    CurveKind,
    Pair,
    Study,
    StudyReading,
    Unit,
)
from workbench.records.tables import entries


class EntryPages(Door):
    """Paired readings by two methods, curves of a base, repeatability studies."""

    def add_pair(
        self,
        ski_id: str,
        who: str,
        *,
        method_id: str,
        text: str,
        unit: Unit,
        mm: float,
        other_method_id: str,
        other_text: str,
        other_unit: Unit,
        other_mm: float,
        caliper_id: str | None = None,
    ) -> Pair:
        """Keep one fin's number by two methods."""
        return self._write(
            entries.add,
            Pair,
            who,
            ski_id=ski_id,
            method_id=method_id,
            text=text,
            unit=unit,
            mm=mm,
            other_method_id=other_method_id,
            other_text=other_text,
            other_unit=other_unit,
            other_mm=other_mm,
            caliper_id=caliper_id,
        )

    def pairs(self) -> tuple[Pair, ...]:
        """All pairs, oldest first, struck ones included."""
        return self._read(entries.every, Pair)

    def pairs_of(self, ski_id: str) -> tuple[Pair, ...]:
        """The pairs read on a ski, oldest first, struck ones included."""
        return self._read(entries.every, Pair, ski_id=ski_id)

    def add_curve(
        self,
        ski_id: str,
        who: str,
        *,
        kind: CurveKind,
        text: str,
        unit: Unit,
        from_x_mm: float,
        to_x_mm: float,
        sagitta_mm: float,
        radius_mm: float | None,
        apex_mm: float | None,
    ) -> Curve:
        """Keep a measurement of a ski's base."""
        return self._write(
            entries.add,
            Curve,
            who,
            ski_id=ski_id,
            kind=kind,
            text=text,
            unit=unit,
            from_x_mm=from_x_mm,
            to_x_mm=to_x_mm,
            sagitta_mm=sagitta_mm,
            radius_mm=radius_mm,
            apex_mm=apex_mm,
        )

    def curves_of(self, ski_id: str) -> tuple[Curve, ...]:
        """The measurements of a ski's base, oldest first, struck ones included."""
        return self._read(entries.every, Curve, ski_id=ski_id)

    def add_study(
        self,
        who: str,
        *,
        name: str,
        what: str,
        unit: Unit,
        parts: Iterable[str],
        people: Iterable[str],
        trials: int,
        sequence: Sequence[tuple[int, int, int]],
    ) -> Study:
        """Keep the plan of a study."""
        return self._write(
            entries.add,
            Study,
            who,
            name=name,
            what=what,
            unit=unit,
            parts=tuple(parts),
            people=tuple(people),
            trials=trials,
            sequence=tuple(sequence),
        )

    def studies(self) -> tuple[Study, ...]:
        """All studies, oldest first, struck ones included."""
        return self._read(entries.every, Study)

    def studies_read(self) -> tuple[tuple[str, str], ...]:
        """Each study with readings that is not struck out: its id, and a mark of its readings.

        The mark is another one after a reading was kept or struck out.
        """
        return self._read(entries.studies_read)

    def study(self, study_id: str) -> Study:
        """The study of this id, struck out or not."""
        return self._read(entries.one, Study, study_id)

    def add_study_reading(
        self,
        study_id: str,
        who: str,
        *,
        part: str,
        person: str,
        trial: int,
        text: str,
        unit: Unit,
        mm: float,
        caliper_id: str | None = None,
    ) -> StudyReading:
        """Keep one reading of a study."""
        return self._write(
            entries.add,
            StudyReading,
            who,
            study_id=study_id,
            part=part,
            person=person,
            trial=trial,
            text=text,
            unit=unit,
            mm=mm,
            caliper_id=caliper_id,
        )

    def study_readings(self, study_id: str) -> tuple[StudyReading, ...]:
        """The readings of a study in order, struck ones included."""
        return self._read(entries.every, StudyReading, study_id=study_id)
