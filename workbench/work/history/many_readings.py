"""How sure each of many readings of a ski is, each circumstance worked out once.

A decade of readings was taken with a few calipers between a few checks of them, at poses not far
apart: what a budget takes from those is the same for all that fall between the same two checks.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence

from workbench.errors import BenchError
from workbench.fin.pose.equations import Reading
from workbench.fin.pose.fit import Fit, fit_pose
from workbench.fin.reading.method import Method, Part
from workbench.fin.reading.observe import observe_all
from workbench.fin.reading.rig import Rig
from workbench.measure.calipers import DIN_862_MM
from workbench.measure.repeats import mean_of
from workbench.records.store import rows
from workbench.work.trust.reading_budget import Figures, Taken, reading_u_mm, scatter_for, worst_of
from workbench.work.trust.reading_tools import Tools

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


NEAR_MM = 2.0
"""How far readings may lie from those of a pose found before to be reached by one step: the step
along that fit's gain then ends within a few hundredths of a millimetre of the pose itself."""


def u_of(taken: Taken, slope: float) -> float:
    """Return the standard uncertainty (mm) of the mean of repeats that follow the jaw's height so.

    ``slope`` is the change of the reading per mm of height (mm/mm).
    """
    if taken.u_mm is not None:
        return taken.u_mm
    return reading_u_mm(taken.values_mm, slope, taken.known_figures)


class Slopes:
    """Works out slopes for many settings of one ski; ``rigs`` by id of the method.

    A slope is read off the blade where it is. Within a small way of a pose found before, the
    pose is had by one step along that fit's gain.
    """

    def __init__(self, rigs: Mapping[str, Rig]) -> None:
        self._rigs = rigs
        self._fits: dict[tuple[str, ...], Fit] = {}

    def of(self, taken: Mapping[str, Taken]) -> dict[str, float]:
        """Return each method's slope (mm/mm), by its id; 0 where no pose tells."""
        found: Sequence[float] = ()
        if any(t.u_mm is None and t.method.quantity != "depth" for t in taken.values()):
            found = self._found(taken)
        return dict(zip(taken, found or [0.0] * len(taken), strict=True))

    def _found(self, taken: Mapping[str, Taken]) -> Sequence[float]:
        rigs = {id(rig): rig for rig in (self._rigs[i] for i in taken)}
        if len(rigs) > 1:
            return ()
        (rig,) = rigs.values()
        means = [mean_of(t.values_mm) for t in taken.values()]
        near = self._fits.get(tuple(taken))
        stepped = _stepped(rig, near, means) if near is not None else ()
        if stepped:
            return stepped
        whole = zip(taken.values(), means, strict=True)
        readings = [Reading(t.method, mean, u_of(t, 0.0)) for t, mean in whole]
        try:
            fit = fit_pose(rig.blade, rig.base, readings, near.pose if near is not None else None)
        except BenchError:  # said in full where such readings are on the bench
            return ()
        self._fits[tuple(taken)] = fit
        return [seen.height_slope for seen in fit.observations]


def _stepped(rig: Rig, near: Fit, means: Sequence[float]) -> Sequence[float]:
    """Return the slopes one step away from a known fit; nothing where that is too far."""
    moved = [mm - r.value_mm for mm, r in zip(means, near.readings, strict=True)]
    if max(map(abs, moved)) > NEAR_MM:
        return ()
    dx, dy, turn = (sum(g * m for g, m in zip(row, moved, strict=True)) for row in near.gain)
    pose = near.pose.moved(dx, dy, turn)
    slanting = [r.method for r in near.readings if r.method.quantity != "depth"]
    seen = observe_all(slanting, rig.blade, rig.base, pose)
    slopes = {m.name: o.height_slope for m, o in zip(slanting, seen, strict=True) if o is not None}
    if len(slopes) < len(slanting):
        return ()
    return [slopes.get(r.method.name, 0.0) for r in near.readings]
