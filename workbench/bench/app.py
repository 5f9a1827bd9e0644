"""The full-screen app: panels, keys in order, themes. Formulas and the book lie elsewhere."""

from __future__ import annotations

from collections.abc import Callable
from time import monotonic
from typing import Any

from textual.app import App, ComposeResult
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.events import Key, Paste, Resize
from textual.reactive import var
from textual.screen import ModalScreen
from textual.timer import Timer
from textual.widget import Widget
from textual.widgets import Static

from workbench.bench import next_line, opens, panels, readings_panel, themes, turns_panel
from workbench.bench.hands import ENTRY_MORE, Hands
from workbench.bench.help import Help
from workbench.bench.sheet import CHOICES, PLUS_WAIT_S, Sheet
from workbench.bench.state import BenchState
from workbench.errors import BenchError
from workbench.places import shipped
from workbench.work.shop import Shop

WIDE_FROM = 110
LEAST_WIDTH, LEAST_HEIGHT = 60, 18


class Panel(Widget):
    """A bordered panel that draws the state into whatever room it has."""

    can_focus = False
    state: var[BenchState | None] = var(None)

    def __init__(
        self, name: str, title: str, draw: Callable[[BenchState, int, int], Content]
    ) -> None:
        super().__init__(id=name)
        self.border_title = title
        self._make = draw

    def watch_state(self) -> None:
        """Draw again whenever there is something new."""
        self.refresh()

    def render(self) -> Content:
        """Return the panel's text for its present size."""
        if self.state is None:
            return Content("")
        return self._make(self.state, self.content_size.width, self.content_size.height)


