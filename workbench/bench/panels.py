"""What each panel says, as text made from the bench's state; nothing here computes."""

from __future__ import annotations

import textwrap

from textual.content import Content

from workbench.bench.bigtext import big
from workbench.bench.drawing import side_view
from workbench.bench.state import BenchState
from workbench.bench.text import lines, styled, visible
from workbench.fin.guidance import Step, StudTurn
from workbench.measure.display import (
    change_text,
    fine_text,
    length_text,
    turn_text,
)
from workbench.measure.units import Unit
from workbench.work.jobs import JobView, Line
from workbench.work.words import (
    CAUTION_EDGES,
    CAUTION_LOOSEN,
    CAUTION_RIDE,
    CAUTION_SNUG,
    exact_words,
    remark_words,
    step_words,
)

BLANK = Content("")


def top_line(state: BenchState, width: int) -> Content:
    """Return the line at the top: the ski, its stage, whose hands, and the unit."""
    view = state.view
    left = f" {visible(state.shop_name or 'Quarterturn', max(width // 4, 12))} "
    right = f" {visible(state.who, 12) or 'no initials (i)'}  {state.day}  [{state.unit}] "
    middle = ""
    if view is not None:
        middle = f" {visible(view.ski.name, 24)} · {view.stage_words} · {view.ski.rider}"
    room = max(width - len(left) - len(right), 0)
    return styled((left, "bold"), visible(middle, room).ljust(room), (right, "bold"))


