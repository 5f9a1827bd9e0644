"""The work order: one job as a file, read strictly into the kernel's own values.

A TOML or JSON table with ``unit``, ``blade``, ``studs``, ``methods``, ``readings`` and, where they
apply, ``finest_turn``, ``base`` and ``targets``; README.md shows one. Lengths are plain numbers in
``unit`` or texts with their own unit.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from workbench.errors import InputError
from workbench.fin.blade import MOST_HOLES, Blade, Hole
from workbench.fin.frame import Base
from workbench.fin.plan.plan import DEFAULT_TOLERANCE_MM, Target
from workbench.fin.pose.equations import Reading
from workbench.fin.reading.method import (
    ONE_OF,
    PARTS,
    QUANTITIES,
    TRAITS,
    Method,
    Quantity,
    Scribe,
    Station,
)
from workbench.fin.reading.rig import Rig
from workbench.fin.studs import Hand, Stud, Touches, check_studs, lead_of_thread, lead_of_tpi
from workbench.frozen import dataclass
from workbench.measure.lengths import check_finest, parse_turn
from workbench.measure.units import MM_PER, Unit, check_unit
from workbench.work.files.table_files import Table, as_list, as_number, read_table_file, under
from workbench.work.trust.reading_budget import Taken, readings_of

DEFAULT_FINEST_TURN = 0.125
MOST_VALUES = 1000
MOST_TABLES = 50
"""More studs, methods, readings or targets than any fin has."""


@dataclass(frozen=True, slots=True)
class Order:
    """A work order: the rig, the methods by name in order, readings and targets (mm).

    ``taken`` are the readings' takes; ``job`` tells which rounds of a history are its own, and
    ``settled`` whether each stud was turned out and in again before the first reading.
    """

    unit: Unit
    finest_turn: float
    rig: Rig
    methods: tuple[Method, ...]
    readings: tuple[Reading, ...]
    targets: tuple[Target, ...]
    taken: tuple[Taken, ...] = ()
    job: str = ""
    settled: bool = False

    def method(self, name: str, field: str = "method") -> Method:
        """Return the order's method of that name; an InputError lists what there is."""
        return _named(name, self.methods, field)


def read_order(path: str | Path) -> Order:
    """Read a work order from a TOML or JSON file (``-``: standard input).

    Raises:
        InputError: anything wrong in it, by its key.
    """
    return order_from(read_table_file(path))


def order_from(data: Mapping[str, object]) -> Order:
    """Return the order in a table as a file gives it."""
    bare = Table(data, "")
    top = Table(data, "", check_unit(bare.raw("unit", '"in" or "mm"')))
    top.raw("unit", "")
    for key in ("title", "ski", "rider", "note"):  # words for people; nothing is computed from them
        top.text(key, default="")
    job = top.name("job") if top.has("job") else ""
    settled = top.truth("settled")
    finest = _finest_turn(top)
    blade = read_blade(top.table("blade", "the blade's table"))
    base = read_base(top)
    studs = tuple(read_stud(t) for t in top.tables("studs", most=MOST_TABLES))
    methods = tuple(read_method(t, blade) for t in top.tables("methods", most=MOST_TABLES))
    for method in methods:
        if [m.name for m in methods].count(method.name) > 1:
            raise InputError("methods name", method.name, "each method's name used once")
    check_studs(studs)
    rig = Rig(blade, base, studs)
    taken = [_taken(t, methods) for t in top.tables("readings", most=MOST_TABLES)]
    _once("readings", [t.method.name for t in taken])
    readings = readings_of(taken, rig)
    targets = tuple(
        _target(t, readings) for t in top.tables("targets", required=False, most=MOST_TABLES)
    )
    _once("targets", [t.method.name for t in targets])
    top.done()
    return Order(top.unit, finest, rig, methods, readings, targets, tuple(taken), job, settled)


def _finest_turn(top: Table) -> float:
    if not top.has("finest_turn"):
        return DEFAULT_FINEST_TURN
    accepted = 'a part of a turn from 0 (exact) to 1, such as "1/8" or 0.125'
    value = top.raw("finest_turn", accepted)
    if isinstance(value, str):
        turn = parse_turn(value, "finest_turn")
    else:
        turn = as_number(value, "finest_turn", accepted)
    return check_finest(turn, "finest_turn", value)


def read_blade(table: Table) -> Blade:
    """Return the blade in its table."""
    name = table.text("name", default="blade")
    outline = table.points("outline")
    top = table.points("top_edge", 2)
    back = table.points("back_edge", 2)
    holes = tuple(_hole(t) for t in table.tables("holes", required=False, most=MOST_HOLES))
    u_mm = table.length("outline_u", 0.0)
    table.done()
    with under(table):
        if not outline:
            raise InputError("outline", "no point", "the points of the blade's outline")
        return Blade(name, outline, (top[0], top[1]), (back[0], back[1]), holes, u_mm)


def _hole(table: Table) -> Hole:
    name, at, diameter = table.name(), table.point("at"), table.length("diameter")
    table.done()
    with under(table):
        return Hole(name, at, diameter)


def read_base(top: Table) -> Base:
    """Return the base of an order; left out it is flat."""
    if not top.has("base"):
        return Base()
    table = top.table("base")
    radius, apex = table.length("radius"), table.length("apex")
    table.done()
    with under(table):
        return Base(radius, apex)


