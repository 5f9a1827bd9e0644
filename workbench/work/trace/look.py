"""What is said of a file that is traced, as typed and understood, and what there is to see of it.

Places in a picture are its own, x right and y down; a drawing's are mm from its upper left corner.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Literal

from workbench.errors import InputError
from workbench.fin.blade import LARGEST_MM, SMALLEST_MM, Edge
from workbench.fin.frame import Point
from workbench.fin.trace.traced import Traced
from workbench.frozen import dataclass
from workbench.measure.display import length_text
from workbench.measure.lengths import parse_length
from workbench.measure.units import Unit
from workbench.work.drawing.layout import ASPECT, Picture, Stroke, Words, plain_lines
from workbench.work.drawing.scene import FAINT, LIT, NOW
from workbench.work.text.fields import Field

DPI = (75.0, 4800.0)

ASKED = (
    Field("file", "File", "PNG, JPEG, TIFF, SVG, DXF or CSV", "FILE"),
    Field("dpi", "Dpi", "a picture's scale: dots per inch of a flatbed scan", "N", ""),
    Field(
        "across", "Across", "a picture's scale: the blade's length along its top edge, by caliper",
        "LENGTH", "",
    ),
    Field(
        "square", "Square", "a picture's scale: side of a square in view, which undoes a tilt",
        "LENGTH", "",
    ),
    Field("unit", "Unit", "in or mm, of bare numbers", "UNIT", "the bench's, or the drawing's own"),
    Field("name", "Blade", "its name; one that is there: a new version", "NAME", "the file's"),
)  # fmt: skip
"""What is asked about a file that is traced."""


@dataclass(frozen=True, slots=True)
class PictureScale:
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


@dataclass(frozen=True, slots=True)
class Ask:
    """What is said about a file beside its path, as typed: one scale of a picture, the unit of bare
    lengths (None: inch, or a drawing's own), and which sides are top and back edge: ``edges`` is
    the number of the choice (blank: the likeliest), ``other_end`` the other end of its top edge."""

    dpi: str = ""
    across: str = ""
    square: str = ""
    unit: Unit | None = None
    edges: str = ""
    other_end: bool = False

    @property
    def scales(self) -> list[str]:
        """The scales that are given, as options."""
        every = (("--dpi", self.dpi), ("--across", self.across), ("--square", self.square))
        return [key for key, text in every if text]

    def scale(self) -> tuple[PictureScale | None, str]:
        """Return the scale as understood, None where there is none, and how it is told.

        Raises:
            InputError: two of them, or what is no number or length.
        """
        given = self.scales
        if len(given) > 1:
            raise InputError(" ".join(given), "together", "one of --dpi, --across and --square")
        unit = self.unit or "in"
        if self.dpi:
            try:
                dpi = float(self.dpi)
            except ValueError:
                accepted = "a number of dots per inch, such as 600"
                raise InputError("--dpi", self.dpi, accepted) from None
            return PictureScale("dpi", dpi), f"scan at {dpi:g} dpi"
        if self.across:
            mm = parse_length(self.across, unit, "--across").mm
            return PictureScale("across", mm), f"picture, {_told(self.across, unit)} across"
        if self.square:
            mm = parse_length(self.square, unit, "--square").mm
            told = f"photo beside a square of {_told(self.square, unit)}"
            return PictureScale("square", mm), told
        return None, ""


def _told(text: str, unit: Unit) -> str:
    """Return a length as typed, with its unit."""
    return f"{text} {unit}" if text.strip()[-1:].isdigit() else text


# -- what there is to see --------------------------------------------------------------------------

Matrix = tuple[float, ...]
"""Nine numbers, row by row, that take (x, y, 1) to another place (a homography)."""

AROUND = 0.06
"""Room left around a drawing, as a share of its longer side."""

MOST_ROWS = 22
"""Rows of the drawing in letters."""

_LEGEND = "t along the top edge   b along the back edge   digits: holes"

_BAYER = ((0, 8, 2, 10), (12, 4, 14, 6), (3, 11, 1, 9), (15, 7, 13, 5))
"""B. E. Bayer, IEEE Int. Conf. Commun. 1 (1973) 26-11: thresholds of an ordered dither, of 16."""

FULL = 0.4
"""The share of dots drawn where the picture differs most from its ground: lines stay visible."""


@dataclass(frozen=True, slots=True)
class Thumb:
    """A picture made small, to be shown: rows of how far (0 to 255) each place differs from the
    picture's ground, a place ``per`` of the picture's pixels large."""

    stands_out: tuple[bytes, ...]
    per: float


@dataclass(frozen=True, slots=True)
class Ground:
    """Where a trace lies: the size of its picture, the picture itself (a drawing has none), and
    what takes the unframed outline's places to the picture's."""

    width: float
    height: float
    to_picture: Matrix
    thumb: Thumb | None = None

    def at(self, p: Point) -> Point:
        """Return where a place of the unframed outline is in the picture."""
        a, b, c, d, e, f, g, h, i = self.to_picture
        w = g * p[0] + h * p[1] + i
        return ((a * p[0] + b * p[1] + c) / w, (d * p[0] + e * p[1] + f) / w)


@dataclass(frozen=True, slots=True)
class Look:
    """What is to be seen at one step: what is being done, and the picture with its lines."""

    words: str
    picture: Picture
    thumb: Thumb | None = None


Told = Callable[[Look], None]
"""Is told of each step; what it raises ends the trace."""


def nothing(look: Look) -> None:
    """Ignore a step."""


def ground_of(rings: Sequence[Sequence[Point]], *, y_up: bool) -> Ground:
    """Return where a drawing's lines (mm) lie, with room around them."""
    xs = [p[0] for ring in rings for p in ring]
    ys = [p[1] for ring in rings for p in ring]
    room = AROUND * max(max(xs) - min(xs), max(ys) - min(ys))
    wide, high = max(xs) - min(xs) + 2.0 * room, max(ys) - min(ys) + 2.0 * room
    sign, top = (-1.0, max(ys) + room) if y_up else (1.0, room - min(ys))
    return Ground(wide, high, (1.0, 0.0, room - min(xs), 0.0, sign, top, 0.0, 0.0, 1.0))


def look_at_rings(words: str, ground: Ground, rings: Sequence[Sequence[Point]]) -> Look:
    """Return what is seen while only edges are known (in the picture's places)."""
    parts = tuple(Stroke(tuple(ring), NOW, closed=True) for ring in rings if len(ring) > 1)
    return Look(words, Picture(ground.width, ground.height, parts), ground.thumb)


def look_at(traced: Traced, ground: Ground, unit: Unit) -> Look:
    """Return what is seen of a finished trace: outline, holes, top and back edge by name."""
    blade = traced.blade

    def named(name: str, mm: float) -> str:
        return f"{name} {length_text(mm, unit)}"

    shape = traced.unframed
    edges = shape.choices[traced.choice]
    parts: list[Stroke | Words] = [
        Stroke(tuple(map(ground.at, shape.outline_mm)), NOW, closed=True)
    ]
    parts += [
        Stroke(tuple(map(ground.at, _circle(h.at_mm, h.diameter_mm))), FAINT, closed=True)
        for h in shape.holes
    ]
    for edge in (edges.top, edges.back):
        parts.append(Stroke((ground.at(edge[0]), ground.at(edge[1])), LIT, bold=True))
    for hole, name in zip(shape.holes, traced.hole_names, strict=True):
        parts.append(Words(ground.at(hole.at_mm), name, FAINT))
    ends = ((edges.top, blade.top_edge_mm, "top"), (edges.back, blade.back_edge_mm, "back"))
    for edge, edge_mm, name in ends:
        parts.append(Words(ground.at(_middle(edge)), named(name, math.dist(*edge_mm)), LIT))
    return Look("", Picture(ground.width, ground.height, tuple(parts)), ground.thumb)


def _middle(edge: Edge) -> Point:
    return ((edge[0][0] + edge[1][0]) / 2.0, (edge[0][1] + edge[1][1]) / 2.0)


def _circle(at: Point, diameter: float, n: int = 24) -> list[Point]:
    turns = (2.0 * math.pi * k / n for k in range(n))
    r = diameter / 2.0
    return [(at[0] + r * math.cos(a), at[1] + r * math.sin(a)) for a in turns]


def plain_look(look: Look, columns: int) -> list[str]:
    """Return a look as lines of letters, at most so many columns wide, with what they mean."""
    wide, high = look.picture.width, look.picture.height
    per = min((columns - 1) / wide, ASPECT * (MOST_ROWS - 1) / high)

    def at(p: Point) -> Point:
        return (p[0] * per, p[1] * per)

    parts = tuple(
        replace(part, points=tuple(map(at, part.points)))
        if isinstance(part, Stroke)
        else replace(part, at=(at(part.at)[0], at(part.at)[1] + ASPECT / 2.0))
        for part in look.picture.parts
        if isinstance(part, Stroke | Words)
    )
    size = math.ceil(wide * per) + 1.0, ASPECT * (math.ceil(high * per / ASPECT) + 1)
    return [*plain_lines(Picture(*size, parts)), _LEGEND]


def dots_of(look: Look, wide: int, high: int, per: float, squash: float) -> list[tuple[int, int]]:
    """Return which of ``wide`` x ``high`` dots show the picture itself, by an ordered dither.

    ``per`` are dots for one of the picture's pixels across, ``squash`` how many times wider than
    high a dot is.
    """
    thumb = look.thumb
    if thumb is None:
        return []
    rows, step = thumb.stands_out, 1.0 / (per * thumb.per)
    out = []
    for y in range(min(high, int(len(rows) / (step * squash)))):
        row = rows[int((y + 0.5) * squash * step)]
        limits = [(b + 0.5) / (16.0 * FULL) * 255.0 for b in _BAYER[y % 4]]
        out += [
            (x, y)
            for x in range(min(wide, int(len(row) / step)))
            if row[int((x + 0.5) * step)] > limits[x % 4]
        ]
    return out
