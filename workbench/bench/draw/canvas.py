"""A small canvas of terminal cells: lines and letters in braille, block or ASCII characters."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from typing import Literal

from rich.cells import cell_len
from textual.content import Content

from workbench.bench.draw.text import styled
from workbench.errors import InputError
from workbench.frozen import dataclass
from workbench.work.drawing.scene import line_glyph

Mode = Literal["braille", "block", "ascii"]
Ink = int | str
XY = tuple[float, float]

DOTS: dict[Mode, tuple[int, int]] = {"braille": (2, 4), "block": (2, 2), "ascii": (1, 1)}
"""Dots across and down one cell."""

CELL_ASPECT = 2.0
"""A terminal cell's height over its width."""

_NEAR = 1e-6
HALF = 0.5 + _NEAR
"""From here on a place belongs to the next dot. A little more than a half: drawings put corners
right between two dots, where the last digit of a sine would decide."""

LARGEST_CELLS = 4000
"""More cells a side than any screen or page has."""

_QUADRANTS = " ▘▝▀▖▌▞▛▗▚▐▜▄▙▟█"
_BRAILLE = ((0x01, 0x02, 0x04, 0x40), (0x08, 0x10, 0x20, 0x80))
_DASH: dict[Mode, tuple[float, float]] = {"braille": (4, 3), "block": (2, 2), "ascii": (1, 1)}


@dataclass(frozen=True, slots=True)
class Area:
    """The room a drawing has, in cells across and down, and the signs it is drawn with."""

    width: int
    height: int
    mode: Mode = "braille"


def color_of(ink: Ink | None) -> str:
    """Return the theme's color of an ink."""
    return f"$ink-{ink}" if ink else ""


