"""A line of the day's list: what it shows of a job, read off a few queries for the whole day."""

from __future__ import annotations

from workbench.frozen import dataclass
from workbench.measure.units import Unit
from workbench.records import rows
from workbench.records.days import DayItem, Unread
from workbench.work.rules import Rules
from workbench.work.stages import GLYPHS, Stage, progress


@dataclass(frozen=True, slots=True)
class RosterLine:
    """One ski of the day: its job, names as typed, stage and pass; ``day`` is the job's own.

    ``read``: whether it was read; where it was not, only its place and a sign-off were. ``loose``:
    whether a pass was begun and its clamp bolts are loose.
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

    @property
    def glyph(self) -> str:
        """A sign for the stage; the word stands beside it."""
        return GLYPHS[self.stage] if self.read else "…"

    @property
    def stage_words(self) -> str:
        """The stage in words, with the pass that is under way."""
        if not self.read:
            return "…"
        if self.kind == "recheck" and self.stage == "waiting":
            return "re-check"
        if self.stage in ("turning", "measuring"):
            return f"{self.stage} {self.pass_number + (self.stage == 'turning')}"
        return "within tolerance" if self.stage == "within" else str(self.stage)


def roster_line(each: DayItem | Unread, rules: Rules) -> RosterLine:
    """Return a job's line; whether a guard band lets its readings be within is not looked at."""
    if isinstance(each, Unread):
        stands: Stage = "signed off" if each.signed_off else "waiting"
        return RosterLine(each.job_id, "", "", "in", "", stands, 0, read=False)
    item, job = each.item, each.item.job
    stage: Stage = "signed off"
    number, reason, loose = each.passes, "", False
    if not item.signed_off:
        methods = dict(each.methods)
        at = progress(
            each.facts, tuple(methods), methods, each.has_wing, kind=job.kind, rules=rules
        )
        stage, number, reason, loose = at.stage, at.pass_number, at.reason, at.loose
    return RosterLine(
        job.id, item.ski_name, item.rider, item.unit, job.due, stage, number, item.serial,
        job.note, each.ski_note, job.ski_id, job.kind, job.day, job.rank, reason,
        loose=loose,
    )  # fmt: skip
