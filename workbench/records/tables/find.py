"""Every ski the book knows, in few words, to search among."""

from __future__ import annotations

from workbench.frozen import dataclass
from workbench.records.store.database import Database


@dataclass(frozen=True, slots=True)
class KnownSki:
    """A ski as a list shows it."""

    id: str
    name: str
    rider: str
    serial: str
    model: str
    note: str


_KNOWN = """SELECT t.root, t.name, t.rider, t.serial, t.model, t.note FROM skis t
    WHERE t.id = (SELECT max(v.id) FROM skis v WHERE v.root = t.root)
    AND NOT EXISTS (SELECT 1 FROM strikes s WHERE s.row_id = t.root)
    ORDER BY t.root DESC"""


def known_skis(db: Database) -> tuple[KnownSki, ...]:
    """All skis that are not struck out, newest first, with one query."""
    return tuple(KnownSki(*row) for row in db.execute(_KNOWN))
