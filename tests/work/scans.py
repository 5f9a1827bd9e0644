"""Invented blades and pictures of them, rendered independently of what reads them.

A picture is drawn by Pillow at four times its resolution or more and made smaller, with blur,
noise, tilt, a shadow over the plate, scratches and JPEG as asked.
"""

from __future__ import annotations

import io
import math
import random
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFilter

from workbench.fin.blade import Blade, Hole
from workbench.fin.trace.traced import framed
from workbench.measure.units import MM_PER, Unit
from workbench.work.trace.look import PictureScale
from workbench.work.trace.scan import trace_picture

Point = tuple[float, float]
INCH = 25.4
FINE, FINE_DPI = 4, 2400.0
"""A picture is drawn so many times larger, or larger still: Pillow puts a polygon's corners on
whole pixels of that, which must be small beside what is checked."""


def bezier(points: Sequence[Point], n: int) -> list[Point]:
    """n points of a Bezier curve, its last left out (de Casteljau)."""
    out = []
    for i in range(n):
        t, level = i / n, list(points)
        while len(level) > 1:
            level = [
                ((1 - t) * a[0] + t * b[0], (1 - t) * a[1] + t * b[1]) for a, b in pairwise(level)
            ]
        out.append(level[0])
    return out


def random_blade(rng: random.Random, name: str = "invented", n: int = 120) -> Blade:
    """A blade of no maker: straight top, back and front end, the rest two smooth curves."""
    long = rng.uniform(6.2, 7.8)
    back = rng.uniform(0.8, 1.1)
    front = rng.uniform(0.35, 0.6)
    deep = rng.uniform(3.2, 3.8)
    tip_u = rng.uniform(1.5, 2.4)
    flat = rng.uniform(0.5, 0.9)
    lean = rng.uniform(0.05, 0.3)
    lead = bezier(
        [
            (long, front),
            (long - rng.uniform(0.05, 0.2), front + rng.uniform(0.5, 0.8)),
            (long - rng.uniform(1.3, 2.0), deep - rng.uniform(0.9, 1.3)),
            (tip_u + flat + rng.uniform(0.8, 1.2), deep - rng.uniform(0.02, 0.1)),
            (tip_u + flat, deep),
        ],
        n,
    )
    tip = bezier([(tip_u + flat, deep), (tip_u, deep + rng.uniform(0.0, 0.05)),
                  (tip_u - 0.7, deep - rng.uniform(0.0, 0.3)),
                  (lean + rng.uniform(0.25, 0.5), back + 1.5)], n)  # fmt: skip
    last = tip[-1]
    trail = bezier(
        [
            (lean + (tip[-1][0] - lean), last[1]),
            (lean + rng.uniform(0.05, 0.2), back + rng.uniform(0.9, 1.2)),
            (rng.uniform(0.0, 0.1), back + rng.uniform(0.2, 0.5)),
            (0.0, back),
        ],
        n,
    )
    outline = [(0.0, 0.0), (long, 0.0), *lead, *tip[:-1], *trail, (0.0, back)]
    scaled = tuple((u * INCH, v * INCH) for u, v in outline)
    holes = []
    for k in range(rng.randint(1, 4)):
        at = (rng.uniform(1.2, 1.7) + 0.9 * k, rng.uniform(1.6, 2.1))
        size = rng.choice((0.2, 0.25, 0.3))
        holes.append(Hole(str(k + 1), (at[0] * INCH, at[1] * INCH), size * INCH))
    return Blade(
        name, scaled, ((0.0, 0.0), (long * INCH, 0.0)), ((0.0, 0.0), (0.0, back * INCH)),
        tuple(holes),
    )  # fmt: skip


@dataclass(frozen=True)
class Scene:
    """How a blade lies in a picture and what the picture suffers from."""

    dpi: float = 600.0
    turn_deg: float = 0.0
    mirrored: bool = False
    dark: bool = True
    blur_px: float = 0.6
    noise: float = 2.0
    shadow: float = 0.0
    scratches: int = 0
    jpeg: int = 0
    margin_in: float = 0.4
    metal: int = 70
    paper: int = 225
    tilt_deg: float = 0.0
    tilt_to_deg: float = 0.0
    square_in: float = 0.0
    distance_in: float = 18.0


def smaller(blade: Blade, part: float) -> Blade:
    """The same shape made smaller: quicker to render."""

    def at(p: Point) -> Point:
        return (p[0] * part, p[1] * part)

    holes = tuple(Hole(h.name, at(h.at_mm), h.diameter_mm * part) for h in blade.holes)
    top, back = (tuple(map(at, e)) for e in (blade.top_edge_mm, blade.back_edge_mm))
    return Blade(blade.name, tuple(map(at, blade.outline_mm)), top, back, holes)  # type: ignore[arg-type]


