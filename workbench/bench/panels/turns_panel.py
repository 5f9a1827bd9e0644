"""The stud turns: the one to make now large, then all three, what to expect, warnings, steps.

At the wing's stage the order of its screws is shown in their place.
"""

from __future__ import annotations

from collections.abc import Sequence

from rich.cells import cell_len
from textual.content import Content

from workbench.advice.checklists import STEPS, WING_SOURCE
from workbench.bench.draw.text import (
    lines,
    look_of,
    padded,
    paragraph,
    paragraphs,
    styled,
    visible,
    wrapped,
)
from workbench.bench.hand.state import BenchState
from workbench.bench.panels.one_thing import ARROWS, act_thing, drawn, fitted_name, turn_thing
from workbench.fin.plan.plan import StudTurn
from workbench.fin.reading.method import Method
from workbench.measure.display import length_text, turn_text, turns_text
from workbench.work.job.job_view import JobView
from workbench.work.job_text.view_words import (
    Importance,
    Said,
    act_due,
    dangers_of,
    missing_parts_words,
    said_of,
)
from workbench.work.text.words import LEFT_HAND, TOWARD, exact_words, short_step_words, step_words

_BLANK = Content("")
HELP_KEY = "h"
"""The key that shows every warning in full."""

NAME = 9
"""Cells of a stud's name."""

NARROW = 32
"""Cells within which titles have to be short."""


