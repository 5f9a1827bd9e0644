"""Words for what the kernel found: remarks, steps, directions, in the bench's unit.

The one place where guidance becomes sentences, so that bench and command line say the same.
"""

from __future__ import annotations

import math
from typing import assert_never

from workbench.errors import BenchError
from workbench.fin.plan.guidance import FARTHEST_MM, StudLimitError, StudTurnsError
from workbench.fin.plan.plan import Remark, Step, StepDo, StudTurn, TargetOutOfReachError
from workbench.fin.pose.equations import NoPoseError
from workbench.fin.studs import Stud
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
from workbench.work.text.safe_text import written_out

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
    return "".join(c if c.isprintable() else written_out(c) for c in text)


def turn_words(turn: StudTurn, dial: Dial = "turns") -> str:
    """Return turns in words, never to be taken for inches.

    ``3/8 turn in, toward the blade (clockwise from the screwdriver's end)``.
    """
    return turned_words(turn.stud, turn.turns, dial) if turn.turns else "leave"


def turned_words(stud: Stud, turns: float, dial: Dial = "turns") -> str:
    """Return how far a stud turns and which way, as the driver shows it too: ``3/8 turn = 135°``.

    Which way round is seen from one side: on the other it is the other way.
    """
    shown = dial_text(turns, dial)
    way = f"in, {TOWARD[True]}" if turns > 0.0 else f"out, {TOWARD[False]}"
    left = f", {LEFT_HAND}" if stud.hand == "left" else ""
    sense = "clockwise" if stud.clockwise(turns) else "counter-clockwise"
    size = f"{turns_text(turns)} = {shown}" if shown else turns_text(turns)
    return f"{size} {way}{left} ({sense} {SEEN_FROM})"


def exact_words(turn: StudTurn) -> str:
    """Return the exact turns with their standard uncertainty."""
    shown = f"{abs(turn.exact):.3f}"
    sign = "+" if turn.exact >= 0 or not float(shown) else "−"
    return f"{sign}{shown} ±{turn.u_turns:.3f}"


_STEPS: dict[StepDo, tuple[str, str]] = {
    "leave": ("On target: leave it.", "Leave it alone"),
    "coarse": (
        "No turn this coarse comes closer: leave it, or work in a finer turn.",
        "Leave it, or work in a finer turn",
    ),
    "best": (
        "No turn comes closer to these targets together: leave it, or aim anew.",
        "Leave it, or aim anew",
    ),
    "loosen": (CAUTION_LOOSEN, "Loosen the clamp bolts"),
    "seat": ("Push the blade home against all three studs.", "Push the blade home"),
    "snug": (CAUTION_SNUG, "Snug the clamp bolts evenly"),
    "measure": ("Measure again with the same methods.", "Measure again"),
    "by hand": (
        "Turn the studs as you judge: no turns are worked out.", "Turn the studs as you judge",
    ),
    "turn": ("", ""),
}  # fmt: skip
"""Each act at the bench as a sentence, and in a few words for a list."""


def step_words(step: Step, dial: Dial = "turns") -> str:
    """Return one act at the bench as a sentence."""
    if step.do == "turn" and step.turn is not None:
        return f"Turn the {clean(step.turn.stud.said)} stud {turn_words(step.turn, dial)}."
    return _STEPS[step.do][0]


def short_step_words(step: Step) -> str:
    """Return one act at the bench in a few words, for a list of them."""
    if step.do == "turn" and step.turn is not None:
        turn = f"{turns_text(step.turn.turns)} {step.turn.direction}"
        return f"Turn the {clean(step.turn.stud.said)} stud {turn}"
    return _STEPS[step.do][1]


def remark_words(remark: Remark, unit: Unit, finer: float | None = None) -> str:
    """Return a warning as one sentence in ``unit``; ``finer`` is a turn that would do better."""
    subject, tilt = clean(remark.subject), degrees_text(math.degrees(remark.angle_rad))
    value, limit = remark.value_mm, remark.limit_mm
    when = "now" if remark.when == "now" else "at the target"
    why = f"1/{round(1 / finer)} turns would do" if finer else "a finer turn would do better"
    match remark.code:
        case "within":
            return "already on target: leave it"
        case "tilt" if remark.when == "wanted":
            return f"the targets ask for a tilt of {tilt}: that is odd, look at them again"
        case "tilt":
            return f"the readings put the blade at a tilt of {tilt}: that is odd, take them again"
        case "ambiguous":
            poses = "pose" if remark.others == 1 else "poses"
            more = f", and {remark.others} more {poses}" if remark.others else ""
            return (
                f"the readings would also fit a blade tilted {tilt}{more}: "
                "a fourth reading tells them apart"
            )
        case "off_edge":
            return f"{subject} stud: {when} it touches beyond the end of its edge"
        case "travel_limit":
            at, end = _len(value, unit), _len(limit, unit)
            return f"{subject} stud: {when} it is at {at}, beyond its limit of {end}"
        case "near_limit":
            end = _len(limit, unit)
            return f"{subject} stud: {when} it is within a quarter turn of its limit {end}"
        case "coarse":
            return f"{subject}: a target by a coarse mark is met no closer than an eye can read it"
        case "no_tail":
            return (
                "no tail distance is read: only the base's curve tells where the blade is fore and "
                f"aft, to ±{fine_text(limit, unit)} {unit}"
            )
        case "rough" if remark.by:
            return (
                f"{subject}: its uncertainty is only rough, as {clean(remark.by)}, which it "
                "depends on, touches near a corner of the outline"
            )
        case "rough":
            return (
                f"{subject}: {when} it touches so near a corner of the outline that the "
                "uncertainties beside it are only rough"
            )
        case "insignificant":
            return (
                f"{subject}: the change of {change_text(value, unit, FINE[unit])} {unit} is "
                f"smaller than its own expanded uncertainty of {fine_text(limit, unit)} {unit}"
            )
        case "apart" if remark.by:
            why = f"the targets cannot all be met while {clean(remark.by)} is held"
        case "apart":
            why = "these targets cannot all be met together"
        case "still_off":
            pass
        case _:
            assert_never(remark.code)
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
