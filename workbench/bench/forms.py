"""Forms of single lines, and one-line questions: what a person types is kept until it is saved.

Only F2 saves a form; Enter moves down. So a caliper whose cable types digits and Enter can at most
leave text in a field. A question is answered by Enter, but never by the Enter of a burst.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, ClassVar

from textual import events, on
from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.message import Message
from textual.screen import ModalScreen
from textual.widget import Widget
from textual.widgets import Input, Static

from workbench.bench.text import literal
from workbench.errors import BenchError, InputError, RecordsError
from workbench.work.adding import add_blade, add_block, add_ski, listed
from workbench.work.shop import Shop

BURST_GAP_S = 0.060
"""Keys closer together than this come off a cable, not from a hand."""

SHORTEST_BURST = 3
"""Fewer characters than any caliper sends before its Enter."""

LONGEST_MESSAGE = 300
"""Cells that an error or a hint may take; it wraps."""

_READING_AT_END = re.compile(r"[+\-]?[0-9.,][0-9.,/ \-]*(?:mm|in|\")?$", re.IGNORECASE)

Texts = dict[str, str]


def clean(text: str) -> str:
    """Return ``text`` on one line, control characters written out, so that it acts on nothing."""
    parts = [line.strip() for line in text.splitlines() if line.strip()]
    joined = "; ".join(parts) if len(parts) > 1 else (text.splitlines() or [""])[0]
    return "".join(
        c if c.isprintable() else " " if c == "\t" else c.encode("unicode_escape").decode()
        for c in joined
    )


class LineInput(Input):
    """A line whose start and whose pasted text act on nothing and lose nothing."""

    def __init__(self, value: str = "", *, id: str | None = None) -> None:
        super().__init__(clean(value), id=id, compact=True, select_on_focus=False)

    def _on_paste(self, event: events.Paste) -> None:
        """Take every pasted line: Textual's own would keep the first alone."""
        event.stop()
        event.prevent_default()
        start, end = self.selection
        self.replace(clean(event.text), min(start, end), max(start, end))


@dataclass(frozen=True, slots=True)
class Field:
    """One line of a form; ``hint`` shows while the field has the focus."""

    key: str
    label: str
    hint: str = ""
    value: str = ""

    def is_named_by(self, words: str) -> bool:
        """Tell whether an error's field name means this field, or something within it."""
        named = words.replace("_", " ").casefold()
        mine = self.key.replace("_", " ").casefold()
        return named == mine or named.startswith((f"{mine}:", f"{mine},", f"{mine} ", f"{mine}["))


class FieldInput(LineInput):
    """A form's line. Enter and the arrows are taken here, in the order in which keys came.

    By a binding they would travel another queue than the digits. Keys that were on their way here
    when Enter moved on are written where it moved to; the focus follows once they are through.
    """

    async def _on_key(self, event: events.Key) -> None:
        form = self.screen
        assert isinstance(form, Form)
        step = {"enter": 1, "ctrl+j": 1, "down": 1, "up": -1}.get(event.key)
        if step is not None:
            event.stop()
            event.prevent_default()
            form.step(step)
            self.call_later(self._let_go)
        elif form.current is not self and event.is_printable and event.character is not None:
            event.stop()
            event.prevent_default()
            form.current.insert_text_at_cursor(event.character)

    def _let_go(self) -> None:
        form = self.screen
        if not isinstance(form, Form):
            return
        if self.message_queue_size:
            self.call_later(self._let_go)
        elif form.current is not self and self.has_focus:
            form.set_focus(form.current)

    def _on_focus(self, event: events.Focus) -> None:
        if isinstance(self.screen, Form):
            self.screen.current = self


