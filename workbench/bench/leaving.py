"""How the bench closes: on purpose, or after an error of ours; either way nothing is lost."""

from __future__ import annotations

from contextlib import suppress
from typing import Any

from textual.app import App

from workbench.bench.bases.form_lines import Box, unfinished_text
from workbench.bench.hand.hands import Hands
from workbench.errors import BenchError
from workbench.work.job.shop import Shop
from workbench.work.text.fields import Texts


class Leaving(App[int]):
    """Keeps where the bench is before it goes; an app of ours sets what it needs."""

    shop: Shop
    hands: Hands
    form_drafts: dict[str, Texts]
    report: str
    """What to tell of an error of ours, once the terminal is whole again."""
    unkept: str = ""
    """What was typed and could not be kept, to be told then."""

    def leave_off(self) -> None:
        """Keep where the bench is, the entry begun, and what is typed in an open form.

        A book that has gone, or takes nothing, holds nobody up: what it did not take is told.
        """
        boxes = [screen for screen in self.screen_stack if isinstance(screen, Box)]
        texts = unfinished_text(boxes[-1].heading, self.form_drafts) if boxes else ""
        kept = True
        try:
            if texts or self.shop.book.setting("forms"):
                kept = self.hands.remember("forms", texts)
        except BenchError:
            kept = False
        entry = self.hands.state.entry
        kept = self.hands.leave() and kept
        self.unkept = "" if kept else "; ".join(part for part in (entry, texts) if part)

    @property
    def is_leaving(self) -> bool:
        """Whether it closes: keys that are still on their way do nothing."""
        return self._exit

    def leave(self) -> None:
        """Leave; what was typed is kept for next time."""
        self.leave_off()
        self.exit(0)

    async def action_quit(self) -> None:
        """Leave; what was typed is kept for next time."""
        self.leave()

    def _fatal_error(self) -> None:
        """Close after an error of our own: the draft kept, a report written, the terminal whole."""
        from workbench.bench.crash import words, write_report

        with suppress(Exception):
            self.leave_off()
        error = self._exception or RuntimeError("an error without a name")
        book = self.shop.book.path
        report = write_report(error, book.parent, self._where(), book)
        self.report = self.report or words(report)
        self._close_messages_no_wait()

    def _where(self) -> str:
        """Say what was open, for a report; while the bench starts there is no screen yet."""
        view = self.hands.state.view
        stage = view.stage if view is not None else "no ski in hand"
        open_now = type(self.screen).__name__ if self._screen_stack else "no screen"
        return f"{open_now}, {stage}, {self.size.width}x{self.size.height}"

    def panic(self, *renderables: Any) -> None:
        """Close as after any error of ours; what Textual would have printed goes into a report."""
        from workbench.bench.crash import as_text

        self._return_code = 1
        if self._exception is None:
            self._exception = RuntimeError(as_text(renderables))
        self._fatal_error()
