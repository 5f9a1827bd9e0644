"""What letters and the sheet do to the ski in hand: every one is a use case."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias

from workbench.bench.draw.text import Tone
from workbench.bench.hand.hands import ANSWERS, Hands
from workbench.measure.display import turn_text
from workbench.measure.units import Unit
from workbench.work.job.aim_last import aim_at_last, aim_before_last, aim_one_step_more
from workbench.work.job.job_view import JobView
from workbench.work.job.open_book import is_without_learned
from workbench.work.job.shop import ChangedError, Shop, initials_of
from workbench.work.job_text.view_words import target_warning
from workbench.work.order.round_records import MARK_WORDS, TurnAnswer, described
from workbench.work.trust.job_reading import Line

Did: TypeAlias = "tuple[JobView, str] | tuple[JobView, str, Tone]"
"""The job after an act, what is said of it, and in which tone where it is not done."""

AIMS: dict[str, tuple[Callable[[Shop, JobView], JobView], str]] = {
    "baseline": (Shop.aim_at_baseline, "baseline taken as the target"),
    "last_setting": (aim_at_last, "last setting taken as the target"),
    "one_step_more": (
        aim_one_step_more, "the last change once more is the target now, wing included"
    ),
    "undo_change": (
        aim_before_last, "the setting before the last change is the target now, wing included"
    ),
}  # fmt: skip
"""The settings that an action makes the target, and what is said of it."""

FINEST = (1.0, 0.5, 0.25, 0.125, 0.0625, 0.0)
"""The finest turns that one goes round through; 0 is exact."""


def aimed(view: JobView, said: str, unit: Unit, tone: Tone = "done") -> Did:
    """Return a job with another target, what is said of it, and what warns of its turns."""
    warning = target_warning(view, unit)
    return (view, f"{said}; {warning}", "warn") if warning else (view, said, tone)


class Acts:
    """Does what is asked for by name, and says what was done."""

    def __init__(self, hands: Hands) -> None:
        self.hands, self.shop = hands, hands.shop

    def take_back(self) -> None:
        """Take the last entry back: it is struck out and stays readable; not at a question."""
        if self.hands.state.question is not None:
            self.hands.say(f"a question is open, nothing was taken back: {ANSWERS}", "warn")
        else:
            self.hands.attempt(self._take_back)

    def _take_back(self) -> None:
        view = self.hands.state.view
        if view is None or self.hands.changed_just_now():
            return
        if self.shop.turn_to_take_back(view) is not None:
            self.hands.asks("turn_back")
            return
        new, fact = self.shop.take_back(view)
        self.hands.did(new, f"taken back: {described(fact)}" if fact else "nothing to take back")

    def take_back_turn(self, turn: TurnAnswer) -> None:
        """Take the record of a turn back, and keep what became of the stud."""

        def taken_back(view: JobView) -> Did:
            new, fact = self.shop.take_back(view, turn)
            assert fact is not None
            return new, f"taken back: {described(fact)}; {MARK_WORDS[turn]}"

        self._job(taken_back)

    def aim(self, action: str) -> None:
        """Make a setting of :data:`AIMS` the target; the wing is aimed with a change."""
        act, said = AIMS[action]
        if self.hands.state.view is None:
            self.hands.say("no ski in hand", "warn")
        self._job(lambda v: aimed(act(self.shop, v), said, self.hands.state.unit))

    def retarget(self) -> None:
        """Go back to the target, to change it."""
        said = "target open again: Enter leaves one as it is"
        self._job(lambda v: (self.shop.reopen_target(v), said))
        if self.hands.state.view is not None and self.hands.state.view.stage == "target":
            self.hands.change(selected=0)

    def keep_as_is(self) -> None:
        """Accept readings as good enough: outside tolerance, or with fewer repeats than wanted."""

        def kept(view: JobView) -> Did:
            if view.may_go_on:
                return self.shop.enough(view), "going on with fewer repeats"
            return self.shop.accept(view), "kept as it is"

        self._job(kept)

    def second_eyes(self, initials: str) -> None:
        """Keep the initials of who else looked; the sign-off stays to be done."""
        said = f"{initials.strip()} looked too: now + signs off"
        self._job(lambda v: (self.shop.second_eyes(v, initials), said), True)

    def finer(self) -> None:
        """Go to the next finer turn, round and round."""
        view = self.hands.state.view
        if view is None:
            return
        later = [f for f in FINEST if f < view.finest_turn] or [FINEST[0]]
        words = f"finest turn {turn_text(later[0])}" if later[0] else "exact turns"
        self._job(lambda v: (self.shop.set_finest(v, later[0]), words))

    def settled(self) -> None:
        """Keep that the studs were settled before the first reading."""
        self._job(lambda v: (self.shop.settle(v), "settled: measure with the clamp bolts snug"))

    def without_learned(self) -> None:
        """Go by the plain geometry in this job, or again by what was learnt."""
        view = self.hands.state.view
        if view is None:
            return
        if not view.rules.learns_at("~"):
            self.hands.say("the setting learning is off: turns are the plain geometry's", "warn")
            return
        without = not is_without_learned(view.facts)
        words = "without what was learned" if without else "by what was learned"
        self._job(lambda v: (self.shop.without_learned(v, without), f"turns {words}"))

    def set_aside(self, reason: str) -> None:
        """Put the ski aside with a reason."""
        self._job(lambda v: (self.shop.set_aside(v, reason), "set aside"), True)

    def write_note(self, text: str) -> None:
        """Keep a note to the job."""
        self._job(lambda v: (self.shop.note(v, "note", text), "note kept"), True)

    def strike_reading(
        self, reason: str, reading_id: str | None = None, line: Line | None = None
    ) -> None:
        """Strike out a repeat of a reading (the chosen one's last if none is named): why."""
        line = line or self.hands.state.line
        if line is not None:
            said = f"struck out: {line.method.name}"
            strike = self.shop.strike_reading
            self._job(lambda v: (strike(v, line, reason, reading_id), said), True)

    def set_who(self, initials: str) -> None:
        """Remember whose hands these are; an InputError where no sign-off would take them."""
        self.shop.who = initials_of(initials)
        self.shop.remember("who", self.shop.who)
        said = f"entries are now kept under {self.shop.who}"
        self.hands.change(who=self.shop.who, message=said, tone="done")

    def _job(self, act: Callable[[JobView], Did], raises: bool = False) -> None:
        view = self.hands.state.view
        if view is None:
            return
        if raises:
            try:
                self.hands.did(*act(view))
            except ChangedError as why:
                self.hands.show_anew(why)
                raise
        elif not self.hands.changed_just_now():
            self.hands.attempt(lambda: self.hands.did(*act(view)))