class Canvas:
    """Cells to draw on. Lines are in dots (x right, y down; dot 0 is centred on 0), text in cells.

    Whatever lies outside is cut off. In each cell the ink that came last wins.

    Raises:
        InputError: an odd size or mode, or a coordinate that is no finite number.
    """

    def __init__(self, width_cells: int, height_cells: int, mode: Mode = "braille") -> None:
        for side, cells in (("width", width_cells), ("height", height_cells)):
            if not 1 <= cells <= LARGEST_CELLS:
                raise InputError(f"canvas {side}", cells, f"1 to {LARGEST_CELLS} cells")
        if mode not in DOTS:
            raise InputError("canvas mode", mode, "braille, block or ascii")
        self.width, self.height, self.mode = width_cells, height_cells, mode
        across, down = DOTS[mode]
        self.dots_wide, self.dots_high = width_cells * across, height_cells * down
        self._dots: dict[tuple[int, int], tuple[Ink, str]] = {}
        self._letters: dict[tuple[int, int], str] = {}
        self._inks: dict[tuple[int, int], Ink] = {}

    def dot(self, x: float, y: float, ink: Ink, glyph: str = "o") -> None:
        """Set one dot; ``glyph`` is what it looks like in ASCII."""
        _check(x, y)
        if -0.5 <= x < self.dots_wide - 0.5 and -0.5 <= y < self.dots_high - 0.5:
            self._set(x, y, ink, glyph)

    def line(
        self, x0: float, y0: float, x1: float, y1: float, ink: Ink, glyph: str | None = None
    ) -> None:
        """Draw a straight line, both ends included."""
        self._stroke((x0, y0), (x1, y1), ink, glyph, None, 0.0)

    def dashed(
        self, x0: float, y0: float, x1: float, y1: float, ink: Ink, phase: float = 0.0
    ) -> float:
        """Draw a dashed line that begins ``phase`` dots into its pattern; return where it ends."""
        return self._stroke((x0, y0), (x1, y1), ink, ".", _DASH[self.mode], phase)

    def polyline(self, points: Sequence[XY], ink: Ink, dashed: bool = False) -> None:
        """Draw straight lines from point to point, the dashes running on around the corners."""
        phase = 0.0
        for (x0, y0), (x1, y1) in itertools.pairwise(points):
            if dashed:
                phase = self.dashed(x0, y0, x1, y1, ink, phase)
            else:
                self.line(x0, y0, x1, y1, ink)

    def polygon(self, points: Sequence[XY], ink: Ink, dashed: bool = False) -> None:
        """Draw the closed outline through these points."""
        self.polyline([*points, *points[:1]], ink, dashed)

    def text(self, col: int, row: int, string: str, ink: Ink) -> None:
        """Write ``string`` into the cells from (col, row) on; letters stand over dots.

        A character that takes no cell, or that ASCII does not have in that mode, shows as ``?``.
        """
        for char in string:
            wide = cell_len(char)
            if not char.isprintable() or wide < 1 or (self.mode == "ascii" and not char.isascii()):
                char, wide = "?", 1
            if 0 <= row < self.height and col >= 0 and col + wide <= self.width:
                self._write(col, row, char, wide, ink)
            col += wide

    @property
    def squash(self) -> float:
        """How many times wider than high a dot is."""
        across, down = DOTS[self.mode]
        return across * CELL_ASPECT / down

    def cell(self, at: XY) -> tuple[int, int]:
        """Return column and row of the cell that a place in dots lies in."""
        across, down = DOTS[self.mode]
        return math.floor((at[0] + HALF) / across), math.floor((at[1] + HALF) / down)

    def letters(self, at: XY, text: str, ink: Ink, before: int = 0) -> None:
        """Write at a place in dots, ``before`` of the letters left of it, kept inside the sides."""
        across, down = DOTS[self.mode]
        col = min(max(round(at[0] / across) - before, 0), max(self.width - len(text), 0))
        self.text(col, min(max(round(at[1] / down), 0), self.height - 1), text, ink)

    def dots_of(self, ink: Ink) -> set[tuple[int, int]]:
        """Return the dots (x, y) that were last set in this ink."""
        return {at for at, (had, _) in self._dots.items() if had == ink}

    def rows(self) -> list[list[tuple[str, Ink | None]]]:
        """Return each row of cells from the top as runs of one ink; empty cells have none."""
        cells = self._cells()
        out = []
        for row in range(self.height):
            line = [
                (cells.get((col, row), " "), self._inks.get((col, row)))
                for col in range(self.width)
            ]
            runs = itertools.groupby(line, key=lambda cell: cell[1])
            out.append([("".join(char for char, _ in run), ink) for ink, run in runs])
        return out

    def contents(self, style_of: Callable[[Ink | None], str] = color_of) -> list[Content]:
        """Return each row of cells in the styles of its inks."""
        return [styled(*((text, style_of(ink)) for text, ink in row)) for row in self.rows()]

    def plain(self) -> str:
        """Return the picture without ink, one line a row, blanks at the right left out."""
        return "\n".join("".join(text for text, _ in row).rstrip() for row in self.rows())

    def _stroke(
        self,
        start: XY,
        end: XY,
        ink: Ink,
        glyph: str | None,
        dash: tuple[float, float] | None,
        phase: float,
    ) -> float:
        _check(*start, *end)
        length = math.hypot(end[0] / 4 - start[0] / 4, end[1] / 4 - start[1] / 4)
        after = phase
        if dash is not None:
            after = math.fmod(phase + 4.0 * math.fmod(length, sum(dash) / 4.0), sum(dash))
        part = clipped(start, end, self.dots_wide, self.dots_high)
        if part is None:
            return after
        (x0, y0), (x1, y1), begin = part
        shape = glyph or line_glyph(x1 - x0, y1 - y0)
        if dash is not None:
            phase += math.fmod(begin * length, sum(dash) / 4.0) * 4.0
        steps = max(1, math.ceil(max(abs(x1 - x0), abs(y1 - y0)) - _NEAR))
        step = math.hypot(x1 - x0, y1 - y0) / steps
        for i in range(steps + 1):
            if dash is not None and math.fmod(phase + i * step, sum(dash)) >= dash[0]:
                continue
            t = i / steps
            self._set(x0 + t * (x1 - x0), y0 + t * (y1 - y0), ink, shape)
        return after

    def _set(self, x: float, y: float, ink: Ink, glyph: str) -> None:
        col = min(max(math.floor(x + HALF), 0), self.dots_wide - 1)
        row = min(max(math.floor(y + HALF), 0), self.dots_high - 1)
        self._dots[col, row] = (ink, glyph)
        across, down = DOTS[self.mode]
        cell = (col // across, row // down)
        if cell not in self._letters:
            self._inks[cell] = ink

    def _write(self, col: int, row: int, char: str, wide: int, ink: Ink) -> None:
        for at in range(col, col + wide):
            self._split(at, row)
        self._letters[col, row] = char
        self._inks[col, row] = ink
        if wide == 2:
            self._letters[col + 1, row] = ""
            self._inks[col + 1, row] = ink

    def _split(self, col: int, row: int) -> None:
        """Blank the other half of a wide letter whose one half is written over."""
        if self._letters.get((col, row)) == "":
            self._letters[col - 1, row] = " "
        if self._letters.get((col + 1, row)) == "":
            self._letters[col + 1, row] = " "

    def _cells(self) -> dict[tuple[int, int], str]:
        across, down = DOTS[self.mode]
        if self.mode == "ascii":
            shapes = {at: glyph for at, (_, glyph) in self._dots.items()}
            return {**shapes, **self._letters}
        bits: dict[tuple[int, int], int] = {}
        for x, y in self._dots:
            cell, i, j = (x // across, y // down), x % across, y % down
            bit = _BRAILLE[i][j] if self.mode == "braille" else 1 << (i + 2 * j)
            bits[cell] = bits.get(cell, 0) | bit
        if self.mode == "braille":
            drawn = {cell: chr(0x2800 + mask) for cell, mask in bits.items()}
        else:
            drawn = {cell: _QUADRANTS[mask] for cell, mask in bits.items()}
        return {**drawn, **self._letters}


def clipped(start: XY, end: XY, wide: int, high: int) -> tuple[XY, XY, float] | None:
    """Return the part of a line within the dots 0..wide-1, 0..high-1 and the share before it.

    Liang and Barsky's method; everything is quartered first so that no difference overflows.
    """
    ax, ay, bx, by = (c / 4.0 for c in (*start, *end))
    enter, leave = 0.0, 1.0
    for a, b, count in ((ax, bx, wide), (ay, by, high)):
        lo, hi = -0.125, (count - 0.5) / 4.0
        if a == b:
            if not lo <= a <= hi:
                return None
            continue
        first, last = sorted(((lo - a) / (b - a), (hi - a) / (b - a)))
        enter, leave = max(enter, first), min(leave, last)
    if enter > leave:
        return None
    return _along(start, end, enter), _along(start, end, leave), enter


def _along(start: XY, end: XY, t: float) -> XY:
    return (start[0] * (1.0 - t) + end[0] * t, start[1] * (1.0 - t) + end[1] * t)


def _check(*coordinates: float) -> None:
    for value in coordinates:
        if not math.isfinite(value):
            raise InputError("canvas coordinate", value, "a finite number of dots")
