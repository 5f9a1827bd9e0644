"""A ski on the bench from received to signed off: what is known of it and what can be done next."""

from __future__ import annotations

import math
from dataclasses import field

from workbench.advice.checklists import CheckItem, final_items
from workbench.advice.torque import note_for
from workbench.errors import BenchError, OutOfReachError
from workbench.fin.foresight import Expected
from workbench.fin.guidance import Plan, Rig
from workbench.fin.pose import Pose
from workbench.frozen import dataclass
from workbench.measure.display import turn_text
from workbench.measure.units import Unit
from workbench.records import rows
from workbench.work.doubts import (
    Contradiction,
    Suspect,
    doubt_of,
    doubt_words,
    moved_question,
    moved_words,
    suspects_in,
)
from workbench.work.extra_readings import Mark
from workbench.work.gauges import Tools
from workbench.work.reading_lines import Line as Line
from workbench.work.rules import AS_LAST_TIME, SHIPPED, Rules
from workbench.work.stages import Progress, Stage
from workbench.work.trust import budget_of
from workbench.work.withdrawn import withdrawn_from
from workbench.work.words import clean, error_words, remark_words

WING_AIM = "wing_aim"
"""The kind of mark that keeps the wing's angle wanted, in degrees."""

TAKEN_BACK = "taken back"
"""The reason with which the last entry is struck out when it is taken back."""


