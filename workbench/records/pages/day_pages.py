"""The pages of a book that lists and sums are made of: whole days, every ski in few words."""

from __future__ import annotations

from collections.abc import Iterable

from workbench.records.desk.door import Door
from workbench.records.store.rows import QueueItem
from workbench.records.tables import days, find, roster
from workbench.records.tables.days import DayItem, JobTimes, Unread
from workbench.records.tables.find import KnownSki


class DayPages(Door):
    """Days, known skis, and the settings that rules are made of."""

    def day_list(self, day: str, *, with_unfinished: bool = False) -> tuple[DayItem, ...]:
        """A day's queue by rank with all that stages are read off, in a fixed number of queries.

        ``with_unfinished``: what earlier days left open comes before it.
        """
        return self._read(days.day_list, day, with_unfinished=with_unfinished)

    def day_around(self, day: str, near: str) -> tuple[DayItem | Unread, ...]:
        """A day's queue behind what earlier days left open, read of the jobs around one alone.

        ``near`` is its id; where it is not in the list, it is read around the first that is open.
        """
        return self._read(days.day_around, day, near)

    def job_times(self, job_ids: Iterable[str]) -> tuple[JobTimes, ...]:
        """When those of these jobs that are signed off were begun, broken off and signed off."""
        return self._read(days.job_times, tuple(job_ids))

    def ridden_since(self, first_day: str, day: str) -> tuple[QueueItem, ...]:
        """The settings signed off on the last such day before ``day`` whose ski has no newer job.

        ``first_day`` is the earliest day that counts.
        """
        return self._read(days.ridden_since, first_day, day)

    def last_setting(self, ski_id: str, before: str | None = None) -> str | None:
        """The id of a ski's latest signed-off setting, older than the job ``before``; or None."""
        return self._read(days.last_setting, ski_id, before)

    def seen_range_mm(self, method_id: str) -> tuple[float, float] | None:
        """The least and the largest reading (mm) ever kept by a method; None without one."""
        return self._read(days.seen_range_mm, method_id)

    def known_skis(self) -> tuple[KnownSki, ...]:
        """All skis that are not struck out, newest first, in few words."""
        return self._read(find.known_skis)

    def settings_kept(self, names: Iterable[str]) -> dict[str, tuple[tuple[str, str], ...]]:
        """Every value kept under each of these names with the id of its row, oldest first.

        A name that was never set is left out.
        """
        return self._read(roster.settings_kept, tuple(names))
