"""The day's queue: its order, skis added to it, carried and found, and the day in one line."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Generic, TypeVar

from workbench.errors import InputError, shown
from workbench.records.book import whole
from workbench.records.store import rows
from workbench.records.store.database import UnknownRowError
from workbench.records.store.row_checks import keepable
from workbench.records.tables.days import JobTimes
from workbench.records.tables.roster import KnownSki
from workbench.work.job.job_view import RosterLine
from workbench.work.job.shop import Shop
from workbench.work.job.ski_state import SkiState, conclude
from workbench.work.job.stages import NOT_RELEASED
from workbench.work.job_text.setting_words import serial_in
from workbench.work.text.fields import Field
from workbench.work.trust.shop_policy import AS_LAST_TIME, shop_rules

_T = TypeVar("_T")

LONGEST_NOTE = 1000

DUE = Field("due", "Due", "when it is wanted, in your own words, such as 14:00", "WORDS", "")
AGAIN = (DUE, Field("note", "Note", "of this job", "WORDS", ""))
"""What is asked of a ski that the book knows, where it is queued again."""

NOTES = (
    Field("job", "This job", "a word about this visit, added to its notes", "WORDS"),
    Field("ski", "This ski", "what is always good to know of it", "WORDS"),
)
"""What can be written down of a job and its ski."""
RECHECK_DAYS = 7
"""So many days back a ski is looked for that has not been seen since its sign-off."""

_CLOCK = re.compile(
    r"(?<!\d)(\d{1,2})(?:(?:\s*h\s*|[:.h])(\d{2}))?\s*(am|pm|a\.m\.|p\.m\.)?(?!\d)", re.IGNORECASE
)
_NAMED = {"noon": 12 * 60, "midday": 12 * 60, "midnight": 24 * 60}


# -- days ------------------------------------------------------------------------------------------


def day_after(day: str, by: int = 1) -> str:
    """Return the day ``by`` days later (YYYY-MM-DD)."""
    try:
        return (date.fromisoformat(day) + timedelta(days=by)).isoformat()
    except (ValueError, OverflowError):
        raise InputError("day", day, "a day of the calendar as YYYY-MM-DD") from None


def ago(day: str, today: str) -> str:
    """Return a day in words as seen from today: yesterday, 3 days ago."""
    days = (date.fromisoformat(today) - date.fromisoformat(day)).days
    if days == 0:
        return "today"
    if days == 1:
        return "yesterday"
    return f"{days} days ago" if days > 1 else day


# -- order -----------------------------------------------------------------------------------------


def _by_order(shop: Shop, lines: Sequence[RosterLine], write: Callable[[], _T]) -> _T:
    """Let ``write`` order a list, in one transaction, by the order that was seen.

    What was done to its skis meanwhile bears on no order.

    Raises:
        InputError: the list has another order, other jobs or other dues now.
    """

    def orders() -> _T:
        for day in {line.day for line in lines}:
            seen = [(line.job_id, line.rank) for line in lines if line.day == day]
            now = [(item.job.id, item.job.rank) for item in shop.book.day_queue(day)]
            if [each for each in now if each in seen] != seen:
                raise InputError("order", day, "the list as it is now: it was changed since")
        return write()

    return shop.book.batch(orders)


def move(shop: Shop, lines: Sequence[RosterLine], job_id: str, by: int) -> None:
    """Move a job one place up (-1) or down (+1) within its own day.

    Raises:
        InputError: it is at the end already, or beside a job of another day, or the list was
            changed meanwhile.
    """
    _by_order(shop, lines, lambda: _move(shop, lines, job_id, by))


def _move(shop: Shop, lines: Sequence[RosterLine], job_id: str, by: int) -> None:
    at = next((i for i, line in enumerate(lines) if line.job_id == job_id), None)
    if at is None:
        raise InputError("job", job_id, "a job of this list")
    there = at + by
    if not 0 <= there < len(lines):
        raise InputError("order", lines[at].ski_name, "a place within the list")
    if lines[there].day != lines[at].day:
        accepted = "a place among its own day; carry what an earlier day left into today first"
        raise InputError("order", lines[at].ski_name, accepted)
    same = [line for line in lines if line.day == lines[at].day]
    order = [line.job_id for line in same if line.job_id != job_id]
    order.insert(next(i for i, line in enumerate(same) if line.job_id == job_id) + by, job_id)
    ranks = {line.job_id: line.rank for line in same}
    rank = _between(order, order.index(job_id), ranks)
    if rank is None:
        _rank_anew(shop, order, ranks)
    else:
        shop.book.move_job(job_id, rank, who=shop.who)


def _between(order: Sequence[str], at: int, ranks: Mapping[str, float]) -> float | None:
    """Return a rank between the neighbours of a place, None where no number lies between."""
    before = ranks[order[at - 1]] if at > 0 else ranks[order[1]] - 2.0
    after = ranks[order[at + 1]] if at + 1 < len(order) else before + 2.0
    middle = (before + after) / 2.0
    return middle if before < middle < after else None


def _rank_anew(shop: Shop, order: Sequence[str], ranks: Mapping[str, float]) -> int:
    """Give a day the ranks 1, 2, 3 ... in this order; return how many jobs moved."""
    moves = [(job_id, float(i)) for i, job_id in enumerate(order, 1) if ranks[job_id] != i]
    for job_id, rank in moves:
        shop.book.move_job(job_id, rank, who=shop.who)
    return len(moves)


def sort_by_due(shop: Shop, lines: Sequence[RosterLine], day: str) -> int:
    """Put a day's jobs in the order they are due; return how many moved.

    Times come first, then other words, then what has no due; the order is kept where they are
    equal.
    """
    same = [line for line in lines if line.day == day]
    return _by_order(shop, same, lambda: _sort_by_due(shop, same))


def _sort_by_due(shop: Shop, same: Sequence[RosterLine]) -> int:
    ranks = {line.job_id: line.rank for line in same}
    by_due = sorted(same, key=lambda line: due_key(line.due))
    return _rank_anew(shop, [line.job_id for line in by_due], ranks)


def due_key(due: str) -> tuple[int, int, str]:
    """Return what sorts a due: a clock time in minutes, then words, then nothing.

    9, 9:30, 09.30, 9h30, 2 pm and noon are times; other words are sorted as words.
    """
    words = due.strip().casefold()
    if not words:
        return (2, 0, "")
    for name, minutes in _NAMED.items():
        if name in words:
            return (0, minutes, "")
    match = _CLOCK.search(words)
    if match is None:
        return (1, 0, words)
    hours, minutes = int(match[1]), int(match[2] or 0)
    half = (match[3] or "").replace(".", "")
    if half and 1 <= hours <= 12:
        hours = hours % 12 + (12 if half == "pm" else 0)
    return (0, hours * 60 + minutes, "") if hours <= 24 and minutes < 60 else (1, 0, words)


# -- carrying on -----------------------------------------------------------------------------------


def carry(shop: Shop, line: RosterLine, day: str) -> rows.Job:
    """Carry an unfinished job to the end of another day.

    Raises:
        InputError: it is signed off, or it is elsewhere in the queue, or at another stage, than its
            line says.
    """
    return _carry(shop, (line,), day)[0]


@whole
def _carry(shop: Shop, lines: Sequence[RosterLine], day: str) -> list[rows.Job]:
    days = {line.day for line in lines}
    now = {line.job_id: line for each in days for line in shop.lines_of(each)}
    for line in lines:
        if line.stage == "signed off":
            raise InputError("carry", line.ski_name, "a ski that is not signed off")
        if _state(now.get(line.job_id)) != _state(line):
            state = now[line.job_id].stage_words if line.job_id in now else "no more in this list"
            accepted = f"the list as it is now, with this ski {state}: it was changed since"
            raise InputError("carry", line.ski_name, accepted)
    return [shop.book.carry_job(line.job_id, day, who=shop.who) for line in lines]


def _state(line: RosterLine | None) -> object:
    """What of a line of the queue it is carried by."""
    return None if line is None else (line.day, line.stage, line.pass_number, line.loose)


def left_for(lines: Sequence[RosterLine], day: str) -> list[RosterLine]:
    """Return what is unfinished and does not stand on ``day`` already, in its order."""
    return [line for line in lines if line.stage != "signed off" and line.day != day]


def carry_all(shop: Shop, lines: Sequence[RosterLine], day: str) -> int:
    """Carry all that is unfinished to the end of another day, in its order; return how many."""
    left = left_for(lines, day)
    _carry(shop, left, day)
    return len(left)


# -- adding ----------------------------------------------------------------------------------------


@whole
def queue_again(
    shop: Shop, ski_id: str, due: str = "", note: str = "", as_last_time: bool = False
) -> str:
    """Put a known ski in today's queue; return the job's id.

    ``as_last_time``: with the finest turn of its last setting, whose numbers are offered as the
    target when the job comes to it; the job's note says so.
    """
    _check_words(due, note)
    due, note = due.strip(), note.strip()
    check_free(shop, ski_id)
    if not as_last_time:
        return shop.queue(ski_id, due, note=note).id
    last = shop.book.last_setting(ski_id)
    if last is None:
        name = shop.book.ski(ski_id).name
        raise InputError("last time", name, "a ski that was signed off here before")
    words = f"{AS_LAST_TIME}: {note}" if note else AS_LAST_TIME
    return shop.queue(ski_id, due, note=words, finest_turn=shop.finest_of(last)).id


def _check_words(due: str, note: str) -> None:
    for name, text in (("due", due), ("note", note)):
        keepable(name, text)
        if len(text) > LONGEST_NOTE:
            raise InputError(name, text, f"at most {LONGEST_NOTE} characters")


def check_free(shop: Shop, ski_id: str) -> SkiState:
    """Raise an InputError unless the ski is known and in no queue already, of whatever day."""
    try:
        ski = shop.book.ski(ski_id)
    except UnknownRowError:
        raise InputError("ski", ski_id, "a ski that is in the book") from None
    if ski.struck is not None:
        raise InputError("ski", ski.name, "a ski that is not struck out")
    state = shop.ski_state(ski_id)
    if state.round_day:
        accepted = f"to be taken up in its job of {state.round_day}: a round is open there"
        raise InputError("ski", ski.name, accepted)
    if state.open_days:
        accepted = f"a ski that is not in the queue already (of {state.open_days[0]})"
        raise InputError("ski", ski.name, accepted)
    return state


def rechecks_offered(shop: Shop) -> tuple[rows.QueueItem, ...]:
    """Return the jobs whose ski is due for a look after its first ride.

    They are those signed off on the last day before today that anything was, at most a week ago,
    where nothing was done to the ski since, and that are released.
    """
    found = shop.book.ridden_since(day_after(shop.day, -RECHECK_DAYS), shop.day)
    kept = shop.book.ski_facts(item.job.ski_id for item in found)
    rules = shop_rules(shop.book)
    released = {i for i, facts in kept.items() if conclude(facts, rules).release is not None}
    return tuple(item for item in found if item.job.ski_id in released)


@whole
def add_recheck(shop: Shop, ski_id: str, due: str = "") -> str:
    """Put the re-check of a ski in today's queue; return the job's id."""
    _check_words(due, "")
    state = check_free(shop, ski_id)
    if not state.measured:
        moved = "after its parts were changed" if state.refitted else "after its last turn"
        since = f"{moved}; queue it to be set" if state.turned else "here before"
        raise InputError("ski", shop.book.ski(ski_id).name, f"a ski that was measured {since}")
    return shop.queue(ski_id, due, kind="recheck").id


@whole
def write_notes(shop: Shop, line: RosterLine, texts: Mapping[str, str]) -> None:
    """Keep what was written about a job (added to it) and about its ski (in place of the last)."""
    job_note, ski_note = texts.get("job", "").strip(), texts.get("ski", "").strip()
    _check_words("", job_note)
    _check_words("", ski_note)
    ski = shop.book.ski(line.ski_id)
    if ski.note != line.ski_note and ski_note not in (ski.note, line.ski_note):
        accepted = f"what takes the place of the note of now: {shown(ski.note)}; read it first"
        raise InputError("ski", ski_note, accepted)
    if ski_note != line.ski_note:
        shop.book.correct_ski(replace(ski, note=ski_note), who=shop.who)
    if job_note:
        shop.book.add_mark(line.job_id, shop.who, "note", text=job_note)


# -- the day in one line ---------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Summary:
    """A day in numbers: jobs by how they stand, and what the finished ones took.

    ``unreleased`` are signed off, but by what was kept of the ski they are not released.
    ``rounds``: the mean of the settings that are done; ``minutes``: the mean time from the first
    tick to the sign-off, less the time set aside; None where nothing is done.
    """

    done: int
    open: int
    aside: int
    passes: float | None
    minutes: float | None
    unreleased: int = 0

    @property
    def words(self) -> str:
        """The day in one line."""
        total = self.done + self.open + self.aside + self.unreleased
        parts = [f"{total} {'ski' if total == 1 else 'skis'}: {self.done} done"]
        parts[0] += f", {self.unreleased} {NOT_RELEASED}" if self.unreleased else ""
        parts[0] += f", {self.open} open"
        if self.aside:
            parts[0] += f", {self.aside} set aside"
        if self.passes is not None:
            parts.append(f"{self.passes:.1f} rounds a ski")
        if self.minutes is not None:
            parts.append(f"{_minutes_words(self.minutes)} a ski")
        return " · ".join(parts)


LONGEST_AT_WORK_MIN = 120.0
"""A ski that took longer from its first tick to its sign-off waited in between (common practice, no
source): its time says nothing of the work and is left out of the mean."""


def _minutes_words(minutes: float) -> str:
    whole = round(minutes)
    if whole < 1:
        return "under a minute"
    return f"{whole} min"


def summary_of(shop: Shop, lines: Sequence[RosterLine]) -> Summary:
    """Sum up a day's list."""
    done = [line for line in lines if line.is_done]
    unreleased = sum(bool(line.unreleased) for line in lines)
    aside = sum(line.stage == "set aside" for line in lines)
    passes = [line.pass_number for line in done if line.kind == "setting"]
    times = [minutes_of(t) for t in shop.book.job_times(line.job_id for line in done)]
    known = [t for t in times if t is not None and t <= LONGEST_AT_WORK_MIN]
    return Summary(
        len(done),
        len(lines) - len(done) - aside - unreleased,
        aside,
        sum(passes) / len(passes) if passes else None,
        sum(known) / len(known) if known else None,
        unreleased,
    )


