"""The second pair of eyes: whose they were is asked in letters, which no caliper types."""

from __future__ import annotations

from time import monotonic
from typing import TYPE_CHECKING

from workbench.bench.bases.prompts import Prompt

if TYPE_CHECKING:
    from workbench.bench.app import Bench

HINT = "initials of somebody else, who looked at every item too; then + signs off"


def open_on(bench: Bench) -> None:
    """Ask who else looked at the ski in hand."""
    prompt = Prompt("Second pair of eyes", HINT, "", bench.hands.second_eyes)
    bench.push_screen(prompt, lambda _: bench.hands.ignore_enter(monotonic()))
