"""How well invented blades are traced from rendered pictures, in figures.

python -m tests.work.trace_bench --pictures 200 [--dpi 600 300] [--seed 1]
"""

from __future__ import annotations

import argparse
import math
import random
import sys
import tempfile
import time
from pathlib import Path

from tests.work.scans import (
    Missed,
    Scene,
    missed,
    random_blade,
    random_scene,
    render,
    traced_picture,
)
from workbench.errors import InputError
from workbench.work.trace.look import PictureScale

ALLOWED = {600.0: 0.002, 300.0: 0.004}
"""Outline RMS (in) by dots per inch; holes 0.001 in centre and 0.002 diameter, scale 0.05 %; where
the view is tilted the outline within 0.006 and the scale as well."""


def one(seed: int, dpi: float, folder: Path, tilt: bool = False) -> tuple[Scene, Missed | None]:
    """Trace one picture."""
    rng = random.Random(seed)
    blade = random_blade(rng)
    scene = random_scene(rng, dpi)
    scale = PictureScale("dpi", dpi)
    if tilt:
        scene = Scene(
            dpi=dpi, turn_deg=rng.uniform(0, 360), blur_px=1.0, noise=3.0, square_in=2.0,
            tilt_deg=rng.uniform(5.0, 15.0), tilt_to_deg=rng.uniform(0, 360), shadow=0.2,
        )  # fmt: skip
        scale = PictureScale("square", 2.0 * 25.4)
    path = folder / ("x.jpg" if scene.jpeg else "x.png")
    render(blade, scene, seed).save(path, **({"quality": scene.jpeg} if scene.jpeg else {}))
    try:
        return scene, missed(blade, traced_picture(path, scale))
    except InputError as why:
        print(f"seed {seed}: {why}", file=sys.stderr)
        return scene, None


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pictures", type=int, default=200)
    parser.add_argument("--dpi", type=float, nargs="+", default=[600.0, 300.0])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--tilt", action="store_true", help="tilted by 5 to 15 degrees, a square")
    args = parser.parse_args()
    for dpi in args.dpi:
        found: list[Missed] = []
        failed = 0
        began = time.perf_counter()
        allowed = 0.006 if args.tilt else ALLOWED.get(dpi, math.inf)
        with tempfile.TemporaryDirectory() as folder:
            for seed in range(args.seed, args.seed + args.pictures):
                scene, got = one(seed, dpi, Path(folder), args.tilt)
                good = got is not None and got.rms <= allowed and got.edges
                if got is not None:
                    good = good and abs(got.scale) <= 0.0005
                    good = good and (args.tilt or (got.centre <= 0.001 and got.diameter <= 0.002))
                if not good:
                    failed += 1
                    print(f"seed {seed}: {got} {scene}", flush=True)
                if got is not None:
                    found.append(got)
        worst = {k: max(abs(getattr(m, k)) for m in found) for k in Missed.__annotations__}
        mean = sum(m.rms for m in found) / len(found)
        print(
            f"{dpi:g} dpi: {args.pictures} pictures, {failed} outside; rms mean {mean:.5f} in, "
            f"worst rms {worst['rms']:.5f}, any place {worst['worst']:.5f}, hole centre "
            f"{worst['centre']:.5f}, diameter {worst['diameter']:.5f}, scale "
            f"{100 * worst['scale']:.4f} %; {time.perf_counter() - began:.0f} s",
            flush=True,
        )


if __name__ == "__main__":
    main()
