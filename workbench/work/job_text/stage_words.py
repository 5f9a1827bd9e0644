"""What to do at a stage where a fixed sentence will not do: at the bench, and by command.

What is the same at both is in ``view_words``; the table of all stages is ``tasks``.
"""

from __future__ import annotations

import shlex
from dataclasses import dataclass
from typing import Literal, Protocol, TypeAlias, assert_never

from workbench.errors import BenchError
from workbench.measure.display import length_text, turn_text
from workbench.measure.units import Unit
from workbench.work.drawing.scene import nominal_pose
from workbench.work.job.job_view import JobView
from workbench.work.job_text.view_words import (
    act_due,
    check_name,
    learnt_act_words,
    missing_parts_words,
    no_turn_why,
    no_turn_words,
    unreleased_words,
)
from workbench.work.text.safe_text import visible
from workbench.work.text.words import CAUTION_SNUG, clean, step_words
from workbench.work.trust.job_reading import Line

SETTLE = "Loosen, turn each stud out 1/8 and in 1/8, push the blade home, snug"
"""What settles the studs: each has its play on the side that it is turned in from."""

NO_TURNS = "No turns: see the warning"


@dataclass(frozen=True, slots=True)
class Task:
    """What to do now in one sentence, and the commands that go on from there, the usual first."""

    words: str
    commands: tuple[str, ...]


class Hand(Protocol):
    """What a sentence at the bench depends on beside the job: where the hand is."""

    @property
    def unit(self) -> Unit:
        """The unit shown."""

    @property
    def who(self) -> str:
        """The initials that entries are kept under; nothing where not said."""

    @property
    def hands_on(self) -> bool:
        """Whether a check or a sign-off was begun on purpose."""

    @property
    def selected(self) -> int | None:
        """The index of the line chosen by hand, or None."""

    @property
    def line(self) -> Line | None:
        """The line that an entry goes to, or None."""

    @property
    def all_aimed(self) -> bool:
        """Whether every target is set and none is marked."""

    @property
    def is_day_done(self) -> bool:
        """Whether no ski of the day is left to do."""


# -- a check -------------------------------------------------------------------------------------


def check_keys(view: JobView, hand: Hand) -> str:
    """Return which item of the check + ticks; Enter begins it."""
    if hand.hands_on and view.check_due is not None:
        return f"+ or space ticks: {view.check_due.words}"
    begins = f"Enter begins the {check_name(view).lower()}."
    if view.stage == "waiting" and (missing := missing_parts_words(view)):
        return f"{begins} {missing} yet; {_parts_by(view)}, or 'another' to choose."
    return begins


def check_task(view: JobView) -> Task:
    """Return the item of the check that is due."""
    item = view.check_due
    if item is None:
        return Task(f"{check_name(view)}: nothing is left to tick.", ("next",))
    number = view.checklist.index(item) + 1
    words = f"{check_name(view)}, {number} of {len(view.checklist)}: {clean(item.words)}."
    return Task(words, (f"tick {shlex.quote(clean(item.key))}",))


# -- readings ------------------------------------------------------------------------------------


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


def reading_keys(view: JobView, hand: Hand) -> str:
    """Return which reading is due, and its repeat where the shop wants more than one."""
    name = hand.line.method.name if hand.line is not None else ""
    if view.offers_settling:
        return f"Settle the studs: {SETTLE.lower()}, then F5. Or read: {name}."
    fewer = " k goes on with fewer." if view.rules.repeats > 1 and view.may_go_on else ""
    return f"Measure and type: {reading_due(view, name)}, then Enter.{fewer}"


def reading_task(view: JobView) -> Task:
    """Return the reading that is due."""
    if view.due is None:
        return Task("Measure again.", ("next",))
    name = reading_due(view, clean(view.lines[view.due].method.name))
    if view.offers_settling:
        words = f"Settle the studs: {SETTLE.lower()}. Or measure as it is: {name}."
        return Task(words, ("settled", f"read {view.due + 1} VALUE"))
    fewer = ("enough",) if view.rules.repeats > 1 and view.may_go_on else ()
    return Task(f"Measure: {name}.", (f"read {view.due + 1} VALUE", *fewer))


def again_keys(view: JobView) -> str:
    """Return what to do before a stud is turned, where the readings contradict each other."""
    names = [c.reading.method.name for c in view.contradictions]
    for line in view.lines:
        if (own := line.method.name) in names:
            return f"Take {clean(own)} again: ▸ on it, x strikes it out; or Enter goes on as it is."
    return f"Read the mark {clean(names[0])} again, or Enter goes on as it is."


