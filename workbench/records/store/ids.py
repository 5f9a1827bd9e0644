"""Ids that sort by time: UUIDs laid out as version 7 (RFC 9562, section 5.7), as text.

48 bits of milliseconds and 12 of their fraction (its method 3), then 24 bits that tell the bench
and 38 random ones. A mint never gives an id that is not greater than all before it, whatever the
clock does.

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
ids still do not collide there (``ids.py``), a hub tells rows apart by those alone, and in a folder
each of the two reads what the other wrote.
"""

from __future__ import annotations

import hashlib
import os
import platform
import re
import secrets
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

from workbench.errors import RecordsError, shown
from workbench.records.store.database import Database
from workbench.records.store.specs import Table

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
