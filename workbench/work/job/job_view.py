"""A ski on the bench from received to signed off: what is known of it and what can be done next."""

from __future__ import annotations

import math
from dataclasses import field
from typing import TYPE_CHECKING, Literal

from workbench.advice.checklists import CheckItem, final_items
from workbench.advice.torque import note_for
from workbench.errors import BenchError, OutOfReachError
from workbench.fin.frame.pose import Pose
from workbench.fin.plan.expectation import Expected
from workbench.fin.plan.guidance import Plan, Rig, Step
from workbench.fin.plan.plan import BY_HAND
from workbench.fin.plan.remarks import COVERAGE
from workbench.fin.plan.turns_made import Explanation
from workbench.frozen import dataclass
from workbench.measure.display import fine_text, turn_text
from workbench.measure.slips import same_digits
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.work.job.extra_readings import Mark
from workbench.work.job.stages import (
    NOT_RELEASED,
    Progress,
    Stage,
    way_on,
)
from workbench.work.order.shop_policy import AS_LAST_TIME, SHIPPED, Rules
from workbench.work.order.turn_records import SETTLED
from workbench.work.text.words import clean, error_words, remark_words
from workbench.work.trust.caliper_figures import Tools
from workbench.work.trust.job_reading import Line
from workbench.work.trust.plausibility import (
    RIDDEN_U_MM,
    Contradiction,
    Suspect,
    doubt_of,
    doubt_words,
    made_words,
    moved_question,
    moved_words,
    suspects_in,
    unseen_question,
)
from workbench.work.trust.reading_budget import budget_of
from workbench.work.trust.wing_setup import hold_numbered

if TYPE_CHECKING:
    from workbench.work.learn.next_act import NextAct

