"""The studies of the shop: plan one, go on with it, see what it says, strike it out.

Digits and Enter choose nothing here: what a caliper sends is held.
"""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.content import Content
from textual.events import Key, Resize
from textual.screen import ModalScreen
from textual.widgets import Static

from workbench.bench.canvas import Mode
from workbench.bench.forms import Field, Form, Prompt
from workbench.bench.sheet import PLUS_WAIT_S, Heard
from workbench.bench.state import BenchState, Tone
from workbench.bench.study_result import ResultScreen
from workbench.bench.study_take import TONES, TakeScreen
from workbench.bench.text import lines, literal, styled, visible, wrapped
from workbench.errors import BenchError
from workbench.measure.display import length_text
from workbench.work import studies
from workbench.work.shop import Shop
from workbench.work.study_order import RULE
from workbench.work.study_plans import plan_study
from workbench.work.study_results import result_of
from workbench.work.study_words import state_words

KEYS = "↑↓ choose · + go on · n plan · t read · r result · x strike out · Esc closes"
ABOUT = (
    "Several skis, or one re-seated again and again; several people; several trials. It tells how "
    "far two readings here differ by chance, and so which change of setting is one."
)
FRAME_LINES = 15
COLOURS: dict[studies.State, str] = {
    "planned": "$state-waiting",
    "under way": "$state-caution",
    "complete": "$state-within",
    "struck out": "$ink-faint",
}


