"""The bench in step with its hub, beside it: a sign in the top line, who has this ski, clashes.

A thread with a connection of its own does the work; the bench looks at what it says. Where no hub
is joined nothing of it is loaded.
"""

from __future__ import annotations

import asyncio
from collections import deque
from typing import TYPE_CHECKING

from workbench.errors import BenchError
from workbench.records.book import Book

if TYPE_CHECKING:
    from workbench.bench.app import Bench
    from workbench.work.sharing.hubs import Shared
    from workbench.work.sharing.watch import Watch

LOOK_S = 0.5
"""So often the bench looks at how it is in step."""


class Sharing:
    """Keeps one open book in step, where a hub is joined."""

    def __init__(self, book: Book) -> None:
        self._book = book
        self._watch: Watch | None = None
        self._came: deque[Shared] = deque()
        self._clashes: dict[str, str] = {}
        self._told = ""

    async def keep_up(self, app: Bench, after: float) -> None:
        """Begin once the bench is drawn, and show how it is in step until cancelled."""
        await asyncio.sleep(after)
        try:
            if not self._book.is_shared_by_hub():
                return
        except BenchError as why:
            app.tell(str(why))
            return
        self._watch = await asyncio.to_thread(self._begun)
        while True:
            self._look(app, self._watch)
            await asyncio.sleep(LOOK_S)

    def stop(self) -> None:
        """Let the thread finish; what did not go goes the next time."""
        if self._watch is not None:
            self._watch.stop()

    def _begun(self) -> Watch:
        from workbench.work.sharing.watch import Watch

        book = self._book
        watch = Watch(lambda: Book(book.path, beside=book), self._came.append)
        watch.start()
        return watch

    def _look(self, app: Bench, watch: Watch) -> None:
        from workbench.work.sharing.words import held_elsewhere, sign_of

        hands, now = app.hands, watch.standing
        view = hands.state.view
        ski = view.ski.id if view is not None else ""
        watch.in_hand(app.shop.who, ski)
        while self._came:
            self._tell(app, self._came.popleft())
        clash = self._clashes.get(ski, "") if view is None or view.stage != "signed off" else ""
        hands.shares(
            sharing=sign_of(now),
            sharing_short=sign_of(now, short=True),
            elsewhere=held_elsewhere(now, ski) if ski else "",
            clash=clash,
        )

    def _tell(self, app: Bench, shared: Shared) -> None:
        """Say what of a round is to be looked at: once, the rest by 'quarterturn sync'."""
        from workbench.work.sharing.words import news_lines, versions_words

        for each in shared.set_twice:
            self._clashes[each.ski_id] = versions_words(each)
        lines = [line.removeprefix("! ") for line in news_lines(shared) if line.startswith("! ")]
        words = lines[0] if lines else ""
        if len(lines) > 1:
            words += f"; and {len(lines) - 1} more: quarterturn sync"
        if words and words != self._told:
            app.tell(words)
        self._told = words
