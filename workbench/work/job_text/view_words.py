"""What a job's view says in words: its stage, what it needs now, what is doubted of a number.

Bench and command line share them; each adds how it is done there: a key, or a command.
"""

from __future__ import annotations

from collections.abc import Iterable
from enum import IntEnum
from typing import assert_never

from workbench.fin.plan.guidance import COVERAGE, StudLimitError
from workbench.fin.plan.plan import Remark, Step
from workbench.frozen import dataclass
from workbench.measure.display import fine_text, turn_text
from workbench.measure.doubtful import same_digits
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.work.job.coarse_marks import suspect_words
from workbench.work.job.entry import Typed
from workbench.work.job.job_view import JobView
from workbench.work.job.stages import NOT_RELEASED, way_on
from workbench.work.order.round_records import live
from workbench.work.text.words import (
    BOLTS_LOOSE,
    REFITTED_LOOSE,
    clean,
    error_words,
    remark_words,
)
from workbench.work.trust.job_reading import Line
from workbench.work.trust.plausibility import (
    Known,
    doubt_of,
    doubt_words,
    made_words,
    moved_question,
    since_left_words,
    unseen_question,
)


def stage_words(view: JobView) -> str:
    """Return the stage in words, with its round."""
    if view.job.kind == "recheck" and view.stage == "waiting":
        return "re-check"
    if view.unreleased:
        return f"signed off, {NOT_RELEASED}"
    if view.stage in ("turning", "measuring"):
        number = view.progress.pass_number + (view.stage == "turning")
        return f"{view.stage}, round {number}"
    return view.stage if view.stage != "within" else "on target"


def unreleased_words(view: JobView) -> str:
    """Return that the sign-off releases nothing and why, as a sentence; or nothing."""
    why = view.unreleased
    return f"Signed off, but {why}: not to be ridden." if why else ""


def other_job_words(view: JobView) -> str:
    """Return that another job of the ski has to be finished first, as a sentence; or nothing."""
    why = view.progress.state.elsewhere
    return f"{why[0].upper()}{why[1:]}: {way_on(why)}." if why else ""


def stand_in_words(view: JobView) -> str:
    """Return that the ski is set on an invented part, as a warning; or nothing."""
    if not view.stand_in:
        return ""
    return f"STAND-IN {' AND '.join(view.stand_in).upper()}: turns are approximate"


def corrected_words(view: JobView) -> tuple[str, ...]:
    """Return which parts were corrected later, and why the job is shown by them as they were."""
    why = "this round is finished as it was begun" if view.progress.mid_pass else "as it was"
    if view.stage == "signed off":
        why = "what was signed off is shown as it was"
    return tuple(f"{words}: {why}" for words in view.corrected)


# -- a check -------------------------------------------------------------------------------------


def check_name(view: JobView) -> str:
    """Return what the checklist that is due is called."""
    if view.job.kind == "recheck":
        return "Re-check after the ride"
    return "Final check" if view.is_final else "Received check"


def eyes_words(view: JobView) -> str:
    """Return whose second pair of eyes looked at the ski, where the shop asks for one."""
    if not view.rules.second_eyes:
        return ""
    return f"Second pair of eyes: {clean(view.progress.eyes) or 'wanted first'}."


# -- a number about to be kept ---------------------------------------------------------------------


def doubt_question(view: JobView, line: Line, entry: Typed, shown_in: Unit) -> str:
    """Return why a reading about to be kept cannot be right, as a question, or nothing.

    The same digits as the reading before may have been sent twice. While measuring after a round
    the last readings and the turns made say what to expect; as received it is the setting that the
    ski left with, or its baseline where it never left this bench.
    """
    twice = sent_twice_question(view, line, entry.text)
    if twice:
        return twice
    read, typed = view.held_against(line, entry.mm), (entry.text, entry.unit)
    if read is None:
        return unseen_question(line, entry.mm, shown_in)
    if view.held_to_left:
        known = "the setting it left with" if view.left else "its baseline"
        far = Known(known, view.rules.far_received_mm)
        return moved_question(read, typed, far, shown_in)
    found = doubt_of(read, typed)
    return doubt_words(found, read.expected, shown_in) if found is not None else ""


def since_left(view: JobView, line: Line, mm: float, shown_in: Unit) -> str:
    """Return how a reading as received differs from the setting it left with, or nothing."""
    read = view.held_against(line, mm)
    if read is None or not view.held_to_left:
        return ""
    return since_left_words(read, shown_in)


def sent_twice_question(view: JobView, line: Line, text: str) -> str:
    """Return the question about the digits of the reading kept just before, or nothing."""
    kept = live(view.facts, rows.Reading)
    if not kept or kept[-1].method_id == line.method_id or not same_digits(kept[-1].text, text):
        return ""
    if kept[-1].pass_number != view.progress.pass_number:
        return ""
    before = next((x for x in view.lines if x.method_id == kept[-1].method_id), None)
    return f"the same number as {before.method.quantity}: sent twice?" if before else ""


# -- the target and the turns ----------------------------------------------------------------------


def trouble_words(view: JobView, unit: Unit | None = None) -> str:
    """Return why there is no pose or no plan, or nothing; lengths in the ski's unit or ``unit``."""
    return error_words(view.why, unit or view.ski.unit) if view.why is not None else ""


def target_warning(view: JobView, unit: Unit) -> str:
    """Return the first thing that warns of the turns to the target, or nothing.

    A change smaller than its uncertainty is told beside the target itself.
    """
    if view.plan is None:
        return trouble_words(view, unit)
    told = (r for r in view.plan.remarks if r.code not in ("within", "insignificant"))
    first = next(told, None)
    return remark_words(first, unit) if first is not None else ""