class FieldRow(Vertical):
    """A field's label and line, and below them what was wrong with it."""

    def __init__(self, field: Field, value: str) -> None:
        super().__init__()
        self.field = field
        self.line = FieldInput(value)
        self.trouble = Static(classes="trouble")

    def compose(self) -> ComposeResult:
        """Lay out label and line side by side, the trouble below."""
        with Horizontal():
            yield Static(literal(self.field.label), classes="label")
            yield self.line
        yield self.trouble

    def complain(self, words: str) -> None:
        """Show what is wrong below the line; an empty text takes it away."""
        self.trouble.update(literal(f"✗ {words}" if words else "", LONGEST_MESSAGE))
        self.set_class(bool(words), "-wrong")


_BOX = """
    align: center middle;
    & > Vertical {
        width: 92%; max-width: 110; height: auto; max-height: 100%;
        padding: 0 1; background: $surface; color: $foreground; border: round $primary;
    }
    .title { text-style: bold; height: auto; }
    .hint { height: auto; max-height: 3; color: $text-muted; }
    .trouble, .note { display: none; height: auto; color: $text-warning; text-style: bold; }
    .-wrong .trouble, .note.-shown { display: block; }
    .keys { height: auto; color: $text-muted; }
    LineInput { background: $panel; }
    LineInput:focus { background: $boost; text-style: bold; }
"""


class _Box(ModalScreen[object]):
    """What a form and a question share: a title, a hint, a note, and drafts."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "close", "Close", tooltip="close; what was typed is kept")
    ]

    def __init__(self, title: str) -> None:
        super().__init__()
        self._title = title
        self._over = False

    def _say(self, words: str) -> None:
        note = self.query_one(".note", Static)
        note.update(literal(words, LONGEST_MESSAGE))
        note.set_class(bool(words), "-shown")

    def _drafts(self) -> dict[str, Texts]:
        return drafts_of(self.app)

    def _end(self, result: object) -> None:
        self._over = True
        self._drafts().pop(self._title, None)
        self.dismiss(result)

    def action_close(self) -> None:
        """Close without saving; the draft stays."""
        if not self._over:
            self._over = True
            self.dismiss(None)


def drafts_of(app: App[Any]) -> dict[str, Texts]:
    """Return what was typed in forms and not saved, by the form's title; it lives on the app."""
    kept: dict[str, Texts] | None = getattr(app, "form_drafts", None)
    if kept is None:
        kept = {}
        app.form_drafts = kept  # type: ignore[attr-defined]
    return kept


