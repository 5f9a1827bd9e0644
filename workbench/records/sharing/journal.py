"""How far this book shares its rows: what was not sent yet, what was taken, what is held back.

``journal`` has every row that travels, in the order in which they came to be here. Triggers write
it (``store/schema.py``) once the book is shared: no way in is forgotten, and a book that is not
shared pays nothing. ``came`` is the share by which a row came, to which it does not go back; blank
for one entered or imported here, ``HOME`` for one that stays at home: damaged and struck out before
it went, or such a strike. ``seen`` is how far the hub had been taken when the row was written.

``shares`` are the hubs and folders; ``sent`` is the journal's number up to which all went there.
``taken`` is how far each stream of a share was taken: a hub has one, a folder one for each file.
Positions move in the transaction that puts the rows in: whatever is killed, rows are there with
their position or neither is. ``held`` are rows of a hub that were refused.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from typing import Literal, TypeAlias

from workbench.errors import RecordsError
from workbench.frozen import dataclass
from workbench.records.exchange.form import HOME_STEPS, Row, forms
from workbench.records.exchange.rows_out import (
    can_tell_damage,
    damaged,
    rows_of,
    struck_among,
)
from workbench.records.store.database import DamagedRowError, Database
from workbench.records.store.schema import BOOK_STEPS
from workbench.records.store.specs import ORDER, Table
from workbench.records.store.writer import Pen, tag_of

HOME = "-"

ShareKind: TypeAlias = Literal["hub", "folder"]


@dataclass(frozen=True, slots=True)
class Share:
    """A hub or a folder by which this book shares its rows.

    ``share`` is the id of the hub, or of this bench's own file in the folder; ``place`` its URL
    (never with a password) or path; ``name`` what this bench is called there; ``at`` when it was
    joined (ISO UTC).
    """

    share: str
    kind: ShareKind
    place: str
    name: str
    at: str
    joined: bool
    sent: int


@dataclass(frozen=True, slots=True)
class Parcel:
    """A row on its way, in the form of an exchange file.

    ``is_own``: it was entered at this bench. ``seen``: how far the hub had been taken when it was;
    None where nobody knows.
    """

    row_id: str
    table: str
    body: Row
    is_own: bool
    seen: int | None


@dataclass(frozen=True, slots=True)
class Outgoing:
    """The next rows to send: those of the journal after ``before`` up to ``upto``; ``stays`` are
    the ids of those among them that stay at home."""

    before: int
    upto: int
    parcels: tuple[Parcel, ...] = ()
    stays: frozenset[str] = frozenset()


class SharingError(RecordsError):
    """A hub or folder does not answer, or is not one; says why and what to do next."""


class NewerFormError(SharingError):
    """Rows that a newer Quarterturn wrote, or a hub of another version than this one's."""


Seen: TypeAlias = Mapping[str, int]
"""How far the writer of a row had taken each stream when it was written; one not named: nothing."""


@dataclass(frozen=True, slots=True)
class Arriving:
    """A row as it is in a stream, which is at ``position`` and ``mark`` after it; ``where`` is
    the row's place in words, for a complaint.

    ``bench`` wrote it, in the form of number ``form``; ``seen`` is None where nobody knows.
    """

    position: int
    mark: str
    where: str
    row_id: str
    table: str
    body: Row
    form: int
    bench: str = ""
    seen: Seen | None = None


Refused: TypeAlias = tuple[Arriving, str]
"""A row that is not in the book, and why."""


@dataclass(frozen=True, slots=True)
class Batch:
    """The next rows of a stream, and how far it is read after them."""

    rows: tuple[Arriving, ...]
    position: int
    mark: str
    fault: str = ""
    """Why nothing can be read after these rows, where that is so."""


@dataclass(frozen=True, slots=True)
class InHand:
    """A ski, by its id or name, that another bench had in hand when it was last there."""

    bench: str
    who: str
    ski: str
    at: datetime


FORM = sum(step not in HOME_STEPS for step in BOOK_STEPS)
"""The number of the form of this book's rows: how many migrations have made it."""


def shares(db: Database) -> tuple[Share, ...]:
    """All that was ever joined, the oldest first."""
    found = db.query(f"SELECT * FROM {Table.SHARES} ORDER BY at, share")
    return tuple(Share(**{**row, "joined": bool(row["joined"])}) for row in found)


