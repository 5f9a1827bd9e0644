"""The walk-through of a first day: at each stage what it is for and which keys, on an invented fin.

The numbers to type are what a caliper would show on the demo's fin: the expected ones once turns
were made, before that those it left with last, else some that this blade can read.
"""

from __future__ import annotations

from typing import assert_never

from workbench.errors import BenchError
from workbench.measure.display import length_text
from workbench.measure.units import Unit
from workbench.work.drawing.scene import nominal_pose
from workbench.work.job.job_view import JobView
from workbench.work.job.stages import Stage
from workbench.work.trust.job_reading import Line

STEPS: tuple[Stage, ...] = (
    "received check", "as received", "studs", "target", "turning", "measuring", "within", "wing",
    "final check", "sign-off", "signed off",
)  # fmt: skip


def tour_words(view: JobView | None, unit: Unit, hands_on: bool) -> str:
    """Return where the walk-through is and what to do next, in one or two sentences."""
    if view is None:
        return "Walk-through: take a ski in hand first: j goes to the next that is not finished."
    if view.stage == "set aside":
        return "Walk-through: this ski waits for its owner. j goes to the next unfinished one."
    step = STEPS.index("received check" if view.stage == "waiting" else view.stage) + 1
    return f"Walk-through {step} of {len(STEPS)}: {_words(view, unit, hands_on)}"


def _words(view: JobView, unit: Unit, hands_on: bool) -> str:
    begin = "press + for each thing you have really looked at" if hands_on else "press Enter"
    match view.stage:
        case "waiting" | "received check":
            return f"{begin}; a damaged or sharp fin is found before it is touched."
        case "as received" | "measuring":
            return _reading_words(view, unit)
        case "studs":
            return "bring the studs up to the blade, then Enter: from here the turns count."
        case "target":
            return _target_words(view, unit)
        case "turning":
            return (
                "do what the next-step line says and press Enter after each act. Loosen before "
                "any stud is turned. Tab shows the other panels."
            )
        case "within":
            return "on target: leave it. Enter goes on."
        case "wing":
            return "type 7.5 and Enter. /, then the wing's number, shows how the hold changes it."
        case "final check":
            return f"{begin}; the clamp bolts come last, because a loose one throws a rider."
        case "sign-off":
            release = "press +" if hands_on else "press Enter, then +"
            return f"{release} : your initials release the ski (i changes them)."
        case "signed off":
            return (
                "done. a writes its card, o shows its history, z the day's queue, "
                "j takes the next ski. :, then first day, ends this walk-through."
            )
        case "set aside":
            return "this ski waits for its owner."
        case _:
            assert_never(view.stage)


def _target_words(view: JobView, unit: Unit) -> str:
    """Return what to type, and once that is kept how to go on: typed again it aims another."""
    if view.progress.targets:
        return "Enter leaves each other reading where it is, and past the last accepts the targets."
    return (
        f"type {_change(view, unit)} and Enter for a little more depth; then Enter for each "
        "reading that stays, and Enter accepts them."
    )


def _reading_words(view: JobView, unit: Unit) -> str:
    if view.due is None:
        return "all is read; Enter goes on."
    line = view.lines[view.due]
    text = length_text(_shown_mm(view, line), unit)
    return (
        f"type {text} and Enter, as a caliper would show {line.method.name}. m shows how it is "
        "held, * changes inch and mm, u takes it back."
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


def _change(view: JobView, unit: Unit) -> str:
    return "+.010" if unit == "in" else "+0.25"
