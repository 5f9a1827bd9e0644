"""Readings that cannot be right, in words: against each other, or against the turns made."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from workbench.errors import BenchError
from workbench.fin.fit import Fit, Reading, fit_pose
from workbench.fin.foresight import Expected, expected_after
from workbench.fin.methods import Method
from workbench.fin.rig import Rig
from workbench.measure.adjustment import critical_w
from workbench.measure.display import change_text, length_text
from workbench.measure.slips import Doubt, doubt
from workbench.measure.units import MM_PER, Unit
from workbench.work.words import clean

ALIKE = 0.01
"""Readings whose normalised residuals differ by less than this share cannot be told apart."""


@dataclass(frozen=True, slots=True)
class Suspect:
    """A reading to take again: its method, normalised residual and the likely cause in words."""

    method: str
    normalised: float
    cause: str


def suspects_of(rig: Rig, fit: Fit, methods: Sequence[Method], unit: Unit) -> tuple[Suspect, ...]:
    """Return the reading that the others contradict, with those that look just the same.

    Data snooping (W. Baarda, 1968): the normalised residual of a reading is the root of what chi
    square falls by when that reading is left out. Leaving out is done in full, not linearised, as a
    reading near a corner of the outline is not linear. Nothing with three readings.
    """
    if len(fit.readings) < 4:
        return ()
    whole = _chi_square(fit)
    found = []
    for i, reading in enumerate(fit.readings):
        others = tuple(r for j, r in enumerate(fit.readings) if j != i)
        try:
            without = fit_pose(rig.blade, rig.base, others, fit.pose)
            expected = expected_after(rig, without, [0.0] * 3, [reading.method])[0]
        except BenchError:  # the others fix no pose without it: nothing checks this reading
            continue
        fall = max(whole - _chi_square(without), 0.0) ** 0.5
        if fall > critical_w():
            found.append((fall, reading, without, expected))
    top = max((fall for fall, *_ in found), default=0.0)
    found = [f for f in found if f[0] > (1.0 - ALIKE) * top]
    out = []
    for fall, reading, without, expected in found:
        cause = _cause(rig, reading, without, expected, methods, unit)
        twins = [clean(r.method.name) for _, r, _, _ in found if r is not reading]
        if twins:
            cause += f"; or one of these, which cannot be told from it: {', '.join(twins)}"
        sign = 1.0 if reading.value_mm > expected.value_mm else -1.0
        out.append(Suspect(reading.method.name, sign * fall, cause))
    return tuple(out)


def _chi_square(fit: Fit) -> float:
    return sum((v / r.u_mm) ** 2 for v, r in zip(fit.residuals_mm, fit.readings, strict=True))


def _cause(
    rig: Rig,
    reading: Reading,
    without: Fit,
    expected: Expected,
    methods: Sequence[Method],
    unit: Unit,
) -> str:
    """Return the likeliest cause, from what the other readings say this one should be."""
    text = length_text(reading.value_mm, unit)
    others_mm = _by_other_methods(rig, without, reading.method, methods)
    u = (expected.u_mm**2 + reading.u_mm**2) ** 0.5
    found = doubt(reading.value_mm, expected.value_mm, u, text, unit, others_mm)
    return doubt_words(found, expected, unit) if found else "take it again"


def expected_readings(
    rig: Rig, before: Sequence[Reading], turns: Sequence[float], others: Sequence[Method] = ()
) -> tuple[Expected, ...]:
    """Return what each method, and ``others``, should read after ``turns`` from ``before``.

    Nothing where the readings before them fix no pose.
    """
    read = [r.method for r in before]
    known = {m.name for m in read}
    try:
        fit = fit_pose(rig.blade, rig.base, before, every=True)
        out = list(expected_after(rig, fit, turns, read))
    except BenchError:
        return ()
    for method in others:
        if method.name not in known:
            try:
                out += expected_after(rig, fit, turns, [method])
            except BenchError:  # a method that meets no part of the blade there
                continue
    return tuple(out)


def doubt_of(
    expected: Expected,
    read_mm: float,
    u_read_mm: float,
    typed: tuple[str, Unit],
    others_mm: Mapping[str, float],
) -> Doubt | None:
    """Return a doubt about a reading just typed, against what the turns should have given."""
    u = (expected.u_mm**2 + u_read_mm**2) ** 0.5
    return doubt(read_mm, expected.value_mm, u, *typed, others_mm)


def _by_other_methods(
    rig: Rig, fit: Fit, method: Method, methods: Sequence[Method]
) -> dict[str, float]:
    """Return what the other methods of the same quantity would read on the same fin (mm)."""
    out = {}
    for other in methods:
        if other.quantity == method.quantity and other.name != method.name:
            try:
                out[other.name] = rig.observe(other, fit.pose).value_mm
            except BenchError:
                continue
    return out


def doubt_words(found: Doubt, expected: Expected, unit: Unit) -> str:
    """Return a doubt as one sentence in ``unit``."""
    fine = "0.0001" if unit == "in" else "0.001"
    off = f"{change_text(found.off_mm, unit, fine)} {unit}"
    should = f"{length_text(expected.value_mm, unit)} {unit} expected, this is {off} off"
    if found.slip == "graduation":
        step = float(found.detail.split()[0]) * MM_PER["in"] / MM_PER[unit]
        return f"{should}: a line of the caliper misread by {step:.3f} {unit}?"
    if found.slip == "digits":
        return f"{should}: digits exchanged, {clean(found.detail)} meant?"
    if found.slip == "method":
        return f"{should}: taken by '{clean(found.detail)}' instead?"
    return f"{should}: blade not seated, or the caliper held another way?"