class Form(_Box):
    """A form of single lines. Its result is what ``on_save`` returned, None when it was closed.

    ``on_save`` gets the texts by key. A BenchError from it shows inside the form, an InputError
    beside the field that it names; nothing typed is lost.
    """

    DEFAULT_CSS = f"""
    Form {{{_BOX}
        VerticalScroll {{ height: auto; max-height: 60vh; scrollbar-size-vertical: 1; }}
        FieldRow, FieldRow > Horizontal {{ height: auto; }}
        .label {{ width: 14; height: 1; }}
        LineInput {{ width: 1fr; }}
    }}
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f2,ctrl+s", "save", "Save", tooltip="keep what was typed")
    ]
    KEYS = "F2 save · Esc close, what is typed stays · Enter ↓ ↑ move"

    def __init__(
        self, title: str, fields: Iterable[Field], on_save: Callable[[Texts], object]
    ) -> None:
        super().__init__(title)
        self._fields = tuple(fields)
        self._on_save = on_save
        self._rows: tuple[FieldRow, ...] = ()
        self.current = FieldInput()

    def compose(self) -> ComposeResult:
        """Lay out the title, the fields in a scroll, the hint and the keys."""
        draft = self._drafts().get(self._title, {})
        self._rows = tuple(FieldRow(f, draft.get(f.key, f.value)) for f in self._fields)
        self.current = self._rows[0].line
        with Vertical():
            yield Static(literal(self._title, LONGEST_MESSAGE), classes="title")
            with VerticalScroll(can_focus=False):
                yield from self._rows
            yield Static(classes="hint")
            yield Static(classes="note")
            yield Static(literal(self.KEYS, LONGEST_MESSAGE), classes="keys")

    def on_mount(self) -> None:
        """Begin in the first field."""
        self.current.focus()

    @property
    def texts(self) -> Texts:
        """What the fields hold now, by key."""
        return {row.field.key: row.line.value for row in self._rows}

    def step(self, step: int) -> None:
        """Make the field ``step`` further on the one that keys go to."""
        lines = [row.line for row in self._rows]
        self.current = lines[min(max(lines.index(self.current) + step, 0), len(lines) - 1)]

    @on(events.DescendantFocus)
    def _show_hint(self, event: events.DescendantFocus) -> None:
        row = _row_of(event.widget)
        if row is not None:
            self.query_one(".hint", Static).update(literal(row.field.hint, LONGEST_MESSAGE))

    @on(Input.Changed)
    def _keep_draft(self, event: Input.Changed) -> None:
        event.stop()
        if self._over:
            return
        row = _row_of(event.input)
        if row is not None and event.value != row.line.value:
            return
        self._drafts()[self._title] = self.texts
        if row is not None:
            row.complain("")

    def action_save(self) -> None:
        """Give the texts to ``on_save``; close when it took them, else show why not."""
        if self._over:
            return
        self._say("")
        for row in self._rows:
            row.complain("")
        try:
            result = self._on_save(self.texts)
        except InputError as why:
            self._complain(why)
        except BenchError as why:
            self._say(f"✗ not saved: {why}")
        else:
            self._end(result)

    def _complain(self, why: InputError) -> None:
        fitting = [row for row in self._rows if row.field.is_named_by(why.field)]
        if not fitting:
            self._say(f"✗ not saved: {why}")
            return
        row = max(fitting, key=lambda r: len(r.field.key))
        row.complain(str(why))
        self.set_focus(row.line)
        self.call_after_refresh(row.scroll_visible, animate=False)


def _row_of(widget: Widget) -> FieldRow | None:
    return next((w for w in widget.ancestors if isinstance(w, FieldRow)), None)


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

    def _take_reading(self) -> str:
        """Take the reading at the end of the run out of the line, and return it."""
        match = _READING_AT_END.search("".join(s.character for s in self._run))
        if match is None or len(match[0].strip()) < SHORTEST_BURST:
            return ""
        first = self._run[match.start()]
        self.value = first.before
        self.cursor_position = first.cursor
        return match[0].strip()


class Prompt(_Box):
    """A one-line question. Its result is what ``accept`` returned, None when it was closed.

    Only a text with a letter in it, and an Enter pressed on purpose, answer it. A reading that
    comes off a cable meanwhile goes to the app's ``hold_burst(text)`` and the question stays.
    """

    DEFAULT_CSS = f"""
    Prompt {{{_BOX}
        LineInput {{ width: 100%; }}
    }}
    """
    KEYS = "Enter answers · Esc close, what is typed stays"

    def __init__(self, title: str, hint: str, value: str, accept: Callable[[str], object]) -> None:
        super().__init__(title)
        self._hint = hint
        self._value = value
        self._accept = accept

    def compose(self) -> ComposeResult:
        """Lay out the title, the line, the hint and the keys."""
        draft = self._drafts().get(self._title, {})
        with Vertical():
            yield Static(literal(self._title, LONGEST_MESSAGE), classes="title")
            yield PromptInput(draft.get("", self._value))
            yield Static(literal(self._hint, LONGEST_MESSAGE), classes="hint")
            yield Static(classes="note")
            yield Static(literal(self.KEYS, LONGEST_MESSAGE), classes="keys")

    def on_mount(self) -> None:
        """Begin in the line."""
        self.query_one(PromptInput).focus()

    @on(Input.Changed)
    def _keep_draft(self, event: Input.Changed) -> None:
        event.stop()
        if not self._over:
            self._drafts()[self._title] = {"": event.value}

    @on(PromptInput.Answered)
    def _answer(self) -> None:
        if self._over:
            return
        text = self.query_one(PromptInput).value
        if not any(c.isalpha() for c in text):
            self._say("✗ at least one letter is needed here; a reading is not an answer")
            return
        try:
            result = self._accept(text)
        except BenchError as why:
            self._say(f"✗ {why}")
        else:
            self._end(result)

    @on(PromptInput.Burst)
    def _hold(self, event: PromptInput.Burst) -> None:
        hold = getattr(self.app, "hold_burst", None)
        if hold is None:
            self._say(f"the reading {event.reading} came in here and was not taken")
            return
        hold(event.reading)
        self._say(f"the reading {event.reading} came in here and is held")

    @on(PromptInput.Hasty)
    def _ask_again(self) -> None:
        self._say("Enter came with the text; press it once more to answer")


def ski_form(shop: Shop) -> Form:
    """Return the form that adds a ski to today's queue; its result is the job's id."""
    blades, blocks = _known(shop)
    fields = (
        Field("name", "Ski", "as it stands on the ski, such as Heron 66"),
        Field("rider", "Rider", "whose ski it is; may stay blank"),
        Field("serial", "Serial", "may stay blank"),
        Field("model", "Model", "may stay blank"),
        Field("unit", "Unit", "in or mm: what this ski is read in, and typed in below", "in"),
        Field("blade", "Blade", f"by name or number: {blades}"),
        Field("block", "Block", f"by name or number: {blocks}"),
        Field("base_radius", "Base radius", "of the base's bulge, such as 160; blank: flat"),
        Field("base_apex", "Base apex", "from the tail end to where it is highest; blank: flat"),
        Field("wing", "Wing", "yes or no: has the blade a wing to set?", "no"),
        Field("due", "Due", "when it is wanted, in your own words, such as 14:00"),
    )
    return Form("Add a ski", fields, lambda texts: add_ski(shop, texts))


def _known(shop: Shop) -> tuple[str, str]:
    try:
        return listed(shop.book.blades()), listed(shop.book.blocks())
    except RecordsError as why:
        return str(why), str(why)


def blade_form(shop: Shop) -> Form:
    """Return the form that adds a blade; its result is the blade's id."""
    blades, _ = _known(shop)
    points = "forward and outward from the rear end of the top edge"
    fields = (
        Field("name", "Blade", f"a name of its own; known: {blades}"),
        Field("file", "File", "path of a TOML or JSON file with a [blade]; then leave the rest"),
        Field("unit", "Unit", "in or mm: what the lengths below are in", "in"),
        Field("outline", "Outline", f"{points}: 0 0; 7.3 0; 7.3 0.75; 1.6 3.48; 0 0.9"),
        Field("top_edge", "Top edge", "its two ends, where two studs press: 0 0; 7.3 0"),
        Field("back_edge", "Back edge", "its two ends, where the back stud presses: 0 0; 0 0.9"),
        Field("holes", "Holes", "name, forward, outward, diameter: 2 1.6 3.0 0.3; 1 0.9 2.7 0.25"),
    )
    return Form("Add a blade", fields, lambda texts: add_blade(shop, texts))


def block_form(shop: Shop) -> Form:
    """Return the form that adds a block with its studs; its result is the block's id."""
    _, blocks = _known(shop)
    shape = "name, top or back, x y, axis x y, thread, hand, tip radius"
    fields = (
        Field("name", "Block", f"a name of its own; known: {blocks}"),
        Field("finest_turn", "Finest turn", "1/4, 1/8, 1/16 ...; 0 is exact; blank: 1/8"),
        Field("file", "File", "path of a TOML or JSON file with [[studs]]; then leave the rest"),
        Field("unit", "Unit", "in or mm: what the lengths below are in", "in"),
        Field("stud_1", "Stud 1", f"{shape}: front top 6.9 -1.6 0 1 10-32UNF right 0.05"),
        Field("stud_2", "Stud 2", f"{shape}: rear top 1.5 -1.6 0 1 10-32UNF right 0.05"),
        Field("stud_3", "Stud 3", f"{shape}: back back 0.1 -0.6 1 0 M5x0.8 right 0"),
    )
    return Form("Add a block", fields, lambda texts: add_block(shop, texts))
