"""A blade from a scan or a photo: the picture's edges, its scale, and what is wrong with it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from workbench.errors import InputError
from workbench.fin.frame import Point
from workbench.fin.trace.contour import fit_outline
from workbench.fin.trace.traced import Unframed, unframed_of_contours
from workbench.frozen import dataclass
from workbench.work.trace.look import Ground, Told, look_at_rings, nothing
from workbench.work.trace.picture_file import read_grey
from workbench.work.trace.scale import Scale

if TYPE_CHECKING:
    from workbench.work.trace.picture import Seen

COARSEST_MM = 0.26
"""A pixel may be at most so large: about 100 to the inch."""

SOFTEST_MM, SOFTEST_PX = 0.2, 1.5
"""An edge blurred by more (standard deviation), in mm and in pixels, is out of focus."""

UNMOVED = (1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0)


@dataclass(frozen=True, slots=True)
class InPicture:
    """A blade as it lies in a picture."""

    unframed: Unframed
    ground: Ground


def trace_picture(path: str | Path, scale: Scale | None, told: Told = nothing) -> InPicture:
    """Return the blade that a picture shows; ``told`` of each step.

    Raises:
        InputError: what is wrong with the picture, or no scale given.
    """
    grey, own_dpi = read_grey(path)
    if scale is None:
        hint = f" (the file itself says {own_dpi:.4g} dpi)" if own_dpi else ""
        accepted = "one of --dpi N, --across LENGTH or --square LENGTH" + hint
        raise InputError("scale", "none", accepted)
    # Loading it takes a second: not for a file that is refused.
    from workbench.work.trace import picture

    high, wide = grey.shape
    ground = Ground(wide, high, UNMOVED, picture.thumb_of(grey))
    looking = look_at_rings("looking for the blade", ground, ())
    told(looking)
    shapes = picture.shapes_in(
        grey, with_square=scale.by == "square", at_step=lambda: told(looking)
    )
    del grey
    openings = [seen.points for seen in shapes.openings]
    fitting = look_at_rings("fitting the outline", ground, [shapes.blade.points, *openings])
    told(fitting)
    if scale.by == "square":
        assert shapes.square is not None
        h = picture.homography(_corners(shapes.square), scale.value)
        contour = picture.moved(h, shapes.blade.points)
        openings = [picture.moved(h, opening) for opening in openings]
        pixel_mm = _length(contour) / _length(shapes.blade.points)
        to_picture = picture.back(h)
    else:
        pixel_mm = 25.4 / scale.value
        if scale.by == "across":
            xs, ys = zip(*shapes.blade.points, strict=True)
            pixel_mm = scale.value / max(max(xs) - min(xs), max(ys) - min(ys))
        contour = [(x * pixel_mm, y * pixel_mm) for x, y in shapes.blade.points]
        openings = [[(x * pixel_mm, y * pixel_mm) for x, y in ring] for ring in openings]
        to_picture = (1.0 / pixel_mm, 0.0, 0.0, 0.0, 1.0 / pixel_mm, 0.0, 0.0, 0.0, 1.0)
    blur_mm = shapes.blade.blur_px * pixel_mm
    _check_sharp(pixel_mm, blur_mm)
    unframed = unframed_of_contours(
        contour, openings, pixel_mm=pixel_mm, blur_mm=blur_mm,
        length_mm=scale.value if scale.by == "across" else None, at_step=lambda: told(fitting),
    )  # fmt: skip
    return InPicture(unframed, replace(ground, to_picture=to_picture))


def _check_sharp(pixel_mm: float, blur_mm: float) -> None:
    if pixel_mm > COARSEST_MM:
        found = f"pixels of {pixel_mm:.2f} mm"
        accepted = (
            f"a finer picture: pixels of at most {COARSEST_MM:g} mm; a scan at 300 or 600 dpi"
        )
        raise InputError("picture", found, accepted)
    if blur_mm > max(SOFTEST_MM, SOFTEST_PX * pixel_mm):
        found = f"out of focus: edges {2.5 * blur_mm:.2f} mm wide"
        accepted = f"a sharp picture: edges at most {2.5 * SOFTEST_MM:g} mm wide"
        raise InputError("picture", found, accepted)


def _length(points: Sequence[Point]) -> float:
    """Return the length around a closed ring."""
    return math.fsum(math.dist(a, b) for a, b in zip(points, [*points[1:], points[0]], strict=True))


def _corners(square: Seen) -> list[Point]:
    """Return the four corners of a square's edge, where its sides' lines cross."""
    around = _length(square.points)
    for part in (0.004, 0.008, 0.016):
        fitted = fit_outline(square.points, part * around, 4.0 + 3.0 * square.blur_px)
        if len(fitted.outline_mm) == 4:
            return list(fitted.outline_mm)
    raise InputError("--square", "no four straight sides", "a square of that side, seen whole")
