"""Opens the day sheet, which needs no ski in hand."""

from __future__ import annotations

from typing import TYPE_CHECKING

from workbench.bench.screens.shop.card_screen import DaySheetScreen, push

if TYPE_CHECKING:
    from workbench.bench.app import Bench


def open_on(bench: Bench) -> None:
    """Show the sheet of the bench's day."""
    push(bench, lambda: DaySheetScreen(bench.shop))
