"""Words for what the kernel found: remarks, steps, directions, in the bench's unit.

The one place where guidance becomes sentences, so that bench and command line say the same.
"""

from __future__ import annotations

import math

from workbench.errors import BenchError
from workbench.fin.plan.guidance import FARTHEST_MM, StudLimitError, StudTurnsError
from workbench.fin.plan.plan import Remark, Step, StudTurn, TargetOutOfReachError
from workbench.fin.pose.equations import NoPoseError
from workbench.measure.display import (
    FINE,
    Dial,
    change_text,
    degrees_text,
    dial_text,
    fine_text,
    length_text,
    turns_text,
)
from workbench.measure.units import Unit

CAUTION_EDGES = "A fin is sharp: hold it by its faces, and glove up."
CAUTION_LOOSEN = "Loosen the clamp bolts before any stud is turned."
CAUTION_SNUG = "Snug the clamp bolts evenly, and never over the maker's torque."
SEEN_FROM = "from the screwdriver's end"
LEFT_HAND = "LEFT-HAND THREAD"
TOWARD = {True: "toward the blade", False: "away from the blade"}
"""Where a stud goes that is turned in, or out."""

CAUTION_RIDE = "Check every clamp bolt once more before the ride: a loose fin throws a rider."


def clean(text: str) -> str:
    """Return text with control and formatting characters written out, for a terminal or a file."""
    return "".join(c if c.isprintable() else _written(c) for c in text)


def _written(char: str) -> str:
    return char.encode("unicode_escape", "replace").decode("ascii")


def turn_words(turn: StudTurn, dial: Dial = "turns") -> str:
    """Return turns in words, never to be taken for inches.

    ``3/8 turn in, toward the blade (clockwise from the screwdriver's end)``.
    """
    if not turn.turns:
        return "leave"
    size, way = dialled(turn.turns, dial), way_words(turn.turns)
    return f"{size} {way}{left_hand(turn)} ({sense_words(turn)})"


def way_words(turns: float) -> str:
    """Return which way a stud goes: in, toward the blade, or out, away from it."""
    return f"in, {TOWARD[True]}" if turns > 0.0 else f"out, {TOWARD[False]}"


def dialled(turns: float, dial: Dial) -> str:
    """Return turns without their sign, as the driver shows them too: ``3/8 turn = 135°``."""
    shown = dial_text(turns, dial)
    return f"{turns_text(turns)} = {shown}" if shown else turns_text(turns)


def sense_words(turn: StudTurn) -> str:
    """Return which way round, and from where it is seen: on the other side it is the other way."""
    sense = "clockwise" if turn.stud.clockwise(turn.turns) else "counter-clockwise"
    return f"{sense} {SEEN_FROM}"


def left_hand(turn: StudTurn) -> str:
    """Return that a stud turns the other way than others, behind a comma, or nothing."""
    return f", {LEFT_HAND}" if turn.stud.hand == "left" and turn.turns else ""


def exact_words(turn: StudTurn) -> str:
    """Return the exact turns with their standard uncertainty."""
    shown = f"{abs(turn.exact):.3f}"
    sign = "+" if turn.exact >= 0 or not float(shown) else "−"
    return f"{sign}{shown} ±{turn.u_turns:.3f}"


def step_words(step: Step, dial: Dial = "turns") -> str:
    """Return one act at the bench as a sentence."""
    if step.do == "turn" and step.turn is not None:
        return f"Turn the {clean(step.turn.stud.said)} stud {turn_words(step.turn, dial)}."
    return {
        "leave": "On target: leave it.",
        "coarse": "No turn this coarse comes closer: leave it, or work in a finer turn.",
        "best": "No turn comes closer to these targets together: leave it, or aim anew.",
        "loosen": CAUTION_LOOSEN,
        "seat": "Push the blade home against all three studs.",
        "snug": CAUTION_SNUG,
        "measure": "Measure again with the same methods.",
        "by hand": "Turn the studs as you judge: no turns are worked out.",
        "turn": "",
    }[step.do]


def short_step_words(step: Step) -> str:
    """Return one act at the bench in a few words, for a list of them."""
    if step.do == "turn" and step.turn is not None:
        turn = f"{turns_text(step.turn.turns)} {step.turn.direction}"
        return f"Turn the {clean(step.turn.stud.said)} stud {turn}"
    return {
        "leave": "Leave it alone",
        "coarse": "Leave it, or work in a finer turn",
        "best": "Leave it, or aim anew",
        "loosen": "Loosen the clamp bolts",
        "seat": "Push the blade home",
        "snug": "Snug the clamp bolts evenly",
        "measure": "Measure again",
        "by hand": "Turn the studs as you judge",
        "turn": "",
    }[step.do]


