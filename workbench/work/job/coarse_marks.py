"""Coarse marks at the bench: what each should read, taking a number once, and adding a mark."""

from __future__ import annotations

from collections.abc import Mapping

from workbench.errors import InputError
from workbench.fin.plan.plan import DEFAULT_TOLERANCE_MM
from workbench.fin.reading.method import (
    COARSE_U_MM,
    LONGEST_SCALE_MM,
    TRAITS,
    Method,
    Quantity,
    Scribe,
)
from workbench.measure.display import change_text, fine_text, length_text
from workbench.measure.lengths import Length, parse_length
from workbench.measure.units import Unit, other
from workbench.records.store import rows
from workbench.records.store.row_checks import keepable
from workbench.records.tables.roster import row_of_method
from workbench.work.job.job_view import CoarseMark, JobView
from workbench.work.job.shop import Shop
from workbench.work.text.fields import Field, filled
from workbench.work.text.words import clean
from workbench.work.trust.plausibility import suspects_in

USUAL_MM = 80.0
"""A larger number on a scale is likelier one of the other unit, where nothing says what to expect
(common practice, no source)."""

READ_AGAIN = "read again"
"""Why a mark's number is struck out when another is typed: it counts once."""

_KINDS: dict[str, Quantity] = {"scale": "tail", "lines": "depth"}

MARK = (
    Field("name", "Mark", "a name of its own on this blade, such as scale, left side", "NAME"),
    Field(
        "kind", "Kind", "scale: how far forward; lines: how far out of the base", "KIND",
        default="scale",
    ),
    Field(
        "unit", "Unit", "in or mm: what bare numbers here are in", "UNIT",
        blank="the bench's",
    ),
    Field(
        "at", "Scribe", "from the tail end, and how far out if not on the base: '2.0 0'", "PLACE"
    ),
    Field(
        "zero", "Zero", "of the scale, from the top edge's rear end: forward, or outward", "LENGTH"
    ),
    Field(
        "grows", "Grows", "figures, toward tail or tip (scale), top or outer (lines)", "WAY",
        blank="tail, top",
    ),
    Field(
        "u", "Sure to", "standard uncertainty of one reading", "LENGTH", blank="0.5 mm, by eye"
    ),
)  # fmt: skip
"""What is asked of a new coarse mark."""


def take_mark(shop: Shop, view: JobView, mark: CoarseMark, text: str, unit: Unit) -> JobView:
    """Keep what a mark reads in the round under way; a second number takes the place of the first.

    Raises:
        InputError: not a length, longer than any scale, a number that only the other unit makes
            plausible, or a stage at which no mark is read.
    """

    def write(now: JobView) -> None:
        length = _understood(mark, text, unit)
        number = now.progress.pass_number
        taken = rows.Reading(
            method_id=mark.method_id,
            pass_number=number,
            text=text,
            unit=length.unit,
            mm=length.mm,
            caliper_id=None,
            how="typed",
        )
        if mark.latest:
            shop.book.correct_reading(mark.latest[-1].id, shop.who, READ_AGAIN, taken)
        else:
            shop.book.add_fact(now.job.id, shop.who, taken)

    return shop.keep(view, "mark", write)


def _understood(mark: CoarseMark, text: str, unit: Unit) -> Length:
    name = mark.method.name
    length = parse_length(text, unit, name)
    exchanged = parse_length(text, other(unit), name)
    if not length.named and not _is_likely(mark, length.mm) and _is_likely(mark, exchanged.mm):
        raise InputError(name, text, f"its unit typed with it: is it {text} {other(unit)}?")
    if abs(length.mm) > LONGEST_SCALE_MM:
        accepted = f"a number on the scale, at most {length_text(LONGEST_SCALE_MM, unit)} {unit}"
        raise InputError(name, text, accepted)
    return length


def _is_likely(mark: CoarseMark, mm: float) -> bool:
    near = mark.is_near(mm)
    return abs(mm) <= USUAL_MM if near is None else near


def mark_place(method: Method, unit: Unit) -> str:
    """Return where a coarse mark is read: its scribe, its scale's zero and its uncertainty."""
    scribe, scale = method.scribe, TRAITS[method.quantity].scale
    if scribe is None or scale is None:
        return ""
    x, y, zero = (length_text(v, unit) for v in (*scribe.at_mm, scribe.zero_mm))
    u_text = fine_text(method.stated_u_mm or COARSE_U_MM, unit)
    return (
        f"Scribe {x} from the tail end, {y} out; {scale.words}, zero {zero} {scale.way} on the "
        f"blade, its figures growing toward {scale.toward[scribe.is_reversed]}; u {u_text} {unit}."
    )


def off_words(mark: CoarseMark, unit: Unit) -> str:
    """Return how a mark compares with the fine readings, in a few words."""
    if mark.reading is None:
        return "not read"
    if mark.off_mm is None:
        return "read"
    if mark.agrees:
        return "agrees"
    fine = "0.001" if unit == "in" else "0.01"
    return f"{change_text(mark.off_mm, unit, fine)} {unit} off"


def suspect_words(view: JobView, unit: Unit) -> tuple[str, ...]:
    """Return a sentence for each reading of this round that is to be taken again."""
    return tuple(
        f"take {clean(s.method)} again: {s.cause}" for s in suspects_in(view.contradictions, unit)
    )


# -- a new mark ----------------------------------------------------------------------------------


def add_mark(shop: Shop, view: JobView, fields: Mapping[str, str]) -> str:
    """Add a coarse mark of the fields ``MARK`` to the blade of a ski in hand.

    Returns the method's id.

    Raises:
        InputError: a field that cannot be, by its name.
    """
    texts = filled(MARK, fields)
    name = texts["name"].strip()
    keepable("name", name)
    known = shop.book.methods_of(view.ski.blade_id)
    if not name or any(m.name.casefold() == name.casefold() for m in known):
        raise InputError("name", texts["name"], "a name that no method of this blade has")
    kind = texts["kind"].strip().lower()
    if kind not in _KINDS:
        raise InputError("kind", texts["kind"], "'scale' or 'lines'")
    quantity, unit = _KINDS[kind], shop.unit_typed(texts["unit"])
    zero = parse_length(texts["zero"], unit, "zero").mm
    reverse = _reversed(texts["grows"], quantity)
    scribe = Scribe(_at(texts["at"], unit), zero, reverse)
    u_text = texts["u"]
    u_mm = parse_length(u_text, unit, "u").mm if u_text.strip() else None
    try:
        method = Method(name, quantity, scribe=scribe, u_mm=u_mm)
    except InputError as why:
        raise InputError(why.field.rpartition(" ")[2], why.value, why.accepted) from None
    row = row_of_method(method, view.ski.blade_id, DEFAULT_TOLERANCE_MM)
    return shop.book.add_method(row, who=shop.who).id


def _at(text: str, unit: Unit) -> tuple[float, float]:
    words = text.replace(";", " ").split()
    if len(words) not in (1, 2):
        accepted = "how far from the tail end, and how far out where it is not on the base: 2.0 0"
        raise InputError("at", text, accepted)
    x, *rest = (parse_length(w.removesuffix(","), unit, "at").mm for w in words)
    return (x, rest[0] if rest else 0.0)


def _reversed(text: str, quantity: Quantity) -> bool:
    scale = TRAITS[quantity].scale
    assert scale is not None, "a kind of mark has a scale: see KINDS"
    usual, contrary = scale.grows_to
    word = text.strip().lower()
    if word not in ("", usual, contrary):
        raise InputError("grows", text, f"'{usual}' or '{contrary}': where the figures grow to")
    return word == contrary
