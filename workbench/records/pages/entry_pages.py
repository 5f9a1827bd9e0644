"""The pages of a book about what belongs to no job: pairs, curves, studies."""

from __future__ import annotations

from workbench.records.desk.door import Door
from workbench.records.store.rows import Curve, Pair, Study, StudyReading
from workbench.records.tables import entries
from workbench.records.tables.entries import E


class EntryPages(Door):
    """Paired readings by two methods, curves of a base, repeatability studies."""

    def add_entry(self, who: str, entry: E) -> E:
        """Keep a pair, a curve, a study, a reading of one or a check of a caliper; with its id."""
        return self._write(entries.add, entry, who)

    def pairs(self) -> tuple[Pair, ...]:
        """All pairs, oldest first, struck ones included."""
        return self._read(entries.every, Pair)

    def pairs_of(self, ski_id: str) -> tuple[Pair, ...]:
        """The pairs read on a ski, oldest first, struck ones included."""
        return self._read(entries.every, Pair, ski_id=ski_id)

    def curves_of(self, ski_id: str) -> tuple[Curve, ...]:
        """The measurements of a ski's base, oldest first, struck ones included."""
        return self._read(entries.every, Curve, ski_id=ski_id)

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

    def study_readings(self, study_id: str) -> tuple[StudyReading, ...]:
        """The readings of a study in order, struck ones included."""
        return self._read(entries.every, StudyReading, study_id=study_id)
