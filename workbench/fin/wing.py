"""The base's curve as a bench can measure it, and what a wing's angle is read against on it.

The curve is had from a sagitta under a straightedge, or from three depths. A radius is positive
where the base bulges out of the ski and negative where it is hollow; a flat base has none.
Positions are along the ski from its tail end, all lengths in mm.

For a wing the straightedge lies on the base with its middle at the wing. On a base that bulges it
rocks: it touches at the one place where it is held down, along the tangent there. In a hollow base
it rests on its two ends, along the chord, wherever it is held. On a flat base every hold is the
same.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Literal

from workbench.errors import InputError
from workbench.fin.frame import SMALLEST_RADIUS_MM, Base
from workbench.frozen import dataclass
from workbench.measure.units import degrees_typed

# -- the curve -------------------------------------------------------------------------------------

LONGEST_MM = 2500.0
"""No ski and no straightedge is longer."""

FLAT_CURVATURE = 1e-9
"""1/mm; a base bent less (a radius of 1000 km) is flat."""

_STEP = 1e-3
"""Of a central difference, in standard uncertainties."""

_COVERAGE = 2.0
"""Coverage factor at which a curve is told from a flat base."""


@dataclass(frozen=True, slots=True)
class MeasuredCurve:
    """A base's curve between two places.

    ``curvature`` (1/mm) is 1/radius, positive for a bulge, and ``u_curvature`` its standard
    uncertainty. ``sagitta_mm``, with the same sign, is how far the arc rises over the chord from
    ``from_x_mm`` to ``to_x_mm``; ``apex_mm`` is where the base is highest (lowest where hollow).
    """

    from_x_mm: float
    to_x_mm: float
    sagitta_mm: float
    curvature: float
    u_curvature: float
    apex_mm: float

    @property
    def radius_mm(self) -> float | None:
        """The radius, negative where the base is hollow, or None for a flat base."""
        return None if abs(self.curvature) < FLAT_CURVATURE else 1.0 / self.curvature

    @property
    def u_radius_mm(self) -> float | None:
        """Standard uncertainty of the radius to first order, or None for a flat base."""
        radius = self.radius_mm
        return None if radius is None else radius * radius * self.u_curvature

    @property
    def told_from_flat(self) -> bool:
        """Whether the curve is larger than its own expanded uncertainty."""
        return abs(self.curvature) > _COVERAGE * self.u_curvature


def height_of_segment_mm(radius_mm: float, chord_mm: float) -> float:
    """Return the height of a circle's segment, r - sqrt(4 r^2 - c^2)/2.

    Machinery's Handbook, 31st edition, page 83, given r and c; written without its cancellation.
    """
    _check_length("chord", chord_mm)
    if not chord_mm <= 2.0 * radius_mm < math.inf:
        raise InputError("radius", radius_mm, "at least half the chord")
    half = chord_mm / 2.0
    return half * half / (radius_mm + math.sqrt(radius_mm**2 - half * half))


def from_sagitta(
    middle_x_mm: float, chord_mm: float, sagitta_mm: float, u_chord_mm: float, u_sagitta_mm: float
) -> MeasuredCurve:
    """Return the curve from a straightedge of length ``chord_mm`` and a feeler.

    On a base that bulges the straightedge touches at its middle and the feeler goes in at both
    ends; in a hollow one it rests on its ends and the feeler goes in at the middle: then
    ``sagitta_mm`` is negative. The apex is put at the straightedge's middle.

    Raises:
        InputError: no chord, a sagitta of half the chord or more, or a bend no ski has.
    """
    _check_length("chord", chord_mm)
    if not abs(sagitta_mm) < chord_mm / 2.0:
        raise InputError("sagitta", sagitta_mm, f"less than half the chord {chord_mm:g} mm")

    u_curvature = _propagated(_bend, (chord_mm, sagitta_mm), (u_chord_mm, u_sagitta_mm))
    bend = (_bend((chord_mm, sagitta_mm)), u_curvature)
    return _measured(middle_x_mm, chord_mm, sagitta_mm, bend, middle_x_mm)


def _bend(values: Sequence[float]) -> float:
    """Return the curvature of a chord and its signed sagitta: smooth through the flat base."""
    chord, sagitta = values
    return 8.0 * sagitta / (chord**2 + 4.0 * sagitta**2)


def from_three_depths(
    places_mm: Sequence[float], depths_mm: Sequence[float], u_place_mm: float, u_depth_mm: float
) -> MeasuredCurve:
    """Return the curve through three depths from a straightedge that is clear of the base.

    The depths are from the straightedge to the base at three places along it; where the middle one
    is the smallest, the base bulges. The circle is the one through the three points: its curvature
    is four times the triangle's area over the product of its sides (R = abc / (4 K); Machinery's
    Handbook gives it for the circle circumscribed about a triangle, from memory).

    Raises:
        InputError: other than three of each, places out of order, or a bend no ski has.
    """
    if len(places_mm) != 3 or len(depths_mm) != 3:
        raise InputError("depths", (len(places_mm), len(depths_mm)), "three places, three depths")
    x1, x2, x3 = places_mm
    if not x1 < x2 < x3:
        raise InputError("places", tuple(places_mm), "three places, from the tail end forward")
    for depth in depths_mm:
        if not 0.0 <= depth <= LONGEST_MM:
            raise InputError("depth", depth, f"0 to {LONGEST_MM:g} mm")

    inputs = (x1, x2, x3, *depths_mm)
    u = (u_place_mm,) * 3 + (u_depth_mm,) * 3
    bend = _bend_of_three(inputs)
    chord = math.dist((x1, depths_mm[0]), (x3, depths_mm[2]))
    return _measured(
        (x1 + x3) / 2.0, x3 - x1, _sagitta(bend, chord),
        (bend, _propagated(_bend_of_three, inputs, u)), _apex(inputs, bend),
    )  # fmt: skip


def _bend_of_three(values: Sequence[float]) -> float:
    x1, x2, x3, d1, d2, d3 = values
    # Depths grow into the ski: y = -depth, and a bulge turns clockwise as x grows.
    twice_area = (x3 - x1) * (d1 - d2) - (x2 - x1) * (d1 - d3)
    sides = math.dist((x1, d1), (x2, d2)) * math.dist((x2, d2), (x3, d3))
    return 2.0 * twice_area / (sides * math.dist((x1, d1), (x3, d3)))


def _apex(values: Sequence[float], curvature: float) -> float:
    """Return the x of the circle's centre: where the base is parallel to the straightedge."""
    x1, _, x3, d1, _, d3 = values
    middle = (x1 + x3) / 2.0
    if abs(curvature) < FLAT_CURVATURE:
        return middle
    chord = math.dist((x1, d1), (x3, d3))
    away = math.sqrt(max(1.0 / curvature**2 - chord**2 / 4.0, 0.0))
    # From the chord's middle toward the centre: against the outward normal for a bulge.
    return middle - math.copysign(away, curvature) * (d3 - d1) / chord