def roster(state: BenchState, width: int, height: int) -> Content:
    """Return the day's queue: the ski in hand marked, each with its stage in a sign and a word."""
    if not state.roster:
        words = ("No ski in today's queue.", "", "n adds a ski; then it stands here.")
        return lines([styled(part) for text in words for part in wrapped(text, width)])
    here = state.position or 0
    per = 2
    room = max(height // per, 1)
    first = min(max(here - room // 2, 0), max(len(state.roster) - room, 0))
    out: list[Content] = []
    for i, line in enumerate(state.roster[first : first + room], first):
        mark = "▸" if i == here and state.view is not None else " "
        bold = "bold" if mark == "▸" else ""
        stage = "within tolerance" if line.stage == "within" else str(line.stage)
        if line.stage in ("turning", "measuring"):
            stage += f" {line.pass_number + (line.stage == 'turning')}"
        out.append(styled((f"{mark}{line.glyph} {visible(line.ski_name, width - 4)}", bold)))
        room_rider = max(width - 6 - len(stage), 4)
        due = f" {line.due}" if line.due and len(line.due) + len(line.rider) < room_rider else ""
        rider = visible(line.rider + due, room_rider)
        out.append(
            styled(f"   {stage} ", (rider.rjust(max(width - 4 - len(stage), 0)), "$ink-faint"))
        )
    return lines(out)


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
        return lines(
            [
                *[
                    styled((p, "bold"))
                    for p in wrapped("Every item of the final check is ticked.", width)
                ],
                BLANK,
                *[
                    styled(p)
                    for p in wrapped(f"Sign off as {who}: Enter, then + on purpose.", width)
                ],
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


def has_target(state: BenchState) -> bool:
    """Whether there is a target to show or to set."""
    view = state.view
    return view is not None and bool(view.progress.targets or view.stage == "target")


def target(state: BenchState, width: int, height: int) -> Content:
    """Return target, tolerance and miss of each reading, in signs and words."""
    view = state.view
    if view is None:
        return BLANK
    if not has_target(state):
        words = wrapped("Set once the readings are taken and the studs touch.", width)
        return lines([styled((part, "$ink-faint")) for part in words])
    roomy = height >= 2 * len(view.lines)
    out: list[Content] = []
    for line in view.lines:
        out += _aim(line, state.unit, width) if roomy else [_aim_in_one(line, state.unit, width)]
    if view.stage == "target":
        hint = "a sign starts a change: +.005"
        if view.baseline is not None:
            hint = "b: the baseline; +.005: a change"
        out += [styled((part, "$ink-faint")) for part in wrapped(hint, width)]
    return lines(out)


def _aim(line: Line, unit: Unit, width: int) -> list[Content]:
    """Return one target on two lines: what is aimed at and why, then how far off it is."""
    if line.target_mm is None:
        word = "   none yet: stays where it is"
        return [styled(visible(line.method.name, width)), styled((word, "$ink-faint"))]
    aim = f"   {length_text(line.target_mm, unit)} ±{fine_text(line.tolerance_mm, unit)}"
    kind = "held" if line.target is None else line.target.kind
    return [
        styled(visible(line.method.name, width - 10), (f"  {kind}", "$ink-faint")),
        styled((aim, "bold"), "  ", _off(line, unit)),
    ]


def _aim_in_one(line: Line, unit: Unit, width: int) -> Content:
    """Return one target on a single line, where an entry takes the room."""
    if line.target_mm is None:
        aim = "none yet"
    else:
        aim = f"{length_text(line.target_mm, unit)} ±{fine_text(line.tolerance_mm, unit)}"
    name = visible(line.method.name, max(width - len(aim) - 1, 4))
    return styled(f"{name} ".ljust(width - len(aim)), (aim, "bold"))


def _off(line: Line, unit: str) -> Content:
    off = line.off_mm
    if off is None:
        return Content("")
    shown = change_text(off, "mm" if unit == "mm" else "in")
    if abs(off) <= line.tolerance_mm * (1 + 1e-9):
        return styled((f"= within {shown}", "bold $state-within"))
    sign = "▲ over" if off > 0 else "▼ under"
    return styled((f"{sign} {shown}", "bold $state-outside"))


def turns(state: BenchState, width: int, height: int) -> Content:
    """Return the stud turns: the one to make now large, then all three, steps and warnings."""
    view = state.view
    if view is None:
        return BLANK
    if view.trouble:
        words = wrapped(f"! {view.trouble}", width)
        return lines([styled((part, "bold $state-caution")) for part in words])
    if view.plan is None or not view.progress.targets:
        words = wrapped("Worked out when readings and target are there.", width)
        return lines([styled((part, "$ink-faint")) for part in words])
    out = _current(state, view, width)
    for t in view.plan.turns:
        out.append(_stud(t, width))
    if view.stage in ("turning", "target", "within"):
        out += _after(view, state, width)
    if view.stage == "turning" and height > len(out) + 3:
        out += _step_list(view, width)
    for remark in view.plan.remarks:
        if remark.code == "within" and view.stage != "target":
            continue
        if remark.code == "insignificant" and view.plan.within:
            continue
        text = wrapped(f"! {remark_words(remark, state.unit)}", width)
        out += [styled((part, "$state-caution")) for part in text]
    return lines(out[: max(height, 1)])


def _current(state: BenchState, view: JobView, width: int) -> list[Content]:
    """Return the turn to make now in large type, with its direction in a sign and words."""
    if view.plan is None or view.stage != "turning":
        return []
    step = _act(view)
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
        arrow = f"{sense} {turn_text(t.turns)} {t.direction}"
    else:
        arrow = "· leave"
    name = visible(t.stud.name, 8)
    return styled((f"{name:<8}", ""), (f"{arrow:<13}", "bold"), (exact_words(t), "$ink-faint"))


def _after(view: JobView, state: BenchState, width: int) -> list[Content]:
    """Return the readings to expect: after the turn to make now, else after all of them."""
    assert view.plan is not None
    step = _act(view) if view.stage == "turning" else None
    if step is not None and step.turn is not None:
        out = [styled(("expect after this turn, seated", "$ink-faint"))]
        return out + [_expected(m.name, mm, "", state, width) for m, mm in step.expect]
    out = [styled(("after these turns", "$ink-faint"))]
    for p in view.plan.predictions:
        word = "= within" if p.within else "! outside"
        out.append(_expected(p.method.name, p.after_mm, word, state, width))
    return out


def _act(view: JobView) -> Step:
    """Return the act of the pass that is due."""
    assert view.plan is not None
    acts = [s for s in view.plan.steps if s.do != "measure"]
    return acts[min(view.progress.step, len(acts) - 1)]


def _expected(name: str, value_mm: float, word: str, state: BenchState, width: int) -> Content:
    shown = length_text(value_mm, state.unit)
    label = visible(name, max(width - len(shown) - len(word) - 4, 8))
    return styled(f" {label} ", (shown, "bold"), f" {word}")


def _step_list(view: JobView, width: int) -> list[Content]:
    assert view.plan is not None
    out = [styled(("steps", "$ink-faint"))]
    for i, step in enumerate(view.plan.steps):
        mark = "✓" if i < view.progress.step else "▸" if i == view.progress.step else " "
        out.append(styled(f"{mark} {visible(step_words(step), width - 2)}"))
    return out


def picture(state: BenchState, width: int, height: int) -> Content:
    """Return the side view: now against wanted, the difference enlarged and the factor stated."""
    view = state.view
    if view is None or width < 10 or height < 4:
        return BLANK
    wanted = view.plan.wanted if view.plan is not None and view.progress.targets else None
    shown = side_view(view.rig, view.pose, wanted, width, height - 1, state.drawing)
    rows = []
    for row in shown.canvas.rows():
        rows.append(styled(*[(text, f"$ink-{ink}" if ink else "") for text, ink in row]))
    rows.append(styled((visible(shown.caption, width), "$ink-faint")))
    return lines(rows)


def keys_line() -> Content:
    """Return the keys that matter, in one line; the rest stands on the sheet."""
    keys = (
        ("Enter", "next"),
        ("*", "in/mm"),
        ("+ -", "ski, yes"),
        ("u", "take back"),
        ("/", "more"),
        ("h", "help"),
    )
    return styled(
        *[part for key, word in keys for part in ((f" {key} ", "bold $accent"), f"{word}  ")]
    )


def next_step(state: BenchState, width: int) -> Content:
    """Return what to do now, what was just said, and the caution that belongs there."""
    said = {"warn": "bold $state-caution", "done": "$state-within", "say": ""}[state.tone]
    sign = {"warn": "! ", "done": "✓ ", "say": ""}[state.tone] if state.message else ""
    first, *rest = wrapped(next_words(state), width - 6)
    rows = [styled(("NEXT  ", "bold $accent"), (first, "bold"))]
    rows += [styled((f"      {part}", "bold")) for part in rest[:1]]
    if state.message:
        rows.append(styled((visible(sign + state.message, width), said)))
    rows.append(styled((visible(caution(state), width), "$ink-faint")))
    return lines(rows[:3])


def next_words(state: BenchState) -> str:
    """Return what to do now, in one sentence."""
    view = state.view
    if view is None:
        return "n adds a ski to today's queue; / opens the sheet of everything else."
    if state.question is not None:
        return "+ takes the value shown, - shows the next, Backspace goes back to typing."
    if state.entry:
        return f"Enter takes {state.reads_as or state.entry}; Backspace mends it, Esc drops it."
    line = state.line
    name = line.method.name if line is not None else ""
    stage = view.stage
    if view.trouble and stage in ("turning", "studs", "target"):
        return "These readings do not work: u takes the last one back, then measure it again."
    if stage in ("waiting", "received check", "final check"):
        what = "final check" if stage == "final check" else "received check"
        if not state.hands_on:
            return f"Enter begins the {what}."
        item = next(i for i in view.checklist if i.key not in view.progress.ticked)
        return f"+ or space ticks: {item.words}"
    if stage in ("as received", "measuring"):
        return f"Measure and type: {name}, then Enter."
    if stage == "studs":
        return "Bring all three studs up until each just touches the blade; Enter when they do."
    if stage == "target":
        if view.progress.targets:
            return "Enter accepts the target; or type another number for the reading marked ▸."
        return f"Type the target for {name}: a value, or a sign and a change."
    if stage == "turning":
        return _turn_words(view)
    if stage == "within":
        return "Within tolerance: leave it alone. Enter goes on."
    if stage == "wing":
        return "Set the wing, tighten it, type its angle in degrees, then Enter."
    if stage == "sign-off":
        return f"+ signs off as {state.who}." if state.hands_on else "Enter, then + to sign off."
    if stage == "set aside":
        why = visible(view.progress.reason, 48)
        return f"Set aside: {why}. Enter takes it up again; + goes to the next ski."
    return "Signed off. Enter goes to the next ski."


def _turn_words(view: JobView) -> str:
    if view.plan is None:
        return "No turns: see the warning; u takes the last entry back."
    if not any(t.turns for t in view.plan.turns):
        return "No turn this coarse helps: f for a finer turn, or k keeps it as it is."
    return f"{step_words(_act(view))} Enter when done."


def caution(state: BenchState) -> str:
    """Return the caution that belongs where the hand is now."""
    if state.view is None:
        return "The ski and block maker's instructions come first."
    stage = state.view.stage
    if stage in ("waiting", "received check", "as received", "measuring"):
        return CAUTION_EDGES
    if stage in ("studs", "turning"):
        return _turning_caution(state.view) if stage == "turning" else CAUTION_EDGES
    if stage in ("final check", "sign-off", "signed off"):
        return CAUTION_RIDE
    return "The maker's instructions, event rules and a qualified technician come first."


def _turning_caution(view: JobView) -> str:
    """Return loosen before the turns and snug after them."""
    if view.plan is None or view.progress.step == 0:
        return CAUTION_LOOSEN
    return CAUTION_SNUG if _act(view).do in ("seat", "snug") else CAUTION_EDGES


def wrapped(text: str, width: int) -> list[str]:
    """Return text broken at spaces into lines of at most ``width`` cells, nothing in it hidden."""
    return textwrap.wrap(visible(text, 2000), max(width, 8)) or [""]