def hole_points(hole: Hole, n: int = 240) -> list[Point]:
    r = hole.diameter_mm / 2
    return [
        (hole.at_mm[0] + r * math.cos(2 * math.pi * k / n),
         hole.at_mm[1] + r * math.sin(2 * math.pi * k / n))
        for k in range(n)
    ]  # fmt: skip


def _add_square(mask: Image.Image, corners: Sequence[Point]) -> None:
    """Draw a four-sided thing (pixels from the upper left corner) by the part of each pixel that it
    covers: a corner on a whole fine pixel would turn a small square, and with it a whole blade."""
    left, top = (math.floor(min(p[i] for p in corners)) - 2 for i in (0, 1))
    wide, high = (math.ceil(max(p[i] for p in corners)) + 2 - o for i, o in ((0, left), (1, top)))
    x = left + (np.arange(wide * FINE, dtype=np.float32)[None, :] + 0.5) / FINE
    y = top + (np.arange(high * FINE, dtype=np.float32)[:, None] + 0.5) / FINE
    inside = np.ones((high * FINE, wide * FINE), dtype=np.float32)
    for (ax, ay), (bx, by) in zip(corners, [*corners[1:], corners[0]], strict=True):
        off = ((bx - ax) * (y - ay) - (by - ay) * (x - ax)) / math.hypot(bx - ax, by - ay)
        inside = np.minimum(inside, np.clip(off * FINE + 0.5, 0.0, 1.0))
    share = inside.reshape(high, FINE, wide, FINE).mean(axis=(1, 3))
    mask.paste(255, (left, top), Image.fromarray(np.uint8(share * 255.0 + 0.5)))


def render(blade: Blade, scene: Scene, seed: int = 0, second: Blade | None = None) -> Image.Image:
    """A grey picture (or, with jpeg, one that went through it) of the blade."""
    rng = np.random.default_rng(seed)
    c, s = math.cos(math.radians(scene.turn_deg)), math.sin(math.radians(scene.turn_deg))
    flip = -1.0 if scene.mirrored else 1.0

    def placed(p: Point) -> Point:
        u, v = p[0] / INCH, flip * p[1] / INCH
        return (c * u - s * v, s * u + c * v)

    shapes = [[placed(p) for p in blade.outline_mm]]
    openings = [[placed(p) for p in hole_points(h)] for h in blade.holes]
    if second is not None:
        shift = max(p[1] for p in shapes[0]) - min(p[1] for p in shapes[0]) + 0.3
        shapes.append([(x, y + shift) for x, y in map(placed, second.outline_mm)])
    square: list[Point] = []
    if scene.square_in:
        side = scene.square_in
        left = min(p[0] for p in shapes[0])
        low = max(p[1] for p in shapes[0]) + 0.35
        lean = math.radians(7.0)
        corners = [(0.0, 0.0), (side, 0.0), (side, side), (0.0, side)]
        square = [
            (left + 0.4 + x * math.cos(lean) - y * math.sin(lean) + side * 0.2,
             low + x * math.sin(lean) + y * math.cos(lean)) for x, y in corners
        ]  # fmt: skip
    if scene.tilt_deg:
        every = [p for shape in (*shapes, square) for p in shape]
        mx = (min(p[0] for p in every) + max(p[0] for p in every)) / 2
        my = (min(p[1] for p in every) + max(p[1] for p in every)) / 2
        a, to = math.radians(scene.tilt_deg), math.radians(scene.tilt_to_deg)
        ct, st, d = math.cos(to), math.sin(to), scene.distance_in

        def seen(p: Point) -> Point:
            x, y = p[0] - mx, p[1] - my
            along, across = ct * x + st * y, -st * x + ct * y
            depth = d + along * math.sin(a)
            along, across = along * math.cos(a) * d / depth, across * d / depth
            return (ct * along - st * across, st * along + ct * across)

        shapes = [[seen(p) for p in shape] for shape in shapes]
        openings = [[seen(p) for p in shape] for shape in openings]
        square = [seen(p) for p in square]
    every = [p for shape in (*shapes, square) for p in shape]
    x0, y0 = min(p[0] for p in every) - scene.margin_in, min(p[1] for p in every) - scene.margin_in
    wide = max(p[0] for p in every) - x0 + scene.margin_in
    high = max(p[1] for p in every) - y0 + scene.margin_in
    w, h = round(wide * scene.dpi), round(high * scene.dpi)
    times = max(FINE, math.ceil(FINE_DPI / scene.dpi))
    k = scene.dpi * times
    image = Image.new("L", (w * times, h * times), 0)
    draw = ImageDraw.Draw(image)

    def fine(p: Point) -> Point:
        # Pillow counts pixel centres, half a fine pixel back, and cuts what is behind the point.
        return (round((p[0] - x0) * k - 0.5), round((p[1] - y0) * k - 0.5))

    for shape in shapes:
        draw.polygon([fine(p) for p in shape], fill=255)
    for shape in openings:
        draw.polygon([fine(p) for p in shape], fill=0)
    mask = image.reduce(times)
    del image
    if square:
        _add_square(mask, [((x - x0) * scene.dpi, (y - y0) * scene.dpi) for x, y in square])
    if scene.blur_px:
        mask = mask.filter(ImageFilter.GaussianBlur(scene.blur_px))
    share = np.asarray(mask, dtype=np.float32) / 255.0
    metal, paper = float(scene.metal), float(scene.paper)
    if not scene.dark:
        metal, paper = paper, metal
    grey = share * metal + (1.0 - share) * paper
    yy, xx = np.arange(h, dtype=np.float32)[:, None], np.arange(w, dtype=np.float32)[None, :]
    if scene.shadow:
        grey *= 1.0 - scene.shadow * (xx / w * 0.7 + yy / h * 0.3)
    for _ in range(scene.scratches):
        px, py = rng.uniform(0, w), rng.uniform(0, h)
        ang = rng.uniform(0, math.pi)
        off = (xx - px) * math.sin(ang) - (yy - py) * math.cos(ang)
        on = (np.abs(off) < 1.2) & (np.hypot(xx - px, yy - py) < 0.25 * scene.dpi)
        grey[on] += 45.0 if scene.dark else -45.0
    if scene.noise:
        grey += rng.standard_normal(grey.shape, dtype=np.float32) * np.float32(scene.noise)
    out = Image.fromarray(np.clip(grey + 0.5, 0, 255).astype(np.uint8))
    if scene.jpeg:
        data = io.BytesIO()
        out.save(data, "JPEG", quality=scene.jpeg)
        data.seek(0)
        out = Image.open(data)
        out.load()
    return out


