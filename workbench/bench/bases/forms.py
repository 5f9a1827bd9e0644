"""Forms of single lines: what a person types is kept until it is saved.

Only F2 saves; Enter moves down. So a caliper whose cable types digits and Enter can at most leave
text in a field.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import ClassVar, TypeVar

from textual import events, on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.widget import Widget
from textual.widgets import Input, Static

from workbench.bench.bases.form_lines import (
    BOX,
    LONGEST_MESSAGE,
    Box,
    LineInput,
    Texts,
    drafts_of,
)
from workbench.bench.bases.key_line import KeyLine
from workbench.bench.bases.prompts import Prompt, PromptInput
from workbench.bench.draw.text import literal
from workbench.errors import BenchError, InputError, RecordsError
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import ChangedError, Shop
from workbench.work.roster.adding import (
    Part,
    add_blade,
    add_block,
    add_ski,
    listed,
    only_real,
    queue_known,
)

T = TypeVar("T")

__all__ = [
    "Field", "Form", "Prompt", "PromptInput", "blade_form", "block_form", "drafts_of",
    "queue_form", "ski_form",
]  # fmt: skip


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

    def told(self, why: InputError) -> str:
        """Return an error that names this field in words, the field by its label."""
        named = why.field.replace("_", " ").casefold()
        if named != self.key.replace("_", " ").casefold():
            return str(why)
        return str(InputError(self.label, why.value, why.accepted))


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
        self, title: str, fields: Iterable[Field], on_save: Callable[[Texts], object]
    ) -> None:
        super().__init__(title)
        self._fields = tuple(fields)
        self._on_save = on_save
        self._rows: tuple[FieldRow, ...] = ()
        self.current = FieldInput()

    def compose(self) -> ComposeResult:
        """Lay out the title, the fields in a scroll, the hint and the keys."""
        draft = self.drafts().get(self.heading, {})
        self._rows = tuple(FieldRow(f, draft.get(f.key, f.value)) for f in self._fields)
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
        fitting = [row for row in self._rows if row.field.is_named_by(why.field)]
        if not fitting:
            self.say(f"✗ not saved: {why}")
            return
        row = max(fitting, key=lambda r: len(r.field.key))
        row.complain(row.field.told(why))
        self.set_focus(row.line)
        self.call_after_refresh(row.scroll_visible, animate=False)


def by_view(view: JobView, keep: Callable[[JobView, Texts], T]) -> Callable[[Texts], T]:
    """Return what saves a form about a ski by the view of it that the form was opened on.

    Where something was added meanwhile it is refused once, and then saved by what there is now.
    """
    seen = [view]

    def save(texts: Texts) -> T:
        try:
            return keep(seen[-1], texts)
        except ChangedError as why:
            seen.append(why.now or view)
            raise

    return save


def _row_of(widget: Widget) -> FieldRow | None:
    return next((w for w in widget.ancestors if isinstance(w, FieldRow)), None)


def ski_form(shop: Shop) -> Form:
    """Return the form that adds a ski to today's queue; its result is the job's id."""
    blades, blocks = _known(shop)
    which = "by name or number, none where it is not known yet:"
    fields = (
        Field("name", "Ski", "as written on the ski, such as Heron 66"),
        Field("rider", "Rider", "whose ski it is; may stay blank"),
        Field("serial", "Serial", "may stay blank"),
        Field("model", "Model", "may stay blank"),
        Field("size", "Size", "may stay blank; baselines are found by model and size"),
        Field("unit", "Unit", "in or mm: what this ski is read in, and typed in below", "in"),
        Field(
            "blade",
            "Blade",
            f"{which} {blades}",
            _only(shop.book.blades),
        ),
        Field(
            "block",
            "Block",
            f"{which} {blocks}",
            _only(shop.book.blocks),
        ),
        Field(
            "base_radius",
            "Base radius",
            "of the bulge, in the unit above, such as 160; blank: flat",
        ),
        Field(
            "base_apex",
            "Base apex",
            "from tail end to its top, in the unit above; blank: flat",
        ),
        Field("wing", "Wing", "yes or no: has the blade a wing to set?", "no"),
        Field("ski_note", "Note", "about the ski, may stay blank; the queue finds it by this too"),
        Field("due", "Due", "when it is wanted, in your own words, such as 14:00"),
    )
    return Form("Add a ski", fields, lambda texts: add_ski(shop, texts))


def queue_form(shop: Shop) -> Form:
    """Return the form that queues a ski the book knows; its result is the job's id."""
    fields = (
        Field("ski", "Ski", "serial or name of a ski that was here before"),
        Field("due", "Due", "when it is wanted, in your own words, such as 14:00"),
    )
    return Form("Queue a ski again", fields, lambda texts: queue_known(shop, texts))


def _only(parts: Callable[[], Sequence[Part]]) -> str:
    """Return the only part there is, to start with; nothing where one must choose or it is not
    real."""
    try:
        return only_real(parts())
    except RecordsError:
        return ""


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
        Field("back_edge", "Back edge", "its two ends, where the tail stud presses: 0 0; 0 0.9"),
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
        Field("stud_3", "Stud 3", f"{shape}: tail back 0.1 -0.6 1 0 M5x0.8 right 0"),
    )
    return Form("Add a block", fields, lambda texts: add_block(shop, texts))
