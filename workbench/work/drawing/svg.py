"""Drawings as SVG: the side view as a file of its own, and pictures inside a page.

Only our own shapes and escaped text are written: no script, no link, nothing from outside.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape

from workbench.fin.frame import Point
from workbench.work.drawing.layout import (
    SPAN,
    TEXT_SIZE,
    Dot,
    Picture,
    Stroke,
    Words,
    picture_of,
)
from workbench.work.drawing.scene import (
    BASE,
    FAINT,
    NOW,
    READING,
    STUD,
    WANTED,
    Scene,
)

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
    write: dict[type, Callable[..., str]] = {Stroke: _stroke, Dot: _dot, Words: _words}
    return "".join(f"{write[type(part)](part)}\n" for part in picture.parts)


def _stroke(part: Stroke) -> str:
    colour, width = INKS[part.ink]
    tag = "polygon" if part.closed else "polyline"
    dash = ' stroke-dasharray="2 1.4"' if part.dashed else ""
    return (
        f'<{tag} points="{_points(part.points)}" fill="none" stroke="{colour}" '
        f'stroke-width="{_n(width * (BOLD if part.bold else 1.0))}"{dash}/>'
    )


def _dot(part: Dot) -> str:
    x, y = part.at
    return f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(DOT_RADIUS)}" fill="{INKS[part.ink][0]}"/>'


def _words(part: Words) -> str:
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
