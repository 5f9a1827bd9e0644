"""A blade by calipers alone: how near it comes, what it says of itself, and wrong distances."""

from __future__ import annotations

import math
import random
from typing import Literal

import pytest
from shapely.geometry import LineString

from tests.work.scans import random_blade
from workbench.errors import InputError
from workbench.fin.blade import Blade
from workbench.fin.trace.calipers import (
    Frame,
    Place,
    blade_by_calipers,
    checked,
    contradiction,
    curve_of,
    likeliest_bend,
    moved_point,
    places_of,
    shifted,
    smoothed,
)

IN = 25.4
SCATTER_MM = 0.001 * IN


def frame_of(blade: Blade) -> Frame:
    height = max(v for _, v in blade.outline_mm)
    return Frame(blade.length_mm, blade.back_edge_mm[1][1], blade.outline_mm[2][1], height)


def read(blade: Blade, place: Place, scatter: float) -> float:
    """What a caliper reads at a place, by shapely, with a hand's scatter."""
    ring = LineString([*blade.outline_mm, blade.outline_mm[0]])
    at = place.at_mm
    line = [(at, -9.0), (at, 299.0)] if place.edge == "outer" else [(-99.0, at), (399.0, at)]
    met = ring.intersection(LineString(line))
    points = [g.coords[0] for g in getattr(met, "geoms", [met])]
    if place.edge == "outer":
        return max(p[1] for p in points) + scatter
    return (max if place.edge == "leading" else min)(p[0] for p in points) + scatter


def measured(blade: Blade, seed: int) -> tuple[Frame, dict[int, float]]:
    rng = random.Random(seed)
    frame = frame_of(blade)
    return frame, {p.number: read(blade, p, rng.gauss(0.0, SCATTER_MM)) for p in places_of(frame)}


def near_base_rms(true: Blade, found: Blade) -> float:
    """RMS (in) of the leading and trailing edge within 0.3 in beyond the back edge's end."""
    ring = LineString([*true.outline_mm, true.outline_mm[0]])
    line = LineString([*found.outline_mm, found.outline_mm[0]])
    low = true.back_edge_mm[1][1]
    points = [line.interpolate(0.3 * k) for k in range(int(line.length / 0.3))]
    offs = [ring.distance(p) for p in points if low < p.y < low + 0.3 * IN]
    return math.sqrt(sum(o * o for o in offs) / len(offs)) / IN


@pytest.mark.parametrize("seed", range(8))
def test_24_distances_give_the_edges_near_the_base(seed: int) -> None:
    """0.001 in of scatter: within 0.003 in RMS, and what it says of itself is of that size."""
    blade = random_blade(random.Random(seed), n=60)
    frame, distances = measured(blade, seed)
    assert 20 <= len(distances) <= 25
    found = blade_by_calipers("x", frame, distances)
    off = near_base_rms(blade, found)
    assert off < 0.003
    assert off < 3.0 * found.outline_u_mm / IN
    assert 0.0003 < found.outline_u_mm / IN < 0.003


def test_most_places_lie_near_the_base() -> None:
    frame = frame_of(random_blade(random.Random(1), n=20))
    places = places_of(frame)
    near = [p for p in places if p.edge != "outer" and p.at_mm < frame.back_mm + 0.5 * IN]
    assert len(near) >= 10
    assert [p.number for p in places] == list(range(1, len(places) + 1))


@pytest.mark.parametrize("edge", ["leading", "trailing"])
@pytest.mark.parametrize("slip", [0.02, -0.02, 0.1])
def test_a_slip_near_the_base_is_named_and_what_the_others_make_it(edge: str, slip: float) -> None:
    blade = random_blade(random.Random(3), n=60)
    frame, distances = measured(blade, 3)
    assert contradiction(frame, distances) is None
    place = [p for p in places_of(frame) if p.edge == edge][3 if edge == "leading" else -4]
    wrong = {**distances, place.number: distances[place.number] + slip * IN}
    found = contradiction(frame, wrong)
    assert found is not None
    assert found.place.number == place.number
    assert found.others_mm == pytest.approx(distances[place.number], abs=0.008 * IN)


def test_right_distances_are_hardly_ever_named() -> None:
    named = 0
    for seed in range(12):
        blade = random_blade(random.Random(100 + seed), n=60)
        named += contradiction(*measured(blade, seed)) is not None
    assert named <= 1


