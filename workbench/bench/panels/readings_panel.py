"""The readings, each with its method; or the checklist that is due."""

from __future__ import annotations

from rich.cells import cell_len
from textual.content import Content

from workbench.bench.draw.text import lines, padded, paragraph, paragraphs, styled, visible, wrapped
from workbench.bench.hand.state import BenchState
from workbench.bench.panels.next_line import CAUTION
from workbench.bench.panels.one_thing import (
    drawn,
    final_thing,
    fitted_name,
    ghosts,
    large_parts,
    one_thing,
)
from workbench.measure.display import fine_text, length_text
from workbench.measure.units import Unit
from workbench.work.job.coarse_marks import off_words
from workbench.work.job.job_view import CoarseMark, JobView
from workbench.work.job.stages import Stage
from workbench.work.job.temperature import correction_words
from workbench.work.job_text.budget_explained import doubtful_words
from workbench.work.job_text.view_words import check_name, eyes_words
from workbench.work.text.words import CAUTION_EDGES, CAUTION_SNUG
from workbench.work.trust.job_reading import Line

_BLANK = Content("")
DOUBTFUL = "  ? doubtful"
AGAIN = "  ? take again"
ITEM_ROWS = 3
"""Rows that an item of a checklist may take where the panel is narrow."""

COARSE = {True: ("✓", "$ink-faint"), False: ("?", "bold $state-caution"), None: ("·", "$ink-faint")}
"""Sign and style of a coarse mark by whether it bears the readings out."""


def readings(state: BenchState, width: int, height: int) -> Content:
    """Return the readings, each with its method; or the checklist while it is due."""
    view = state.view
    if view is None:
        return styled("Nothing on the bench.")
    if _has_no_rows(state, view):
        return lines(_in_sight(*_checks(state, view, width, height), height))
    return lines(row for row, _ in _rows(state, view, width, height))


def line_at(state: BenchState, width: int, height: int, y: int) -> int | None:
    """Return the index of the reading that is drawn in a row of the panel; None where none is."""
    view = state.view
    if view is None or _has_no_rows(state, view):
        return None
    rows = _rows(state, view, width, height)
    return rows[y][1] if 0 <= y < len(rows) else None


def _has_no_rows(state: BenchState, view: JobView) -> bool:
    return bool(view.checklist) or (view.stage == "sign-off" and not has_entry(state))


def _rows(
    state: BenchState, view: JobView, width: int, height: int
) -> list[tuple[Content, int | None]]:
    """Return each row of the panel with the index of the reading that it belongs to."""
    out: list[tuple[Content, int | None]] = []
    if has_entry(state):
        out += [(row, None) for row in _big_entry(state, width, height)]
    left = height - len(out)
    room = left // max(len(view.lines), 1)
    flags = [_flags(line, state.unit, width) for line in view.lines]
    spare = left - min(room, 3) * len(view.lines)
    first = min(max(state.line_index - left + 1, 0), max(len(view.lines) - left, 0))
    for i, line in enumerate(view.lines):
        if i < first:
            continue
        if room < 2:
            out.append((_reading_in_one(state, view, i, line, width), i))
            continue
        out += [(row, i) for row in _reading(state, view, i, line, width, room > 2)]
        if len(flags[i]) <= spare:
            out += [(row, i) for row in flags[i]]
            spare -= len(flags[i])
    read = [m for m in view.marks if m.latest and not has_entry(state)]
    out += [(_coarse(m, state.unit, width), None) for m in read[: max(spare, 0)]]
    return out


def _coarse(mark: CoarseMark, unit: Unit, width: int) -> Content:
    """Return a coarse mark that was read, on one line: it only bears the readings out."""
    sign, style = COARSE[mark.agrees]
    said = f"{sign} {off_words(mark, unit)}"
    return styled((f"  {visible(mark.method.name, width - len(said) - 4)}  {said}", style))


def _reading_in_one(
    state: BenchState, view: JobView, index: int, line: Line, width: int
) -> Content:
    """Return one reading on a single line, where there is room for no more."""
    mark = "▸" if index == state.marked else " "
    held_to = ghosts(view, line, state.unit)
    value = "← due" if view.due == index else held_to[0] if held_to else "—"
    if line.now_mm is not None:
        value = f"{length_text(line.now_mm, state.unit)} {state.unit}"
        if line.corrections_mm and line.corrections_mm[-1]:
            value += " at 20 °C"
        value += AGAIN if view.contradicts(line) else DOUBTFUL if line.doubts.indices else ""
    room = max(width - len(value) - 3, 4)
    name = padded(fitted_name(view, line.method, room), room)
    return styled(f"{mark} {name} ", (value, "bold"))


