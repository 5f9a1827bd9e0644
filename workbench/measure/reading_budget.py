"""The default budget of one caliper reading, in millimetres.

Where nothing better is known of a caliper or a hand, the figures below stand in; each can be
given instead. Together they make about 0.0005 to 0.001 in.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from workbench.errors import InputError
from workbench.measure.budget import Budget, Contribution
from workbench.measure.mpe_tables import din862_mpe_mm
from workbench.measure.repeats import summarise
from workbench.measure.scatter import Scatter, scatter_of

RESOLUTION_MM = 0.0127
"""The last digit's step of a digital inch caliper, 0.0005 in (common practice, no source)."""

REPEATABILITY_MM = 0.01
"""Standard deviation of a single careful reading: our default (common practice, no source)."""

ASSUMED = Scatter(REPEATABILITY_MM, math.inf)
"""The scatter of a single reading where nothing was measured."""

SCATTER = "repeat scatter"
"""The name of the scatter's part in a budget."""

TEMPERATURE_HALF_WIDTH_C = 5.0
"""How far a workshop is from 20 degC when nobody looked (common practice, no source)."""

EXPANSION_DIFFERENCE_PER_C = 11.6e-6
"""Aluminium less steel, 23.1 - 11.5 ppm/degC: a blade against a caliper (D. A. Swyt, J. Res.
NIST 99 (1994) 31)."""


def reading_budget_mm(
    values_mm: Sequence[float],
    *,
    resolution_mm: float = RESOLUTION_MM,
    mpe_mm: float | None = None,
    zero_half_width_mm: float | None = None,
    scatter: Scatter | None = None,
    contact_height_u_mm: float = 0.0,
    slope: float = 0.0,
    temperature_half_width_c: float = TEMPERATURE_HALF_WIDTH_C,
    expansion_difference_per_c: float = EXPANSION_DIFFERENCE_PER_C,
    extra: Sequence[Contribution] = (),
) -> Budget:
    """Budget of the mean of one or more readings ``values_mm`` of one length.

    ``resolution_mm`` is the step of the display (rectangular, half a step either way);
    ``mpe_mm`` the caliper's permissible error (rectangular; by default DIN 862, digital, for this
    length); ``zero_half_width_mm`` how well zero and gauge block were seen to agree (rectangular;
    by default half a step). ``scatter`` is the shop's own of one reading, as a study
    measured it: see ``scatter_of``. Without it repeats show their own, and a single reading takes
    ``ASSUMED``. ``contact_height_u_mm`` is the standard uncertainty of the height at which the
    jaw meets the edge, ``slope`` the change of the reading per mm of that height. 0 for slope,
    contact height, temperature or expansion leaves that part out.
    Raises :class:`InputError` for a figure that cannot be.
    """
    repeats = summarise(values_mm)
    mpe = din862_mpe_mm(repeats.mean) if mpe_mm is None else mpe_mm
    half_step = resolution_mm / 2
    zero = half_step if zero_half_width_mm is None else zero_half_width_mm
    parts = [
        Contribution.rectangular("resolution", half_step),
        Contribution.rectangular("caliper error", mpe),
        Contribution.rectangular("zero and gauge block", zero),
    ]
    found = scatter_of(repeats, scatter)
    if found is None:
        parts.append(Contribution(SCATTER, ASSUMED.sd, ASSUMED.dof))
    elif found[0].sd > 0 or repeats.n == 1:
        # Equal repeats scatter by less than a step, which the resolution already covers.
        one = found[0]
        root = math.sqrt(repeats.n)
        parts.append(Contribution(SCATTER, one.sd / root, one.dof, kind="scatter", divisor=root))
    if _given("contact height", contact_height_u_mm) and slope != 0:
        parts.append(Contribution("contact height", contact_height_u_mm, sensitivity=slope))
    per_c = repeats.mean * expansion_difference_per_c
    if _given("temperature", temperature_half_width_c) and per_c != 0:
        parts.append(
            Contribution.rectangular(
                "temperature", temperature_half_width_c, sensitivity=per_c, of="°C"
            )
        )
    return Budget((*parts, *extra))


def _given(field: str, value: float) -> bool:
    if not 0 <= value < math.inf:
        raise InputError(f"uncertainty of {field}", value, "a finite number, 0 or more")
    return value > 0
