"""What is looked at before a ski is touched and before it leaves the bench.

Common practice, no source. The clamp bolts come last, always: a loose one throws a rider.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class CheckItem:
    """One thing to look at: a stable key for the book and the words on the screen."""

    key: str
    words: str


RECEIVED: tuple[CheckItem, ...] = (
    CheckItem("edges", "Blade edges looked at; they cut: hold the blade by its faces"),
    CheckItem("cracks", "No crack in block or blade, no play of the block on the ski"),
    CheckItem("hardware", "Clamp bolts, studs and block screws all there, threads clean"),
)

FINAL: tuple[CheckItem, ...] = (
    CheckItem("studs", "All three studs touch the blade"),
    CheckItem("block", "Block screws tight, to the maker's figure"),
    CheckItem("clamp", "Clamp bolts snug, evenly, to the maker's figure; checked last"),
)

FINAL_WING: tuple[CheckItem, ...] = (
    *FINAL[:-1],
    CheckItem("wing", "Wing screws tight, wing angle read once more"),
    FINAL[-1],
)


def final_items(has_wing: bool) -> tuple[CheckItem, ...]:
    """Return the final check of a ski with or without a wing; the clamp bolts are its last item."""
    return FINAL_WING if has_wing else FINAL
