"""What to do now, decided in one table: for each stage its words, keys, commands and act.

The bench's line and its Enter, the command line, the walk-through, help and those who walk a ski
through by themselves (the demo, the tests) all go by it. What is in the way of a job comes before
its stage's own task.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Literal, TypeAlias

from workbench.advice.checklists import note_for
from workbench.frozen import dataclass
from workbench.measure.lengths import parse_length
from workbench.measure.units import Unit
from workbench.work.job.entry import Typed
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job.stages import ALLOWED, Stage
from workbench.work.job_text import stage_words as words
from workbench.work.job_text.stage_words import Hand, Task
from workbench.work.job_text.view_words import act_due, other_job_words
from workbench.work.text.words import (
    BOLTS_LOOSE,
    CAUTION_EDGES,
    CAUTION_LOOSEN,
    CAUTION_RIDE,
    CAUTION_SNUG,
    REFITTED_LOOSE,
    clean,
)
from workbench.work.trust.wing_setup import held_words

Asks: TypeAlias = Literal[
    "ticks", "reading", "targets", "turns", "angle", "initials", "nothing", "next ski"
]
"""What the act of a stage takes: ticks on purpose, a number typed, the turns made, or only Enter.
``nothing``: Enter does it. ``next ski``: nothing is left to do with this one."""


@dataclass(frozen=True, slots=True)
class StageTask:
    """What to do at a stage.

    ``keys`` is the sentence at the bench, ``task`` the one of the command line with its commands,
    ``tour`` what a first day's walk-through adds (by unit, and whether a check was begun).
    ``act`` does it with what it ``asks`` for, as text; ``done`` is said after an act by Enter
    alone. ``begins_check``: the check that follows is begun with it. ``counts``: whether it is one
    of the walk-through's steps. ``open_point``: what is easily forgotten near the end.
    """

    asks: Asks
    act: Callable[[Shop, JobView, str], JobView]
    keys: Callable[[JobView, Hand], str]
    task: Callable[[JobView], Task]
    tour: Callable[[JobView, Unit, bool], str]
    caution: str
    done: str = ""
    begins_check: bool = False
    counts: bool = True
    open_point: str = ""


STUDS_UP = "Bring all three studs up to just touch the blade"
MAKERS_FIRST = "The maker's instructions, event rules and a qualified technician come first."
NO_FIT = "These readings do not work"
OUT_OF_REACH = "The target is out of reach: give another."
TURN_BACK = "A stud was turned, but what its turns were counted from no longer counts"


def _tick(shop: Shop, view: JobView, answer: str) -> JobView:
    due = view.check_due
    return shop.tick(view, answer or (due.key if due is not None else ""))


def _read(shop: Shop, view: JobView, answer: str) -> JobView:
    assert view.due is not None
    unit = view.ski.unit
    return shop.take_reading(
        view, view.lines[view.due], Typed(answer, unit, parse_length(answer, unit).mm)
    )


_CHECK = StageTask(
    asks="ticks", act=_tick, keys=words.check_keys, task=words.check_task,
    tour=lambda view, unit, begun:
        f"{words.begin_tour(begun)}; a damaged or sharp fin is found before it is touched.",
    caution=CAUTION_EDGES,
)  # fmt: skip

_MEASURE = StageTask(
    asks="reading", act=_read, keys=words.reading_keys, task=words.reading_task,
    tour=lambda view, unit, begun: words.reading_tour(view, unit),
    caution=CAUTION_EDGES,
)  # fmt: skip


def wing_step(view: JobView) -> str:
    """Return that the wing is to be set, to which angle where one is wanted, and tightened."""
    wanted = view.wing_wanted_deg
    to = f" to {held_words(wanted, view.wing_wanted_hold)}" if wanted is not None else ""
    return f"Set the wing{to}, tighten it"


TASKS: dict[Stage, StageTask] = {
    "waiting": replace(_CHECK, counts=False),
    "received check": _CHECK,
    "as received": _MEASURE,
    "studs": StageTask(
        asks="nothing",
        act=lambda shop, view, answer: shop.seat_studs(view),
        done="studs touch the blade where it is",
        keys=lambda view, hand: f"{STUDS_UP}; Enter when they do.",
        task=lambda view: Task(f"{STUDS_UP}.", ("seat",)),
        tour=lambda view, unit, begun:
            "bring the studs up to the blade, then Enter: from here the turns count.",
        caution=CAUTION_EDGES,
    ),
    "target": StageTask(
        asks="targets",
        act=lambda shop, view, answer: shop.accept_target(view),
        done="target accepted",
        keys=words.target_keys,
        task=words.target_task,
        tour=lambda view, unit, begun: words.target_tour(view, unit),
        caution=MAKERS_FIRST,
    ),
    "turning": StageTask(
        asks="turns",
        act=lambda shop, view, answer: shop.step_done(view),
        keys=words.turn_keys,
        task=words.turn_task,
        tour=lambda view, unit, begun:
            "do what the next-step line says and press Enter after each act. Loosen before "
            "any stud is turned. Tab shows the other panels.",
        caution=CAUTION_EDGES,
    ),
    "measuring": _MEASURE,
    "within": StageTask(
        asks="nothing",
        act=lambda shop, view, answer: shop.accept(view),
        done="settings accepted",
        begins_check=True,
        open_point="clamp-bolt check and sign-off open",
        keys=lambda view, hand: f"{words.on_target_words(view, hand.unit)} Enter goes on.",
        task=lambda view: Task(words.on_target_words(view, view.ski.unit), ("accept",)),
        tour=lambda view, unit, begun: "on target: leave it. Enter goes on.",
        caution=MAKERS_FIRST,
    ),
    "wing": StageTask(
        asks="angle",
        act=lambda shop, view, answer: shop.set_wing(view, answer),
        begins_check=True,
        open_point="wing, clamp-bolt check and sign-off open",
        keys=lambda view, hand: f"{wing_step(view)}, type its angle in degrees, then Enter.",
        task=lambda view: Task(
            f"{wing_step(view)}, then give its angle in degrees.", ("set-wing DEGREES",)),
        tour=lambda view, unit, begun:
            "type 7.5 and Enter. /, then the wing's number, shows how the hold changes it.",
        caution=CAUTION_EDGES,
    ),
    "final check": replace(
        _CHECK,
        tour=lambda view, unit, begun:
            f"{words.begin_tour(begun)}; the clamp bolts come last, "
            "because a loose one throws a rider.",
        caution=CAUTION_RIDE,
        open_point="clamp-bolt check and sign-off open",
    ),
    "sign-off": StageTask(
        asks="initials",
        act=lambda shop, view, answer: shop.sign_off(view, answer),
        keys=words.sign_off_keys,
        task=words.sign_off_task,
        tour=lambda view, unit, begun:
            f"{'press +' if begun else 'press Enter, then +'} : your initials release the ski "
            "(i changes them).",
        caution=CAUTION_RIDE,
        open_point="sign-off open",
    ),
    "signed off": StageTask(
        asks="next ski",
        act=lambda shop, view, answer: view,
        keys=words.signed_keys,
        task=words.signed_task,
        tour=lambda view, unit, begun:
            "done. a writes its card, o shows its history, z the day's queue, "
            "j takes the next ski. :, then first day, ends this walk-through.",
        caution=CAUTION_RIDE,
    ),
    "set aside": StageTask(
        asks="nothing",
        act=lambda shop, view, answer: shop.take_up(view),
        done="taken up again where it was left",
        keys=words.aside_keys,
        task=lambda view: Task(f"Set aside: {clean(view.progress.reason)}.", ("take-up",)),
        tour=lambda view, unit, begun: "this ski waits for its owner.",
        caution=MAKERS_FIRST,
        counts=False,
    ),
}  # fmt: skip
"""Every stage, in the order of the work."""

READS_AT = frozenset(s for s in TASKS if "read" in ALLOWED[s] or TASKS[s].asks == "targets")
"""Stages at which a number typed is a reading or a target; at others it is kept as a note."""

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


WAYS: dict[Obstacle, tuple[Callable[[JobView], str], Callable[[JobView], Task]]] = {
    "elsewhere": (
        lambda view: f"{other_job_words(view)} z: the day's queue.",
        lambda view: Task(other_job_words(view), ("queue",)),
    ),
    "open round": (
        lambda view: f"{TURN_BACK}: u takes its steps back, the last first.",
        lambda view: Task(f"{TURN_BACK}: take its steps back, the last first.", ("take-back",)),
    ),
    "out of reach": (
        lambda view: f"{OUT_OF_REACH} "
            f"{'t opens the target' if view.stage == 'turning' else 'u takes it back'}.",
        lambda view: Task(OUT_OF_REACH, (
            "aim --again" if view.stage == "turning" else "aim METHOD VALUE", "take-back")),
    ),
    "no fit": (
        lambda view: f"{NO_FIT}: u takes the last one back, then measure it again.",
        lambda view: Task(
            f"{NO_FIT}: take the last one back, then measure it again.", ("take-back",)),
    ),
    "contradiction": (words.again_keys, words.again_task),
}  # fmt: skip
"""What to do about each thing that is in the way: the bench's sentence, and the command line's."""


def keys_words(view: JobView, hand: Hand) -> str:
    """Return what to do now with a ski at the bench, in one sentence that names the keys."""
    found = obstacle(view)
    return TASKS[view.stage].keys(view, hand) if found is None else WAYS[found][0](view)


def task_of(view: JobView) -> Task:
    """Return what to do now with a ski, and by which commands."""
    found = obstacle(view)
    return TASKS[view.stage].task(view) if found is None else WAYS[found][1](view)


def torque_words(view: JobView) -> str:
    """Return how the fastener of the item that is due is brought up, else nothing."""
    item = view.check_due
    return note_for(item.key, view.rules.torque) if item is not None else ""


def caution_words(view: JobView, at_check: bool) -> str:
    """Return the caution that belongs where the hand is now; ``at_check``: a check was begun."""
    if at_check and (note := torque_words(view)):
        return note
    if view.stage == "turning":  # loosen before the turns, snug after them
        if not view.steps or view.progress.step == 0:
            return CAUTION_LOOSEN
        return CAUTION_SNUG if act_due(view).do in ("seat", "snug") else CAUTION_EDGES
    if view.progress.loose:
        return REFITTED_LOOSE if view.progress.state.refitted else BOLTS_LOOSE
    return TASKS[view.stage].caution


STEPS: tuple[Stage, ...] = tuple(stage for stage, task in TASKS.items() if task.counts)
"""The steps of the walk-through of a first day."""


def tour_words(view: JobView | None, unit: Unit, hands_on: bool) -> str:
    """Return where the walk-through is and what to do next, in one or two sentences."""
    if view is None:
        return "Walk-through: take a ski in hand first: j goes to the next that is not finished."
    if view.stage == "set aside":
        return "Walk-through: this ski waits for its owner. j goes to the next unfinished one."
    step = STEPS.index("received check" if view.stage == "waiting" else view.stage) + 1
    said = TASKS[view.stage].tour(view, unit, hands_on)
    return f"Walk-through {step} of {len(STEPS)}: {said}"
