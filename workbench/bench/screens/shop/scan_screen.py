"""A blade traced from a scan, a photo or a drawing: drawn as it is found, kept once confirmed."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from threading import Event
from time import monotonic
from typing import TYPE_CHECKING

from textual.content import Content

from workbench.bench.bases.forms import Form, drafts_of
from workbench.bench.bases.view_only import DrawnCloser
from workbench.bench.draw.canvas import Canvas
from workbench.bench.draw.text import TONES, Tone, lines, paragraph, visible
from workbench.bench.hand.state import BenchState
from workbench.errors import BenchError, InputError
from workbench.fin.frame import Point
from workbench.frozen import dataclass
from workbench.measure.units import Unit, unit_of
from workbench.records.store import rows
from workbench.work.drawing.layout import Stroke, Words
from workbench.work.drawing.scene import FAINT, LIT, NOW
from workbench.work.job.shop import Shop
from workbench.work.trace.look import ASKED, Ask, Look, dots_of
from workbench.work.trace.tracing import (
    FileTraced,
    checked_ask,
    keep_traced,
    same_blades,
    trace_file,
)

if TYPE_CHECKING:
    from workbench.bench.app import Bench

TITLE = "Trace a scan, photo or drawing"
_STYLES = {NOW: "$foreground", LIT: "bold $accent", FAINT: "$ink-faint"}
GROUND = "ground"
REFRESH_S = 0.5
MOST_SAID = 8
"""Lines below the drawing."""


@dataclass(frozen=True, slots=True)
class File:
    """A file to trace, as the form was filled in."""

    path: str
    name: str
    ask: Ask
    texts: tuple[tuple[str, str], ...]


class BrokenOffError(Exception):
    """The trace was broken off: nobody waits for it."""


class TraceForm(Form):
    """Asks for a file; its result is a :class:`File`."""

    def __init__(self, shop: Shop, state: BenchState) -> None:
        unit = state.unit
        more = dict.fromkeys(("across", "square"), f" ({unit})")
        more["file"] = "; ~ is your home folder"
        super().__init__(TITLE, ASKED, lambda texts: _file_of(texts, unit), more=more)

    def after(self, bench: Bench, result: object) -> None:
        """Trace the file."""
        super().after(bench, result)
        if isinstance(result, File):
            bench.show(ScanScreen(bench.shop, bench.hands.state, result))


def _file_of(texts: dict[str, str], bench_unit: Unit) -> File:
    clean = {key: text.strip() for key, text in texts.items()}
    path = str(Path(clean["file"]).expanduser()) if clean["file"] else ""
    if not path:
        raise InputError("file", "(blank)", "the path of a picture or a drawing")
    if not Path(path).is_file():
        raise InputError("file", path, "a file that is there")
    unit = unit_of(clean["unit"]) if clean["unit"] else None
    ask = Ask(clean["dpi"], clean["across"], clean["square"], unit)
    try:
        is_picture = not checked_ask(path, ask)
    except InputError as why:
        raise InputError(why.field.removeprefix("--"), why.value, why.accepted) from None
    if is_picture:
        ask = replace(ask, unit=unit or bench_unit)
        if not ask.scales:
            raise InputError("dpi", "(blank)", "a scale: dpi, across or square, one of them")
    return File(path, clean["name"], ask, tuple(texts.items()))


class ScanScreen(DrawnCloser):
    """Traces in a thread of its own; shows what is found, and keeps it at Enter."""

    TITLE_WORDS = TITLE
    KEYS = "Enter keeps · e other edges · * in/mm · Esc keeps nothing"

    def __init__(self, shop: Shop, state: BenchState, file: File) -> None:
        super().__init__(unit=state.unit)
        self._shop, self._file = shop, file
        self._mode = state.drawing
        self._look: Look | None = None
        self._found: FileTraced | None = None
        self._why: tuple[str, Tone] = ("", "say")
        self._stop = Event()
        self._began_s = monotonic()
        self._is_new = True
        self.kept: rows.Blade | None = None

    @property
    def is_working(self) -> bool:
        """Whether the file is still being traced."""
        return self._found is None and not self._why[0]

    def on_mount(self) -> None:
        """Begin to trace."""
        self.run_worker(self._work(), exit_on_error=False)
        self.set_interval(REFRESH_S, self._tick)

    def on_unmount(self) -> None:
        """Let the thread end at its next step."""
        self._stop.set()
        super().on_unmount()

    def after(self, bench: Bench, result: None) -> None:
        """Say which blade was kept; where none was, ask for the file again as it was typed."""
        super().after(bench, result)
        bench.hands.look_again()
        if self.kept is not None:
            bench.hands.say(f"blade kept: {visible(self.kept.name, 40)}", "done")
        else:
            drafts_of(bench)[TITLE] = dict(self._file.texts)
            TraceForm.open_on(bench)

    # -- the work --------------------------------------------------------------------------------

    async def _work(self) -> None:
        told = self._told_from(asyncio.get_running_loop())
        file = self._file
        try:
            found = await asyncio.to_thread(trace_file, file.path, file.name, file.ask, told)
            self._is_new = not same_blades(self._shop, found.blade.name)
            self._found = found
        except BrokenOffError:
            return
        except InputError as why:
            field = why.field.removeprefix("--")
            self._why = (f"✗ {InputError(field, why.value, why.accepted)}", "warn")
        except BenchError as why:
            self._why = (f"✗ {why}", "warn")
        self.draw()

    def _told_from(self, loop: asyncio.AbstractEventLoop) -> Callable[[Look], None]:
        def told(look: Look) -> None:
            if self._stop.is_set():
                raise BrokenOffError
            loop.call_soon_threadsafe(self._seen, look)

        return told

    def _seen(self, look: Look) -> None:
        self._look = look
        if self.is_mounted:
            self.draw()

    def _tick(self) -> None:
        if self.is_working:
            self.draw()

    # -- what is shown ---------------------------------------------------------------------------

    def drawn(self, width: int, height: int) -> Content:
        """Return the picture with what is said of it below."""
        said = self._said(width)[: max(min(MOST_SAID, height - 4), 2)]
        look = self._found.look(self.unit) if self._found is not None else self._look
        room = height - len(said)
        picture = self._picture(look, width, room) if look is not None and room > 1 else []
        return lines([*picture, *([Content("")] * (room - len(picture))), *said])

    def _said(self, width: int) -> list[Content]:
        found = self._found
        if found is None:
            words, tone = self._why
            if not words:
                doing = self._look.words if self._look is not None else "reading the file"
                seconds = int(monotonic() - self._began_s)
                words = f"{visible(self._file.path, 200)}: {doing}, {seconds} s. Esc breaks off."
            else:
                words = f"{words}. Esc goes back to the form."
            return paragraph(words, width, TONES[tone])
        kind = "a new blade" if self._is_new else "a new version"
        head = f"{visible(found.blade.name, 60)}, {kind}: {found.size_words(self.unit)}"
        out = paragraph(head, width, "bold")
        question = f"Are these its top and back edge? They turn the frame. {found.edges_words}."
        out += paragraph(question, width, "bold $accent")
        out += paragraph(self._why[0], width, TONES["warn"])
        for note in found.notes[1:]:
            out += paragraph(f"! {note}", width, "$state-caution")
        return out

    def _picture(self, look: Look, width: int, height: int) -> list[Content]:
        canvas = Canvas(max(width, 1), height, self._mode)
        squash = canvas.squash
        per = min(
            (canvas.dots_wide - 1) / look.picture.width,
            (canvas.dots_high - 1) * squash / look.picture.height,
        )
        left = (canvas.dots_wide - look.picture.width * per) / 2.0

        def at(p: Point) -> tuple[float, float]:
            return (left + p[0] * per, p[1] * per / squash)

        for col, row in dots_of(look, canvas.dots_wide, canvas.dots_high, per, squash):
            canvas.dot(left + col, row, GROUND, ".")
        for part in look.picture.parts:
            if isinstance(part, Stroke):
                points = [*part.points, *(part.points[:1] if part.closed else ())]
                canvas.polyline([at(p) for p in points], part.ink)
        for part in look.picture.parts:
            if isinstance(part, Words):
                canvas.letters(at(part.at), part.text, part.ink, len(part.text) // 2)
        return canvas.contents(lambda ink: _STYLES.get(str(ink), _STYLES[FAINT]))

    # -- keys ------------------------------------------------------------------------------------

    def acts(self) -> dict[str, Callable[[], None]]:
        """Show other edges on ``e``."""
        return {"e": self._other_edges} if self._found is not None else {}

    def _other_edges(self) -> None:
        assert self._found is not None
        self._found, self._why = self._found.by_next_edges(), ("", "say")
        self.draw()

    def enter(self) -> None:
        """Keep the blade; only an Enter pressed on purpose comes here."""
        found = self._found
        if found is None:
            return
        try:
            self.kept, _ = keep_traced(self._shop, found.blade, found.how, self._file.path)
        except BenchError as why:
            self._why = (f"✗ not kept: {why}", "warn")
            self.draw()
        else:
            self.dismiss(None)
