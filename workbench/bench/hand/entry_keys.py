"""What keys do to the ski in hand: they become use cases, and every outcome a new state.

Knows no widget, so that the whole walk of a ski can be tried without a screen. A caliper's burst
(digits and Enter, faster than any hand) is a reading or is held, never an answer.
"""

from __future__ import annotations

from dataclasses import replace
from typing import assert_never

from workbench.bench.bases.bursts import (
    BURST_GAP_S,
    BURST_WINDOW_S,
    ENTRY_MORE,
    ENTRY_START,
    LONGEST_ENTRY,
)
from workbench.bench.draw.text import Tone
from workbench.bench.hand.acts import aimed
from workbench.bench.hand.answers import (
    Answer,
    Question,
    Waiting,
    doubt_of,
    is_whole_change,
    kept_words,
    reading_meant,
    readings_fitted,
    target_meant,
)
from workbench.bench.hand.hands import ANSWERS, Hands, noted_words
from workbench.errors import InputError
from workbench.measure.display import length_text
from workbench.records.store import rows
from workbench.work.job.aim_last import aim_at_last
from workbench.work.job.entry import (
    CHANGE_SIGNS,
    Typed,
    kept_change,
)
from workbench.work.job.job_view import JobView
from workbench.work.job_text.stage_words import sign_off_due
from workbench.work.job_text.tasks import READS_AT, TASKS, StageTask
from workbench.work.job_text.view_words import act_due, no_turn_words, target_warning
from workbench.work.roster.calipers import held_today
from workbench.work.trust.job_reading import Line
from workbench.work.trust.wing_setup import kept_wing_words

STAYS = "+0"
"""The change of a reading that stays where it is."""

PLACED = "taken as a reading"
"""Why the note of what waited is struck out: it has its place."""


