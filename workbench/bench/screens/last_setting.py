"""The last setting of the ski in hand as its target: no screen, one act."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from workbench.bench.app import Bench


def open_on(bench: Bench) -> None:
    """Make what the ski was last set to the target of its job."""
    bench.hands.last_setting()
