"""What a job's view says in words: its stage, what is in the way, what is doubted of a number."""

from __future__ import annotations

from workbench.advice.checklists import note_for
from workbench.fin.plan.remarks import COVERAGE
from workbench.measure.display import fine_text, turn_text
from workbench.measure.slips import same_digits
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.work.job.entry import Typed
from workbench.work.job.job_view import JobView
from workbench.work.job.stages import NOT_RELEASED, way_on
from workbench.work.text.words import clean, error_words, remark_words
from workbench.work.trust.job_reading import Line
from workbench.work.trust.plausibility import (
    Known,
    doubt_of,
    doubt_words,
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


def torque_words(view: JobView) -> str:
    """Return how the fastener of the item that is due is brought up, else nothing."""
    item = view.check_due
    return note_for(item.key, view.rules.torque) if item is not None else ""


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
    kept = [f for f in view.facts if isinstance(f, rows.Reading) and f.struck is None]
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


def within_words(view: JobView) -> str:
    """Return how surely the readings are within their tolerances, the least sure of them first."""
    sure = all(line.nearness in (None, "sure") for line in view.lines)
    return "On target" if sure else "On target, within caliper doubt"


def learnt_words(view: JobView, unit: Unit) -> str:
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
        words = learnt_words(view, view.ski.unit).rstrip(".")
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