def test_right_check_readings_hardly_ever_disagree() -> None:
    """Between two places the outline is known less than at them, and a check allows for that."""
    kinds: tuple[Literal["length", "height", "hole"], ...] = ("length", "height", "hole")
    wrong = missed = 0
    for seed in range(12):
        blade = random_blade(random.Random(seed), n=60)
        frame, distances = measured(blade, seed)
        found, curve = (
            blade_by_calipers("x", frame, distances, blade.holes),
            curve_of(frame, distances),
        )
        for kind in kinds:
            true = checked(blade, kind, 0.0).outline_mm
            wrong += not checked(found, kind, true, curve).agrees
            missed += checked(found, kind, true + 0.03 * IN, curve).agrees
    assert wrong <= 1
    assert missed <= 2


def test_the_curve_is_known_best_where_it_was_read() -> None:
    blade = random_blade(random.Random(5), n=60)
    curve = curve_of(*measured(blade, 5))
    read_at = [k.u_mm for k in curve if k.number]
    between = [k.u_mm for k in curve if not k.number]
    assert max(read_at) < max(between)
    assert sum(read_at) / len(read_at) < 1.5 * SCATTER_MM


def test_the_smoother_is_the_smoothing_spline() -> None:
    """Against the penalised least squares of C. H. Reinsch, Numer. Math. 10 (1967) 177.

    Its solution is y - Q (R/rate + Q'SQ)^-1 ... solved here densely by numpy.
    """
    import numpy as np

    rng = random.Random(1)
    x = sorted(rng.uniform(0.0, 50.0) for _ in range(12))
    y = [math.sin(v / 8.0) * 10.0 + rng.gauss(0.0, 0.05) for v in x]
    u, bend = 0.05, 0.03
    h = np.diff(x)
    q, r = np.zeros((12, 10)), np.zeros((10, 10))
    for j in range(10):
        q[j, j], q[j + 1, j], q[j + 2, j] = 1 / h[j], -1 / h[j] - 1 / h[j + 1], 1 / h[j + 1]
        r[j, j] = (h[j] + h[j + 1]) / 3
        if j < 9:
            r[j, j + 1] = r[j + 1, j] = h[j + 1] / 6
    s = np.eye(12) * u**2
    inner = bend**2 * r + q.T @ s @ q
    values = np.array(y) - s @ q @ np.linalg.solve(inner, q.T @ np.array(y))
    variances = np.diag(s - s @ q @ np.linalg.solve(inner, q.T @ s))
    found = smoothed(x, y, u, bend)
    assert found.values == pytest.approx(values, abs=1e-4)
    assert found.variances == pytest.approx(variances, rel=1e-3)
    bend = likeliest_bend(x, [y], u)
    best = smoothed(x, y, u, bend).likelihood
    assert best >= smoothed(x, y, u, 3.0 * bend).likelihood
    assert best >= smoothed(x, y, u, bend / 3.0).likelihood


def test_check_readings_tell_an_outline_that_is_off() -> None:
    blade = random_blade(random.Random(7), n=60)
    frame, distances = measured(blade, 7)
    found = blade_by_calipers("x", frame, distances, blade.holes)
    assert checked(found, "length", frame.top_mm).agrees
    assert not checked(found, "length", frame.top_mm + 0.02 * IN).agrees
    hole = blade.holes[0]
    ring = LineString([*blade.outline_mm, blade.outline_mm[0]])
    out = ring.intersection(LineString([(hole.at_mm[0], 20.0), (hole.at_mm[0], 200.0)]))
    top = max(g.y for g in getattr(out, "geoms", [out]))
    said = checked(found, "hole", top - hole.at_mm[1] - hole.diameter_mm / 2)
    assert abs(said.off_mm) < 0.02 * IN
    with pytest.raises(InputError, match="hole"):
        checked(blade_by_calipers("x", frame, distances), "hole", 10.0)


def test_an_edge_is_shifted_by_what_a_check_reads_and_a_point_moved() -> None:
    """Leading edge 0.01 in further out: the chord grows by as much, the rest stays."""
    blade = random_blade(random.Random(2), n=60)
    points = blade.outline_mm
    wider = shifted(blade, 3, 30, 0.01 * IN)
    ring = LineString([*points, points[0]])
    assert ring.distance(LineString(wider.outline_mm[5:28])) == pytest.approx(0.01 * IN, rel=0.05)
    assert wider.outline_mm[40:] == points[40:]
    moved = moved_point(blade, 2, (points[1][0] + 1.0, 0.0))
    assert moved.length_mm == pytest.approx(blade.length_mm + 1.0)
    for wrong in ((0, 3), (5, 4), (1, 9999)):
        with pytest.raises(InputError, match="points"):
            shifted(blade, *wrong, 0.1)


@pytest.mark.parametrize(
    "sides", [(7.3, 25.0, 12.0, 90.0), (180.0, 25.0, 12.0, 20.5), (180.0, -1.0, 12.0, 90.0)]
)
def test_sides_that_are_no_blades_are_refused(sides: tuple[float, float, float, float]) -> None:
    with pytest.raises(InputError):
        Frame(*sides)