class Bench(App[int]):
    """The bench. Every key comes through :meth:`on_key`, one after the other."""

    CSS_PATH = [shipped("styles") / "bench.tcss"]
    TITLE = "Quarterturn"
    ENABLE_COMMAND_PALETTE = False
    AUTO_FOCUS = None

    def __init__(self, shop: Shop, no_color: bool = False) -> None:
        self._no_color = no_color
        super().__init__()
        self.shop = shop
        self.hands = Hands(shop)
        self.drafts: dict[str, dict[str, str]] = {}
        self._waiting: Timer | None = None
        self._waiting_sign = ""
        self._waiting_time = 0.0

    def get_theme_variable_defaults(self) -> dict[str, str]:
        """Give our own colours a value under every theme."""
        return themes.VARIABLE_DEFAULTS

    def compose(self) -> ComposeResult:
        """Lay the bench out."""
        yield Static(id="top", markup=False)
        with Horizontal(id="body"):
            yield Panel("roster", "Roster", panels.roster)
            with Vertical(id="numbers"):
                yield Panel("readings", "Readings", readings_panel.readings)
                yield Panel("target", "Target", panels.target)
            with Vertical(id="guidance"):
                yield Panel("turns", "Stud turns", turns_panel.turns)
                yield Panel("view", "Side view", panels.picture)
        yield Static(id="next", markup=False)
        yield Static(
            "Too small to draw: make the window at least 60x18.\n"
            "Keys still feed the entry; nothing is lost.",
            id="small",
            markup=False,
        )
        yield Static(next_line.keys_line(), id="keys", markup=False)

    def on_mount(self) -> None:
        """Choose the theme and begin to look for what other benches write."""
        themes.register(self)
        wanted = self.shop.book.setting("theme", themes.NIGHT.name) or themes.NIGHT.name
        self.theme = themes.pick(self._no_color, wanted)
        self.hands._changed = self._draw
        self.set_interval(1.0, self._look)
        self.call_after_refresh(self._draw, self.hands.state)

    def on_resize(self, event: Resize) -> None:
        """Lay out for the room there is."""
        base = self.screen_stack[0]
        base.set_class(event.size.width >= WIDE_FROM, "-wide")
        small = event.size.width < LEAST_WIDTH or event.size.height < LEAST_HEIGHT
        base.set_class(small, "-small")
        self.call_after_refresh(lambda: self._draw(self.hands.state))

    def _draw(self, state: BenchState) -> None:
        base = self.screen_stack[0]
        base.set_class(self.size.width >= WIDE_FROM, "-wide")
        for side in ("turns", "view", "roster"):
            base.set_class(state.shown_side == side, f"-side-{side}")
        base.set_class(readings_panel.has_entry(state), "-entry")
        base.set_class(not panels.has_target(state), "-no-target")
        base.query_one("#top", Static).update(panels.top_line(state, self.size.width))
        for panel in base.query(Panel):
            panel.state = state
        base.query_one("#next", Static).update(next_line.next_step(state, self.size.width - 2))

    def _look(self) -> None:
        try:
            changed = self.shop.book.changed_since_last_look()
        except BenchError as why:
            self.hands.say(str(why), "warn")
            return
        if changed:
            self.hands.look_again()

    # -- keys ------------------------------------------------------------------------------------

    async def on_event(self, event: Any) -> None:
        """Take bench keys before any binding does, in the order they came."""
        if isinstance(event, Key) and len(self.screen_stack) == 1 and self._take(event):
            event.stop()
            event.prevent_default()
            return
        await super().on_event(event)

    def _take(self, event: Key) -> bool:
        """Do what a key means on the bench; return whether it meant anything."""
        hands, key, char, time = self.hands, event.key, event.character or "", event.time
        if self._waiting is not None:
            self._settle_sign(char, time)
        if key in ("enter", "ctrl+j"):
            hands.enter(time)
        elif key == "backspace":
            hands.rub_out()
        elif key == "escape":
            hands.escape()
        elif key in ("up", "down"):
            hands.select(1 if key == "down" else -1)
        elif key in ("pageup", "pagedown"):
            hands.step_queue(1 if key == "pagedown" else -1)
        elif char and hands.takes(char) and (char not in "+-" or hands.mending):
            hands.type(char, time)
        elif char and char in "+-":
            self._wait_for_digits(char, time)
        elif key == "space":
            if hands.state.hands_on:
                hands.yes(time)
        elif char == "*":
            hands.flip_unit()
        elif char == "/":
            self.push_screen(Sheet(), self._after_sheet)
        elif key in ("f1", "question_mark"):
            self.do_("help")
        elif key == "tab":
            hands.next_side()
        elif len(char) == 1 and char.lower() in _LETTERS:
            self.do_(_LETTERS[char.lower()])
        else:
            return False
        return True

    def _wait_for_digits(self, sign: str, time: float) -> None:
        """A sign with digits on its heels starts an entry; alone it is an answer or a step."""
        target = self.hands.state.view is not None and self.hands.state.view.stage == "target"
        if target and self.hands.state.question is None:
            self.hands.type(sign, time)
            return
        self._waiting_sign, self._waiting_time = sign, time
        self._waiting = self.set_timer(PLUS_WAIT_S, self._sign_alone)

    def _settle_sign(self, char: str, time: float) -> None:
        assert self._waiting is not None
        if char and char in "0123456789.,":
            self._waiting.stop()
            self._waiting = None
            self.hands.type(self._waiting_sign, self._waiting_time)
        else:
            self._sign_alone()

    def _sign_alone(self) -> None:
        if self._waiting is not None:
            self._waiting.stop()
            self._waiting = None
            if self._waiting_sign == "+":
                self.hands.yes(self._waiting_time)
            else:
                self.hands.no()

    def on_paste(self, event: Paste) -> None:
        """Take pasted text as if it had been typed, line by line; what is none is refused."""
        for line in event.text.splitlines():
            text = line.strip()
            if len(self.screen_stack) > 1:
                self.hold_burst(text)
            elif any(char not in ENTRY_MORE for char in text):
                self.hands.say(f"not a reading, so not taken: '{text}'", "warn")
                return
            elif text:
                now = monotonic()
                for char in text:
                    self.hands.type(char, now)
                self.hands.enter(now)

    # -- what letters and the sheet do -------------------------------------------------------------

    def _after_sheet(self, answer: str | None) -> None:
        if answer:
            self.do_(answer)

    def hold_burst(self, text: str) -> None:
        """Keep a caliper's number that came while something else was open."""
        self.hands.hold(text)

    def do_(self, action: str) -> None:
        """Do one of the sheet's actions."""
        hands = self.hands
        plain: dict[str, Callable[[], None]] = {
            "take_back": hands.take_back,
            "retarget": hands.retarget,
            "baseline": hands.baseline,
            "finer": hands.finer,
            "keep": hands.keep_as_is,
            "unfinished": hands.next_unfinished,
            "side": hands.next_side,
            "drawing": hands.next_drawing,
            "theme": self._next_theme,
            "quit": self._leave,
        }
        if action in plain:
            plain[action]()
        elif action == "help":
            self.push_screen(Help())
        else:
            self._ask(action)

    def _ask(self, action: str) -> None:
        from workbench.bench import forms

        hands = self.hands
        if action in opens.OPENINGS:
            opens.open_on(self, action)
        elif action == "add_ski":
            self.push_screen(forms.ski_form(self.shop), self._after_form)
        elif action == "queue_ski":
            self.push_screen(forms.queue_form(self.shop), self._after_form)
        elif action == "add_blade":
            self.push_screen(forms.blade_form(self.shop), self._after_form)
        elif action == "add_block":
            self.push_screen(forms.block_form(self.shop), self._after_form)
        elif action == "initials":
            self.push_screen(
                forms.Prompt(
                    "Initials",
                    "whose hands: 1 to 12 characters",
                    self.hands.state.who,
                    hands.set_who,
                )
            )
        elif action == "calipers":
            from workbench.bench.caliper_screens import CaliperScreen

            self.push_screen(CaliperScreen(self.shop, hands.state.unit), self._after_form)
        elif hands.state.view is None:
            hands.say("no ski in hand", "warn")
        elif action in ("hold", "worth", "restate"):
            self._look_closer(action)
        elif action == "aside":
            self.push_screen(forms.Prompt("Set aside", "why: a word or two", "", hands.set_aside))
        elif action == "strike":
            self.push_screen(
                forms.Prompt(
                    "Strike out the reading marked", "why: a word or two", "", hands.strike_reading
                )
            )
        elif action == "note":
            self.push_screen(forms.Prompt("Note", "kept with this job", "", hands.write_note))

    def _look_closer(self, action: str) -> None:
        from workbench.bench import closer

        state = self.hands.state
        if state.view is None:
            return
        screen: ModalScreen[None]
        if action == "hold":
            screen = closer.HoldScreen(
                state.view, state.line_index, state.unit, state.drawing, key="m"
            )
        elif action == "restate":
            screen = closer.RestateScreen(self.shop, state.view, state.unit, key="v")
        else:
            screen = closer.BudgetScreen(state.view, state.line_index, state.unit, key="g")
        self.push_screen(screen, lambda _: self.hands.ignore_enter(monotonic()))

    def _after_form(self, _: object) -> None:
        self.hands.look_again()

    def _next_theme(self) -> None:
        names = list(themes.NAMES)
        at = names.index(self.theme) if self.theme in names else -1
        self.theme = names[(at + 1) % len(names)]
        self.hands.remember("theme", self.theme)
        self.hands.say(f"theme: {self.theme}")

    def _leave(self) -> None:
        self.hands.leave()
        self.exit(0)

    async def action_quit(self) -> None:
        """Leave; what was typed is kept for next time."""
        self._leave()


_LETTERS = {choice.key: choice.action for choice in CHOICES if choice.key} | {"?": "help"}
