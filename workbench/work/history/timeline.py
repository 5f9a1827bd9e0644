"""Everything ever read or done to a ski, in order, and what each entry says.

Words are made when a line is looked at: a ski's ten years open as fast as its first day.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal, TypeAlias, get_args

from workbench.fin.studs import said
from workbench.measure.display import fine_text, length_text, turns_text
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.work.history.history import LONGEST_MM, History
from workbench.work.job.stages import NOT_RELEASED
from workbench.work.order.round_records import (
    MARK_WORDS,
    TURN_ANSWERS,
    WING_AIM,
    described,
    is_parts_text,
    step_done_words,
)
from workbench.work.roster.corrections import version_words
from workbench.work.roster.ski_sheet import last_change
from workbench.work.text.local_time import day_and_time
from workbench.work.text.words import clean

Row: TypeAlias = rows.AnyFact | rows.Pair | rows.Curve | rows.SkiVersion | rows.PartVersion

EntryKind = Literal[
    "reading", "target", "round", "check", "wing", "sign-off", "ride note", "note", "step", "ski",
]  # fmt: skip
Shown = Literal[
    "all", "readings", "targets", "rounds", "checks", "wing", "sign-offs", "ride notes", "notes",
    "struck",
]  # fmt: skip

KIND_SIGNS: dict[EntryKind | Literal["struck"], tuple[str, str]] = {
    "reading": ("●", "o"), "target": ("◎", "@"), "round": ("↻", "%"), "check": ("✓", "v"),
    "wing": ("∠", "/"), "sign-off": ("■", "#"), "ride note": ("≈", "~"), "note": ("¶", "*"),
    "step": ("·", "."), "ski": ("§", "$"), "struck": ("✗", "x"),
}  # fmt: skip
"""A sign for each kind and for what was struck out, and the sign where only ASCII can be shown; the
word is beside it."""

KINDS: dict[Shown, frozenset[EntryKind]] = {
    "all": frozenset(get_args(EntryKind)),
    "readings": frozenset({"reading"}),
    "targets": frozenset({"target"}),
    "rounds": frozenset({"round", "step"}),
    "checks": frozenset({"check"}),
    "wing": frozenset({"wing"}),
    "sign-offs": frozenset({"sign-off"}),
    "ride notes": frozenset({"ride note"}),
    "notes": frozenset({"note", "ski"}),
    "struck": frozenset(get_args(EntryKind)),
}
"""What each filter shows; ``struck`` shows those of any kind that were struck out."""

_NOTES = frozenset({
    "set_aside", "taken_up", "held", "finest", "note", "second_eyes", "wing_aim", "enough",
    "turned_back", "not_turned",
})  # fmt: skip
"""Marks that are no step of the work; every other kind in ``MARK_WORDS`` is one."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the timeline: a row of the book and its kind; ``history`` is what it is of."""

    kind: EntryKind
    row: Row
    history: History | None = field(default=None, compare=False, repr=False)

    @property
    def struck(self) -> rows.Strike | None:
        """How it was struck out, None where it was not."""
        return self.row.struck

    @property
    def can_be_struck(self) -> bool:
        """Whether it is struck out alone; a ski's own sheet is corrected instead.

        The last change of its blade or block can be: one that was never made.
        """
        if isinstance(self.row, rows.SkiVersion) and self.history is not None:
            last = last_change(self.history.versions)
            return last is not None and last.id == self.row.id
        return self.kind != "ski" or isinstance(self.row, rows.Curve)


@dataclass(slots=True)
class Timeline:
    """A ski's entries, oldest first; what was searched is kept for the next key."""

    history: History
    entries: tuple[Entry, ...]
    _texts: dict[str, str] = field(default_factory=dict)

    def shown(self, kind: Shown, find: str = "", newest_first: bool = True) -> tuple[Entry, ...]:
        """Return the entries of a kind that hold every word of ``find``, in an order."""
        wanted = KINDS[kind]
        found: Iterable[Entry] = self.entries
        if kind == "struck":
            found = [e for e in found if e.row.struck is not None]
        elif kind != "all":
            found = [e for e in found if e.kind in wanted]
        for word in find.casefold().split():
            found = [e for e in found if word in self._text(e)]
        out = tuple(found)
        return out[::-1] if newest_first else out

    def _text(self, entry: Entry) -> str:
        text = self._texts.get(entry.row.id)
        if text is None:
            text = self._texts[entry.row.id] = search_text(entry, self.history)
        return text

    def by_id(self, row_id: str) -> Entry | None:
        """Return the entry of a row, such as the one that replaces a struck one."""
        return next((e for e in self.entries if e.row.id == row_id), None)


def timeline_of(history: History) -> Timeline:
    """Return the timeline of a history: rows in the order they were made, whatever the clock said.

    A job's own rows, the ski's versions, its base's curves and its pairs are all in it.
    """
    out = [Entry(_kind(fact), fact, history) for job in history.jobs for fact in job.facts]
    out += [Entry("ski", version, history) for version in history.versions]
    out += [Entry("ski", v, history) for of_one in history.parts for v in _told(of_one)]
    out += [Entry("ski", curve, history) for curve in history.curves]
    out += [Entry("reading", pair, history) for pair in history.pairs]
    out.sort(key=lambda entry: entry.row.id)
    return Timeline(history, tuple(out))


def _told(versions: Sequence[rows.PartVersion]) -> tuple[rows.PartVersion, ...]:
    """Return the corrections of a part, and a part that was struck out."""
    return tuple(v for i, v in enumerate(versions) if i or v.struck is not None)