def remark_words(remark: Remark, unit: Unit, finer: float | None = None) -> str:
    """Return a warning as one sentence in ``unit``; ``finer`` is a turn that would do better."""
    subject = clean(remark.subject)
    value, limit = remark.value_mm, remark.limit_mm
    when = "now" if remark.when == "now" else "at the target"
    if remark.code == "within":
        return "already on target: leave it"
    if remark.code == "tilt":
        tilt = degrees_text(math.degrees(remark.angle_rad))
        if remark.when == "wanted":
            return f"the targets ask for a tilt of {tilt}: that is odd, look at them again"
        return f"the readings put the blade at a tilt of {tilt}: that is odd, take them again"
    if remark.code == "ambiguous":
        tilt = degrees_text(math.degrees(remark.angle_rad))
        more = ""
        if remark.others:
            more = f", and {remark.others} more {'pose' if remark.others == 1 else 'poses'}"
        return (
            f"the readings would also fit a blade tilted {tilt}{more}: "
            "a fourth reading tells them apart"
        )
    if remark.code == "off_edge":
        return f"{subject} stud: {when} it touches beyond the end of its edge"
    if remark.code == "travel_limit":
        return (
            f"{subject} stud: {when} it is at {_len(value, unit)}, "
            f"beyond its limit of {_len(limit, unit)}"
        )
    if remark.code == "near_limit":
        return (
            f"{subject} stud: {when} it is within a quarter turn of its limit {_len(limit, unit)}"
        )
    if remark.code == "coarse":
        return f"{subject}: a target by a coarse mark is met no closer than an eye can read it"
    if remark.code == "no_tail":
        return (
            "no tail distance is read: only the base's curve tells where the blade is fore and "
            f"aft, to ±{fine_text(limit, unit)} {unit}"
        )
    if remark.code == "rough" and remark.by:
        return (
            f"{subject}: its uncertainty is only rough, as {clean(remark.by)}, which it "
            "depends on, touches near a corner of the outline"
        )
    if remark.code == "rough":
        return (
            f"{subject}: {when} it touches so near a corner of the outline that the "
            "uncertainties beside it are only rough"
        )
    if remark.code == "insignificant":
        return (
            f"{subject}: the change of {change_text(value, unit, FINE[unit])} {unit} is smaller "
            f"than its own expanded uncertainty of {fine_text(limit, unit)} {unit}"
        )
    why = f"1/{round(1 / finer)} turns would do" if finer else "a finer turn would do better"
    if remark.code == "apart":
        why = "these targets cannot all be met together"
        if remark.by:
            why = f"the targets cannot all be met while {clean(remark.by)} is held"
    return (
        f"{subject}: with these turns it stays {change_text(value, unit, FINE[unit])} {unit} off, "
        f"outside ±{fine_text(limit, unit)} {unit}; {why}"
    )


def error_words(error: BenchError, unit: Unit) -> str:
    """Return an error as one sentence in ``unit``; the kernel's own text is in mm."""
    if isinstance(error, TargetOutOfReachError):
        return f"the target is out of the blade's reach: {error_words(error.why, unit)}"
    if isinstance(error, StudLimitError):
        return (
            f"the {clean(error.stud.said)} stud would have to be at "
            f"{_len(error.end_mm, unit)}, beyond its {error.side} travel of "
            f"{_len(error.limit_mm, unit)}"
        )
    if isinstance(error, StudTurnsError):
        way = "in" if error.turns > 0.0 else "out"
        return (
            f"the {clean(error.stud.said)} stud would have to turn {abs(error.turns):.1f} turns "
            f"{way}: without stated limits no stud is taken to move more than "
            f"{_len(FARTHEST_MM, unit)} ({error.most_turns:.1f} turns)"
        )
    if isinstance(error, NoPoseError) and error.method is not None and error.value_mm is not None:
        text = f"{error.reason}: '{clean(error.method.name)}' {_len(error.value_mm, unit)}"
        if error.range_mm is not None:
            low, high = error.range_mm
            text += f"; it could be {_len(low, unit)} to {_len(high, unit)}"
        return text
    return clean(str(error))


def _len(value_mm: float, unit: Unit) -> str:
    return f"{length_text(value_mm, unit)} {unit}"


BOLTS_LOOSE = "The clamp bolts are loose: a round was begun and is not finished."

REFITTED_LOOSE = (
    "Its blade or block was changed: measure it, and check the clamp bolts, before it is ridden."
)

LOOSE_SHORT = "bolts loose"
"""The same in a list."""
