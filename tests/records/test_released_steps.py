"""Migrations that were released stay as they are: books of their day were made by them."""

from __future__ import annotations

import sqlite3
import zlib
from collections.abc import Sequence
from contextlib import closing

import pytest

from workbench.records.store.database import Database
from workbench.records.store.schema import BOOK_STEPS

pytestmark = pytest.mark.usefixtures("begun_by_steps")

RELEASED = {
    "first_book": 0x26EFCE78,
    "caliper_checks": 0xF6347B5F,
    "whole_day": 0x7E5AF42C,
    "other_strikes": 0x55CEB8ED,
    "why_corrected": 0x0BB08DAE,
    "unique_numbers": 0x9DA3EF5E,
    "seen_readings": 0xDC8D9615,
    "stand_ins": 0xBA8989A0,
    "after_lock": 0xC4F5959D,
    "check_sums": 0x7F7AE848,
    "traced_blades": 0xB01C4695,
    "measured_studs": 0xBBC26504,
    "shared_books": 0x7F824B6A,
    "parts_to_come": 0x00000000,
}


class Heard(Database):
    """A connection that remembers what it was asked."""

    def __init__(self, conn: sqlite3.Connection) -> None:
        super().__init__(conn)
        self.said: list[str] = []

    def execute(self, sql: str, values: Sequence[object] = ()) -> sqlite3.Cursor:
        self.said.append(f"{sql} {list(values)}")
        return super().execute(sql, values)


def asked_by_steps() -> dict[str, int]:
    """Return a number for what each step asks of SQLite (a CRC of its statements)."""
    out: dict[str, int] = {}
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as conn:
        for name, step in BOOK_STEPS.items():
            db = Heard(conn)
            step(db)
            out[name] = zlib.crc32("\n".join(db.said).encode())
    return out


def test_a_released_migration_asks_what_it_asked() -> None:
    asked = asked_by_steps()
    assert {name: asked.get(name) for name in RELEASED} == RELEASED
