"""Blades, blocks and bases as a person types them in one line each, or names a file that has them.

Every error names the field it was typed in first, so that a form can show it there.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

from workbench.errors import InputError
from workbench.fin.blade import Blade, Hole
from workbench.fin.frame import Base
from workbench.fin.plan.plan import DEFAULT_TOLERANCE_MM
from workbench.fin.reading.method import Method, Station
from workbench.fin.studs import Stud, check_studs
from workbench.frozen import dataclass
from workbench.measure.lengths import check_finest, parse_length, parse_turn
from workbench.measure.units import MM_PER_INCH, Unit, check_unit
from workbench.records.book import Book
from workbench.records.store import rows
from workbench.records.tables.roster import row_of_blade, row_of_method, row_of_stud
from workbench.work.files.table_files import Table, read_table_file
from workbench.work.order.order_file import (
    DEFAULT_FINEST_TURN,
    MOST_TABLES,
    read_blade,
    read_method,
    read_stud,
)

_LONGEST_LINE = 100_000
LONGEST_STUD = 300

ORDER_KEYS = (
    "name", "unit", "title", "ski", "rider", "note", "finest_turn", "blade", "base", "studs",
    "methods", "readings", "targets",
)  # fmt: skip
"""What may stand at the top of a file that a blade or a block is taken from."""

STUD_ACCEPTED = (
    "name, top or back, x, y, axis x, axis y, thread, hand, tip radius: "
    "front top 6.9 -1.6 0 1 10-32UNF right 0.05"
)

_NUMBER = r"([+\-−]?[.,]?[0-9]\S*)"
_STUD = re.compile(
    rf"(.+?)\s+(top|back)\s+{_NUMBER}\s+{_NUMBER}\s+{_NUMBER}\s+{_NUMBER}\s+(.+?)"
    rf"(?:\s+(right|left)(?:\s+{_NUMBER})?)?",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class TypedStud:
    """A stud and its thread as it was written."""

    stud: Stud
    thread: str


@dataclass(frozen=True, slots=True)
class PartsFile:
    """A file of parts, opened: its top table in its own unit, and its path as typed."""

    top: Table
    path: str


@contextmanager
def within(field: str) -> Iterator[None]:
    """Put ``field`` in front of the name in an InputError, unless it is there already."""
    try:
        yield
    except InputError as why:
        if why.field == field or why.field.startswith((f"{field}:", f"{field},")):
            raise
        raise InputError(f"{field}: {why.field}", why.value, why.accepted) from None


def yes_or_no(text: str, field: str) -> bool:
    """Return what yes or no says; blank is no."""
    word = text.strip().lower()
    if word in ("yes", "y"):
        return True
    if word in ("", "no", "n"):
        return False
    raise InputError(field, text, "yes or no (blank is no)")


def base_of(radius: str, apex: str, unit: Unit) -> Base:
    """Return the base typed as a radius and the place of its apex; both blank is flat."""
    if not radius.strip():
        if apex.strip():
            raise InputError("base radius", radius, "a radius with this apex, or both blank: flat")
        return Base()
    radius_mm = parse_length(radius, unit, "base radius").mm
    if not apex.strip():
        accepted = "how far from the tail end the base is highest, such as 3.5"
        raise InputError("base apex", apex, accepted)
    apex_mm = parse_length(apex, unit, "base apex").mm
    try:
        return Base(radius_mm, apex_mm)
    except InputError as why:
        typed = radius if why.field == "base radius" else apex
        raise InputError(why.field, typed, why.accepted) from None


def outline_of(text: str, unit: Unit, field: str = "outline") -> tuple[tuple[float, float], ...]:
    """Return the points (mm) typed as ``0 0; 7.3 0; 7.3 0.75``; a line end parts points too."""
    accepted = "points forward and outward, parted by semicolons: 0 0; 7.3 0; 7.3 0.75"
    out = []
    for number, part in enumerate(_parts(text, field, accepted), start=1):
        where = f"{field}, point {number}"
        words = part.split()
        if len(words) != 2:
            raise InputError(where, part, "two lengths, forward and outward, such as 7.3 0.75")
        # In "7.3, 0.75" the comma parts the two numbers; a decimal comma has digits behind it.
        u, v = words[0].removesuffix(","), words[1]
        out.append((parse_length(u, unit, where).mm, parse_length(v, unit, where).mm))
    return tuple(out)


def edge_of(text: str, unit: Unit, field: str) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return the two points (mm) of an edge typed as ``0 0; 7.3 0``."""
    points = outline_of(text, unit, field)
    if len(points) != 2:
        raise InputError(field, text, "two points on the outline, such as 0 0; 7.3 0")
    return (points[0], points[1])


