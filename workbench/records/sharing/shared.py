"""What a hub and a folder have in common: rows that arrive, and how a way of sharing is used."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Protocol

from workbench.errors import RecordsError
from workbench.frozen import dataclass
from workbench.records.exchange.form import Row
from workbench.records.sharing.journal import Parcel


class SharingError(RecordsError):
    """A hub or folder does not answer, or is not one; says why and what to do next."""


class NewerFormError(SharingError):
    """Rows that a newer Quarterturn wrote, or a hub of another version than this one's."""


@dataclass(frozen=True, slots=True)
class Arriving:
    """A row as it is in a stream, which is at ``position`` and ``mark`` after it; ``where`` is
    the row's place in words, for a complaint.

    ``bench`` wrote it, in the form of number ``form``; ``seen`` as in a ``Parcel``.
    """

    position: int
    mark: str
    where: str
    row_id: str
    table: str
    body: Row
    form: int
    bench: str = ""
    seen: int | None = None


@dataclass(frozen=True, slots=True)
class Batch:
    """The next rows of a stream, and how far it is read after them."""

    rows: tuple[Arriving, ...]
    position: int
    mark: str
    fault: str = ""
    """Why nothing can be read after these rows, where that is so."""


class Way(Protocol):
    """A hub or a folder, as a round of sharing uses it."""

    share: str
    own_stream: str
    """The stream that :meth:`put` appends to."""
    stops_at_refused: bool
    """Whether a row that is refused ends its stream for now; else it is held back by itself."""

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