def minutes_of(times: JobTimes) -> float | None:
    """Return how long a job was worked on, in minutes; None where the clock was set back."""
    begun, signed = datetime.fromisoformat(times.begun), datetime.fromisoformat(times.signed)
    idle, since = timedelta(0), None
    for is_break, text in times.breaks:
        at = datetime.fromisoformat(text)
        if is_break:
            since = since or at
        elif since is not None:
            idle += max(min(at, signed) - max(since, begun), timedelta(0))
            since = None
    worked = signed - begun - idle
    return worked.total_seconds() / 60.0 if worked >= timedelta(0) else None


_LETTERS = str.maketrans(
    {"ø": "o", "ł": "l", "đ": "d", "ð": "d", "þ": "th", "æ": "ae", "œ": "oe", "ı": "i", "ħ": "h"}
)
"""Letters that no decomposition takes apart, as hands type them without their keyboard."""


def folded(text: str) -> str:
    """Return text as it is searched: no case, no accents, no odd forms of a letter."""
    if text.isascii():
        return text.lower()
    plain = unicodedata.normalize("NFKD", text.casefold())
    return "".join(c for c in plain if not unicodedata.combining(c)).translate(_LETTERS)


class Finder(Generic[_T]):
    """Things with their searchable text made once; each further letter searches what was left."""

    def __init__(self, things: Iterable[tuple[_T, Sequence[str]]]) -> None:
        self._texts = [(folded("\n".join(texts)), thing) for thing, texts in things]
        self._query = ""
        self._left = self._texts

    def find(self, query: str) -> tuple[_T, ...]:
        """Return, in their order, the things that hold every word of ``query``."""
        wanted = folded(query)
        if not wanted.startswith(self._query):
            self._left = self._texts
        for word in wanted.split():
            self._left = [each for each in self._left if word in each[0]]
        self._query = wanted
        return tuple(thing for _, thing in self._left)


