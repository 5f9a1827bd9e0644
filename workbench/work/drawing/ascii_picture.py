"""A drawing in plain ASCII, for a printer that has letters alone: the same parts as on a page."""

from __future__ import annotations

import math
from itertools import pairwise

from workbench.fin.frame import Point
from workbench.work.drawing.layout import (
    Dot,
    Picture,
    Stroke,
    Words,
    picture_of,
)
from workbench.work.drawing.scene import (
    BASE,
    FAINT,
    READING,
    Scene,
    line_glyph,
)

ASPECT = 2.0
"""How many times as high as it is wide a letter of a fixed-width page is."""

MOST_COLUMNS, MOST_ROWS = 56, 13
_GLYPHS = {BASE: "=", FAINT: "."}
"""Lines that are drawn by one sign; all others by signs that lie as they do."""

LEGEND = "= base   o where a jaw touched   + where a stud touches   . hole"


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
            _stroke(cells, part)
        elif isinstance(part, Dot):
            cells[_cell(part.at)] = "o" if part.ink == READING else "+"
        else:
            cells[_cell((part.at[0], part.at[1] - ASPECT / 2.0))] = _ascii(part.text)
    return _lines(cells, picture)


def _rank(part: Stroke | Dot | Words) -> tuple[bool, bool]:
    """Return what sorts lines before dots, and holes and base before the blade."""
    return not isinstance(part, Stroke), part.ink not in _GLYPHS


def _stroke(cells: dict[tuple[int, int], str], part: Stroke) -> None:
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
