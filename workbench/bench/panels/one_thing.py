"""The one thing that matters now, as large as its room lets it be; what belongs to it beside it.

The same for the panels and for the whole screen: what it is follows from the stage.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from rich.cells import cell_len
from textual.content import Content

from workbench.bench.draw.bigtext import together
from workbench.bench.draw.text import lines, look_of, styled, visible, wrapped
from workbench.bench.hand.state import BenchState
from workbench.errors import BenchError
from workbench.fin.plan.guidance import COVERAGE
from workbench.fin.plan.plan import StudTurn
from workbench.fin.reading.method import Method
from workbench.frozen import dataclass
from workbench.measure.display import (
    Dial,
    change_between,
    dial_text,
    fine_text,
    length_text,
    turn_text,
)
from workbench.measure.units import Unit
from workbench.work.job.entry import CHANGE_SIGNS, target_entry
from workbench.work.job.job_view import JobView
from workbench.work.job_text.setting_words import moved_short
from workbench.work.job_text.view_words import (
    Importance,
    act_due,
    check_name,
    dangers_of,
    stage_words,
)
from workbench.work.text.words import LEFT_HAND, SEEN_FROM, TOWARD, short_step_words
from workbench.work.trust.job_reading import Line

ARROWS = {True: "↻", False: "↺"}
"""The sign for each way round, clockwise or not."""


@dataclass(frozen=True, slots=True)
class OneThing:
    """What is large, one below the other in one size; above it a name, below it the rest.

    ``danger`` is what has to be said beside it and never makes room; ``sides`` are rows of words to
    the right of each large part. With ``keeps_below`` what is below is as needful as itself.
    """

    large: tuple[str, ...]
    name: str = ""
    below: tuple[str, ...] = ()
    danger: tuple[str, ...] = ()
    sides: tuple[tuple[str, ...], ...] = ()
    keeps_below: bool = False


def one_thing(state: BenchState) -> OneThing:
    """Return what matters most at the stage of the ski in hand."""
    view = state.view
    if view is None:
        return OneThing(("NO SKI",))
    reads = view.due is not None or (view.lock_due is not None and not state.hands_on)
    match view.stage:
        case "target":
            return _aimed(state, view)
        case "turning" if view.steps:
            turn = act_due(view).turn
            return turn_thing(turn, view.rules.dial) if turn is not None else act_thing(view)
        case "wing":
            return wing_thing(state, view)
        case _ if reads or state.entry:
            return OneThing((shown_entry(state),), *_named(state))
        case "within" | "sign-off" | "signed off":
            return final_thing(view, state.unit)
        case _ if view.check_due is not None:
            return OneThing((check_name(view),), "", (view.check_due.words,))
        case _:  # at any other stage its name is what matters
            return OneThing((stage_words(view),))


def fitted_name(view: JobView, method: Method, room: int) -> str:
    """Return a method's name; its quantity where the name finds no room and no other has that."""
    alike = [line for line in view.lines if line.method.quantity == method.quantity]
    if cell_len(method.name) <= room or len(alike) > 1:
        return visible(method.name, room)
    return visible(method.quantity, room)


def shown_entry(state: BenchState) -> str:
    """Return the entry as it will be kept, its point in place; as typed where that is open."""
    if not state.entry:
        return "_"
    kept = state.reads_as.partition(" ")[0]
    return state.entry if state.unclear or not kept or state.question is not None else kept


def _named(state: BenchState) -> tuple[str, tuple[str, ...]]:
    line = state.line
    assert state.view is not None
    if line is None:
        return "", ()
    return line.method.name, ghosts(state.view, line, state.unit)


def ghosts(view: JobView, line: Line, unit: Unit) -> tuple[str, ...]:
    """Return what a reading is held against until it is in: left with, target, expected."""
    out = []
    for words, foreseen in (("left with", view.left), ("expect", view.expected)):
        found = next((e for e in foreseen if e.method.name == line.method.name), None)
        if found is not None:
            out.append(f"{words} {length_text(found.value_mm, unit)}")
    if line.target is not None and line.target_mm is not None:
        out.append(f"target {length_text(line.target_mm, unit)}")
    if view.reads_locked and line.now_mm is not None:
        out.append(f"before the lock {length_text(line.now_mm, unit)}")
    return tuple(out)


def _aimed(state: BenchState, view: JobView) -> OneThing:
    """Return the target that is typed or set, and its change from the reading of now."""
    line, unit = state.line, state.unit
    if line is None:
        return OneThing(("TARGET",))
    name, target_mm = f"target: {line.method.name}", line.target_mm
    if state.entry:
        target_mm = _typed_mm(line, state.entry, unit)
    if target_mm is None or (line.target is None and not state.entry):
        now = f"now {length_text(line.now_mm, unit)}" if line.now_mm is not None else ""
        return OneThing((shown_entry(state),), name, (now,) if now else ())
    value = length_text(target_mm, unit)
    if line.now_mm is None:
        return OneThing((value,), name)
    change = change_between(line.now_mm, target_mm, unit)
    return OneThing((value, change), name, (f"now {length_text(line.now_mm, unit)}",))


def _typed_mm(line: Line, entry: str, unit: Unit) -> float | None:
    """Return the target that an entry means; None while it means none."""
    if entry in CHANGE_SIGNS:
        return None
    try:
        found = target_entry(line, entry, unit)
    except BenchError:
        return None
    return found.placings[0].mm if found.placings else None