def _sagitta(curvature: float, chord_mm: float) -> float:
    if abs(curvature) < FLAT_CURVATURE:
        return 0.0
    return math.copysign(height_of_segment_mm(1.0 / abs(curvature), chord_mm), curvature)


def _propagated(
    formula: Callable[[Sequence[float]], float], inputs: Sequence[float], u: Sequence[float]
) -> float:
    """Return the first-order standard uncertainty of a formula of independent inputs with ``u``.

    By central differences on the scale of each u, which is where the formula matters (JCGM
    100:2008, 5.1.2 and 5.1.3).
    """
    parts = []
    for i, u_i in enumerate(u):
        if not 0 < u_i < math.inf:
            raise InputError("uncertainty of an input", u_i, "a finite number more than 0")
        above, below = list(inputs), list(inputs)
        above[i] += _STEP * u_i
        below[i] += -_STEP * u_i
        parts.append((formula(above) - formula(below)) / (2 * _STEP))
    return math.hypot(*parts)


def _measured(
    middle_mm: float, chord_mm: float, sagitta_mm: float, bend: tuple[float, float], apex_mm: float
) -> MeasuredCurve:
    """Return the curve; ``bend`` is its curvature (1/mm) with its standard uncertainty."""
    half, (curvature, u_curvature) = chord_mm / 2.0, bend
    if abs(curvature) * SMALLEST_RADIUS_MM > 1.0:
        raise InputError(
            "base radius",
            f"{1.0 / curvature:.1f} mm",
            f"a bend of at least {SMALLEST_RADIUS_MM:g} mm radius",
        )
    return MeasuredCurve(
        middle_mm - half, middle_mm + half, sagitta_mm, curvature, u_curvature, apex_mm
    )


def _check_length(what: str, value_mm: float) -> None:
    if not 0.0 < value_mm <= LONGEST_MM:
        raise InputError(what, value_mm, f"more than 0 and at most {LONGEST_MM:g} mm")


# -- the wing --------------------------------------------------------------------------------------

Hold = Literal["front", "middle", "rear"]
Lead = Literal["out", "in"]
HOLDS: tuple[Hold, ...] = ("front", "middle", "rear")

LONGEST_STRAIGHTEDGE_MM = 1500.0
SET_DEG = (2.0, 20.0)
"""The angles that a wing is set to (common practice, no source)."""

SMALLEST_ANGLE_DEG, LARGEST_ANGLE_DEG = 0.0, 30.0


def angle_of(text: str, field: str = "wing angle") -> float:
    """Return an angle (degrees) that a wing can be set to: 2 to 20.

    Raises:
        InputError: no number, or outside that range.
    """
    least, most = SET_DEG
    accepted = f"degrees from {least:g} to {most:g}, such as 7.5"
    try:
        angle = degrees_typed(text)
    except ValueError:
        raise InputError(field, text, accepted) from None
    if not least <= angle <= most:
        raise InputError(field, text, accepted)
    return angle


