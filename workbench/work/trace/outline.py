"""The outline of a blade seen: points, numbers and edges, in words and at 1:1 on paper."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from html import escape
from typing import cast, get_args

from workbench.errors import InputError
from workbench.fin.blade import Blade
from workbench.fin.trace.calipers import Check, CheckKind, checked, moved_point, shifted
from workbench.measure.display import fine_text
from workbench.measure.lengths import parse_length
from workbench.measure.units import Unit
from workbench.records.book import whole
from workbench.records.store import rows
from workbench.records.tables.roster import blade_of, row_of_blade
from workbench.work.job.shop import Shop
from workbench.work.roster.adding import checked_name, keep_blade, pick
from workbench.work.roster.parts_typed import usual_methods
from workbench.work.text.words import clean

_MARGIN_MM = 12.0
SCALE_MM = 50.0
"""The line that tells whether a page was printed at its size."""

CHECKS = get_args(CheckKind)


def kept_blade(shop: Shop, name: str) -> rows.Blade:
    """Return the blade of that name or number in 'parts'."""
    return pick(name, shop.book.blades(), "blade")


def outline_lines(shop: Shop, row: rows.Blade, unit: Unit) -> list[str]:
    """Return what is known of an outline: how traced, when, by whom, its points and edges."""
    blade = blade_of(row)

    def at(p: tuple[float, float]) -> str:
        return " ".join(f"{fine_text(c, unit):>9}" for c in p)

    known = (
        f"known to {fine_text(row.outline_u_mm, unit)} {unit} (standard uncertainty)"
        if row.outline_u_mm
        else "taken for exact: nobody said how well it is known"
    )
    out = [f"Blade {clean(row.name)}: outline of {len(blade.outline_mm)} points, {known}"]
    for number, version in enumerate(shop.book.blade_versions(row.id), 1):
        part = cast("rows.Blade", version.part)
        how = clean(part.traced) or "typed or from a file"
        out.append(f"Version {number}: {how}, {version.at[:10]}, by {clean(version.who) or '-'}")
    out.append(f"Top edge  {at(blade.top_edge_mm[0])} to {at(blade.top_edge_mm[1])} {unit}")
    out.append(f"Back edge {at(blade.back_edge_mm[0])} to {at(blade.back_edge_mm[1])} {unit}")
    for hole in blade.holes:
        size = fine_text(hole.diameter_mm, unit)
        out.append(f"Hole {clean(hole.name)}: {at(hole.at_mm)} {unit}, diameter {size} {unit}")
    out.append(f"Points forward and outward ({unit}):")
    out += [f"{n:>4} {at(p)}" for n, p in enumerate(blade.outline_mm, 1)]
    return out


# -- on paper --------------------------------------------------------------------------------------


def outline_svg(blade: Blade, title: str) -> str:
    """Return the outline at 1:1 as an SVG page in mm, to lay the blade on.

    Points are numbered, the top and back edge bold; a line of 50 mm tells whether the page was
    printed at its size. The outline itself is written to a ten-millionth of a mm.
    """
    us, vs = zip(*blade.outline_mm, strict=True)
    left, top = min(us) - _MARGIN_MM, min(vs) - _MARGIN_MM
    wide, high = max(us) - left + _MARGIN_MM, max(vs) - top + 2.0 * _MARGIN_MM

    def path(points: Sequence[tuple[float, float]], closed: bool) -> str:
        return "M" + " L".join(f"{u:.7f},{v:.7f}" for u, v in points) + (" Z" if closed else "")

    parts = [
        f'<path d="{path(blade.outline_mm, True)}" fill="none" stroke="#000000" '
        'stroke-width="0.12"/>'
    ]
    parts += [
        f'<circle cx="{h.at_mm[0]:.7f}" cy="{h.at_mm[1]:.7f}" r="{h.diameter_mm / 2.0:.7f}" '
        'fill="none" stroke="#000000" stroke-width="0.12"/>'
        for h in blade.holes
    ]
    # What is no outline is drawn with open lines, so that the page can be traced again.
    for edge in (blade.top_edge_mm, blade.back_edge_mm):
        parts.append(
            f'<path d="{path(edge, False)}" fill="none" stroke="#1a4f9c" stroke-width="0.5" '
            'stroke-dasharray="3 2"/>'
        )
    for number, (u, v) in enumerate(blade.outline_mm, 1):
        parts.append(
            f'<path d="M{u - 0.4:.2f},{v:.2f} L{u + 0.4:.2f},{v:.2f}" stroke="#b00020" '
            'stroke-width="0.15"/>'
        )
        parts.append(f'<text x="{u + 0.6:.2f}" y="{v - 0.5:.2f}" font-size="1.8">{number}</text>')
    y = top + high - 8.0
    x = left + _MARGIN_MM
    parts.append(
        f'<path d="M{x:.2f},{y:.2f} L{x + SCALE_MM:.2f},{y:.2f}" stroke="#000000" '
        'stroke-width="0.3"/>'
    )
    parts.append(
        f'<text x="{x:.2f}" y="{y + 5.0:.2f}" font-size="3.5">{SCALE_MM:g} mm: print at 100 % and '
        f"measure this line. {escape(title)}</text>"
    )
    body = "\n".join(parts)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:.4f}mm" height="{high:.4f}mm" '
        f'viewBox="{left:.4f} {top:.4f} {wide:.4f} {high:.4f}" font-family="sans-serif">\n'
        f"<title>{escape(title)}</title>\n{body}\n</svg>\n"
    )


# -- checked, copied, changed ----------------------------------------------------------------------


def check_of(blade: Blade, text: str, unit: Unit) -> Check:
    """Return a check reading typed as ``length=7.31`` beside what the outline makes it.

    Raises:
        InputError: not one of length, height and hole, or not a length.
    """
    what, _, number = text.partition("=")
    what = what.strip().lower()
    if what not in CHECKS or not number.strip():
        raise InputError("--check", text, "length=NUMBER, height=NUMBER or hole=NUMBER")
    read = parse_length(number, unit, f"--check {what}").mm
    return checked(blade, cast("CheckKind", what), read)


def reshaped(blade: Blade, moves: Sequence[str], shifts: Sequence[str], unit: Unit) -> Blade:
    """Return a blade with points moved (``12 7.31 0.45``) and edges shifted (``12-18 0.01``).

    Raises:
        InputError: what is wrong with a move or a shift, or an outline that no blade has.
    """
    for text in moves:
        words = text.split()
        if len(words) != 3 or not words[0].isdecimal():
            raise InputError("--move", text, "a point's number, forward, outward: 12 7.31 0.45")
        u, v = (parse_length(w, unit, "--move").mm for w in words[1:])
        blade = moved_point(blade, int(words[0]), (u, v))
    for text in shifts:
        words = text.split()
        ends = words[0].split("-") if words else []
        if len(words) != 2 or len(ends) != 2 or not all(e.isdecimal() for e in ends):
            raise InputError("--shift", text, "two points' numbers and how far out: 12-18 0.01")
        by = parse_length(words[1], unit, "--shift").mm
        blade = shifted(blade, int(ends[0]), int(ends[1]), by)
    return blade


@whole
def copy_blade(shop: Shop, row: rows.Blade, name: str, blade: Blade) -> rows.Blade:
    """Keep a changed outline as a new blade, with the reading methods of the one it came from.

    Raises:
        InputError: a blank name or one that is there.
    """
    new = replace(blade, name=checked_name({"name": name}))
    how = f"copied from {row.name}, changed"
    kept = replace(row_of_blade(new, row.source_text), traced=how)
    methods = shop.book.methods_of(row.id)
    copy = shop.book.blade(keep_blade(shop, kept, () if methods else usual_methods(new)))
    for method in methods:
        shop.book.add_method(replace(method, id="", blade_id=copy.id), who=shop.who)
    return copy
