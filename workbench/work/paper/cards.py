"""What a setting card says, as values: the ski, its numbers in both units, the wing, what to mind.

The card goes to the owner. Its text is ready to be laid out: on one line each, nothing hidden in
it, and cut with … where it is too long for the page.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from importlib import import_module
from importlib.util import find_spec
from typing import Any

from workbench.errors import InputError
from workbench.fin.plan.guidance import COVERAGE
from workbench.fin.reading.method import TRAITS
from workbench.measure.display import length_text
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.work.drawing.scene import Scene, method_caption, method_scene, side_scene
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job.stages import LOOSE, NOT_RELEASED
from workbench.work.job_text.setting_words import (
    NAME,
    NOT_READ,
    NOTE,
    OUTSIDE,
    base_shape_words,
    both,
    code_text,
    fine_both,
    hold_words,
    locked_words,
    result_words,
    target_words,
    where_words,
    wing_as_set_words,
)
from workbench.work.job_text.view_words import stage_words, stand_in_words
from workbench.work.order.order_answers import exposed_short, exposure_at
from workbench.work.order.round_records import last_of, live
from workbench.work.paper.day_sheet import last_initials
from workbench.work.text.local_time import local_day
from workbench.work.text.safe_text import visible
from workbench.work.text.words import CAUTION_EDGES
from workbench.work.trust.job_reading import Line, readings_now
from workbench.work.trust.reading_tools import at_words

MOST_NOTES = 3
"""Notes that stand on the card; what is more stays in the book, and the card says so."""

CAUTIONS = (
    CAUTION_EDGES,
    "Clamp bolts: snug, evenly, to the maker's figure. A loose fin throws a rider.",
    "Look at every clamp bolt before the first ride and once more after it.",
    "The makers' instructions and the event's rules win over this card.",
    "Setting a fin is work for a qualified technician.",
    "Another method gives another number: compare like with like.",
)
"""Common practice, no source."""

RECHECK = (
    "Before the first ride: clamp bolts, block screws{wing} snug; blade does not move",
    "After the first ride: the same once more, and the three numbers where anything moved",
)

IN_HEADING = ("Ski", "Rider")
"""Facts that stand large above the others on a page."""

MEANS = (
    "± is what a number is good to: about 19 times in 20 the true value lies that near "
    "(expanded uncertainty, k = 2)."
)


@dataclass(frozen=True, slots=True)
class CardNumber:
    """One number of a setting: as read in both units, and how it was read on this very blade.

    ``inch`` and ``mm`` are :data:`NOT_READ` where there is no reading, ``good_to`` then is empty.
    """

    quantity: str
    method: str
    inch: str
    mm: str
    good_to: str
    target: str
    result: str
    came_in: str
    where: str
    how: tuple[str, ...]
    scene: Scene
    caption: str

    @property
    def is_read(self) -> bool:
        """Whether there is a number at all."""
        return self.inch != NOT_READ

    def in_units(self, first: Unit) -> tuple[str, str]:
        """Return the number in one unit and in the other; the second is empty where not read."""
        if not self.is_read:
            return NOT_READ, ""
        inch, mm = f"{self.inch} in", f"{self.mm} mm"
        return (inch, mm) if first == "in" else (mm, inch)

    @property
    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return what is told of the number beside its method: (label, words)."""
        return ("target", self.target), ("result", self.result), ("received", self.came_in)

    @property
    def warning(self) -> str:
        """Return that the number is outside its tolerance, nothing where it is not."""
        return f"! {OUTSIDE}" if self.result.startswith(OUTSIDE) else ""

    @property
    def both(self) -> str:
        """Return the number in both units on one line."""
        return f"{self.inch} in = {self.mm} mm" if self.is_read else NOT_READ


@dataclass(frozen=True, slots=True)
class Card:
    """A setting card: ``facts`` are (label, words) of the ski and the job, in order.

    ``status`` says whether the ski is released, and by whom; ``key`` tells its files from others.
    ``unit`` is the ski's own, in which its numbers stand first. ``code`` is the setting as the line
    that a QR code carries.
    """

    shop: str
    ski: str
    day: str
    initials: str
    released: bool
    status: str
    facts: tuple[tuple[str, str], ...]
    numbers: tuple[CardNumber, ...]
    wing: str
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    recheck: tuple[str, ...]
    side: Scene
    side_caption: str
    key: str
    unit: Unit = "in"
    code: str = ""

    @property
    def title(self) -> str:
        """Return the card's heading."""
        return f"Setting card: {self.ski}"

    @property
    def when(self) -> str:
        """Return the day and who, on one line."""
        return " · ".join(part for part in (self.day, self.initials) if part)

    @property
    def means(self) -> str:
        """Return what ± means, nothing where there is none on the card."""
        return MEANS if any(number.good_to for number in self.numbers) else ""

    @property
    def rider(self) -> str:
        """Return whose ski it is."""
        return dict(self.facts)["Rider"]

    @property
    def more_facts(self) -> tuple[tuple[str, str], ...]:
        """Return the facts that do not stand in the heading."""
        return tuple((label, words) for label, words in self.facts if label not in IN_HEADING)

    @property
    def wing_glance(self) -> tuple[str, str]:
        """Return the wing's angle, or that there is none, and what is said of it behind a comma."""
        angle, _, how = self.wing.partition(", ")
        return angle.removesuffix(" to the base"), how


