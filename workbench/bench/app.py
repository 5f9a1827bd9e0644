"""The full-screen app: panels, keys in order, themes. Formulas and the book lie elsewhere."""

from __future__ import annotations

import os
from collections.abc import Callable
from contextlib import suppress
from time import monotonic
from typing import Any

from textual.app import App, ComposeResult
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.css.scalar import Scalar
from textual.driver import Driver
from textual.events import Click, Key, MouseScrollDown, MouseScrollUp, Paste, Resize
from textual.geometry import Offset, Region, Size
from textual.screen import Screen
from textual.widgets import Static

from workbench.bench.action_menu import Sheet, open_screen
from workbench.bench.bases.bursts import ENTRY_MORE, LONGEST_ENTRY, SignKey
from workbench.bench.bases.key_gate import KeyGate
from workbench.bench.bases.overlay import Overlay
from workbench.bench.crash import as_text, words, write_report
from workbench.bench.draw import themes
from workbench.bench.draw.text import Tone, lines, literal, paragraph
from workbench.bench.hand.acts import AIMS, Acts
from workbench.bench.hand.entry_keys import EntryKeys
from workbench.bench.hand.hands import Hands, unfinished_form, unfinished_text
from workbench.bench.hand.state import SIDES, BenchState
from workbench.bench.panels import next_line, panel_text, readings_panel, turns_panel
from workbench.bench.panels.one_thing import over_the_screen
from workbench.bench.panels.panel import Line, Panel, same
from workbench.bench.terminal import patient, take_up_again
from workbench.errors import BenchError, InputError
from workbench.places import shipped
from workbench.work.job.shop import Shop
from workbench.work.job_text.tasks import tour_words
from workbench.work.text.words import error_words
from workbench.work.trust.shop_policy import BELL, FLASH

LEAST_WIDTH, LEAST_HEIGHT = 60, 18
NARROW_BELOW = 72
LOW_BELOW = 22
"""Below this height the target takes one line for each reading, to leave room for the readings."""

AT_REST_S = 0.3
"""Delay before reading what may be wanted next of a ski just taken in hand: paint comes first."""

FLASH_S = 0.6
"""How long the frame of a doubtful entry is lit."""

SCREEN_FILE = "screen.txt"
"""Where what was copied is kept too, for terminals that copy nothing."""

MOST_PASTED = 1000
"""Lines of one paste: more is a file dropped here by accident, not a morning's readings."""


