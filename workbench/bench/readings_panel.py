"""The readings, each with its method; or the checklist that is due."""

from __future__ import annotations

from textual.content import Content

from workbench.bench.bigtext import big
from workbench.bench.state import BenchState
from workbench.bench.text import lines, styled, visible, wrapped
from workbench.measure.display import (
    fine_text,
    length_text,
)
from workbench.work.jobs import JobView, Line
from workbench.work.words import (
    CAUTION_EDGES,
    CAUTION_RIDE,
    CAUTION_SNUG,
)

BLANK = Content("")


def readings(state: BenchState, width: int, height: int) -> Content:
    """Return the readings, each with its method; or the checklist while it is due."""
    view = state.view
    if view is None:
        return styled("Nothing on the bench.")
    if view.checklist or view.stage == "sign-off":
        return _checks(state, view, width)
    out: list[Content] = []
    if has_entry(state):
        out += _big_entry(state, width)
    room = (height - len(out)) // max(len(view.lines), 1)
    for i, line in enumerate(view.lines):
        if room < 2:
            out.append(_reading_in_one(state, view, i, line, width))
        else:
            out += _reading(state, view, i, line, width, room > 2)
    return lines(out)


def _reading_in_one(
    state: BenchState, view: JobView, index: int, line: Line, width: int
) -> Content:
    """Return one reading on a single line, where there is room for no more."""
    mark = "▸" if index == state.line_index else " "
    value = "← due" if view.due == index else "—"
    if line.now_mm is not None:
        value = f"{length_text(line.now_mm, state.unit)} {state.unit}"
    name = visible(line.method.name, max(width - len(value) - 3, 4))
    return styled(f"{mark} {name} ".ljust(width - len(value)), (value, "bold"))


def _big_entry(state: BenchState, width: int) -> list[Content]:
    """Return the number that matters now, large: the entry, or the place where it will stand."""
    view, line = state.view, state.line
    assert view is not None
    what = "wing angle (°)" if view.stage == "wing" else line.method.name if line else ""
    if view.stage == "target":
        what = f"target: {what}"
    unit = "" if view.stage == "wing" else f" {state.unit}"
    head = styled((f"{visible(what, width - 6)}{unit}", "bold $accent"))
    rows = big(state.entry or "_", width, state.drawing == "ascii")
    style = "bold $big-digits"
    body = [styled((row, style)) for row in rows]
    if state.question is not None:
        asked = [part for text in _question(state) for part in wrapped(text, width)]
        body = [
            styled((f"  {state.entry}", style)),
            *[styled((part, "bold $state-caution")) for part in asked],
        ]
    return [head, *body]


def _question(state: BenchState) -> list[str]:
    question = state.question
    assert question is not None
    out = [f"? {question.question}"]
    for i, placing in enumerate(question.placings):
        mark = "+ takes" if i == state.offered else "- shows"
        out.append(f"  {mark}  {placing.number} {placing.unit}")
    return out


def _reading(
    state: BenchState, view: JobView, index: int, line: Line, width: int, roomy: bool
) -> list[Content]:
    """Return one reading on two or three lines: method, value and worth, where it came from."""
    here = index == state.line_index
    mark = "▸" if here else " "
    due = "  ← due" if view.due == index else ""
    head = styled(
        (f"{mark} {visible(line.method.name, width - 10)}", "bold" if here else ""),
        (due, "$accent"),
    )
    unit = state.unit
    if line.now_mm is None:
        return [head, styled(("   —", "$ink-faint"))] + ([BLANK] if roomy else [])
    value = f"   {length_text(line.now_mm, unit)} {unit}"
    parts = [
        styled((value, "bold"), f"  ±{fine_text(line.u_mm or 0.0, unit)}", _repeats(line, unit))
    ]
    if roomy:
        parts.append(styled((f"   {_origin(line, view, unit)}", "$ink-faint")))
    return [head, *parts]


def _repeats(line: Line, unit: str) -> str:
    if len(line.latest) < 2:
        return ""
    values = [r.mm for r in line.latest]
    spread = max(values) - min(values)
    return f"  n={len(values)} spread {fine_text(spread, 'mm' if unit == 'mm' else 'in')}"


def _origin(line: Line, view: JobView, unit: str) -> str:
    last = line.latest[-1]
    typed = f"as typed {visible(last.text, 14)} {last.unit}"
    if view.progress.pass_number and line.received_mm is not None:
        shown = length_text(line.received_mm, "mm" if unit == "mm" else "in")
        return f"{typed}; received {shown}"
    return f"{typed} ({last.how})"


def _checks(state: BenchState, view: JobView, width: int) -> Content:
    if view.stage == "sign-off":
        who = state.who or "(initials: i)"
        keys = "+" if state.hands_on else "Enter, then +"
        return lines(
            [
                *[
                    styled((p, "bold"))
                    for p in wrapped("Every item of the final check is ticked.", width)
                ],
                BLANK,
                *[styled(p) for p in wrapped(f"Sign off as {who}: {keys} on purpose.", width)],
                BLANK,
                *[styled((part, "$state-caution")) for part in wrapped(CAUTION_RIDE, width)],
            ]
        )
    name = "Final check" if view.stage == "final check" else "Received check"
    out = [styled((name, "bold $accent")), BLANK]
    next_found = False
    for item in view.checklist:
        done = item.key in view.progress.ticked
        box = "[x]" if done else "[ ]"
        is_next = not done and not next_found
        next_found = next_found or not done
        style = "bold" if is_next else "$ink-faint" if done else ""
        for k, part in enumerate(wrapped(item.words, width - 6)):
            lead = f"{'▸' if is_next else ' '}{box} " if k == 0 else "     "
            out.append(styled((lead + part, style)))
    if view.stage != "final check":
        out += [BLANK, *[styled((p, "$state-caution")) for p in wrapped(CAUTION_EDGES, width)]]
    else:
        out += [BLANK, *[styled((p, "$state-caution")) for p in wrapped(CAUTION_SNUG, width)]]
    return lines(out)


def has_entry(state: BenchState) -> bool:
    """Whether a number is due or being typed, so that it stands large among the readings."""
    view = state.view
    if view is None or view.checklist or view.stage == "sign-off":
        return False
    return bool(state.entry or view.due is not None or view.stage in ("target", "wing"))
