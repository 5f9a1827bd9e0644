"""A reading method in a table of a file: a caliper's place on the blade, or a coarse mark."""

from __future__ import annotations

from workbench.errors import InputError
from workbench.fin.parts.blade import Blade
from workbench.fin.reading.method import PARTS, Method, Part, Scribe, Station
from workbench.fin.reading.quantities import ONE_OF, QUANTITIES, TRAITS, Quantity
from workbench.work.files.strict_table import Table, as_list, under


def read_method(table: Table, blade: Blade) -> Method:
    """Return the method in its table, its station found on ``blade``."""
    name = table.name()
    quantity = table.text("quantity", ONE_OF)
    if quantity not in QUANTITIES:
        raise InputError(table.where("quantity"), quantity, ONE_OF)
    station = _station(table, blade) if table.has("station") else None
    width = table.length("jaw_width", 0.0)
    band = None
    if table.has("band"):
        accepted = "[lo, hi], the heights above the base that the jaw can touch between"
        pair = as_list(table.raw("band", accepted), table.where("band"), accepted, 2)
        band = (
            table.as_length(pair[0], table.where("band[0]")),
            table.as_length(pair[1], table.where("band[1]")),
        )
    scribe = _scribe(table, quantity) if table.has("scribe") else None
    u = table.length("u") if table.has("u") else None
    part = _part(table)
    table.done()
    with under(table):
        return Method(name, quantity, station, width, band, scribe, u, part)


def _part(table: Table) -> Part | None:
    if not table.has("part"):
        return None
    given = table.text("part")
    for part in PARTS:
        if part == given:
            return part
    raise InputError(table.where("part"), given, ", ".join(PARTS))


def _scribe(table: Table, quantity: Quantity) -> Scribe:
    """Return the scribe of a coarse mark; ``grows`` says which way its scale's figures run."""
    scale = TRAITS[quantity].scale
    ways = ("", "") if scale is None else scale.grows  # where there is none, Method refuses it
    accepted = f"{{ at = [x, y], zero = 0.0, grows = '{ways[0]}' or '{ways[1]}' }}"
    inner = table.table("scribe", accepted)
    at = inner.point("at")
    zero = inner.length("zero", 0.0)
    grows = inner.text("grows", default=ways[0])
    if grows not in ways:
        raise InputError(inner.where("grows"), grows, f"'{ways[0]}' or '{ways[1]}'")
    inner.done()
    return Scribe(at, zero, grows == ways[1])


def _station(table: Table, blade: Blade) -> Station:
    accepted = "{ hole, edge } or a point [u, v]"
    value = table.raw("station", accepted)
    if isinstance(value, list):
        return Station(table.as_point(value, table.where("station")))
    inner = table.table("station", accepted)
    hole_name = inner.text("hole", "the name of one of the blade's holes")
    edge = inner.text("edge", "'back' or 'front'")
    inner.done()
    with under(inner):
        return Station(blade.hole(hole_name).edge(edge), hole_name, edge)
