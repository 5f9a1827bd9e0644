"""How well do we agree?: the studies of the shop, opened from the bench."""

from __future__ import annotations

from time import monotonic
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from workbench.bench.app import Bench


def open_on(bench: Bench) -> None:
    """Show the studies; the bench looks again when they close."""
    from workbench.bench.study_list import StudyList

    def after(_: object) -> None:
        bench.hands.look_again()
        bench.hands.ignore_enter(monotonic())

    bench.push_screen(StudyList(bench.shop, bench.hands.state), after)
