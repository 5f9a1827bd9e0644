"""Everything ever read or done to a ski, in order, with what each entry says and how sure it is.

Words are made when a line is looked at: a ski's ten years open as fast as its first day.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal

from workbench.measure.display import length_text
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.work.history.history import LONGEST_MM, History
from workbench.work.history.timeline_words import Row, row_words
from workbench.work.roster.ski_sheet import last_change
from workbench.work.text.local_time import day_and_time
from workbench.work.text.words import clean

Kind = Literal[
    "reading", "target", "round", "check", "wing", "sign-off", "ride note", "note", "step", "ski",
]  # fmt: skip
Shown = Literal[
    "all", "readings", "targets", "rounds", "checks", "wing", "sign-offs", "ride notes", "notes",
    "struck",
]  # fmt: skip

GLYPHS: dict[Kind, str] = {
    "reading": "●", "target": "◎", "round": "↻", "check": "✓", "wing": "∠", "sign-off": "■",
    "ride note": "≈", "note": "¶", "step": "·", "ski": "§",
}  # fmt: skip
"""A sign for each kind; the word is beside it."""

PLAIN_GLYPHS: dict[Kind, str] = {
    "reading": "o", "target": "@", "round": "%", "check": "v", "wing": "/", "sign-off": "#",
    "ride note": "~", "note": "*", "step": ".", "ski": "$",
}  # fmt: skip
"""The same where only ASCII can be shown."""

STRUCK_GLYPH, STRUCK_PLAIN = "✗", "x"

KINDS: dict[Shown, frozenset[Kind]] = {
    "all": frozenset(GLYPHS),
    "readings": frozenset({"reading"}),
    "targets": frozenset({"target"}),
    "rounds": frozenset({"round", "step"}),
    "checks": frozenset({"check"}),
    "wing": frozenset({"wing"}),
    "sign-offs": frozenset({"sign-off"}),
    "ride notes": frozenset({"ride note"}),
    "notes": frozenset({"note", "ski"}),
    "struck": frozenset(GLYPHS),
}
"""What each filter shows; ``struck`` shows those of any kind that were struck out."""

_STEPS = frozenset({"seated", "aimed", "reaim", "step", "accepted"})


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the timeline: a row of the book and its kind; ``history`` is what it is of."""

    kind: Kind
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
    out.sort(key=_by_id)
    return Timeline(history, tuple(out))


def _told(versions: Sequence[rows.PartVersion]) -> tuple[rows.PartVersion, ...]:
    """Return the corrections of a part, and a part that was struck out."""
    return tuple(v for i, v in enumerate(versions) if i or v.struck is not None)


def _by_id(entry: Entry) -> str:
    return entry.row.id


_KINDS: dict[type, Kind] = {
    rows.Reading: "reading", rows.Target: "target", rows.PassRow: "round", rows.Tick: "check",
    rows.WingSetting: "wing", rows.SignOff: "sign-off", rows.RideNote: "ride note",
    rows.Temperature: "reading", rows.LockedReading: "reading",
}  # fmt: skip


def _kind(fact: rows.AnyFact) -> Kind:
    kind = _KINDS.get(type(fact))
    if kind is not None:
        return kind
    return "step" if isinstance(fact, rows.Mark) and fact.kind in _STEPS else "note"


def struck_words(entry: Entry, timeline: Timeline, unit: Unit) -> str:
    """Return how an entry was struck out: why, by whom, when, and what replaces it."""
    return "; ".join(strikes_of(entry, timeline, unit))


def strikes_of(entry: Entry, timeline: Timeline, unit: Unit) -> list[str]:
    """Return the same strike by strike: this bench's own, then those of others."""
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
