"""One round of sharing: what is new here goes, what is new there comes, whatever the way.

What comes is taken in by the same checks as an exchange file, in one transaction with how far it
was taken. A row that is refused brings no other down: of a hub it is held back by itself and tried
again when more has come; a folder's file is read no further until it can be. Rows in a form newer
than this program's end their stream: nothing behind them is passed over, and after an update it
goes on there.

One ski set at two benches that did not know of each other is told with both versions. Each row
carries how far its writer had taken the hub, or each file of a folder, when it was written
(``seen``): of two rows neither writer knew the other's where each lies behind what the other's had
seen of its stream.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeAlias

from workbench.errors import BenchError, InputError, RecordsError, shown
from workbench.records.book import Book, whole
from workbench.records.exchange.arrivals import Clash, Differs
from workbench.records.sharing import journal
from workbench.records.sharing.folder import Folder
from workbench.records.sharing.hub import Hub
from workbench.records.sharing.journal import (
    FORM,
    Arriving,
    Batch,
    NewerFormError,
    Refused,
    Seen,
    SharingError,
)
from workbench.records.store.specs import FACTS, Table
from workbench.work.exchange.exchange import Change, TakenIn, take_rows

Way: TypeAlias = Hub | Folder
"""A round calls the same methods of either, and asks for neither."""

MOST_SENT = 500
MOST_TAKEN = 200
"""Rows at a time: so long a key at the bench may wait for the book."""

_NO_CLASH = {Table.MARKS, Table.TICKS, Table.RIDE_NOTES, Table.TEMPERATURES}
SETTING_FACTS = frozenset(table.value for table in FACTS if table not in _NO_CLASH)
"""The facts by which a ski is set: notes and ticks of two benches do not clash."""

OURS_ALONE = ("worked", "corrected")
"""Clashes that are told of a whole file, where both sides are seen; rows that come one by one would
make every one of them a clash. ``set_twice`` tells these."""


@dataclass(slots=True)
class Round:
    """What a round did.

    ``sent`` and ``taken`` count rows; ``new`` are the rows that this book did not have. ``refused``
    are rows that are not in the book, each with why, ``stopped`` what ended the round or a stream
    before its end. ``facts`` are the rows that set a ski, as they went; ``before`` is how far each
    stream had been taken, ``first`` the least that the writers of what went or came had seen of it:
    by these clashes are found.
    """

    sent: int = 0
    taken: int = 0
    new: dict[str, list[dict[str, Any]]] = field(default_factory=lambda: defaultdict(list))
    refused: list[str] = field(default_factory=list)
    stopped: list[str] = field(default_factory=list)
    differs: list[Differs] = field(default_factory=list)
    clashes: list[Clash] = field(default_factory=list)
    changes: list[Change] = field(default_factory=list)
    troubles: list[str] = field(default_factory=list)
    facts: list[dict[str, Any]] = field(default_factory=list)
    before: dict[str, int] = field(default_factory=dict)
    first: dict[str, int] | None = None

    @property
    def is_whole(self) -> bool:
        """Whether everything went and came."""
        return not self.refused and not self.stopped

    def add(self, taken: TakenIn) -> None:
        """Add what a part of the rows brought."""
        brought = taken.brought
        for table, rows in brought.rows.items():
            self.new[table.value] += rows
            self.taken += len(rows)
        self.differs += brought.differs
        self.clashes += [clash for clash in taken.clashes if clash.kind not in OURS_ALONE]
        self.changes += taken.changes
        self.troubles += taken.troubles

    def saw(self, seen: Seen | None) -> None:
        """Note how far the writer of a row that sets a ski had taken each stream."""
        if seen is not None:
            first = seen if self.first is None else self.first
            self.first = {name: min(at, seen[name]) for name, at in first.items() if name in seen}


def go_round(book: Book, way: Way, most: int = MOST_TAKEN) -> Round:
    """Send what is new here, then take what is new there, ``most`` rows in a transaction.

    Raises ``SharingError`` where the hub or folder does not answer; what went and came until then
    is kept, and the next round goes on there.
    """
    done = Round()
    for stream in way.streams():
        position, mark = book.read(journal.taken, way.share, stream)
        if way.is_same(stream, position, mark):
            done.before[stream] = position
        elif way.loses_sent:
            book.write(journal.start_over, way.share)
        else:
            book.write(journal.note_taken, way.share, stream, 0, "")
    has_sent = book.read(journal.sent, way.share) > 0
    way.knows(done.before if has_sent else None)
    _send(book, way, done)
    _take(book, way, most, done)
    held = book.read(journal.held, way.share)
    if done.new and held:
        book.batch(_try_held, book, way, done)
    done.refused += [
        f"row {shown(row.row_id)} of {shown(row.table)}: {why}"
        for row, why in book.read(journal.held, way.share)
    ]
    return done


def _send(book: Book, way: Way, done: Round) -> None:
    bench = book.own_bench()
    try:
        while True:
            out = book.read(journal.outgoing, way.share, MOST_SENT)
            if out.upto == out.before:
                break
            if out.parcels:
                way.put(out.parcels, FORM, bench)
                done.sent += len(out.parcels)
                for row in out.parcels:
                    if row.table in SETTING_FACTS:
                        done.facts.append(row.body)
                        done.saw(way.seen_of(row))
            book.write(journal.note_sent, way.share, out)
    except NewerFormError as why:
        done.stopped.append(str(why))
    except SharingError:
        raise
    except RecordsError as why:  # a row here is damaged: until it is struck out, none behind it go
        done.stopped.append(f"not sent: {why}")
    position, _ = book.read(journal.taken, way.share, way.own_stream)
    if (end := way.skip_own(position)) is not None:
        book.write(journal.note_taken, way.share, way.own_stream, *end)


def _take(book: Book, way: Way, most: int, done: Round) -> None:
    """Take all streams, again as long as that helps: rows of one refer to those of others."""
    while True:
        before = done.taken
        stopped = [
            why for each in way.streams() if (why := _take_stream(book, way, each, most, done))
        ]
        if not stopped or done.taken == before:
            done.stopped += stopped
            return


def _take_stream(book: Book, way: Way, stream: str, most: int, done: Round) -> str:
    """Take a stream to its end; else return why not."""
    while True:
        position, _ = book.read(journal.taken, way.share, stream)
        batch = way.read(stream, position, most)
        known = next((i for i, row in enumerate(batch.rows) if row.form > FORM), len(batch.rows))
        if known < len(batch.rows):
            row = batch.rows[known]
            why = (
                f"{row.where}: is of form {row.form}, this Quarterturn knows {FORM}: a newer one "
                "wrote it, so nothing from there on is taken; update this one"
            )
            batch = Batch(batch.rows[:known], *_end_of(batch.rows[:known], position, stream), why)
        if batch.position == position:
            return batch.fault
        stopped = _keep(book, way, stream, batch, done)
        if stopped or batch.fault:
            return stopped or batch.fault


def _end_of(rows: Sequence[Arriving], position: int, mark: str) -> tuple[int, str]:
    return (rows[-1].position, rows[-1].mark) if rows else (position, mark)


@whole
def _keep(book: Book, way: Way, stream: str, batch: Batch, done: Round) -> str:
    """Put a batch in with how far it was taken; return why it was not taken to its end."""
    first, again = _apart(batch.rows)
    refused = _let_in(book, way, [first, *([row] for row in again)], done)
    position, mark, why = batch.position, batch.mark, ""
    if refused and way.stops_at_refused:
        row, words = refused[0]
        before = batch.rows[: batch.rows.index(row)]
        here, _ = book.read(journal.taken, way.share, stream)
        (position, mark), why = _end_of(before, here, stream), f"{row.where}: {words}"
    else:
        book.write(journal.hold, way.share, refused)
    book.write(journal.note_taken, way.share, stream, position, mark)
    for row in batch.rows:
        if row.table in SETTING_FACTS:
            done.saw(row.seen)
    return why


def _apart(rows: Sequence[Arriving]) -> tuple[list[Arriving], list[Arriving]]:
    """Rows each once by its id, and those that stand again with other words."""
    seen: dict[str, Arriving] = {}
    again = []
    for row in rows:
        if row.row_id not in seen:
            seen[row.row_id] = row
        elif seen[row.row_id].body != row.body:
            again.append(row)
    return list(seen.values()), again


def _let_in(
    book: Book, way: Way, groups: Iterable[Sequence[Arriving]], done: Round
) -> list[Refused]:
    """Take in all rows of each group that can be, as come by this way; return the others."""
    after = book.read(journal.journal_end)
    refused: list[Refused] = []
    for rows in groups:
        _sift(book, rows, refused, done, stops=way.stops_at_refused)
    book.write(journal.note_came, way.share, after)
    return refused


def _sift(
    book: Book, rows: Sequence[Arriving], refused: list[Refused], done: Round, *, stops: bool
) -> None:
    """Take in all rows that can be, by halves where not all can; stop at the first where told."""
    if not rows or (stops and refused):
        return
    try:
        done.add(_taken_in(book, rows))
    except RecordsError:
        raise
    except BenchError as why:
        if len(rows) == 1:
            refused.append((rows[0], str(why)))
            return
        half = len(rows) // 2
        _sift(book, rows[:half], refused, done, stops=stops)
        _sift(book, rows[half:], refused, done, stops=stops)


@whole
def _taken_in(book: Book, rows: Sequence[Arriving]) -> TakenIn:
    data: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for row in rows:
        if row.body.get("id") != row.row_id:
            raise InputError(f"{row.where}, id", row.body.get("id"), f"{row.row_id}, as it is sent")
        data[row.table].append(row.body)
    return take_rows(book, rows[0].where, data)


def _try_held(book: Book, way: Way, done: Round) -> None:
    """Try again what was held back: what it refers to may have come."""
    held = [row for row, _ in book.read(journal.held, way.share)]
    refused = {row.position for row, _ in _let_in(book, way, [held], done)}
    came = [row for row in held if row.position not in refused]
    book.write(journal.let_go, way.share, came)


# -- one ski set at two benches --------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Version:
    """What one bench did to a ski: where, whose hands, and in words what it read and decided."""

    bench: str
    who: str
    words: str


@dataclass(frozen=True, slots=True)
class SetTwice:
    """A ski that two benches set, neither knowing of the other."""

    ski_id: str
    ski: str
    ours: Version
    theirs: Version


@dataclass(frozen=True, slots=True)
class _Fact:
    stream: str
    row: Arriving

    def is_news_to(self, other: _Fact) -> bool:
        """Whether the writer of another row had not seen this one."""
        return self.row.position > (other.row.seen or {}).get(self.stream, 0)


def set_twice(book: Book, way: Way, done: Round) -> tuple[SetTwice, ...]:
    """The skis of which a round showed that this bench and another set them apart."""
    facts = [*done.facts, *(row for table in SETTING_FACTS for row in done.new.get(table, ()))]
    if done.first is None or not facts:
        return ()
    ski_of = book.read(journal.skis_of_jobs, {str(row["job_id"]) for row in facts})
    by_ski: dict[str, list[_Fact]] = defaultdict(list)
    for stream, row in way.facts_after(done.first, ski_of, SETTING_FACTS):
        by_ski[ski_of[row.body["job_id"]]].append(_Fact(stream, row))
    own = frozenset(book.read(journal.own_benches))
    out = []
    for ski, found in by_ski.items():
        for bench in sorted({fact.row.bench for fact in found} - own):
            pair = _pair(found, own, bench, done.before)
            if pair is not None:
                ours, theirs = (_version(book, side, way.names()) for side in pair)
                out.append(SetTwice(ski, book.ski(ski).name, ours, theirs))
    return tuple(out)


def _pair(
    found: Sequence[_Fact], own: frozenset[str], bench: str, before: Seen
) -> tuple[list[_Fact], list[_Fact]] | None:
    """What each of the two did that the other did not know; None where nothing of it is new."""
    ours = [fact for fact in found if fact.row.bench in own]
    theirs = [fact for fact in found if fact.row.bench == bench]
    apart = [(a, b) for a in ours for b in theirs if a.is_news_to(b) and b.is_news_to(a)]
    new = (
        each for pair in apart for each in pair if each.row.position > before.get(each.stream, 0)
    )
    if next(new, None) is None:
        return None
    left, right = {a.row.row_id for a, _ in apart}, {b.row.row_id for _, b in apart}
    return ([a for a in ours if a.row.row_id in left], [b for b in theirs if b.row.row_id in right])


def _version(book: Book, facts: Sequence[_Fact], names: Mapping[str, str]) -> Version:
    last = facts[-1].row
    name = names.get(last.bench, f"bench {last.bench[:6]}")
    return Version(name, str(last.body["who"]), "; ".join(_said(book, facts)))


def _said(book: Book, facts: Iterable[_Fact]) -> Iterable[str]:
    """What facts say, the last of each kind and method."""
    said: dict[str, str] = {}
    rounds = 0
    for fact in facts:
        body, table = fact.row.body, fact.row.table
        if table in ("readings", "locked_readings", "targets"):
            what = "target " if table == "targets" else ""
            name = f"{what}{_method(book, str(body['method_id']))}"
            said[name] = f"{name} {body['text']} {body['unit']}"
        elif table == "passes":
            rounds += 1
            said["rounds"] = f"{rounds} round{'' if rounds == 1 else 's'} of turns"
        elif table == "wings":
            said["wing"] = f"wing {body['text']}"
        else:
            said["signed"] = "signed off"
    return said.values()


def _method(book: Book, method_id: str) -> str:
    try:
        return book.method(method_id).name
    except BenchError:
        return "a reading"
