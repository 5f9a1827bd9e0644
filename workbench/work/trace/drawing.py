"""Closed lines of a drawing: SVG, DXF, or CSV of points, in mm, curves flattened.

What a drawing refers to outside itself is never fetched: such a drawing is refused, as are
entities, scripts and blocks. The libraries for SVG and DXF are loaded for such a file alone.
"""

from __future__ import annotations

import io
import math
import re
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from workbench.errors import InputError, shown
from workbench.fin.blade import MOST_POINTS
from workbench.fin.frame import Point
from workbench.frozen import dataclass
from workbench.measure.lengths import parse_length
from workbench.measure.units import MM_PER, MM_PER_INCH, SPELLINGS, Unit
from workbench.measure.units import mm_per as mm_of
from workbench.work.files.table_files import read_text

FLAT_MM = 0.004
"""How far a chord may leave a curve of a drawing: 0.00016 in."""

LARGEST_DRAWING = 1_000_000
MOST_SHAPES = 2_000
MOST_RINGS = 500
MOST_PLACES = 20_000
JOIN_MM = 0.01
"""Ends of lines this near to each other are one corner."""

BLADES_MM = (50.0, 500.0)
"""Where a drawing states no unit: inch or mm, whichever makes its longer side so long."""

PIXELS_PER_INCH = 96.0

Ring = list[Point]


@dataclass(frozen=True, slots=True)
class Drawn:
    """Closed lines of a drawing (mm), the unit they were drawn in, whether the file states that."""

    rings: tuple[tuple[Point, ...], ...]
    unit: Unit
    is_stated: bool


def read_drawing(path: str | Path, kind: str, unit: Unit | None) -> Drawn:
    """Return the closed lines of an ``svg``, ``dxf`` or ``csv`` file.

    ``unit`` is what a file's bare numbers are in; None takes the file's own unit.

    Raises:
        InputError: no such file, broken, no closed line in it, or it refers to what is outside it.
    """
    text = read_text(path, LARGEST_DRAWING)
    if kind == "svg":
        lines, mm_per = _svg(text)
    elif kind == "dxf":
        lines, mm_per = _dxf(text)
    else:
        lines, mm_per = _csv(text)
    rings = _closed(lines, mm_per)
    if not rings:
        raise InputError("drawing", "no closed line", "the blade's outline as one closed line")
    if mm_per is None:
        chosen = unit or _likely(rings)
        rings = _enlarged(rings, MM_PER[chosen])
    else:
        chosen = unit or ("in" if math.isclose(mm_per, MM_PER_INCH) else "mm")
    return Drawn(tuple(map(tuple, rings)), chosen, unit is not None or mm_per is not None)


def _enlarged(lines: Iterable[Ring], by: float) -> list[Ring]:
    return [[(x * by, y * by) for x, y in line] for line in lines]


def _in_bench_unit(lines: list[Ring], mm_per: float | None) -> tuple[list[Ring], float | None]:
    """Return lines of a stated unit in inch or mm, and mm in one of that unit (None: unknown)."""
    if mm_per is None or mm_per in (1.0, MM_PER_INCH):
        return lines, mm_per
    return _enlarged(lines, mm_per), 1.0


def _likely(rings: Sequence[Ring]) -> Unit:
    """Return the unit in which the largest ring is as long as a blade."""
    extent = max(
        max(max(p[i] for p in ring) - min(p[i] for p in ring) for i in (0, 1)) for ring in rings
    )
    if BLADES_MM[0] / MM_PER_INCH <= extent <= BLADES_MM[1] / MM_PER_INCH:
        return "in"
    if BLADES_MM[0] <= extent <= BLADES_MM[1]:
        return "mm"
    raise InputError("unit", f"none, and {extent:g} long", "--unit in or --unit mm")


# -- lines joined to rings -------------------------------------------------------------------------


def _closed(lines: Sequence[Ring], mm_per: float | None) -> list[Ring]:
    """Return the closed rings, open lines joined where their ends meet (mm where known)."""
    by = 1.0 if mm_per is None else mm_per
    near = JOIN_MM / (MM_PER_INCH if mm_per is None else 1.0)
    left = _enlarged((line for line in lines if len(line) > 1), by)
    rings: list[Ring] = []
    while left:
        line = left.pop()
        while math.dist(line[0], line[-1]) > near or len(line) < 3:
            found = _next_line(line[-1], left, near)
            if found is None:
                break
            line += found[1:]
        if len(line) > 3 and math.dist(line[0], line[-1]) <= near:
            rings.append(_tidy(line[:-1]))
    return [ring for ring in rings if len(ring) >= 3]


def _next_line(end: Point, left: list[Ring], near: float) -> Ring | None:
    for i, other in enumerate(left):
        if math.dist(other[0], end) <= near:
            return left.pop(i)
        if math.dist(other[-1], end) <= near:
            return left.pop(i)[::-1]
    return None


