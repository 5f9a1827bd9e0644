"""The way to what a book keeps of sharing its rows: the functions of ``sharing/journal.py``.

Those are handed in, so that a bench which shares nothing loads none of it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Concatenate, ParamSpec, TypeVar

from workbench.records.desk.door import Door
from workbench.records.store.database import Database
from workbench.records.store.specs import Table
from workbench.records.store.writer import Pen

T = TypeVar("T")
P = ParamSpec("P")

_BY_HUB = f"SELECT 1 FROM {Table.SHARES} WHERE kind = 'hub' AND joined"


class SharingPages(Door):
    """Whose book it is, whether it is shared, and what its journal says."""

    def own_bench(self) -> str:
        """This book's own bench id (16 hex digits); a copy of the book has another."""
        return self._desk.bench()

    def is_shared_by_hub(self) -> bool:
        """Whether a hub is joined; costs next to nothing."""
        return self._read(lambda db: db.execute(_BY_HUB).fetchone() is not None)

    def journal(
        self, look: Callable[Concatenate[Database, P], T], *args: P.args, **kwargs: P.kwargs
    ) -> T:
        """What a function of ``sharing/journal.py`` reads."""
        return self._read(look, *args, **kwargs)

    def set_down(
        self, write: Callable[Concatenate[Pen, P], T], *args: P.args, **kwargs: P.kwargs
    ) -> T:
        """Let a function of ``sharing/journal.py`` write."""
        return self._write(write, *args, **kwargs)
