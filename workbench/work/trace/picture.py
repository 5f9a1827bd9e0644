"""Pictures: where a blade, its holes and a square of known size have their edges, in pixels.

The one module that loads the image libraries; nothing but ``trace`` loads it. The picture is split
into dark and light coarsely and by what surrounds each place; then the edge is looked for along
lines across it, at the level half way between the two sides right there, to a part of a pixel. So
neither a shadow that grows across the picture nor the picture's own brightness moves an edge.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from PIL import Image
from scipy import ndimage
from skimage.filters import threshold_otsu
from skimage.measure import find_contours, label, regionprops

from workbench.errors import InputError
from workbench.fin.frame import Point
from workbench.frozen import dataclass
from workbench.work.trace.look import Thumb

Grey = Any
"""An array of grey levels (rows x columns)."""

THUMB_PIXELS = 400
"""The longer side of the picture as it is shown."""

COARSE_PIXELS = 1_200_000
"""The picture is looked over at about this size."""

LEAST_CONTRAST = 18.0
"""Grey levels between the blade and what it lies on."""

LEAST_SHARE = 0.004
"""The part of the picture that a blade must fill."""

SECOND_SHARE = 0.4
"""Another thing with this part of the blade's area is another blade."""

HALF_WIDTH = 9.0
"""The edge is looked for this many pixels to either side of where it was seen coarsely."""

SPACING = 1.5
"""Pixels from one look across the edge to the next."""


@dataclass(frozen=True, slots=True)
class Seen:
    """One closed edge in a picture: points (x right, y down, pixels), in order.

    ``blur_px`` is the standard deviation of the blur of the edge.
    """

    points: list[Point]
    blur_px: float


@dataclass(frozen=True, slots=True)
class Shapes:
    """What a picture shows, in pixels: the blade's edge, its openings, and a square if asked."""

    blade: Seen
    openings: tuple[Seen, ...]
    square: Seen | None


# -- coarsely --------------------------------------------------------------------------------------


def thumb_of(grey: Grey) -> Thumb:
    """Return the picture made small, to be shown."""
    k = max(1, math.ceil(max(grey.shape) / THUMB_PIXELS))
    small = _reduced(grey, k)
    ground = np.median(np.concatenate([small[0], small[-1], small[:, 0], small[:, -1]]))
    off = np.abs(small - ground)
    levels = (off * (255.0 / max(float(off.max()), 1.0))).astype(np.uint8)
    return Thumb(tuple(bytes(row) for row in levels), float(k))


def shapes_in(
    grey: Grey, *, with_square: bool = False, at_step: Callable[[], None] = lambda: None
) -> Shapes:
    """Return what a picture of these grey levels (rows x columns) shows.

    ``at_step`` is called now and then; what it raises ends the work.

    Raises:
        InputError: no blade, two blades, a blade cut off at the picture's edge; no square where one
            is asked for.
    """
    height, width = grey.shape
    k = max(1, math.ceil(math.sqrt(height * width / COARSE_PIXELS)))
    small = _reduced(grey, k)
    mask, contrast = _foreground(small)
    at_step()
    if contrast < LEAST_CONTRAST:
        raise _no_blade()
    parts = sorted(regionprops(label(mask)), key=lambda p: -float(p.area_filled))
    parts = [p for p in parts if p.area_filled >= LEAST_SHARE * mask.size]
    if not parts:
        raise _no_blade()
    find = _Finder(grey, k, contrast)
    square = None
    if with_square:
        parts, square = _without_square(find, parts, mask)
        if not parts:
            raise _no_blade()
    blade = parts[0]
    if _touches(blade, mask.shape):
        raise InputError(
            "picture", "a blade cut off at the edge", "the whole blade, with a margin around it"
        )
    if len(parts) > 1 and parts[1].area_filled > SECOND_SHARE * blade.area_filled:
        raise InputError("picture", "two blades", "one blade alone")
    whole = _placed(blade.image_filled, blade.bbox, mask.shape)
    openings = whole & ~_placed(blade.image, blade.bbox, mask.shape)
    at_step()
    outer = find.edge(whole)
    at_step()
    holes = []
    for part in regionprops(label(openings)):
        across = 2.0 * math.sqrt(float(part.area) / math.pi) * k
        if across >= 8.0 and part.area >= 6:
            seen = _placed(part.image_filled, part.bbox, mask.shape)
            found = find.edge(seen, rough=True)
            if found is not None:
                holes.append(found)
    assert outer is not None
    return Shapes(outer, tuple(holes), square)


