"""The side view: blade, base and studs to scale, now against wanted, their difference enlarged.

The ski lies base up with its tail at the left: x runs to the right and y, out of the base, up.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from workbench.bench.canvas import DOTS, LARGEST_CELLS, XY, Canvas, Mode
from workbench.errors import InputError
from workbench.fin.base import Base
from workbench.fin.blade import Blade
from workbench.fin.methods import Method, Observation, observe
from workbench.fin.pose import Point, Pose
from workbench.fin.readings import Reading
from workbench.fin.rig import Rig
from workbench.fin.studs import Stud, Travel, travel

FACTORS = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)
SHOWN_SHARE = 0.12
"""How much of the blade's size the largest enlarged movement should about take."""

CELL_ASPECT = 2.0
"""A terminal cell's height over its width."""

STUD_SHOWN_MM = 14.0
LEAST_JAW_MM = 4.0
HIDDEN_SHARE = 0.25
SAME_MM = 1e-6
MARGIN_CELLS = 1.0

NOW, WANTED, BASE, STUD, READING, FAINT = "now", "wanted", "base", "stud", "reading", "faint"


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
    width: int,
    height: int,
    mode: Mode = "braille",
    readings: Sequence[Reading] = (),
) -> Picture:
    """Draw the rig with its blade at ``now`` (solid) and ``wanted`` (dashed, enlarged).

    The dashed outline stands at now + factor * (wanted - now); without a ``wanted`` there is none,
    and without a ``now`` the blade stands, dashed, at ``wanted`` or at a place made up for looking
    at. ``readings`` have their contacts marked. A size below one cell counts as one.

    Raises:
        InputError: an odd mode, or a pose that is no finite place.
    """
    canvas = _canvas(width, height, mode)
    here = now or wanted or nominal_pose(rig)
    factor = 1.0 if now is None or wanted is None else enlargement(rig.blade, now, wanted)
    solid = placed(rig.blade, here)
    ghost = placed(rig.blade, enlarged(now, wanted, factor)) if now and wanted else []
    tips = [(stud, _touch(stud, rig.blade, here)) for stud in rig.studs]
    shown = [p for stud, t in tips if t is not None for p in _stud_line(stud, t)]
    view = fitted([*solid, *ghost, *shown], canvas)
    _draw_base(canvas, view, rig.base)
    if ghost:
        canvas.polygon([view.at(p) for p in ghost], WANTED, dashed=True)
    for stud, t in tips:
        if t is not None:
            _draw_stud(canvas, view, stud, t)
    canvas.polygon([view.at(p) for p in solid], NOW if now else WANTED, dashed=now is None)
    if now is not None:
        _mark_contacts(canvas, view, rig, now, readings)
    missing = [stud.name for stud, t in tips if t is None]
    return Picture(canvas, factor, _caption(rig, now, wanted, factor, mode, missing), view)


def method_view(
    rig: Rig, pose: Pose | None, method: Method, width: int, height: int, mode: Mode = "braille"
) -> Picture:
    """Draw how to hold the caliper for ``method`` on this very blade at ``pose``.

    Shown are the base, the band a jaw can touch in (or the line a depth is taken along), the jaws
    and the contacts; without a pose the blade stands at a made-up place.
    """
    canvas = _canvas(width, height, mode)
    here = pose or nominal_pose(rig)
    outline = placed(rig.blade, here)
    seen = observe(method, rig.blade, rig.base, here)
    jaws = _jaws(method, rig.base, seen)
    view = fitted([*outline, *(p for jaw in jaws for p in jaw)], canvas)
    _draw_base(canvas, view, rig.base)
    for level in sorted(set(method.band_mm or ())):
        _draw_base(canvas, view, rig.base, level, FAINT)
    canvas.polygon([view.at(p) for p in outline], NOW)
    for a, b in jaws:
        canvas.line(*view.at(a), *view.at(b), WANTED, "#")
    for point in seen.contacts_mm if seen else ():
        _mark(canvas, view.at(point), READING)
    return Picture(canvas, 1.0, _method_caption(method, seen), view)


def placed(blade: Blade, pose: Pose) -> list[Point]:
    """Return the blade's outline (mm, ski frame) at ``pose``."""
    return [pose.place(p) for p in blade.outline_mm]


def nominal_pose(rig: Rig) -> Pose:
    """Return a level place with a part of the blade under the base, to show without readings."""
    us, vs = zip(*rig.blade.outline_mm, strict=True)
    hidden = min(vs) + HIDDEN_SHARE * (max(vs) - min(vs))
    x = 20.0 - min(us)
    level = rig.base.y(x)
    return Pose(x, (level if math.isfinite(level) else 0.0) - hidden, 0.0)


def enlargement(blade: Blade, now: Pose, wanted: Pose) -> float:
    """Return the round factor that makes the difference of two poses best seen.

    The largest movement of a corner, so enlarged, comes nearest (as a ratio) to
    :data:`SHOWN_SHARE` of the blade's larger side; 1 for poses that are the same.
    """
    moved = largest_move(blade, now, wanted)
    if moved < SAME_MM:
        return 1.0
    us, vs = zip(*blade.outline_mm, strict=True)
    asked = SHOWN_SHARE * max(max(us) - min(us), max(vs) - min(vs)) / moved
    return min(FACTORS, key=lambda factor: abs(math.log(factor / asked)))