class Bench(App[int]):
    """The bench. Every key comes through :meth:`on_key`, one after the other."""

    CSS_PATH = [shipped("styles") / "bench.tcss"]
    TITLE = "Quarterturn"
    ENABLE_COMMAND_PALETTE = False
    AUTO_FOCUS = None

    def __init__(self, shop: Shop, no_color: bool = False) -> None:
        self._no_color = no_color
        super().__init__(ansi_color=True if no_color else None)
        self.shop = shop
        self.hands = Hands(shop)
        self.entry, self.acts = EntryKeys(self.hands), Acts(self.hands)
        self.form_drafts = unfinished_form(shop.book.setting("forms"))
        kept = shop.book.settings()
        self.touring = kept.get("tour") == "on"
        themes.register(self)
        themes.begin_with(self, themes.pick(no_color, kept.get("theme") or themes.NIGHT.name))
        self.large = self.pad = False
        self.report = self.unkept = ""
        """What to tell once the terminal is whole again: of an error of ours, and of what was typed
        and could not be kept."""
        self._careful = Content("")
        self._drawn_job: tuple[str, int | None] = ("", None)
        self._gate = KeyGate(self)
        self._sign = SignKey(self, self.entry.type, self._sign_alone)

    def get_driver_class(self) -> type[Driver]:
        """Return the platform's driver, made to wait for no terminal."""
        try:
            return patient(super().get_driver_class())
        except (ImportError, AttributeError, RuntimeError, ValueError):
            named = os.environ.get("TEXTUAL_DRIVER", "")
            raise InputError("TEXTUAL_DRIVER", named, "to be unset, or a driver there is") from None

    def get_theme_variable_defaults(self) -> dict[str, str]:
        """Give our own colours a value under every theme."""
        return themes.VARIABLE_DEFAULTS

    def get_default_screen(self) -> Screen[None]:
        """Return the bench's own screen, laid out for the room there is from the beginning."""
        classes = [name for name, on in self._looks(self.hands.state).items() if on]
        return Screen(id="_default", classes=" ".join(classes))

    def compose(self) -> ComposeResult:
        """Lay the bench out."""
        yield Line(id="top", markup=False)
        yield Line(id="danger", markup=False)
        with Horizontal(id="body"):
            yield Panel("roster", "Queue", panel_text.roster)
            with Vertical(id="numbers"):
                yield Panel("readings", "Readings", readings_panel.readings)
                yield Panel("target", "Target", panel_text.target)
            with Vertical(id="guidance"):
                yield Panel("turns", "Stud turns", turns_panel.turns)
                yield Panel("view", "Side view", self._side_view)
        yield Panel("large", "In large", over_the_screen)
        yield Static(id="tour", markup=False)
        yield Line(id="next", markup=False)
        yield Static(
            "Too small to draw: make the window at least 60x18.\n"
            "Keys still feed the entry; nothing is lost.",
            id="small",
            markup=False,
        )
        yield Line(id="pad", markup=False)
        yield Line(id="keys", markup=False)

    def on_mount(self) -> None:
        """Draw, and begin to look for what other benches write."""
        self.hands.changed = self._draw
        self.hands.asks = self.do_
        self.hands.alarms = self._alarm
        self.pad = self.is_web
        self._draw(self.hands.state)
        self.set_interval(1.0, self._look)
        self.app_resume_signal.subscribe(self, lambda _: self.refresh(layout=True))
        take_up_again(self)

    def on_resize(self, event: Resize) -> None:
        """Lay out for the room there is."""
        self.screen_stack[0].update_classes(self._looks(self.hands.state, event.size))
        self.call_after_refresh(lambda: self._draw(self.hands.state))

    def _looks(self, state: BenchState, room: Size | None = None) -> dict[str, bool]:
        """Return what the style sheet is to know of the room and the state.

        Where there is room for everything, the state moves no panel.
        """
        width, height = room or self.size
        wide = width >= panel_text.WIDE_FROM
        sides = {f"-side-{side}": not wide and state.shown_side == side for side in SIDES}
        return sides | {
            "-wide": wide,
            "-low": height < LOW_BELOW,
            "-small": width < LEAST_WIDTH or height < LEAST_HEIGHT,
            "-entry": not wide and readings_panel.has_entry(state),
            "-no-target": not wide and not panel_text.has_target(state),
            "-checks": not wide and readings_panel.has_checks(state),
            "-tour": self.touring,
            "-large": self.large,
            "-pad": self.pad,
            "-danger": bool(panel_text.danger_rows(state, width)),
        }

    def _draw(self, state: BenchState) -> None:
        base = self.screen_stack[0]
        base.update_classes(self._looks(state))
        width = self.size.width
        base.query_one("#top", Line).show(panel_text.top_line(state, width))
        self._draw_danger(base.query_one("#danger", Line), state, width)
        for panel in base.query(Panel):
            panel.show(state)
        self._draw_tour(state)
        self._draw_next(base.query_one("#next", Line), state, width - 2)
        base.query_one("#keys", Line).show(next_line.keys_line(width < NARROW_BELOW, state.keys))
        if self.pad:
            base.query_one("#pad", Line).show(next_line.pad_rows(width))
        view = state.view
        job_id, due = (view.job.id, view.due) if view is not None else ("", None)
        before, self._drawn_job = self._drawn_job, (job_id, due)
        if job_id != before[0]:
            self.set_timer(AT_REST_S, lambda: self._at_rest(job_id))
        elif due != before[1]:
            self.set_timer(AT_REST_S, self.hands.foresee)

    def _at_rest(self, job_id: str) -> None:
        """Read the rest of the day, and the neighbours of a ski that is still in hand."""
        self.hands.read_all()
        if job_id == self._drawn_job[0]:
            self.hands.foresee()
            self.hands.look_ahead()

    def _side_view(self, state: BenchState, width: int, height: int) -> Content:
        """Draw the side view; in place of the turns, with their warnings."""
        draw = (
            panel_text.picture
            if self.size.width >= panel_text.WIDE_FROM
            else panel_text.warned_picture
        )
        return draw(state, width, height)

    def _draw_next(self, line: Line, state: BenchState, width: int) -> None:
        """Show what to do now; a caution that a warning leaves no row for goes on the frame."""
        words, careful = next_line.next_rows(state, width)
        line.show(words)
        below = literal(careful)
        if not same(below, self._careful):
            self._careful = below
            line.border_subtitle = below

    def _draw_danger(self, line: Line, state: BenchState, width: int) -> None:
        """Show what is dangerous about the ski in hand above all panels, at every stage."""
        rows = panel_text.danger_rows(state, width)
        if rows and line.styles.height != Scalar.from_number(len(rows)):
            line.styles.height = len(rows)
        line.show(lines(rows))

    def _draw_tour(self, state: BenchState) -> None:
        """Show the walk-through's line where it is on."""
        base = self.screen_stack[0]
        if self.touring:
            words = state.keys.said(tour_words(state.view, state.unit, state.hands_on))
            rows = paragraph(words, self.size.width - 2, "bold")[:3]
            base.query_one("#tour", Static).update(lines(rows))

    def _tour(self) -> None:
        """Begin the walk-through of a first day, or end it."""
        self.touring = not self.touring
        self.hands.remember("tour", "on" if self.touring else "off")
        self.hands.say("walk-through on" if self.touring else "walk-through off")

    def _alarm(self) -> None:
        """Ring the bell and flash the frame of the readings at a doubtful entry, as settled."""
        try:
            kept = self.shop.book.settings()
        except BenchError:  # the book does not answer: what was refused is said all the same
            kept = {}
        if BELL.of(kept.get(BELL.name)):
            self.bell()
        if FLASH.of(kept.get(FLASH.name)):
            readings = self.screen_stack[0].query_one("#readings", Panel)
            readings.add_class("-doubt")
            self.set_timer(FLASH_S, lambda: readings.remove_class("-doubt"))

    def _look(self) -> None:
        try:
            changed = self.shop.book.changed_since_last_look()
        except BenchError as why:
            self.hands.say(str(why), "warn")
            return
        turned = self.shop.turn_day()
        if changed or turned:
            self.hands.look_again(by_others=changed)
        if turned:
            self.hands.say(f"a new day has begun: {self.shop.day}")

    # -- keys ------------------------------------------------------------------------------------

    async def on_event(self, event: Any) -> None:
        """Take bench keys before any binding does, in the order they came."""
        if isinstance(event, (Key, Paste)) and not event.is_forwarded:
            await self._gate.take(event)
        else:
            await super().on_event(event)

    async def let_in(self, event: Key | Paste) -> bool:
        """Take an event whose turn it is; False where it goes on to what has the focus."""
        if isinstance(event, Key) and self._took(event):
            event.stop()
            event.prevent_default()
            return True
        await super().on_event(event)
        return False

    def _took(self, event: Key) -> bool:
        """Take a key of the bench, or F1 wherever it is pressed; return whether it was one."""
        if event.key == "ctrl+c" and not self._has_selection():
            self.leave()
            return True
        if len(self.screen_stack) == 1:
            return self._take(event)
        if event.key in getattr(self.screen, "OWN_KEYS", ()):
            return False
        if event.key == "f1":
            self.do_("help")
        elif event.character is None and self.hands.state.keys.action(event.key) == "copy":
            self._copy()
        else:
            return False
        return True

    def _has_selection(self) -> bool:
        """Tell whether Ctrl+C has text to copy; else it leaves, as anywhere."""
        in_line = getattr(self.focused, "selected_text", "")
        return bool(in_line or self.screen.get_selected_text())

    def _take(self, event: Key) -> bool:
        """Do what a key means on the bench; return whether it meant anything."""
        hands, entry, key, char = self.hands, self.entry, event.key, event.character or ""
        self._sign.settle(char)
        if key in ("enter", "ctrl+j"):
            entry.enter(event.time)
        elif key == "backspace":
            entry.rub_out()
        elif key == "escape":
            entry.escape()
        elif key in ("up", "down"):
            hands.select(1 if key == "down" else -1)
        elif key in ("pageup", "pagedown"):
            hands.step_queue(1 if key == "pagedown" else -1)
        elif char and entry.takes(char) and (char not in "+-" or hands.state.mending):
            entry.type(char, event.time)
        elif char and char in "+-":
            self._wait_for_digits(char, event.time)
        elif key == "space":
            if hands.state.hands_on:
                entry.yes(event.time)
        elif char == "*":
            hands.flip_unit()
        elif char == "/":
            self.show(Sheet(hands.state.keys))
        elif key == "ctrl+p":
            self.do_("palette")
        elif key in ("f1", "question_mark"):
            self.do_("help")
        elif key == "tab":
            hands.next_side()
        elif action := hands.state.keys.action(char or key):
            self.do_(action)
        else:
            return False
        return True

    def _wait_for_digits(self, sign: str, time: float) -> None:
        """A sign starts an entry where a number is due; elsewhere digits on its heels do, and alone
        it is an answer."""
        if self.entry.begins_by_sign:
            self.entry.type(sign, time)
            return
        self._sign.press(sign, time)

    def _sign_alone(self, sign: str, time: float) -> None:
        if sign == "+":
            self.entry.yes(time)
        else:
            self.entry.no()

    def on_click(self, event: Click) -> None:
        """Take the ski that is clicked on in the queue, or press the key that is clicked on."""
        if len(self.screen_stack) > 1 or self._has_selection():
            return
        state, (name, room) = self.hands.state, self._under(event.screen_offset)
        x, y = event.screen_x - room.x, event.screen_y - room.y
        row: int | None = None
        if name == "roster":
            line = panel_text.ski_at(state, room.height, y)
            if line is not None:
                self.hands.open(line.job_id)
        elif name == "keys":
            if key := next_line.key_at(x, self.size.width < NARROW_BELOW, state.keys):
                self.press_key(key)
        elif name == "pad":
            if key := next_line.pad_key_at(x, y, room.width):
                self.press_key(key)
        elif name == "readings":
            row = readings_panel.line_at(state, room.width, room.height, y)
        elif name == "target":
            row = panel_text.target_at(state, room.height, y)
        if row is not None:
            self.hands.select(row - (-1 if state.marked is None else state.marked))

    def _under(self, at: Offset) -> tuple[str, Region]:
        """Return the name and the room of the panel, or of the line of keys, that lies there."""
        rooms = {x.id or "": x.content_region for x in self.screen_stack[0].query("Panel, Line")}
        name = next((name for name, room in rooms.items() if room.contains_point(at)), "")
        return name, rooms.get(name, Region())

    def press_key(self, shown: str) -> None:
        """Press a key, by the name that a line of keys shows it by."""
        self.call_later(
            self._gate.press, shown
        )  # one sent by a screen would not reach its bindings

    def on_mouse_scroll_down(self, event: MouseScrollDown) -> None:
        """Move on in what lies under the mouse."""
        self._wheel(event.screen_offset, 1)

    def on_mouse_scroll_up(self, event: MouseScrollUp) -> None:
        """Move back in what lies under the mouse."""
        self._wheel(event.screen_offset, -1)

    def _wheel(self, at: Offset, by: int) -> None:
        """Scroll the queue, which takes no ski in hand, or choose another reading or target."""
        if len(self.screen_stack) > 1:
            return
        name, room = self._under(at)
        if name == "roster":
            state = self.hands.state
            self.hands.change(scrolled=panel_text.scrolled(state, room.height, by))
        elif name in ("readings", "target"):
            self.hands.select(by)

    def on_paste(self, event: Paste) -> None:
        """Take pasted text as if it had been typed, line by line; what is none is refused."""
        pasted = event.text.splitlines()
        if len(pasted) > MOST_PASTED:
            self.hands.say(f"more than {MOST_PASTED} lines at once: none of it was taken", "warn")
            return
        for line in pasted:
            text = line.strip()
            if len(self.screen_stack) > 1:
                self.hold_burst(text)
            elif len(text) > LONGEST_ENTRY or any(char not in ENTRY_MORE for char in text):
                self.hands.say(f"not a reading, so not taken: '{text}'", "warn")
                return
            elif text:
                now = monotonic()
                for char in text:
                    self.entry.type(char, now)
                self.entry.enter(now)

    # -- what letters and the sheet do -------------------------------------------------------------

    def show(self, screen: Overlay[Any]) -> None:
        """Lay a screen over the bench, and take over what was done on it."""
        self.push_screen(screen, lambda result: screen.after(self, result))

    def tell(self, words: str, tone: Tone = "warn") -> None:
        """Say something on the bench, and on the screen that lies over it where that speaks."""
        self.hands.say(words, tone)
        say = getattr(self.screen, "say", None)
        if say is not None:
            say(words)

    def hold_burst(self, text: str) -> bool:
        """Keep a caliper's number that came while something else was open; tell whether it is."""
        return self.hands.hold(text)

    def do_(self, action: str) -> None:
        """Do one of the sheet's actions; where the book does not answer, say so and stay."""
        try:
            self._do(action)
        except BenchError as why:
            self.hands.say(error_words(why, self.hands.state.unit), "warn")

    def _do(self, action: str) -> None:
        hands, acts = self.hands, self.acts
        plain: dict[str, Callable[[], None]] = {
            "take_back": acts.take_back,
            "retarget": acts.retarget,
            "finer": acts.finer,
            "settled": acts.settled,
            "without_learned": acts.without_learned,
            "copy": self._copy,
            "keep": acts.keep_as_is,
            "unfinished": hands.next_unfinished,
            "next_ski": lambda: hands.step_queue(1),
            "ski_before": lambda: hands.step_queue(-1),
            "side": hands.next_side,
            "drawing": hands.next_drawing,
            "theme": self._next_theme,
            "large": self._in_large,
            "pad": self._pad,
            "tour": self._tour,
            "quit": self.leave,
        }
        if action in plain:
            plain[action]()
        elif action in AIMS:
            acts.aim(action)
        else:
            open_screen(self, action)

    def _in_large(self) -> None:
        """Show the one thing that matters now over the whole screen, or the panels again."""
        self.large = not self.large
        self._draw(self.hands.state)

    def _pad(self) -> None:
        """Show keys for fingers, or none; in a browser they are there from the beginning."""
        self.pad = not self.pad
        self._draw(self.hands.state)

    def _copy(self) -> None:
        """Copy what is shown, on any screen; the file beside the book is for terminals without."""
        rows = self.screen._compositor.render_strips()
        text = "\n".join(strip.text.rstrip() for strip in rows)
        self.copy_to_clipboard(text)
        path = self.shop.book.path.with_name(SCREEN_FILE)
        try:
            path.write_text(text + "\n", encoding="utf-8")
        except OSError as why:
            self.tell(f"copied; no file could be written: {why.strerror}")
        else:
            self.tell(f"copied; also in {SCREEN_FILE} beside the book", "done")

    def _next_theme(self) -> None:
        names = list(themes.NAMES)
        at = names.index(self.theme) if self.theme in names else -1
        self.theme = names[(at + 1) % len(names)]
        self.hands.remember("theme", self.theme)
        self.hands.say(f"theme: {self.theme}")

    # -- leaving ---------------------------------------------------------------------------------

    @property
    def is_leaving(self) -> bool:
        """Whether it closes: keys that are still on their way do nothing."""
        return self._exit

    def leave_off(self) -> None:
        """Keep where the bench is, the entry begun, and what is typed in an open form.

        A book that has gone, or takes nothing, holds nobody up: what it did not take is told.
        """
        open_now = [x.heading for x in self.screen_stack if isinstance(x, Overlay) and x.heading]
        texts = unfinished_text(open_now[-1], self.form_drafts) if open_now else ""
        kept = True
        try:
            if texts or self.shop.book.setting("forms"):
                kept = self.hands.remember("forms", texts)
        except BenchError:
            kept = False
        entry = self.hands.state.entry
        kept = self.hands.leave() and kept
        self.unkept = "" if kept else "; ".join(part for part in (entry, texts) if part)

    def leave(self) -> None:
        """Leave; what was typed is kept for next time."""
        self.leave_off()
        self.exit(0)

    async def action_quit(self) -> None:
        """Leave; what was typed is kept for next time."""
        self.leave()

    def _fatal_error(self) -> None:
        """Close after an error of our own: the draft kept, a report written, the terminal whole."""
        with suppress(Exception):
            self.leave_off()
        view = self.hands.state.view
        stage = view.stage if view is not None else "no ski in hand"
        open_now = type(self.screen).__name__ if self._screen_stack else "no screen"  # at the start
        where = f"{open_now}, {stage}, {self.size.width}x{self.size.height}"
        error = self._exception or RuntimeError("an error without a name")
        book = self.shop.book.path
        self.report = self.report or words(write_report(error, book.parent, where, book))
        self._close_messages_no_wait()

    def panic(self, *renderables: Any) -> None:
        """Close as after any error of ours; what Textual would have printed goes into a report."""
        self._return_code = 1
        if self._exception is None:
            self._exception = RuntimeError(as_text(renderables))
        self._fatal_error()
