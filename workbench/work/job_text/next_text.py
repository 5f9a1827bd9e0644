"""What to do now on the command line: the bench's own words, and the command that does it."""

from __future__ import annotations

import shlex
from dataclasses import dataclass
from typing import assert_never

from workbench.measure.display import turn_text
from workbench.work.job.job_view import JobView
from workbench.work.job.stages import Stage
from workbench.work.job_text.next_step import (
    NO_FIT,
    NO_TURNS,
    OUT_OF_REACH,
    SETTLE,
    STUDS_UP,
    TURN_BACK,
    act_due,
    leave_words,
    lock_words,
    missing_words,
    obstacle,
    reading_due,
    sign_off_due,
    wing_step,
)
from workbench.work.text.words import clean, step_words


@dataclass(frozen=True, slots=True)
class Task:
    """What to do now in one sentence, and the commands that go on from there, the usual first."""

    words: str
    commands: tuple[str, ...]


def task_of(view: JobView) -> Task:
    """Return what to do now with a ski, and by which commands."""
    stage = view.stage
    match obstacle(view):
        case "elsewhere":
            return Task(view.elsewhere_words, ("queue",))
        case "open round":
            return Task(f"{TURN_BACK}: take its steps back, the last first.", ("take-back",))
        case "out of reach":
            again = "aim --again" if stage == "turning" else "aim METHOD VALUE"
            return Task(OUT_OF_REACH, (again, "take-back"))
        case "no fit":
            words = f"{NO_FIT}: take the last one back, then measure it again."
            return Task(words, ("take-back",))
        case "contradiction":
            return _again(view)
        case None:
            return _at_stage(view, stage)
        case _ as unknown:
            assert_never(unknown)


def _at_stage(view: JobView, stage: Stage) -> Task:
    match stage:
        case "waiting" | "received check" | "final check":
            return _check(view)
        case "as received" | "measuring":
            return _measure(view)
        case "studs":
            return Task(f"{STUDS_UP}.", ("seat",))
        case "target":
            return _target(view)
        case "turning":
            return _turn(view)
        case "within":
            return Task(view.learnt_words(view.ski.unit) or leave_words(view), ("accept",))
        case "wing":
            words = f"{wing_step(view)}, then give its angle in degrees."
            return Task(words, ("set-wing DEGREES",))
        case "sign-off":
            return _sign_off(view)
        case "set aside":
            return Task(f"Set aside: {clean(view.progress.reason)}.", ("take-up",))
        case "signed off":
            if view.unreleased:
                words = f"{view.unreleased_words} Strike the sign-off out, then go on from there."
                return Task(words, ("history", "strike --row ROW --reason REASON"))
            return Task("Signed off.", ("queue",))
        case _:
            assert_never(stage)


def _sign_off(view: JobView) -> Task:
    look, read = "", ""
    if view.lock_due is not None:
        look = lock_words(clean(view.lines[view.lock_due].method.name))
        read = f"read {view.lock_due + 1} VALUE"
    match sign_off_due(view):
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
        case _ as unknown:
            assert_never(unknown)


def _again(view: JobView) -> Task:
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


def _check(view: JobView) -> Task:
    item = view.check_due
    if item is None:
        return Task(f"{view.check_name}: nothing is left to tick.", ("next",))
    number = view.checklist.index(item) + 1
    words = f"{view.check_name}, {number} of {len(view.checklist)}: {clean(item.words)}."
    return Task(words, (f"tick {shlex.quote(clean(item.key))}",))


def _measure(view: JobView) -> Task:
    if view.due is None:
        return Task("Measure again.", ("next",))
    name = reading_due(view, clean(view.lines[view.due].method.name))
    if view.offers_settling:
        words = f"Settle the studs: {SETTLE.lower()}. Or measure as it is: {name}."
        return Task(words, ("settled", f"read {view.due + 1} VALUE"))
    fewer = ("enough",) if view.rules.repeats > 1 and view.may_go_on else ()
    return Task(f"Measure: {name}.", (f"read {view.due + 1} VALUE", *fewer))


def _target(view: JobView) -> Task:
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


def _turn(view: JobView) -> Task:
    if not view.steps:
        return Task(f"{NO_TURNS}; take the last entry back.", ("take-back",))
    if not view.has_round:
        why = view.no_turn_why
        finer = f"a finer turn ({turn_text(view.finer)} would do)" if view.finer else "a finer turn"
        words = f"{why[0].upper()}{why[1:]}: {finer}, or keep it as it is."
        return Task(words, ("finest TURN", "accept --as-is"))
    told = view.learnt_words(view.ski.unit) if act_due(view).do == "loosen" else ""
    words = step_words(act_due(view), view.rules.dial)
    if missing := missing_words(view):
        told = "" if view.progress.step else f"{missing} yet, so no turns are told."
        commands = ("done", "trace FILE --name NAME", "wear SKI --blade BLADE --reason WORDS")
        return Task(f"{told} {words}".strip(), commands[: 1 if view.progress.step else 3])
    return Task(f"{told} {words}" if told else words, ("done",))