@dataclass(frozen=True, slots=True)
class Arc:
    """A base of curvature 1/radius (1/mm; positive bulges out, negative is hollow, 0 is flat).

    Its highest (or lowest) place is ``apex_mm`` from the tail end.
    """

    curvature: float = 0.0
    apex_mm: float = 0.0

    @classmethod
    def of(cls, base: Base) -> Arc:
        """Return the arc of a ski's base."""
        return cls(0.0 if base.radius_mm is None else 1.0 / base.radius_mm, base.apex_mm)

    def slope_angle_rad(self, x_mm: float) -> float:
        """Return the angle of the tangent at x: -asin((x - apex) / R), counter-clockwise positive.

        A tangent is square to the radius at its point (Euclid, Elements III.18).

        Raises:
            InputError: x lies beyond the arc's ends.
        """
        sine = (x_mm - self.apex_mm) * self.curvature
        if not abs(sine) < 1.0:
            raise InputError(
                "place on the base", x_mm, f"within {1.0 / abs(self.curvature):g} mm of the apex"
            )
        return 0.0 - math.asin(sine)  # no minus zero where level

    def y_mm(self, x_mm: float) -> float:
        """Return the base's y at x, 0 at the apex."""
        half = math.tan(self.slope_angle_rad(x_mm) / 2.0)
        # -R (1 - cos t) = -R sin t tan(t/2), and -R sin t is x - a: exact also where flat.
        return half * (x_mm - self.apex_mm)


@dataclass(frozen=True, slots=True)
class Held:
    """A straightedge held on a base: where it touches (x, mm), and its angle to the ski's x axis.

    ``overhangs``: an end reaches beyond the tail end, so that it is held over the tail end.
    """

    hold: Hold
    touches_mm: tuple[float, ...]
    angle_rad: float
    overhangs: bool = False


def held(base: Arc, hold: Hold, straightedge_mm: float, wing_x_mm: float) -> Held:
    """Return how a straightedge lies that is held at its front end, middle or rear end.

    Its middle is at the wing, ``wing_x_mm`` from the tail end. On a bulge it touches where it is
    held, along the tangent there. In a hollow it lies on the chord of its two ends, whose angle is
    the mean of the tangents' angles at its ends (the tangent and the chord through its point of
    contact make half the angle of the arc between: Euclid, Elements III.32).

    Raises:
        InputError: an odd hold, length or place.
    """
    rear, front, overhangs = _ends(straightedge_mm, wing_x_mm)
    if base.curvature < 0.0:
        ends = (base.slope_angle_rad(rear), base.slope_angle_rad(front))
        return Held(hold, (rear, front), math.fsum(ends) / 2.0, overhangs)
    places = {"front": front, "middle": max(wing_x_mm, 0.0), "rear": rear}
    if hold not in places:
        raise InputError("hold", hold, "front, middle or rear")
    at = places[hold]
    return Held(hold, (at,), base.slope_angle_rad(at), overhangs and hold == "rear")


def read_elsewhere_deg(angle_deg: float, here: Held, there: Held, lead: Lead = "out") -> float:
    """Return what a wing that reads ``angle_deg`` at the hold ``here`` reads at ``there``.

    The wing stays; the line that it is read against turns by the difference of the two references.
    ``lead`` says which way the wing is set: its leading edge further out of the base than its
    trailing edge, or further in.
    """
    if not SMALLEST_ANGLE_DEG <= angle_deg <= LARGEST_ANGLE_DEG:
        raise InputError(
            "wing angle", angle_deg, f"{SMALLEST_ANGLE_DEG:g} to {LARGEST_ANGLE_DEG:g} degrees"
        )
    turned = math.degrees(here.angle_rad - there.angle_rad)
    return angle_deg + (turned if lead == "out" else -turned)


def u_difference_deg(here: Held, there: Held, u_curvature: float) -> float:
    """Return the standard uncertainty (degrees) of the difference of two holds' references.

    The angle between two tangents is the arc between them times the curvature.
    """
    apart = _middle(here.touches_mm) - _middle(there.touches_mm)
    return math.degrees(abs(apart) * u_curvature)


def neighbours(gauges_deg: Sequence[float], wanted_deg: float) -> tuple[float | None, float | None]:
    """Return the gauges next below (or at) and next above (or at) a wanted angle, None where none.

    Gauges within a hundredth of a degree of the wanted angle count as that angle.
    """
    below = [g for g in gauges_deg if g <= wanted_deg + 0.01]
    above = [g for g in gauges_deg if g >= wanted_deg - 0.01]
    return (max(below, default=None), min(above, default=None))


def _ends(straightedge_mm: float, wing_x_mm: float) -> tuple[float, float, bool]:
    if not 0.0 < straightedge_mm <= LONGEST_STRAIGHTEDGE_MM:
        raise InputError(
            "straightedge", straightedge_mm, f"more than 0 and at most {LONGEST_STRAIGHTEDGE_MM} mm"
        )
    if not 0.0 <= wing_x_mm <= LONGEST_STRAIGHTEDGE_MM:
        raise InputError("wing place", wing_x_mm, "a place on the ski, from the tail end forward")
    rear = wing_x_mm - straightedge_mm / 2.0
    return max(rear, 0.0), wing_x_mm + straightedge_mm / 2.0, rear < 0.0


def _middle(places_mm: Sequence[float]) -> float:
    return math.fsum(places_mm) / len(places_mm)