def join(pen: Pen, share: str, kind: ShareKind, place: str, name: str) -> None:
    """Share by a hub or folder from now on, all that is here to begin with; one hub at a time."""
    if not list(pen.db.query(f"SELECT 1 FROM {Table.SHARES}")):
        for table in (*ORDER, Table.OTHER_STRIKES):
            called = Table.STRIKES if table is Table.OTHER_STRIKES else table
            pen.db.execute(
                f"INSERT INTO {Table.JOURNAL} (row_table, row_id) SELECT ?, id FROM {table}"
                " ORDER BY id",
                [called.value],
            )
    if kind == "hub":
        leave_hub(pen)
        if not list(pen.db.query(f"SELECT 1 FROM {Table.SHARES} WHERE share = ?", [share])):
            _forget_seen(pen)  # another hub counted otherwise
    at = pen.clock().astimezone(UTC).isoformat(timespec="microseconds")
    pen.db.execute(
        f"""INSERT INTO {Table.SHARES} (share, kind, place, name, at, joined)
        VALUES (?, ?, ?, ?, ?, 1) ON CONFLICT (share) DO UPDATE
        SET place = excluded.place, name = excluded.name, at = excluded.at, joined = 1""",
        [share, kind, place, name, at],
    )


def leave_hub(pen: Pen) -> None:
    """Share by no hub any more; where it was left is remembered."""
    pen.db.execute(f"UPDATE {Table.SHARES} SET joined = 0 WHERE kind = 'hub'")


def outgoing(db: Database, share: str, most: int) -> Outgoing:
    """The next rows to send, in the order in which they came to be here.

    Raises ``DamagedRowError`` where one that is not struck out no longer says what was written.
    """
    before = sent(db, share)
    sql = f"SELECT number, row_table, row_id, came, seen FROM {Table.JOURNAL} WHERE number > ?"
    listed = db.execute(f"{sql} ORDER BY number LIMIT ?", [before, most]).fetchall()
    if not listed:
        return Outgoing(before, before)
    going = [(row[1], row[2], row[4]) for row in listed if row[3] not in (share, HOME)]
    wanted: dict[Table, list[str]] = defaultdict(list)
    for table, row_id, _ in going:
        wanted[Table(table)].append(row_id)
    bodies, damaged_ones = _bodies(db, wanted)
    stays = damaged_ones | _strikes_of(db, damaged_ones, bodies)
    tags = {int(row[0][:6], 16) for row in db.execute(f"SELECT bench FROM {Table.BENCHES}")}
    parcels = tuple(
        Parcel(row_id, table, bodies[row_id], is_own, seen if is_own else None)
        for table, row_id, seen in going
        if row_id in bodies and row_id not in stays
        for is_own in (tag_of(row_id) in tags,)
    )
    return Outgoing(before, listed[-1][0], parcels, frozenset(stays))


def _bodies(db: Database, wanted: dict[Table, list[str]]) -> tuple[dict[str, Row], set[str]]:
    """The rows of these ids as they travel, without a bench's own settings; and the ids of those
    that are damaged and struck out, which no other book would take."""
    made = forms(db) if wanted else {}
    out: dict[str, Row] = {}
    hurt: set[str] = set()
    for table, ids in wanted.items():
        found = list(rows_of(db, made[table], ids))
        if can_tell_damage(table):
            struck = struck_among(db, ids)
            for row_id, why in damaged(db, table, found, db.sound):
                if row_id not in struck:
                    raise DamagedRowError(table, row_id, why)
                hurt.add(row_id)
        out |= {row["id"]: row for row in found}
    return out, hurt


def _strikes_of(db: Database, hurt: set[str], bodies: dict[str, Row]) -> set[str]:
    """The ids of the strikes among these rows whose rows stay at home."""
    struck = {i: str(row["row_id"]) for i, row in bodies.items() if "row_table" in row}
    sql = f"""SELECT t.row_id FROM json_each(?) o JOIN {Table.JOURNAL} t ON t.row_id = o.value
        WHERE t.came = '{HOME}'"""
    if struck:
        home = db.execute(sql, [json.dumps(sorted(struck.values()))])
        hurt = hurt | {row[0] for row in home}
    return {i for i, row_id in struck.items() if row_id in hurt}


def unsent(db: Database, share: str) -> int:
    """How many rows of this bench are still to go to a share."""
    sql = f"SELECT count(*) FROM {Table.JOURNAL} WHERE number > ? AND came <> ?"
    return int(db.execute(sql, [sent(db, share), share]).fetchone()[0])


