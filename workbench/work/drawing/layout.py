"""A scene laid out in a box of a page, and written as SVG or in plain letters.

Strokes, dots and words are in the box's own units, y down.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from html import escape
from itertools import pairwise
from typing import Literal, assert_never

from workbench.fin.frame import Point
from workbench.work.drawing.scene import (
    BASE,
    FAINT,
    NOW,
    READING,
    STUD,
    WANTED,
    Scene,
    Shape,
    line_glyph,
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
    match shape.kind:
        case "dot" | "mark":
            return Dot(points[0], shape.ink)
        case "letter":
            x, y = _beyond(points[0], points[-1])
            return Words((x, y + TEXT_SIZE / 3.0), visible(shape.text, 2), shape.ink)
        case "line" | "outline":
            closed = shape.kind == "outline"
            return Stroke(points, shape.ink, shape.dashed, closed, bold=shape.jaw)
        case _:
            assert_never(shape.kind)


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


# -- as SVG: only our own shapes and escaped text, no script, no link, nothing from outside --------

INKS: dict[str, tuple[str, float]] = {
    NOW: ("#000000", 0.45),
    WANTED: ("#1a4f9c", 0.45),
    BASE: ("#000000", 0.3),
    STUD: ("#555555", 0.4),
    READING: ("#b00020", 0.4),
    FAINT: ("#777777", 0.2),
    SPAN: ("#b00020", 0.3),
}
"""Colour and stroke width of each ink, in the picture's units; shape and dash tell them apart
too."""

BOLD = 1.8
DOT_RADIUS = 0.8
SIDE_SIZE = (180.0, 95.0)
"""Width and height (mm) of the side view as a file of its own."""


def svg_file(scene: Scene, title: str, notes: Sequence[str]) -> str:
    """Return a scene as a whole SVG file with a title above and lines of words below it."""
    width, height = SIDE_SIZE
    head, foot = 8.0, 3.0 + 4.5 * len(notes)
    words = "".join(
        f'<text x="3" y="{_n(height + 3.0 + 4.5 * i)}" font-size="3.2">{escape(note)}</text>\n'
        for i, note in enumerate(notes)
    )
    inner = svg_parts(picture_of(scene, width, height))
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_n(width)}mm" '
        f'height="{_n(height + head + foot)}mm" '
        f'viewBox="0 {_n(-head)} {_n(width)} {_n(height + head + foot)}" '
        'font-family="sans-serif">\n'
        f"<title>{escape(title)}</title>\n"
        f'<rect x="0" y="{_n(-head)}" width="{_n(width)}" height="{_n(height + head + foot)}" '
        'fill="#ffffff"/>\n'
        f'<text x="3" y="-2.5" font-size="4.2" font-weight="bold">{escape(title)}</text>\n'
        f"{inner}"
        f"{words}"
        "</svg>\n"
    )


def svg_inline(picture: Picture, words: str) -> str:
    """Return a picture as an SVG element of a page; ``words`` describe it for those who listen."""
    return (
        f'<svg viewBox="0 0 {_n(picture.width)} {_n(picture.height)}" role="img" '
        f'aria-label="{escape(words)}">\n{svg_parts(picture)}</svg>'
    )


def svg_parts(picture: Picture) -> str:
    """Return the elements of a picture, one a line."""
    write: dict[type, Callable[..., str]] = {Stroke: _svg_stroke, Dot: _svg_dot, Words: _svg_words}
    return "".join(f"{write[type(part)](part)}\n" for part in picture.parts)


def _svg_stroke(part: Stroke) -> str:
    colour, width = INKS[part.ink]
    tag = "polygon" if part.closed else "polyline"
    dash = ' stroke-dasharray="2 1.4"' if part.dashed else ""
    return (
        f'<{tag} points="{_points(part.points)}" fill="none" stroke="{colour}" '
        f'stroke-width="{_n(width * (BOLD if part.bold else 1.0))}"{dash}/>'
    )


def _svg_dot(part: Dot) -> str:
    x, y = part.at
    return f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(DOT_RADIUS)}" fill="{INKS[part.ink][0]}"/>'


def _svg_words(part: Words) -> str:
    x, y = part.at
    return (
        f'<text x="{_n(x)}" y="{_n(y)}" font-size="{_n(TEXT_SIZE)}" '
        f'text-anchor="{part.anchor}" fill="{INKS[part.ink][0]}">{escape(part.text)}</text>'
    )


def _points(points: tuple[Point, ...]) -> str:
    return " ".join(f"{_n(x)},{_n(y)}" for x, y in points)


def _n(value: float) -> str:
    """Return a number as SVG writes it, at most a hundredth fine, never with an exponent."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


# -- in plain ASCII, for a printer that has letters alone -----------------------------------------

ASPECT = 2.0
"""How many times as high as it is wide a letter of a fixed-width page is."""

MOST_COLUMNS, MOST_ROWS = 56, 13
_GLYPHS = {BASE: "=", FAINT: "."}
"""Lines that are drawn by one sign; all others by signs that lie as they do."""

PLAIN_LEGEND = "= base   o where a jaw touched   + where a stud touches   . hole"


def plain_picture(scene: Scene, width: int) -> list[str]:
    """Return a scene as lines of at most ``width`` columns, small."""
    columns = min(width, MOST_COLUMNS)
    return plain_lines(picture_of(scene, float(columns), ASPECT * MOST_ROWS))


def plain_lines(picture: Picture) -> list[str]:
    """Return a picture, one of its units to a column, as lines of letters; words as their first.

    Blanks at the ends of lines and empty lines above and below are left out.
    """
    cells: dict[tuple[int, int], str] = {}
    for part in sorted(picture.parts, key=_rank):
        if isinstance(part, Stroke):
            _draw(cells, part)
        elif isinstance(part, Dot):
            cells[_cell(part.at)] = "o" if part.ink == READING else "+"
        else:
            cells[_cell((part.at[0], part.at[1] - ASPECT / 2.0))] = _ascii(part.text)
    return _lines(cells, picture)


def _rank(part: Stroke | Dot | Words) -> tuple[bool, bool]:
    """Return what sorts lines before dots, and holes and base before the blade."""
    return not isinstance(part, Stroke), part.ink not in _GLYPHS


def _draw(cells: dict[tuple[int, int], str], part: Stroke) -> None:
    points = [*part.points, part.points[0]] if part.closed else part.points
    for a, b in pairwise(points):
        glyph = _GLYPHS.get(part.ink) or line_glyph(b[0] - a[0], (b[1] - a[1]) / ASPECT)
        steps = max(math.ceil(2.0 * max(abs(b[0] - a[0]), abs(b[1] - a[1]))), 1)
        for i in range(steps + 1):
            t = i / steps
            cells[_cell((a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])))] = glyph


def _cell(at: Point) -> tuple[int, int]:
    return math.floor(at[0]), math.floor(at[1] / ASPECT)


def _ascii(text: str) -> str:
    first = text[:1]
    return first if first.isascii() and first.isprintable() else "?"


def _lines(cells: dict[tuple[int, int], str], picture: Picture) -> list[str]:
    columns, rows = int(picture.width), int(picture.height / ASPECT)
    lines = ["".join(cells.get((x, y), " ") for x in range(columns)).rstrip() for y in range(rows)]
    drawn = [i for i, line in enumerate(lines) if line]
    return lines[drawn[0] : drawn[-1] + 1] if drawn else []