def turn_thing(turn: StudTurn, dial: Dial) -> OneThing:
    """Return stud, turn and arrow; which way, from where that is seen, and a left-hand thread."""
    clockwise = bool(turn.stud.clockwise(turn.turns))
    size = f"{turn_text(turn.turns)} {ARROWS[clockwise]}"
    sense = "clockwise" if clockwise else "counter-clockwise"
    where = f"IN, {TOWARD[True]}" if turn.turns > 0.0 else "OUT, away"  # two rows of 36 cells
    way = f"{ARROWS[clockwise]} {where}, {sense} {SEEN_FROM}"
    shown = dial_text(turn.turns, dial)
    way = f"{shown} {way}" if shown else way
    danger = (LEFT_HAND,) if turn.stud.hand == "left" else ()
    return OneThing((size, turn.stud.said), "", (way,), danger, keeps_below=True)


def act_thing(view: JobView) -> OneThing:
    """Return an act that is no turn."""
    return OneThing((short_step_words(act_due(view)),))


def wing_thing(state: BenchState, view: JobView) -> OneThing:
    """Return the angle typed or set and the one wanted, and how it is held."""
    wanted, done = view.wing_wanted_deg, view.wing_set_deg
    angle = state.entry or (f"{done:g}" if done is not None else "")
    large = f"{angle}°" if angle else (f"{wanted:g}°" if wanted is not None else "_")
    below = [f"wanted {wanted:g}°" if wanted is not None else "no angle wanted"]
    hold = view.wing_hold_due
    below += [f"hold: {hold}" if hold else "the hold is not settled"]
    if view.wing_hold and hold != view.wing_hold:
        below += [f"not the shop's {view.wing_hold}"]
    return OneThing((large,), "wing angle (°)", tuple(below))


def final_thing(view: JobView, unit: Unit) -> OneThing:
    """Return the final three numbers, how sure each is, what the lock moved, and the wing."""
    large, sides = [], []
    for line in view.lines:
        if line.final_mm is None:
            continue
        large.append(length_text(line.final_mm, unit))
        sure = f"±{fine_text(COVERAGE * line.u_mm, unit)} {unit}" if line.u_mm else unit
        lock = moved_short(line, unit)
        sides.append((line.method.quantity, sure, lock) if lock else (line.method.quantity, sure))
    below = []
    if view.ski.has_wing:
        done = view.wing_set_deg
        below.append(f"wing {done:g}°" if done is not None else "wing: not set")
    return OneThing(tuple(large) or (stage_words(view),), "", tuple(below), (), tuple(sides))


def large_parts(
    thing: OneThing, width: int, room: int, ascii_only: bool
) -> tuple[list[list[str]], list[str]]:
    """Return the large parts and the rows below them that fit into ``room`` rows together.

    Where not all of it can be large, what is below goes first, then a name takes two rows;
    at last only the first part is large.
    """
    below = wrapped(" · ".join(thing.below), width) if thing.below else []
    side = max((cell_len(text) for rows in thing.sides for text in rows), default=0)
    across = width - (side + 2 if side else 0)
    rest = wrapped(" · ".join((*thing.large[1:], *thing.below)), width)
    in_words = tuple(word for text in thing.large for word in _in_words(text))
    tried = [(thing.large, below), (in_words, below), (thing.large[:1], rest)]
    if not thing.keeps_below:
        tried.insert(1, (thing.large, []))
    for texts, under in tried:
        parts = together(texts, across, max(room - len(under), 0), ascii_only)
        if all(len(part) > 1 for part in parts):
            return _beside(parts, thing.sides), under
    parts = [[text] for text in thing.large]
    return _beside(parts, thing.sides), below[: max(room - len(parts), 0)]


def _in_words(text: str) -> list[str]:
    """Return a name word by word, so that it may stand in two rows; a number stays whole."""
    return [text] if any(char.isdigit() for char in text) else text.split()


def _beside(parts: list[list[str]], sides: Sequence[Sequence[str]]) -> list[list[str]]:
    """Return large parts with their words to the right, on one row where the part has one only."""
    if not sides:
        return parts
    out = []
    for part, words in zip(parts, sides, strict=False):
        texts = [" ".join(words)] if len(part) == 1 else list(words)
        across = max(map(len, part))
        rows = itertools.zip_longest(part, texts[: len(part)], fillvalue="")
        out.append([f"{row:<{across}}  {text}".rstrip() for row, text in rows])
    return out


def drawn(
    thing: OneThing, width: int, height: int, ascii_only: bool, danger: Sequence[str] = ()
) -> list[Content]:
    """Return a thing in its room, its large part as large as it can be.

    What is dangerous is first and whole.
    """
    told = [part for text in (*danger, *thing.danger) for part in wrapped(f"!! {text}", width)]
    head = [part for part in wrapped(thing.name, width)[:1] if part]
    room = max(height - len(told) - len(head), len(thing.large))
    parts, below = large_parts(thing, width, room, ascii_only)
    rows = [styled((text, look_of(Importance.DANGER))) for text in told]
    rows += [styled((text, "bold $accent")) for text in head]
    rows += [styled((visible(row, width), "bold $big-digits")) for part in parts for row in part]
    return [*rows, *[styled((text, "bold")) for text in below]][: max(height, 1)]


def over_the_screen(state: BenchState, width: int, height: int) -> Content:
    """Return the one thing over the whole screen, readable from two metres."""
    dangers = [x.words for x in dangers_of(state.view)] if state.view is not None else []
    return lines(drawn(one_thing(state), width, height, state.drawing == "ascii", dangers))
