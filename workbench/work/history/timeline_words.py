"""What each row of a ski's history says, in the bench's unit, with what was typed beside it."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias

from workbench.fin.parts.studs import said
from workbench.measure.display import fine_text, length_text, turns_text
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.work.history.history import History
from workbench.work.job.entry_words import MARK_WORDS, described, step_done_words
from workbench.work.job.job_view import WING_AIM
from workbench.work.job.stages import NOT_RELEASED
from workbench.work.order.round_records import TURN_ANSWERS, is_parts_text
from workbench.work.roster.correction_words import version_words
from workbench.work.text.words import clean

Row: TypeAlias = rows.AnyFact | rows.Pair | rows.Curve | rows.SkiVersion | rows.PartVersion


HOW_WORDS: dict[str, str] = {"typed": "typed", "gauge": "off the caliper", "demo": "demo"}


def row_words(row: Row, history: History, unit: Unit) -> str:
    """Return what a row says: its value in ``unit``, its method, and what was typed."""
    return _TELLERS[type(row)](row, history, unit)


def _reading(row: rows.Reading, history: History, unit: Unit) -> str:
    where = "as received" if row.pass_number == 0 else f"round {row.pass_number}"
    value = _typed(row.mm, row.text, row.unit, unit)
    how = "" if row.how == "typed" else f", {HOW_WORDS.get(row.how, clean(row.how))}"
    return f"{clean(history.method_name(row.method_id))}  {value} · {where}{how}"


def _locked(row: rows.LockedReading, history: History, unit: Unit) -> str:
    value = _typed(row.mm, row.text, row.unit, unit)
    return f"{clean(history.method_name(row.method_id))}  {value} · locked, after the final check"


def _length(mm: float, unit: Unit) -> str:
    """Return a length as shown; one beyond any ski, as other hands may have left, as it is kept."""
    return f"{length_text(mm, unit)} {unit}" if abs(mm) <= 1e6 else f"{mm:g} mm"


def _typed(mm: float, text: str, typed_in: Unit, unit: Unit) -> str:
    """Return a length in ``unit`` with what was typed for it, where that reads differently."""
    value = _length(mm, unit)
    typed = clean(text.strip())
    named = typed if any(c.isalpha() or c in "\"'″" for c in typed) else f"{typed} {typed_in}"
    return value if named == value else f"{value} (typed {named})"


def _target(row: rows.Target, history: History, unit: Unit) -> str:
    value = f"{_length(row.mm, unit)} ±{fine_text(row.tolerance_mm, unit)}"
    how = {"value": "typed", "change": "typed as a change", "baseline": "from the baseline,"}
    typed = f"{how[row.kind]} {clean(row.text.strip())} {row.unit}"
    return f"{clean(history.method_name(row.method_id))}  {value} ({typed})"


def _pass(row: rows.PassRow, history: History, unit: Unit) -> str:
    none = "no stud turned" if row.turns else "turned by hand, as judged"
    turns = ", ".join(_turn(t) for t in row.turns if t.turns) or none
    return f"round {row.number}: {turns}"


def _turn(turn: rows.Turn) -> str:
    return f"{clean(said(turn.stud))} {turns_text(turn.turns)} {'in' if turn.turns > 0 else 'out'}"


def _mark(row: rows.Mark, history: History, unit: Unit) -> str:
    words = MARK_WORDS.get(row.kind, clean(row.kind))
    number = f" {row.number}" if row.number is not None else ""
    text = row.text
    if row.kind == "step":
        words, number = f"step{number} of the round done", ""
        text = "" if is_parts_text(text) or not text else step_done_words(row)
    if row.kind == WING_AIM:  # its number names the hold
        words, number, text = described(row), "", ""
    if row.kind in TURN_ANSWERS:  # whose text is the id of the record taken back
        text = ""
    if row.kind == "finest":
        turn = float(text) if text.replace(".", "", 1).isdigit() else None
        text = text if turn is None else turns_text(turn) if turn else "exact turns"
    return f"{words}{number}: {clean(text)}" if text else f"{words}{number}"


def _tick(row: rows.Tick, history: History, unit: Unit) -> str:
    return f"{row.checklist} check: {clean(row.text or row.item)}"


def _wing(row: rows.WingSetting, history: History, unit: Unit) -> str:
    typed = clean(row.text.strip())
    same = typed.rstrip("°") == f"{row.angle_deg:g}"
    out = f"wing {row.angle_deg:g}°" if same else f"wing {row.angle_deg:g}° (typed {typed})"
    if row.hold:
        out += f", straightedge at the {row.hold}"
    return f"{out}, gauge {clean(row.gauge)}" if row.gauge else out


def _sign_off(row: rows.SignOff, history: History, unit: Unit) -> str:
    said = row.text and not is_parts_text(row.text)
    words = f"signed off: {clean(row.text)}" if said else "signed off"
    state = history.state.jobs[row.job_id]
    if row.struck is None and history.job(row.job_id).job.struck is not None:
        words += f", {NOT_RELEASED}: its job was struck out"
    elif row.struck is None and state.standing == "not released":
        words += f", {NOT_RELEASED}: {clean(state.why)}"
    return words


def _ride(row: rows.RideNote, history: History, unit: Unit) -> str:
    rated = f"rated {row.rating} of 5" if row.rating is not None else ""
    about = (row.rider, row.place, row.water and f"water {row.water}", row.rope, row.speed)
    plain = {c: c.replace("_", " ").replace("-", " ") for c in row.complaints}
    felt = ", ".join(history.felt.get(c, plain[c]) for c in row.complaints)
    parts = [rated, row.text, felt, *about]
    return " · ".join(clean(part) for part in parts if part)


def _temperature(row: rows.Temperature, history: History, unit: Unit) -> str:
    return (
        f"blade {row.blade_c:g} °C ({clean(row.blade_material)}), caliper {row.caliper_c:g} °C "
        f"({clean(row.caliper_material)}); typed {clean(row.text)} °{row.unit}"
    )


def _pair(row: rows.Pair, history: History, unit: Unit) -> str:
    first = (
        f"{clean(history.method_name(row.method_id))}  {_typed(row.mm, row.text, row.unit, unit)}"
    )
    other = _typed(row.other_mm, row.other_text, row.other_unit, unit)
    return f"a pair: {first} and {clean(history.method_name(row.other_method_id))}  {other}"


def _curve(row: rows.Curve, history: History, unit: Unit) -> str:
    radius = (
        "flat" if row.radius_mm is None else f"radius {length_text(row.radius_mm, unit)} {unit}"
    )
    return f"the base measured by {row.kind}: {radius} (typed {clean(row.text)} {row.unit})"


def _version(row: rows.SkiVersion, history: History, unit: Unit) -> str:
    before = [v for v in history.versions if v.id < row.id]
    if not before:
        return f"ski written down: {clean(row.ski.name)}, {clean(row.ski.rider)}"
    changed = f"{_changes(before[-1].ski, row.ski)}{f', {clean(row.reason)}' if row.reason else ''}"
    if (was := before[-1].ski).blade_id == row.ski.blade_id and was.block_id == row.ski.block_id:
        return f"ski's sheet corrected: {changed}"
    return f"ski got {changed}; not to be ridden until it is measured and its bolts are checked"


def _part(row: rows.PartVersion, history: History, unit: Unit) -> str:
    versions = next(each for each in history.parts if row in each)
    at = versions.index(row)
    return version_words(row, versions[at - 1] if at else None)


def _changes(old: rows.Ski, new: rows.Ski) -> str:
    """Return which lines of the sheet changed, those that are text from what to what."""
    out = []
    for name in ("name", "model", "serial", "rider", "size", "note"):
        was, now = getattr(old, name), getattr(new, name)
        if was != now:
            out.append(f"{name} '{clean(was)}' to '{clean(now)}'")
    for name, words in _SHEET.items():
        if getattr(old, name) != getattr(new, name):
            out.append(f"another {words}")
    return ", ".join(out) or "nothing changed"


_SHEET = {
    "unit": "unit", "blade_id": "blade", "block_id": "block", "base_radius_mm": "base radius",
    "base_apex_mm": "base apex", "has_wing": "word on its wing", "methods": "set of methods",
}  # fmt: skip

_TELLERS: dict[type, Callable[..., str]] = {
    rows.Reading: _reading, rows.Target: _target, rows.PassRow: _pass, rows.Mark: _mark,
    rows.Tick: _tick, rows.WingSetting: _wing, rows.SignOff: _sign_off, rows.RideNote: _ride,
    rows.Temperature: _temperature, rows.LockedReading: _locked,
    rows.Pair: _pair, rows.Curve: _curve,
    rows.SkiVersion: _version, rows.PartVersion: _part,
}  # fmt: skip