@dataclass(frozen=True, slots=True)
class JobView:
    """Everything the bench shows of one job, as values.

    ``corrected`` names the parts that were corrected later and are shown here as they were.
    ``why`` is the error for which there is no pose or no plan; None where nothing is in the way.
    ``stand_in`` names the parts that are invented; ``finer`` is the turn that would bring the
    targets within tolerance where the finest turn of the job does not; ``wing_hold`` is where the
    shop holds its straightedge.
    """

    job: rows.Job
    ski: rows.Ski
    blade_name: str
    block_name: str
    rig: Rig
    lines: tuple[Line, ...]
    progress: Progress
    facts: tuple[rows.AnyFact, ...]
    finest_turn: float
    pose: Pose | None
    plan: Plan | None
    why: BenchError | None = field(compare=False)
    baseline: rows.Baseline | None
    expected: tuple[Expected, ...] = ()
    tools: Tools = field(default_factory=Tools)
    left: tuple[Expected, ...] = ()
    rules: Rules = SHIPPED
    marks: tuple[Mark, ...] = ()
    contradictions: tuple[Contradiction, ...] = ()
    corrected: tuple[str, ...] = ()
    stand_in: tuple[str, ...] = ()
    finer: float | None = None
    wing_hold: str = ""

    @property
    def stage(self) -> Stage:
        """The stage the job is at."""
        return self.progress.stage

    @property
    def trouble(self) -> str:
        """Why there is no pose or no plan, in the ski's own unit, or nothing."""
        return self.trouble_in(self.ski.unit)

    def trouble_in(self, unit: Unit) -> str:
        """Return why there is no pose or no plan, its lengths in ``unit``, or nothing."""
        return error_words(self.why, unit) if self.why is not None else ""

    def target_warning_in(self, unit: Unit) -> str:
        """Return the first thing that warns of the turns to the target, or nothing.

        A change smaller than its uncertainty is told beside the target itself.
        """
        if self.plan is None:
            return self.trouble_in(unit)
        told = (r for r in self.plan.remarks if r.code not in ("within", "insignificant"))
        first = next(told, None)
        return remark_words(first, unit) if first is not None else ""

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
        return self.stage == "sign-off" and self.job.kind == "setting"

    @property
    def lock_due(self) -> int | None:
        """The index of the reading offered next with the clamp bolts tight for good, or None."""
        if not self.reads_locked:
            return None
        return next((i for i, line in enumerate(self.lines) if line.locked_mm is None), None)

    @property
    def stand_in_words(self) -> str:
        """That the ski is set on an invented part, as a warning; or nothing."""
        if not self.stand_in:
            return ""
        return f"STAND-IN {' AND '.join(self.stand_in).upper()}: turns are approximate"

    @property
    def may_go_on(self) -> bool:
        """Whether fewer repeats than the shop wants would do: there is one of each reading."""
        return self.due is not None and all(line.latest for line in self.lines)

    def doubt(self, line: Line, text: str, unit: Unit, mm: float, shown_in: Unit) -> str:
        """Return why a reading about to be kept cannot be right, or nothing.

        While measuring after a pass the last readings and the turns made say what to expect; as
        received it is the setting that the ski left with, where it left this bench before.
        """
        now_mm, u_read, dof, expected = self._against(line, mm)
        if expected is None:
            return ""
        foreseen = self.left if self.stage == "as received" else self.expected
        others = {
            e.method.name: e.value_mm
            for e in foreseen
            if e.method.quantity == line.method.quantity
            and e is not expected
            and not e.method.is_coarse
        }
        if self.stage == "as received":
            typed = (text, unit)
            return moved_question(expected, now_mm, u_read, typed, others, shown_in, dof)
        found = doubt_of(expected, now_mm, u_read, (text, unit), others, dof)
        return doubt_words(found, expected, shown_in) if found is not None else ""

    def since_left(self, line: Line, mm: float, shown_in: Unit) -> str:
        """Return how a reading as received differs from the setting it left with, or nothing."""
        now_mm, u_read, _, expected = self._against(line, mm)
        if expected is None or self.stage != "as received":
            return ""
        return moved_words(expected, now_mm, u_read, shown_in)

    def _against(self, line: Line, mm: float) -> tuple[float, float, float, Expected | None]:
        """Return a number read now (mm at 20 degrees), its u with the degrees of freedom of that,
        and what was to be expected."""
        foreseen = self.left if self.stage == "as received" else self.expected
        expected = next((e for e in foreseen if e.method.name == line.method.name), None)
        now_mm, stated, figures = self.tools.about_to_take(line.method_id, line.method, mm)
        slope = expected.height_slope if expected is not None else 0.0
        if stated is not None:
            return now_mm, stated, math.inf, expected
        budget = budget_of([now_mm], slope, figures)
        return now_mm, budget.u, budget.dof, expected

    def suspects(self, unit: Unit) -> tuple[Suspect, ...]:
        """Return the readings of this pass to take again, for the others contradict them."""
        return suspects_in(self.contradictions, unit)

    def contradicts(self, line: Line) -> bool:
        """Whether the other readings of this pass contradict this one."""
        return any(c.reading.method.name == line.method.name for c in self.contradictions)

    @property
    def corrected_words(self) -> tuple[str, ...]:
        """Which parts were corrected later, and why the job is shown by them as they were."""
        why = "this pass is finished as it was begun" if self.progress.mid_pass else "as it was"
        if self.stage == "signed off":
            why = "what was signed off is shown as it was"
        return tuple(f"{words}: {why}" for words in self.corrected)

    @property
    def offers_last(self) -> bool:
        """Whether the job was queued to be set as last time, and nothing is aimed at yet."""
        asked = self.job.note.startswith(AS_LAST_TIME)
        return asked and self.stage == "target" and not self.progress.targets

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
    def check_name(self) -> str:
        """What the checklist that is due is called."""
        if self.job.kind == "recheck":
            return "Re-check after the ride"
        return "Final check" if self.is_final else "Received check"

    @property
    def eyes_words(self) -> str:
        """Whose second pair of eyes looked at the ski, where the shop asks for one."""
        if not self.rules.second_eyes:
            return ""
        return f"Second pair of eyes: {clean(self.progress.eyes) or 'wanted first'}."

    @property
    def torque_words(self) -> str:
        """How the fastener of the item that is due is brought up, else nothing."""
        item = self.check_due
        return note_for(item.key, self.rules.torque) if item is not None else ""

    @property
    def within_words(self) -> str:
        """How surely the readings are within their tolerances, the least sure of them first."""
        sure = all(line.nearness in (None, "sure") for line in self.lines)
        return "Surely within tolerance" if sure else "Within tolerance, not clear of uncertainty"

    @property
    def no_turn_why(self) -> str:
        """Why no turn is to be made though the readings are not accepted."""
        if self.progress.mid_pass:
            return "what was set meanwhile asks for no turn, and a stud was turned"
        if any(line.accepted_mm < 0 for line in self.lines if line.u_mm):
            return "the guard band fills the tolerance"
        return "no turn this coarse comes closer"

    @property
    def no_turn_words(self) -> str:
        """Why no turn is to be made though the readings are not accepted, and what to do."""
        why = self.no_turn_why
        if self.progress.mid_pass:
            return f"{why}: turn it back, and u takes its steps back"
        finer = f"f for a finer turn{f' ({turn_text(self.finer)} would do)' if self.finer else ''},"
        more = "more repeats, or" if why.startswith("the guard") else finer
        return f"{why}: {more} k keeps it as it is"

    @property
    def wing_set_deg(self) -> float | None:
        """The wing's angle as set in this job; None where it was not set."""
        kept = [f for f in self.facts if isinstance(f, rows.WingSetting) and f.struck is None]
        return kept[-1].angle_deg if kept else None

    @property
    def wing_wanted_deg(self) -> float | None:
        """The wing's angle wanted in this job: one aimed at, else the baseline's; None without."""
        aimed = [f for f in self.facts if isinstance(f, rows.Mark) and f.kind == WING_AIM]
        live = [f for f in aimed if f.struck is None]
        if live:
            return float(live[-1].text)
        return self.baseline.wing_deg if self.baseline is not None else None

    @property
    def withdrawn(self) -> str:
        """What the sign-off rested on and was struck out since, in words; or nothing."""
        if self.stage != "signed off":
            return ""
        return withdrawn_from(self.facts, self.ski.methods, self.ski.has_wing)

    @property
    def withdrawn_words(self) -> str:
        """That the sign-off releases nothing and why, as a sentence; or nothing."""
        what = self.withdrawn
        return f"Signed off, but its {what} was struck out since: not to be ridden." if what else ""

    @property
    def stage_words(self) -> str:
        """The stage in words, with its pass."""
        if self.job.kind == "recheck" and self.stage == "waiting":
            return "re-check"
        if self.withdrawn:
            return "signed off, NOT RELEASED"
        if self.stage in ("turning", "measuring"):
            number = self.progress.pass_number + (self.stage == "turning")
            return f"{self.stage}, pass {number}"
        return self.stage if self.stage != "within" else "within tolerance"
