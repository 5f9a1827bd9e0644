"""The lines at the bottom: what to do now, what was just said, the caution, and the keys."""

from __future__ import annotations

from functools import lru_cache
from typing import assert_never

from rich.cells import cell_len
from textual.content import Content

from workbench.bench.draw.text import (
    lines,
    styled,
    visible,
    wrapped,
)
from workbench.bench.hand.state import READS_AT, BenchState
from workbench.measure.display import length_text
from workbench.measure.units import Unit
from workbench.work.job.coarse_marks import again_words
from workbench.work.job.job_view import JobView
from workbench.work.job_text.next_step import (
    NO_FIT,
    NO_TURNS,
    OUT_OF_REACH,
    SETTLE,
    STUDS_UP,
    TURN_BACK,
    act_due,
    caution_words,
    leave_words,
    lock_words,
    missing_words,
    obstacle,
    reading_due,
    sign_off_due,
    wing_step,
)
from workbench.work.roster.keys import AS_SHIPPED, Keys
from workbench.work.text.words import CAUTION_SNUG, step_words

ROWS = 3
"""Rows below the panels."""

INDENT = 6
LEAST_BESIDE = 12
"""Cells within which what was said is of use beside the end of what to do."""

CAUTION = "bold $state-danger"
"""A caution is never dim: what it warns of is a danger."""

_TONES = {"warn": "bold $state-caution", "done": "$state-within", "say": ""}


def _keys(narrow: bool, keys: Keys) -> tuple[tuple[str, str], ...]:
    shown = (
        ("Enter", "next"),
        ("*", "in/mm"),
        ("+", "yes"),
        (keys.of("take_back"), "back" if narrow else "take back"),
        ("/", "more"),
        (keys.of("help"), "help"),
    )
    return tuple(each for each in shown if each[0])


@lru_cache(maxsize=4)
def keys_line(narrow: bool = False, keys: Keys = AS_SHIPPED) -> Content:
    """Return the keys that matter, in one line; the rest is on the sheet."""
    gap = " " if narrow else "  "
    parts = [((f" {key} ", "bold $accent"), f"{word}{gap}") for key, word in _keys(narrow, keys)]
    return styled(*[part for pair in parts for part in pair])


def key_at(x: int, narrow: bool = False, keys: Keys = AS_SHIPPED) -> str:
    """Return the key at a cell of that line; nothing where two keys share their words."""
    gap = 1 if narrow else 2
    end = 0
    for key, word in _keys(narrow, keys):
        end += cell_len(key) + 2 + cell_len(word) + gap
        if x < end:
            return "" if " " in key else key
    return ""


def next_rows(state: BenchState, width: int) -> tuple[Content, str]:
    """Return the rows below the panels, and the caution that found none: it goes on their frame.

    Always three rows: to lay the screen out anew takes longer than a key may.
    """
    words, careful = next_words(state), caution(state)
    careful = "" if careful in words else careful
    due = _within(words, width - INDENT, 2)
    said = _said(state, width, ROWS - len(due))
    rows = [styled(("NEXT  ", "bold $accent"), (due[0], "bold"))]
    rest = f"{' ' * INDENT}{due[1]}  " if len(due) > 1 else ""
    left = width - cell_len(rest)
    if rest and said and (cell_len(" ".join(said)) <= left or (careful and state.tone != "warn")):
        beside = visible(" ".join(said), left) if left >= LEAST_BESIDE else ""
        rows.append(
            styled((rest if beside else rest.rstrip(), "bold"), (beside, _TONES[state.tone]))
        )
        said = []
    elif rest:
        rows.append(styled((rest.rstrip(), "bold")))
    rows += [styled((part, _TONES[state.tone])) for part in said]
    room = ROWS - len(rows)
    if careful and room > 0:
        rows += [styled((part, CAUTION)) for part in _within(careful, width, room)]
        careful = ""
    return lines(rows), visible(careful, width - 2)


