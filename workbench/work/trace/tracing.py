"""A file traced: a picture or a drawing in, a blade, its table and its version in the book."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from workbench.errors import InputError
from workbench.fin.blade import Blade, Hole
from workbench.fin.frame import Point
from workbench.fin.trace.traced import Traced, Unframed, framed, other_end, unframed_of_rings
from workbench.frozen import dataclass
from workbench.measure.display import fine_text, length_text
from workbench.measure.units import MM_PER, Unit
from workbench.records.book import whole
from workbench.records.store import rows
from workbench.records.tables.roster import blade_of, method_of, row_of_blade
from workbench.work.job.shop import Shop
from workbench.work.roster.adding import checked_name, keep_blade
from workbench.work.roster.parts_typed import usual_methods, within
from workbench.work.text.words import clean
from workbench.work.trace.drawing import FLAT_MM, read_drawing
from workbench.work.trace.look import Ask, Ground, Look, Told, ground_of, look_at, nothing

DRAWN_AS = {".svg": "svg", ".dxf": "dxf", ".csv": "csv", ".txt": "csv"}
DRAWING_U_MM = FLAT_MM / 2.0
"""A drawing's own uncertainty: that of its flattened curves. How well the blade was made after the
drawing, nobody said."""

SAME_HOLE_MM = 3.0
"""A hole of a new trace this near to one of the blade before is that hole and keeps its name."""

TRACED_MM = (50.0, 500.0)
"""How long a blade is along its top edge, with room: another length is a slip of unit or scale."""


@dataclass(frozen=True, slots=True)
class FileTraced:
    """What a file gave: the blade, where it lies in the picture, in which unit it is told, how it
    was traced, and notes on that."""

    traced: Traced
    ground: Ground
    unit: Unit
    how: str
    told: tuple[str, ...] = ()

    @property
    def blade(self) -> Blade:
        """The blade."""
        return self.traced.blade

    @property
    def notes(self) -> tuple[str, ...]:
        """How it was traced, and what is to be looked at before the outline is used, in words."""
        return (*self.told, *_doubts(self.traced, self.unit))

    def look(self, unit: Unit) -> Look:
        """Return what there is to see of it, lengths in this unit."""
        return look_at(self.traced, self.ground, unit)

    def size_words(self, unit: Unit) -> str:
        """Return the blade's size, its holes, and how well its outline is known."""
        blade = self.blade
        long, high = (
            length_text(max(p[i] for p in blade.outline_mm), unit, "0.001") for i in (0, 1)
        )
        u = fine_text(blade.outline_u_mm, unit)
        sizes = ", ".join(length_text(h.diameter_mm, unit, "0.001") for h in blade.holes)
        holes = f"holes of {sizes}" if sizes else "no hole"
        return (
            f"{long} long, {high} high, {holes} ({unit}); {len(blade.outline_mm)} points; outline "
            f"known to {u}"
        )

    @property
    def edges_words(self) -> str:
        """Which of the choices of top and back edge it goes by."""
        choices = self.traced.unframed.choices
        if len(choices) == 1:
            return "No other sides can be"
        return f"Choice {self.traced.choice + 1} of {len(choices)}"

    def by_next_edges(self) -> FileTraced:
        """Return it by the next choice of top and back edge of which it is a blade, going round."""
        shape, at = self.traced.unframed, self.traced.choice
        for step in range(1, len(shape.choices)):
            try:
                traced = framed(self.blade.name, shape, (at + step) % len(shape.choices))
            except InputError:  # an outline that no blade has by these edges
                continue
            return replace(self, traced=traced)
        return self


def trace_file(path: str, name: str, ask: Ask | None = None, told: Told = nothing) -> FileTraced:
    """Trace a picture or a drawing; blank ``name``: the file's. ``told`` of each step.

    Raises:
        InputError: what is wrong with the file or with what was asked.
    """
    ask = ask or Ask()
    kind = checked_ask(path, ask)
    found = _from_drawing(path, kind, ask) if kind else _from_picture(path, ask, told)
    shape, ground, unit, how, notes = found
    traced = framed(name or Path(path).stem, shape, _choice(ask, shape))
    _check_size(traced.blade, unit, "unit" if kind else "scale")
    return FileTraced(traced, ground, unit, how, notes)