def _tidy(ring: Ring) -> Ring:
    """Return a ring without points that repeat the one before."""
    out = [p for p, before in zip(ring, [ring[-1], *ring[:-1]], strict=True)
           if math.dist(p, before) > 1e-9]  # fmt: skip
    if len(out) > MOST_POINTS:
        raise InputError("drawing", f"{len(out)} points", f"an outline of at most {MOST_POINTS}")
    return out


# -- SVG -------------------------------------------------------------------------------------------

_REFUSED = re.compile(
    r"<!DOCTYPE|<!ENTITY|<\s*(?:\w+:)?(?:script|image|use|foreignObject|style)\b|<\?xml-stylesheet",
    re.IGNORECASE,
)
_REFERS = re.compile(
    r"(?:href|src)\s*=\s*[\"']\s*(?!#)|url\(\s*[\"']?\s*(?!#)|@import", re.IGNORECASE
)
_SIZE = re.compile(
    r"<\s*(?:\w+:)?svg\b[^>]*?\bwidth\s*=\s*[\"']\s*([0-9.eE+-]+)\s*(in|mm|cm|pt|pc|q)\s*[\"']",
    re.DOTALL | re.IGNORECASE,
)
_SVG_MM = {
    "in": MM_PER_INCH, "mm": 1.0, "cm": 10.0, "pt": MM_PER_INCH / 72, "pc": MM_PER_INCH / 6,
    "q": 0.25,
}  # fmt: skip
"""Millimetres in SVG's units of length (CSS Values and Units, level 3, absolute lengths)."""


def _svg(text: str) -> tuple[list[Ring], float | None]:
    """Return an SVG's lines, and mm per unit where its size states one (None: its own units)."""
    found = _REFUSED.search(text) or _REFERS.search(text)
    if found is not None:
        accepted = "an SVG of plain paths, without references, scripts, styles, images and <use>"
        raise InputError("drawing", found.group().strip(), accepted)
    if text.count("<") > 2 * MOST_SHAPES:
        raise InputError("drawing", f"{text.count('<')} tags", f"at most {2 * MOST_SHAPES}")
    size = _SIZE.search(text)
    try:
        from svgelements import SVG, Path as SvgPath, Shape  # noqa: I001  (an extra: loaded here)
    except ImportError:
        raise _extra() from None
    try:
        svg = SVG.parse(io.StringIO(text), reify=True, ppi=PIXELS_PER_INCH)
        per_pixel, mm_per = _svg_scale(svg, size)
        flat = FLAT_MM / per_pixel / (mm_per or MM_PER_INCH)
        lines: list[Ring] = []
        for element in svg.elements():
            if isinstance(element, Shape):
                lines += _svg_lines(SvgPath(element), flat)
                if len(lines) > MOST_SHAPES:
                    raise InputError("drawing", "too many lines", f"at most {MOST_SHAPES}")
    except InputError:
        raise
    except RecursionError:
        raise InputError("drawing", "nested too deeply", "an SVG of a few levels") from None
    except Exception as why:  # what broken files make the library raise
        raise InputError("drawing", shown(str(why), 40), "an SVG that is whole") from None
    return _enlarged(lines, per_pixel), mm_per


def _svg_scale(svg: Any, size: re.Match[str] | None) -> tuple[float, float | None]:
    """Return what the library's pixels are multiplied by, and mm in one unit of that (None: the
    file's own numbers, of no stated unit)."""
    box = float(svg.viewbox.width) if svg.viewbox is not None and svg.viewbox.width else 0.0
    wide = float(svg.width) if svg.width else 0.0
    if size is None:
        return (box / wide if box > 0.0 and wide > 0.0 else 1.0), None
    unit = size.group(2).lower()
    mm_per = MM_PER_INCH if unit == "in" else 1.0
    if box > 0.0 and wide > 0.0:
        # The stated width itself: the library's own pixels per mm are rounded.
        return float(size.group(1)) * _SVG_MM[unit] / mm_per / wide, mm_per
    return MM_PER_INCH / PIXELS_PER_INCH / mm_per, mm_per


def _svg_lines(path: Any, flat: float) -> list[Ring]:
    """Return the lines of a path: each moved-to begins one."""
    from svgelements import Close, Line, Move

    out: list[Ring] = []
    line: Ring = []
    for segment in path:
        if isinstance(segment, Move):
            out.append(line)
            line = [(float(segment.end.x), float(segment.end.y))]
            continue
        if segment.end is None or segment.start is None:
            continue
        if isinstance(segment, Line | Close):
            line.append((float(segment.end.x), float(segment.end.y)))
        else:
            line += _flattened(segment, flat)
        if len(line) > MOST_PLACES:
            raise InputError("drawing", "too many points", f"at most {MOST_PLACES} in one line")
        if isinstance(segment, Close):
            out.append(line)
            line = [line[-1]]
    out.append(line)
    return [each for each in out if len(each) > 1]