def _big_entry(state: BenchState, width: int, height: int) -> list[Content]:
    """Return the number that matters now, large: the entry, or the place where it will stand.

    Half a digit cannot be read: where the height would cut them, they are written small.
    """
    view, line = state.view, state.line
    assert view is not None
    what = "wing angle (°)" if view.stage == "wing" else line.method.name if line else ""
    if view.stage == "target":
        lead = "all set: " if state.all_aimed else "target: "
        room = width - len(lead) - len(f" ({state.unit})")
        what = f"{lead}{fitted_name(view, line.method, room) if line else what}"
    unit = "" if view.stage == "wing" else f" ({state.unit})"
    if state.question is None and _is_placed(state):
        unit = f" {state.entry} → {state.reads_as}"
    if cell_len(what) + len(unit) > width and line is not None:
        lead = "target: " if view.stage == "target" else ""
        what = f"{lead}{fitted_name(view, line.method, width - len(unit) - len(lead))}"
    head = styled((f"{visible(what, width - len(unit))}{unit}", "bold $accent"))
    thing = one_thing(state)
    room = height - len(view.lines) - 1
    parts, beside = large_parts(thing, width, room, state.drawing == "ascii")
    style = "bold $big-digits"
    body = [styled((row, style)) for part in parts for row in part]
    if not state.entry and thing.large == ("_",):
        high = max(min(room - len(beside), 4), 1)
        body = [styled("") for _ in range(high)]
        body[high // 2] = styled(("▏ ", "$accent"), (_awaited(view.stage), "$ink-faint"))
    body += [styled((part, "bold")) for part in beside]
    if state.question is not None:
        asked = paragraphs(_question(state), width, "bold $state-caution")
        body = [styled((f"  {state.entry}", style)), *asked]
    return [head, *body]


def _is_placed(state: BenchState) -> bool:
    """Whether the entry counts as another number than the digits that stand large."""
    return bool(state.entry) and state.reads_as.partition(" ")[0] not in ("", state.entry)


def _awaited(stage: Stage) -> str:
    """Say what will stand large once it is typed."""
    match stage:
        case "wing":
            return "type the angle"
        case "target":
            return "type the target"
        case _:  # a reading, wherever one is due
            return "type, or off the caliper"


def _question(state: BenchState) -> list[str]:
    question = state.question
    assert question is not None
    out = [f"? {question.question}"]
    for i, placing in enumerate(question.placings):
        mark = "+ takes" if i == state.offered else "- shows"
        out.append(f"  {mark}  {placing.words}")
    return out


def _reading(
    state: BenchState, view: JobView, index: int, line: Line, width: int, roomy: bool
) -> list[Content]:
    """Return one reading on two or three lines: method, value and u, where it came from."""
    here = index == state.marked
    mark = "▸" if here else " "
    due = "  ← due" if view.due == index else ""
    said, style = _mark_of(line, state.unit)
    if view.contradicts(line):
        said, style = AGAIN, "bold $state-caution"
    name = fitted_name(view, line.method, max(width - 2 - len(due) - len(said), 8))
    head = styled((f"{mark} {name}", "bold" if here else ""), (due, "$accent"), (said, style))
    unit = state.unit
    if line.now_mm is None:
        held_to = () if view.due == index else ghosts(view, line, unit)
        ghost = visible(" · ".join(held_to), width - 5)
        return [head, styled("   — ", ghost)] + ([_BLANK] if roomy else [])
    value = f"   {length_text(line.now_mm, unit)} {unit}"
    parts = [
        styled((value, "bold"), f"  u {fine_text(line.u_mm or 0.0, unit)}", _repeats(line, unit))
    ]
    if roomy:
        parts.append(styled((visible(f"   {_origin(line, view, unit)}", width), "$ink-faint")))
    return [head, *parts]


def _repeats(line: Line, unit: Unit) -> str:
    """Return how many repeats there are and their scatter, once there are two."""
    repeats = line.repeats
    if repeats is None or repeats.sd is None:
        return ""
    return f"  n={repeats.n} s {fine_text(repeats.sd, unit)}"


def _mark_of(line: Line, unit: Unit) -> tuple[str, str]:
    """Return the sign and word that stand behind a reading's name, with their style."""
    if line.doubts.indices:
        return DOUBTFUL, "bold $state-caution"
    if line.corrections_mm and line.corrections_mm[-1]:
        return f"  {correction_words(line.corrections_mm[-1], unit)}", "$ink-faint"
    return (f"  ✗ {len(line.struck)} struck", "$ink-faint") if line.struck else ("", "")


def _flags(line: Line, unit: Unit, width: int) -> list[Content]:
    """Return doubtful repeats and those struck out, each with its sign and word on a line."""
    out = []
    found = line.doubts
    if found.apart:
        said = wrapped(f"? {doubtful_words(line, unit)}", width - 3)
        out += [styled((f"   {part}", "bold $state-caution")) for part in said]
    for i in () if found.apart else sorted(found.indices):
        value = length_text(line.latest[i].mm, unit)
        text = f"   ? {i + 1}) {value}: {found.test}"
        out.append(styled((visible(text, width), "bold $state-caution")))
    for r in line.struck:
        if r.struck is None:
            continue
        word = "not counted" if r.struck.is_damage else "struck"
        text = f"   ✗ {word} {length_text(r.mm, unit)}: {r.struck.reason}"
        out.append(styled((visible(text, width), "$ink-faint")))
    return out


def _origin(line: Line, view: JobView, unit: Unit) -> str:
    last = line.latest[-1]
    if view.progress.pass_number and line.received_mm is not None:
        since = line.since_received
        glance = f", {since.short}" if since is not None and since.mm else ""
        return f"received {length_text(line.received_mm, unit)}{glance}"
    how = "off the caliper" if last.how == "gauge" else last.how
    return f"{how}: {visible(last.text, 14)} ({last.unit})"


def _in_sight(rows: list[Content], at: int, height: int) -> list[Content]:
    """Return the rows from one on, so that those from row ``at`` can be seen."""
    if at + ITEM_ROWS <= height:
        return rows
    return rows[min(max(at - 1, 0), max(len(rows) - height, 0)) :]


def _checks(state: BenchState, view: JobView, width: int, height: int) -> tuple[list[Content], int]:
    """Return the checklist that is due, or what a sign-off takes, and the row of what is due."""
    if view.stage == "sign-off":
        keys = "+" if state.hands_on else "Enter, then +"
        how = f"Sign off as {state.who}: {keys} on purpose."
        if not state.who:
            how = "Sign off: your initials first (Enter)."
        told = paragraph(eyes_words(view), width, "bold")
        if all(line.final_mm is None for line in view.lines):
            every = paragraph("Every item is ticked.", width, "bold")
            return [*every, _BLANK, *paragraph(how, width), *told], 0
        room, ascii_only = height - len(told), state.drawing == "ascii"
        return [*drawn(final_thing(view, state.unit), width, room, ascii_only), *told], 0
    out = [styled((check_name(view), "bold $accent")), _BLANK]
    at, next_found = 0, False
    for item in view.checklist:
        done = item.key in view.progress.ticked
        box = "[x]" if done else "[ ]"
        is_next = not done and not next_found
        at = len(out) if is_next else at
        next_found = next_found or not done
        style = "bold" if is_next else "$ink-faint" if done else ""
        for k, part in enumerate(wrapped(item.words, width - 6)):
            lead = f"{'▸' if is_next else ' '}{box} " if k == 0 else "     "
            out.append(styled((lead + part, style)))
    careful = CAUTION_SNUG if view.is_final else CAUTION_EDGES
    return [*out, _BLANK, *paragraph(careful, width, CAUTION)], at


def has_checks(state: BenchState) -> bool:
    """Whether a checklist or a sign-off is due, which needs the room more than the target does."""
    view = state.view
    return view is not None and bool(view.checklist or view.stage == "sign-off")


def has_entry(state: BenchState) -> bool:
    """Whether a number is due or being typed, so that it is large among the readings."""
    view = state.view
    if view is not None and view.reads_locked and state.entry:
        return True
    if view is None or view.checklist or view.stage == "sign-off":
        return False
    return bool(state.entry or view.due is not None or view.stage in ("target", "wing"))
