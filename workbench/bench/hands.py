"""What the hands do: keys become use cases, and every outcome a new state.

Knows no widget, so that the whole walk of a ski can be tried without a screen. A caliper's burst
(digits and Enter, faster than any hand) is a reading or is held, never an answer.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from workbench.bench.acts import Acts
from workbench.bench.bursts import BURST_WINDOW_S, ENTRY_MORE, ENTRY_START, LONGEST_ENTRY
from workbench.bench.ski_in_hand import noted_words
from workbench.bench.state import CHANGE_SUCH_AS, READS_AT, BenchState, Tone
from workbench.errors import BenchError, InputError
from workbench.measure.lengths import Placing, understand
from workbench.records import rows
from workbench.work.calipers import in_hand, standing_words
from workbench.work.jobs import JobView, Line
from workbench.work.last_time import aim_at_last
from workbench.work.marks import suspect_words
from workbench.work.setting_words import moved_words
from workbench.work.shop import Shop
from workbench.work.typed_numbers import SIGNS, reading_entry, target_entry
from workbench.work.wing_setup import wing_words
from workbench.work.worth import doubtful_words

ANSWERS = "+ takes it, Backspace goes back"


class Hands(Acts):
    """Takes the keys: an entry, Enter behind it, and + or - on purpose."""

    def __init__(self, shop: Shop, changed: Callable[[BenchState], None] | None = None) -> None:
        self.asks: Callable[[str], None] = lambda action: None
        """Opens the screen of an action; set by who has screens."""
        self._last_burst = float("-inf")
        self._last_enter = float("-inf")
        self._last_yes = float("-inf")
        super().__init__(shop, changed)

    # -- keys ------------------------------------------------------------------------------------

    @property
    def entering(self) -> bool:
        """Whether an entry is in progress, so that keys feed it."""
        return bool(self.state.entry)

    @property
    def mending(self) -> bool:
        """Whether an entry is in progress and nothing is asked, so that signs belong to it."""
        return self.entering and self.state.question is None

    def takes(self, char: str) -> bool:
        """Whether a character belongs to an entry now."""
        return char in (ENTRY_MORE if self.mending else ENTRY_START)

    def type(self, char: str, time: float) -> None:
        """Add a character to the entry in progress, or start one."""
        entry = self.state.entry
        if self.state.question is not None:
            if char not in (*ENTRY_START, *SIGNS):
                self.say(f"'{char}' starts no number: {ANSWERS}", "warn")
                return
            if not self._hold(entry):
                return
            self._noted = noted_words(entry)
            entry = ""
        if len(entry) >= LONGEST_ENTRY:
            self.say(
                f"an entry has at most {LONGEST_ENTRY} characters: Enter, or Backspace", "warn"
            )
            return
        if not entry:
            self._pace.clear()
        self._pace.add(time)
        self._feed(entry + char)

    def rub_out(self) -> None:
        """Take the last character of the entry back."""
        if self.state.question is not None:
            self._set(question=None, message="")
        elif self.state.entry:
            self._feed(self.state.entry[:-1])

    def _feed(self, entry: str) -> None:
        """Set the entry in progress and what it would be taken as, so that both can be seen."""
        tone: Tone = "warn" if self._noted else "say"
        told = {"message": self._noted, "tone": tone}
        self._set(entry=entry, question=None, **told, **self._preview(entry))

    def flip_unit(self) -> None:
        """Exchange inch and mm; an entry without a unit is read in the new one."""
        super().flip_unit()
        self._read_again()

    def select(self, by: int) -> None:
        """Choose another reading or target by hand; an entry in progress goes to it."""
        super().select(by)
        self._read_again()

    def _read_again(self) -> None:
        """Read the entry in progress anew, for the unit or the line it would now count for."""
        if self.mending:
            self._set(**self._preview(self.state.entry))

    def _preview(self, entry: str) -> dict[str, object]:
        """Return what an entry is understood as now, and whether it will be asked about."""
        view, line = self.state.view, self.state.line
        plain: dict[str, object] = {"reads_as": entry, "unclear": False}
        if view is None or line is None or view.stage == "wing" or entry[:1] in ("", *SIGNS):
            return plain
        try:
            found = understand(entry, self.state.unit, line.usual_mm)
        except BenchError:
            return plain
        if not found.is_clear:
            return plain | {"unclear": True}
        return plain | {"reads_as": f"{found.placings[0].number} {found.placings[0].unit}"}

    def escape(self) -> None:
        """Drop the entry in progress, or what was begun."""
        if self.state.question is not None or self.state.entry:
            self._noted = ""
            self._set(entry="", question=None, message="entry dropped")
        else:
            self._set(hands_on=False, selected=None, message="")

    def in_burst(self, time: float) -> bool:
        """Whether a caliper's burst has only just passed."""
        return time - self._last_burst < BURST_WINDOW_S

    def _how(self, time: float) -> rows.How:
        if not self._pace.is_burst(time):
            return "typed"
        self._last_burst = time
        return "gauge"

    def ignore_enter(self, time: float) -> None:
        """Take an Enter held down while a screen closed for its echo, not for the next step."""
        self._last_enter = time

    def enter(self, time: float) -> None:
        """Do the next step, or take the entry in progress."""
        empty_second = time - self._last_enter < BURST_WINDOW_S and not self.state.entry
        self._last_enter = time
        self._answered = False
        if self.state.view is None and not (self.state.entry or empty_second):
            self.asks("add_ski")
        elif self.state.view is None:
            self.say("no ski in hand: Esc drops this, then Enter adds a ski", "warn")
        elif self.state.question is not None:
            self.say(f"{self.state.question.question} {ANSWERS}", "warn")
        elif self.state.entry:
            how = self._how(time)
            self._try(lambda: self._take_entry(how))
        elif not empty_second and not self.in_burst(time):
            self._try(self._next_step)

    def _take_entry(self, how: rows.How) -> None:
        state, view, line = self.state, self.state.view, self.state.line
        assert view is not None
        if view.stage in ("wing", "target") and how == "gauge":
            what = "angle" if view.stage == "wing" else "target"
            if self._hold(state.entry):
                self._set(entry="")
                self.say(f"'{state.entry}' off a caliper is no {what}: kept as a note", "warn")
            return
        if view.stage == "wing":
            new = self.shop.set_wing(view, state.entry)
            self._show(new, f"wing angle kept: {wing_words(new.facts)}")
            return
        if line is None or not (view.stage in READS_AT or view.reads_locked):
            if self._hold(state.entry):
                self._set(entry="")
                self.say(f"no reading is due now: '{state.entry}' is kept as a note", "warn")
            return
        if view.stage == "target":
            self._take_target(state.entry)
            return
        found = reading_entry(line, state.entry, state.unit)
        if found.is_clear:
            placing = found.placings[0]
            why = view.doubt(line, state.entry, placing.unit, placing.mm, state.unit)
            found = replace(found, question=why)
        if found.is_clear:
            self._keep_reading(found.placings[0], how)
        else:
            self._set(question=found, offered=0)

    def _keep_reading(self, placing: Placing, how: rows.How) -> None:
        view, line = self.state.view, self.state.line
        assert view is not None
        assert line is not None
        text, unit = self.state.entry, placing.unit
        caliper = in_hand(self.shop)
        caliper_id = caliper.id if caliper is not None else None
        take = self.shop.take_locked if view.reads_locked else self.shop.take_reading
        new = take(view, line, text, unit, placing.mm, how, caliper_id)
        at = self.state.line_index
        now = new.lines[at]
        again = f", repeat {len(now.latest)}" if len(now.latest) > 1 else ""
        typed = "" if text == placing.number else f"{text} → "
        kept = f"kept: {line.method.name} {typed}{placing.number} {unit}{again}"
        told = moved_words(now, self.state.unit) or view.since_left(
            line, placing.mm, self.state.unit
        )
        again_words = " ".join(suspect_words(new, self.state.unit)[:1])
        doubtful = again_words or doubtful_words(now, self.state.unit)
        strikes = bool(now.doubts.indices) and not again_words and not now.doubts.apart
        warning = standing_words(self.shop)
        said = [doubtful, f"{kept}; {told}" if told else kept, warning]
        tone: Tone = "warn" if doubtful or warning else "done"
        self._show(new, ". ".join(part for part in said if part), tone)
        if strikes:
            self._set(doubted=at)

    def _take_target(self, text: str) -> None:
        view, line, unit = self.state.view, self.state.line, self.state.unit
        assert view is not None
        assert line is not None
        found = target_entry(line, text, unit)
        if not found.is_clear:
            self._set(question=found, offered=0)
            return
        self._keep_target(found.placings[0])

    def _keep_target(self, placing: Placing) -> None:
        view, line, text = self.state.view, self.state.line, self.state.entry
        assert view is not None
        assert line is not None
        if text.startswith(SIGNS):
            self._show_target(self.shop.aim(view, line, text, self.state.unit), line, text)
            return
        new = self.shop.aim_at(view, line, text, placing.unit, "value", placing.mm)
        self._show_target(new, line, f"{placing.number} {placing.unit}")

    def _show_target(self, new: JobView, line: Line, text: str) -> None:
        """Show a target kept, whether its change stands clear, and what warns of its turns."""
        change = next(x.change_wanted for x in new.lines if x.method_id == line.method_id)
        warned = new.target_warning_in(self.state.unit)
        glance = f", {change.glance}" if change is not None and not warned else ""
        tone: Tone = "warn" if change is not None and not change.clear else "done"
        self._show(*self._aimed(new, f"target kept: {line.method.name} {text}{glance}", tone))

    def yes(self, time: float) -> None:
        """Do what is asked, on purpose: take an answer, tick, sign off; else go to the next ski."""
        state, view = self.state, self.state.view
        again, self._last_yes = time - self._last_yes < BURST_WINDOW_S, time
        if again:
            return  # a key held down: one press is one tick
        answered, self._answered = self._answered, False
        if self.in_burst(time):
            self.say("a caliper was sending just now: press + again on purpose", "warn")
        elif state.question is not None and view is not None:
            placing = state.question.placings[state.offered]
            keep = self._keep_target if view.stage == "target" else self._keep_typed
            self._answered = self._try(lambda: keep(placing))
        elif state.hands_on and view is not None and view.checklist:
            self._answered = self._try(self._tick)
        elif state.hands_on and view is not None and view.stage == "sign-off":
            self._answered = self._try(self._sign_off)
        elif answered:  # one + too many would put the next reading to another ski
            self.say("nothing more to answer: + once more goes to the next ski")
        else:
            self.step_queue(1)

    def _keep_typed(self, placing: Placing) -> None:
        self._keep_reading(placing, "typed")

    def no(self) -> None:
        """Offer the next answer, or go to the ski before."""
        question = self.state.question
        if question is not None:
            self._set(offered=(self.state.offered + 1) % len(question.placings))
        else:
            self.step_queue(-1)

    def _tick(self) -> None:
        view = self.state.view
        assert view is not None
        item = view.check_due
        assert item is not None
        self._show(self.shop.tick(view, item.key), f"ticked: {item.words}")

    def _sign_off(self) -> None:
        view = self.state.view
        assert view is not None
        if not self.state.who:
            raise InputError("initials", "(none)", "initials first: key i")
        if view.rules.second_eyes and not view.progress.eyes:
            self.asks("second_eyes")
            return
        self._show(self.shop.sign_off(view, self.state.who), f"signed off by {self.state.who}")

    def _next_step(self) -> None:
        """Do what the next-step line says."""
        view = self.state.view
        assert view is not None
        stage = view.stage
        if stage == "sign-off" and not self.state.who:
            self.asks("initials")
        elif stage in ("waiting", "received check", "final check", "sign-off"):
            self._set(hands_on=True, message="", side=None)
        elif stage in ("as received", "measuring"):
            line = self.state.line
            self.say(f"type the reading due: {line.method.name if line else ''}", "warn")
        elif stage == "studs":
            self._show(self.shop.seat_studs(view), "studs touch the blade where it stands")
        elif stage == "target":
            self._accept_target(view)
        elif stage == "turning":
            self._turn(view)
        elif stage == "within":
            self._show(self.shop.accept(view), "settings accepted")
        elif stage == "wing":
            self.say("type the wing's angle in degrees, then Enter", "warn")
        elif stage == "set aside":
            self._show(self.shop.take_up(view), "taken up again where it was left")
        else:
            self.next_unfinished()

    def _accept_target(self, view: JobView) -> None:
        if view.offers_last:
            new = aim_at_last(self.shop, view)
            self._show(*self._aimed(new, "the last setting is the target now: Enter accepts it"))
        elif not view.progress.targets:
            change = CHANGE_SUCH_AS[self.state.unit]
            self.say(f"type the target: a value, or a change such as {change}", "warn")
        else:
            self._show(self.shop.accept_target(view), "target accepted")

    def _turn(self, view: JobView) -> None:
        if view.plan is not None and not any(t.turns for t in view.plan.turns):
            self.say(view.no_turn_words, "warn")
            return
        before = view.progress.pass_number
        new = self.shop.step_done(view)
        done = "turns made and kept: measure again" if new.progress.pass_number > before else ""
        self._show(new, done)