def _flattened(segment: Any, flat: float) -> Ring:
    """Return points of a curve, its start left out, so close that no chord leaves it by more."""

    def at(t: float) -> Point:
        p = segment.point(t)
        return (float(p.x), float(p.y))

    out: Ring = []
    n = 8
    while n <= 1024:
        points = [at(i / n) for i in range(n + 1)]
        off = max(_off(at((i + 0.5) / n), points[i], points[i + 1]) for i in range(n))
        out = points[1:]
        if off <= flat:
            break
        n *= 2
    return out


def _off(p: Point, a: Point, b: Point) -> float:
    length = math.dist(a, b)
    if length == 0.0:
        return math.dist(p, a)
    return abs((b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0])) / length


# -- DXF -------------------------------------------------------------------------------------------

_DXF_MM = {1: MM_PER_INCH, 2: 12 * MM_PER_INCH, 4: 1.0, 5: 10.0, 6: 1000.0}
_LINES = ("LINE", "ARC", "CIRCLE", "ELLIPSE", "LWPOLYLINE", "POLYLINE", "SPLINE")
_OUTSIDE = ("INSERT", "IMAGE", "PDFUNDERLAY", "DWFUNDERLAY", "DGNUNDERLAY", "OLE2FRAME")


def _dxf(text: str) -> tuple[list[Ring], float | None]:
    """Return a DXF's lines, and mm per unit where its header states one."""
    try:
        import ezdxf
        from ezdxf import path as paths
    except ImportError:
        raise _extra() from None
    try:
        document = ezdxf.read(io.StringIO(text))
        space = document.modelspace()
        mm_per = _DXF_MM.get(int(document.header.get("$INSUNITS", 0)))
        flat = FLAT_MM / (mm_per or MM_PER_INCH)
        lines: list[Ring] = []
        for entity in space:
            kind = entity.dxftype()
            if kind in _OUTSIDE:
                accepted = "plain lines, arcs and curves: explode blocks, leave references out"
                raise InputError("drawing", kind, accepted)
            if kind in _LINES:
                line = [
                    (float(p.x), float(p.y)) for p in paths.make_path(entity).flattening(flat, 8)
                ]
                if kind == "CIRCLE" or getattr(entity, "is_closed", False):
                    line.append(line[0])
                lines.append(line)
            if len(lines) > MOST_SHAPES or sum(map(len, lines)) > 10 * MOST_PLACES:
                raise InputError("drawing", "too many lines", f"at most {MOST_SHAPES}")
    except InputError:
        raise
    except Exception as why:  # what broken files make the library raise
        raise InputError("drawing", shown(str(why), 40), "a DXF that is whole") from None
    if not all(math.isfinite(c) for line in lines for p in line for c in p):
        raise InputError("drawing", "a place that is no number", "a DXF of finite numbers")
    return _in_bench_unit(lines, mm_per)


def _extra() -> InputError:
    return InputError("file", "needs more", "pip install '.[trace]' first")


# -- CSV -------------------------------------------------------------------------------------------


def _csv(text: str) -> tuple[list[Ring], float | None]:
    """Return the points of a CSV: two columns, a blank line between outline and holes.

    A unit may be stated in a line of words before the points (``unit = mm``, ``x mm, y mm``); a
    number may carry its own.
    """
    mm_per: float | None = None
    rings: list[Ring] = [[]]
    for number, line in enumerate(text.splitlines(), 1):
        cells = [c.strip().strip('"').strip() for c in re.split(r"[;\t]|,(?=\s*\S)", line.strip())]
        cells = [c for c in cells if c]
        where = f"line {number}"
        if not cells:
            if len(rings) >= MOST_RINGS:
                raise InputError(where, f"{len(rings)} closed lines", f"at most {MOST_RINGS}")
            rings.append([])
            continue
        if not re.match(r"[+\-−]?[.,]?\d", cells[0]):
            if any(rings):
                raise InputError(where, line, "two numbers, forward and outward")
            for word in re.findall(r"[A-Za-z]+|\"", line.replace("_", " ")):
                mm_per = mm_of(word) if word.lower() in SPELLINGS else mm_per
            continue
        if len(cells) != 2:
            raise InputError(where, line, "two numbers, forward and outward")
        u, v = (_number(cell, where) for cell in cells)
        rings[-1].append((u, v))
        if len(rings[-1]) > MOST_POINTS:
            raise InputError(where, f"{MOST_POINTS + 1} points", f"at most {MOST_POINTS} points")
    out = [[*ring, ring[0]] if ring[0] != ring[-1] else ring for ring in rings if len(ring) > 2]
    return _in_bench_unit(out, mm_per)


def _number(cell: str, where: str) -> float:
    try:
        value = float(cell.replace(",", ".").replace("−", "-"))
    except ValueError:
        parse_length(cell, "mm", where)  # says what a length is
        raise InputError(where, cell, "bare numbers, their unit in the line before them") from None
    if not math.isfinite(value):
        raise InputError(where, cell, "finite numbers")
    return value