def _no_blade() -> InputError:
    return InputError(
        "picture", "no blade", "a blade that is clearly darker or lighter than what it lies on"
    )


def _reduced(grey: Grey, k: int) -> Grey:
    """Return the picture k times smaller, a pixel the mean of k x k; what is left over is cut."""
    height, width = grey.shape[0] // k * k, grey.shape[1] // k * k
    return np.asarray(Image.fromarray(grey[:height, :width]).reduce(k), dtype=np.float32)


def _foreground(small: Grey) -> tuple[Grey, float]:
    """Return where the picture shows things on its ground, and the contrast in grey levels.

    Split by N. Otsu, IEEE Trans. SMC 9 (1979) 62, then again and again by the mean of what is on
    either side nearby. The ground is what most of the picture's border shows.
    """
    soft = ndimage.gaussian_filter(small, 1.0)
    low, high = float(soft.min()), float(soft.max())
    if high - low < LEAST_CONTRAST:
        return np.zeros(small.shape, dtype=bool), 0.0
    level = float(threshold_otsu(soft))
    border = np.concatenate([soft[0], soft[-1], soft[:, 0], soft[:, -1]])
    light_ground = float(np.mean(border > level)) >= 0.5
    mask = (soft < level) if light_ground else (soft > level)
    shade = max(1, min(small.shape) // 160)
    for _ in range(3):
        if not mask.any() or mask.all():
            return np.zeros(small.shape, dtype=bool), 0.0
        here = _level_between(soft, mask, shade)
        mask = (soft < here) if light_ground else (soft > here)
    # Scratches and dust are thinner than any part of a blade.
    mask = ndimage.binary_opening(
        ndimage.binary_closing(np.pad(mask, 4, mode="edge"), iterations=2), iterations=2
    )
    mask = mask[4:-4, 4:-4]
    if not mask.any():
        return mask, 0.0
    contrast = abs(float(np.median(soft[mask])) - float(np.median(soft[~mask])))
    return mask, contrast


def _level_between(soft: Grey, mask: Grey, shade: int) -> Grey:
    """Return for each place the mean of the things' and the ground's grey level nearby."""
    coarse = soft[::shade, ::shade]
    on = mask[::shade, ::shade].astype(np.float32)
    sigma = max(coarse.shape) / 10.0
    all_on, all_off = float(coarse[on > 0].mean()), float(coarse[on == 0].mean())

    def nearby(weight: Grey, otherwise: float) -> Grey:
        # A little weight on the mean of all, for places with nothing of the kind near.
        total = ndimage.gaussian_filter(weight * coarse, sigma) + 1e-3 * otherwise
        return total / (ndimage.gaussian_filter(weight, sigma) + 1e-3)

    level = (nearby(on, all_on) + nearby(1.0 - on, all_off)) / 2.0
    grown = np.repeat(np.repeat(level, shade, axis=0), shade, axis=1)
    grown = np.pad(grown, ((0, shade), (0, shade)), mode="edge")
    return grown[: soft.shape[0], : soft.shape[1]]


def _touches(part: Any, shape: tuple[int, int]) -> bool:
    top, left, bottom, right = part.bbox
    return bool(top <= 1 or left <= 1 or bottom >= shape[0] - 1 or right >= shape[1] - 1)


def _placed(image: Grey, bbox: tuple[int, int, int, int], shape: tuple[int, int]) -> Grey:
    out = np.zeros(shape, dtype=bool)
    out[bbox[0] : bbox[2], bbox[1] : bbox[3]] = image
    return out


def _without_square(find: _Finder, parts: list[Any], mask: Grey) -> tuple[list[Any], Seen]:
    """Return the parts other than the square, and the square's edge.

    Where the square is a sheet that the blade lies on, the parts are what the sheet does not show.
    """
    for part in parts[:4]:
        if _touches(part, mask.shape) or not _is_four_sided(part):
            continue
        whole = _placed(part.image_filled, part.bbox, mask.shape)
        seen = find.edge(whole)
        assert seen is not None
        inner = regionprops(label(whole & ~_placed(part.image, part.bbox, mask.shape)))
        inner = [p for p in inner if p.area_filled >= 0.05 * part.area_filled]
        others = [p for p in parts if p is not part]
        if others and not inner:
            return others, seen
        if inner:
            return sorted(inner, key=lambda p: -float(p.area_filled)), seen
    raise InputError(
        "--square", "no square in the picture", "a square of that side, whole, apart from the blade"
    )


def _is_four_sided(part: Any) -> bool:
    """Tell whether a part fills the quadrilateral of its own four farthest corners."""
    points = np.argwhere(np.pad(part.image_filled, 1)).astype(float)
    middle = points.mean(axis=0)
    one = points[np.argmax(((points - middle) ** 2).sum(axis=1))]
    two = points[np.argmax(((points - one) ** 2).sum(axis=1))]
    side = (points - one) @ np.array([-(two - one)[1], (two - one)[0]])
    three, four = points[np.argmax(side)], points[np.argmin(side)]
    corners = np.array([one, three, two, four])
    x, y = corners[:, 1], corners[:, 0]
    area = abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))) / 2.0
    return (
        0.96
        < float(part.area_filled) / max(area, 1.0)
        < 1.06 + 60.0 / math.sqrt(max(area, 1.0)) / 10
    )


