"""The stud turns: the one to make now large, then all three, what to expect, warnings, steps."""

from __future__ import annotations

from textual.content import Content

from workbench.bench.bigtext import big
from workbench.bench.state import BenchState
from workbench.bench.text import lines, padded, styled, visible, wrapped
from workbench.bench.wing_steps import steps_panel
from workbench.fin.guidance import StudTurn
from workbench.measure.display import (
    length_text,
    turn_text,
    turns_text,
)
from workbench.work.jobs import JobView
from workbench.work.marks import suspect_words
from workbench.work.next_step import act_due
from workbench.work.words import (
    exact_words,
    remark_words,
    short_step_words,
    step_words,
)

BLANK = Content("")
NARROW = 32
"""Cells within which titles have to be short."""


def turns(state: BenchState, width: int, height: int) -> Content:
    """Return the stud turns: the one to make now large, then all three, warnings and steps."""
    view = state.view
    if view is None:
        return BLANK
    if view.stage == "wing":
        return steps_panel(width)
    if view.why is not None:
        words = wrapped(f"! {view.trouble_in(state.unit)}", width)
        return lines([styled((part, "bold $state-caution")) for part in words])
    if view.plan is None or not view.progress.targets:
        words = wrapped(_awaited(view), width)
        faint = [styled((part, "$ink-faint")) for part in words]
        return lines([*_contradicted(state, view, width), *faint])
    out = _contradicted(state, view, width) + _current(state, view, width)
    for t in view.plan.turns:
        out.append(_stud(t, width))
    if view.stage in ("turning", "target", "within"):
        out += _after(view, state, width)
    for remark in view.plan.remarks:
        if remark.code == "within" and view.stage != "target":
            continue
        if remark.code == "insignificant" and view.plan.within:
            continue
        text = wrapped(f"! {remark_words(remark, state.unit)}", width)
        out += [styled((part, "$state-caution")) for part in text]
    if view.stage == "turning" and height > len(out) + 3:  # a warning must not be cut off for it
        out += _step_list(view, width, height - len(out))
    return lines(out[: max(height, 1)])


def _awaited(view: JobView) -> str:
    """Say what the turns still wait for."""
    if view.progress.targets:
        return "Worked out once every reading is taken again."
    return "Worked out once readings and target are there."


def _contradicted(state: BenchState, view: JobView, width: int) -> list[Content]:
    """Return which part is shown as it was, and which reading to take again first, and why."""
    out = []
    for words in view.corrected_words:
        out += [styled((part, "bold $state-caution")) for part in wrapped(f"! {words}", width)]
    for words in suspect_words(view, state.unit):
        out += [styled((part, "bold $state-caution")) for part in wrapped(f"? {words}", width)]
    return out


def _current(state: BenchState, view: JobView, width: int) -> list[Content]:
    """Return the turn to make now in large type, with its direction in a sign and words."""
    if view.plan is None or view.stage != "turning":
        return []
    step = act_due(view)
    if step.turn is None:
        return [styled((part, "bold $accent")) for part in wrapped(step_words(step), width)] + [
            BLANK
        ]
    rows = big(turn_text(step.turn.turns), width - 16, state.drawing == "ascii")
    clockwise = step.turn.stud.clockwise(step.turn.turns)
    side = [
        (f"{step.turn.stud.name} stud", "bold $accent"),
        (f"turn {step.turn.direction}", "bold"),
        ("↻ clockwise" if clockwise else "↺ counter-", "bold"),
        ("" if clockwise else "  clockwise", "bold"),
    ]
    out = []
    for i, row in enumerate(rows):
        text, style = side[i] if i < len(side) else ("", "")
        out.append(styled((f"{row}  ", "bold $big-digits"), (text, style)))
    if len(rows) < len(side):
        out += [styled((text, style)) for text, style in side[len(rows) :] if text]
    return out


def _stud(t: StudTurn, width: int) -> Content:
    if t.turns:
        sense = "↻" if t.stud.clockwise(t.turns) else "↺"
        arrow = f"{sense} {turns_text(t.turns)} {t.direction}"
    else:
        arrow = "· leave"
    name = visible(t.stud.name, 6)
    exact = exact_words(t)
    if 6 + len(arrow) + 1 + len(exact) > width:
        exact = exact.partition(" ")[0]
    if 6 + len(arrow) + 1 + len(exact) > width:
        exact = ""
    room = max(width - 6 - len(exact), len(arrow) + 1)
    return styled(f"{name:<6}", (arrow.ljust(room), "bold"), (exact, "$ink-faint"))


def _after(view: JobView, state: BenchState, width: int) -> list[Content]:
    """Return the readings to expect: after the turn to make now, else after all of them."""
    assert view.plan is not None
    step = act_due(view) if view.stage == "turning" else None
    if step is not None and step.turn is not None:
        title = "expect after this turn, seated"
        out = [styled((title if len(title) <= width else "expect, once seated", "$ink-faint"))]
        return out + [_expected(m.name, mm, "", state, width) for m, mm in step.expect]
    if not any(t.turns for t in view.plan.turns):
        return []  # what the readings and the target already show
    kept = all(p.within for p in view.plan.predictions)
    title = "after these turns" if width > NARROW else "after them"
    out = [styled((title, "$ink-faint"), "  = all within" if kept else "")]
    for p in view.plan.predictions:
        word = "" if kept else "= within" if p.within else "! outside"
        out.append(_expected(p.method.name, p.after_mm, word, state, width))
    return out


def _expected(name: str, value_mm: float, word: str, state: BenchState, width: int) -> Content:
    shown = length_text(value_mm, state.unit)
    label = padded(name, max(width - len(shown) - len(word) - 3, 8))
    return styled(f" {label} ", (shown, "bold"), f" {word}")


def _step_list(view: JobView, width: int, height: int) -> list[Content]:
    """Return the steps under their title; where not all find room, those around the one due."""
    assert view.plan is not None
    steps, due, room = view.plan.steps, view.progress.step, max(height - 1, 1)
    first = min(max(due - 1, 0), max(len(steps) - room, 0))
    shown = steps[first : first + room]
    title = "steps"
    if len(shown) < len(steps):
        title = f"steps {first + 1} to {first + len(shown)} of {len(steps)}"
    out = [styled((title, "$ink-faint"))]
    for i, step in enumerate(shown, first):
        mark = "✓" if i < due else "▸" if i == due else " "
        out.append(styled(f"{mark} {visible(short_step_words(step), width - 2)}"))
    return out