def random_scene(rng: random.Random, dpi: float) -> Scene:
    """A scan as they come: any way round, either side up, dark or light, with its faults."""
    return Scene(
        dpi=dpi,
        turn_deg=rng.uniform(0.0, 360.0),
        mirrored=rng.random() < 0.5,
        dark=rng.random() < 0.6,
        blur_px=rng.uniform(0.4, 1.2),
        noise=rng.uniform(1.0, 5.0),
        shadow=rng.choice((0.0, 0.2, 0.4)),
        scratches=rng.choice((0, 4, 10)),
        jpeg=rng.choice((0, 0, 70, 85, 95)),
    )


@dataclass(frozen=True)
class Missed:
    """How far a traced blade is from the true one (in), its scale as a part."""

    rms: float
    worst: float
    centre: float
    diameter: float
    scale: float
    edges: bool


def traced_picture(path: Path, scale: PictureScale) -> Blade:
    """The blade that a picture shows, by its likeliest edges."""
    return framed("x", trace_picture(path, scale).unframed).blade


def missed(true: Blade, traced: Blade) -> Missed:
    """Compare by shapely: places every 0.2 mm along the traced outline against the true one."""
    from shapely.geometry import LineString

    ring = LineString([*true.outline_mm, true.outline_mm[0]])
    found = LineString([*traced.outline_mm, traced.outline_mm[0]])
    offs = [ring.distance(found.interpolate(0.2 * k)) for k in range(int(found.length / 0.2))]
    centre = diameter = 0.0
    for hole in true.holes:
        near = min(traced.holes, key=lambda h: math.dist(h.at_mm, hole.at_mm), default=None)
        if near is None or len(true.holes) != len(traced.holes):
            centre = diameter = math.inf
            break
        centre = max(centre, math.dist(near.at_mm, hole.at_mm))
        diameter = max(diameter, abs(near.diameter_mm - hole.diameter_mm))
    # Where a straight side goes over into a curve, its end is a matter of taste.
    ends = [
        math.dist(a, b) * (1.0 if i == 0 else 0.15)
        for one, two in (
            (true.top_edge_mm, traced.top_edge_mm),
            (true.back_edge_mm, traced.back_edge_mm),
        )
        for i, (a, b) in enumerate(zip(one, two, strict=True))
    ]
    return Missed(
        math.sqrt(sum(o * o for o in offs) / len(offs)) / INCH,
        max(offs) / INCH,
        centre / INCH,
        diameter / INCH,
        traced.length_mm / true.length_mm - 1.0,
        max(ends) < 0.05 * INCH,
    )


def csv_of(rings: Iterable[Sequence[Point]], unit: Unit) -> str:
    """Return closed lines (mm) as a CSV of points in a unit that it states."""
    by = 1.0 / MM_PER[unit]
    blocks = ["".join(f"{x * by:.9f},{y * by:.9f}\r\n" for x, y in ring) for ring in rings]
    return f"u {unit},v {unit}\r\n" + "\r\n".join(blocks)