def holes_of(text: str, unit: Unit) -> tuple[Hole, ...]:
    """Return the holes typed as ``name u v diameter; ...``; blank is none."""
    accepted = "name, forward, outward, diameter, parted by semicolons: 2 1.6 3.0 0.3"
    out = []
    for part in _parts(text, "holes", accepted) if text.strip() else ():
        words = part.rsplit(maxsplit=3)
        if len(words) != 4:
            raise InputError("holes", part, accepted)
        where = f"holes, {words[0]}"
        u, v, diameter = (parse_length(w, unit, where).mm for w in words[1:])
        with within("holes"):
            out.append(Hole(words[0], (u, v), diameter))
    return tuple(out)


def _parts(text: str, field: str, accepted: str) -> list[str]:
    if len(text) > _LONGEST_LINE:
        raise InputError(field, text, f"{accepted}; at most {_LONGEST_LINE} characters")
    lines = re.split(r"[;\n]", text)
    parts = [part.strip() for part in lines if part.strip()]
    if not parts:
        raise InputError(field, text, accepted)
    return parts


def stud_typed(text: str, unit: Unit, field: str) -> TypedStud:
    """Return the stud typed as ``front top 6.9 -1.6 0 1 10-32UNF right 0.05``.

    The hand (right) and the tip radius (0) may be left out.
    """
    match = _STUD.fullmatch(text.strip()) if len(text) <= LONGEST_STUD else None
    if match is None:
        raise InputError(field, text, STUD_ACCEPTED)
    name, touches, x, y, axis_x, axis_y, thread, hand, tip = match.groups()
    data = {
        "name": name, "touches": touches.lower(), "at": [x, y],
        "axis": [_plain(axis_x, f"{field}: axis x"), _plain(axis_y, f"{field}: axis y")],
        "thread": thread, "hand": (hand or "right").lower(), "tip_radius": tip or "0",
    }  # fmt: skip
    with within(field):
        return TypedStud(read_stud(Table(data, "", unit)), thread)


def _plain(text: str, where: str) -> float:
    try:
        return float(text.replace(",", ".").replace("−", "-"))
    except ValueError:
        raise InputError(where, text, "a number: 0 1 points outward, 1 0 points forward") from None


def finest_of(text: str) -> float:
    """Return the finest turn typed, such as ``1/8``; blank is 1/8, 0 means exact."""
    if not text.strip():
        return DEFAULT_FINEST_TURN
    return check_finest(parse_turn(text, "finest turn"), typed=text)


def open_parts(path: str) -> PartsFile:
    """Read a TOML or JSON file of parts, or a whole work order; nothing is ever written.

    Raises:
        InputError: no plain file there, or not a table whose keys are known.
    """
    try:
        place = Path(path.strip()).expanduser()
        there = place.is_file()
    except RuntimeError:
        raise InputError("file", path, "a file that is there (no such user's folder)") from None
    except (OSError, ValueError):  # no system takes such a name
        there = False
    if not there:  # a pipe or a terminal would keep the bench waiting
        raise InputError("file", path, "the path of a TOML or JSON file that is there")
    data = read_table_file(place)
    with within("file"):
        unit = check_unit(data.get("unit", "in"))
        top = Table(data, "", unit)
        for key in ORDER_KEYS:
            top.has(key)
        top.done()
    return PartsFile(top, path)


def blade_in(file: PartsFile, name: str) -> tuple[Blade, tuple[Method, ...]]:
    """Return the blade of a file, under ``name`` where one was typed, and its methods."""
    with within("file"):
        blade = read_blade(file.top.table("blade", "a [blade] table"))
        methods = tuple(
            read_method(t, blade)
            for t in file.top.tables("methods", required=False, most=MOST_TABLES)
        )
        for method in methods:
            if [m.name for m in methods].count(method.name) > 1:
                raise InputError("methods name", method.name, "each method's name used once")
    return (replace(blade, name=name) if name.strip() else blade), methods


def blade_typed(fields: Mapping[str, str], unit: Unit) -> Blade:
    """Return the blade typed as outline, top and back edge and holes."""
    outline = outline_of(fields.get("outline", ""), unit)
    top = edge_of(fields.get("top_edge", ""), unit, "top edge")
    back = edge_of(fields.get("back_edge", ""), unit, "back edge")
    holes = holes_of(fields.get("holes", ""), unit)
    try:
        return Blade(fields.get("name", ""), outline, top, back, holes)
    except InputError as why:
        words = why.field.replace("_", " ")
        field = f"holes: {words}" if words.startswith("hole") else words
        raise InputError(field, why.value, why.accepted) from None


