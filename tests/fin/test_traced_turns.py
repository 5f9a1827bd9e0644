"""What a traced blade costs: the readings after a half turn, beside the true blade's."""

from __future__ import annotations

import math
import random

import pytest
from shapely.geometry import LineString

from tests.fin.plates import IN, LENGTH, practice_rig
from tests.fin.test_caliper_trace import measured
from tests.work.scans import hole_points, random_blade
from workbench.fin.blade import Blade
from workbench.fin.frame import Pose
from workbench.fin.pose.equations import Reading
from workbench.fin.pose.fit import fit_pose
from workbench.fin.reading.method import Method
from workbench.fin.reading.observe import observe
from workbench.fin.trace.calipers import blade_by_calipers
from workbench.fin.trace.traced import framed, unframed_of_contours

TIPS = Method("tail, tips", "tail", band_mm=(0.02 * IN, 0.02 * IN))
DEEPEST = Method("depth, deepest", "depth")
METHODS = (DEEPEST, TIPS, LENGTH)
ALLOWED_MM = 0.0007 * IN
PIXEL_MM = IN / 600.0


def by_contour(blade: Blade, rng: random.Random) -> Blade:
    """The blade as a scan at 600 dpi gives it: a contour every two pixels, a fifth of one noise."""

    def noisy(p: tuple[float, float]) -> tuple[float, float]:
        return (p[0] + rng.gauss(0.0, 0.2 * PIXEL_MM), p[1] + rng.gauss(0.0, 0.2 * PIXEL_MM))

    ring = LineString([*blade.outline_mm, blade.outline_mm[0]])
    n = int(ring.length / (2.0 * PIXEL_MM))
    contour = [noisy(ring.interpolate(k / n, normalized=True).coords[0]) for k in range(n)]
    holes = [[noisy(p) for p in hole_points(h)] for h in blade.holes]
    found = unframed_of_contours(contour, holes, pixel_mm=PIXEL_MM, blur_mm=0.7 * PIXEL_MM)
    return framed("traced", found).blade


def cost_mm(true: Blade, traced: Blade) -> list[float]:
    """How far the readings predicted by the traced blade miss after a half turn of each stud."""
    pose = Pose(0.7 * IN, -(true.back_edge_mm[1][1] + 0.12 * IN), 0.004)
    real, known = practice_rig(blade=true), practice_rig(blade=traced)
    readings = []
    for method in METHODS:
        seen = observe(method, true, real.base, pose)
        assert seen is not None
        readings.append(Reading(method, seen.value_mm, 0.01))
    fitted = fit_pose(traced, known.base, readings, pose).pose
    out = []
    for stud in range(3):
        for turn in (0.5, -0.5):
            turns = [turn if i == stud else 0.0 for i in range(3)]
            after, foreseen = real.seated(pose, turns), known.seated(fitted, turns)
            out += [
                known.observe(m, foreseen).value_mm - real.observe(m, after).value_mm
                for m in METHODS
            ]
    return out


@pytest.mark.parametrize("way", ["scan", "calipers"])
def test_a_traced_blade_costs_less_than_seven_tenths_of_a_thousandth(way: str) -> None:
    misses: list[float] = []
    for seed in range(2 if way == "scan" else 8):
        true = random_blade(random.Random(seed), n=60)
        if way == "scan":
            traced = by_contour(true, random.Random(seed))
        else:
            traced = blade_by_calipers("x", *measured(true, seed), true.holes)
        misses += cost_mm(true, traced)
    assert math.sqrt(sum(m * m for m in misses) / len(misses)) < ALLOWED_MM
