"""What the walk-through of a first day lets one type, on an invented fin, and how it is said.

The numbers to type are what a caliper would show on the demo's fin: the expected ones once turns
were made, before that those it left with last, else some that this blade can read.
"""

from __future__ import annotations

from workbench.errors import BenchError
from workbench.measure.display import length_text
from workbench.measure.units import Unit
from workbench.work.drawing.scene import nominal_pose
from workbench.work.job.job_view import JobView
from workbench.work.trust.job_reading import Line


def begin(begun: bool) -> str:
    """Return how a check is done, begun or not."""
    return "press + for each thing you have really looked at" if begun else "press Enter"


def sign_off_words(begun: bool) -> str:
    """Return how a ski is released."""
    release = "press +" if begun else "press Enter, then +"
    return f"{release} : your initials release the ski (i changes them)."


def target_words(view: JobView, unit: Unit) -> str:
    """Return what to type, and once that is kept how to go on: typed again it aims another."""
    if view.progress.targets:
        return "Enter leaves each other reading where it is, and past the last accepts the targets."
    return (
        f"type {_change(view, unit)} and Enter for a little more depth; then Enter for each "
        "reading that stays, and Enter accepts them."
    )


def reading_words(view: JobView, unit: Unit) -> str:
    """Return what to type as a caliper would show it."""
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
