"""A one-line question, which no burst from a caliper's cable can answer."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from textual import events, on
from textual.app import ComposeResult
from textual.containers import Vertical
from textual.message import Message
from textual.widgets import Input, Static

from workbench.bench.bases.bursts import BURST_GAP_S, READING_AT_END, SHORTEST_BURST
from workbench.bench.bases.form_lines import BOX, LONGEST_MESSAGE, Box, LineInput
from workbench.bench.bases.overlay import KeyLine
from workbench.bench.draw.text import held_words, literal
from workbench.errors import BenchError

ASIDE_REASONS = (
    "waits for a part",
    "clamp bolt or thread damaged",
    "blade bent or cracked",
    "block loose in the ski",
    "rider to decide",
    "no time today",
)
"""Why a ski is set aside, as often as not (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class _Struck:
    """A character that came hard on the heels of another, and the line as it was before it."""

    character: str
    before: str
    cursor: int


class PromptInput(LineInput):
    """A line that tells an Enter pressed on purpose from the Enter of a burst."""

    class Answered(Message):
        """Enter was pressed on purpose."""

    class Burst(Message):
        """A reading came off a cable; it has been taken out of the line again."""

        def __init__(self, reading: str) -> None:
            super().__init__()
            self.reading = reading

    class Hasty(Message):
        """Enter came too close on a key that was no reading."""

    def __init__(self, value: str = "", *, id: str | None = None) -> None:
        super().__init__(value, id=id)
        self._run: list[_Struck] = []
        self._last_key_s = float("-inf")

    async def _on_key(self, event: events.Key) -> None:
        hard_on = event.time - self._last_key_s < BURST_GAP_S
        self._last_key_s = event.time
        if not hard_on:
            self._run.clear()
        if event.key in ("enter", "ctrl+j"):
            event.stop()
            event.prevent_default()
            self._enter(hard_on)
        elif event.is_printable and event.character is not None:
            self._run.append(_Struck(event.character, self.value, self.cursor_position))
        else:
            self._run.clear()

    def _enter(self, hard_on: bool) -> None:
        reading, was_typing = self._take_reading(), bool(self._run)
        self._run.clear()
        if reading:
            self.post_message(self.Burst(reading))
        elif not hard_on:
            self.post_message(self.Answered())
        elif was_typing:  # else the line feed behind a carriage return
            self.post_message(self.Hasty())

    def take_out_run(self) -> None:
        """Take out again what one burst typed."""
        if self._run:
            self.value = self._run[0].before

    def _take_reading(self) -> str:
        """Take the reading at the end of the run out of the line, and return it."""
        match = READING_AT_END.search("".join(s.character for s in self._run))
        if match is None or len(match[0].strip()) < SHORTEST_BURST:
            return ""
        first = self._run[match.start()]
        self.value = first.before
        self.cursor_position = first.cursor
        return match[0].strip()


class Prompt(Box):
    """A one-line question. Its result is what ``accept`` returned, None when it was closed.

    Only a text with a letter in it, and an Enter pressed on purpose, answer it. A reading that
    comes off a cable meanwhile goes to the app's ``hold_burst(text)`` and the question stays.
    """

    DEFAULT_CSS = f"""
    Prompt {{{BOX}
        LineInput {{ width: 100%; }}
    }}
    """
    KEYS = "Enter answers · Esc closes, what is typed stays"

    def __init__(
        self,
        title: str,
        hint: str,
        value: str,
        accept: Callable[[str], object],
        stock: Sequence[str] = (),
    ) -> None:
        """``stock``: answers that a single digit and Enter give, numbered below the line."""
        super().__init__(title)
        self._stock = tuple(stock)
        numbered = " · ".join(f"{i} {words}" for i, words in enumerate(self._stock, 1))
        self._hint = f"{hint}, or its number: {numbered}" if stock else hint
        self._value = value
        self._accept = accept

    def compose(self) -> ComposeResult:
        """Lay out the title, the line, the hint and the keys."""
        draft = self.drafts().get(self.heading, {})
        with Vertical():
            yield Static(literal(self.heading, LONGEST_MESSAGE), classes="title")
            yield PromptInput(draft.get("", self._value))
            yield Static(literal(self._hint, LONGEST_MESSAGE), classes="hint")
            yield Static(classes="note")
            yield KeyLine(self.KEYS, classes="keys")

    def on_mount(self) -> None:
        """Begin in the line."""
        self.query_one(PromptInput).focus()

    @on(Input.Changed)
    def _keep_draft(self, event: Input.Changed) -> None:
        event.stop()
        if not self.over:
            self.drafts()[self.heading] = {"": event.value}

    def give_way(self) -> bool:
        """Close for a ski that was scanned; what else was typed stays for next time."""
        line = self.query_one(PromptInput)
        line.take_out_run()
        self.drafts()[self.heading] = {"": line.value}
        self.action_close()
        return True

    @on(PromptInput.Answered)
    def _answer(self) -> None:
        if self.over:
            return
        text = self.query_one(PromptInput).value
        numbered = {str(i): words for i, words in enumerate(self._stock, 1)}
        text = numbered.get(text.strip(), text)
        if not any(c.isalpha() for c in text):
            self.say("✗ at least one letter is needed here; a reading is not an answer")
            return
        try:
            result = self._accept(text)
        except BenchError as why:
            self.say(f"✗ {why}")
        else:
            self.end(result)

    @on(PromptInput.Burst)
    def _hold(self, event: PromptInput.Burst) -> None:
        self.say(held_words(self.app, event.reading))

    @on(PromptInput.Hasty)
    def _ask_again(self) -> None:
        self.say("Enter came with the text; press it once more to answer")
