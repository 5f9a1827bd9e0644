"""A one-line question, which no burst from a caliper's cable can answer."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import assert_never

from textual import events, on
from textual.app import ComposeResult
from textual.containers import Vertical
from textual.message import Message
from textual.widgets import Input, Static

from workbench.bench.bases.bursts import Run
from workbench.bench.bases.forms import BOX, LONGEST_MESSAGE, Box, LineInput
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
        self._run: Run[tuple[str, int]] = Run()

    async def _on_key(self, event: events.Key) -> None:
        if event.key in ("enter", "ctrl+j"):
            event.stop()
            event.prevent_default()
            self._enter(event.time)
            return
        self._run.hard_on(event.time)
        if event.is_printable and event.character is not None:
            self._run.add(event.character, (self.value, self.cursor_position))
        else:
            self._run.clear()

    def _enter(self, time: float) -> None:
        found = self._run.enter(time)
        match found.kind:
            case "burst":
                assert found.before is not None
                self.value, self.cursor_position = found.before
                self.post_message(self.Burst(found.reading))
            case "purpose":
                self.post_message(self.Answered())
            case "hasty":
                self.post_message(self.Hasty())
            case "slip":
                pass
            case _:
                assert_never(found.kind)

    def take_out_run(self) -> None:
        """Take out again what one burst typed."""
        if self._run.before is not None:
            self.value = self._run.before[0]


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