def line_texts(line: RosterLine) -> tuple[str, ...]:
    """Return the texts by which a ski of the queue is found."""
    return (line.ski_name, line.rider, line.serial, line.note, line.ski_note)


def queue_finder(lines: Iterable[RosterLine]) -> Finder[RosterLine]:
    """Return a finder of the skis in a queue, by name, rider, serial and note."""
    return Finder((line, line_texts(line)) for line in lines)


def ski_finder(shop: Shop) -> Finder[KnownSki]:
    """Return a finder of every ski the book knows, newest first, read with one query."""
    return Finder((k, (k.name, k.rider, k.serial, k.note)) for k in shop.book.known_skis())


def by_serial(
    shop: Shop, roster: Iterable[RosterLine], serial: str
) -> tuple[tuple[RosterLine, ...], tuple[KnownSki, ...]]:
    """Return the day's lines whose ski has this serial, and, where none has, the skis known by it.

    A card's QR code is read as the serial in it.

    Of a ski that is in the queue twice the line that is to be done comes first.
    """
    wanted = folded(serial_in(serial).strip())
    lines = [line for line in roster if wanted and folded(line.serial.strip()) == wanted]
    lines.sort(key=lambda line: line.stage in ("signed off", "set aside"))
    if lines or not wanted:
        return tuple(lines), ()
    return (), tuple(k for k in shop.book.known_skis() if folded(k.serial.strip()) == wanted)
