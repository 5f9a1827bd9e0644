"""What many readings of a ski were taken with, each circumstance worked out once.

A decade of readings was taken with a few calipers between a few checks of them: what a budget takes
from those is the same for all that fall between the same two checks.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence

from workbench.fin.reading.method import Method, Part
from workbench.measure.calipers import DIN_862_MM
from workbench.records.store import rows
from workbench.work.trust.caliper_figures import Tools
from workbench.work.trust.reading_budget import Figures, Taken, worst_of
from workbench.work.trust.shop_scatter import scatter_for

_STEPS_MM = sorted({upper for table in DIN_862_MM.values() for upper, _ in table})
"""Lengths at which a permissible error may change."""


class TakenOnce:
    """Gives the same as ``tools.taken``, remembering what it worked out."""

    def __init__(self, tools: Tools) -> None:
        self._tools = tools
        self._known: dict[tuple[str, int, int, str, Part | None], Figures | None] = {}
        self._checks = {i: sorted(c.id for c in g.checks) for i, g in tools.gauges.items()}

    def of(self, method_id: str, method: Method, kept: Sequence[rows.Reading]) -> Taken:
        """Return one or more repeats by one method with what their budget rests on."""
        found = [self._figures(method_id, method, reading) for reading in kept]
        figures = worst_of([f for f in found if f is not None]) if all(found) else None
        u = self._tools.stated_u_mm.get(method_id)
        return Taken(method, self._tools.values_mm(kept), u, figures)

    def _figures(self, method_id: str, method: Method, kept: rows.Reading) -> Figures | None:
        if kept.temperature_id:  # its part of the budget goes with the length itself
            return self._tools.taken(method_id, method, [kept]).figures
        caliper = kept.caliper_id or ""
        before = bisect_left(self._checks.get(caliper, ()), kept.id)
        study = scatter_for(self._tools.studies, method, kept.id)
        known = study.done if study is not None else ""
        part = None if method.is_coarse else method.read_with
        key = (caliper, before, bisect_left(_STEPS_MM, abs(kept.mm)), known, part)
        if key not in self._known:
            self._known[key] = self._tools.taken(method_id, method, [kept]).figures
        return self._known[key]
