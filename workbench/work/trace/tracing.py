"""A file traced: a picture or a drawing in, a blade, its table and its version in the book."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from workbench.errors import InputError
from workbench.fin.parts.blade import Blade, Hole
from workbench.fin.trace.traced import Traced, blade_of_rings
from workbench.frozen import dataclass
from workbench.measure.display import length_text
from workbench.measure.lengths import parse_length
from workbench.measure.units import MM_PER_INCH, Unit
from workbench.records.store import rows
from workbench.work.job.shop import Shop
from workbench.work.order.rigs import blade_of, method_of, row_of_blade
from workbench.work.roster.adding import checked_name, keep_blade
from workbench.work.roster.parts_typed import usual_methods, within
from workbench.work.trace.drawing import FLAT_MM, read_drawing

DRAWINGS = {".svg": "svg", ".dxf": "dxf", ".csv": "csv", ".txt": "csv"}
DRAWING_U_MM = FLAT_MM / 2.0
"""A drawing's own uncertainty: that of its flattened curves. How well the blade was made after the
drawing, nobody said."""

SAME_HOLE_MM = 3.0
"""A hole of a new trace this near to one of the blade before is that hole and keeps its name."""

TRACED_MM = (50.0, 500.0)
"""How long a blade is along its top edge, with room: another length is a slip of unit or scale."""

SHOWN_STEP: dict[Unit, str] = {"in": "0.0001", "mm": "0.001"}


@dataclass(frozen=True, slots=True)
class FileTraced:
    """What a file gave: the blade, in which unit it is told, how it was traced, and notes."""

    traced: Traced
    unit: Unit
    how: str
    notes: tuple[str, ...] = ()

    @property
    def blade(self) -> Blade:
        """The blade."""
        return self.traced.blade


def trace_file(
    path: str,
    name: str,
    *,
    dpi: str = "",
    across: str = "",
    square: str = "",
    unit: Unit | None = None,
    other_end: bool = False,
) -> FileTraced:
    """Trace a picture or a drawing; texts as typed, bare lengths in ``unit`` (None: inch).

    Raises:
        InputError: what is wrong with the file or an option.
    """
    kind = DRAWINGS.get(Path(path).suffix.lower())
    name = name or Path(path).stem
    given = [
        f"--{key}" for key, text in (("dpi", dpi), ("across", across), ("square", square)) if text
    ]
    if len(given) > 1:
        raise InputError(" ".join(given), "together", "one of --dpi, --across and --square")
    if kind is None:
        return _from_picture(path, name, dpi, across, square, unit or "in", other_end)
    if given:
        raise InputError(given[0], "a drawing", "a drawing without a scale, or a picture")
    drawn = read_drawing(path, kind, unit)
    traced = blade_of_rings(name, drawn.rings, u_mm=DRAWING_U_MM, other_end=other_end)
    _check_size(traced.blade, drawn.unit, "unit")
    flat = length_text(FLAT_MM, drawn.unit, SHOWN_STEP[drawn.unit])
    how = f"drawing ({kind.upper()}), curves flattened to {flat} {drawn.unit}"
    notes = [f"traced from a {how}"]
    if not drawn.is_stated:
        notes.append(f"the file states no unit: taken as {drawn.unit}; --unit says otherwise")
    return FileTraced(traced, drawn.unit, how, (*notes, *_doubts(traced, drawn.unit)))


def _check_size(blade: Blade, unit: Unit, what: str) -> None:
    low, high = TRACED_MM
    if low <= blade.length_mm <= high:
        return
    found = f"a blade {length_text(blade.length_mm, unit, SHOWN_STEP[unit])} {unit} long"
    ends = " to ".join(length_text(mm, unit, "0.1") for mm in TRACED_MM)
    raise InputError("outline", found, f"one of {ends} {unit}: is the {what} right?")


def _from_picture(
    path: str, name: str, dpi: str, across: str, square: str, unit: Unit, other_end: bool
) -> FileTraced:
    try:
        from workbench.work.trace.scan import Scale, trace_picture  # an extra: loaded for pictures
    except ImportError:
        accepted = "pip install '.[trace]' first"
        raise InputError("file", "a picture needs more", accepted) from None
    scale = None
    how = ""
    if dpi:
        try:
            scale = Scale("dpi", float(dpi))
        except ValueError as why:
            if isinstance(why, InputError):
                raise
            raise InputError("--dpi", dpi, "a number of dots per inch, such as 600") from None
        how = f"scan at {scale.value:g} dpi"
    elif across:
        scale = Scale("across", parse_length(across, unit, "--across").mm)
        how = f"picture, {across}{'' if _has_unit(across) else f' {unit}'} across"
    elif square:
        scale = Scale("square", parse_length(square, unit, "--square").mm)
        how = f"photo beside a square of {square}" + ("" if _has_unit(square) else f" {unit}")
    traced = trace_picture(path, name, scale, other_end=other_end)
    _check_size(traced.blade, unit, "scale")
    u = length_text(traced.blade.outline_u_mm, unit, SHOWN_STEP[unit])
    notes = [f"traced from a {how}: outline known to {u} {unit} (standard uncertainty)"]
    if scale is not None and scale.by == "dpi":
        notes.append("a scanner's own scale is off by up to 0.1 %: check the overall length")
    return FileTraced(traced, unit, how, (*notes, *_doubts(traced, unit)))


def _has_unit(text: str) -> bool:
    return not text.strip()[-1:].isdigit()


def _doubts(traced: Traced, unit: Unit) -> list[str]:
    """Return what is to be looked at before the outline is used, in words."""
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
    per = MM_PER_INCH if unit == "in" else 1.0

    def length(mm: float) -> float:
        return round(mm / per, 8) + 0.0

    def point(p: tuple[float, float]) -> list[float]:
        return [length(p[0]), length(p[1])]

    return {
        "name": blade.name,
        "outline": [point(p) for p in blade.outline_mm],
        "top_edge": [point(p) for p in blade.top_edge_mm],
        "back_edge": [point(p) for p in blade.back_edge_mm],
        "outline_u": length(blade.outline_u_mm),
        "holes": [
            {"name": h.name, "at": point(h.at_mm), "diameter": length(h.diameter_mm)}
            for h in blade.holes
        ],
    }


def blade_toml(blade: Blade, unit: Unit, notes: Sequence[str] = ()) -> str:
    """Return a blade as TOML: the unit and the [blade] table of a work order."""
    from workbench.work.text.words import clean

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
    return shop.book.batch(_keep, shop, replace(blade, name=name), how, source)


def _keep(shop: Shop, blade: Blade, how: str, source: str) -> tuple[rows.Blade, bool]:
    same = [b for b in shop.book.blades() if b.name.casefold() == blade.name.casefold()]
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
            out.append(
                replace(hole, name=min(near, key=lambda h: math.dist(h.at_mm, hole.at_mm)).name)
            )
            continue
        name, n = hole.name, 1
        while name in names or any(name == o.name for o in out):
            n += 1
            name = f"{hole.name}.{n}"
        out.append(replace(hole, name=name))
    return tuple(out)
