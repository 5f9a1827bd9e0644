"""What a hub and a folder have in common: rows that arrive, and how a way of sharing is used."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import datetime
from typing import Protocol, TypeAlias

from workbench.errors import RecordsError
from workbench.frozen import dataclass
from workbench.records.exchange.form import Row
from workbench.records.sharing.journal import Parcel


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


class Way(Protocol):
    """A hub or a folder, as a round of sharing uses it."""

    share: str
    own_stream: str
    """The stream that :meth:`put` appends to."""
    stops_at_refused: bool
    """Whether a row that is refused ends its stream for now; else it is held back by itself."""
    loses_sent: bool
    """Whether what was sent is to be sent again where a stream is not what it was."""

    def knows(self, seen: Seen | None) -> None:
        """Take note of how far this bench has taken the streams; None where rows to come are older
        than its sharing."""
        ...

    def seen_of(self, row: Parcel) -> Seen | None:
        """How far this bench had taken the streams when it wrote a row."""
        ...

    def put(self, rows: Sequence[Parcel], form: int, bench: str) -> None:
        """Append rows: all of them or none, each once by its id; raises ``SharingError``."""
        ...

    def streams(self) -> Iterable[str]:
        """The names of the streams there are."""
        ...

    def is_same(self, stream: str, position: int, mark: str) -> bool:
        """Whether a stream is still the one that was taken up to ``position``."""
        ...

    def read(self, stream: str, position: int, most: int) -> Batch:
        """The next rows of a stream; an empty batch at its end."""
        ...

    def skip_own(self, position: int) -> tuple[int, str] | None:
        """Position and mark of the own stream after what was put since the last call, where nobody
        else's rows stand between ``position`` and there; else None."""
        ...

    def facts_after(
        self, after: Seen, jobs: Collection[str], tables: Collection[str]
    ) -> list[tuple[str, Arriving]]:
        """Rows of these tables and jobs behind these places, of which it is known what their
        writers had seen; each with its stream."""
        ...

    def names(self) -> dict[str, str]:
        """What the benches are called, by their ids, where that is known."""
        ...
