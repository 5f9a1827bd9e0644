"""The lines at the bottom: what to do now, what was just said, the caution, and the keys."""

from __future__ import annotations

from textual.content import Content

from workbench.bench.state import BenchState
from workbench.bench.text import lines, styled, visible, wrapped
from workbench.bench.turns_panel import act
from workbench.work.jobs import JobView
from workbench.work.words import (
    CAUTION_EDGES,
    CAUTION_LOOSEN,
    CAUTION_RIDE,
    CAUTION_SNUG,
    step_words,
)

BLANK = Content("")


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
    return f"{step_words(act(view))} Enter when done."


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
    return CAUTION_SNUG if act(view).do in ("seat", "snug") else CAUTION_EDGES