def read_stud(table: Table) -> Stud:
    """Return the stud in its table; its lead comes from a thread, a lead, a pitch or a tpi."""
    name = table.name()
    touches: Touches = table.choice("touches", ("top", "back"))
    at = table.point("at")
    accepted = "a direction [x, y]"
    ax, ay = as_list(table.raw("axis", accepted), table.where("axis"), accepted, 2)
    axis = (as_number(ax, table.where("axis[0]")), as_number(ay, table.where("axis[1]")))
    lead = _lead(table)
    hand: Hand = table.choice("hand", ("right", "left"), default="right")
    radius = table.length("tip_radius", 0.0)
    limits = _limits(table, radius)
    place_u = table.length("place_u", 0.0)
    lead_u = 0.0
    if table.has("lead_u"):
        share = "a share of the lead, such as 0.002"
        lead_u = as_number(table.raw("lead_u", share), table.where("lead_u"), share)
    table.done()
    with under(table):
        return Stud(name, touches, at, axis, lead, hand, radius, limits, place_u, lead_u)


def _lead(table: Table) -> float:
    given = [key for key in ("thread", "lead", "pitch", "tpi") if table.has(key)]
    if len(given) != 1:
        found = ", ".join(given) or "(missing)"
        raise InputError(table.where("thread"), found, "one of thread, lead, pitch or tpi")
    key = given[0]
    if key == "thread":
        return lead_of_thread(table.text("thread"), table.where("thread"))
    if key == "tpi":
        return lead_of_tpi(as_number(table.raw("tpi", ""), table.where("tpi")), table.where("tpi"))
    return table.length(key)


def _limits(table: Table, tip_radius_mm: float) -> tuple[float, float] | None:
    """Return where the stud's end may lie.

    ``travel``, an older key, says it of the centre of the ball that the end is.
    """
    given = [key for key in ("limits", "travel") if table.has(key)]
    if not given:
        return None
    if len(given) == 2:
        raise InputError(table.where("travel"), "both", "limits alone: travel is an older key")
    (key,) = given
    what = "the stud's end" if key == "limits" else "the centre of its ball"
    accepted = f"[least, most]: how far along the axis from 'at' {what} may lie"
    low, high = table.point(key, accepted)
    further = tip_radius_mm if key == "travel" else 0.0
    return (low + further, high + further)


def _taken(table: Table, methods: tuple[Method, ...]) -> Taken:
    method = _named(table.text("method", "a method's name"), methods, table.where("method"))
    if table.has("value"):
        raise InputError(table.where("value"), table.raw("value", ""), "values = [...], a list")
    values = read_takes(table, "values")
    given = table.length("u") if table.has("u") else None
    table.done()
    if given is not None and given <= 0.0:
        raise InputError(table.where("u"), given / MM_PER[table.unit], "more than 0")
    return Taken(method, values, method.stated_u_mm if given is None else given)


def read_takes(table: Table, key: str) -> tuple[float, ...]:
    """Return the takes (mm) of one method: a list of one or more lengths."""
    accepted = "a list of one or more lengths"
    raw = as_list(table.raw(key, accepted), table.where(key), accepted)
    if not 1 <= len(raw) <= MOST_VALUES:
        raise InputError(table.where(key), raw, accepted)
    return tuple(table.as_length(v, f"{table.where(key)}[{i}]") for i, v in enumerate(raw))


def _target(table: Table, readings: tuple[Reading, ...]) -> Target:
    known = tuple(r.method for r in readings)
    name = table.text("method", "a method's name")
    method = _named(name, known, table.where("method"), "a method that has a reading")
    has_value, has_change = table.has("value"), table.has("change")
    if has_value == has_change:
        found = "both" if has_value else "(missing)"
        raise InputError(table.where("value"), found, "either value or change")
    tolerance = table.length("tolerance", DEFAULT_TOLERANCE_MM)
    if tolerance <= 0.0:
        raise InputError(table.where("tolerance"), tolerance / MM_PER[table.unit], "more than 0")
    if has_value:
        value = table.length("value")
    else:
        mean = next(r.value_mm for r in readings if r.method.name == name)
        value = mean + table.length("change")
    table.done()
    return Target(method, value, tolerance, has_change)


def _named(
    name: str, methods: tuple[Method, ...], field: str, what: str = "one of the methods"
) -> Method:
    for method in methods:
        if method.name == name:
            return method
    known = ", ".join(f"'{m.name}'" for m in methods) or "none"
    raise InputError(field, name, f"{what}: {known}")


def _once(field: str, names: list[str]) -> None:
    for name in names:
        if names.count(name) > 1:
            raise InputError(f"{field} method", name, "each method once, its repeats in one list")


def read_method(table: Table, blade: Blade) -> Method:
    """Return the method in its table, its station found on ``blade``."""
    name = table.name()
    quantity = table.choice("quantity", QUANTITIES, ONE_OF)
    station = _station(table, blade) if table.has("station") else None
    width = table.length("jaw_width", 0.0)
    heights = "[lo, hi], the heights above the base that the jaw can touch between"
    band = table.point("band", heights) if table.has("band") else None
    scribe = _scribe(table, quantity) if table.has("scribe") else None
    u = table.length("u") if table.has("u") else None
    part = table.choice("part", PARTS, ", ".join(PARTS)) if table.has("part") else None
    table.done()
    with under(table):
        return Method(name, quantity, station, width, band, scribe, u, part)


def _scribe(table: Table, quantity: Quantity) -> Scribe:
    """Return the scribe of a coarse mark; ``grows`` says which way its scale's figures run."""
    scale = TRAITS[quantity].scale
    ways = ("", "") if scale is None else scale.grows  # where there is none, Method refuses it
    accepted = f"{{ at = [x, y], zero = 0.0, grows = '{ways[0]}' or '{ways[1]}' }}"
    inner = table.table("scribe", accepted)
    at = inner.point("at")
    zero = inner.length("zero", 0.0)
    grows = inner.choice("grows", ways, default=ways[0])
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
