"""A line of the day's list: what it shows of a job, read off a few queries for the whole day."""

from __future__ import annotations

from workbench.frozen import dataclass
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.records.tables.days import DayItem, Unread
from workbench.work.job.ski_state import conclude
from workbench.work.job.stages import (
    GLYPHS,
    NOT_RELEASED,
    Asked,
    Stage,
    progress,
)
from workbench.work.order.shop_policy import Rules

UNRELEASED_GLYPH = "!"
"""The sign of a ski whose sign-off releases nothing."""


@dataclass(frozen=True, slots=True)
class RosterLine:
    """One ski of the day: its job, names as typed, stage and round; ``day`` is the job's own.

    ``read``: whether it was read; where it was not, only its place and a sign-off were. ``loose``:
    whether the ski's clamp bolts are loose. ``unreleased`` says why its sign-off releases nothing.
    """

    job_id: str
    ski_name: str
    rider: str
    unit: Unit
    due: str
    stage: Stage
    pass_number: int
    serial: str = ""
    note: str = ""
    ski_note: str = ""
    ski_id: str = ""
    kind: rows.JobKind = "setting"
    day: str = ""
    rank: float = 0.0
    reason: str = ""
    read: bool = True
    loose: bool = False
    unreleased: str = ""

    @property
    def is_done(self) -> bool:
        """Whether it was signed off by what was kept of the ski."""
        return self.stage == "signed off" and not self.unreleased

    @property
    def glyph(self) -> str:
        """A sign for the stage; the word is beside it."""
        if self.unreleased:
            return UNRELEASED_GLYPH
        return GLYPHS[self.stage] if self.read else "…"

    @property
    def stage_words(self) -> str:
        """The stage in words, with the round that is under way."""
        if not self.read:
            return "…"
        if self.unreleased:
            return NOT_RELEASED
        if self.kind == "recheck" and self.stage == "waiting":
            return "re-check"
        if self.stage in ("turning", "measuring"):
            return f"{self.stage} {self.pass_number + (self.stage == 'turning')}"
        return "on target" if self.stage == "within" else str(self.stage)


def roster_line(each: DayItem | Unread, rules: Rules) -> RosterLine:
    """Return a job's line; whether a guard band lets its readings be within is not looked at."""
    if isinstance(each, Unread):
        stage: Stage = "signed off" if each.signed_off else "waiting"
        return RosterLine(each.job_id, "", "", "in", "", stage, 0, read=False)
    item, job = each.item, each.item.job
    asked = Asked(dict(each.methods), each.has_wing, job.kind)
    at = progress(each.facts, asked, conclude(each.ski, rules).jobs[job.id], rules)
    return RosterLine(
        job.id, item.ski_name, item.rider, item.unit, job.due, at.stage, at.pass_number,
        item.serial, job.note, each.ski_note, job.ski_id, job.kind, job.day, job.rank, at.reason,
        loose=at.loose, unreleased=at.unreleased,
    )  # fmt: skip
