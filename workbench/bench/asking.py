"""What a letter or the sheet opens over the bench: a form, a question in words, a closer look."""

from __future__ import annotations

from collections.abc import Callable
from time import monotonic
from typing import TYPE_CHECKING

from textual.screen import ModalScreen

from workbench.bench import opens
from workbench.bench.bases import forms
from workbench.bench.bases.prompts import ASIDE_REASONS
from workbench.bench.hand.state import BenchState
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop

if TYPE_CHECKING:
    from workbench.bench.app import Bench

FORMS: dict[str, Callable[[Shop], forms.Form]] = {
    "add_ski": forms.ski_form,
    "queue_ski": forms.queue_form,
    "add_blade": forms.blade_form,
    "add_block": forms.block_form,
}


def ask(bench: Bench, action: str) -> None:
    """Open what an action asks for; without a ski in hand say so where it needs one."""
    state = bench.hands.state
    if action in opens.OPENINGS:
        opens.open_on(bench, action)
    elif action in FORMS:
        bench.push_screen(FORMS[action](bench.shop), lambda _: bench.hands.look_again())
    elif action == "initials":
        hint = "whose hands: 1 to 12 characters"
        prompt = forms.Prompt("Initials", hint, state.who, bench.hands.set_who)
        bench.push_screen(prompt, lambda _: bench.hands.ignore_enter(monotonic()))
    elif action == "calipers":
        from workbench.bench.screens.shop.caliper_screens import CaliperScreen

        screen = CaliperScreen(bench.shop, state.unit)
        bench.push_screen(screen, lambda _: bench.hands.look_again())
    elif state.view is None:
        bench.hands.say("no ski in hand", "warn")
    else:
        _ask_of_ski(bench, action, state, state.view)


def _ask_of_ski(bench: Bench, action: str, state: BenchState, view: JobView) -> None:
    hands = bench.hands
    if action == "aside":
        why = "why: a word or two"
        prompt = forms.Prompt("Set aside", why, "", hands.set_aside, ASIDE_REASONS)
        bench.push_screen(prompt)
    elif action == "note":
        bench.push_screen(forms.Prompt("Note", "kept with this job", "", hands.write_note))
    elif action == "turn_back":
        from workbench.bench.screens import turn_back_screen

        turn_back_screen.open_on(bench)
    elif action == "strike":
        from workbench.bench.screens.ski import strike_screen

        strike_screen.open_on(bench)
    elif action in ("hold", "sure", "restate"):
        screen = _closer_look(bench.shop, action, state, view)
        bench.push_screen(screen, lambda _: hands.ignore_enter(monotonic()))


def _closer_look(shop: Shop, action: str, state: BenchState, view: JobView) -> ModalScreen[None]:
    """Return the screen that looks closer at the reading marked, or at all by every method."""
    from workbench.bench.screens.ski.budget_screen import BudgetScreen
    from workbench.bench.screens.ski.hold_screen import HoldScreen
    from workbench.bench.screens.ski.restate_screen import RestateScreen

    own = state.keys.of(action) or "escape"
    if action == "hold":
        return HoldScreen(view, state.line_index, state.unit, state.drawing, key=own)
    if action == "restate":
        return RestateScreen(shop, view, state.unit, key=own)
    return BudgetScreen(view, state.line_index, state.unit, key=own)
