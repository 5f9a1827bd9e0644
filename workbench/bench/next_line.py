"""The lines at the bottom: what to do now, what was just said, the caution, and the keys."""

from __future__ import annotations

from functools import lru_cache

from rich.cells import cell_len
from textual.content import Content

from workbench.bench.state import READS_AT, BenchState
from workbench.bench.text import lines, styled, visible, wrapped
from workbench.work.jobs import JobView
from workbench.work.marks import again_words
from workbench.work.next_step import (
    NO_FIT,
    NO_TURNS,
    OUT_OF_REACH,
    STUDS_UP,
    act_due,
    caution_words,
    leave_words,
    lock_words,
    reading_due,
    wing_step,
)
from workbench.work.words import step_words

ROWS = 3
"""Rows below the panels."""

INDENT = 6
LEAST_BESIDE = 12
"""Cells within which what was said is of use beside the end of what to do."""

CAUTION = "bold $state-danger"
"""A caution is never dim: what it warns of is a danger."""

_TONES = {"warn": "bold $state-caution", "done": "$state-within", "say": ""}


@lru_cache(maxsize=2)
def keys_line(narrow: bool = False) -> Content:
    """Return the keys that matter, in one line; the rest stands on the sheet."""
    keys = (
        ("Enter", "next"),
        ("*", "in/mm"),
        ("+ -", "ski, yes"),
        ("u", "back" if narrow else "take back"),
        ("/", "more"),
        ("h", "help"),
    )
    gap = " " if narrow else "  "
    return styled(
        *[part for key, word in keys for part in ((f" {key} ", "bold $accent"), f"{word}{gap}")]
    )


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
        return _within(sign + state.message, width, most, " more: h")
    return _within(sign + state.message, width, 1)


def _within(text: str, width: int, most: int, where: str = "") -> list[str]:
    """Return text in at most so many lines; the last, where cut, says where the rest is."""
    parts = wrapped(text, width)
    if len(parts) <= most:
        return parts
    last = visible(" ".join(parts[most - 1 :]), width - len(where))
    return [*parts[: most - 1], last + where]


def next_words(state: BenchState) -> str:
    """Return what to do now, in one sentence."""
    view = state.view
    if view is None:
        return "Enter adds a ski to today's queue; / opens the sheet of everything else."
    if state.question is not None:
        offered = state.question.placings[state.offered]
        others = ", - shows the next," if len(state.question.placings) > 1 else ";"
        return f"+ takes {offered.number} {offered.unit}{others} Backspace goes back to typing."
    if state.entry:
        return _entry_words(state)
    line = state.line
    name = line.method.name if line is not None else ""
    stage = view.stage
    if view.unreachable is not None and stage == "target":
        return f"{OUT_OF_REACH} u takes it back."
    if view.unreachable is not None and stage == "turning":
        return f"{OUT_OF_REACH} t opens the target."
    if view.trouble and stage in ("turning", "studs", "target"):
        return f"{NO_FIT}: u takes the last one back, then measure it again."
    if view.contradictions and stage in ("turning", "studs", "target") and not view.progress.step:
        return again_words(view)
    if stage in ("waiting", "received check", "final check"):
        if not state.hands_on or view.check_due is None:
            return f"Enter begins the {view.check_name.lower()}."
        return f"+ or space ticks: {view.check_due.words}"
    if stage in ("as received", "measuring"):
        return _measure_words(view, name)
    if stage == "studs":
        return f"{STUDS_UP}; Enter when they do."
    if stage == "target":
        if view.progress.targets:
            return "Enter accepts the target; a number changes the one marked ▸."
        if view.offers_last:
            return f"Enter takes the last setting as the target; or type it for {name}."
        return f"Target for {name}: type a value or a signed change."
    if stage == "turning":
        return _turn_words(view)
    if stage == "within":
        return f"{leave_words(view)} Enter goes on."
    if stage == "wing":
        return f"{wing_step(view)}, type its angle in degrees, then Enter."
    if view.lock_due is not None and state.who and not state.hands_on:
        name = view.lines[state.line_index].method.name
        skip = "." if view.rules.after_lock else "; or Enter goes on without it."
        return f"{lock_words(name)}, and type it{skip}"
    if stage == "sign-off" and not state.who:
        return "Enter asks for your initials: a sign-off is kept under them."
    if stage == "sign-off" and view.rules.second_eyes and not view.progress.eyes:
        keys = "+" if state.hands_on else "Enter, then +"
        return f"{keys}: who else looked at it? Their initials."
    if stage == "sign-off":
        return f"+ signs off as {state.who}." if state.hands_on else "Enter, then + to sign off."
    if stage == "set aside":
        why = visible(view.progress.reason, 48)
        return f"Set aside: {why}. Enter takes it up again; + goes to the next ski."
    if view.withdrawn:
        return f"{view.withdrawn_words} o: strike the sign-off out, then go on from there."
    if state.is_day_done:
        return "Signed off, and no ski is left to do: a shows its card, n adds a ski."
    return "Signed off. Enter goes to the next ski."


def _entry_words(state: BenchState) -> str:
    """Return what Enter does with what is being typed."""
    if not any(char.isdigit() for char in state.entry):
        return "Type the number; Backspace mends it, Esc drops it."
    if state.view is None:
        return "No ski in hand: Esc drops this, then Enter adds a ski."
    if state.view.stage not in (*READS_AT, "wing") and not state.view.reads_locked:
        return f"Enter keeps {state.entry} as a note: no reading is due. Esc drops it."
    if state.unclear:
        return f"Enter asks how {state.entry} is meant; Backspace mends it, Esc drops it."
    return f"Enter takes {state.reads_as or state.entry}; Backspace mends it, Esc drops it."


def _measure_words(view: JobView, name: str) -> str:
    """Return which reading is due, and its repeat where the shop wants more than one."""
    fewer = " k goes on with fewer." if view.rules.repeats > 1 and view.may_go_on else ""
    return f"Measure and type: {reading_due(view, name)}, then Enter.{fewer}"


def _turn_words(view: JobView) -> str:
    if view.plan is None:
        return f"{NO_TURNS}; u takes the last entry back."
    if not any(t.turns for t in view.plan.turns):
        words = view.no_turn_words
        return f"{words[0].upper()}{words[1:]}."
    return f"{step_words(act_due(view))} Enter when done."


def caution(state: BenchState) -> str:
    """Return the caution that belongs where the hand is now."""
    if state.view is None:
        return "The ski and block maker's instructions come first."
    return caution_words(state.view, state.hands_on)
