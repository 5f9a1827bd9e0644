"""The curve of a ski's base as measured at the bench: kept, struck out, and used on purpose."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import assert_never

from workbench.errors import BenchError, InputError
from workbench.fin.frame import Base
from workbench.fin.wing import MeasuredCurve, from_sagitta, from_three_depths
from workbench.measure.lengths import parse_length
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.text.fields import Field, filled

U_FEELER_MM = 0.015
"""Standard uncertainty of a gap by feeler: half a step of 0.05 mm, rectangular (our default;
common practice, no source)."""

U_DEPTH_MM = 0.02
"""Standard uncertainty of a depth from a straightedge by a caliper's rod (our default)."""

U_PLACE_MM = 0.5
"""Standard uncertainty of a place along the ski, and of a straightedge's length, by a rule."""

SAGITTA = (
    Field(
        "shape", "Shape", "bulge: it rocks, equal gaps at both ends; hollow: gap at its middle",
        "SHAPE", default="bulge",
    ),
    Field(
        "from", "Rear end at", "of the straightedge, from the tail end", "PLACE", default="0"
    ),
    Field("chord", "Chord", "how far apart the two gaps, or the two feet, are", "LENGTH"),
    Field("gap", "Gap", "the feeler that just goes in; 0: none goes in", "LENGTH"),
)  # fmt: skip
"""What is asked of a curve by straightedge and feeler."""

DEPTHS = tuple(
    field
    for n, name in enumerate(("rear", "middle", "front"), 1)
    for field in (
        Field(f"place_{n}", f"Place {n}", f"of the {name} depth, from the tail end", "PLACE"),
        Field(
            f"depth_{n}", f"Depth {n}",
            "from the straightedge, on two equal blocks, down to the base", "DEPTH",
        ),
    )
)  # fmt: skip
"""What is asked of a curve by three depths."""

FIELDS: dict[rows.CurveKind, tuple[Field, ...]] = {"sagitta": SAGITTA, "three depths": DEPTHS}
_BETWEEN = " | "


@dataclass(frozen=True, slots=True)
class KeptCurve:
    """A measurement of the ski's base as kept, and what it says; struck ones are not among them."""

    row: rows.Curve
    measured: MeasuredCurve


def measured_of(kind: rows.CurveKind, fields: Mapping[str, str], unit: Unit) -> MeasuredCurve:
    """Return what a curve typed as texts of ``FIELDS`` says.

    Raises:
        InputError: naming the field that cannot be used.
    """
    match kind:
        case "sagitta":
            sign = -1.0 if _is_hollow(fields.get("shape", "")) else 1.0
            start, chord, gap = (_length(fields, f.key, unit) for f in SAGITTA[1:])
            return from_sagitta(start + chord / 2.0, chord, sign * gap, U_PLACE_MM, U_FEELER_MM)
        case "three depths":
            places = [_length(fields, f.key, unit) for f in DEPTHS[::2]]
            depths = [_length(fields, f.key, unit) for f in DEPTHS[1::2]]
            return from_three_depths(places, depths, U_PLACE_MM, U_DEPTH_MM)
        case _:
            assert_never(kind)


def keep_curve(
    shop: Shop, view: JobView, kind: rows.CurveKind, fields: Mapping[str, str], unit: Unit
) -> KeptCurve:
    """Keep a measurement of the ski's base; it is not the ski's base until that is asked for."""
    texts = filled(FIELDS[kind], fields)
    found = measured_of(kind, texts, unit)
    text = _BETWEEN.join(each.strip() for each in texts.values())
    curve = rows.Curve(
        ski_id=view.ski.id, kind=kind, text=text, unit=unit,
        from_x_mm=found.from_x_mm, to_x_mm=found.to_x_mm, sagitta_mm=found.sagitta_mm,
        radius_mm=found.radius_mm, apex_mm=found.apex_mm,
    )  # fmt: skip
    return KeptCurve(shop.book.add_entry(shop.who, curve), found)


def latest_curve(shop: Shop, ski_id: str) -> KeptCurve | None:
    """Return the latest measurement of a ski's base that is not struck out, None where none is."""
    live = [row for row in shop.book.curves_of(ski_id) if row.struck is None]
    return _read_again(live[-1]) if live else None


def _read_again(row: rows.Curve) -> KeptCurve | None:
    """Return what a kept measurement says, from what was typed."""
    keys = [field.key for field in FIELDS[row.kind]]
    fields = dict(zip(keys, row.text.split(_BETWEEN), strict=False))
    try:
        return KeptCurve(row, measured_of(row.kind, fields, row.unit))
    except BenchError:  # typed on a bench that kept its texts otherwise
        return None


def strike_curve(shop: Shop, curve: KeptCurve, reason: str) -> None:
    """Strike a measurement out with a reason; it stays readable."""
    shop.book.strike(curve.row.id, reason.strip(), shop.who)


def use_curve(shop: Shop, view: JobView) -> JobView:
    """Make the latest measurement the ski's base, on purpose; return the job anew.

    A curve that does not stand clear of its own uncertainty makes a flat base.

    Raises:
        InputError: nothing measured, a hollow base, or studs are being turned.
    """
    shop.act(view, None, partial(_use_curve, shop))
    return shop.view(view.job.id)


def _use_curve(shop: Shop, now: JobView) -> None:
    curve = latest_curve(shop, now.ski.id)
    if curve is None:
        raise InputError("base", "(not measured)", "a curve measured first")
    if now.progress.mid_pass:
        accepted = "finish this round and measure first: the base is part of every reading"
        raise InputError("base", "in the middle of a round", accepted)
    radius, apex = _as_base(curve.measured)
    ski = replace(shop.book.ski(now.ski.id), base_radius_mm=radius, base_apex_mm=apex)
    shop.book.correct_ski(ski, who=shop.who)


def _as_base(found: MeasuredCurve) -> tuple[float | None, float | None]:
    if not found.told_from_flat:
        return None, None
    if found.curvature < 0.0:
        raise InputError(
            "base", "hollow", "a flat base or one that bulges: the fin's place cannot be worked "
            "out over a hollow one",
        )  # fmt: skip
    base = Base(found.radius_mm, found.apex_mm)
    return base.radius_mm, base.apex_mm


def _is_hollow(text: str) -> bool:
    word = text.strip().casefold()
    if word in ("bulge", "b", "out"):
        return False
    if word in ("hollow", "h"):
        return True
    raise InputError(
        "shape", text, "bulge (gaps at the straightedge's ends) or hollow (gap at its middle)"
    )


def _length(fields: Mapping[str, str], key: str, unit: Unit) -> float:
    words = key.replace("_", " ")
    length = parse_length(fields.get(key, ""), unit, words)
    if length.mm < 0.0:
        raise InputError(words, fields.get(key, ""), "a length that is not negative")
    return length.mm