def checked_ask(path: str, ask: Ask) -> str:
    """Return which drawing a path names, blank for a picture, before it is read.

    Raises:
        InputError: what is asked that cannot be, or does not belong together.
    """
    kind = DRAWN_AS.get(Path(path).suffix.lower(), "")
    ask.scale()
    if ask.edges and ask.other_end:
        raise InputError("--edges --other-end", "together", "one of them")
    if kind and ask.scales:
        raise InputError(ask.scales[0], "a drawing", "a drawing without a scale, or a picture")
    return kind


_Found = tuple[Unframed, Ground, Unit, str, tuple[str, ...]]


def _choice(ask: Ask, shape: Unframed) -> int:
    if ask.other_end:
        return other_end(shape.choices)
    if not ask.edges:
        return 0
    count = len(shape.choices)
    if not (ask.edges.isdecimal() and 1 <= int(ask.edges[:4]) <= count):
        accepted = f"1 to {count}" if count > 1 else "1: no other sides can be the edges"
        raise InputError("--edges", ask.edges, accepted)
    return int(ask.edges) - 1


def _from_drawing(path: str, kind: str, ask: Ask) -> _Found:
    drawn = read_drawing(path, kind, ask.unit)
    shape = unframed_of_rings(drawn.rings, u_mm=DRAWING_U_MM)
    flat = fine_text(FLAT_MM, drawn.unit)
    how = f"drawing ({kind.upper()}), curves flattened to {flat} {drawn.unit}"
    notes = [f"traced from a {how}"]
    if not drawn.is_stated:
        notes.append(f"the file states no unit: taken as {drawn.unit}; --unit says otherwise")
    ground = ground_of(drawn.rings, y_up=kind != "svg")
    return shape, ground, drawn.unit, how, tuple(notes)


def _check_size(blade: Blade, unit: Unit, what: str) -> None:
    low, high = TRACED_MM
    if low <= blade.length_mm <= high:
        return
    found = f"a blade {fine_text(blade.length_mm, unit)} {unit} long"
    ends = " to ".join(length_text(mm, unit, "0.1") for mm in TRACED_MM)
    raise InputError("outline", found, f"one of {ends} {unit}: is the {what} right?")


def _from_picture(path: str, ask: Ask, told: Told) -> _Found:
    try:
        from workbench.work.trace.scan import trace_picture  # an extra: loaded for pictures
    except ImportError:
        accepted = "pip install '.[trace]' first"
        raise InputError("file", "a picture needs more", accepted) from None
    unit: Unit = ask.unit or "in"
    scale, how = ask.scale()
    found = trace_picture(path, scale, told)
    u = fine_text(found.unframed.outline_u_mm, unit)
    notes = [f"traced from a {how}: outline known to {u} {unit} (standard uncertainty)"]
    if scale is not None and scale.by == "dpi":
        notes.append("a scanner's own scale is off by up to 0.1 %: check the overall length")
    return found.unframed, found.ground, unit, how, tuple(notes)


def _doubts(traced: Traced, unit: Unit) -> list[str]:
    out = []
    if traced.doubtful:
        out.append(
            "both ends of the top edge could be the back edge; the one nearer to the deepest point "
            "was taken, --other-end takes the other"
        )
    for u, v in traced.odd_openings_mm:
        at = " ".join(length_text(c, unit, "0.01" if unit == "in" else "0.1") for c in (u, v))
        out.append(f"an opening that is not round was left out, at {at} {unit}")
    return out


# -- an order's table ------------------------------------------------------------------------------