def turns(state: BenchState, width: int, height: int) -> Content:
    """Return the stud turns: the one to make now large, then the others, and what to expect.

    What is dangerous is above the turn, and neither makes the other smaller while there is room
    for both. What is wrong or doubtful comes below, then figures; what finds no room goes, the
    least important first.
    """
    view = state.view
    if view is None:
        return _BLANK
    told = warnings(state)
    if view.stage == "wing":
        return steps_panel(width, height)
    if view.why is not None:
        rows = warned(told, width, height)
        if view.stage == "turning" and view.rig.missing and height > len(rows) + 3:
            rows += [_BLANK, *_step_list(view, width, height - len(rows) - 1)]
        return lines(rows)
    if view.plan is None or not view.progress.targets:
        faint = paragraph(_awaited(view), width, "$ink-faint")
        return lines([*warned(told, width, max(height - len(faint), 1)), *faint][: max(height, 1)])
    dangers = [each for each in told if each.importance is Importance.DANGER]
    others = [each for each in told if each.importance is not Importance.DANGER]
    high = rows_of(dangers, width)
    room = height - high - 1  # a row stays for where the rest is told
    now = _now(state, view, width, room - max(_BELOW, height // 3))
    if len(now) > room:
        now = _now_short(view, width)
    if len(now) > room:  # not room for all that is dangerous: the rest of it is in the help
        now = now[: max(height - 1, 1)]
        return lines([*now, *warned(told, width, height - len(now))])
    rows = [*warned(dangers, width, high), *now]
    figures = [each for each in others if each.importance is Importance.FIGURES]
    weighty = [each for each in others if each.importance is not Importance.FIGURES]
    rows += warned(weighty, width, min(rows_of(others, width), height - len(rows)))
    left = height - len(rows)
    if figures and left > 0:
        rows += warned(figures, width, max(min(rows_of(figures, width), left - _BELOW), 1))
    rows += _fitting(state, view, width, height - len(rows))
    return lines(rows)


LARGE_ACT_FROM = 14
"""Rows from which an act that is no turn is written large too, word by word."""

_BELOW = 6
"""Rows that are kept for the other studs and what to expect, before figures have any."""


def _now(state: BenchState, view: JobView, width: int, room: int) -> list[Content]:
    """Return the turn to make now as large as may be, or those to come; ``room`` is what is free.

    At least it is as large as the smallest large type.
    """
    if view.stage != "turning":
        return _now_short(view, width)
    step = act_due(view)
    if step.turn is None:
        act = paragraph(step_words(step), width, "bold $accent")
        if room < LARGE_ACT_FROM:
            return act
        return [*act, *drawn(act_thing(view), width, room - len(act), state.drawing == "ascii")]
    thing, ascii_only = turn_thing(step.turn, view.rules.dial), state.drawing == "ascii"
    told = [*thing.danger, *thing.below]
    least = sum(len(wrapped(f"!! {text}", width)) for text in told) + (10 if ascii_only else 6)
    return drawn(thing, width, max(room, least), ascii_only)


def _now_short(view: JobView, width: int) -> list[Content]:
    """Return the same in few rows; before the turning begins, every stud's turn."""
    assert view.plan is not None
    if view.stage != "turning":
        return [row for t in view.plan.turns for row in _stud(t, width)]
    step = act_due(view)
    if step.turn is None:
        return [styled((visible(short_step_words(step), width), "bold $accent"))]
    thing = turn_thing(step.turn, view.rules.dial)
    now = f"{turn_text(step.turn.turns)}  "
    name = visible(f"{step.turn.stud.said} stud", width - len(now))
    danger = [styled((f"!! {words}", look_of(Importance.DANGER))) for words in thing.danger]
    way = paragraphs(thing.below, width, "bold")
    return [*danger, styled((now, "bold $big-digits"), (name, "bold $accent")), *way]


def _fitting(state: BenchState, view: JobView, width: int, room: int) -> list[Content]:
    """Return the other studs, what to expect and the steps, as far as there is room for each."""
    assert view.plan is not None
    turning = view.stage == "turning"
    due = act_due(view).turn if turning else None
    studs = [r for t in view.plan.turns if turning and t != due for r in _stud(t, width)]
    out: list[Content] = []
    expect = _after(view, state, width, titled=True)
    if len(expect) > room:
        expect = _after(view, state, width, titled=False)
    if len(expect) <= room:
        out = expect
    if len(studs) <= room - len(out):
        out = [*studs, *out]
    if turning and room > len(out) + 3:
        out += _step_list(view, width, room - len(out))
    return out


def _awaited(view: JobView) -> str:
    """Say what the turns still wait for."""
    if view.rig.missing:
        return f"None told: {missing_parts_words(view).lower()} yet."
    if view.progress.targets:
        return "Worked out once every reading is taken again."
    return "Worked out once readings and target are there."


def warnings(state: BenchState) -> list[Said]:
    """Return what the turns' panel warns of, the most important first."""
    view = state.view
    if view is None or view.stage == "wing":
        return []
    above = dangers_of(view)  # they stand over the panels
    return [each for each in said_of(view, state.unit) if each not in above]


def rows_of(said: Sequence[Said], width: int) -> int:
    """Return how many rows these warnings take."""
    return sum(len(wrapped(each.signed, width)) for each in said)


def warned(said: Sequence[Said], width: int, room: int) -> list[Content]:
    """Return warnings in at most ``room`` rows; the last says how many more the help shows."""
    rows = [
        (i, part, look_of(each.importance))
        for i, each in enumerate(said)
        for part in wrapped(each.signed, width)
    ]
    shown = [styled((part, style)) for _, part, style in rows[: max(room, 0)]]
    if len(rows) <= room or not shown:
        return shown
    at, part, style = rows[room - 1]
    left = len(said) - at - 1
    tail = f" … {left} more: {HELP_KEY}"
    if rows[room][0] == at or cell_len(part) + len(tail) > width:
        tail = f" {left + 1} more: {HELP_KEY}" if left else f" more: {HELP_KEY}"
        part = visible(f"{part} {rows[room][1]}", width - len(tail))
    return [*shown[:-1], styled((part, style), (tail, style))]


def _stud(t: StudTurn, width: int) -> list[Content]:
    """Return one stud's turn on a row; a left-hand thread is said below it."""
    name, arrow = visible(t.stud.said, NAME), "· leave"
    if t.turns:
        sign = ARROWS[bool(t.stud.clockwise(t.turns))]
        arrow = f"{sign} {turns_text(t.turns)} {t.direction}"
        if NAME + 1 + len(arrow) > width:
            arrow = f"{sign} {turn_text(t.turns)} {t.direction}"
    exact = exact_words(t)
    where = f"{arrow}, {TOWARD[t.turns > 0.0]}"
    if t.turns and NAME + len(where) + 2 + len(exact) <= width:
        arrow = where
    if NAME + len(arrow) + 2 + len(exact) > width:
        exact = exact.partition(" ")[0]
    if NAME + len(arrow) + 2 + len(exact) > width:
        exact = ""
    room = max(width - NAME - 1 - len(exact), len(arrow))
    row = styled(f"{name:<{NAME}} ", (arrow.ljust(room), "bold"), exact)
    if t.stud.hand == "left" and t.turns:
        return [row, styled((f"!! {LEFT_HAND}", look_of(Importance.DANGER)))]
    return [row]


def _after(view: JobView, state: BenchState, width: int, titled: bool) -> list[Content]:
    """Return the readings to expect: after the turn to make now, else after all of them."""
    mark = " " if titled else "→"
    assert view.plan is not None
    step = act_due(view) if view.stage == "turning" else None
    if step is not None and step.turn is not None:
        title = "expect after this turn, seated"
        out = [styled((title if len(title) <= width else "expect, once seated", "$ink-faint"))]
        out = out if titled else []
        return out + [_expected(m, mm, "", state, width, mark) for m, mm in step.expect]
    if not any(t.turns for t in view.plan.turns):
        return []  # what the readings and the target already show
    kept = titled and all(p.within for p in view.plan.predictions)
    title = "after these turns" if width > NARROW else "after them"
    out = [styled((title, "$ink-faint"), "  = all within" if kept else "")] if titled else []
    for p in view.plan.predictions:
        word = "" if kept else "= within" if p.within else "! outside"
        out.append(_expected(p.method, p.after_mm, word, state, width, mark))
    return out


def _expected(
    method: Method, value_mm: float, word: str, state: BenchState, width: int, mark: str
) -> Content:
    shown = length_text(value_mm, state.unit)
    room = max(width - len(shown) - len(word) - 3, 8)
    name = fitted_name(state.view, method, room) if state.view is not None else method.name
    label = padded(name, room)
    return styled(f"{mark}{label} ", (shown, "bold"), f" {word}")


def _step_list(view: JobView, width: int, height: int) -> list[Content]:
    """Return the steps under their title; where not all find room, those around the one due."""
    steps, due, room = view.steps, view.progress.step, max(height - 1, 1)
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


def steps_lines(width: int) -> list[Content]:
    """Return the screws' order, an act a line where it fits."""
    out = [styled((visible(f"screws ({WING_SOURCE})", width), "$ink-faint"))]
    for number, step in enumerate(STEPS, 1):
        text = visible(f" {step.words}", width - len(step.name) - 3)
        out.append(styled(f"{number} ", (step.name, "bold"), text))
    return out


def steps_short(width: int) -> list[Content]:
    """Return the screws' order in one line."""
    words = " > ".join(step.name for step in STEPS)
    return [styled((visible(f"screws: {words}; the maker's figure wins", width), "$ink-faint"))]


def steps_panel(width: int, height: int) -> Content:
    """Return the screws' order for the panel of the wing's stage; the help has it in full."""
    title = styled(("the wing, in this order", "$ink-faint"))
    source = paragraph(WING_SOURCE, width, "$ink-faint")
    out = [*steps_in_full(width), *source]
    if len(out) <= height:
        return lines([title, *out] if len(out) < height else out)
    short = [visible(f"{number} {s.name}: {s.words}", width) for number, s in enumerate(STEPS, 1)]
    where = styled(("… in full: h", "bold"))
    return lines([*(styled((row, "bold")) for row in short), where, *source][: max(height, 1)])


def steps_in_full(width: int) -> list[Content]:
    """Return each act of the screws' order in as many rows as it takes."""
    out = []
    for number, step in enumerate(STEPS, 1):
        first, *rest = wrapped(f"{number} {step.name}: {step.words}", width - 2)
        out += [styled((first, "bold")), *[styled(f"  {part}") for part in rest]]
    return out
