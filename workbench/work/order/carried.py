"""A setting carried to another blade: its numbers there, what is the same and what is not.

Lengths as data in the unit asked for, at full precision.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from workbench.errors import InputError, shown
from workbench.fin.blade import Blade
from workbench.fin.frame import Pose
from workbench.fin.plan.exposed import Carried, carry
from workbench.fin.plan.guidance import contact_remarks
from workbench.fin.reading.method import Method
from workbench.fin.reading.observe import observe
from workbench.fin.reading.rig import Rig
from workbench.frozen import dataclass
from workbench.measure.display import length_text
from workbench.measure.units import MM_PER, Unit
from workbench.work.order.order_answers import (
    Exposure,
    exposed_change,
    exposed_report,
    exposed_words,
    pose_report,
)
from workbench.work.text.words import clean, remark_words

STARTING_POINT = (
    "A starting point only (common practice, no source): the maker's numbers for this blade come "
    "first, and the first ride decides."
)


@dataclass(frozen=True, slots=True)
class NewReading:
    """One number on the new blade and what it was on the old (mm); ``why`` says why there is none.

    ``before_mm`` is None where the method was not to be read on the old blade.
    """

    method: Method
    before_mm: float | None
    mm: float | None
    why: str = ""


@dataclass(frozen=True, slots=True)
class CarriedSetting:
    """A setting on another blade: where that is, its numbers, and what to mind."""

    blade_name: str
    carried: Carried
    readings: tuple[NewReading, ...]
    warnings: tuple[str, ...]


def carried_setting(
    rig: Rig, pose: Pose, new: Rig, methods: tuple[tuple[Method, Method | str], ...], unit: Unit
) -> CarriedSetting:
    """Return the setting of ``rig`` at ``pose`` carried to the blade of ``new``.

    ``methods`` are those of the old blade, each with the same on the new one, or why there is none.

    Raises:
        OutOfReachError: a blade that is nowhere out of the base.
    """
    found = carry(rig.blade, rig.base, pose, new.blade)
    readings = []
    for before, after in methods:
        old = observe(before, rig.blade, rig.base, pose)
        if isinstance(after, str):
            readings.append(NewReading(before, old.value_mm if old else None, None, after))
            continue
        seen = observe(after, new.blade, new.base, found.pose)
        why = "" if seen else "the caliper would meet no part of the new blade"
        readings.append(
            NewReading(after, old.value_mm if old else None, seen.value_mm if seen else None, why)
        )
    remarks = contact_remarks(new, found.pose, "wanted")
    warnings = tuple(remark_words(r, unit) for r in remarks)
    return CarriedSetting(new.blade.name, found, tuple(readings), warnings)


def methods_on(
    blade: Blade, read: Sequence[Method], own: Sequence[Method] = ()
) -> tuple[tuple[Method, Method | str], ...]:
    """Return each method that was read with the same on another blade, or why there is none.

    ``own`` are the new blade's methods: one of the same name and quantity is the same. Else a
    station at a hole is looked for by the hole's name; one at a point of the old blade says nothing
    of the new. Where no depth is left, the deepest is added, which every blade has.
    """
    out = [(m, _method_on(m, blade, own)) for m in read]
    depths = [after for before, after in out if before.quantity == "depth"]
    if depths and not any(isinstance(after, Method) for after in depths):
        deepest = Method("depth, deepest", "depth")
        out.append((deepest, deepest))
    return tuple(out)


def _method_on(method: Method, blade: Blade, own: Sequence[Method]) -> Method | str:
    same = [m for m in own if m.name == method.name and m.quantity == method.quantity]
    if same:
        return same[0]
    if method.is_coarse:
        return "a scale on the old blade"
    station = method.station
    if station is None:
        return method
    if station.hole is None or station.edge is None:
        return "its station is a point of the old blade"
    try:
        at = blade.hole(station.hole).edge(station.edge)
    except InputError:
        return f"the new blade has no hole {shown(station.hole)}"
    return replace(method, station=replace(station, at_mm=at))


def carried_report(found: CarriedSetting, unit: Unit) -> dict[str, Any]:
    """Return a carried setting as data."""
    per = MM_PER[unit]
    return {
        "unit": unit,
        "blade": found.blade_name,
        "pose": pose_report(found.carried.pose, per),
        "readings": [
            {
                "method": r.method.name,
                "before": None if r.before_mm is None else r.before_mm / per,
                "reading": None if r.mm is None else r.mm / per,
                **({"trouble": r.why} if r.why else {}),
            }
            for r in found.readings
        ],
        "exposed": {
            "before": exposed_report(Exposure(found.carried.before), unit),
            "after": exposed_report(Exposure(found.carried.after), unit),
        },
        "same": not found.carried.differs,
        "differs": list(found.carried.differs),
        "warnings": [*found.warnings, STARTING_POINT],
    }  # fmt: skip


def carried_lines(found: CarriedSetting, unit: Unit) -> list[str]:
    """Return a carried setting in plain lines."""
    width = max(len(clean(r.method.name)) for r in found.readings)
    out = [f"On blade {clean(found.blade_name)}, the readings to begin with ({unit}):"]
    for r in found.readings:
        before = "—" if r.before_mm is None else length_text(r.before_mm, unit)
        after = f"none: {r.why}" if r.mm is None else length_text(r.mm, unit)
        out.append(f"  {clean(r.method.name):<{width}}  {after}  (before: {before})")
    out += ["", *carried_words(found.carried, unit)]
    out += [f" !  {text}" for text in found.warnings]
    return [*out, STARTING_POINT]


def carried_words(found: Carried, unit: Unit) -> list[str]:
    """Return what is the same on both blades and what stays different, in sentences."""
    out = [f"Before: {exposed_words(found.before, unit)}."]
    out.append(f"After: {exposed_words(found.after, unit)}.")
    if not found.differs:
        out.append("The exposed area and its centroid are the same on both blades.")
    else:
        names = " and ".join(_DIFFERS[name] for name in found.differs)
        out.append(f"The nearest: this blade cannot have the same {names}.")
    out.append(f"Different: {exposed_change(found.before, found.after, unit)}.")
    return out


_DIFFERS = {"area": "exposed area", "forward": "centroid forward", "out": "centroid out"}