def blade_table(blade: Blade, unit: Unit) -> dict[str, Any]:
    """Return a blade as the ``blade`` table of a work order, lengths in ``unit``."""

    def length(mm: float) -> float:
        return round(mm / MM_PER[unit], 8) + 0.0

    def points(*each: Point) -> list[list[float]]:
        return [[length(u), length(v)] for u, v in each]

    return {
        "name": blade.name,
        "outline": points(*blade.outline_mm),
        "top_edge": points(*blade.top_edge_mm),
        "back_edge": points(*blade.back_edge_mm),
        "outline_u": length(blade.outline_u_mm),
        "holes": [
            {"name": h.name, "at": points(h.at_mm)[0], "diameter": length(h.diameter_mm)}
            for h in blade.holes
        ],
    }


def blade_toml(blade: Blade, unit: Unit, notes: Sequence[str] = ()) -> str:
    """Return a blade as TOML: the unit and the [blade] table of a work order."""
    table = blade_table(blade, unit)
    points = ",\n".join(f"  {p}" for p in table["outline"])
    holes = ",\n".join(
        f"  {{ name = {toml_text(h['name'])}, at = {h['at']}, diameter = {h['diameter']!r} }}"
        for h in table["holes"]
    )
    lines = [
        *(f"# {clean(note)}" for note in notes),
        f'unit = "{unit}"',
        "",
        "[blade]",
        f"name = {toml_text(table['name'])}",
        f"outline = [\n{points},\n]",
        f"top_edge = {table['top_edge']}",
        f"back_edge = {table['back_edge']}",
        f"outline_u = {table['outline_u']!r}",
        f"holes = [\n{holes},\n]" if holes else "holes = []",
    ]
    return "\n".join(lines)


def toml_text(text: str) -> str:
    """Return a text as a TOML basic string."""
    out = []
    for c in text:
        if c in '"\\':
            out.append("\\" + c)
        elif c.isascii() and c.isprintable():  # printed whole in whatever letters a terminal has
            out.append(c)
        else:
            out.append(f"\\u{ord(c):04X}" if ord(c) < 0x10000 else f"\\U{ord(c):08X}")
    return '"' + "".join(out) + '"'


# -- in the book -----------------------------------------------------------------------------------


def keep_traced(shop: Shop, blade: Blade, how: str, source: str) -> tuple[rows.Blade, bool]:
    """Keep a traced blade; return it and whether it is a new version of one that was there.

    A name that the book has makes a new version of that blade, with its methods; holes near those
    of before keep their names. Its versions say how, when and by whom each was traced.

    Raises:
        InputError: no name, or a method that the blade could no longer be read by.
    """
    name = checked_name({"name": blade.name})
    return _keep(shop, replace(blade, name=name), how, source)


def same_blades(shop: Shop, name: str) -> list[rows.Blade]:
    """Return the blade that the book has of that name, if any: a trace is a new version of it."""
    return [b for b in shop.book.blades() if b.name.casefold() == name.casefold()]


@whole
def _keep(shop: Shop, blade: Blade, how: str, source: str) -> tuple[rows.Blade, bool]:
    same = same_blades(shop, blade.name)
    if not same:
        row = replace(row_of_blade(blade, source), traced=how)
        return shop.book.blade(keep_blade(shop, row, usual_methods(blade))), False
    old = same[0]
    blade = replace(blade, holes=_names_kept(blade_of(old).holes, blade.holes))
    row = replace(row_of_blade(blade, source), id=old.id, name=old.name, traced=how)
    for method in shop.book.methods_of(old.id):
        with within(f"method {method.name}"):
            method_of(method, blade)
    return shop.book.correct_blade(row, who=shop.who, reason=f"traced again: {how}"), True


def _names_kept(before: Sequence[Hole], now: Sequence[Hole]) -> tuple[Hole, ...]:
    """Return the holes of now with the names of those of before that they are."""
    names = {h.name for h in before}
    out = []
    for hole in now:
        near = [h for h in before if math.dist(h.at_mm, hole.at_mm) <= SAME_HOLE_MM]
        if near:
            nearest = min(near, key=lambda h: math.dist(h.at_mm, hole.at_mm))
            out.append(replace(hole, name=nearest.name))
            continue
        name, n = hole.name, 1
        while name in names or any(name == o.name for o in out):
            n += 1
            name = f"{hole.name}.{n}"
        out.append(replace(hole, name=name))
    return tuple(out)
