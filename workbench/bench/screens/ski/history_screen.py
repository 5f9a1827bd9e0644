"""A ski's history on the screen: the timeline, its plots, and the way to compare and strike out.

A number off a caliper's cable is held here and answers nothing; what changes the book asks for a
reason in words first.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from textual import on
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.events import Key
from textual.widgets import Input, Static

from workbench.bench.bases.prompts import Prompt, PromptInput
from workbench.bench.bases.view_only import DrawnCloser
from workbench.bench.draw.canvas import Area
from workbench.bench.draw.text import Tone, lines, styled, visible
from workbench.bench.hand.state import BenchState
from workbench.bench.screens.ski.compare_screen import CompareScreen, made_target
from workbench.bench.screens.ski.history_lines import (
    Looking,
    detail,
    filters,
    past_of,
    plots,
    timeline_rows,
)
from workbench.errors import BenchError
from workbench.measure.units import Unit
from workbench.work.history.history import Setting
from workbench.work.history.striking import consequences, strike_row
from workbench.work.history.timeline import KINDS, Entry, Shown, row_words
from workbench.work.job.shop import Shop
from workbench.work.text.words import error_words

_SHOWN: tuple[Shown, ...] = tuple(KINDS)
PAGE_ROWS = 10


class HistoryScreen(DrawnCloser):
    """Everything ever read or done to the ski in hand, whose job may be aimed from here.

    The line to find by is shown while it is wanted; a burst that lands in it is held.
    """

    DEFAULT_CSS = """
    HistoryScreen > Vertical { max-width: 100%; max-height: 100%; padding: 0 1; }
    HistoryScreen #closer-foot { height: auto; max-height: 3; }
    HistoryScreen #find { height: 1; display: none; }
    HistoryScreen.-finding #find { display: block; }
    HistoryScreen #find Static { width: 6; }
    HistoryScreen #find PromptInput { width: 1fr; }
    """
    KEYS = "↑↓ · ←→ kind · n order · f find · x strike · p plots · c compare · Esc"
    PLOT_KEYS = "←→ plot · ↑↓ setting · z job · g go back to it · c compare · p lines · Esc"

    def __init__(self, shop: Shop, state: BenchState) -> None:
        assert state.view is not None
        super().__init__(state.keys.of("history"), state.unit)
        self._shop, self._ski_id, self._job_id = shop, state.view.ski.id, state.view.job.id
        self.mode = state.drawing
        self.past = past_of(shop, self._ski_id)
        self.look = Looking()
        self._entries = self.past.timeline.shown("all")
        self._said = ""

    # -- what is shown ---------------------------------------------------------------------------

    def compose(self) -> ComposeResult:
        """Lay out the line to find by, the body and the keys."""
        with Vertical():
            with Horizontal(id="find"):
                yield Static("find: ", markup=False)
                yield PromptInput()
            yield self.body()
            yield Static(id="closer-foot", markup=False)

    def on_mount(self) -> None:
        """Show the keys under the ski's name."""
        self.query_one(Vertical).border_title = Content(
            visible(f"History: {self.past.history.ski.name}")
        )
        self._show()

    def drawn(self, width: int, height: int) -> Content:
        """Return the timeline or the plots, filling width x height cells."""
        if width < 1 or height < 1:
            return Content("")
        if self.look.plotted:
            return plots(self.past, self.look, self.unit, self.mode, width, height)
        head = filters(self.look, len(self._entries), self.past, width)
        foot = detail(self.chosen, self.past, self.unit, width)
        room = max(height - 2 - len(foot), 1)
        area = Area(width, room, self.mode)
        body = timeline_rows(self._entries, self.look.at, self.past, self.unit, area)
        body += [styled("")] * (room - len(body))
        return lines([head, *body, styled(("─" * width, "$ink-faint")), *foot])

    @property
    def chosen(self) -> Entry | None:
        """The entry that the mark is at."""
        return self._entries[self.look.at] if self._entries else None

    @property
    def setting(self) -> Setting | None:
        """The setting pointed at in the plots."""
        settings = self.past.settings
        return settings[self.look.setting] if settings else None

    def _show(self, **changes: object) -> None:
        self.look = replace(self.look, **changes)  # type: ignore[arg-type]
        keys = self.PLOT_KEYS if self.look.plotted else self.KEYS
        said = [(f"! {visible(self._said, 200)} ", "bold $state-caution")] if self._said else []
        self.query_one("#closer-foot", Static).update(styled(*said, (keys, "$ink-faint")))
        self.draw()

    def _search(self, **changes: object) -> None:
        """Show other entries; the mark stays with its entry where that is still there."""
        kept = self.chosen
        self.look = replace(self.look, **changes)  # type: ignore[arg-type]
        look = self.look
        self._entries = self.past.timeline.shown(look.kind, look.find, look.newest_first)
        ids = {e.row.id: i for i, e in enumerate(self._entries)} if kept else {}
        self._show(at=ids.get(kept.row.id, 0) if kept else 0)

    # -- keys ------------------------------------------------------------------------------------

    def on_key(self, event: Key) -> None:
        """Take every key but those of the line to find by."""
        if self.focused is None or event.key in ("escape", *_MOVES):
            super().on_key(event)

    def take_key(self, event: Key) -> None:
        """Do what a key means here; digits and Enter are a reading that has no place."""
        if event.key == "escape" and self.has_class("-finding"):
            self._end_find(clear=True)
        elif event.key in _MOVES and not self._typed:
            self._said = ""
            self._move_by(event.key)
        else:
            super().take_key(event)

    def acts(self) -> dict[str, Callable[[], None]]:
        """Return what keys do in the timeline, or in the plots."""
        acts: dict[str, Callable[[], None]] = {
            "p": lambda: self._show(plotted=not self.look.plotted, zoom=""),
            "c": self._compare,
        }
        if self.look.plotted:
            return acts | {
                "z": self._zoom,
                "g": self._go_back,
                "left": lambda: self._show(series=self.look.series - 1),
                "right": lambda: self._show(series=self.look.series + 1),
            }
        return acts | {
            "n": lambda: self._search(newest_first=not self.look.newest_first),
            "f": self._begin_find,
            "x": self._strike,
            "left": lambda: self._kind(-1),
            "right": lambda: self._kind(1),
        }

    def attempt(self, act: Callable[[], object]) -> bool:
        """Do something; what was said before is over."""
        self._said = ""
        return super().attempt(act)

    def step(self, by: int) -> None:
        """Move the mark, or point at another setting."""
        self._move_by("down" if by > 0 else "up")

    def _move_by(self, key: str) -> None:
        by = _MOVES[key] * (PAGE_ROWS if key.startswith("page") else 1)
        if self.look.plotted:
            self._point_at(key, by)
            return
        last = max(len(self._entries) - 1, 0)
        at = {"home": 0, "end": last}.get(key, self.look.at + by)
        self._show(at=min(max(at, 0), last))

    def _point_at(self, key: str, by: int) -> None:
        """Point at another setting, not while a job is looked into."""
        count = len(self.past.settings)
        if count and not self.look.zoom:
            at = {"home": 0, "end": count - 1}.get(key, self.look.setting % count + by)
            self._show(setting=min(max(at, 0), count - 1))

    def _kind(self, by: int) -> None:
        at = (_SHOWN.index(self.look.kind) + by) % len(_SHOWN)
        self._search(kind=_SHOWN[at])

    def _zoom(self) -> None:
        setting = self.setting
        if setting is not None:
            self._show(zoom="" if self.look.zoom else setting.job_id)

    def in_unit(self, unit: Unit) -> None:
        """Show lengths in another unit."""
        self.unit = unit
        self._show()

    def say(self, words: str, tone: Tone = "say") -> None:
        """Show a message before the keys."""
        self._said = words
        self._show()

    # -- the line to find by ---------------------------------------------------------------------

    def _begin_find(self) -> None:
        self.add_class("-finding")
        self.query_one(PromptInput).focus()

    def _end_find(self, clear: bool) -> None:
        """Take the keys back; the line goes where nothing is looked for."""
        line = self.query_one(PromptInput)
        if clear:
            line.value = ""
        if not line.value:
            self.remove_class("-finding")
        self.set_focus(None)

    @on(Input.Changed)
    def _found(self, event: Input.Changed) -> None:
        event.stop()
        self._search(find=event.value)

    @on(PromptInput.Answered)
    def _keep_find(self) -> None:
        self._end_find(clear=False)

    @on(PromptInput.Burst)
    def _hold(self, event: PromptInput.Burst) -> None:
        self.hold(event.reading)

    # -- doing -----------------------------------------------------------------------------------

    def _strike(self) -> None:
        entry = self.chosen
        if entry is None:
            return
        try:
            said = " ".join(consequences(self._shop, entry))
        except BenchError as why:
            self.say(error_words(why, self.unit))
            return
        words = visible(row_words(entry.row, self.past.history, self.unit), 60)
        prompt = Prompt(
            f"Strike out: {entry.kind}, {words}",
            f"{said} Why: a word or two.",
            "",
            lambda reason: strike_row(self._shop, entry, reason),
        )
        self.app.push_screen(prompt, self._after_strike)

    def _after_strike(self, strike: object) -> None:
        self._load()  # a refusal may have told of what was added since
        if strike is not None:
            self.say("struck out; it stays readable")

    def _load(self) -> None:
        """Read the history again, and let the bench do so too."""
        try:
            self.past = past_of(self._shop, self._ski_id)
        except BenchError as why:
            self._said = error_words(why, self.unit)
        if not -len(self.past.settings) <= self.look.setting < len(self.past.settings):
            self.look = replace(self.look, setting=-1)
        self.bench.hands.look_again()
        self._search()

    def _compare(self) -> None:
        screen = CompareScreen(
            self._shop, self.past, self._compared_job(), self._job_id, self.unit, self._load
        )
        self.app.push_screen(screen, lambda _: self.in_unit(screen.unit))

    def _compared_job(self) -> str:
        if self.look.plotted and self.setting is not None:
            return self.setting.job_id
        row = self.chosen.row if self.chosen is not None else None
        return str(getattr(row, "job_id", ""))

    def _go_back(self) -> None:
        if self.setting is not None:
            said = made_target(self._shop, self._job_id, self.setting, self.unit)
            self._load()
            self.say(said)


_MOVES = {"up": -1, "down": 1, "pageup": -1, "pagedown": 1, "home": -1, "end": 1}
