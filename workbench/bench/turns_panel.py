"""The stud turns: the one to make now large, then all three, what to expect, warnings, steps."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Literal

from rich.cells import cell_len
from textual.content import Content

from workbench.bench.bigtext import big
from workbench.bench.state import BenchState
from workbench.bench.text import lines, padded, styled, visible, wrapped
from workbench.bench.wing_steps import steps_panel
from workbench.fin.guidance import StudTurn
from workbench.frozen import dataclass
from workbench.measure.display import length_text, turn_text, turns_text
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
HELP_KEY = "h"
"""The key that shows every warning in full."""

NARROW = 32
"""Cells within which titles have to be short."""


def turns(state: BenchState, width: int, height: int) -> Content:
    """Return the stud turns: the one to make now large, then all three, warnings and steps.

    Warnings have room first: for them the list of steps goes, then what stands twice.
    """
    view = state.view
    if view is None:
        return BLANK
    if view.stage == "wing":
        return steps_panel(width, height)
    first, later = _first_warnings(state, view), _later_warnings(state, view)
    said = [*first, *later]
    if view.why is not None:
        return lines(warned(said, width, height))
    if view.plan is None or not view.progress.targets:
        words = wrapped(_awaited(view), width)
        faint = [styled((part, "$ink-faint")) for part in words]
        return lines([*warned(said, width, max(height - len(faint), 1)), *faint][: max(height, 1)])
    needed, rows = rows_of(said, width), []
    for form in _forms(state, view, width):
        rows = _turn_rows(state, view, width, form)
        if len(rows) + needed <= height:
            break
    rows = rows[: max(height - min(needed, 1), 0)]
    told = warned(said, width, height - len(rows))
    above = rows_of(first, width)
    out = told[:above] + rows + told[above:]
    if view.stage == "turning" and height > len(out) + 3:
        out += _step_list(view, width, height - len(out))
    return lines(out)


@dataclass(frozen=True, slots=True)
class _Form:
    """What stands beside the warnings: the turn to make now, which studs, what to expect."""

    now: Literal["large", "short"] = "large"
    studs: Literal["all", "others", "none"] = "all"
    titled: bool = True


_FORMS = (
    _Form(),
    _Form(studs="others"),
    _Form("short"),
    _Form("short", "others"),
    _Form("short", "none"),
    _Form("short", "none", titled=False),
)
"""Ever shorter, while a stud is turned: what goes first stands twice."""

_FORMS_TO_COME = (_Form(), _Form(titled=False), _Form(studs="none", titled=False))
"""The same, while the turns are still to come."""


def _forms(state: BenchState, view: JobView, width: int) -> Iterator[_Form]:
    """Yield the forms to try; digits too wide to stand large are written short at once."""
    turning = view.stage == "turning"
    forms = _FORMS if turning else _FORMS_TO_COME
    yield forms[0]
    large = not turning or len(_digits(state, view, width)) > 1
    yield from (form for form in forms[1:] if large or form.now == "short")


def _digits(state: BenchState, view: JobView, width: int) -> list[str]:
    """Return the turn to make now in large digits, in one row where they would not fit."""
    turn = act_due(view).turn
    return big(turn_text(turn.turns), width - 16, state.drawing == "ascii") if turn else []


def _turn_rows(state: BenchState, view: JobView, width: int, form: _Form) -> list[Content]:
    """Return the turn to make now, those of the studs, and what to expect."""
    assert view.plan is not None
    due = act_due(view).turn if view.stage == "turning" else None
    out = _current(state, view, width) if form.now == "large" else _current_short(view, width)
    if form.studs != "none":
        own = due.stud if due is not None and form.studs == "others" else None
        out += [_stud(t, width) for t in view.plan.turns if t.stud != own]
    if view.stage in ("turning", "target", "within"):
        out += _after(view, state, width, form.titled)
    return out


def _awaited(view: JobView) -> str:
    """Say what the turns still wait for."""
    if view.progress.targets:
        return "Worked out once every reading is taken again."
    return "Worked out once readings and target are there."


Told = tuple[str, str]
"""A warning with its sign, and its style."""


def warnings(state: BenchState) -> list[Told]:
    """Return all that is to be warned of, what is to be seen to first before the rest."""
    view = state.view
    if view is None or view.stage == "wing":
        return []
    return [*_first_warnings(state, view), *_later_warnings(state, view)]


def _first_warnings(state: BenchState, view: JobView) -> list[Told]:
    """Return why there are no turns; else which part is shown as it was, what to take again."""
    if view.why is not None:
        return [(f"! {view.trouble_in(state.unit)}", "bold $state-caution")]
    out = [(f"! {words}", "bold $state-caution") for words in view.corrected_words]
    again = suspect_words(view, state.unit)
    return [*out, *[(f"? {words}", "bold $state-caution") for words in again]]


def _later_warnings(state: BenchState, view: JobView) -> list[Told]:
    """Return the warnings of the plan."""
    out: list[Told] = []
    if view.why is not None or view.plan is None or not view.progress.targets:
        return out
    for remark in view.plan.remarks:
        if remark.code == "within" and view.stage != "target":
            continue
        if remark.code == "insignificant" and view.plan.within:
            continue
        out.append((f"! {remark_words(remark, state.unit)}", "$state-caution"))
    return out


def rows_of(said: Sequence[Told], width: int) -> int:
    """Return how many rows these warnings take."""
    return sum(len(wrapped(words, width)) for words, _ in said)


def warned(said: Sequence[Told], width: int, room: int) -> list[Content]:
    """Return warnings in at most ``room`` rows; the last says how many more the help shows."""
    rows = [(i, part, style) for i, (x, style) in enumerate(said) for part in wrapped(x, width)]
    shown = [styled((part, style)) for _, part, style in rows[: max(room, 0)]]
    if len(rows) <= room or not shown:
        return shown
    at, part, style = rows[room - 1]
    left = len(said) - at - 1
    tail = f" … {left} more: {HELP_KEY}"
    if rows[room][0] == at or cell_len(part) + len(tail) > width:
        tail = f" {left + 1} more: {HELP_KEY}" if left else f" more: {HELP_KEY}"
        part = visible(f"{part} {rows[room][1]}", width - len(tail))
    return [*shown[:-1], styled((part, style), (tail, "bold $state-caution"))]


def _current(state: BenchState, view: JobView, width: int) -> list[Content]:
    """Return the turn to make now in large type, with its direction in a sign and words."""
    if view.plan is None or view.stage != "turning":
        return []
    step = act_due(view)
    if step.turn is None:
        return [styled((part, "bold $accent")) for part in wrapped(step_words(step), width)] + [
            BLANK
        ]
    rows = _digits(state, view, width)
    clockwise = step.turn.stud.clockwise(step.turn.turns)
    side = [
        (f"{step.turn.stud.said} stud", "bold $accent"),
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


def _current_short(view: JobView, width: int) -> list[Content]:
    """Return the same in two rows at most, where warnings need the room."""
    if view.plan is None or view.stage != "turning":
        return []
    step = act_due(view)
    if step.turn is None:
        return [styled((visible(short_step_words(step), width), "bold $accent"))]
    sense = "clockwise" if step.turn.stud.clockwise(step.turn.turns) else "counter-clockwise"
    sign = "↻" if sense == "clockwise" else "↺"
    now = f"{turn_text(step.turn.turns)}  "
    name = visible(f"{step.turn.stud.said} stud", width - len(now))
    way = f"{sign} turn {step.turn.direction}, {sense}"
    way = way if len(way) <= width else way.replace("turn ", "")
    return [
        styled((now, "bold $big-digits"), (name, "bold $accent")),
        styled((visible(way, width), "bold")),
    ]


def _stud(t: StudTurn, width: int) -> Content:
    if t.turns:
        sense = "↻" if t.stud.clockwise(t.turns) else "↺"
        arrow = f"{sense} {turns_text(t.turns)} {t.direction}"
    else:
        arrow = "· leave"
    name = visible(t.stud.said, 6)
    exact = exact_words(t)
    if 6 + len(arrow) + 1 + len(exact) > width:
        exact = exact.partition(" ")[0]
    if 6 + len(arrow) + 1 + len(exact) > width:
        exact = ""
    room = max(width - 6 - len(exact), len(arrow) + 1)
    return styled(f"{name:<6}", (arrow.ljust(room), "bold"), (exact, "$ink-faint"))


def _after(view: JobView, state: BenchState, width: int, titled: bool) -> list[Content]:
    """Return the readings to expect: after the turn to make now, else after all of them."""
    mark = " " if titled else "→"
    assert view.plan is not None
    step = act_due(view) if view.stage == "turning" else None
    if step is not None and step.turn is not None:
        title = "expect after this turn, seated"
        out = [styled((title if len(title) <= width else "expect, once seated", "$ink-faint"))]
        out = out if titled else []
        return out + [_expected(m.name, mm, "", state, width, mark) for m, mm in step.expect]
    if not any(t.turns for t in view.plan.turns):
        return []  # what the readings and the target already show
    kept = titled and all(p.within for p in view.plan.predictions)
    title = "after these turns" if width > NARROW else "after them"
    out = [styled((title, "$ink-faint"), "  = all within" if kept else "")] if titled else []
    for p in view.plan.predictions:
        word = "" if kept else "= within" if p.within else "! outside"
        out.append(_expected(p.method.name, p.after_mm, word, state, width, mark))
    return out


def _expected(
    name: str, value_mm: float, word: str, state: BenchState, width: int, mark: str
) -> Content:
    shown = length_text(value_mm, state.unit)
    label = padded(name, max(width - len(shown) - len(word) - 3, 8))
    return styled(f"{mark}{label} ", (shown, "bold"), f" {word}")


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
