"""Waiting for another connection to the same book."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable
from typing import TypeVar

from workbench.records.store.faults import is_busy

T = TypeVar("T")

BUSY_SECONDS = 10.0
"""How long SQLite itself waits for another connection."""

PATIENCE_SECONDS = 30.0
"""How long we go on trying after that."""


def patiently(step: Callable[[], T]) -> T:
    """Do ``step``, and do it again while another connection is in the way."""
    deadline = time.monotonic() + PATIENCE_SECONDS
    while True:
        try:
            return step()
        except sqlite3.OperationalError as error:
            if not is_busy(error) or time.monotonic() > deadline:
                raise
            time.sleep(0.02)
