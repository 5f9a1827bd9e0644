"""A book's rows changed behind its back, as a failing disk changes them."""

from __future__ import annotations

import sqlite3
import struct
from contextlib import closing
from pathlib import Path


def change(path: Path, table: str, row_id: str, key: str = "id", **columns: object) -> None:
    """Change columns of a row of a closed book, its guards lifted and put back."""
    with closing(sqlite3.connect(path, isolation_level=None)) as conn:
        sql = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name = ?"
        guards = list(conn.execute(sql, [table]))
        for name, _ in guards:
            conn.execute(f"DROP TRIGGER {name}")
        for column, value in columns.items():
            update = f"UPDATE {table} SET {column} = ? WHERE {key} = ?"
            assert conn.execute(update, [value, row_id]).rowcount
        for _, guard in guards:
            conn.execute(guard)


def flipped(value: float, bit: int) -> float:
    """The number whose IEEE 754 double differs in one bit, counted from the least."""
    (bits,) = struct.unpack("<Q", struct.pack("<d", value))
    out: float = struct.unpack("<d", struct.pack("<Q", bits ^ (1 << bit)))[0]
    return out