def again_task(view: JobView) -> Task:
    """Return what to take again first, where the readings contradict each other."""
    names = [c.reading.method.name for c in view.contradictions]
    go_on = {"studs": "seat", "target": "accept"}.get(view.stage, "done")
    for number, line in enumerate(view.lines, 1):
        if line.method.name in names:
            words = f"Take {clean(line.method.name)} again: strike it out; or go on as it is."
            return Task(words, (f"strike {number} --reason WORDS", go_on))
    mark = next(i for i, m in enumerate(view.marks, 1) if m.method.name in names)
    words = f"Read the mark {clean(names[0])} again, or go on as it is."
    return Task(words, (f"marks {mark} VALUE", go_on))


# -- the target ----------------------------------------------------------------------------------


def target_keys(view: JobView, hand: Hand) -> str:
    """Return which target a number sets, and what Enter does without one."""
    if hand.all_aimed:
        count = {3: "all three"}.get(len(view.lines), "them all")
        return f"Enter accepts {count}; ↑ ↓ or + Enter marks one to change."
    line = hand.line
    if line is None:
        return "No reading to aim at."
    sets = f"Sets {line.method.quantity.upper()}: type a value or a change"
    if view.offered_target and hand.selected is None:
        what = "the setting it left with" if view.offered_target == "last" else "the baseline"
        return f"{sets}; Enter takes {what} for all."
    at_mm = line.target_mm if line.target is not None else line.now_mm
    stays = f"{length_text(at_mm, hand.unit)} {hand.unit}" if at_mm is not None else "it is"
    return f"{sets}; Enter alone: it stays at {stays}."


def target_task(view: JobView) -> Task:
    """Return the target that is wanted, or that those given are to be accepted."""
    if view.progress.targets:
        words = "Accept the target; or aim at another number."
        return Task(words, ("accept", "aim METHOD VALUE"))
    due = next((i for i, x in enumerate(view.lines, 1) if x.target is None), 1)
    aim = f"aim {due} VALUE"
    if view.offers_last:
        return Task("Aim at the last setting; or give another target.", ("aim --last", aim))
    name = clean(view.lines[due - 1].method.name) if view.lines else "a reading"
    baseline = ("aim --baseline",) if view.baseline is not None else ()
    return Task(f"Give the target for {name}: a value, or a sign and a change.", (aim, *baseline))


# -- turns ---------------------------------------------------------------------------------------


def _parts_by(view: JobView) -> str:
    """Return what to type to find what is not known yet."""
    ways = {"blade": "'trace'", "block": "'measure'"}
    return f": finds {' and '.join(ways[part] for part in view.rig.missing)}"


def turn_keys(view: JobView, hand: Hand) -> str:
    """Return the act of the round that is due, or what else helps where there is none."""
    if not view.steps:
        return f"{NO_TURNS}; u takes the last entry back."
    if not view.has_round:
        words = no_turn_words(view)
        return f"{words[0].upper()}{words[1:]}."
    due = act_due(view)
    if due.do == "seat":
        return f"{step_words(due)} {CAUTION_SNUG} Enter when both are done."
    if (missing := missing_parts_words(view)) and due.do == "loosen":
        by_hand = "Or turn as you judge: loosen the bolts; Enter when done"
        return f"{missing} yet; {_parts_by(view)}. {by_hand}."
    told = learnt_act_words(view, hand.unit) if due.do == "loosen" else ""
    if told:
        return f"{told} Loosen the bolts first; Enter when done."
    return f"{step_words(due, view.rules.dial)} Enter when done."


def turn_task(view: JobView) -> Task:
    """Return the act of the round that is due, or what else helps where there is none."""
    if not view.steps:
        return Task(f"{NO_TURNS}; take the last entry back.", ("take-back",))
    if not view.has_round:
        why = no_turn_why(view)
        finer = f"a finer turn ({turn_text(view.finer)} would do)" if view.finer else "a finer turn"
        words = f"{why[0].upper()}{why[1:]}: {finer}, or keep it as it is."
        return Task(words, ("finest TURN", "accept --as-is"))
    told = learnt_act_words(view, view.ski.unit) if act_due(view).do == "loosen" else ""
    words = step_words(act_due(view), view.rules.dial)
    if missing := missing_parts_words(view):
        told = "" if view.progress.step else f"{missing} yet, so no turns are told."
        commands = ("done", "trace FILE --name NAME", "wear SKI --blade BLADE --reason WORDS")
        return Task(f"{told} {words}".strip(), commands[: 1 if view.progress.step else 3])
    return Task(f"{told} {words}" if told else words, ("done",))


def on_target_words(view: JobView, unit: Unit) -> str:
    """Return that the readings are within tolerance, how surely, and to leave the fin alone.

    By what was learnt where turns go by that, else by the least sure of the readings.
    """
    sure = all(line.nearness in (None, "sure") for line in view.lines)
    plain = "On target" if sure else "On target, within caliper doubt"
    return learnt_act_words(view, unit) or f"{plain}: leave it."


# -- the sign-off and after ------------------------------------------------------------------------


def lock_words(name: str) -> str:
    """Return that a reading is taken once more, the clamp bolts being tight for good."""
    return f"After-lock check: measure {name} once more, the clamp bolts tight"


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