def studs_in(file: PartsFile) -> tuple[TypedStud, ...]:
    """Return the studs of a file."""
    with within("file"):
        out = []
        for table in file.top.tables("studs", most=MOST_TABLES):
            thread = table.text("thread", default="")
            out.append(TypedStud(read_stud(table), thread))
        check_studs([s.stud for s in out])
    return tuple(out)


def studs_typed(fields: Mapping[str, str], unit: Unit) -> tuple[TypedStud, ...]:
    """Return the three studs typed one a line."""
    out = tuple(stud_typed(fields.get(f"stud_{n}", ""), unit, f"stud {n}") for n in (1, 2, 3))
    with within("stud 3"):
        check_studs([s.stud for s in out])
    return out


def usual_methods(blade: Blade) -> tuple[Method, ...]:
    """Return the methods that most benches read by: depth, tail, length by tips, length flat.

    The depth is taken at the back edge of the first hole, deepest where the blade has none. The
    bands are common practice, no source.
    """
    if blade.holes:
        hole = blade.holes[0]
        name = f"depth, hole {hole.name} back edge"
        depth = Method(name, "depth", Station(hole.edge("back"), hole.name, "back"))
    else:
        depth = Method("depth, deepest", "depth")
    inch = MM_PER_INCH
    return (
        depth,
        Method("tail, upper line", "tail", band_mm=(0.0, 0.3 * inch)),
        Method("length, tips", "length", band_mm=(0.01 * inch, 0.01 * inch)),
        Method("length, flat", "length", band_mm=(0.15 * inch, 0.3 * inch)),
    )


def finest_in(file: PartsFile) -> str:
    """Return a file's finest turn as text, blank where it has none."""
    value = file.top.raw("finest_turn", "") if file.top.has("finest_turn") else ""
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise InputError("file: finest_turn", value, 'a part of a turn such as "1/8" or 0.125')
    return str(value)


# -- a whole shop's, from a file -------------------------------------------------------------------

_STAND_IN = "stand_in"
"""The key by which a part of a shop's file says that it is invented."""


@dataclass(frozen=True, slots=True)
class Stock:
    """What the shop owns, by name, as it is put in the book."""

    blades: dict[str, tuple[str, Blade]]
    blocks: dict[str, str]
    methods: dict[str, tuple[str, ...]]


def stock_shop(book: Book, data: Mapping[str, Any], who: str) -> Stock:
    """Put blades, blocks and methods of a shop file in the book."""
    unit = check_unit(data.get("unit"))
    stock = Stock({}, {}, {})
    for i, raw in enumerate(data.get("blades", ())):
        blade = read_blade(Table(_without_word(raw), f"blades[{i}]", unit))
        kept = replace(row_of_blade(blade), stand_in=_is_stand_in(raw))
        stock.blades[blade.name] = (book.add_blade(kept, who=who).id, blade)
    for i, raw in enumerate(data.get("blocks", ())):
        table = Table(_without_word(raw), f"blocks[{i}]", unit)
        name = table.name()
        studs = []
        for inner in table.tables("studs"):
            thread = inner.text("thread", default="")
            studs.append(row_of_stud(read_stud(inner), thread))
        text, where = table.text("finest_turn", default="1/8"), table.where("finest_turn")
        finest = check_finest(parse_turn(text, where), where, text)
        table.done()
        block = rows.Block("", name, tuple(studs), finest, stand_in=_is_stand_in(raw))
        stock.blocks[name] = book.add_block(block, who=who).id
    for i, raw in enumerate(data.get("methods", ())):
        table = Table(raw, f"methods[{i}]", unit)
        blade_id, blade = stock.blades[table.text("blade")]
        ids = []
        for inner in table.tables("list"):
            row = row_of_method(read_method(inner, blade), blade_id, DEFAULT_TOLERANCE_MM)
            ids.append(book.add_method(row, who=who).id)
        stock.methods[blade.name] = tuple(ids)
    return stock


def _is_stand_in(raw: Mapping[str, Any]) -> bool:
    """Whether a part of the file says of itself that it is invented."""
    return raw.get(_STAND_IN) is True


def _without_word(raw: Mapping[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in raw.items() if key != _STAND_IN}
