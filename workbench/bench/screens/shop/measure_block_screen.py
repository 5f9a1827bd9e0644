"""A block measured stud by stud in a form, then drawn in the side view as it was given."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual.content import Content

from workbench.bench.bases.forms import Field, Form
from workbench.bench.bases.view_only import TableScreen
from workbench.bench.draw.text import lines, paragraphs, styled, visible
from workbench.bench.hand.state import BenchState
from workbench.bench.screens.ski.wear_screen import offer
from workbench.frozen import dataclass
from workbench.records.store import rows
from workbench.work.job.shop import Shop
from workbench.work.roster.measured_block import (
    LEAN_ACCEPTED,
    PLACE_ACCEPTED,
    STUD_NAMES,
    THREAD_ACCEPTED,
    TIP_ACCEPTED,
    drawn_block,
    keep_measured,
    measured_block,
)

if TYPE_CHECKING:
    from workbench.bench.app import Bench

PLACES = {
    "front": "tail end to where the top front stud's axis meets the base",
    "rear": "tail end to where the top rear stud's axis meets the base",
    "tail": "how far out of the base the tail stud's axis lies, at the tail end; minus: under it",
}

LEANS = {
    "front": "its end toward the ski's tip, minus toward the tail",
    "rear": "its end toward the ski's tip, minus toward the tail",
    "tail": "its end out of the base, minus under it",
}


@dataclass(frozen=True, slots=True)
class Kept:
    """A block that was kept, and what is said of its studs."""

    block: rows.Block
    words: tuple[str, ...]


class MeasureForm(Form):
    """Measures a block; the ski in hand need not wear it. Its result is :class:`Kept`."""

    def __init__(self, shop: Shop, state: BenchState) -> None:
        unit = state.unit
        fields = [
            Field("name", "Block", "a name of its own"),
            Field("finest_turn", "Finest turn", "1/4, 1/8, 1/16 ...; 0 is exact; blank: 1/8"),
        ]
        for name in STUD_NAMES:
            as_before = "" if name == "front" else "blank: as of the stud before; "
            fields += [
                Field(f"{name}_at", f"{name} place", f"{PLACES[name]} ({unit}): {PLACE_ACCEPTED}"),
                Field(f"{name}_lean", f"{name} lean", f"{LEANS[name]}: {LEAN_ACCEPTED}"),
                Field(f"{name}_thread", f"{name} thread", f"{as_before}{THREAD_ACCEPTED}"),
                Field(f"{name}_hand", f"{name} hand", f"{as_before}right or left"),
                Field(f"{name}_tip", f"{name} tip", f"{as_before}{TIP_ACCEPTED}"),
            ]

        def save(texts: dict[str, str]) -> Kept:
            found = measured_block(texts, unit)
            return Kept(keep_measured(shop, found), found.words)

        super().__init__("Measure a block", fields, save)

    def after(self, bench: Bench, result: object) -> None:
        """Show the block as it was measured."""
        super().after(bench, result)
        if isinstance(result, Kept):
            view = bench.hands.state.view
            blade = bench.shop.book.blade(view.ski.blade_id) if view is not None else None
            said = "block measured and kept; the ski gets it by 'another blade, block'"
            bench.hands.say(said, "done")
            bench.show(BlockScreen(result, blade))


class BlockScreen(TableScreen):
    """A block as it was measured: each stud in words, and the side view."""

    TITLE_WORDS = "The block as measured"

    def __init__(self, kept: Kept, blade: rows.Blade | None) -> None:
        super().__init__("")
        self._kept, self._blade = kept, blade

    def after(self, bench: Bench, result: None) -> None:
        """Offer the block to the ski in hand, where it has none yet."""
        offer(bench, "block", self._kept.block.name, "measured")

    def table(self, width: int) -> Content:
        """Return the studs in words, then drawn with the blade in hand."""
        out = [styled((visible(self._kept.block.name, width), "bold"))]
        out += paragraphs(self._kept.words, width)
        if self._blade is not None:
            out += [styled(""), *map(styled, drawn_block(self._kept.block, self._blade))]
        return lines(out)