# -- to a part of a pixel --------------------------------------------------------------------------


class _Finder:
    """Finds edges of one picture, ``k`` times finer than the masks that say where to look."""

    def __init__(self, grey: Grey, k: int, contrast: float) -> None:
        self._grey, self._k, self._contrast = grey, k, contrast

    def edge(self, mask: Grey, *, rough: bool = False) -> Seen | None:
        """Return the edge of what a mask shows, found along lines across it.

        None, where ``rough`` allows it, if hardly any of it is a clear edge.
        """
        padded = np.pad(mask, 2).astype(np.float32)
        rings = find_contours(ndimage.gaussian_filter(padded, 1.0), 0.5)
        ring = max(rings, key=len)[:-1] - 2.0
        ring = (ring + 0.5) * self._k - 0.5
        reach = HALF_WIDTH if self._k == 1 else max(HALF_WIDTH, 2.5 * self._k)
        small = min(np.ptp(ring[:, 0]), np.ptp(ring[:, 1]))
        reach = min(reach, 0.35 * small)
        found, blur = self._across(ring, reach)
        for _ in range(2):
            if len(found) < 30:
                break
            # The shorter the look, the less a corner of the blade rounds what is seen beside it.
            found, blur = self._across(found, min(HALF_WIDTH, 2.0 + 3.0 * blur, 0.35 * small))
        if len(found) < 30:
            if rough:
                return None
            raise _no_blade()
        return Seen([(float(x), float(y)) for y, x in found], blur)

    def _across(self, ring: Grey, reach: float) -> tuple[Grey, float]:
        """Return the ring moved to the edge, looked for along its normals, and the edge's blur."""
        ring = _spaced(ring, SPACING)
        n = len(ring)
        if n < 30:
            return ring, 0.0
        soft = ndimage.gaussian_filter1d(ring, 1.5, axis=0, mode="wrap")
        along = np.roll(soft, -2, axis=0) - np.roll(soft, 2, axis=0)
        length = np.hypot(along[:, 0], along[:, 1])
        length[length == 0.0] = 1.0
        normal = np.stack([-along[:, 1], along[:, 0]], axis=1) / length[:, None]
        steps = np.arange(-reach, reach + 0.25, 0.5)
        at = ring[:, :, None] + normal[:, :, None] * steps[None, None, :]
        levels = ndimage.map_coordinates(
            self._grey, at.transpose(1, 0, 2), order=1, mode="nearest", output=np.float32
        )
        # Neighbours along the edge see the same edge: their mean has less noise.
        levels = ndimage.uniform_filter1d(levels, 3, axis=0, mode="wrap")
        quarter = max(2, len(steps) // 4)
        one = np.median(levels[:, :quarter], axis=1)
        two = np.median(levels[:, -quarter:], axis=1)
        contrast = np.abs(one - two)
        falls = np.sign(one - two)[:, None] * (levels - ((one + two) / 2.0)[:, None])
        goes = (falls[:, :-1] > 0.0) & (falls[:, 1:] <= 0.0)
        away = np.where(goes, np.abs(steps[:-1])[None, :], np.inf)
        j = np.argmin(away, axis=1)
        row = np.arange(n)
        a, b = falls[row, j], falls[row, j + 1]
        off = steps[j] + 0.5 * a / np.where(a - b == 0.0, 1.0, a - b)
        good = goes.any(axis=1) & (contrast > 0.5 * self._contrast)
        if not good.any():
            return ring[:0], 0.0
        # A scratch or a speck across the edge moves few points far: the median shows them.
        filled = np.where(good, off, np.nan)
        filled = np.interp(row, row[good], off[good]) if not good.all() else filled
        usual = ndimage.median_filter(filled, 31, mode="wrap")
        spread = float(np.median(np.abs(filled - usual))) * 1.4826
        good &= np.abs(filled - usual) <= max(1.0, 5.0 * spread)
        steepest = (
            np.max(-np.diff(ndimage.uniform_filter1d(falls, 3, axis=1), axis=1), axis=1) * 2.0
        )
        wide = contrast[good] / np.maximum(steepest[good], 1e-6)
        blur = float(np.median(wide)) / math.sqrt(2.0 * math.pi) if good.any() else 0.0
        return (ring + normal * off[:, None])[good], blur


def _spaced(ring: Grey, spacing: float) -> Grey:
    """Return points evenly spaced along a closed ring."""
    closed = np.concatenate([ring, ring[:1]])
    lengths = np.hypot(*np.diff(closed, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(lengths)])
    count = max(8, round(float(along[-1]) / spacing))
    at = np.linspace(0.0, float(along[-1]), count, endpoint=False)
    return np.stack([np.interp(at, along, closed[:, i]) for i in (0, 1)], axis=1)


def homography(corners: Sequence[Point], side: float) -> Any:
    """Return (3 x 3) what takes a square's four corners in the picture to a square of that side.

    The direct linear transform of four points (Hartley and Zisserman, Multiple View Geometry, 4.1).
    """
    wanted = [(0.0, 0.0), (side, 0.0), (side, side), (0.0, side)]
    rows, right = [], []
    for (x, y), (u, v) in zip(corners, wanted, strict=True):
        rows.append([x, y, 1, 0, 0, 0, -u * x, -u * y])
        rows.append([0, 0, 0, x, y, 1, -v * x, -v * y])
        right += [u, v]
    try:
        h = np.linalg.solve(np.array(rows, dtype=float), np.array(right))
    except np.linalg.LinAlgError:
        raise InputError("--square", "corners on a line", "a square seen from above") from None
    return np.append(h, 1.0).reshape(3, 3)


def back(h: Any) -> tuple[float, ...]:
    """Return the nine numbers of the homography that leads the other way."""
    return tuple(float(x) for x in np.linalg.inv(h).flat)


def moved(h: Any, points: Sequence[Point]) -> list[Point]:
    """Return points taken through a homography."""
    x = np.asarray(points, dtype=float)
    out = np.concatenate([x, np.ones((len(x), 1))], axis=1) @ np.asarray(h).T
    out = out[:, :2] / out[:, 2:]
    return [(float(a), float(b)) for a, b in out]
