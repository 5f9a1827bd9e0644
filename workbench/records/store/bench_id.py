"""The bench id of a book: random, of this file alone.

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
import secrets
from datetime import UTC, datetime
from pathlib import Path

from workbench.records.store.database import Database
from workbench.records.store.specs import Table

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
