"""A page of PDF: words, lines and pictures in mm from its upper left corner.

The fonts are the ones that reportlab brings; a letter that they lack is written out as an escape,
such as ``\\u0416``, and the page says so. reportlab is an extra and is imported when used.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from importlib import import_module
from importlib.util import find_spec
from typing import Any, Literal

from workbench.errors import InputError
from workbench.fin.frame import Point
from workbench.work.drawing.layout import (
    BOLD,
    DOT_RADIUS,
    INKS,
    TEXT_SIZE,
    Dot,
    Picture,
    Stroke,
)
from workbench.work.text.safe_text import units, written_out

Paper = Literal["a4", "letter"]
SIZES_MM: dict[Paper, tuple[float, float]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
MARGIN_MM = 10.0
BLACK = "#000000"
PT_PER_MM = 72.0 / 25.4
LEADING = 1.28
"""From one line of words to the next, in heights of the font."""

PLAIN, STRONG = "Vera", "VeraBd"
STRANGE = "Letters that this page's font lacks are written as \\u and their Unicode number."
PDF_EXTRA = "reportlab, which is not installed: pip install '.[pdf]'"


def has_pdf() -> bool:
    """Tell whether PDF can be written here."""
    try:
        return find_spec("reportlab") is not None
    except (ImportError, ValueError):
        return False


class PdfPage:
    """One or more pages under way; ``size`` is the height of its words in points.

    ``strange`` tells whether a letter had to be written out.

    Raises:
        InputError: reportlab is not installed; says how to get it.
    """

    def __init__(self, title: str, paper: Paper, size: float, *, landscape: bool = False) -> None:
        try:
            canvas = import_module("reportlab.pdfgen.canvas")
        except ImportError:
            raise InputError("format", "pdf", PDF_EXTRA) from None
        wide, high = SIZES_MM[paper]
        self.width, self.height = (high, wide) if landscape else (wide, high)
        self.size = size
        self.strange = False
        self._known = _fonts()
        self._file = io.BytesIO()
        points = (self.width * PT_PER_MM, self.height * PT_PER_MM)
        # invariant: the same card gives the same file, byte for byte
        self._canvas: Any = canvas.Canvas(self._file, pagesize=points, invariant=1)
        self._canvas.setTitle(self.drawable(title))
        self._canvas.setCreator("Quarterturn")

    @property
    def inner(self) -> float:
        """The width between the margins."""
        return self.width - 2.0 * MARGIN_MM

    @property
    def line(self) -> float:
        """From one line of words to the next."""
        return self.size * LEADING / PT_PER_MM

    def drawable(self, text: str) -> str:
        """Return text with every letter that the fonts lack written out."""
        out = []
        for unit in units(text):
            for char in unit:
                known = ord(char) in self._known
                self.strange = self.strange or not known
                out.append(char if known else _escape(char))
        return "".join(out)

    def measure(self, text: str, scale: float = 1.0, strong: bool = False) -> float:
        """Return how wide drawable text is."""
        font = STRONG if strong else PLAIN
        return float(self._canvas.stringWidth(text, font, self.size * scale)) / PT_PER_MM

    def folded(
        self, text: str, width: float, scale: float = 1.0, strong: bool = False
    ) -> list[str]:
        """Return text as drawable lines of at most ``width``, broken at spaces where it can be."""
        lines, line = [], ""
        for word in self.drawable(text).split():
            for piece in self._pieces(word, width, scale, strong):
                longer = f"{line} {piece}" if line else piece
                if line and self.measure(longer, scale, strong) > width:
                    lines.append(line)
                    longer = piece
                line = longer
        return [*lines, line]

    def shortened(self, text: str, width: float) -> str:
        """Return text on one line of at most ``width``, ending in … where it was cut."""
        drawable = self.drawable(text)
        if self.measure(drawable) <= width:
            return drawable
        while drawable and self.measure(drawable + "…") > width:
            drawable = drawable[:-1]
        return drawable + "…"

    def _pieces(self, word: str, width: float, scale: float, strong: bool) -> list[str]:
        """Cut a word that is wider than its column."""
        if self.measure(word, scale, strong) <= width:
            return [word]
        pieces, piece = [], ""
        for char in word:
            if piece and self.measure(piece + char, scale, strong) > width:
                pieces.append(piece)
                piece = ""
            piece += char
        return [*pieces, piece]

    def words(
        self,
        at: Point,
        text: str,
        *,
        scale: float = 1.0,
        strong: bool = False,
        anchor: str = "start",
        colour: str = BLACK,
    ) -> None:
        """Write one line of words whose base line is at ``at``, at its ``anchor``."""
        self._canvas.setFont(STRONG if strong else PLAIN, self.size * scale)
        self._canvas.setFillColor(colour)
        drawable = self.drawable(text)
        write = {
            "start": self._canvas.drawString,
            "middle": self._canvas.drawCentredString,
            "end": self._canvas.drawRightString,
        }[anchor]
        write(*self._at(at), drawable)

    def block(
        self,
        x: float,
        y: float,
        text: str,
        width: float,
        *,
        scale: float = 1.0,
        strong: bool = False,
    ) -> float:
        """Write words from the top ``y`` down, at most ``width`` wide; return where they end."""
        step = self.line * scale
        for line in self.folded(text, width, scale, strong):
            self.words((x, y + 0.78 * step), line, scale=scale, strong=strong)
            y += step
        return y

    def rule(self, x0: float, y0: float, x1: float, y1: float, width: float = 0.25) -> None:
        """Draw a straight line."""
        self._pen(BLACK, width)
        self._canvas.line(*self._at((x0, y0)), *self._at((x1, y1)))

    def box(self, x: float, y: float, wide: float, high: float, fill: bool = False) -> None:
        """Draw a rectangle, in black where it is filled."""
        self._pen(BLACK, 0.35)
        self._canvas.setFillColor(BLACK)
        left, low = self._at((x, y + high))
        size = (wide * PT_PER_MM, high * PT_PER_MM)
        self._canvas.rect(left, low, *size, stroke=1, fill=int(fill))

    def code(self, code: Sequence[Sequence[bool]], x: float, y: float, side: float) -> None:
        """Draw a QR code, its dark modules true, with its upper left corner at (x, y)."""
        module = side / len(code)
        # One path, so that no seam shows between two modules.
        path = self._canvas.beginPath()
        for i, row in enumerate(code):
            for j, dark in enumerate(row):
                if dark:
                    left, low = self._at((x + j * module, y + (i + 1) * module))
                    path.rect(left, low, module * PT_PER_MM, module * PT_PER_MM)
        self._canvas.setFillColor(BLACK)
        self._canvas.drawPath(path, stroke=0, fill=1)

    def picture(self, picture: Picture, x: float, y: float) -> None:
        """Draw a picture with its upper left corner at (x, y), one of its units to a mm."""
        for part in picture.parts:
            colour, width = INKS[part.ink]
            if isinstance(part, Stroke):
                points = [(x + px, y + py) for px, py in part.points]
                width *= BOLD if part.bold else 1.0
                self.path(points, width, colour, closed=part.closed, dashed=part.dashed)
                continue
            place = x + part.at[0], y + part.at[1]
            if isinstance(part, Dot):
                self._pen(colour, 0.1)
                self._canvas.setFillColor(colour)
                self._canvas.circle(*self._at(place), DOT_RADIUS * PT_PER_MM, stroke=0, fill=1)
            else:
                scale = TEXT_SIZE * PT_PER_MM / self.size
                self.words(place, part.text, scale=scale, anchor=part.anchor, colour=colour)

    def next_page(self) -> None:
        """Go on on a fresh page."""
        self._canvas.showPage()

    def finished(self) -> bytes:
        """Return the file."""
        self._canvas.save()
        return self._file.getvalue()

    def path(
        self,
        points: Sequence[Point],
        width: float,
        colour: str = BLACK,
        *,
        closed: bool = False,
        dashed: bool = False,
    ) -> None:
        """Draw straight lines from point to point."""
        self._pen(colour, width, dashed)
        path = self._canvas.beginPath()
        first, *rest = (self._at(p) for p in points)
        path.moveTo(*first)
        for point in rest:
            path.lineTo(*point)
        if closed:
            path.close()
        self._canvas.drawPath(path, stroke=1, fill=0)

    def circle(self, centre: Point, radius: float, width: float) -> None:
        """Draw a circle."""
        self._pen(BLACK, width)
        self._canvas.circle(*self._at(centre), radius * PT_PER_MM, stroke=1, fill=0)

    def _pen(self, colour: str, width: float, dashed: bool = False) -> None:
        self._canvas.setStrokeColor(colour)
        self._canvas.setLineWidth(width * PT_PER_MM)
        self._canvas.setDash([2.0 * PT_PER_MM, 1.4 * PT_PER_MM] if dashed else [])

    def _at(self, p: Point) -> Point:
        return (p[0] * PT_PER_MM, (self.height - p[1]) * PT_PER_MM)


def _escape(char: str) -> str:
    """Write a letter out, also one of Latin-1 that Python's escape would leave short."""
    text = written_out(char)
    return text if text.startswith("\\") else f"\\u{ord(char):04x}"


def _fonts() -> frozenset[int]:
    """Make the fonts known and return what characters both of them have."""
    metrics = import_module("reportlab.pdfbase.pdfmetrics")
    ttfonts = import_module("reportlab.pdfbase.ttfonts")
    known = []
    for name in (PLAIN, STRONG):
        if name not in metrics.getRegisteredFontNames():
            metrics.registerFont(ttfonts.TTFont(name, f"{name}.ttf"))
        known.append(frozenset(metrics.getFont(name).face.charToGlyph))
    return known[0] & known[1]
