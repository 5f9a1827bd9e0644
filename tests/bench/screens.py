"""The whole bench in a pretended terminal: keys with a pause as by hand, or in bursts."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable, Iterable
from contextlib import asynccontextmanager
from time import monotonic
from typing import Any

from textual.app import App
from textual.events import Key
from textual.pilot import Pilot

from workbench.bench.app import Bench
from workbench.bench.bases.forms import Form
from workbench.records.store import rows
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop

SIZES = ((120, 36), (80, 24))
NAMED = {
    "\n": ("enter", "\r"), "\r": ("enter", "\r"), "\b": ("backspace", "\x7f"),
    ".": ("full_stop", "."),
    "+": ("plus", "+"), "-": ("minus", "-"), "*": ("asterisk", "*"), "/": ("slash", "/"),
    " ": ("space", " "), ",": ("comma", ","),
}  # fmt: skip
HAND_S = 0.16

Before = Callable[[Pilot[Any]], Awaitable[None]]


class Screen:
    """A running bench, its keys and what it shows."""

    def __init__(self, app: Bench, pilot: Pilot[int]) -> None:
        self.app = app
        self.pilot = pilot

    @property
    def view(self) -> JobView:
        """The job in hand."""
        view = self.app.hands.state.view
        assert view is not None
        return view

    def burst(self, text: str) -> None:
        """Post keys as one write of a cable, with no time between them."""
        for char in text:
            key, character = NAMED.get(char, (char, char))
            self.app.post_message(Key(key, character))

    async def by_hand(self, keys: str) -> None:
        """Press keys one by one, each settled before the next."""
        for char in keys:
            self.burst(char)
            await self.pilot.pause(HAND_S if char in "+-\n " else 0.05)
            await through(self.app)

    async def settle(self) -> None:
        """Wait until the burst and its window have passed."""
        await self.pilot.pause(0.05)
        await through(self.app)
        await self.pilot.pause(HAND_S)

    def held(self) -> list[str]:
        """Return what was kept as a note because it had no place."""
        facts = self.app.shop.book.facts(self.view.job.id)
        return [f.text for f in facts if isinstance(f, rows.Mark) and f.kind == "held"]

    def shown(self) -> str:
        """Return all text on the screen, line by line."""
        lines = self.app.screen._compositor.render_strips()
        return "\n".join("".join(segment.text for segment in strip) for strip in lines)


@asynccontextmanager
async def bench(shop: Shop, size: tuple[int, int] = (120, 36)) -> AsyncIterator[Screen]:
    """Run the bench in a terminal of a size, toasts on."""
    app = Bench(shop)
    async with app.run_test(size=size, notifications=True, tooltips=True) as pilot:
        be_patient(app, pilot)
        await pilot.pause()
        yield Screen(app, pilot)


async def through(app: Bench, wait_s: float = 20.0) -> None:
    """Wait until every key has been let in, however busy the machine is."""
    gate, end = app._gate, monotonic() + wait_s
    await asyncio.sleep(0.005)
    while app.message_queue_size or gate._line or gate._busy or gate._held:
        if not app.is_running or monotonic() > end:
            return
        await asyncio.sleep(0.005)


def be_patient(app: Bench, pilot: Pilot[Any]) -> None:
    """Let a pilot press as a hand does, a key when the one before is through, and wait for it."""
    press, pause = pilot.press, pilot.pause

    async def press_each(*keys: str) -> None:
        for key in keys:
            await press(key)
            await through(app)

    async def pause_through(delay: float | None = None) -> None:
        await through(app)
        await pause(delay)

    pilot.press, pilot.pause = press_each, pause_through  # type: ignore[method-assign]


async def send(pilot: Pilot[None], text: Iterable[str], gap_s: float = 0.002) -> None:
    """Deliver keys as a cable does: all at once in the queue, ``gap_s`` apart by their times."""
    app: App[Any] = pilot.app
    at = getattr(app, "sent_until", 1000.0) + 1.0
    for char in text:
        key, character = ("ctrl+j", "\n") if char == "\n" else NAMED.get(char, (char, char))
        event = Key(key, character if len(character) == 1 else None)
        event.time = at
        app.post_message(event)
        at += gap_s
    app.sent_until = at  # type: ignore[attr-defined]
    await pilot.pause()
    await pilot.pause()


async def slowly(pilot: Pilot[None], text: Iterable[str]) -> None:
    """Type as a hand does."""
    await send(pilot, text, gap_s=0.2)


def before(keys: Iterable[str] = (), action: str = "", job_id: str = "") -> Before:
    """Return what is done before a picture: a ski in hand, an action, then keys by hand."""

    async def act(pilot: Pilot[Any]) -> None:
        await pilot.pause()
        app: Any = pilot.app
        if job_id:
            app.hands.open(job_id)
        if action:
            app.do_(action)
            await pilot.pause(0.2)
        for key in keys:
            await pilot.press(NAMED.get(key, (key, key))[0])
            await pilot.pause(0.17)
            await through(app)
        await pilot.pause(0.1)

    return act


async def fill(screen: Screen, **texts: str) -> None:
    """Write into fields of the form that is open."""
    form = screen.app.screen
    assert isinstance(form, Form)
    for row in form._rows:
        if row.field.key in texts:
            row.line.value = texts[row.field.key]
    await screen.pilot.pause()