class EntryKeys:
    """Takes the keys: an entry, Enter behind it, and + or - on purpose."""

    def __init__(self, hands: Hands) -> None:
        self.hands, self.shop = hands, hands.shop
        self._last_burst = self._last_enter = self._last_yes = float("-inf")

    # -- keys ------------------------------------------------------------------------------------

    @property
    def begins_by_sign(self) -> bool:
        """Whether a sign begins a number now; one + too many behind an answer begins no reading."""
        state = self.hands.state
        if state.view is None or state.question is not None:
            return False
        stage = state.view.stage
        return stage == "target" or (stage in READS_AT and not self.hands.answered)

    def takes(self, char: str) -> bool:
        """Whether a character belongs to an entry now."""
        return char in (ENTRY_MORE if self.hands.state.mending else ENTRY_START)

    def type(self, char: str, time: float) -> None:
        """Add a character to the entry in progress, or start one."""
        hands = self.hands
        if char in CHANGE_SIGNS and self._is_whole_change(time):
            self._entered("typed")  # the sign of the next change: that one needs no Enter
            if hands.state.entry:  # it is asked about or refused, and the sign answers nothing
                return
        entry = hands.state.entry
        if entry and entry == hands.refused and hands.state.question is None:
            hands.refused = ""
            if char in ENTRY_START:  # another number: the refused one is not lost
                if not hands.keep_note(entry):
                    return
                hands.noted, entry = noted_words(entry), ""
        if hands.state.question is not None:
            if char not in (*ENTRY_START, *CHANGE_SIGNS):
                hands.say(f"'{char}' starts no number: {ANSWERS}", "warn")
                return
            hands.put_by = hands.state.question
            entry = ""
        elif hands.pace.pause(time) > BURST_GAP_S and not hands.note_by():  # a hand's, no burst's
            return
        if len(entry) >= LONGEST_ENTRY:
            hands.say(
                f"an entry has at most {LONGEST_ENTRY} characters: Enter, or Backspace", "warn"
            )
            return
        if not entry:
            hands.pace.clear()
        hands.pace.add(time)
        self._feed(entry + char)

    def _is_whole_change(self, time: float) -> bool:
        """Whether a hand typed a change of the target marked, to which a sign adds nothing."""
        state, typed = self.hands.state, self.hands.state.entry
        if state.view is None or state.view.stage != "target" or state.marked is None:
            return False
        if (
            state.question is not None
            or self.hands.put_by is not None
            or typed == self.hands.refused
        ):
            return False
        return is_whole_change(typed) and not self.hands.pace.is_burst(time)

    def rub_out(self) -> None:
        """Take the last character of the entry back."""
        self.hands.refused = ""
        if self.hands.state.question is not None:
            self.hands.change(question=None, message="")
        elif len(self.hands.state.entry) == 1 and self.hands.put_by is not None:
            self._take_up_by()
        elif self.hands.state.entry:
            self._feed(self.hands.state.entry[:-1])
            self._place_waiting()

    def _feed(self, entry: str) -> None:
        """Set the entry in progress and what it would be taken as, so that both can be seen."""
        tone: Tone = "warn" if self.hands.noted else "say"
        told = {"message": self.hands.noted, "tone": tone}
        self.hands.change(entry=entry, question=None, **told, **self.hands.state.understood(entry))

    def escape(self) -> None:
        """Drop the entry in progress, or what was begun."""
        self.hands.refused = ""
        if self.hands.put_by is not None:
            self._take_up_by()
        elif self.hands.state.question is not None or self.hands.state.entry:
            self.hands.noted = ""
            self.hands.change(entry="", question=None, message="entry dropped")
            self._place_waiting()
        else:
            self.hands.change(hands_on=False, selected=None, message="")

    def in_burst(self, time: float) -> bool:
        """Whether a caliper's burst has only just passed."""
        return time - self._last_burst < BURST_WINDOW_S

    def _how(self, time: float) -> rows.How:
        if not self.hands.pace.is_burst(time):
            return "typed"
        self._last_burst = time
        return "gauge"

    def ignore_enter(self, time: float) -> None:
        """Take an Enter held down while a screen closed for its echo, not for the next step."""
        self._last_enter = time

    def enter(self, time: float) -> None:
        """Do the next step, or take the entry in progress."""
        hands = self.hands
        second = time - self._last_enter < BURST_WINDOW_S
        empty_second = second and not hands.state.entry
        self._last_enter = time
        if second and hands.refused:  # the LF of a CR LF takes no entry that its CR was refused for
            return
        hands.answered, hands.refused = False, ""
        view = hands.state.view
        if view is None and not (hands.state.entry or empty_second):
            hands.asks("add_ski")
        elif view is None:
            hands.say("no ski in hand: Esc cancels, then Enter adds a ski", "warn")
        elif hands.state.question is not None:
            hands.say(f"{hands.state.question.question} {ANSWERS}", "warn")
        elif not empty_second and hands.changed_just_now():
            return
        elif hands.state.entry:
            self._entered(self._how(time))
        elif not empty_second and not self.in_burst(time):
            hands.attempt(lambda: self._next_step(view))

    def _entered(self, how: rows.How) -> None:
        """Take the entry that Enter completes; while a question was put by for it, a burst waits
        and a hand's number takes the question's place."""
        entry = self.hands.state.entry
        if self.hands.put_by is not None and how == "gauge":
            self._take_up_by()
            self._wait(entry)
            return
        if self.hands.put_by is not None and not self.hands.note_by():
            return
        if entry in CHANGE_SIGNS:
            self.hands.select(1 if entry == "+" else -1, entry="")
        elif not self.hands.attempt(lambda: self._take_entry(how)):
            self.hands.alarms()

    def _take_entry(self, how: rows.How) -> None:
        state, view = self.hands.state, self.hands.state.view
        assert view is not None
        task = TASKS[view.stage]
        if task.asks in ("angle", "targets") and how == "gauge":
            what = "angle" if task.asks == "angle" else "target"
            self._take_as_note(f"'{state.entry}' off a caliper is no {what}: kept as a note")
        elif task.asks == "angle":
            new = task.act(self.shop, view, state.entry)
            self._went_on(task, new, f"wing angle kept: {kept_wing_words(new.facts)}")
        elif state.line is None or not (view.stage in READS_AT or view.reads_locked):
            self._take_as_note(f"no reading is due now: '{state.entry}' is kept as a note")
        else:
            text, unit = state.entry, state.unit
            meant = (
                target_meant(view, state.marked, text, unit)
                if view.stage == "target"
                else reading_meant(view, state.line_index, text, how, unit)
            )
            if isinstance(meant, Question):
                self._ask(meant)
            else:
                self._doubt_or_keep(view, meant, text, how)

    def _take_as_note(self, said: str) -> None:
        if self.hands.keep_note(self.hands.state.entry):
            self.hands.change(entry="")
            self.hands.say(said, "warn")
            self.hands.alarms()

    # -- readings and targets --------------------------------------------------------------------

    def _doubt_or_keep(self, view: JobView, answer: Answer, text: str, how: rows.How) -> None:
        """Keep what is understood, or ask about it where it cannot be right."""
        if doubt := doubt_of(view, answer, text, how, self.hands.state.unit):
            self._ask(doubt)
        else:
            self._keep(view, answer, text, how)

    def _keep(self, view: JobView, answer: Answer, text: str, how: rows.How) -> None:
        if view.stage == "target":
            self._keep_target(view, answer, text)
        else:
            self._keep_reading(view, answer, text, how)

    def _ask(self, question: Question) -> None:
        """Let a question stand over the entry that it is about."""
        self.hands.change(question=question, entry=question.text, offered=0)
        self.hands.alarms()

    def _keep_reading(self, view: JobView, answer: Answer, text: str, how: rows.How) -> None:
        at, placing, shown = answer.line, answer.placing, self.hands.state.unit
        typed = Typed(text, placing.unit, placing.mm, how)
        new, warning = self.shop.book.run(self._taken, view, view.lines[at], typed)
        told = kept_words(view, new, answer, text, shown)
        said = ". ".join(part for part in (told.doubtful, told.kept, warning) if part)
        self.hands.show(new, said, "warn" if told.doubtful or warning else "done")
        if told.to_strike:
            self.hands.change(doubted=at)
        if told.doubtful:
            self.hands.alarms()
        self._place_waiting()

    def _taken(self, view: JobView, line: Line, read: Typed) -> tuple[JobView, str]:
        """Keep a reading off the caliper in hand; return the job and what is to be said of that."""
        caliper, warning = held_today(self.shop)
        take = self.shop.take_locked if view.reads_locked else self.shop.take_reading
        off = replace(read, caliper_id=caliper.id if caliper is not None else None)
        return take(view, line, off), warning

    # -- what came off the caliper while a question was open ---------------------------------------

    def _place_waiting(self) -> None:
        """Let what waited go where it fits, in its order, until one has to be asked about."""
        while (state := self.hands.state).waiting and state.question is None and not state.entry:
            first, *rest = state.waiting
            self.hands.change(waiting=tuple(rest))
            view = self.hands.state.view
            if view is None or view.stage not in READS_AT or view.stage == "target":
                return  # the rest stay notes as well
            answers = readings_fitted(view, first.text, self.hands.state.unit)
            if not answers:
                told = "fits no reading that is due: it is kept as a note"
                self.hands.say(f"{self.hands.state.message}. '{first.text}' {told}", "warn")
                continue
            self.shop.book.strike(first.note_id, PLACED, self.shop.who)
            if len(answers) > 1:
                asked = "arrived meanwhile: which reading is it?"
                self._ask(Question(first.text, asked, answers, "gauge", settled=False))
            else:
                text, only = first.text, answers[0]
                at_hand = self.shop.view(view.job.id)
                self.hands.attempt(lambda: self._doubt_or_keep(at_hand, only, text, "gauge"))  # noqa: B023

    def _wait(self, text: str) -> None:
        """Let a reading off the caliper wait until the question is answered, kept as a note."""
        if not self.hands.keep_note(text):
            return
        view = self.hands.state.view
        assert view is not None
        kept = Waiting(text, view.facts[-1].id)
        self.hands.change(waiting=(*self.hands.state.waiting, kept))
        self.hands.alarms()
        self.hands.say(f"'{text}' arrived: it waits until this is answered. {ANSWERS}", "warn")

    def _take_up_by(self) -> None:
        """Let the question stand again that was put by."""
        asked, self.hands.put_by = self.hands.put_by, None
        if asked is not None:
            self.hands.change(question=asked, entry=asked.text, reads_as=asked.text)

    def _keep_target(self, view: JobView, answer: Answer, text: str) -> None:
        line, placing, unit = view.lines[answer.line], answer.placing, self.hands.state.unit
        if text.startswith(CHANGE_SIGNS):
            text = kept_change(line, text, placing, unit)
            new, told = self.shop.aim(view, line, text, unit), text
        else:
            new = self.shop.aim_at(view, line, Typed(text, placing.unit, placing.mm), "value")
            told = f"{placing.number} {placing.unit}"
        change = new.lines[answer.line].change_wanted
        warned = target_warning(new, self.hands.state.unit)
        glance = f", {change.glance}" if change is not None and not warned else ""
        tone: Tone = "warn" if change is not None and not change.clear else "done"
        said = f"target kept: {line.method.name} {told}{glance}"
        self._show_aimed(new, said, answer.line, tone)

    def _show_aimed(self, view: JobView, said: str, at: int, tone: Tone = "done") -> None:
        """Show a target and what warns of its turns, and mark the next; past the last the first
        not set, or none where all are."""
        self.hands.show(*aimed(view, said, self.hands.state.unit, tone))
        unset = (i for i, line in enumerate(view.lines) if line.target is None)
        self.hands.change(selected=at + 1 if at + 1 < len(view.lines) else next(unset, None))

    def _leave_target(self, view: JobView, at: int) -> None:
        """Let a reading stay: at its target where it has one, else where it is now."""
        line, unit = view.lines[at], self.hands.state.unit
        if line.target is None:
            view = self.shop.aim(view, line, STAYS, unit)
        aim_mm = view.lines[at].target_mm or 0.0
        stays = f"{line.method.quantity} stays at {length_text(aim_mm, unit)} {unit}"
        self._show_aimed(view, stays, at)

    # -- answers on purpose ------------------------------------------------------------------------

    def yes(self, time: float) -> None:
        """Do what is asked, on purpose: take an answer, tick, sign off."""
        hands, state, view = self.hands, self.hands.state, self.hands.state.view
        again, self._last_yes = time - self._last_yes < BURST_WINDOW_S, time
        if again:
            return  # a key held down: one press is one tick
        answered, hands.answered = hands.answered, False
        if self.in_burst(time):
            hands.say("a caliper was sending just now: press + again on purpose", "warn")
        elif hands.changed_just_now():
            return
        elif state.question is not None and view is not None:
            question, answer = state.question, state.question.placings[state.offered]
            kept = hands.attempt(lambda: self._answer(view, question, answer))
            hands.answered = kept or hands.answered
        elif state.hands_on and view is not None and view.checklist:
            hands.answered = hands.attempt(lambda: self._tick(view)) or hands.answered
        elif state.hands_on and view is not None and TASKS[view.stage].asks == "initials":
            hands.answered = hands.attempt(lambda: self._sign_off(view)) or hands.answered
        elif answered:  # one + too many begins no number
            hands.say("nothing more to answer")
        else:
            hands.say("nothing to answer with +; PgDn is the next ski")

    def _answer(self, view: JobView, question: Question, answer: Answer) -> None:
        """Take an answer; where it only said what was meant, the number is still looked at."""
        take = self._keep if question.settled else self._doubt_or_keep
        take(view, answer, question.text, question.how)

    def no(self) -> None:
        """Offer the next answer."""
        question = self.hands.state.question
        if question is not None:
            self.hands.change(offered=(self.hands.state.offered + 1) % len(question.placings))
        else:
            self.hands.say("nothing to answer with -; PgUp is the ski before")

    def _tick(self, view: JobView) -> None:
        item = view.check_due
        assert item is not None
        self.hands.show(self.shop.tick(view, item.key), f"ticked: {item.words}")

    def _sign_off(self, view: JobView) -> None:
        who = self.hands.state.who
        if not who:
            raise InputError("initials", "(none)", "initials first: key i")
        if sign_off_due(view) == "second eyes":
            self.hands.asks("second_eyes")
            return
        self.hands.show(self.shop.sign_off(view, who), f"signed off by {who}")

    def _next_step(self, view: JobView) -> None:
        """Do what the next-step line says."""
        task = TASKS[view.stage]
        match task.asks:
            case "initials" if not self.hands.state.who:
                self.hands.asks("initials")
            case "ticks" | "initials":
                self.hands.change(hands_on=True, message="", side=None)
            case "reading":
                line = self.hands.state.line
                self.hands.say(f"type the reading due: {line.method.name if line else ''}", "warn")
            case "angle":
                self.hands.say("type the wing's angle in degrees, then Enter", "warn")
            case "targets":
                self._go_on_at_target(view, task)
            case "turns":
                self._turn(view, task)
            case "nothing":
                self._went_on(task, task.act(self.shop, view, ""), task.done)
            case "next ski":
                self._next_ski(view)
            case _:
                assert_never(task.asks)

    def _went_on(self, task: StageTask, new: JobView, said: str) -> None:
        """Show what the act of a stage did; the check that it begins is begun."""
        self.hands.show(new, said)
        if task.begins_check:
            self.hands.change(hands_on=bool(new.checklist))

    def _next_ski(self, view: JobView) -> None:
        """Take the next ski that is not finished, its first check begun: Enter asked for it."""
        self.hands.next_unfinished()
        new = self.hands.state.view
        if new is not None and new.job.id != view.job.id and new.stage == "waiting":
            self.hands.change(hands_on=True)

    def _go_on_at_target(self, view: JobView, task: StageTask) -> None:
        """Take the setting offered, let the reading marked stay, or accept the targets."""
        at = self.hands.state.marked
        if view.offered_target and self.hands.state.selected is None:
            last = view.offered_target == "last"
            new = aim_at_last(self.shop, view) if last else self.shop.aim_at_baseline(view)
            what = "the setting it left with" if last else "the baseline"
            self.hands.show(*aimed(new, f"{what} is the target now", self.hands.state.unit))
        elif at is not None:
            self._leave_target(view, at)
        else:
            self.hands.show(task.act(self.shop, view, ""), task.done)

    def _turn(self, view: JobView, task: StageTask) -> None:
        if view.steps and not view.has_round:
            self.hands.say(no_turn_words(view), "warn")
            return
        before = view.progress.pass_number
        new = task.act(self.shop, view, "")
        if new.stage == "turning" and act_due(view).do == "seat" and act_due(new).do == "snug":
            self.hands.show(new)
            new = task.act(self.shop, new, "")  # told together: between them nothing is decided
        done = "turns made and kept: measure again" if new.progress.pass_number > before else ""
        self.hands.show(new, done)
