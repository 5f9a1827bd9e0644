"""What a drawing of a fin shows, as lines and marks in the ski frame (mm): for screens and pages.

The ski lies base up with its tail at the left: x runs to the right and y, out of the base, up.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

from workbench.errors import InputError
from workbench.fin.blade import Blade
from workbench.fin.frame import Base, Point, Pose
from workbench.fin.pose.equations import Reading
from workbench.fin.reading.method import TRAITS, Method
from workbench.fin.reading.observe import Observation, observe
from workbench.fin.reading.rig import Rig
from workbench.fin.studs import Stud, Travel, travel
from workbench.frozen import dataclass

FACTORS = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)
SHOWN_SHARE = 0.12
"""How much of the blade's size the largest enlarged movement should about take."""

STUD_SHOWN_MM = 14.0
LEAST_JAW_MM = 4.0
HIDDEN_SHARE = 0.25
SAME_MM = 1e-6

NO_BLADE_FRAME: tuple[Point, ...] = ((0.0, -25.0), (200.0, 75.0))
"""The room (mm) that is shown of a base where the blade is not known yet."""

NOW, WANTED, BASE, STUD, READING, FAINT = "now", "wanted", "base", "stud", "reading", "faint"
LIT = "lit"
"""The ink of the stud to turn."""

ShapeKind = Literal["line", "outline", "dot", "mark", "letter"]


@dataclass(frozen=True, slots=True)
class Shape:
    """One thing drawn: a line through points, a closed outline, a dot, a mark, or a letter.

    A letter is at its first point, the end of a line that comes from its second. ``ink`` says
    what it belongs to; ``jaw`` is a caliper's measuring face; ``name`` is what a letter is short
    for.
    """

    kind: ShapeKind
    points: tuple[Point, ...]
    ink: str
    dashed: bool = False
    jaw: bool = False
    text: str = ""
    name: str = ""


@dataclass(frozen=True, slots=True)
class Scene:
    """The shapes of a drawing in their order, above the base and the lines along it.

    ``levels`` are (height above the base, ink), drawn right across and first; ``frame`` are the
    points that must be in sight. ``factor`` is how many times a difference is enlarged, ``missing``
    the studs that slide past their edge. ``span`` are the two ends of what a reading measures,
    ``meets`` is whether it meets the blade at all. ``holes`` are for pages, which have room for
    them.
    """

    base: Base
    levels: tuple[tuple[float, str], ...]
    shapes: tuple[Shape, ...]
    frame: tuple[Point, ...]
    factor: float = 1.0
    missing: tuple[str, ...] = ()
    span: tuple[Point, Point] | None = None
    meets: bool = True
    holes: tuple[Shape, ...] = ()


def side_scene(
    rig: Rig, now: Pose | None, wanted: Pose | None, readings: Sequence[Reading] = (), lit: str = ""
) -> Scene:
    """Return the rig with its blade at ``now`` (solid) and ``wanted`` (dashed, enlarged).

    The dashed outline is at now + factor * (wanted - now); without a ``wanted`` there is none,
    and without a ``now`` the blade is, dashed, at ``wanted`` or at a place made up for looking
    at. ``readings`` have their contacts marked; ``lit`` is the name of the stud to turn.
    """
    if not rig.blade.is_traced:
        bare = [shape for stud in rig.studs for shape in _bare_stud(stud)]
        ends = [p for shape in bare for p in shape.points]
        return Scene(rig.base, ((0.0, BASE),), tuple(bare), (*NO_BLADE_FRAME, *ends))
    here = now or wanted or nominal_pose(rig)
    factor = 1.0 if now is None or wanted is None else enlargement(rig.blade, now, wanted)
    solid = placed(rig.blade, here)
    ghost = placed(rig.blade, enlarged(now, wanted, factor)) if now and wanted else []
    touches = [(stud, _touch(stud, rig.blade, here)) for stud in rig.studs]
    shown = [p for stud, t in touches if t is not None for p in _stud_line(stud, t)]
    shapes = [Shape("outline", tuple(ghost), WANTED, dashed=True)] if ghost else []
    for stud, t in touches:
        if t is not None:
            shapes += _stud_shapes(stud, t, stud.name == lit)
    ink = NOW if now else WANTED
    shapes.append(Shape("outline", tuple(solid), ink, dashed=now is None))
    if now is not None:
        shapes += _contacts(rig, now, readings)
    missing = tuple(stud.said for stud, t in touches if t is None)
    frame = (*solid, *ghost, *shown)
    holes = _holes(rig.blade, here)
    return Scene(rig.base, ((0.0, BASE),), tuple(shapes), frame, factor, missing, holes=holes)


def method_scene(rig: Rig, pose: Pose | None, method: Method) -> Scene:
    """Return how the caliper is held for ``method`` on this very blade at ``pose``.

    Shown are the base, the band a jaw can touch in (or the line a depth is taken along), the jaws
    and the contacts; without a pose the blade is at a made-up place. Of a blade that is not known
    yet the base and the band alone are.
    """
    levels = ((0.0, BASE), *((level, FAINT) for level in sorted(set(method.band_mm or ()))))
    if not rig.blade.is_traced:
        return Scene(rig.base, levels, (), NO_BLADE_FRAME)
    here = pose or nominal_pose(rig)
    outline = tuple(placed(rig.blade, here))
    seen = observe(method, rig.blade, rig.base, here)
    jaws = _jaws(method, rig.base, seen)
    contacts = seen.contacts_mm if seen else ()
    shapes = (
        Shape("outline", outline, NOW),
        *(Shape("line", jaw, WANTED, jaw=True) for jaw in jaws),
        *(Shape("mark", (point,), READING) for point in contacts),
    )
    frame = (*outline, *(p for jaw in jaws for p in jaw))
    span, holes = _span(method, rig.base, seen), _holes(rig.blade, here)
    return Scene(rig.base, levels, shapes, frame, span=span, meets=seen is not None, holes=holes)


