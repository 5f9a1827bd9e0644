"""The readings of this round by every method of the blade, in both units."""

from __future__ import annotations

from collections.abc import Mapping

from textual.content import Content

from workbench.bench.bases.view_only import UnitTable, trouble
from workbench.bench.draw.text import lines, paragraph, paragraphs, styled, visible, wrapped
from workbench.bench.hand.state import BenchState
from workbench.errors import BenchError
from workbench.measure.display import change_text, fine_text, length_text
from workbench.measure.stats.learnt_offset import Restatement
from workbench.measure.units import Unit
from workbench.work.job.shop import Shop
from workbench.work.job_text.how_to_hold import Restated, restated
from workbench.work.offsets.offsets import learnt_beside, rests_words
from workbench.work.order.exposed_words import exposed_words, exposure_at
from workbench.work.text.words import error_words


class RestateScreen(UnitTable):
    """The readings of this round by every method of the blade, in both units."""

    TITLE_WORDS = "Convert between methods"

    def __init__(self, shop: Shop, state: BenchState) -> None:
        assert state.view is not None
        view, unit = state.view, state.unit
        super().__init__(state.keys.of("restate") or "escape", unit)
        self._rows: tuple[Restated, ...] = ()
        self._learnt: dict[str, Restatement] = {}
        self._why = ""
        self._out = exposure_at(view.rig, view.pose) if view.pose is not None else None
        try:
            self._rows = restated(shop, view, unit)
            self._learnt = learnt_beside(shop, view, self._rows)
        except BenchError as why:
            self._why = error_words(why, unit)

    def table(self, width: int) -> Content:
        """Return the table, or why there is none."""
        if self._why:
            return trouble(self._why, width)
        table = restate_table(self._rows, self.unit, width, self._learnt)
        said = f"{exposed_words(self._out.seen, self.unit)}." if self._out is not None else ""
        return lines([table, *([styled(""), *paragraph(said, width)] if said else ())])


def restate_table(
    found: tuple[Restated, ...],
    unit: Unit,
    width: int,
    learnt: Mapping[str, Restatement] | None = None,
) -> Content:
    """Return every method with its reading in both units, its uncertainty and its difference.

    ``learnt``, by method name, is what offsets learnt from pairs make of the readings.
    """
    room = min(max(width - 47, 9), 48)
    beside = f"difference ({unit})"
    head = f"  {'method':<{room}} {'in':>8} {'mm':>8}  {f'u ({unit})':>8}  {beside:>15}"
    out = [styled((visible(head, width), "bold $accent"))]
    for row in found:
        out += _restated_row(row, unit, room, width)
        if learnt and row.method.name in learnt:
            out += _learnt_rows(learnt[row.method.name], unit, room, width)
    notes = (
        "● read in this round. The others are what the blade, where these readings put it, would "
        "read; difference: less the method read of the same quantity.",
        "u is the standard uncertainty, carried from the readings of this round; how well the "
        "blade's outline is known is not in it.",
    )
    out.append(styled(""))
    out += paragraphs(notes, width, "$ink-faint")
    return lines(out)


def _restated_row(row: Restated, unit: Unit, room: int, width: int) -> list[Content]:
    mark = "●" if row.read else " "
    name = visible(row.method.name, room)
    name += " " * max(room - styled(name).cell_length, 0)
    if row.value_mm is None or row.u_mm is None:
        why = wrapped(f"! {row.trouble}", width - 4)
        head = styled(f"{mark} {name} {'—':>8} {'—':>8}")
        return [head, *[styled((f"    {part}", "$state-caution")) for part in why]]
    inch, mm = length_text(row.value_mm, "in"), length_text(row.value_mm, "mm")
    if row.difference_mm is None:
        beside = "as read" if row.read else "none read"
        beside = "coarse mark" if row.method.is_coarse else beside
    else:
        beside = change_text(row.difference_mm, unit)
    text = f"{mark} {name} {inch:>8} {mm:>8}  {fine_text(row.u_mm, unit):>8}  {beside:>15}"
    return [styled((text, "bold" if row.read else ""))]


def _learnt_rows(found: Restatement, unit: Unit, room: int, width: int) -> list[Content]:
    inch, mm = length_text(found.value, "in"), length_text(found.value, "mm")
    head = f"  {'  learned from pairs':<{room}} {inch:>8} {mm:>8}  {fine_text(found.u, unit):>8}"
    return [
        styled(visible(head, width)),
        styled((visible(f"    {rests_words(found)}", width), "$ink-faint")),
    ]
