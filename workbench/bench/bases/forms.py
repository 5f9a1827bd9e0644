"""Forms of single lines: what a person types is kept until it is saved.

Only F2 saves; Enter moves down. So a caliper whose cable types digits and Enter can at most leave
text in a field.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, ClassVar, TypeVar

from textual import events, on
from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.widget import Widget
from textual.widgets import Input, Static

from workbench.bench.bases.overlay import KeyLine, Overlay
from workbench.bench.draw.text import literal, on_one_line
from workbench.errors import BenchError, InputError
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import ChangedError
from workbench.work.text.fields import Field, Texts

if TYPE_CHECKING:
    from workbench.bench.app import Bench

LONGEST_MESSAGE = 500
"""Cells that an error or a hint may take; it wraps."""

LONGEST_TEXT = 4000
"""Characters that a line takes: far more than a hand types, far less than what would stall it."""


class LineInput(Input):
    """A line whose start and whose pasted text act on nothing and lose nothing."""

    def __init__(self, value: str = "", *, id: str | None = None) -> None:
        super().__init__(
            on_one_line(value), id=id, compact=True, select_on_focus=False, max_length=LONGEST_TEXT
        )

    def _on_paste(self, event: events.Paste) -> None:
        """Take every pasted line: Textual's own would keep the first alone."""
        event.stop()
        event.prevent_default()
        text = on_one_line(event.text) if len(event.text) <= LONGEST_TEXT else ""
        if len(self.value) + len(text) > LONGEST_TEXT or (event.text and not text):
            self.app.notify(f"more than {LONGEST_TEXT} characters: not pasted", markup=False)
            return
        start, end = self.selection
        self.replace(text, min(start, end), max(start, end))


BOX = """
    align: center middle;
    & > Vertical {
        width: 92%; max-width: 110; height: auto; max-height: 100%;
        padding: 0 1; background: $surface; color: $foreground; border: round $primary;
    }
    .title { text-style: bold; height: auto; }
    .hint { height: auto; max-height: 7; color: $text-muted; }
    .trouble, .note { display: none; height: auto; color: $text-warning; text-style: bold; }
    .-wrong .trouble, .note.-shown { display: block; }
    LineInput { background: $panel; }
    LineInput:focus { background: $boost; text-style: bold; }
"""
"""The style that both share, written into their own."""


class Box(Overlay[object]):
    """What a form and a question share: a title, a hint, a note, and drafts."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "close", "Close", tooltip="close; what was typed is kept")
    ]

    def __init__(self, title: str) -> None:
        super().__init__()
        self.heading = title

    def say(self, words: str) -> None:
        """Show a note above the keys; an empty text takes it away."""
        note = self.query_one(".note", Static)
        note.update(literal(words, LONGEST_MESSAGE))
        note.set_class(bool(words), "-shown")

    def drafts(self) -> dict[str, Texts]:
        """Return the app's drafts, by heading."""
        return drafts_of(self.app)

    def end(self, result: object) -> None:
        """Close with a result, True where there is none to give; the draft has served."""
        self.drafts().pop(self.heading, None)
        self.dismiss(True if result is None else result)

    def action_close(self) -> None:
        """Close without saving; the draft stays."""
        self.dismiss(None)


def drafts_of(app: App[Any]) -> dict[str, Texts]:
    """Return what was typed in forms and not saved, by the form's title; it lives on the app."""
    kept: dict[str, Texts] | None = getattr(app, "form_drafts", None)
    if kept is None:
        kept = {}
        app.form_drafts = kept  # type: ignore[attr-defined]
    return kept


_T = TypeVar("_T")

NOTHING: Mapping[str, str] = MappingProxyType({})


class FieldInput(LineInput):
    """A form's line. Enter and the arrows are taken here, in the order in which keys came.

    By a binding they would travel another queue than the digits. Keys that were on their way here
    when Enter moved on are written where it moved to; the focus follows once they are through.
    """

    _letting_go = False

    async def _on_key(self, event: events.Key) -> None:
        form = self.screen
        assert isinstance(form, Form)
        step = {"enter": 1, "ctrl+j": 1, "down": 1, "up": -1}.get(event.key)
        if step is not None:
            event.stop()
            event.prevent_default()
            form.step(step)
            if not self._letting_go:  # two would wait for each other
                self._letting_go = self.call_later(self._let_go)
        elif form.current is not self and event.is_printable and event.character is not None:
            event.stop()
            event.prevent_default()
            form.current.insert_text_at_cursor(event.character)

    def _let_go(self) -> None:
        form = self.screen
        self._letting_go = self.message_queue_size > 0 and self.call_later(self._let_go)
        if self._letting_go or not isinstance(form, Form):
            return
        if form.current is not self and self.has_focus:
            form.set_focus(form.current)

    def _on_focus(self, event: events.Focus) -> None:
        if isinstance(self.screen, Form):
            self.screen.current = self