def _said(state: BenchState, width: int, most: int) -> list[str]:
    """Return what was just said under its sign: a warning in ``most`` rows, else in one.

    What to do now is never cut for it.
    """
    if not state.message:
        return []
    sign = {"warn": "! ", "done": "✓ ", "say": ""}[state.tone]
    if state.tone == "warn":
        more = f" more: {state.keys.of('help') or 'F1'}"
        return _within(sign + state.keys.said(state.message), width, most, more)
    return _within(sign + state.keys.said(state.message), width, 1)


def _within(text: str, width: int, most: int, where: str = "") -> list[str]:
    """Return text in at most so many lines; the last, where cut, says where the rest is."""
    parts = wrapped(text, width)
    if len(parts) <= most:
        return parts
    last = visible(" ".join(parts[most - 1 :]), width - len(where))
    return [*parts[: most - 1], last + where]


def next_words(state: BenchState) -> str:
    """Return what to do now, in one sentence, by the keys in force."""
    return state.keys.said(_next_words(state))


def _next_words(state: BenchState) -> str:
    view = state.view
    if view is None:
        return "Enter adds a ski to today's queue; / opens the sheet of everything else."
    if state.question is not None:
        offered = state.question.placings[state.offered]
        others = ", - shows the next," if len(state.question.placings) > 1 else ";"
        return f"+ takes {offered.words}{others} Backspace corrects it, Esc cancels."
    if state.entry:
        return _entry_words(state)
    match obstacle(view):
        case "elsewhere":
            return f"{view.elsewhere_words} z: the day's queue."
        case "open round":
            return f"{TURN_BACK}: u takes its steps back, the last first."
        case "out of reach":
            way = "t opens the target." if view.stage == "turning" else "u takes it back."
            return f"{OUT_OF_REACH} {way}"
        case "no fit":
            return f"{NO_FIT}: u takes the last one back, then measure it again."
        case "contradiction":
            return again_words(view)
        case None:
            return _at_stage(state, view)
        case _ as unknown:
            assert_never(unknown)


def _at_stage(state: BenchState, view: JobView) -> str:
    name = state.line.method.name if state.line is not None else ""
    stage = view.stage
    match stage:
        case "waiting" | "received check" | "final check":
            if not state.hands_on or view.check_due is None:
                begins = f"Enter begins the {view.check_name.lower()}."
                missing = missing_words(view) if stage == "waiting" else ""
                return f"{begins} {missing} yet; {_parts_by(view)}." if missing else begins
            return f"+ or space ticks: {view.check_due.words}"
        case "as received" | "measuring":
            return _measure_words(view, name)
        case "studs":
            return f"{STUDS_UP}; Enter when they do."
        case "target":
            return _target_words(state, view)
        case "turning":
            return _turn_words(view, state.unit)
        case "within":
            return f"{view.learnt_words(state.unit) or leave_words(view)} Enter goes on."
        case "wing":
            return f"{wing_step(view)}, type its angle in degrees, then Enter."
        case "sign-off":
            return _sign_off_words(state, view)
        case "set aside":
            # With the rest two rows of 80 columns; a word too long to break well has one of them.
            words = view.progress.reason.split()
            why = visible(view.progress.reason, 92 if max(map(len, words), default=0) < 40 else 48)
            return f"Set aside: {why.rstrip('.')}. Enter takes it up again; PgDn: next ski."
        case "signed off":
            return _signed_words(state, view)
        case _:
            assert_never(stage)


def _sign_off_words(state: BenchState, view: JobView) -> str:
    due = sign_off_due(view)
    if due == "barred":
        return f"Not to be signed off: {view.progress.state.bars}."
    offered = view.lock_due is not None and not state.hands_on
    if state.who and (due == "after-lock" or offered):
        name = view.lines[state.line_index].method.name
        skip = "." if due == "after-lock" else "; or Enter goes on without it."
        return f"{lock_words(name)}, and type it{skip}"
    if not state.who:
        return "Enter asks for your initials: a sign-off is kept under them."
    if due == "second eyes":
        keys = "+" if state.hands_on else "Enter, then +"
        return f"{keys}: who else looked at it? Their initials."
    return f"+ signs off as {state.who}." if state.hands_on else "Enter, then + to sign off."


