"""A blade from a scan or a photo: the picture's edges, its scale, and what is wrong with it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from workbench.errors import InputError
from workbench.fin.frame.pose import Point
from workbench.fin.parts.blade import LARGEST_MM, SMALLEST_MM
from workbench.fin.trace.contour import fit_outline
from workbench.fin.trace.traced import Traced, blade_of_contours, scaled
from workbench.frozen import dataclass
from workbench.work.trace.picture_file import read_grey

if TYPE_CHECKING:
    from workbench.work.trace.picture import Seen

COARSEST_MM = 0.26
"""A pixel may be at most so large: about 100 to the inch."""

SOFTEST_MM, SOFTEST_PX = 0.2, 1.5
"""An edge blurred by more (standard deviation), in mm and in pixels, is out of focus."""

DPI = (75.0, 4800.0)


@dataclass(frozen=True, slots=True)
class Scale:
    """What gives a picture its scale: dots per inch, or the length (mm) of the blade along its top
    edge, or of a square's side in view."""

    by: Literal["dpi", "across", "square"]
    value: float

    def __post_init__(self) -> None:
        if self.by == "dpi":
            if not DPI[0] <= self.value <= DPI[1]:
                accepted = f"dots per inch of the scan, {DPI[0]:g} to {DPI[1]:g}"
                raise InputError("--dpi", f"{self.value:g}", accepted)
        elif not SMALLEST_MM <= self.value <= LARGEST_MM:
            accepted = f"a length of {SMALLEST_MM:g} to {LARGEST_MM:g} mm"
            raise InputError(f"--{self.by}", f"{self.value:g} mm", accepted)


def trace_picture(
    path: str | Path, name: str, scale: Scale | None, *, other_end: bool = False
) -> Traced:
    """Return the blade that a picture shows.

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

    shapes = picture.shapes_in(grey, with_square=scale.by == "square")
    openings = [seen.points for seen in shapes.openings]
    if scale.by == "square":
        assert shapes.square is not None
        h = picture.homography(_corners(shapes.square), scale.value)
        contour = picture.moved(h, shapes.blade.points)
        openings = [picture.moved(h, opening) for opening in openings]
        pixel_mm = _length(contour) / _length(shapes.blade.points)
    else:
        pixel_mm = 25.4 / scale.value
        if scale.by == "across":
            xs, ys = zip(*shapes.blade.points, strict=True)
            pixel_mm = scale.value / max(max(xs) - min(xs), max(ys) - min(ys))
        contour = [(x * pixel_mm, y * pixel_mm) for x, y in shapes.blade.points]
        openings = [[(x * pixel_mm, y * pixel_mm) for x, y in ring] for ring in openings]
    blur_mm = shapes.blade.blur_px * pixel_mm
    _check_sharp(pixel_mm, blur_mm)
    traced = blade_of_contours(
        name, contour, openings, pixel_mm=pixel_mm, blur_mm=blur_mm, other_end=other_end
    )
    return scaled(traced, scale.value) if scale.by == "across" else traced


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
