"""A ski on the bench: what is known of it and can be done next, and its line in the day's list."""

from __future__ import annotations

import math
from dataclasses import field
from typing import TYPE_CHECKING, Literal

from workbench.advice.checklists import CheckItem, final_items
from workbench.errors import BenchError, OutOfReachError
from workbench.fin.frame import Pose
from workbench.fin.plan.plan import BY_HAND, Plan, Step
from workbench.fin.plan.uncertainty import Expected, Explanation
from workbench.fin.pose.equations import Reading
from workbench.fin.reading.method import Method
from workbench.fin.reading.rig import Rig
from workbench.frozen import dataclass
from workbench.measure.doubtful import CRITICAL
from workbench.measure.repeats import mean_of
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.records.tables.days import DayItem, Unread
from workbench.work.job.ski_state import conclude
from workbench.work.job.stages import NOT_RELEASED, STAGE_GLYPHS, Asked, Progress, Stage, progress
from workbench.work.order.round_records import SETTLED, WING_AIM, last_mark, last_of, live
from workbench.work.trust.job_reading import Line
from workbench.work.trust.plausibility import RIDDEN_U_MM, AgainstExpected, Contradiction
from workbench.work.trust.reading_budget import budget_of
from workbench.work.trust.reading_tools import Tools
from workbench.work.trust.shop_policy import AS_LAST_TIME, SHIPPED_RULES, Rules
from workbench.work.trust.wing_setup import hold_numbered

if TYPE_CHECKING:
    from workbench.work.learn.what_learnt import NextAct


@dataclass(frozen=True, slots=True)
class CoarseMark:
    """A coarse mark of the blade and what was read by it in the round under way (mm).

    ``latest`` are its repeats, in order; the mean of them counts, with the mark's own u.
    ``expected_mm`` is what the ski's own readings of this round would give for it, or until they
    are there the last ones and the turns since; ``u_mm`` how far that is known. Both are None where
    nothing tells.
    """

    method_id: str
    method: Method
    latest: tuple[rows.Reading, ...] = ()
    expected_mm: float | None = None
    u_mm: float | None = None

    @property
    def reading(self) -> Reading | None:
        """What the mark says; None where it was not read in this round."""
        if not self.latest or self.method.stated_u_mm is None:
            return None
        value = mean_of([r.mm for r in self.latest])
        return Reading(self.method, value, self.method.stated_u_mm)

    @property
    def off_mm(self) -> float | None:
        """Read less expected; None without both."""
        if self.reading is None or self.expected_mm is None:
            return None
        return self.reading.value_mm - self.expected_mm

    def is_near(self, mm: float) -> bool | None:
        """Whether a number is about what this mark should read; None where nothing is expected."""
        if self.expected_mm is None or self.u_mm is None:
            return None
        u = math.hypot(self.u_mm, self.method.stated_u_mm or 0.0)
        return abs(mm - self.expected_mm) <= CRITICAL * u

    @property
    def agrees(self) -> bool | None:
        """Whether the mark bears the others out; None where there is nothing to compare."""
        return None if self.reading is None else self.is_near(self.reading.value_mm)