def method_caption(method: Method, meets: bool) -> str:
    """Return a method's drawing in words; ``meets``: whether the caliper meets the blade."""
    if not meets:
        return "the caliper would meet no part of the blade here"
    traits = TRAITS[method.quantity]
    if method.scribe is not None:
        return f"{traits.words}: the scribe on the ski, read on the blade's scale"
    if traits.ends:
        tips = "jaw tips at one height"
        held = tips if method.is_tips else "jaws touch between the two dashed heights"
        return f"{traits.words}: {traits.reaches}; {held}"
    where = "at its deepest" if method.station is None else "at the station"
    return f"{traits.words}: {traits.reaches}, {where}"


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


def _touch(stud: Stud, blade: Blade, pose: Pose) -> Travel | None:
    """Return where the stud touches; None where it slides past its edge."""
    try:
        return travel(stud, blade, pose)
    except InputError:
        return None


def _stud_line(stud: Stud, t: Travel) -> tuple[Point, Point]:
    """Return the shown end of the stud and the centre of its ball (mm)."""
    x, y = stud.at_mm[0] + t.mm * stud.axis[0], stud.at_mm[1] + t.mm * stud.axis[1]
    back = STUD_SHOWN_MM + stud.tip_radius_mm
    return ((x - back * stud.axis[0], y - back * stud.axis[1]), (x, y))


def _stud_shapes(stud: Stud, t: Travel, lit: bool = False) -> list[Shape]:
    """Return a stud's shapes; one that is ``lit`` has its own ink and capitals."""
    end, ball = _stud_line(stud, t)
    ink = LIT if lit else STUD
    out = [Shape("line", (end, ball), ink)]
    if stud.tip_radius_mm > 0.0:
        out.append(Shape("outline", _ring(*ball, stud.tip_radius_mm), ink))
    out.append(Shape("dot", (t.contact_mm,), ink))
    out.append(_letter(stud.said.upper() if lit else stud.said, (end, ball), ink))
    return out


def _letter(name: str, line: tuple[Point, Point], ink: str = STUD) -> Shape:
    return Shape("letter", line, ink, text=name.split(" ")[-1][:1], name=name)


def _bare_stud(stud: Stud) -> list[Shape]:
    """Return a stud on its axis, its end at the place that it is told by: no blade stops it."""
    (x, y), (ax, ay) = stud.at_mm, stud.axis
    back = (x - STUD_SHOWN_MM * ax, y - STUD_SHOWN_MM * ay)
    line = (back, stud.at_mm)
    return [Shape("line", line, STUD), _letter(stud.said, line)]


def _holes(blade: Blade, pose: Pose) -> tuple[Shape, ...]:
    rings = (_ring(*pose.place(hole.at_mm), hole.diameter_mm / 2.0) for hole in blade.holes)
    return tuple(Shape("outline", ring, FAINT) for ring in rings)


def _ring(x: float, y: float, radius: float) -> tuple[Point, ...]:
    turn = [math.tau * i / 16 for i in range(16)]
    return tuple((x + radius * math.cos(a), y + radius * math.sin(a)) for a in turn)


def _contacts(rig: Rig, pose: Pose, readings: Sequence[Reading]) -> list[Shape]:
    out = []
    for reading in readings:
        seen = observe(reading.method, rig.blade, rig.base, pose)
        out += [Shape("mark", (point,), READING) for point in (seen.contacts_mm if seen else ())]
    return out


def _jaws(method: Method, base: Base, seen: Observation | None) -> list[tuple[Point, Point]]:
    """Return the caliper's measuring faces as lines (mm, ski frame)."""
    if seen is None or method.scribe is not None:
        return []
    xs = [p[0] for p in seen.contacts_mm]
    ends = TRAITS[method.quantity].ends
    if not ends:
        (x, y) = seen.contacts_mm[0]
        half = method.jaw_width_mm / 2.0
        return [((x, base.y(x)), (x, y)), ((x - half, y), (x + half, y))]
    if len(ends) == 1:
        xs.append(0.0)
    lo, hi = method.band_mm or (0.0, 0.0)
    reach = max(hi, lo + LEAST_JAW_MM)
    levels = [(x, base.y(x)) for x in xs]
    return [((x, y + lo), (x, y + reach)) for x, y in levels if math.isfinite(y)]


def _span(method: Method, base: Base, seen: Observation | None) -> tuple[Point, Point] | None:
    """Return the two ends of what a method measures (mm, ski frame)."""
    if seen is None or method.scribe is not None:
        return None
    first = seen.contacts_mm[0]
    ends = TRAITS[method.quantity].ends
    if not ends:
        return (first[0], base.y(first[0])), first
    return ((0.0, first[1]), first) if len(ends) == 1 else (first, seen.contacts_mm[1])


def line_glyph(dx: float, dy: float) -> str:
    """Return the ASCII character nearest to a line's direction, y down, in cells.

    A cell is twice as high as it is wide.
    """
    across, down = abs(dx), 2.0 * abs(dy)
    if down <= 0.5 * across:
        return "-"
    if across <= 0.5 * down:
        return "|"
    return "\\" if (dx > 0.0) == (dy > 0.0) else "/"