class StudyList(ModalScreen[None]):
    """All studies; ``state`` is the bench's, which the plan's form starts from."""

    DEFAULT_CSS = """
    StudyList { align: center middle; }
    StudyList > Vertical {
        width: 100%; max-width: 104; height: auto; max-height: 100%;
        padding: 0 1; background: $surface; color: $foreground; border: round $primary;
    }
    StudyList #studies { height: auto; text-wrap: nowrap; }
    StudyList #study-more { height: auto; border-top: solid $secondary; text-wrap: nowrap; }
    StudyList #study-said { height: 2; }
    StudyList #study-keys { height: 1; color: $text-muted; }
    """
    AUTO_FOCUS = None

    def __init__(self, shop: Shop, state: BenchState) -> None:
        super().__init__()
        self.shop = shop
        self._state = state
        self._views: tuple[studies.StudyView, ...] = ()
        self._at = 0
        self._message: tuple[str, Tone] = ("", "say")
        self._heard = Heard()
        self._closed = False

    def compose(self) -> ComposeResult:
        """Lay out the list, the study chosen, what was said and the keys."""
        box = Vertical()
        box.border_title = "How well do we agree?"
        with box:
            yield Static(id="studies", markup=False)
            yield Static(id="study-more", markup=False)
            yield Static(id="study-said", markup=False)
            yield Static(literal(KEYS, 200), id="study-keys", markup=False)

    def on_mount(self) -> None:
        """Show the studies, the newest that is not finished marked."""
        self._load()
        open_ones = [i for i, v in enumerate(self._views) if v.due is not None]
        self._at = (open_ones or [len(self._views) - 1])[-1] if self._views else 0
        self._draw()

    def on_resize(self, event: Resize) -> None:
        """Show as many studies as there is room for."""
        self._draw()

    def on_screen_resume(self) -> None:
        """Read the studies again: what lay on top may have added readings."""
        self._load()
        self._draw()

    # -- what is shown ---------------------------------------------------------------------------

    def _load(self) -> None:
        try:
            self._views = studies.studies_of(self.shop)
        except BenchError as why:
            self._message = (f"✗ {why}", "warn")
        self._at = min(self._at, max(len(self._views) - 1, 0))

    @property
    def chosen(self) -> studies.StudyView | None:
        """The study that the mark stands at."""
        return self._views[self._at] if self._views else None

    @property
    def _bench(self) -> BenchState:
        """The bench's state of now: unit and drawing may have changed on top of this."""
        hands = getattr(self.app, "hands", None)
        return self._state if hands is None else hands.state

    @property
    def _mode(self) -> Mode:
        return self._bench.drawing

    def _draw(self) -> None:
        if not self.is_mounted:
            return
        width = max(min(self.size.width, 104) - 4, 20)
        self.query_one("#studies", Static).update(self._list_lines(width))
        self.query_one("#study-more", Static).update(self._more_lines(width))
        words, tone = self._message
        self.query_one("#study-said", Static).update(
            styled((visible(words, 2 * width - width // 4), TONES[tone]))
        )

    def _list_lines(self, width: int) -> Content:
        if not self._views:
            about = [styled(part) for part in wrapped(ABOUT, width)]
            return lines([styled(("no study yet: n plans one", "bold")), *about])
        room = max(self.size.height - FRAME_LINES - 1, 1)
        first = min(max(self._at - room // 2, 0), max(len(self._views) - room, 0))
        out = [
            self._line(view, first + i == self._at, width)
            for i, view in enumerate(self._views[first : first + room])
        ]
        if len(self._views) > room:
            out.append(styled((f"  {self._at + 1} of {len(self._views)}", "$ink-faint")))
        return lines(out)

    @staticmethod
    def _line(view: studies.StudyView, marked: bool, width: int) -> Content:
        name_room = max(min(30, width // 3), 8)
        name = visible(view.study.name, name_room)
        pad = " " * (name_room - styled(name).cell_length)
        head = f"{'▸' if marked else ' '}{view.number:>3} {name}{pad} "
        glyph = studies.GLYPHS[view.state]
        state = visible(f"{glyph} {state_words(view)}", width - styled(head).cell_length)
        return styled((head, "bold" if marked else ""), (state, COLOURS[view.state]))

    def _more_lines(self, width: int) -> Content:
        view = self.chosen
        if view is None:
            return lines(styled((part, "$ink-faint")) for part in wrapped(RULE, width))
        s = view.study
        count = f"{len(s.parts)} x {len(s.people)} x {s.trials} = {view.total} readings"
        said = (
            f"{s.what}, read in {studies.UNIT_WORDS[s.unit]}; {count}",
            f"parts: {'; '.join(s.parts)}",
            f"people: {' '.join(s.people)} · planned {s.at[:10]} by {s.who or 'nobody named'}",
        )
        out = [styled(visible(text, width)) for text in said]
        order = [styled((part, "$ink-faint")) for part in wrapped(RULE, width)]
        return lines([*out, styled(""), *order])

    def say(self, words: str, tone: Tone = "say") -> None:
        """Show a message until the next one."""
        self._message = (words, tone)
        self._draw()

    # -- keys ------------------------------------------------------------------------------------

    def on_key(self, event: Key) -> None:
        """Take every key here; a burst is held and chooses nothing."""
        event.stop()
        event.prevent_default()
        if self._closed:
            return
        key, char, time = event.key, event.character or "", event.time
        if key in ("enter", "ctrl+j"):
            self._enter()
        elif char and (char in "0123456789.," or (char in "+-/ " and self._heard.hard_on(time))):
            self._heard.add(char, time)
        elif char in ("+", "-"):
            self._heard.add(char, time)
            if char == "+":
                self.set_timer(PLUS_WAIT_S, self._plus_alone)
        elif key == "escape":
            self._closed = True
            self.dismiss(None)
        elif key in ("up", "down"):
            self._choose(1 if key == "down" else -1)
        elif not self._heard.hard_on(time):
            self._letter(char.lower())

    def _enter(self) -> None:
        reading = self._heard.complete()
        hold = getattr(self.app, "hold_burst", None)
        if not reading:
            return
        if hold is not None:
            hold(reading)
        kept = ": held as a note" if hold is not None else ", not taken"
        self.say(f"! {visible(reading, 24)} came in here{kept}; t begins the readings", "warn")

    def _plus_alone(self) -> None:
        if self._heard.text == "+" and not self._closed and self.is_current:
            self._heard.text = ""
            self._go_on()

    def _letter(self, char: str) -> None:
        if char == "n":
            form = plan_form(self.shop, self._bench)
            self.app.push_screen(form, self._planned)
        elif char and char in "trx":
            view = self.chosen
            if view is None:
                self.say("no study yet: n plans one", "warn")
            else:
                {"t": self._read, "r": self._show_result, "x": self._strike}[char](view)

    def _choose(self, step: int) -> None:
        if self._views:
            self._at = (self._at + step) % len(self._views)
            self.say("")

    def _go_on(self) -> None:
        """Do what comes next for the study chosen: its readings, or what they say."""
        view = self.chosen
        if view is None:
            self.say("no study yet: n plans one", "warn")
        elif view.due is not None:
            self._read(view)
        else:
            self._show_result(view)

    def _read(self, view: studies.StudyView) -> None:
        if view.study.struck is not None:
            self.say(f"✗ {state_words(view)}: nothing more is read", "warn")
            return
        self._message = ("", "say")

        def after(show_result: bool | None) -> None:
            self._load()
            if show_result and self.chosen is not None:
                self._show_result(self.chosen)

        self.app.push_screen(TakeScreen(self.shop, view, self._mode), after)

    def _show_result(self, view: studies.StudyView) -> None:
        try:
            result = result_of(view)
        except BenchError as why:
            self.say(f"✗ {why}", "warn")
            return
        self._message = ("", "say")
        self.app.push_screen(ResultScreen(result, self._bench.unit, self._mode))

    def _strike(self, view: studies.StudyView) -> None:
        if view.study.struck is not None:
            self.say(f"✗ it is {state_words(view)} already", "warn")
            return

        def accept(reason: str) -> bool:
            studies.strike_study(self.shop, view, reason)
            return True

        title = f"Strike out the study '{visible(view.study.name, 30)}'"
        self.app.push_screen(Prompt(title, "why: a word or two", "", accept), self._struck)

    def _struck(self, done: object) -> None:
        if done:
            self._load()
            self.say("struck out; it stays readable", "done")

    def _planned(self, study_id: object) -> None:
        self._load()
        for i, view in enumerate(self._views):
            if view.study.id == study_id:
                self._at = i
                self.say(f"planned: {view.total} readings; + begins them", "done")


def plan_form(shop: Shop, state: BenchState) -> Form:
    """Return the form that plans a study; its result is the study's id.

    It starts from the reading of the ski in hand, where there is one.
    """
    what, near, unit = "", "", state.unit
    if state.line is not None:
        what = state.line.method.name
        about = state.line.now_mm or sum(state.line.usual_mm) / 2
        near = length_text(about, unit, "0.1" if unit == "in" else "1")
    skis = "; ".join(dict.fromkeys(visible(r.ski_name, 20) for r in state.roster[:4]))
    fields = (
        Field("name", "Study", "a name of its own, such as slow hour in May"),
        Field("what", "What is read", "one quantity: a method's name, or your own words", what),
        Field("unit", "Unit", "in or mm: every reading of the study is in it", unit),
        Field("near", "Near", "about what it reads, to place points by; may stay blank", near),
        Field("parts", "Parts", _parts_hint(skis)),
        Field("people", "People", "initials, with a blank between: KV JT", shop.who),
        Field("trials", "Trials", "how often everyone reads every part: 2 to 10", "3"),
    )
    return Form("Plan a study", fields, lambda texts: plan_study(shop, texts))


def _parts_hint(skis: str) -> str:
    today = f"{skis}; or one" if skis else "one"
    return f"2 or more with ';' between: {today} ski re-seated: seat 1; seat 2; seat 3"
