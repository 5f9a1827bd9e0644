"""The way into a book: opening, closing, and asking for what its pages offer."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import Future
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Concatenate, ParamSpec, Self, TypeVar

from workbench.records.backup import copies
from workbench.records.backup.place_lock import place_held
from workbench.records.desk.desk import Desk, utc_now
from workbench.records.store.database import Database, Told, quiet
from workbench.records.store.writer import Pen

T = TypeVar("T")
P = ParamSpec("P")


class Door:
    """An open book without its pages."""

    def __init__(
        self,
        path: Path | str,
        *,
        clock: Callable[[], datetime] = utc_now,
        bench: str = "",
        make_folder: bool = False,
        beside: Door | None = None,
    ) -> None:
        """Open the book at ``path``, or begin it; with ``make_folder`` its folder too.

        ``clock`` gives the time with its zone. ``bench`` names this bench in the ids that it gives;
        left out, they carry the book's own random bench id. With ``beside``, a book that is open
        here, this is another connection to it, to be closed before that one. Raises
        ``RecordsError`` where there is no book of ours to open, and leaves what is there untouched.
        """
        other: Desk | None = None if beside is None else beside._desk
        self._desk: Desk = Desk(
            Path(path), clock=clock, bench=bench, make_folder=make_folder, beside=other
        )

    @property
    def path(self) -> Path:
        """Where the book lies."""
        return self._desk.path

    def close(self) -> None:
        """Finish what is under way, then close; a second time does nothing."""
        self._desk.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    # The ways in -----------------------------------------------------------------------------

    async def aio(self, method: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> T:
        """Await ``method`` of this book, on a screen's loop.

        Once asked for, a write is done even if whoever awaits it is cancelled.
        """
        loop = asyncio.get_running_loop()
        answer: asyncio.Future[T] = loop.create_future()

        def settle(done: Future[T]) -> None:
            if answer.cancelled():
                return
            error = done.exception()
            if error is None:
                answer.set_result(done.result())
            else:
                answer.set_exception(error)

        def report(done: Future[T]) -> None:
            if not loop.is_closed():
                loop.call_soon_threadsafe(settle, done)

        self.submit(method, *args, **kwargs).add_done_callback(report)
        return await answer

    def submit(self, method: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        """Hand ``method`` of this book to the desk and go on; the desk keeps the order asked."""
        return self._desk.submit(lambda: method(*args, **kwargs))

    def batch(self, work: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> T:
        """Run ``work``, which calls this book's methods, as one transaction: all kept or nothing.

        It runs on the desk's thread; nobody else's write comes between.
        """
        return self._desk.write(lambda _pen: work(*args, **kwargs))

    def at_once(self, work: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> T:
        """Run ``work``, which only reads by this book's methods, on one state of the book.

        It runs on the desk's thread, which saves every method the way there and back.
        """
        return self._desk.read(lambda _db: work(*args, **kwargs))

    def _read(
        self, fn: Callable[Concatenate[Database, P], T], *args: P.args, **kwargs: P.kwargs
    ) -> T:
        return self._desk.read(lambda db: fn(db, *args, **kwargs))

    def _write(self, fn: Callable[Concatenate[Pen, P], T], *args: P.args, **kwargs: P.kwargs) -> T:
        return self._desk.write(lambda pen: fn(pen, *args, **kwargs))

    def changed_since_last_look(self) -> bool:
        """Whether another bench has written since this was last asked; costs next to nothing."""
        return self._desk.changed_since_last_look()

    def newest_entry(self) -> datetime | None:
        """The time of what was entered last, as its id tells it; None in an empty book."""
        return self._desk.newest()

    def backup(self, path: Path | str, told: Told = quiet) -> Path:
        """Copy the book to ``path`` while it is in use, check the copy, then give it its name.

        An older copy of this book at ``path`` is replaced; anything else there is refused.
        ``told`` is told of pages copied.
        """
        target = Path(path)
        with place_held(self.path):
            self._desk.look(lambda db: copies.copy_book(db.conn, self.path, target, told=told))
        return target
