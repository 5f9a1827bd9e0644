"""What of a blade is out of the base, as data and words.

Every length in the unit asked for, at full precision; areas in its square, angles in degrees.
"""

from __future__ import annotations

import math
from typing import Any

from workbench.fin.frame import Pose
from workbench.fin.plan.exposed import Exposed, exposed, u_exposed
from workbench.fin.pose.fit import Fit
from workbench.fin.reading.rig import Rig
from workbench.frozen import dataclass
from workbench.measure.display import change_text, length_text
from workbench.measure.units import MM_PER, Unit


@dataclass(frozen=True, slots=True)
class Exposure:
    """What is exposed, with the standard uncertainties of its figures where the pose has any."""

    seen: Exposed
    u: tuple[float, ...] | None = None


def exposure_at(rig: Rig, pose: Pose, fit: Fit | None = None) -> Exposure | None:
    """Return what is out of the base at ``pose``, None where nothing is; with what ``fit`` leaves
    open of it."""
    seen = exposed(rig.blade, rig.base, pose)
    if seen is None:
        return None
    u = u_exposed(rig.blade, rig.base, pose, fit.covariance) if fit is not None else None
    return Exposure(seen, u)


def figures_in(figures: tuple[float, ...], unit: Unit) -> tuple[float, float, float, float, float]:
    """Return area, centroid forward and out, leading edge (degrees) and aspect in ``unit``."""
    per = MM_PER[unit]
    area, x, y, angle, aspect = figures
    return area / per**2, x / per, y / per, math.degrees(angle), aspect


def exposed_report(found: Exposure | None, unit: Unit) -> dict[str, Any] | None:
    """Return what is exposed as data, with ``u`` of each figure; None where nothing is."""
    if found is None:
        return None
    out = _as_data(found.seen.figures, unit)
    if found.u is not None:
        out["u"] = _as_data(found.u, unit)
    return out


def _as_data(figures: tuple[float, ...], unit: Unit) -> dict[str, Any]:
    area, x, y, angle, aspect = figures_in(figures, unit)
    centroid = {"x": x, "y": y}
    return {"area": area, "centroid": centroid, "leading_edge_deg": angle, "aspect": aspect}


def exposed_words(seen: Exposed, unit: Unit) -> str:
    """Return what is exposed as one sentence without its end."""
    return report_words(_as_data(seen.figures, unit), unit)


def report_words(data: dict[str, Any], unit: Unit) -> str:
    """Return what :func:`exposed_report` gives, as one sentence without its end."""
    per, at = MM_PER[unit], data["centroid"]
    x, y = (f"{length_text(at[k] * per, unit, _COARSE[unit])} {unit}" for k in ("x", "y"))
    return (
        f"Exposed {data['area']:.{_AREA_PLACES[unit]}f} sq {unit}, centroid {x} forward and "
        f"{y} out, leading edge {data['leading_edge_deg']:.1f}°, aspect {data['aspect']:.3f}"
    )


_COARSE: dict[Unit, str] = {"in": "0.001", "mm": "0.01"}
_AREA_PLACES: dict[Unit, int] = {"in": 2, "mm": 0}


def exposed_short(seen: Exposed, unit: Unit) -> str:
    """Return the same in little room, its lengths without their unit."""
    area, _, _, angle, aspect = figures_in(seen.figures, unit)
    x, y = (length_text(mm, unit, _COARSE[unit]) for mm in seen.centroid_mm)
    return (
        f"exposed {area:.{_AREA_PLACES[unit]}f} sq {unit}, centre {x} {y}, edge {angle:.1f}°, "
        f"aspect {aspect:.3f}"
    )


def exposed_change(first: Exposed, second: Exposed, unit: Unit) -> str:
    """Return how the second of two settings differs from the first in what it exposes."""
    before, after = (figures_in(e.figures, unit) for e in (first, second))
    area, x, y, angle, aspect = (b - a for a, b in zip(before, after, strict=True))
    share = 100.0 * area / before[0]
    per = MM_PER[unit]
    x_text, y_text = (change_text(v * per, unit, _COARSE[unit]) for v in (x, y))
    return (
        f"area {share:+.1f} %, centroid {x_text} {unit} forward and {y_text} {unit} out, "
        f"leading edge {angle:+.1f}°, aspect {aspect:+.3f}"
    ).replace("-", "−")