def _signed_words(state: BenchState, view: JobView) -> str:
    if view.unreleased:
        return f"{view.unreleased_words} o: strike the sign-off out, then go on from there."
    if state.is_day_done:
        return "Signed off, and no ski is left to do: a shows its card, n adds a ski."
    return "Signed off. Enter goes to the next ski."


def _entry_words(state: BenchState) -> str:
    """Return what Enter does with what is being typed."""
    if state.entry in "+-":
        way = "down" if state.entry == "+" else "up"
        return f"Type the change, or Enter moves the mark {way}; Backspace takes the sign away."
    if not any(char.isdigit() for char in state.entry):
        return "Type the number; Backspace corrects it, Esc cancels."
    if state.view is None:
        return "No ski in hand: Esc cancels, then Enter adds a ski."
    if state.view.stage not in (*READS_AT, "wing") and not state.view.reads_locked:
        return f"Enter keeps {state.entry} as a note: no reading is due. Esc cancels."
    if state.unclear:
        return f"Enter asks what {state.entry} means; Backspace corrects it, Esc cancels."
    return f"Enter takes {state.reads_as or state.entry}; Backspace corrects it, Esc cancels."


def _measure_words(view: JobView, name: str) -> str:
    """Return which reading is due, and its repeat where the shop wants more than one."""
    if view.offers_settling:
        return f"Settle the studs: {SETTLE.lower()}, then F5. Or read: {name}."
    fewer = " k goes on with fewer." if view.rules.repeats > 1 and view.may_go_on else ""
    return f"Measure and type: {reading_due(view, name)}, then Enter.{fewer}"


def _target_words(state: BenchState, view: JobView) -> str:
    """Return which target a number sets, and what Enter does without one."""
    if state.all_aimed:
        count = {3: "all three"}.get(len(view.lines), "them all")
        return f"Enter accepts {count}; ↑ ↓ or + Enter marks one to change."
    line = state.line
    if line is None:
        return "No reading to aim at."
    sets = f"Sets {line.method.quantity.upper()}: type a value or a change"
    if view.offered_target and state.selected is None:
        what = "the setting it left with" if view.offered_target == "last" else "the baseline"
        return f"{sets}; Enter takes {what} for all."
    at_mm = line.target_mm if line.target is not None else line.now_mm
    stays = f"{length_text(at_mm, state.unit)} {state.unit}" if at_mm is not None else "it is"
    return f"{sets}; Enter alone: it stays at {stays}."


def _parts_by(view: JobView) -> str:
    """Return how what is not known yet comes to be: what to type to find it."""
    ways = {"blade": "trace", "block": "measure"}
    found = " and ".join(f"'{ways[part]}'" for part in view.rig.missing)
    return f": finds {found}, or 'another' to choose"


def _turn_words(view: JobView, unit: Unit) -> str:
    if not view.steps:
        return f"{NO_TURNS}; u takes the last entry back."
    if not view.has_round:
        words = view.no_turn_words
        return f"{words[0].upper()}{words[1:]}."
    if act_due(view).do == "seat":
        return f"{step_words(act_due(view))} {CAUTION_SNUG} Enter when both are done."
    if (missing := missing_words(view)) and act_due(view).do == "loosen":
        by_hand = "Or turn as you judge: loosen the bolts first, Enter when done"
        return f"{missing} yet; {_parts_by(view)}. {by_hand}."
    told = view.learnt_words(unit) if act_due(view).do == "loosen" else ""
    if told:
        return f"{told} Loosen the bolts first; Enter when done."
    return f"{step_words(act_due(view), view.rules.dial)} Enter when done."


def caution(state: BenchState) -> str:
    """Return the caution that belongs where the hand is now."""
    if state.view is None:
        return "The ski and block maker's instructions come first."
    return caution_words(state.view, state.hands_on)