def _kind(fact: rows.AnyFact) -> EntryKind:
    if isinstance(fact, rows.Mark):
        return "step" if fact.kind in MARK_WORDS.keys() - _NOTES else "note"
    return _KINDS[type(fact)]


def strikes_of(entry: Entry, timeline: Timeline, unit: Unit) -> list[str]:
    """Return how an entry was struck out: why, by whom, when, and what replaces it.

    Strike by strike: this bench's own, then those of others.
    """
    strike = entry.struck
    if strike is None:
        return []
    others = [f"on another bench too{_strike_words(s, timeline, unit)}" for s in strike.others]
    return [f"struck out{_strike_words(strike, timeline, unit)}", *others]


def _strike_words(strike: rows.Strike, timeline: Timeline, unit: Unit) -> str:
    who = f" by {clean(strike.who)}" if strike.who else ""
    out = f"{who} {day_and_time(strike.at)}: {clean(strike.reason)}"
    if strike.replaced_by:
        new = timeline.by_id(strike.replaced_by)
        said = row_words(new.row, timeline.history, unit) if new is not None else "another entry"
        out += f"; in its place: {said}"
    return out


def times_struck(strike: rows.Strike) -> str:
    """Return how often a row was struck out, in a word: twice where two benches did.

    Of a damaged one nobody did, and it counts as little.
    """
    if strike.is_damage:
        return "not counted"
    count = 1 + len(strike.others)
    return {1: "struck", 2: "struck twice"}.get(count, f"struck {count} times")


def search_text(entry: Entry, history: History) -> str:
    """Return everything a search looks through: kind, words in both units, who, when and why."""
    row = entry.row
    parts = [entry.kind, row_words(row, history, "in"), row.who, day_and_time(row.at)]
    if isinstance(row, rows.Reading | rows.Target) and abs(row.mm) <= LONGEST_MM:
        parts.append(length_text(row.mm, "mm"))
    if row.struck is not None:
        parts.append(times_struck(row.struck))
        for strike in (row.struck, *row.struck.others):
            parts += [strike.reason, strike.who]
    return " ".join(parts).casefold()


def job_words(entry: Entry, history: History) -> str:
    """Return the job an entry belongs to, by its day; nothing for what belongs to none."""
    if not isinstance(entry.row, rows.Fact):
        return "belongs to no job"
    job = history.job(entry.row.job_id).job
    kind = "re-check" if job.kind == "recheck" else "job"
    return f"{kind} of {job.day}" + (", struck out" if job.struck is not None else "")


# -- lines and values ----------------------------------------------------------------------------


def timeline_lines(entries: Iterable[Entry], timeline: Timeline, unit: Unit) -> list[str]:
    """Return one line for each entry; a struck one says so first, and why at its end."""
    out = []
    for entry in entries:
        row = entry.row
        words = row_words(row, timeline.history, unit)
        who = clean(row.who) or "-"
        if entry.struck is not None:
            words = f"STRUCK {words} [{'; '.join(strikes_of(entry, timeline, unit))}]"
        out.append(f"{day_and_time(row.at)}  {who}  {entry.kind}  {words}")
    return out or ["nothing of this kind"]


def timeline_report(entries: Iterable[Entry], timeline: Timeline, unit: Unit) -> dict[str, object]:
    """Return the entries as plain values; lengths in mm beside the text as typed."""
    return {"unit": unit, "entries": [_entry(e, timeline, unit) for e in entries]}


def _entry(entry: Entry, timeline: Timeline, unit: Unit) -> dict[str, object]:
    row = entry.row
    out: dict[str, object] = {
        "id": row.id, "at": row.at, "who": row.who, "kind": entry.kind,
        "words": row_words(row, timeline.history, unit),
        "job": row.job_id if isinstance(row, rows.Fact) else None, "struck": None,
    }  # fmt: skip
    if isinstance(row, rows.Reading | rows.Target):
        out |= {
            "method": timeline.history.method_name(row.method_id),
            "mm": row.mm, "text": row.text, "typed_in": row.unit,
        }  # fmt: skip
    if row.struck is not None:
        others = [_strike(other) for other in row.struck.others]
        out["struck"] = _strike(row.struck) | {"others": others}
    return out


def _strike(strike: rows.Strike) -> dict[str, object]:
    return {
        "at": strike.at, "who": strike.who, "reason": strike.reason,
        "replaced_by": strike.replaced_by,
    }  # fmt: skip


# -- what a row says -----------------------------------------------------------------------------


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
    radius = "flat"
    if row.radius_mm is not None:
        radius = f"radius {length_text(row.radius_mm, unit)} {unit}"
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

_KINDS: dict[type, EntryKind] = {
    rows.Reading: "reading", rows.Target: "target", rows.PassRow: "round", rows.Tick: "check",
    rows.WingSetting: "wing", rows.SignOff: "sign-off", rows.RideNote: "ride note",
    rows.Temperature: "reading", rows.LockedReading: "reading",
}  # fmt: skip

_TELLERS: dict[type, Callable[..., str]] = {
    rows.Reading: _reading, rows.Target: _target, rows.PassRow: _pass, rows.Mark: _mark,
    rows.Tick: _tick, rows.WingSetting: _wing, rows.SignOff: _sign_off, rows.RideNote: _ride,
    rows.Temperature: _temperature, rows.LockedReading: _locked,
    rows.Pair: _pair, rows.Curve: _curve,
    rows.SkiVersion: _version, rows.PartVersion: _part,
}  # fmt: skip
