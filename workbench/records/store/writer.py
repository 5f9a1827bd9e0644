"""The pen: what a write holds while it writes, so that every row gets its id, time and checks.

Ids sort by time: UUIDs laid out as version 7 (RFC 9562, section 5.7), as text. 48 bits of
milliseconds and 12 of their fraction (its method 3), then 24 bits that tell the bench and 38 random
ones. A mint never gives an id that is not greater than all before it, whatever the clock does.

A book's 24 bits are the beginning of its random bench id (below); of old they came from
the machine's name. Nothing is read back from them but whose a row may be, so that ids of old stay
valid, and two benches that draw the same 24 bits still differ by the stamp and the random bits: ids
made in the same 0.24 microseconds are equal once in 2.7e11.

The bench id of a book is random, of this file alone.
It says which bench a row was made at (24 bits of it are in every id), names the book's own file in
a shared folder, and tells benches apart at a hub. A copy of the file is another bench: a backup put
back, or taken to another machine, must not go on under the id of the one it was copied from, whose
file in the folder it would then write too. So each id is kept with the place that it was given at,
the file's number on its disk and the machine's name, and where these are others a new one is given;
the old ones stay readable. What cannot be told so is the byte-for-byte clone of a whole disk: row
ids still do not collide there, a hub tells rows apart by those alone, and in a folder each of the
two reads what the other wrote.
"""

from __future__ import annotations

import hashlib
import os
import platform
import re
import secrets
import sqlite3
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from pathlib import Path

from workbench.errors import RecordsError, shown
from workbench.frozen import dataclass
from workbench.records.store.database import Database, UnknownRowError, refused
from workbench.records.store.row_checks import keepable
from workbench.records.store.schema import CHECK_SUM
from workbench.records.store.specs import FACTS, Table
from workbench.records.store.strikes import check_sum, check_sums

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_FORM = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}")
_LAST_STAMP = (1 << 60) - 1
_RANDOM_BITS = 38


def bench_tag(bench: str) -> int:
    """The 24 bits that stand for a bench called by a name of somebody's choice."""
    digest = hashlib.blake2b(bench.encode("utf-8", "surrogatepass"), digest_size=3).digest()
    return int.from_bytes(digest)


def tag_of(row_id: str) -> int:
    """The 24 bits of an id that tell its bench."""
    return int(row_id.replace("-", ""), 16) >> _RANDOM_BITS & 0xFFFFFF


def is_id(text: str) -> bool:
    """Whether ``text`` has the form of our ids."""
    return _FORM.fullmatch(text) is not None


class Mint:
    """Gives the ids of one open book; ``tag`` is what tells its bench."""

    def __init__(self, tag: int, random_bits: Callable[[int], int] = secrets.randbits) -> None:
        self.tag = tag
        self._random_bits = random_bits
        self._last = -1

    def follow(self, greatest: str | None) -> None:
        """Make all ids to come greater than ``greatest``, the greatest that the book holds."""
        if greatest is not None:
            self._last = max(self._last, _stamp_of(greatest))

    @property
    def newest(self) -> datetime | None:
        """The time of the greatest id given or followed; None before the first."""
        return None if self._last < 0 else _moment_at(self._last)

    def next(self, now: datetime) -> str:
        """A new id for ``now``, greater than all before."""
        stamp = max(_stamp_at(now), self._last + 1)
        if stamp > _LAST_STAMP:
            raise RecordsError("the book's ids have run out; open a backup and check the clock")
        self._last = stamp
        low = 0b10 << 62 | self.tag << _RANDOM_BITS | self._random_bits(_RANDOM_BITS)
        text = f"{stamp >> 12:012x}7{stamp & 0xFFF:03x}{low:016x}"
        return f"{text[:8]}-{text[8:12]}-{text[12:16]}-{text[16:20]}-{text[20:]}"


def moment_of(row_id: str) -> datetime:
    """The time that an id tells (UTC); raises ``RecordsError`` for one that is not ours."""
    return _moment_at(_stamp_of(row_id))


def _moment_at(stamp: int) -> datetime:
    try:
        return _EPOCH + timedelta(milliseconds=stamp >> 12)
    except OverflowError:
        return datetime.max.replace(tzinfo=UTC)


