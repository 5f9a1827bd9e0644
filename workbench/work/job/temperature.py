"""What blade and caliper are at: typed, kept with the job, and in words. Off by default.

Readings taken while a temperature is in force name it; ``at_twenty`` converts them to 20 degrees.
"""

from __future__ import annotations

from collections.abc import Mapping

from workbench.errors import InputError
from workbench.measure.display import FINE, change_text
from workbench.measure.temperature import (
    MATERIALS,
    Degrees,
    check_temperature,
    material,
    parse_temperature,
)
from workbench.measure.units import TempUnit, Unit
from workbench.records.store.rows import Temperature
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.text.fields import Field, filled
from workbench.work.text.words import clean
from workbench.work.trust.reading_tools import (
    TEMPERATURE_OFF,
    at_words,
    temperature_in_force,
    value_mm,
)

_SCALES: dict[str, TempUnit] = {"C": "C", "F": "F"}

BLADE, CALIPER = "aluminium", "steel"
"""What blade and caliper are made of where nobody said (common practice, no source)."""

HEAT = (
    Field("blade", "Blade", "degrees, such as 23 C or 73 F", "DEGREES", blank="off"),
    Field("caliper", "Caliper", "degrees", "DEGREES", blank="as the blade"),
    Field("scale", "Scale", "C or F: what bare numbers here are in", "SCALE", default="C"),
    Field("blade_material", "Blade of", "what the blade is made of", "NAME", default=BLADE),
    Field("caliper_material", "Caliper of", "what the caliper is made of", "NAME", default=CALIPER),
)  # fmt: skip
"""What blade and caliper are at, and what they are made of."""


MADE_OF = f": {', '.join(MATERIALS)}"
"""The materials with a published expansion, behind the words of a field."""


# -- what is typed -----------------------------------------------------------------------------


def typed_temperature(field: str, text: str, scale: TempUnit) -> Degrees:
    """Return a temperature as typed, a bare number in ``scale``.

    Raises:
        InputError: no number, or one beyond sense.
    """
    typed = parse_temperature(text, field, scale, "degrees, such as 23 C or 73 F")
    try:
        check_temperature(field, typed.c)
    except InputError:
        if typed.unit == "C":
            raise
        raise InputError(field, text, "-4 to 122 degF (-20 to 50 degC)") from None
    return typed


def state_temperature(shop: Shop, view: JobView, fields: Mapping[str, str]) -> JobView:
    """Keep what blade and caliper are at; readings taken from now on name it.

    ``fields`` are those of ``HEAT``. A blank blade ends it: from now on readings are taken as they
    are.

    Raises:
        InputError: a field that cannot be; nothing is kept.
    """
    texts = filled(HEAT, fields)
    first, second = texts["blade"].strip(), texts["caliper"].strip()
    if not first:
        return _end(shop, view, second)
    scale = _SCALES.get(texts["scale"].strip().lstrip("°").upper())
    if scale is None:
        raise InputError("scale", texts["scale"], "C or F")
    blade = typed_temperature("blade", first, scale)
    caliper = typed_temperature("caliper", second, scale) if second else blade
    stated = Temperature(
        text="; ".join(x for x in (first, second) if x), unit=blade.unit,
        blade_c=blade.c, caliper_c=caliper.c,
        blade_material=_material("blade material", texts["blade_material"]),
        caliper_material=_material("caliper material", texts["caliper_material"]),
    )  # fmt: skip
    return shop.keep(
        view, "temperature", lambda now: shop.book.add_fact(now.job.id, shop.who, stated)
    )


def _end(shop: Shop, view: JobView, caliper: str) -> JobView:
    if caliper:
        raise InputError("blade", "", "its temperature too; both blank: off")
    if temperature_in_force(view.facts) is not None:
        shop.act(
            view,
            "temperature",
            lambda now: shop.book.add_mark(now.job.id, shop.who, TEMPERATURE_OFF),
        )
    return shop.view(view.job.id)


def _material(field: str, text: str) -> str:
    try:
        return material(text.strip()).name
    except InputError:
        raise InputError(field, text, "one of: " + ", ".join(MATERIALS)) from None


# -- in words ----------------------------------------------------------------------------------


def in_force_words(view: JobView) -> str:
    """Return the temperature that readings are taken at now, in one sentence."""
    at = temperature_in_force(view.facts)
    if at is None:
        return "Off: readings are taken as they are."
    return f"Now: {at_words(at)}; readings taken from here on are converted to 20 °C."


def correction_words(correction_mm: float, unit: Unit) -> str:
    """Return the size of a correction to 20 degrees, one digit finer than a reading."""
    return f"{change_text(correction_mm, unit, FINE[unit])} to 20 °C"


def effect_words(view: JobView, unit: Unit) -> tuple[str, ...]:
    """Return what the temperature in force does to each reading of this round, in one sentence."""
    at = temperature_in_force(view.facts)
    if at is None:
        return ()
    read = [(line.method.name, line.latest[-1].mm) for line in view.lines if line.latest]
    moved = [f"{clean(name)} {correction_words(value_mm(mm, at) - mm, unit)}" for name, mm in read]
    return (f"A reading taken now ({unit}): {'; '.join(moved)}.",) if moved else ()


def fields_now(view: JobView, unit: Unit) -> dict[str, str]:
    """Return the fields as they stand, to be changed: those in force, or the usual ones."""
    at = temperature_in_force(view.facts)
    if at is None:
        scale = "F" if unit == "in" else "C"
        return {
            "blade": "", "caliper": "", "scale": scale, "blade_material": BLADE,
            "caliper_material": CALIPER,
        }  # fmt: skip
    blade, _, caliper = at.text.partition("; ")
    return {
        "blade": blade, "caliper": caliper, "scale": at.unit, "blade_material": at.blade_material,
        "caliper_material": at.caliper_material,
    }  # fmt: skip
