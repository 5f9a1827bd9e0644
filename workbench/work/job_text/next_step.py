"""What a ski needs now, in words that bench and command line share.

Each adds how it is done there: a key, or a command.
"""

from __future__ import annotations

from typing import Literal, TypeAlias

from workbench.fin.plan.plan import Step
from workbench.work.job.job_view import JobView
from workbench.work.job_text.view_words import within_words
from workbench.work.text.words import CAUTION_EDGES, CAUTION_LOOSEN, CAUTION_SNUG, clean
from workbench.work.trust.wing_setup import held_words

STUDS_UP = "Bring all three studs up to just touch the blade"
NO_FIT = "These readings do not work"
OUT_OF_REACH = "The target is out of reach: give another."
TURN_BACK = "A stud was turned, but what its turns were counted from no longer counts"
SETTLE = "Loosen, turn each stud out 1/8 and in 1/8, push the blade home, snug"
"""What settles the studs: each has its play on the side that it is turned in from."""

NO_TURNS = "No turns: see the warning"
MAKERS_FIRST = "The maker's instructions, event rules and a qualified technician come first."


def missing_words(view: JobView) -> str:
    """Return which parts are not known yet, as the begin of a sentence; or nothing."""
    return " and ".join(f"{'no' if i else 'No'} {p}" for i, p in enumerate(view.rig.missing))


def act_due(view: JobView) -> Step:
    """Return the act of the round that is due; only where the view has steps."""
    acts = [s for s in view.steps if s.do != "measure"]
    return acts[min(view.progress.step, len(acts) - 1)]


def reading_due(view: JobView, name: str) -> str:
    """Return the reading of that name, with which repeat it is where more than one is wanted.

    One more than are wanted is a repeat too, and counts.
    """
    wanted = view.rules.repeats
    named = (x for x in view.lines if name in (x.method.name, clean(x.method.name)))
    line = next(named, None)
    if wanted == 1 or view.due is None or line is None:
        return name
    number = len(line.latest) + 1
    return f"{name}, {number} of {wanted}" if number <= wanted else f"{name}, repeat {number}"


def lock_words(name: str) -> str:
    """Return that a reading is taken once more, the clamp bolts being tight for good."""
    return f"After-lock check: measure {name} once more, the clamp bolts tight"


Obstacle: TypeAlias = Literal["elsewhere", "open round", "out of reach", "no fit", "contradiction"]
"""What has to be seen to before a ski goes on from its stage."""

_BEFORE_A_TURN = ("studs", "target", "turning")


def obstacle(view: JobView) -> Obstacle | None:
    """Return what is in the way of a job, the most pressing first; None where nothing is.

    Another job of the ski holds its round open, or this one holds one behind a later gate; its
    target cannot be reached; its readings fit no pose, or contradict each other.
    """
    if view.progress.state.elsewhere:
        return "elsewhere"
    if view.progress.mid_pass and view.stage not in ("turning", "set aside"):
        return "open round"
    if view.unreachable is not None and view.stage in ("target", "turning"):
        return "out of reach"
    if view.stage in _BEFORE_A_TURN and view.why is not None and not view.rig.missing:
        return "no fit"
    if view.stage in _BEFORE_A_TURN and view.contradictions and not view.progress.step:
        return "contradiction"
    return None


SignOffDue: TypeAlias = Literal["barred", "after-lock", "second eyes", "sign-off"]
"""What a sign-off waits for, or itself."""


def sign_off_due(view: JobView) -> SignOffDue:
    """Return what is to be done at the sign-off: what bars it, then what the shop asks for first.

    A reading with the clamp bolts tight that the shop does not ask for is only offered.
    """
    if view.progress.state.bars:
        return "barred"
    if view.rules.after_lock and view.lock_due is not None:
        return "after-lock"
    if view.rules.second_eyes and not view.progress.eyes:
        return "second eyes"
    return "sign-off"


def leave_words(view: JobView) -> str:
    """Return that the readings are within tolerance, how surely, and to leave the fin alone."""
    return f"{within_words(view)}: leave it."


def wing_step(view: JobView) -> str:
    """Return that the wing is to be set, to which angle where one is wanted, and tightened."""
    wanted = view.wing_wanted_deg
    to = f" to {held_words(wanted, view.wing_wanted_hold)}" if wanted is not None else ""
    return f"Set the wing{to}, tighten it"


def turning_caution(view: JobView) -> str:
    """Return loosen before the turns and snug after them."""
    if not view.steps or view.progress.step == 0:
        return CAUTION_LOOSEN
    return CAUTION_SNUG if act_due(view).do in ("seat", "snug") else CAUTION_EDGES