def card_of(shop: Shop, view: JobView) -> Card:
    """Return the setting card of a job as it is.

    A re-check has no numbers of its own: its card is that of the setting that was checked.
    """
    checked = _checked_setting(shop, view)
    source = checked or view
    sign_off = last_of(source.facts, rows.SignOff)
    ski = source.ski
    wing = ", wing screws" if ski.has_wing else ""
    return Card(
        shop=visible(shop.book.setting("shop", "") or "", NAME),
        ski=visible(ski.name, NAME),
        day=_day(source, sign_off),
        initials=visible(last_initials(source), 12),
        released=source.progress.state.release is not None,
        status=_status(source, sign_off),
        facts=_facts(source),
        numbers=tuple(_number(source, line) for line in source.lines),
        wing=wing_as_set_words(source),
        notes=_notes(source, view if checked is not None else None),
        cautions=CAUTIONS,
        recheck=tuple(text.format(wing=wing) for text in RECHECK),
        side=_side(source),
        side_caption=_side_caption(source),
        key=source.job.id[-8:],
        unit=ski.unit,
        code=_code(source, _day(source, sign_off)),
    )


# -- parts -------------------------------------------------------------------------------------


def _checked_setting(shop: Shop, view: JobView) -> JobView | None:
    """Return the setting that a re-check looked at; None where the job is a setting itself."""
    if view.job.kind != "recheck":
        return None
    earlier = [
        h.job.id
        for h in shop.book.history_of_ski(view.ski.id)
        if h.job.kind == "setting"
        and h.job.id < view.job.id
        and h.job.struck is None
        and live(h.facts, rows.SignOff)
    ]
    return shop.view(earlier[-1]) if earlier else None


def _code(view: JobView, day: str) -> str:
    unit = view.ski.unit
    numbers: list[tuple[str, str]] = [
        (line.method.quantity, f"{length_text(line.final_mm, unit)} {unit}")
        for line in view.lines
        if line.final_mm is not None
    ]
    wing = view.wing_set
    if wing is not None:
        numbers.append(("wing", f"{wing.angle_deg:g}"))
    return code_text(view.ski.serial or view.ski.name, numbers, day)


def _day(view: JobView, sign_off: rows.SignOff | None) -> str:
    return local_day(sign_off.at) if sign_off is not None else visible(view.job.day, 10)


def _status(view: JobView, sign_off: rows.SignOff | None) -> str:
    released = _released(view, sign_off)
    return f"{stand_in_words(view)}; {released}" if view.stand_in else released


def _released(view: JobView, sign_off: rows.SignOff | None) -> str:
    state = view.progress.state
    loose = f"; {LOOSE}" if state.loose else ""
    if state.release is not None:
        return f"Released by {_by(view, state.release)} on {local_day(state.release.at)}"
    if sign_off is not None:
        by = f"signed off by {_by(view, sign_off)} on {local_day(sign_off.at)}"
        if state.standing == "set again":
            return f"NOT THE PRESENT SETTING: {by}, but {state.why}; a later card holds"
        return f"{NOT_RELEASED}, do not ride: {by}, but {visible(state.why, NOTE)}{loose}"
    reason = visible(view.progress.reason, NAME) if view.stage == "set aside" else ""
    why = f": {reason}" if reason else ""
    elsewhere = f"; {state.elsewhere}" if state.elsewhere else ""
    return f"{NOT_RELEASED}, do not ride: {stage_words(view)}{why}{loose}{elsewhere}"


def _by(view: JobView, sign_off: rows.SignOff) -> str:
    eyes = visible(view.progress.eyes, 12)
    return f"{visible(sign_off.who, 12)}{f', looked over by {eyes}' if eyes else ''}"


def _facts(view: JobView) -> tuple[tuple[str, str], ...]:
    ski = view.ski
    model = " ".join(part for part in (ski.model.strip(), ski.size.strip()) if part)
    count = view.progress.pass_number
    known = (
        ("Ski", ski.name), ("Rider", ski.rider), ("Model", model), ("Serial", ski.serial),
        ("Blade", view.blade_name), ("Block", view.block_name),
    )  # fmt: skip
    named = tuple((label, visible(text, NAME) or "—") for label, text in known)
    later = tuple(("As it was", visible(words, NAME)) for words in view.corrected)
    base = ("Base", base_shape_words(view))
    return (*named, *later, base, *_exposed(view), ("Rounds", str(count)), *_warmth(view))


