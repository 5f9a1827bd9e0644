"""Somebody else's numbers: three numbers, how each was measured, and what they are in our methods.

Digits and Enter are a number for the marked line here, by hand or off a cable.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from textual.content import Content

from workbench.bench.bases.bursts import BURST_WINDOW_S
from workbench.bench.bases.forms import Form
from workbench.bench.bases.number_screen import NumberScreen
from workbench.bench.draw.canvas import Area
from workbench.bench.draw.side_view import method_view
from workbench.bench.draw.text import Tone, lines, paragraph, paragraphs, styled, visible
from workbench.bench.hand.state import BenchState
from workbench.errors import BenchError, InputError
from workbench.fin.reading.method import NEEDED
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import ChangedError, Shop
from workbench.work.study.restating import (
    HOW,
    HowRead,
    Ours,
    Theirs,
    aim_as_read,
    how_meant,
    in_our_methods,
    ours_words,
    shown_how,
    theirs_typed,
    ways,
)
from workbench.work.text.words import error_words

if TYPE_CHECKING:
    from workbench.bench.app import Bench

LEAST_DRAWN, MOST_DRAWN = 4, 10
"""Rows of the drawing of how a number is taken."""

FRAME_LINES = 19
"""Lines that are not the drawing: border, three numbers, words, ours, what was said and keys."""

LOST: tuple[str, Tone] = ("these numbers are not kept yet: Esc once more drops them", "warn")


class AsReadScreen(NumberScreen[bool]):
    """Three numbers with how each was measured; ``+`` makes them the target in our methods."""

    DEFAULT_CSS = """
    AsReadScreen #theirs, AsReadScreen #drawn, AsReadScreen #ours { height: auto; }
    AsReadScreen #theirs { text-wrap: nowrap; }
    AsReadScreen #drawn { text-wrap: nowrap; border-top: solid $secondary; }
    AsReadScreen #ours { border-top: solid $secondary; }
    AsReadScreen #said { height: auto; max-height: 3; }
    """
    KEYS = "number, Enter · ↑ ↓ line · / how · e other · + target · * in/mm · Esc"

    TITLE_WORDS = "Somebody else's numbers"
    CHOOSES = True
    PARTS = ("theirs", "drawn", "ours", "said")

    def __init__(self, shop: Shop, state: BenchState) -> None:
        super().__init__(state.unit)
        assert state.view is not None
        self.shop, self.view, self._mode = shop, state.view, state.drawing
        self._ways: list[list[HowRead]] = [list(ways(shop, self.view, q)) for q in NEEDED]
        self._how = [0, 0, 0]
        self._theirs: list[Theirs | None] = [None, None, None]
        self._at = 0
        self._taken_s = float("-inf")

    def after(self, bench: Bench, result: bool | None) -> None:
        """Show the target, and say whose it is."""
        super().after(bench, result)
        if result:
            bench.hands.say("the target is what they read, in our methods; a note keeps it", "done")

    # -- what is shown ---------------------------------------------------------------------------

    @property
    def how(self) -> HowRead | None:
        """How the marked number was measured; None where this blade has no such method."""
        known = self._ways[self._at]
        return known[self._how[self._at] % len(known)] if known else None

    def parts(self, width: int) -> Sequence[Content]:
        """Return their numbers, how the marked one is taken, ours, and what was said."""
        parts = self._rows(width), self._drawn(width), self._ours_rows(width), self.said(width, 3)
        return [lines(part) for part in parts]

    def _rows(self, width: int) -> list[Content]:
        out = []
        for i, known in enumerate(self._ways):
            here, theirs = i == self._at, self._theirs[i]
            way = known[self._how[i] % len(known)].words(self.unit) if known else "no method"
            number = f"{theirs.number} {theirs.unit}" if theirs is not None else f"({self.unit})"
            if here and self.entry:
                number = f"▏{self.entry} ({self.unit})"
            head = f"{'▸' if here else ' '} {NEEDED[i]:<7}{visible(number, 16):>16}  "
            out.append(styled((visible(f"{head}by {way}", width), "bold" if here else "")))
        return out

    def _drawn(self, width: int) -> list[Content]:
        how = self.how
        if how is None:
            return [styled((f"no {NEEDED[self._at]} method yet: e states one", "bold"))]
        out = paragraphs(shown_how(how, self.unit)[:2], width, "$ink-faint")[:3]
        room = min(self.size.height - FRAME_LINES, MOST_DRAWN)
        if room >= LEAST_DRAWN:
            area = Area(width, room, self._mode)
            picture = method_view(self.view.rig, self.view.pose, how.method, area)
            out += picture.canvas.contents()
        return out

    def _ours_rows(self, width: int) -> list[Content]:
        missing = [q for q, t in zip(NEEDED, self._theirs, strict=True) if t is None]
        if missing:
            said = f"Still to come: {', '.join(missing)}. Then they are shown here by our methods."
            return paragraph(said, width)
        try:
            found = self._found()
        except BenchError as why:
            return paragraph(f"✗ {error_words(why, self.unit)}", width, "$state-caution")
        head = styled(("In our methods (+ makes them the target):", "bold $accent"))
        return [head, *paragraphs((ours_words(each, self.unit) for each in found), width)]

    def _found(self) -> tuple[Ours, ...]:
        return in_our_methods(self.shop, self.view, [t for t in self._theirs if t is not None])

    # -- keys ------------------------------------------------------------------------------------

    def choose(self, step: int) -> None:
        """Mark another line."""
        self._at = (self._at + step) % len(NEEDED)
        self.say("")

    def acts(self) -> dict[str, Callable[[], None]]:
        """Change how the marked number was measured, or state another way."""
        return {"/": self._other_way, "e": self._state_way}

    def _state_way(self) -> None:
        self.app.push_screen(self._way_form(), self._stated)

    def seen_anew(self, now: JobView) -> None:
        """Show the ski as it is now."""
        self.view = now

    def _other_way(self) -> None:
        self._how[self._at] += 1
        self._read_anew()
        self.say("")

    def _read_anew(self) -> None:
        """Let the number of the marked line be by what it is measured by now."""
        theirs, how = self._theirs[self._at], self.how
        if theirs is not None and how is not None:
            self._theirs[self._at] = replace(theirs, how=how)

    def _way_form(self) -> Form:
        quantity = NEEDED[self._at]

        def save(texts: dict[str, str]) -> HowRead:
            how = how_meant(self.shop, self.view, texts["how"], self.unit)
            if how.method.quantity != quantity:
                raise InputError("how", texts["how"], f"a way to measure the {quantity}")
            return how

        title = f"How their {quantity} was measured"
        return Form(title, (HOW,), save, more={"how": f"; for example '{quantity} 0.15..0.3'"})

    def _stated(self, how: object) -> None:
        if isinstance(how, HowRead):
            self._ways[self._at].append(how)
            self._how[self._at] = len(self._ways[self._at]) - 1
            self._read_anew()
            self.draw()

    def take(self, time: float) -> None:
        """Take the entry as the marked number and go on to the next that is missing."""
        how, text = self.how, self.entry
        self._taken_s = time
        if how is None:
            self.refused = True
            self.say("state first how it was measured: rub the entry out, then e", "warn")
            return
        self.attempt(lambda: self._keep(theirs_typed(self.view, how, text, self.unit)))

    def _keep(self, theirs: Theirs) -> None:
        before = self._theirs[self._at]
        self._theirs[self._at], self.entry = theirs, ""
        told = f"{NEEDED[self._at]}: {theirs.number} {theirs.unit}"
        if before is not None:
            told += f" in place of {before.number} {before.unit}"
        missing = [i for i, t in enumerate(self._theirs) if t is None]
        self._at = missing[0] if missing else self._at
        self.say(told, "done" if before is None else "warn")

    def leave(self) -> None:
        """Drop the entry; leave only once it was said that the numbers go."""
        if not self.entry and any(self._theirs) and self.message != LOST:
            self.say(*LOST)
        else:
            super().leave()

    def plus(self, time: float) -> None:
        """Make them the target."""
        if time - self._taken_s < BURST_WINDOW_S:
            self.say("just after a number: press + once more", "warn")
            return
        theirs = [t for t in self._theirs if t is not None]
        try:
            if len(theirs) < len(NEEDED):
                raise InputError("numbers", f"{len(theirs)} of 3", "all three of them")
            aim_as_read(self.shop, self.view, theirs, self._found())
        except BenchError as why:
            if isinstance(why, ChangedError) and why.now is not None:
                self.view = why.now
            self.say(f"✗ {error_words(why, self.unit)}", "warn")
            return
        self.dismiss(True)
