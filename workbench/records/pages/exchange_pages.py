"""The pages of a book about giving its rows to another book and taking rows in."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from workbench.records.desk.door import Door

if TYPE_CHECKING:
    from workbench.records.exchange.clashes import Clash
    from workbench.records.exchange.form import Row
    from workbench.records.exchange.rows_in import Brought
    from workbench.records.store.specs import Table


class ExchangePages(Door):
    """Rows out and in, as plain values of JSON. What does it is loaded when asked for."""

    def steps(self) -> tuple[str, ...]:
        """The names of the migrations that made this book, oldest first."""
        from workbench.records.exchange.rows_out import steps_of

        return self._read(steps_of)

    def likely_size(self) -> int:
        """About how many bytes the whole book takes as a file."""
        from workbench.records.exchange.rows_out import likely_size

        return self._read(likely_size)

    def rows_out(self, ski_id: str | None = None) -> dict[Table, list[Row]]:
        """All rows that travel, or one ski's with what they refer to; by table and id."""
        from workbench.records.exchange.rows_out import book_rows, ski_rows

        return self._read(book_rows) if ski_id is None else self._read(ski_rows, ski_id)

    def take_in(self, data: object, *, follow: bool = True) -> Brought:
        """Keep the rows of a file that are new here: all of them or none.

        ``follow=False`` is for a batch that will be undone. Raises ``InputError`` naming the place.
        """
        from workbench.records.exchange.rows_in import take_in

        return self._write(take_in, data, follow=follow)

    def skis_touched(self, brought: Brought, lists: Iterable[str]) -> tuple[str, ...]:
        """The ids of the skis that these rows may have changed the state of.

        ``lists``: the names of the settings that sign-offs are held against.
        """
        from workbench.records.exchange.clashes import skis_touched

        return self._read(skis_touched, brought, tuple(lists))

    def clashes(self, brought: Brought) -> tuple[Clash, ...]:
        """What fits badly together since these rows arrived; nothing of it is guessed away."""
        from workbench.records.exchange.clashes import clashes

        return self._read(clashes, brought)