def _stamp_at(now: datetime) -> int:
    micros = max(0, (now - _EPOCH) // timedelta(microseconds=1))
    millis, rest = divmod(micros, 1000)
    return min(millis << 12 | rest * 4096 // 1000, _LAST_STAMP)


def _stamp_of(row_id: str) -> int:
    if not is_id(row_id):
        raise RecordsError(f"the book holds an id that is not ours: {shown(row_id)}; open a backup")
    text = row_id.replace("-", "")
    return int(text[:12], 16) << 12 | int(text[13:16], 16)


# The bench id of a book -----------------------------------------------------------------------

_BYTES = 8


def own_bench(db: Database, path: Path, now: datetime) -> str:
    """The bench id of the book open at ``path`` (16 hex digits), given now where it has none here.

    Within an open transaction.
    """
    if not db.columns_of(Table.BENCHES):
        return secrets.token_hex(_BYTES)  # a book whose migrations were held back, by a test
    here = _place(path)
    newest = f"SELECT bench, place FROM {Table.BENCHES} ORDER BY number DESC LIMIT 1"
    found = db.execute(newest).fetchone()
    if found is not None and found[1] == here:
        return str(found[0])
    bench = secrets.token_hex(_BYTES)
    at = now.astimezone(UTC).isoformat(timespec="microseconds")
    db.execute(
        f"INSERT INTO {Table.BENCHES} (bench, at, place) VALUES (?, ?, ?)", [bench, at, here]
    )
    return bench


def _place(path: Path) -> str:
    """What tells this file from its copies; no name of a machine is readable in it."""
    told = f"{platform.node()}\n{os.stat(path).st_ino}"
    return hashlib.blake2b(told.encode("utf-8", "surrogatepass"), digest_size=8).hexdigest()


@dataclass(frozen=True, slots=True)
class Pen:
    """The database inside an open transaction, with the mint and the clock."""

    db: Database
    mint: Mint
    clock: Callable[[], datetime]

    def stamp(self) -> tuple[str, str]:
        """A new id, and the time it means as ISO UTC text with microseconds."""
        now = self.clock().astimezone(UTC)
        return self.mint.next(now), now.isoformat(timespec="microseconds")

    def insert(
        self, table: Table, parts: Sequence[Mapping[str, object]] = (), /, **columns: object
    ) -> None:
        """Add a row; raises ``InputError`` or ``UnknownRowError`` naming the column to blame.

        ``parts`` are what will lie in a row that carries a check sum.
        """
        kept = {name: keepable(name, value) for name, value in columns.items()}
        if table in FACTS and (total := self._sum(table, kept, parts)) is not None:
            kept[CHECK_SUM] = total
        try:
            self.db.execute(_insert_sql(table, tuple(kept)), tuple(kept.values()))
        except sqlite3.IntegrityError as error:
            fault = refused(columns, error) or self._dangling(table, columns)
            if fault is None:
                raise
            raise fault from error

    def insert_many(
        self,
        table: Table,
        columns: Sequence[str],
        rows: Sequence[Sequence[object]],
        parts: Sequence[Sequence[Mapping[str, object]]],
    ) -> None:
        """Add rows by values of their columns that were looked at, each with what will lie in it.

        Raises ``IntegrityError`` for one that its table does not take.
        """
        names = self.db.columns_of(table)
        columns = tuple(columns)
        if table in FACTS and CHECK_SUM in names:
            assert columns == tuple(name for name in names if name in columns)  # the order counts
            if any(parts):
                sums = [
                    check_sum(zip(columns, values, strict=True), inner)
                    for values, inner in zip(rows, parts, strict=True)
                ]
            else:
                sums = check_sums(columns, rows)
            rows = [(*values, total) for values, total in zip(rows, sums, strict=True)]
            columns = (*columns, CHECK_SUM)
        self.db.conn.executemany(_insert_sql(table, columns), rows)

    def insert_parts(
        self, part: Table, owners: Sequence[str], parts: Sequence[Sequence[Mapping[str, object]]]
    ) -> None:
        """Add what lies in rows that were added, in the order in which it lies."""
        listed = [
            (owner, place, each)
            for owner, inner in zip(owners, parts, strict=True)
            for place, each in enumerate(inner)
        ]
        if listed:
            columns = tuple(listed[0][2])
            rows = [(owner, place, *map(each.get, columns)) for owner, place, each in listed]
            self.insert_many(part, ("owner", "place", *columns), rows, [()] * len(rows))

    def _sum(
        self, table: Table, kept: dict[str, object], parts: Sequence[Mapping[str, object]]
    ) -> int | None:
        """The check sum of a row about to be added; None in a book made before there were sums."""
        names = self.db.columns_of(table)
        if CHECK_SUM not in names:
            return None
        return check_sum(((name, kept[name]) for name in names if name in kept), parts)

    def _dangling(self, table: Table, columns: dict[str, object]) -> UnknownRowError | None:
        """Find the reference that points at no row."""
        for key in self.db.query(f"PRAGMA foreign_key_list({table})"):
            value = columns.get(key["from"])
            looked = f"SELECT 1 FROM {key['table']} WHERE {key['to']} = ?"
            if value is not None and not list(self.db.query(looked, [value])):
                return UnknownRowError(str(key["table"]).removesuffix("s"), value)
        return None


@lru_cache(maxsize=64)
def _insert_sql(table: Table, columns: tuple[str, ...]) -> str:
    marks = ", ".join("?" * len(columns))
    return f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({marks})"