def _exposed(view: JobView) -> tuple[tuple[str, str], ...]:
    """Return what of the blade is out of the base, where the readings say where it is."""
    found = exposure_at(view.rig, view.pose) if view.pose is not None else None
    return (("Exposed", exposed_short(found.seen, view.ski.unit)),) if found else ()


def _warmth(view: JobView) -> tuple[tuple[str, str], ...]:
    """Return at which temperature the numbers were read, where that was stated."""
    known = view.progress.temperatures
    named = sorted({r.temperature_id or "" for line in view.lines for r in line.latest})
    texts = dict.fromkeys(at_words(known[i]) for i in named if i in known)
    said = visible(f"as at 20 °C; read with {'; '.join(texts)}", NOTE)
    return (("Lengths", said),) if texts else ()


def _number(view: JobView, line: Line) -> CardNumber:
    method = line.method
    scene = method_scene(view.rig, view.pose, method)
    read = line.final_mm is not None
    value = line.final_mm or 0.0
    return CardNumber(
        quantity=TRAITS[method.quantity].words,
        method=visible(method.name, NAME),
        inch=length_text(value, "in") if read else NOT_READ,
        mm=length_text(value, "mm") if read else NOT_READ,
        good_to=fine_both(COVERAGE * line.u_mm) if read and line.u_mm is not None else "",
        target=target_words(line),
        result="; ".join(part for part in (result_words(line), locked_words(line)) if part),
        came_in=both(line.received_mm) if line.received_mm is not None else NOT_READ,
        where=where_words(method, view),
        how=hold_words(method),
        scene=scene,
        caption=method_caption(method, scene.meets),
    )


def _notes(view: JobView, recheck: JobView | None) -> tuple[str, ...]:
    kept = (mark.text for mark in live(view.facts, rows.Mark) if mark.kind == "note")
    texts = (view.ski.note, view.job.note, *kept)
    out = [visible(text.strip(), NOTE) for text in texts if text.strip()]
    if recheck is not None:
        out.insert(0, _recheck_note(recheck))
    more = len(out) - MOST_NOTES
    if more > 0:
        out = [*out[:MOST_NOTES], f"and {more} more in the shop's book"]
    return tuple(out)


def _recheck_note(view: JobView) -> str:
    sign_off = last_of(view.facts, rows.SignOff)
    if view.stage != "signed off" or sign_off is None:
        return f"The check after the ride is not done: {stage_words(view)}."
    by = visible(sign_off.who, 12)
    if view.unreleased:
        return f"The check after the ride by {by} does not count: {view.unreleased}."
    lines = ((x.method.quantity, x.locked_mm) for x in view.lines)
    said = ", ".join(f"{quantity} {both(mm)}" for quantity, mm in lines if mm is not None)
    found = f" Read with the bolts tight: {said}." if said else ""
    return f"Checked again after the ride by {by} on {local_day(sign_off.at)}.{found}"


def _side(view: JobView) -> Scene:
    return side_scene(view.rig, view.pose, None, readings_now(view.lines))


def _side_caption(view: JobView) -> str:
    if not view.rig.blade.is_traced:
        return "Side view: the base alone; the blade's outline is not known yet."
    if view.pose is None:
        return "Side view at a made-up place: the readings do not fix the blade yet."
    tilt = math.degrees(view.pose.tilt_rad)
    return (
        "Side view, base up, tail at the left: the blade where it was read "
        f"(tilt {tilt:+.2f}°), studs, and where the jaws touched."
    )


# -- its QR code -----------------------------------------------------------------------------------


BORDER = 4
"""Light modules that stay free around a code."""

_EXTRA = "segno, which is not installed: pip install '.[qr]'"


def has_codes() -> bool:
    """Tell whether QR codes can be drawn here."""
    try:
        return find_spec("segno") is not None
    except (ImportError, ValueError):
        return False


def _qr(text: str) -> Any:
    try:
        segno = import_module("segno")
    except ImportError:
        raise InputError("format", "label", _EXTRA) from None
    return segno.make(text, error="m", micro=False, boost_error=False)


def code_svg(text: str) -> str:
    """Return the code of a text as SVG for a page.

    Raises:
        InputError: segno is not installed; says how to get it.
    """
    drawn = _qr(text).svg_inline(omitsize=True, border=BORDER, title="QR code of the setting")
    return str(drawn)


def code_rows(text: str) -> list[list[bool]]:
    """Return the code of a text as rows of modules, dark ones true, the border included.

    Raises:
        InputError: segno is not installed; says how to get it.
    """
    return [[bool(dark) for dark in row] for row in _qr(text).matrix_iter(border=BORDER)]