def sent(db: Database, share: str) -> int:
    """The journal's number up to which all went to a share."""
    found = db.execute(f"SELECT sent FROM {Table.SHARES} WHERE share = ?", [share]).fetchone()
    return 0 if found is None else int(found[0])


def note_sent(pen: Pen, share: str, out: Outgoing) -> None:
    """Keep that these went, unless another sync moved on meanwhile."""
    for row_id in out.stays:
        pen.db.execute(
            f"UPDATE {Table.JOURNAL} SET came = ? WHERE number > ? AND row_id = ?",
            [HOME, out.before, row_id],
        )
    sql = f"UPDATE {Table.SHARES} SET sent = ? WHERE share = ? AND sent = ?"
    pen.db.execute(sql, [out.upto, share, out.before])


def taken(db: Database, share: str, stream: str) -> tuple[int, str]:
    """How far a stream was taken, and the mark that stood there; 0 and blank at first."""
    sql = f"SELECT position, mark FROM {Table.TAKEN} WHERE share = ? AND stream = ?"
    found = db.execute(sql, [share, stream]).fetchone()
    return (0, "") if found is None else (int(found[0]), str(found[1]))


def note_taken(pen: Pen, share: str, stream: str, position: int, mark: str) -> None:
    """Keep how far a stream was taken; within the transaction that puts its rows in."""
    pen.db.execute(
        f"""INSERT INTO {Table.TAKEN} (share, stream, position, mark) VALUES (?, ?, ?, ?)
        ON CONFLICT (share, stream) DO UPDATE
        SET position = excluded.position, mark = excluded.mark""",
        [share, stream, position, mark],
    )


def start_over(pen: Pen, share: str) -> None:
    """Send and take all again: what is there no longer goes by what was noted here."""
    pen.db.execute(f"DELETE FROM {Table.TAKEN} WHERE share = ?", [share])
    pen.db.execute(f"DELETE FROM {Table.HELD} WHERE share = ?", [share])
    pen.db.execute(f"UPDATE {Table.SHARES} SET sent = 0 WHERE share = ?", [share])
    _forget_seen(pen)


def _forget_seen(pen: Pen) -> None:
    pen.db.execute(f"UPDATE {Table.JOURNAL} SET seen = NULL WHERE seen IS NOT NULL")


def journal_end(db: Database) -> int:
    """The journal's last number."""
    return int(db.execute(f"SELECT coalesce(max(number), 0) FROM {Table.JOURNAL}").fetchone()[0])


def note_came(pen: Pen, share: str, after: int) -> None:
    """Keep that the journal's rows after ``after`` came by a share; within their transaction."""
    pen.db.execute(f"UPDATE {Table.JOURNAL} SET came = ? WHERE number > ?", [share, after])


def hold(pen: Pen, share: str, rows: Iterable[Refused]) -> None:
    """Keep rows that were refused."""
    sql = f"INSERT OR REPLACE INTO {Table.HELD} (share, position, body, why) VALUES (?, ?, ?, ?)"
    for row, why in rows:
        body = json.dumps({"table": row.table, "id": row.row_id, "row": row.body})
        pen.db.execute(sql, [share, row.position, body, why])


def held(db: Database, share: str) -> list[Refused]:
    """The rows that are held back, in their order."""
    sql = f"SELECT position, body, why FROM {Table.HELD} WHERE share = ? ORDER BY position"
    out = []
    for at, kept, why in db.execute(sql, [share]):
        read = json.loads(kept)
        row = Arriving(at, read["id"], f"row {at}", read["id"], read["table"], read["row"], 0)
        out.append((row, why))
    return out


def let_go(pen: Pen, share: str, rows: Iterable[Arriving]) -> None:
    """Forget rows that were held back: they are in the book now."""
    for row in rows:
        pen.db.execute(
            f"DELETE FROM {Table.HELD} WHERE share = ? AND position = ?", [share, row.position]
        )


def skis_of_jobs(db: Database, jobs: Iterable[str]) -> dict[str, str]:
    """The ski of each of these jobs, and of every other job of those skis."""
    sql = """SELECT j.id, j.ski_id FROM jobs j WHERE j.ski_id IN
        (SELECT k.ski_id FROM json_each(?) o JOIN jobs k ON k.id = o.value)"""
    return dict(db.execute(sql, [json.dumps(sorted(jobs))]).fetchall())


def own_benches(db: Database) -> tuple[str, ...]:
    """All bench ids that this book has had."""
    found = db.execute(f"SELECT bench FROM {Table.BENCHES} ORDER BY number")
    return tuple(row[0] for row in found)