WING_AIM = "wing_aim"
"""The kind of mark that keeps the wing's angle wanted, in degrees."""


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
    seen: rows.Seen = rows.NOTHING_SEEN
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

        The same digits as the reading before may have been sent twice. While measuring after a
        round the last readings and the turns made say what to expect; as received it is the
        setting that the ski left with, or its baseline where it never left this bench.
        """
        twice = self.sent_twice(line, text)
        if twice:
            return twice
        now_mm, u_read, dof, expected = self._against(line, mm)
        if expected is None:
            return unseen_question(line, mm, shown_in)
        foreseen = self.left if self.held_to_left else self.expected
        others = {
            e.method.name: e.value_mm
            for e in foreseen
            if e.method.quantity == line.method.quantity
            and e is not expected
            and not e.method.is_coarse
        }
        if self.held_to_left:
            far_mm, typed = self.rules.far_received_mm, (text, unit)
            known = "the setting it left with" if self.left else "its baseline"
            return moved_question(
                expected, now_mm, u_read, typed, others, shown_in, far_mm, known, dof
            )
        found = doubt_of(expected, now_mm, u_read, (text, unit), others, dof)
        return doubt_words(found, expected, shown_in) if found is not None else ""

    def since_left(self, line: Line, mm: float, shown_in: Unit) -> str:
        """Return how a reading as received differs from the setting it left with, or nothing."""
        now_mm, u_read, _, expected = self._against(line, mm)
        if expected is None or not self.held_to_left:
            return ""
        return moved_words(expected, now_mm, u_read, shown_in)

    def _against(self, line: Line, mm: float) -> tuple[float, float, float, Expected | None]:
        """Return a number read now (mm at 20 degrees), its u with the degrees of freedom of that,
        and what was to be expected."""
        expected = self._expected(line)
        now_mm, stated, figures = self.tools.about_to_take(line.method_id, line.method, mm)
        slope = expected.height_slope if expected is not None else 0.0
        if stated is not None:
            return now_mm, stated, math.inf, expected
        budget = budget_of([now_mm], slope, figures)
        return now_mm, budget.u, budget.dof, expected

    def expected_mm(self, line: Line) -> float | None:
        """Return what a reading should be now (mm), where anything tells it: while measuring, the
        turns made; as received, how the ski left, or its baseline."""
        expected = self._expected(line)
        return expected.value_mm if expected is not None else None

    def _expected(self, line: Line) -> Expected | None:
        foreseen = self.left if self.held_to_left else self.expected
        expected = next((e for e in foreseen if e.method.name == line.method.name), None)
        if expected is None and self.held_to_left:
            expected = self._at_baseline(line)
        return expected

    def _at_baseline(self, line: Line) -> Expected | None:
        """Return what the baseline says of a reading, for a ski that never left this bench."""
        entries = self.baseline.entries if self.baseline is not None and not self.left else ()
        entry = next((e for e in entries if e.method_name == line.method.name), None)
        return Expected(line.method, entry.mm, RIDDEN_U_MM) if entry is not None else None

    def sent_twice(self, line: Line, text: str) -> str:
        """Return the question about the digits of the reading kept just before, or nothing."""
        kept = [f for f in self.facts if isinstance(f, rows.Reading) and f.struck is None]
        if not kept or kept[-1].method_id == line.method_id or not same_digits(kept[-1].text, text):
            return ""
        if kept[-1].pass_number != self.progress.pass_number:
            return ""
        before = next((x for x in self.lines if x.method_id == kept[-1].method_id), None)
        return f"the same number as {before.method.quantity}: sent twice?" if before else ""

    def made_words(self, unit: Unit) -> str:
        """Return what the readings say of the turns really made, where not as meant; or nothing."""
        return made_words(self.made, unit)

    def suspects(self, unit: Unit) -> tuple[Suspect, ...]:
        """Return the readings of this round to take again, for the others contradict them."""
        return suspects_in(self.contradictions, unit)

    def contradicts(self, line: Line) -> bool:
        """Whether the other readings of this round contradict this one."""
        return any(c.reading.method.name == line.method.name for c in self.contradictions)

    @property
    def corrected_words(self) -> tuple[str, ...]:
        """Which parts were corrected later, and why the job is shown by them as they were."""
        why = "this round is finished as it was begun" if self.progress.mid_pass else "as it was"
        if self.stage == "signed off":
            why = "what was signed off is shown as it was"
        return tuple(f"{words}: {why}" for words in self.corrected)

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
        return "On target" if sure else "On target, within caliper doubt"

    @property
    def offers_settling(self) -> bool:
        """Whether its studs may be settled first: nothing is read yet, and turns go by learning."""
        if self.stage != "as received" or not self.rules.learns_at("~"):
            return False
        live = [f for f in self.facts if f.struck is None]
        settled = any(isinstance(f, rows.Mark) and f.kind == SETTLED for f in live)
        return not settled and not any(isinstance(f, rows.Reading) for f in live)

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

    def learnt_words(self, unit: Unit) -> str:
        """Return the next act by what was learnt, with how sure it is; or nothing."""
        if self.learnt is None or self.stage not in ("turning", "within"):
            return ""
        return self.learnt.words(self.finest_turn, unit, self.rules.dial)

    @property
    def no_turn_why(self) -> str:
        """Why no turn is to be made though the readings are not accepted."""
        if self.progress.mid_pass:
            return "what was set meanwhile asks for no turn, and a stud was turned"
        for line in self.lines:
            if line.u_mm and line.accepted_mm < 0:
                unit = self.ski.unit
                band = fine_text(COVERAGE * line.u_mm, unit)
                return (
                    f"the guard band of {line.method.name}, 2 u = {band} {unit}, fills its "
                    f"tolerance of {fine_text(line.tolerance_mm, unit)}"
                )
        if self.learnt is not None:
            words = self.learnt_words(self.ski.unit).rstrip(".")
            return f"{words[0].lower()}{words[1:]}"
        return "no turn this coarse comes closer"

    @property
    def no_turn_words(self) -> str:
        """Why no turn is to be made though the readings are not accepted, and what to do."""
        why = self.no_turn_why
        if self.progress.mid_pass:
            return f"{why}: turn it back, and u takes its steps back"
        finer = f"f for a finer turn{f' ({turn_text(self.finer)} would do)' if self.finer else ''},"
        more = "more repeats, a wider tolerance, or" if why.startswith("the guard") else finer
        return f"{why}: {more} k keeps it as it is"

    @property
    def wing_set(self) -> rows.WingSetting | None:
        """The wing as set in this job; None where it was not set."""
        kept = [f for f in self.facts if isinstance(f, rows.WingSetting) and f.struck is None]
        return kept[-1] if kept else None

    @property
    def wing_set_deg(self) -> float | None:
        """The wing's angle as set in this job; None where it was not set."""
        return self.wing_set.angle_deg if self.wing_set is not None else None

    @property
    def wing_wanted_deg(self) -> float | None:
        """The wing's angle wanted in this job: one aimed at, else the baseline's; None without."""
        if self._wing_aim is not None:
            return float(self._wing_aim.text)
        return self.baseline.wing_deg if self.baseline is not None else None

    @property
    def wing_wanted_hold(self) -> rows.WingHold:
        """Where the straightedge lay when the angle aimed at was set; nothing where not known."""
        return hold_numbered(self._wing_aim.number) if self._wing_aim is not None else ""

    @property
    def wing_wanted_from(self) -> str:
        """Where the angle wanted is from, in words; nothing where its hold is not known."""
        if self._wing_aim is None:
            return "by the baseline"
        return f"held at the {self.wing_wanted_hold}" if self.wing_wanted_hold else ""

    @property
    def wing_hold_due(self) -> str:
        """Where the straightedge is to lie now: as for the angle wanted, else as the shop does."""
        return self.wing_wanted_hold or self.wing_hold

    @property
    def _wing_aim(self) -> rows.Mark | None:
        aimed = [f for f in self.facts if isinstance(f, rows.Mark) and f.kind == WING_AIM]
        return next((f for f in reversed(aimed) if f.struck is None), None)

    @property
    def unreleased(self) -> str:
        """Why the job's sign-off releases nothing, in words; empty where it does or is none."""
        return self.progress.unreleased

    @property
    def unreleased_words(self) -> str:
        """That the sign-off releases nothing and why, as a sentence; or nothing."""
        why = self.unreleased
        return f"Signed off, but {why}: not to be ridden." if why else ""

    @property
    def elsewhere_words(self) -> str:
        """That another job of the ski has to be finished first, as a sentence; or nothing."""
        why = self.progress.state.elsewhere
        return f"{why[0].upper()}{why[1:]}: {way_on(why)}." if why else ""

    @property
    def stage_words(self) -> str:
        """The stage in words, with its round."""
        if self.job.kind == "recheck" and self.stage == "waiting":
            return "re-check"
        if self.unreleased:
            return f"signed off, {NOT_RELEASED}"
        if self.stage in ("turning", "measuring"):
            number = self.progress.pass_number + (self.stage == "turning")
            return f"{self.stage}, round {number}"
        return self.stage if self.stage != "within" else "on target"