class FieldRow(Vertical):
    """A field's label and line, and below them what was wrong with it.

    ``hint`` shows while the line has the focus.
    """

    def __init__(self, field: Field, value: str, hint: str) -> None:
        super().__init__()
        self.field = field
        self.hint = hint
        self.line = FieldInput(value)
        self.trouble = Static(classes="trouble")

    def compose(self) -> ComposeResult:
        """Lay out label and line side by side, the trouble below."""
        with Horizontal():
            yield Static(literal(self.field.label), classes="label")
            yield self.line
        yield self.trouble

    def is_named_by(self, words: str) -> bool:
        """Tell whether an error's field name means this field, or something within it."""
        named, mine = _plain(words), _plain(self.field.key)
        return named == mine or named.startswith((f"{mine}:", f"{mine},", f"{mine} ", f"{mine}["))

    def told(self, why: InputError) -> str:
        """Return an error that names this field in words, the field by its label."""
        if _plain(why.field) != _plain(self.field.key):
            return str(why)
        return str(InputError(self.field.label, why.value, why.accepted))

    def complain(self, words: str) -> None:
        """Show what is wrong below the line; an empty text takes it away."""
        self.trouble.update(literal(f"✗ {words}" if words else "", LONGEST_MESSAGE))
        self.set_class(bool(words), "-wrong")


def _plain(name: str) -> str:
    return name.replace("_", " ").casefold()


class Form(Box):
    """A form of single lines. Its result is what ``on_save`` returned, None when it was closed.

    ``on_save`` gets the texts by key. A BenchError from it shows inside the form, an InputError
    beside the field that it names; nothing typed is lost.
    """

    DEFAULT_CSS = f"""
    Form {{{BOX}
        VerticalScroll {{ height: auto; max-height: 60vh; scrollbar-size-vertical: 1; }}
        FieldRow, FieldRow > Horizontal {{ height: auto; }}
        .label {{ width: 14; height: 1; }}
        LineInput {{ width: 1fr; }}
    }}
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f2,ctrl+s", "save", "Save", tooltip="keep what was typed")
    ]
    KEYS = "F2 saves · Enter ↓ ↑ move · Esc closes, what is typed stays"

    def __init__(
        self,
        title: str,
        fields: Iterable[Field],
        on_save: Callable[[Texts], _T],
        said: Callable[[_T], str] | None = None,
        *,
        now: Mapping[str, str] = NOTHING,
        more: Mapping[str, str] = NOTHING,
    ) -> None:
        """``said``: what the bench says of what was saved.

        By key, ``now`` gives what lines hold at first, else their default, and ``more`` what is
        said behind the words of fields.
        """
        super().__init__(title)
        self.fields = tuple(fields)
        self._at_first = {f.key: now.get(f.key, f.default) for f in self.fields}
        self._more = more
        self._on_save = on_save
        self._said: Callable[[Any], str] | None = said
        self._rows: tuple[FieldRow, ...] = ()
        self.current = FieldInput()

    def after(self, bench: Bench, result: object) -> None:
        """Show what was saved."""
        super().after(bench, result)
        if result is not None:
            bench.hands.look_again()
            if self._said is not None:
                bench.hands.say(self._said(result), "done")

    def compose(self) -> ComposeResult:
        """Lay out the title, the fields in a scroll, the hint and the keys."""
        texts = self._at_first | self.drafts().get(self.heading, {})
        self._rows = tuple(
            FieldRow(f, texts[f.key], f.said(self._more.get(f.key, ""))) for f in self.fields
        )
        self.current = self._rows[0].line
        with Vertical():
            yield Static(literal(self.heading, LONGEST_MESSAGE), classes="title")
            with VerticalScroll(can_focus=False):
                yield from self._rows
            yield Static(classes="hint")
            yield Static(classes="note")
            yield KeyLine(self.KEYS, classes="keys")

    def on_mount(self) -> None:
        """Begin in the first field."""
        self.current.focus()

    def changed(self, texts: Texts) -> Texts:
        """Return those of the texts that are typed otherwise than they stood at first."""
        return {key: texts[key] for key, first in self._at_first.items() if texts[key] != first}

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
            self.query_one(".hint", Static).update(literal(row.hint, LONGEST_MESSAGE))

    @on(Input.Changed)
    def _keep_draft(self, event: Input.Changed) -> None:
        event.stop()
        if self.over:
            return
        row = _row_of(event.input)
        if row is not None and event.value != row.line.value:
            return
        self.drafts()[self.heading] = self.texts
        if row is not None:
            row.complain("")

    def give_way(self) -> bool:
        """Stay: a serial that is scanned here is what a line is to hold."""
        return False

    def action_save(self) -> None:
        """Give the texts to ``on_save``; close when it took them, else show why not."""
        if self.over:
            return
        self.say("")
        for row in self._rows:
            row.complain("")
        try:
            result = self._on_save(self.texts)
        except InputError as why:
            self._complain(why)
        except BenchError as why:
            self.say(f"✗ not saved: {why}")
        else:
            self.end(result)

    def _complain(self, why: InputError) -> None:
        fitting = [row for row in self._rows if row.is_named_by(why.field)]
        if not fitting:
            self.say(f"✗ not saved: {why}")
            return
        row = max(fitting, key=lambda r: len(r.field.key))
        row.complain(row.told(why))
        self.set_focus(row.line)
        self.call_after_refresh(row.scroll_visible, animate=False)


def by_view(view: JobView, keep: Callable[[JobView, Texts], _T]) -> Callable[[Texts], _T]:
    """Return what saves a form about a ski by the view of it that the form was opened on.

    Where something was added meanwhile it is refused once, and then saved by what there is now.
    """
    seen = [view]

    def save(texts: Texts) -> _T:
        try:
            return keep(seen[-1], texts)
        except ChangedError as why:
            seen.append(why.now or view)
            raise

    return save


def _row_of(widget: Widget) -> FieldRow | None:
    return next((w for w in widget.ancestors if isinstance(w, FieldRow)), None)