@dataclass(frozen=True, slots=True)
class JobView:
    """Everything the bench shows of one job, as values.

    ``corrected`` names the parts that were corrected later and are shown here as they were.
    ``made`` are the turns that the readings after a round bear out, the best explanation first;
    ``has_last``: the ski was signed off here before, and nothing is aimed at yet.
    ``why`` is the error for which there is no pose or no plan; None where nothing is in the way.
    ``seen`` is what there was of the ski when this was read: an act goes by it.
    ``stand_in`` names the parts that are invented; ``finer`` is the turn that would bring the
    targets within tolerance where the finest turn of the job does not; ``wing_hold`` is where the
    shop holds its straightedge. ``learnt`` is the next act by what was learnt, where turns go by
    that: then ``plan`` is of its turns.
    """

    job: rows.Job
    ski: rows.Ski
    blade_name: str
    block_name: str
    rig: Rig
    progress: Progress
    facts: tuple[rows.AnyFact, ...]
    finest_turn: float
    baseline: rows.Baseline | None
    lines: tuple[Line, ...] = ()
    pose: Pose | None = None
    plan: Plan | None = None
    why: BenchError | None = field(default=None, compare=False)
    expected: tuple[Expected, ...] = ()
    tools: Tools = field(default_factory=Tools)
    left: tuple[Expected, ...] = ()
    rules: Rules = SHIPPED_RULES
    marks: tuple[CoarseMark, ...] = ()
    contradictions: tuple[Contradiction, ...] = ()
    corrected: tuple[str, ...] = ()
    seen: rows.SkiSeen = rows.NOTHING_SEEN
    made: tuple[Explanation, ...] = ()
    has_last: bool = False
    stand_in: tuple[str, ...] = ()
    finer: float | None = None
    wing_hold: str = ""
    learnt: NextAct | None = field(default=None, compare=False)

    @property
    def stage(self) -> Stage:
        """The stage the job is at."""
        return self.progress.stage

    @property
    def unreachable(self) -> OutOfReachError | None:
        """The error where the target is out of reach, else None."""
        return self.why if isinstance(self.why, OutOfReachError) else None

    @property
    def due(self) -> int | None:
        """The index of the reading that is due, or None."""
        if self.stage not in ("as received", "measuring"):
            return None
        for i, line in enumerate(self.lines):
            if len(line.latest) < self.rules.repeats:
                return i
        return None

    @property
    def reads_locked(self) -> bool:
        """Whether a reading taken now is one with the clamp bolts tight for good."""
        return self.stage == "sign-off"

    @property
    def held_to_left(self) -> bool:
        """Whether a reading is held against how the ski left: nothing was turned here since."""
        return self.stage == "as received" or self.job.kind == "recheck"

    @property
    def lock_due(self) -> int | None:
        """The index of the reading offered next with the clamp bolts tight for good, or None."""
        if not self.reads_locked:
            return None
        return next((i for i, line in enumerate(self.lines) if line.locked_mm is None), None)

    @property
    def may_go_on(self) -> bool:
        """Whether fewer repeats than the shop wants would do: there is one of each reading."""
        return self.due is not None and all(line.latest for line in self.lines)

    def held_against(self, line: Line, mm: float) -> AgainstExpected | None:
        """Return a number read now (mm) beside what was to be expected of it; None where nothing
        tells that."""
        expected = self._expected(line)
        if expected is None:
            return None
        now_mm, u_mm, figures = self.tools.about_to_take(line.method_id, line.method, mm)
        dof = math.inf
        if u_mm is None:
            budget = budget_of([now_mm], expected.height_slope, figures)
            u_mm, dof = budget.u, budget.dof
        others = {
            e.method.name: e.value_mm
            for e in self._foreseen
            if e.method.quantity == line.method.quantity
            and e is not expected
            and not e.method.is_coarse
        }
        return AgainstExpected(expected, now_mm, u_mm, others, dof)

    @property
    def _foreseen(self) -> tuple[Expected, ...]:
        return self.left if self.held_to_left else self.expected

    def expected_mm(self, line: Line) -> float | None:
        """Return what a reading should be now (mm), where anything tells it: while measuring, the
        turns made; as received, how the ski left, or its baseline."""
        expected = self._expected(line)
        return expected.value_mm if expected is not None else None

    def _expected(self, line: Line) -> Expected | None:
        expected = next((e for e in self._foreseen if e.method.name == line.method.name), None)
        if expected is not None or not self.held_to_left:
            return expected
        # A ski that never left this bench is held against its baseline.
        entries = self.baseline.entries if self.baseline is not None and not self.left else ()
        entry = next((e for e in entries if e.method_name == line.method.name), None)
        return Expected(line.method, entry.mm, RIDDEN_U_MM) if entry is not None else None

    def contradicts(self, line: Line) -> bool:
        """Whether the other readings of this round contradict this one."""
        return any(c.reading.method.name == line.method.name for c in self.contradictions)

    @property
    def offers_last(self) -> bool:
        """Whether the job was queued to be set as last time, and nothing is aimed at yet."""
        asked = self.job.note.startswith(AS_LAST_TIME)
        return asked and self.stage == "target" and not self.progress.targets

    @property
    def offered_target(self) -> Literal["last", "baseline", ""]:
        """Which setting is offered as the target where nothing is aimed at yet."""
        if self.stage != "target" or self.progress.targets:
            return ""
        if self.has_last:
            return "last"
        return "baseline" if self.baseline is not None else ""

    @property
    def is_final(self) -> bool:
        """Whether the checklist that is due is the final one; a re-check has no other."""
        waits = self.stage == "waiting" and self.job.kind == "recheck"
        return waits or self.stage == "final check"

    @property
    def begins_final(self) -> bool:
        """Whether a re-check's final check has just begun, by its first tick."""
        return self.job.kind == "recheck" and self.stage == "final check"

    @property
    def checklist(self) -> tuple[CheckItem, ...]:
        """The checklist that is due at this stage, else nothing."""
        if self.is_final:
            return final_items(self.ski.has_wing, self.rules.final_now)
        return self.rules.received_now if self.stage in ("waiting", "received check") else ()

    @property
    def check_due(self) -> CheckItem | None:
        """The item of the checklist that is to be ticked next."""
        return next((i for i in self.checklist if i.key not in self.progress.ticked), None)

    @property
    def offers_settling(self) -> bool:
        """Whether its studs may be settled first: nothing is read yet, and turns go by learning."""
        if self.stage != "as received" or not self.rules.learns_at("~"):
            return False
        return not live(self.facts, rows.Reading) and last_mark(self.facts, SETTLED) is None

    @property
    def steps(self) -> tuple[Step, ...]:
        """The acts of the round: those of the plan; by hand where turns need a part that is not
        known yet; none where there is no plan."""
        if self.plan is not None:
            return self.plan.steps
        return BY_HAND if self.rig.missing else ()

    @property
    def has_round(self) -> bool:
        """Whether there is a round to make: studs to turn, or a blade to push home."""
        return any(step.do == "loosen" for step in self.steps)

    @property
    def wing_set(self) -> rows.WingSetting | None:
        """The wing as set in this job; None where it was not set."""
        return last_of(self.facts, rows.WingSetting)

    @property
    def wing_set_deg(self) -> float | None:
        """The wing's angle as set in this job; None where it was not set."""
        return self.wing_set.angle_deg if self.wing_set is not None else None

    @property
    def wing_wanted_deg(self) -> float | None:
        """The wing's angle wanted in this job: one aimed at, else the baseline's; None without."""
        if self.wing_aim is not None:
            return float(self.wing_aim.text)
        return self.baseline.wing_deg if self.baseline is not None else None

    @property
    def wing_wanted_hold(self) -> rows.WingHold:
        """Where the straightedge lay when the angle aimed at was set; nothing where not known."""
        return hold_numbered(self.wing_aim.number) if self.wing_aim is not None else ""

    @property
    def wing_hold_due(self) -> str:
        """Where the straightedge is to lie now: as for the angle wanted, else as the shop does."""
        return self.wing_wanted_hold or self.wing_hold

    @property
    def wing_aim(self) -> rows.Mark | None:
        """The mark of the wing's angle aimed at in this job; None without."""
        return last_mark(self.facts, WING_AIM)

    @property
    def unreleased(self) -> str:
        """Why the job's sign-off releases nothing; empty where it does or is none."""
        return self.progress.unreleased


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
        return STAGE_GLYPHS[self.stage] if self.read else "…"

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