def largest_move(blade: Blade, now: Pose, wanted: Pose) -> float:
    """Return how far (mm) the corner moves that moves most from one pose to the other."""
    pairs = zip(placed(blade, now), placed(blade, wanted), strict=True)
    return max(math.dist(a, b) for a, b in pairs)


def enlarged(now: Pose, wanted: Pose, factor: float) -> Pose:
    """Return now + factor * (wanted - now), the tilt taken the shorter way round."""
    return now.moved(
        factor * (wanted.x_mm - now.x_mm),
        factor * (wanted.y_mm - now.y_mm),
        factor * math.remainder(wanted.tilt_rad - now.tilt_rad, math.tau),
    )


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


def _canvas(width: int, height: int, mode: Mode) -> Canvas:
    wide, high = (min(max(1, side), LARGEST_CELLS) for side in (width, height))
    return Canvas(wide, high, mode)


def _touch(stud: Stud, blade: Blade, pose: Pose) -> Travel | None:
    """Return where the stud touches; None where it slides past its edge."""
    try:
        return travel(stud, blade, pose)
    except InputError:
        return None


def _ball(stud: Stud, t: Travel) -> Point:
    return (stud.at_mm[0] + t.mm * stud.axis[0], stud.at_mm[1] + t.mm * stud.axis[1])


def _stud_line(stud: Stud, t: Travel) -> tuple[Point, Point]:
    """Return the shown end of the stud and the centre of its ball (mm)."""
    x, y = _ball(stud, t)
    back = STUD_SHOWN_MM + stud.tip_radius_mm
    return ((x - back * stud.axis[0], y - back * stud.axis[1]), (x, y))


def _draw_stud(canvas: Canvas, view: View, stud: Stud, t: Travel) -> None:
    end, ball = _stud_line(stud, t)
    canvas.line(*view.at(end), *view.at(ball), STUD)
    if stud.tip_radius_mm > 0.0:
        turn = [math.tau * i / 16 for i in range(16)]
        r = stud.tip_radius_mm
        ring = [(ball[0] + r * math.cos(a), ball[1] + r * math.sin(a)) for a in turn]
        canvas.polygon([view.at(p) for p in ring], STUD)
    canvas.dot(*view.at(t.contact_mm), STUD)
    col, row = _cell(canvas, view.at(end))
    canvas.text(col, row, stud.name.strip()[:1], STUD)


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


def _mark_contacts(
    canvas: Canvas, view: View, rig: Rig, pose: Pose, readings: Sequence[Reading]
) -> None:
    for reading in readings:
        seen = observe(reading.method, rig.blade, rig.base, pose)
        for point in seen.contacts_mm if seen else ():
            _mark(canvas, view.at(point), READING)


def _mark(canvas: Canvas, at: XY, ink: str) -> None:
    col, row = _cell(canvas, at)
    canvas.text(col, row, "o" if canvas.mode == "ascii" else "•", ink)


def _cell(canvas: Canvas, at: XY) -> tuple[int, int]:
    across, down = DOTS[canvas.mode]
    return (math.floor((at[0] + 0.5) / across), math.floor((at[1] + 0.5) / down))


def _jaws(method: Method, base: Base, seen: Observation | None) -> list[tuple[Point, Point]]:
    """Return the caliper's measuring faces as lines (mm, ski frame)."""
    if seen is None:
        return []
    if method.quantity == "depth":
        (x, y) = seen.contacts_mm[0]
        half = method.jaw_width_mm / 2.0
        return [((x, base.y(x)), (x, y)), ((x - half, y), (x + half, y))]
    lo, hi = method.band_mm or (0.0, 0.0)
    xs = [p[0] for p in seen.contacts_mm]
    if method.quantity == "tail":
        xs.append(0.0)
    reach = max(hi, lo + LEAST_JAW_MM)
    levels = [(x, base.y(x)) for x in xs]
    return [((x, y + lo), (x, y + reach)) for x, y in levels if math.isfinite(y)]


def _caption(
    rig: Rig, now: Pose | None, wanted: Pose | None, factor: float, mode: Mode, missing: list[str]
) -> str:
    solid, dashed, times, dot = (
        ("--", "..", "x", ";") if mode == "ascii" else ("──", "╌╌", "×", "·")
    )
    if now is None:
        text = "no readings yet" + (f" {dot} wanted {dashed}" if wanted else "")
    elif wanted is None:
        text = f"now {solid}"
    elif largest_move(rig.blade, now, wanted) < SAME_MM:
        text = f"now {solid} is as wanted"
    else:
        text = f"now {solid} wanted {dashed} difference {times}{factor:g}"
    if missing:
        text += f" {dot} not on its edge: {', '.join(missing)}"
    return text


def _method_caption(method: Method, seen: Observation | None) -> str:
    if seen is None:
        return "the caliper would meet no part of the blade here"
    if method.quantity == "depth":
        where = "at its deepest" if method.station is None else "at the station"
        return f"depth: from the base straight out to the blade's edge, {where}"
    held = (
        "jaw tips at one height" if method.is_tips else "jaws touch between the two dashed heights"
    )
    if method.quantity == "tail":
        return f"tail distance: from the ski's tail end forward to the blade; {held}"
    return f"length: over both ends of the blade; {held}"
