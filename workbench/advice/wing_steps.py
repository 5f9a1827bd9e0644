"""The wing's screws in the right order: snug, slide, set, tighten.

Common practice, no source; the maker's figure for the screws wins.
"""

from __future__ import annotations

from workbench.frozen import dataclass

SOURCE = "common practice, no source; the maker's figure wins"


@dataclass(frozen=True, slots=True)
class WingStep:
    """One act: its name and how it is done."""

    name: str
    words: str


STEPS: tuple[WingStep, ...] = (
    WingStep("snug", "both wing screws, so that the wing holds by itself and still moves."),
    WingStep("slide", "the wing home: square to the blade, as far out on one side as the other."),
    WingStep("set", "the angle with the gauge against the straightedge; look from both sides."),
    WingStep("tighten", "the screws by turns, a little each, never over the maker's figure; read "
             "the angle once more."),
)  # fmt: skip
