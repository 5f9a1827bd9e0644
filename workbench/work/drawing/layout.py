"""A scene laid out in a box of a page: strokes, dots and words in the box's own units, y down."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from workbench.fin.frame import Point
from workbench.work.drawing.scene import (
    BASE,
    FAINT,
    Scene,
    Shape,
)
from workbench.work.text.safe_text import cells_of, visible

MARGIN = 2.5
"""Room left around a picture, in the box's units."""

DIMENSION_ROOM = 7.0
"""Room below (or beside) a picture for the line that shows what is measured."""

ARROW = 1.6
BASE_STEPS = 80
SPAN = "span"
"""The ink of the line that shows what is measured."""

LONGEST_LABEL = 40
TEXT_SIZE = 3.2
"""Height of a picture's words, in its own units."""

LETTER_WIDE = 0.62
"""About how wide a letter is, in its height, in any plain font."""

Anchor = Literal["start", "middle", "end"]


@dataclass(frozen=True, slots=True)
class Stroke:
    """Straight lines through points; ``closed`` joins the last to the first."""

    points: tuple[Point, ...]
    ink: str
    dashed: bool = False
    closed: bool = False
    bold: bool = False


@dataclass(frozen=True, slots=True)
class Dot:
    """A filled dot."""

    at: Point
    ink: str


@dataclass(frozen=True, slots=True)
class Words:
    """A word at a point of its base line."""

    at: Point
    text: str
    ink: str
    anchor: Anchor = "middle"


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture ``width`` by ``height`` with what is in it, in the order of drawing."""

    width: float
    height: float
    parts: tuple[Stroke | Dot | Words, ...]


@dataclass(frozen=True, slots=True)
class _Fit:
    """Maps the ski frame to the box."""

    left: float
    top: float
    scale: float

    def at(self, p: Point) -> Point:
        return (self.left + self.scale * p[0], self.top - self.scale * p[1])

    def x_mm(self, x: float) -> float:
        return (x - self.left) / self.scale


def picture_of(scene: Scene, width: float, height: float, label: str = "") -> Picture:
    """Lay a scene out as large as it fits; ``label`` is at the line of what is measured."""
    fit = _fitted(scene, width, height)
    parts: list[Stroke | Dot | Words] = []
    for level_mm, ink in scene.levels:
        parts += _level(scene, fit, width, level_mm, ink)
    for shape in (*scene.holes, *scene.shapes):
        parts.append(_part(shape, fit))
    if scene.span is not None:
        parts += _dimension(scene.span, fit, (width, height), label)
    return Picture(width, height, tuple(parts))


def _fitted(scene: Scene, width: float, height: float) -> _Fit:
    points = [*scene.frame, *(scene.span or ())]
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    below = DIMENSION_ROOM if scene.span is not None else 0.0
    wide, high = max(max(xs) - min(xs), 1e-6), max(max(ys) - min(ys), 1e-6)
    lettered = any(shape.kind == "letter" for shape in scene.shapes)
    margin = MARGIN + (0.8 * TEXT_SIZE if lettered else 0.0)
    scale = min((width - 2 * margin) / wide, (height - 2 * margin - below) / high)
    left = width / 2.0 - scale * (max(xs) + min(xs)) / 2.0
    top = (height - below) / 2.0 + scale * (max(ys) + min(ys)) / 2.0
    return _Fit(left, top, scale)


def _level(scene: Scene, fit: _Fit, width: float, level_mm: float, ink: str) -> list[Stroke]:
    run = []
    steps = BASE_STEPS if scene.base.radius_mm is not None else 1
    for i in range(steps + 1):
        x = width * i / steps
        y_mm = scene.base.y(fit.x_mm(x))
        if math.isfinite(y_mm):
            run.append((x, fit.at((0.0, y_mm + level_mm))[1]))
    if len(run) < 2:
        return []
    return [Stroke(tuple(run), ink, dashed=ink == FAINT, bold=ink == BASE)]


def _part(shape: Shape, fit: _Fit) -> Stroke | Dot | Words:
    points = tuple(fit.at(p) for p in shape.points)
    if shape.kind in ("dot", "mark"):
        return Dot(points[0], shape.ink)
    if shape.kind == "letter":
        x, y = _beyond(points[0], points[-1])
        return Words((x, y + TEXT_SIZE / 3.0), visible(shape.text, 2), shape.ink)
    closed = shape.kind == "outline"
    return Stroke(points, shape.ink, shape.dashed, closed, bold=shape.jaw)


def _beyond(end: Point, other: Point) -> Point:
    """Return a place a letter's size further on than the end of a line."""
    length = math.dist(end, other) or 1.0
    step = 0.6 * TEXT_SIZE / length
    return (end[0] + step * (end[0] - other[0]), end[1] + step * (end[1] - other[1]))


def _dimension(
    span: tuple[Point, Point], fit: _Fit, box: tuple[float, float], label: str
) -> list[Stroke | Dot | Words]:
    """Return the line with two arrows that says how far is measured, and its label."""
    (ax, ay), (bx, by) = fit.at(span[0]), fit.at(span[1])
    text = visible(label, LONGEST_LABEL)
    half = LETTER_WIDE * TEXT_SIZE * cells_of(text) / 2.0
    middle = min(max((ax + bx) / 2.0, half), max(box[0] - half, half))
    words = Words((middle, box[1] - MARGIN + 0.6), text, SPAN)
    if abs(bx - ax) < abs(by - ay):
        return [*_arrows((ax, ay), (bx, by)), words]
    y = box[1] - MARGIN - 3.4
    posts = [Stroke(((x, from_y), (x, y + 1.0)), FAINT) for x, from_y in ((ax, ay), (bx, by))]
    return [*posts, *_arrows((ax, y), (bx, y)), words]


def _arrows(a: Point, b: Point) -> list[Stroke | Dot | Words]:
    length = math.dist(a, b) or 1.0
    along = ((b[0] - a[0]) / length, (b[1] - a[1]) / length)
    out: list[Stroke | Dot | Words] = [Stroke((a, b), SPAN)]
    size = min(ARROW, length / 3.0)
    for tip, sense in ((a, 1.0), (b, -1.0)):
        ends = [
            (
                tip[0] + sense * size * (along[0] - side * 0.4 * along[1]),
                tip[1] + sense * size * (along[1] + side * 0.4 * along[0]),
            )
            for side in (1.0, -1.0)
        ]
        out.append(Stroke((ends[0], tip, ends[1]), SPAN))
    return out
