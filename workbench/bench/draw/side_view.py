"""The side view: blade, base and studs to scale, now against wanted, their difference enlarged.

The shapes come from ``work/drawing/scene.py``; here they are drawn in cells.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from rich.cells import cell_len

from workbench.bench.draw.canvas import CELL_ASPECT, DOTS, LARGEST_CELLS, XY, Area, Canvas, Mode
from workbench.fin.frame import Base, Point, Pose
from workbench.fin.pose.equations import Reading
from workbench.fin.reading.method import Method
from workbench.fin.reading.rig import Rig
from workbench.frozen import dataclass
from workbench.work.drawing.scene import (
    BASE,
    FAINT,
    SAME_MM,
    Scene,
    Shape,
    largest_move,
    method_caption,
    method_scene,
    side_scene,
)

MARGIN_CELLS = 1.0


@dataclass(frozen=True, slots=True)
class View:
    """Maps the ski frame to dots: dot = (left + across * x, top - down * y)."""

    left: float
    top: float
    across: float
    down: float

    def at(self, point: Point) -> XY:
        """Return where a point (mm) lies, in dots."""
        return (self.left + self.across * point[0], self.top - self.down * point[1])

    def x_mm(self, dot: float) -> float:
        """Return the x (mm) of a column of dots."""
        return (dot - self.left) / self.across


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawing, how many times the difference in it is enlarged, and a line of text to it."""

    canvas: Canvas
    factor: float
    caption: str
    view: View


def side_view(
    rig: Rig,
    now: Pose | None,
    wanted: Pose | None,
    area: Area,
    readings: Sequence[Reading] = (),
    lit: str = "",
) -> Picture:
    """Draw the rig with its blade at ``now`` (solid) and ``wanted`` (dashed, enlarged).

    The dashed outline is at now + factor * (wanted - now); without a ``wanted`` there is none,
    and without a ``now`` the blade is, dashed, at ``wanted`` or at a place made up for looking
    at. ``readings`` have their contacts marked, the stud called ``lit`` is lit. A size below one
    cell counts as one.

    Raises:
        InputError: an odd mode, or a pose that is no finite place.
    """
    scene = side_scene(rig, now, wanted, readings, lit)
    canvas, view = _drawn(scene, area)
    caption = _caption(rig, now, wanted, scene.factor, area.mode, scene.missing)
    return Picture(canvas, scene.factor, caption, view)


def method_view(rig: Rig, pose: Pose | None, method: Method, area: Area) -> Picture:
    """Draw how to hold the caliper for ``method`` on this very blade at ``pose``.

    Shown are the base, the band a jaw can touch in (or the line a depth is taken along), the jaws
    and the contacts; without a pose the blade is at a made-up place.
    """
    scene = method_scene(rig, pose, method)
    canvas, view = _drawn(scene, area)
    caption = method_caption(method, scene.meets)
    if not rig.blade.is_traced:
        caption += "; the base alone: no blade yet"
    return Picture(canvas, 1.0, caption, view)


def fitted(points: Sequence[Point], canvas: Canvas) -> View:
    """Return the largest view, equal in x and y on the screen, that shows all these points."""
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    wide, high = max(max(xs) - min(xs), 1e-6), max(max(ys) - min(ys), 1e-6)
    room_wide = max(canvas.width - 2.0 * MARGIN_CELLS, 0.5)
    room_high = max(canvas.height - 2.0 * MARGIN_CELLS, 0.5)
    cells = min(room_wide / wide, room_high * CELL_ASPECT / high)  # cells across per mm
    dots_across, dots_down = DOTS[canvas.mode]
    across, down = cells * dots_across, cells * dots_down / CELL_ASPECT
    left = (canvas.dots_wide - 1) / 2.0 - across * (max(xs) + min(xs)) / 2.0
    top = (canvas.dots_high - 1) / 2.0 + down * (max(ys) + min(ys)) / 2.0
    return View(left, top, across, down)


def _drawn(scene: Scene, area: Area) -> tuple[Canvas, View]:
    wide, high = (min(max(1, side), LARGEST_CELLS) for side in (area.width, area.height))
    canvas = Canvas(wide, high, area.mode)
    view = fitted(scene.frame, canvas)
    for level_mm, ink in scene.levels:
        _draw_base(canvas, view, scene.base, level_mm, ink)
    for shape in scene.shapes:
        _draw(canvas, view, shape)
    _draw_names(canvas, view, [shape for shape in scene.shapes if shape.kind == "letter"])
    return canvas, view


def _draw_names(canvas: Canvas, view: View, letters: Sequence[Shape]) -> None:
    """Write each stud's name over its letter, where all names find room beside each other."""
    names = []
    for shape in letters:
        wide = cell_len(shape.name)
        col, row = canvas.cell(view.at(shape.points[0]))
        names.append((row, min(max(col - wide // 2, 0), canvas.width - wide), wide, shape))
    rows = sorted((row, col, wide) for row, col, wide, _ in names)
    beside = all(a[0] != b[0] or a[1] + a[2] < b[1] for a, b in pairwise(rows))
    if beside and all(col >= 0 for _, col, _ in rows):
        for row, col, _, shape in names:
            canvas.text(col, row, shape.name, shape.ink)


def _draw(canvas: Canvas, view: View, shape: Shape) -> None:
    points = [view.at(p) for p in shape.points]
    if shape.kind == "outline":
        canvas.polygon(points, shape.ink, dashed=shape.dashed)
    elif shape.kind == "line":
        canvas.line(*points[0], *points[1], shape.ink, "#" if shape.jaw else None)
    elif shape.kind == "dot":
        canvas.dot(*points[0], shape.ink)
    else:
        dot = "o" if canvas.mode == "ascii" else "•"
        col, row = canvas.cell(points[0])
        canvas.text(col, row, dot if shape.kind == "mark" else shape.text, shape.ink)


def _draw_base(
    canvas: Canvas, view: View, base: Base, level_mm: float = 0.0, ink: str = BASE
) -> None:
    """Draw the base, or the line at a height above it, dashed, right across the picture."""
    run: list[XY] = []
    for dot in range(-1, canvas.dots_wide + 1):
        y = base.y(view.x_mm(dot))
        if math.isfinite(y):
            run.append((float(dot), view.at((0.0, y + level_mm))[1]))
    canvas.polyline(run, ink, dashed=ink == FAINT)


def _caption(
    rig: Rig,
    now: Pose | None,
    wanted: Pose | None,
    factor: float,
    mode: Mode,
    missing: Sequence[str],
) -> str:
    solid, dashed, times, dot = (
        ("--", "..", "x", ";") if mode == "ascii" else ("──", "╌╌", "×", "·")
    )
    if not rig.blade.is_traced:
        return "the base alone: no blade yet"
    if now is None:
        text = "not all readings yet" + (f" {dot} wanted {dashed}" if wanted else "")
    elif wanted is None:
        text = f"now {solid}"
    elif largest_move(rig.blade, now, wanted) < SAME_MM:
        text = f"now {solid} is as wanted"
    else:
        text = f"now {solid} wanted {dashed} difference {times}{factor:g}"
    if missing:
        text += f" {dot} not on its edge: {', '.join(missing)}"
    return text
