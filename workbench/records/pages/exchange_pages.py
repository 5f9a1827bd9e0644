"""The pages of a book about giving its rows to another book and taking rows in."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from workbench.records.desk.door import Door
from workbench.records.store.database import Told, quiet

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

    def count_out(self) -> int:
        """About how many rows the whole book would give."""
        from workbench.records.exchange.rows_out import count_out

        return self._read(count_out)

    def lines_out(self, ski_id: str | None = None) -> Iterator[tuple[Table, Iterator[list[str]]]]:
        """All rows that travel, or one ski's with what they refer to, as lines in lots, by table.

        To be used up within ``at_once``: they are read as they are asked for.
        """
        from workbench.records.exchange.rows_out import lines_out

        return self._read(lines_out, ski_id)

    def rows_out(self, ski_id: str | None = None) -> dict[Table, list[Row]]:
        """The same rows as values, all at once."""
        from workbench.records.exchange.rows_out import book_rows, ski_rows

        return self._read(book_rows) if ski_id is None else self._read(ski_rows, ski_id)

    def take_in(self, data: object, *, follow: bool = True, told: Told = quiet) -> Brought:
        """Keep the rows of a file that are new here: all of them or none.

        ``data`` are lists of rows by table, or a ``LinesIn``. ``follow=False`` is for a batch that
        will be undone; ``told`` is told how many more rows were gone through. Raises ``InputError``
        naming the place.
        """
        from workbench.records.exchange.rows_in import take_in

        return self._write(take_in, data, follow=follow, told=told)

    def brought(self, table: Table, column: str = "id") -> tuple[str, ...]:
        """What the rows of a table that were new in the last file say in a column, each once."""
        from workbench.records.exchange.arrivals import new_values

        return self._read(new_values, table, column)

    def brought_among(self, ids: Iterable[str]) -> set[str]:
        """Those of these ids that are of rows which were new in the last file."""
        from workbench.records.exchange.arrivals import new_among

        return self._read(new_among, tuple(ids))

    def newly_struck(self, brought: Brought) -> set[str]:
        """The ids of the rows that the last file struck out and that were not before."""
        from workbench.records.exchange.clashes import newly_struck

        return self._read(newly_struck, brought)

    def forget_brought(self) -> None:
        """Let go of which rows the last file brought."""
        from workbench.records.exchange.arrivals import forget

        self._write(lambda pen: forget(pen.db))

    def skis_touched(self, lists: Iterable[str]) -> tuple[str, ...]:
        """The ids of the skis that the rows of the last file may have changed the state of.

        ``lists``: the names of the settings that sign-offs are held against.
        """
        from workbench.records.exchange.clashes import skis_touched

        return self._read(skis_touched, tuple(lists))

    def clashes(self) -> tuple[Clash, ...]:
        """What fits badly together since the last import; nothing of it is guessed away."""
        from workbench.records.exchange.clashes import clashes

        return self._read(clashes)