def learnt_act_words(view: JobView, unit: Unit) -> str:
    """Return the next act by what was learnt, with how sure it is; or nothing."""
    if view.learnt is None or view.stage not in ("turning", "within"):
        return ""
    return view.learnt.words(view.finest_turn, unit, view.rules.dial)


def no_turn_why(view: JobView) -> str:
    """Return why no turn is to be made though the readings are not accepted."""
    if view.progress.mid_pass:
        return "what was set meanwhile asks for no turn, and a stud was turned"
    for line in view.lines:
        if line.u_mm and line.accepted_mm < 0:
            unit = view.ski.unit
            band = fine_text(COVERAGE * line.u_mm, unit)
            return (
                f"the guard band of {line.method.name}, 2 u = {band} {unit}, fills its "
                f"tolerance of {fine_text(line.tolerance_mm, unit)}"
            )
    if view.learnt is not None:
        words = learnt_act_words(view, view.ski.unit).rstrip(".")
        return f"{words[0].lower()}{words[1:]}"
    return "no turn this coarse comes closer"


def no_turn_words(view: JobView) -> str:
    """Return why no turn is to be made though the readings are not accepted, and what to do."""
    why = no_turn_why(view)
    if view.progress.mid_pass:
        return f"{why}: turn it back, and u takes its steps back"
    finer = f"f for a finer turn{f' ({turn_text(view.finer)} would do)' if view.finer else ''},"
    more = "more repeats, a wider tolerance, or" if why.startswith("the guard") else finer
    return f"{why}: {more} k keeps it as it is"


def wing_wanted_from(view: JobView) -> str:
    """Return where the wing's angle wanted is from; nothing where its hold is not known."""
    if view.wing_aim is None:
        return "by the baseline"
    return f"held at the {view.wing_wanted_hold}" if view.wing_wanted_hold else ""


def missing_parts_words(view: JobView) -> str:
    """Return which parts are not known yet, as the begin of a sentence; or nothing."""
    return " and ".join(f"{'no' if i else 'No'} {p}" for i, p in enumerate(view.rig.missing))


def act_due(view: JobView) -> Step:
    """Return the act of the round that is due; only where the view has steps."""
    acts = [s for s in view.steps if s.do != "measure"]
    return acts[min(view.progress.step, len(acts) - 1)]


# -- how much it matters ---------------------------------------------------------------------------


class Importance(IntEnum):
    """The steps of the ladder, the highest first."""

    DANGER = 0
    WRONG = 1
    DOUBT = 2
    FIGURES = 3

    @property
    def sign(self) -> str:
        """The sign that goes before what is said."""
        return ("!!", "!", "?", "·")[self]


@dataclass(frozen=True, slots=True)
class Said:
    """Something to be said, and how much it matters."""

    importance: Importance
    words: str

    @property
    def signed(self) -> str:
        """The words behind the sign of their step."""
        return f"{self.importance.sign} {self.words}"


def of_remark(remark: Remark) -> Importance:
    """Return how much a remark on a plan matters."""
    match remark.code:
        case "off_edge" | "travel_limit":
            return Importance.DANGER
        case "near_limit" | "apart" | "still_off":
            return Importance.WRONG
        case "tilt" | "ambiguous" | "no_tail":
            return Importance.DOUBT
        case "rough" | "coarse" | "insignificant" | "within":
            return Importance.FIGURES
        case _:
            assert_never(remark.code)


def in_order(said: Iterable[Said]) -> tuple[Said, ...]:
    """Return what is said, the most important first; what matters alike stays in its order."""
    return tuple(sorted(said, key=lambda each: each.importance))


def dangers_of(view: JobView) -> tuple[Said, ...]:
    """Return what is dangerous about a ski as it is now, whatever is being done to it."""
    words = [unreleased_words(view), stand_in_words(view)]
    if view.progress.loose and view.stage != "turning":  # there the act due says so
        words.insert(0, REFITTED_LOOSE if view.progress.state.refitted else BOLTS_LOOSE)
    return tuple(Said(Importance.DANGER, text) for text in words if text)


def said_before_turns(view: JobView, unit: Unit) -> tuple[Said, ...]:
    """Return what is to be said whether there are turns or not."""
    out = list(dangers_of(view))
    if view.why is not None:
        danger = isinstance(view.why, StudLimitError)  # a stud out of its travel
        step = Importance.DANGER if danger else Importance.WRONG
        out.append(Said(step, trouble_words(view, unit)))
    out += [Said(Importance.WRONG, words) for words in corrected_words(view)]
    made = made_words(view.made, unit)
    out += [Said(Importance.WRONG, made)] if made else []
    out += [Said(Importance.DOUBT, words) for words in suspect_words(view, unit)]
    if view.learnt is not None and view.learnt.thread_asked:
        out.append(Said(Importance.DOUBT, view.learnt.thread_asked))
    return in_order(out)


def said_of(view: JobView, unit: Unit) -> tuple[Said, ...]:
    """Return all that is to be said of a ski's readings, target and turns, dangers first."""
    out = list(said_before_turns(view, unit))
    if view.why is not None or view.plan is None or not view.progress.targets:
        return in_order(out)
    for remark in view.plan.remarks:
        if remark.code == "within" and view.stage != "target":
            continue
        if remark.code == "insignificant" and view.plan.within:
            continue
        out.append(Said(of_remark(remark), remark_words(remark, unit, view.finer)))
    return in_order(out)
