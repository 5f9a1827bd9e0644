"""What a wing's angle is read against: the straightedge, where it is held on the base.

A straightedge lies on the base with its middle at the wing. On a base that bulges it rocks: it
touches at the one place where it is held down, along the tangent there. In a hollow base it rests
on its two ends, along the chord, wherever it is held. On a flat base every hold is the same.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

from workbench.errors import InputError
from workbench.fin.parts.base import Base
from workbench.frozen import dataclass

Hold = Literal["front", "middle", "rear"]
Lead = Literal["out", "in"]
HOLDS: tuple[Hold, ...] = ("front", "middle", "rear")

LONGEST_STRAIGHTEDGE_MM = 1500.0
SET_DEG = (2.0, 20.0)
"""The angles that a wing is set to (common practice, no source)."""

SMALLEST_ANGLE_DEG, LARGEST_ANGLE_DEG = 0.0, 30.0


def degrees_typed(text: str) -> float:
    """Return the degrees that an angle was typed as; raises ``ValueError`` for no number."""
    return float(text.strip().rstrip("°").replace(",", ".").replace("\N{MINUS SIGN}", "-"))


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
