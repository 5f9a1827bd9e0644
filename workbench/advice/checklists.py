"""What is looked at before a ski is touched and before it leaves the bench.

The lists here are where a shop begins (common practice, no source); it may change both. The clamp
bolts come last, always, and are never taken off the list: a loose one throws a rider.
"""

from __future__ import annotations

from collections.abc import Iterable

from workbench.frozen import dataclass

WING, CLAMP = "wing", "clamp"
"""Keys with a meaning: an item for skis with a wing only, and the one that always comes last."""


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

CLAMP_ITEM = CheckItem(CLAMP, "Clamp bolts snug, evenly, to the maker's figure; checked last")

FINAL: tuple[CheckItem, ...] = (
    CheckItem("studs", "All three studs touch the blade"),
    CheckItem("block", "Block screws tight, to the maker's figure"),
    CheckItem(WING, "Wing screws tight, wing angle read once more"),
    CLAMP_ITEM,
)


def with_clamp_last(items: Iterable[CheckItem]) -> tuple[CheckItem, ...]:
    """Return a final list whose last item is the clamp bolts, whatever was put in its place."""
    return (*(i for i in items if i.key != CLAMP), CLAMP_ITEM)


def final_items(has_wing: bool, items: Iterable[CheckItem] = FINAL) -> tuple[CheckItem, ...]:
    """Return a final list for a ski with or without a wing; the clamp bolts are its last item."""
    return with_clamp_last(i for i in items if has_wing or i.key != WING)