def sign_off_keys(view: JobView, hand: Hand) -> str:
    """Return what the sign-off waits for, or how it is given."""
    due = sign_off_due(view)
    if due == "barred":
        return f"Not to be signed off: {view.progress.state.bars}."
    offered = view.lock_due is not None and not hand.hands_on
    if hand.who and hand.line is not None and (due == "after-lock" or offered):
        name = hand.line.method.name
        skip = "." if due == "after-lock" else "; or Enter goes on without it."
        return f"{lock_words(name)}, and type it{skip}"
    if not hand.who:
        return "Enter asks for your initials: a sign-off is kept under them."
    match due:
        case "second eyes":
            keys = "+" if hand.hands_on else "Enter, then +"
            return f"{keys}: who else looked at it? Their initials."
        case "sign-off" | "after-lock":
            return f"+ signs off as {hand.who}." if hand.hands_on else "Enter, then + to sign off."
        case _:
            assert_never(due)


def sign_off_task(view: JobView) -> Task:
    """Return what the sign-off waits for, or itself."""
    look, read = "", ""
    if view.lock_due is not None:
        look = lock_words(clean(view.lines[view.lock_due].method.name))
        read = f"read {view.lock_due + 1} VALUE"
    due = sign_off_due(view)
    match due:
        case "barred":
            return Task(f"Not to be signed off: {view.progress.state.bars}.", ("history",))
        case "after-lock":
            return Task(f"{look}.", (read,))
        case "second eyes":
            words = "Somebody else looks at it too, then sign off."
            return Task(words, ("sign-off --second INITIALS",))
        case "sign-off" if look:
            words = f"Sign it off; or first the {look[0].lower()}{look[1:]}."
            return Task(words, ("sign-off", read))
        case "sign-off":
            return Task("Sign it off.", ("sign-off",))
        case _:
            assert_never(due)


def signed_keys(view: JobView, hand: Hand) -> str:
    """Return that the ski is released, or why not, and what comes next."""
    if view.unreleased:
        return f"{unreleased_words(view)} o: strike the sign-off out, then go on from there."
    if hand.is_day_done:
        return "Signed off, and no ski is left to do: a shows its card, n adds a ski."
    return "Signed off. Enter goes to the next ski."


def signed_task(view: JobView) -> Task:
    """Return that the ski is released, or why not, and what comes next."""
    if view.unreleased:
        words = f"{unreleased_words(view)} Strike the sign-off out, then go on from there."
        return Task(words, ("history", "strike --row ROW --reason REASON"))
    return Task("Signed off.", ("queue",))


LONGEST_REASON = 92
"""Cells of a reason that leave what else is said of a ski set aside its room in two rows of 80."""


def aside_keys(view: JobView, hand: Hand) -> str:
    """Return why the ski is set aside, in so many cells that the rest keeps its place."""
    words = view.progress.reason.split()
    # A word too long to break well has one of the two rows to itself.
    breaks = max(map(len, words), default=0) < 40
    why = visible(view.progress.reason, LONGEST_REASON if breaks else 48)
    return f"Set aside: {why.rstrip('.')}. Enter takes it up again; PgDn: next ski."


# -- the walk-through of a first day ---------------------------------------------------------------
# On an invented fin one types what a caliper would show: what is expected once turns were made,
# before that what it left with last, else something that this blade can read.


def begin_tour(begun: bool) -> str:
    """Return how a check is done, begun or not."""
    return "press + for each thing you have really looked at" if begun else "press Enter"


def target_tour(view: JobView, unit: Unit) -> str:
    """Return what to type, and once that is kept how to go on: typed again it aims another."""
    if view.progress.targets:
        return "Enter leaves each other reading where it is, and past the last accepts the targets."
    change = "+.010" if unit == "in" else "+0.25"
    return (
        f"type {change} and Enter for a little more depth; then Enter for each "
        "reading that stays, and Enter accepts them."
    )


def reading_tour(view: JobView, unit: Unit) -> str:
    """Return what to type as a caliper would show it."""
    if view.due is None:
        return "all is read; Enter goes on."
    line = view.lines[view.due]
    return (
        f"type {length_text(_shown_mm(view, line), unit)} and Enter, as a caliper would show "
        f"{line.method.name}. m shows how it is held, * changes inch and mm, u takes it back."
    )


def _shown_mm(view: JobView, line: Line) -> float:
    """Return a number that a caliper could show for this reading."""
    for expected in view.expected:
        if expected.method.name == line.method.name:
            return expected.value_mm
    for entry in view.baseline.entries if view.baseline is not None else ():
        if entry.method_name == line.method.name:
            return entry.mm
    try:
        return view.rig.observe(line.method, nominal_pose(view.rig)).value_mm
    except BenchError:
        low, high = line.usual_mm
        return (low + high) / 2.0
