"""What the hands do: keys become use cases, and every outcome a new state.

Knows no widget, so that the whole walk of a ski can be tried without a screen. A caliper's burst
(digits and Enter, faster than any hand) is a reading or is held, never an answer.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial
from itertools import pairwise
from statistics import median

from workbench.bench.state import DRAWINGS, BenchState, Tone
from workbench.errors import BenchError, InputError
from workbench.measure.lengths import Placing, understand
from workbench.measure.units import Unit, other
from workbench.records import rows
from workbench.work.calipers import in_hand, standing_words
from workbench.work.entry_words import described
from workbench.work.jobs import JobView, Line
from workbench.work.last_time import aim_at_last
from workbench.work.marks import suspect_words
from workbench.work.shop import Shop
from workbench.work.wing_setup import wing_words
from workbench.work.words import error_words
from workbench.work.worth import doubtful_words

DIGITS = "0123456789.,"
ENTRY_START = DIGITS + "½¼¾⅛⅜⅝⅞"
ENTRY_MORE = ENTRY_START + "/ \"'+-−″”°mnichoutIMNCHOUTµ"
LONGEST_ENTRY = 40
GAUGE_GAP_S = 0.040
BURST_WINDOW_S = 0.15
FINEST = (1.0, 0.5, 0.25, 0.125, 0.0625, 0.0)


class Hands:
    """Holds the bench's state and changes it by what is done at the keyboard."""

    def __init__(self, shop: Shop, changed: Callable[[BenchState], None] | None = None) -> None:
        self.shop = shop
        self._changed = changed or (lambda state: None)
        self.asks: Callable[[str], None] = lambda action: None
        """Opens the screen of an action; set by who has screens."""
        self._times: list[float] = []
        self._last_burst = -1e9
        self._last_enter = -1e9
        self._last_yes = -1e9
        self._draft = ""
        settings = shop.book.settings()
        self.state = BenchState(roster=shop.roster(), day=shop.day)
        self.take_settings(settings)
        self._open_first(settings.get("job", ""), settings.get("draft", ""))

    # -- state -----------------------------------------------------------------------------------

    def _set(self, **changes: object) -> None:
        self.state = replace(self.state, **changes)  # type: ignore[arg-type]
        self._changed(self.state)

    def say(self, message: str, tone: Tone = "say") -> None:
        """Show a message until the next one."""
        self._set(message=message, tone=tone)

    def take_settings(self, settings: Mapping[str, str]) -> None:
        """Take over the settings that the bench itself shows."""
        unit: Unit = "mm" if settings.get("unit") == "mm" else "in"
        drawing = next((d for d in DRAWINGS if d == settings.get("drawing")), DRAWINGS[0])
        name = settings.get("shop", "")
        self._set(unit=unit, who=self.shop.who, shop_name=name, drawing=drawing, question=None)

    def _show(self, view: JobView, message: str = "", tone: Tone = "done") -> None:
        """Show a job's new view after something was kept; its row of the roster follows."""
        stage_changed = self.state.view is None or self.state.view.stage != view.stage
        roster = tuple(
            replace(line, stage=view.stage, pass_number=view.progress.pass_number)
            if line.job_id == view.job.id
            else line
            for line in self.state.roster
        )
        self._set(
            view=view, roster=roster, entry="", question=None, offered=0, selected=None,
            message=message, tone=tone,
            hands_on=self.state.hands_on and (not stage_changed or view.stage in (
                "received check", "sign-off") or view.begins_final),
            side=None if stage_changed else self.state.side,
        )  # fmt: skip
        self._times.clear()
        self._forget_draft()

    def _forget_draft(self) -> None:
        """What was kept must not come back as a draft, should the bench be killed."""
        if self._draft:
            self._draft = ""
            self.remember("draft", "")

    def remember(self, name: str, value: str) -> None:
        """Keep a setting of the bench; where the book cannot, say so."""
        self._try(lambda: self.shop.remember(name, value))

    def _open_first(self, job_id: str, draft: str) -> None:
        known = [line.job_id for line in self.state.roster]
        if not known:
            return
        if job_id not in known:
            job_id = next(
                (x.job_id for x in self.state.roster if x.stage not in ("signed off", "set aside")),
                known[0],
            )
        self._draft = draft
        self._try(lambda: self._set(view=self.shop.view(job_id), entry=draft))

    def open(self, job_id: str) -> None:
        """Take a ski of the roster in hand; an entry in progress is kept as a note, not lost."""
        self._hold_entry()
        view = self.shop.view(job_id)
        self._set(
            view=view, entry="", question=None, selected=None, hands_on=False, side=None, message=""
        )
        self.remember("job", job_id)

    def look_again(self) -> None:
        """Read roster and job again where another bench has written to the book."""
        self._try(self._look_again)

    def _look_again(self) -> None:
        state = self.state
        view = self.shop.view(state.view.job.id) if state.view is not None else None
        self._set(roster=self.shop.roster(), view=view)
        if view is None:
            self._open_first("", "")

    def leave(self) -> None:
        """Keep the ski in hand and the entry in progress, for the next time the bench opens."""
        self.remember("draft", self.state.entry)
        if self.state.view is not None:
            self.remember("job", self.state.view.job.id)

    def _try(self, act: Callable[[], object]) -> bool:
        try:
            act()
        except BenchError as why:
            self.say(error_words(why, self.state.unit), "warn")
            return False
        return True

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
        return char in (ENTRY_MORE if self.entering else ENTRY_START)

    def type(self, char: str, time: float) -> None:
        """Add a character to the entry in progress, or start one."""
        entry = self.state.entry
        if self.state.question is not None:
            self._hold(entry)
            entry = ""
        if len(entry) >= LONGEST_ENTRY:
            self.say(
                f"an entry has at most {LONGEST_ENTRY} characters: Enter, or Backspace", "warn"
            )
            return
        if not entry:
            self._times.clear()
        self._times.append(time)
        self._feed(entry + char)

    def rub_out(self) -> None:
        """Take the last character of the entry back."""
        if self.state.question is not None:
            self._set(question=None, message="")
        elif self.state.entry:
            self._feed(self.state.entry[:-1])

    def _feed(self, entry: str) -> None:
        """Set the entry in progress and what it would be taken as, so that both can be seen."""
        self._set(entry=entry, question=None, message="", reads_as=self._preview(entry))

    def _preview(self, entry: str) -> str:
        view, line = self.state.view, self.state.line
        if view is None or line is None or view.stage == "wing" or entry[:1] in ("", *"+-−"):
            return entry
        try:
            found = understand(entry, self.state.unit, line.usual_mm)
        except BenchError:
            return entry
        return f"{found.placings[0].number} {found.placings[0].unit}" if found.is_clear else entry

    def escape(self) -> None:
        """Drop the entry in progress, or what was begun."""
        if self.state.question is not None or self.state.entry:
            self._set(entry="", question=None, message="entry dropped")
        else:
            self._set(hands_on=False, selected=None, message="")

    def in_burst(self, time: float) -> bool:
        """Whether a caliper's burst has only just passed."""
        return time - self._last_burst < BURST_WINDOW_S

    def _how(self, time: float) -> rows.How:
        times = [*self._times, time]
        gaps = [b - a for a, b in pairwise(times)]
        fast = len(gaps) >= 3 and median(gaps) < GAUGE_GAP_S
        if fast:
            self._last_burst = time
        return "gauge" if fast else "typed"

    def ignore_enter(self, time: float) -> None:
        """Take an Enter held down while a screen closed for its echo, not for the next step."""
        self._last_enter = time

    def enter(self, time: float) -> None:
        """Do the next step, or take the entry in progress."""
        empty_second = time - self._last_enter < BURST_WINDOW_S and not self.state.entry
        self._last_enter = time
        if self.state.view is None:
            self.say("no ski in hand: / opens the sheet, n adds a ski", "warn")
        elif self.state.question is not None:
            self.say(f"{self.state.question.question} + takes it, Backspace goes back", "warn")
        elif self.state.entry:
            how = self._how(time)
            self._try(lambda: self._take_entry(how))
        elif not empty_second and not self.in_burst(time):
            self._try(self._next_step)

    def _take_entry(self, how: rows.How) -> None:
        state, view, line = self.state, self.state.view, self.state.line
        assert view is not None
        if view.stage == "wing":
            new = self.shop.set_wing(view, state.entry)
            self._show(new, f"wing angle kept: {wing_words(new.facts)}")
            return
        if line is None or view.stage not in (
            "as received",
            "measuring",
            "within",
            "target",
            "studs",
        ):
            self._hold(state.entry)
            self._set(entry="")
            self.say(f"no reading is due now: '{state.entry}' is kept as a note", "warn")
            return
        if view.stage == "target":
            self._take_target(state.entry)
            return
        found = understand(state.entry, state.unit, line.usual_mm, line.method.name)
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
        new = self.shop.take_reading(view, line, text, unit, placing.mm, how, caliper_id)
        now = new.lines[self.state.line_index]
        again = f", repeat {len(now.latest)}" if len(now.latest) > 1 else ""
        kept = f"kept: {line.method.name} {text} → {placing.number} {unit}{again}"
        told = view.since_left(line, placing.mm, self.state.unit)
        again_words = " ".join(suspect_words(new, self.state.unit)[:1])
        doubtful, warning = again_words or doubtful_words(now), standing_words(self.shop)
        said = [doubtful, f"{kept}; {told}" if told else kept, warning]
        tone: Tone = "warn" if doubtful or warning else "done"
        self._show(new, ". ".join(part for part in said if part), tone)

    def _take_target(self, text: str) -> None:
        view, line, unit = self.state.view, self.state.line, self.state.unit
        assert view is not None
        assert line is not None
        if text[0] in "+-−":
            self._show_target(self.shop.aim(view, line, text, unit), line, text)
            return
        found = understand(text, unit, line.usual_mm, f"target for {line.method.name}")
        if not found.is_clear:
            self._set(question=found, offered=0)
            return
        self._keep_target(found.placings[0])

    def _keep_target(self, placing: Placing) -> None:
        view, line, text = self.state.view, self.state.line, self.state.entry
        assert view is not None
        assert line is not None
        new = self.shop.aim_at(view, line, text, placing.unit, "value", placing.mm)
        self._show_target(new, line, f"{placing.number} {placing.unit}")

    def _show_target(self, new: JobView, line: Line, text: str) -> None:
        """Show a target kept, and whether the change it asks for stands clear."""
        change = next(x.change_wanted for x in new.lines if x.method_id == line.method_id)
        glance = f", {change.glance}" if change is not None else ""
        tone: Tone = "warn" if change is not None and not change.clear else "done"
        self._show(new, f"target kept: {line.method.name} {text}{glance}", tone)

    def yes(self, time: float) -> None:
        """Do what is asked, on purpose: take an answer, tick, sign off; else go to the next ski."""
        state, view = self.state, self.state.view
        again, self._last_yes = time - self._last_yes < BURST_WINDOW_S, time
        if again:
            return  # a key held down: one press is one tick
        if self.in_burst(time):
            self.say("a caliper was sending just now: press + again on purpose", "warn")
        elif state.question is not None and view is not None:
            placing = state.question.placings[state.offered]
            keep = self._keep_target if view.stage == "target" else self._keep_typed
            self._try(lambda: keep(placing))
        elif state.hands_on and view is not None and view.checklist:
            self._try(self._tick)
        elif state.hands_on and view is not None and view.stage == "sign-off":
            self._try(self._sign_off)
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
        if stage in ("waiting", "received check", "final check", "sign-off"):
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
            self._show(new, "the last setting is the target now: Enter accepts it")
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

    # -- commands --------------------------------------------------------------------------------

    def flip_unit(self) -> None:
        """Exchange inch and mm everywhere; what was typed keeps its own unit."""
        unit = other(self.state.unit)
        self._set(unit=unit, question=None)
        self.remember("unit", unit)

    def step_queue(self, by: int) -> None:
        """Take the next or the previous ski of the queue in hand."""
        roster = self.state.roster
        if not roster:
            self.say("the queue is empty: n adds a ski", "warn")
            return
        here = self.state.position
        at = 0 if here is None else (here + by) % len(roster)
        self._try(lambda: self.open(roster[at].job_id))

    def next_unfinished(self) -> None:
        """Take the next ski in hand that is neither signed off nor set aside."""
        roster, here = self.state.roster, self.state.position or 0
        for k in range(1, len(roster) + 1):
            line = roster[(here + k) % len(roster)]
            if line.stage not in ("signed off", "set aside"):
                self._try(partial(self.open, line.job_id))
                return
        self.say("every ski of the day is signed off or set aside", "done")

    def select(self, by: int) -> None:
        """Choose another reading or target by hand."""
        view = self.state.view
        if view is not None and view.lines and self.state.question is None:
            self._set(selected=(self.state.line_index + by) % len(view.lines))

    def take_back(self) -> None:
        """Take the last entry back: it is struck out and stays readable."""
        self._try(self._take_back)

    def _take_back(self) -> None:
        view = self.state.view
        if view is None:
            return
        new, fact = self.shop.take_back(view)
        self._show(
            new, f"taken back: {described(fact)}" if fact else "nothing to take back", "done"
        )

    def baseline(self) -> None:
        """Make the ski's baseline the target."""
        self._job(lambda v: (self.shop.aim_at_baseline(v), "baseline taken as the target"))

    def retarget(self) -> None:
        """Go back to the target, to change it."""
        self._job(
            lambda v: (self.shop.reopen_target(v), "target open again: type it, Enter accepts")
        )

    def keep_as_is(self) -> None:
        """Accept readings as good enough: outside tolerance, or with fewer repeats than wanted."""
        self._job(self._as_is)

    def _as_is(self, view: JobView) -> tuple[JobView, str]:
        if view.may_go_on:
            return self.shop.enough(view), "going on with fewer repeats"
        return self.shop.accept(view), "kept as it stands"

    def second_eyes(self, initials: str) -> None:
        """Keep the initials of who else looked; the sign-off stays to be done."""
        said = f"{initials.strip()} looked too: now + signs off"
        self._job(lambda v: (self.shop.second_eyes(v, initials), said), True)

    def last_setting(self) -> None:
        """Make what the ski was last set to the target."""
        self._job(lambda v: (aim_at_last(self.shop, v), "last setting taken as the target"))

    def finer(self) -> None:
        """Go to the next finer turn, round and round."""
        view = self.state.view
        if view is None:
            return
        later = [f for f in FINEST if f < view.finest_turn] or [FINEST[0]]
        from workbench.measure.display import turn_text

        words = f"finest turn {turn_text(later[0])}" if later[0] else "exact turns"
        self._job(lambda v: (self.shop.set_finest(v, later[0]), words))

    def set_aside(self, reason: str) -> None:
        """Put the ski aside with a reason."""
        self._job(lambda v: (self.shop.set_aside(v, reason), "set aside"), True)

    def write_note(self, text: str) -> None:
        """Keep a note to the job."""
        self._job(lambda v: (self.shop.note(v, "note", text), "note kept"), True)

    def strike_reading(self, reason: str, reading_id: str | None = None) -> None:
        """Strike out a repeat of the chosen reading, with its reason: the last if none is named."""
        line = self.state.line
        if line is not None:
            self._job(
                lambda v: (self.shop.strike_reading(v, line, reason, reading_id), "struck out"),
                True,
            )

    def set_who(self, initials: str) -> None:
        """Remember whose hands these are."""
        self.shop.who = initials.strip()
        self.shop.remember("who", self.shop.who)
        self._set(who=self.shop.who, message=f"entries are now kept under {self.shop.who}")

    def _job(self, act: Callable[[JobView], tuple[JobView, str]], raises: bool = False) -> None:
        view = self.state.view
        if view is None:
            return
        if raises:
            self._show(*act(view))
        else:
            self._try(lambda: self._show(*act(view)))

    def next_side(self) -> None:
        """Let the next panel stand at the side."""
        order = ("turns", "view", "roster")
        self._set(side=order[(order.index(self.state.shown_side) + 1) % 3])

    def next_drawing(self) -> None:
        """Draw with other signs: braille, blocks, ASCII."""
        at = DRAWINGS[(DRAWINGS.index(self.state.drawing) + 1) % len(DRAWINGS)]
        self._set(drawing=at, message=f"drawing with {at}")
        self.remember("drawing", at)

    # -- what came in without a place --------------------------------------------------------------

    def hold(self, text: str) -> None:
        """Keep what a caliper sent while something else was open; never an answer to it."""
        self._hold(text)
        self.say(f"'{text}' came in while this was open: kept as a note, not taken", "warn")

    def _hold_entry(self) -> None:
        if self.state.entry:
            self._hold(self.state.entry)

    def _hold(self, text: str) -> None:
        if self.state.view is not None and text:
            view = self.state.view
            self._try(lambda: self._set(view=self.shop.note(view, "held", text)))
