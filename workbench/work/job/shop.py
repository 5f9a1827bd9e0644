"""The use cases of a day at the bench: each keeps what the tech did and shows the result.

Every method that has returned has kept what it was given. Bench and command line both work through
this; neither touches the book itself.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TypeVar

from workbench.errors import InputError
from workbench.fin.plan.plan import Step
from workbench.fin.wing import angle_of
from workbench.measure.lengths import check_finest, parse_length
from workbench.measure.units import Unit
from workbench.records.book import whole
from workbench.records.store import rows
from workbench.records.store.database import UnknownRowError
from workbench.work.job.entry import Typed, check_reading, check_target, target_name
from workbench.work.job.job_view import JobView
from workbench.work.job.open_book import WITHOUT_LEARNED, OpenBook, what_came_in
from workbench.work.job.stages import Event, check_can
from workbench.work.order.round_records import (
    SETTLED,
    TAKEN_BACK,
    TURN_ANSWERS,
    WING_AIM,
    TurnAnswer,
    parts_text,
    turn_in,
)
from workbench.work.text.words import error_words
from workbench.work.trust.job_reading import Line
from workbench.work.trust.shop_policy import default_finest
from workbench.work.trust.wing_setup import hold_number, wing_setup

_T = TypeVar("_T")


class ChangedError(InputError):
    """Something of a ski was added since the view of it was read that an act goes by.

    ``now`` is the job as the book has it, to be shown anew; None where the book no longer has it.
    """

    def __init__(self, view: JobView, now: JobView | None, what: str) -> None:
        super().__init__(view.ski.name, what, "look at it again; nothing was kept of this")
        self.now = now

    def __str__(self) -> str:
        return f"{self.field}: {self.value}: {self.accepted}"


class Shop(OpenBook):
    """A book open for one day's work by one pair of hands: what they do.

    Every method that is given a view writes by :meth:`act`, notes alone excepted.
    """

    @whole
    def act(self, view: JobView, event: Event | None, write: Callable[[JobView], _T]) -> _T:
        """Let ``write`` keep something about a ski by what was seen of it, in one transaction.

        It is called with the job as the book has it then. ``event`` is what has to be allowed; None
        is always.

        Raises:
            ChangedError: something of the ski was added since the view was read.
            NotNowError: not at this stage.
            MidPassError: a stud was turned, and the round is not yet kept.
        """
        now = self._as_seen(view)
        if event is not None:
            check_can(now.progress, event)
        return write(now)

    def keep(
        self, view: JobView, event: Event | None, write: Callable[[JobView], object]
    ) -> JobView:
        """Keep something about a ski as :meth:`act` does; return the job as it is then."""
        return self.book.run(self._keep, view, event, write)

    def _keep(
        self, view: JobView, event: Event | None, write: Callable[[JobView], object]
    ) -> JobView:
        self.act(view, event, write)
        return self.view(view.job.id)

    def _as_seen(self, view: JobView) -> JobView:
        """Return the job by the rules of now; raise where more of it changed than rules."""
        if self.seen_of(view.ski) == view.seen and not self.guarded:
            return view  # rows are only ever added: what it was read from is what there is
        try:
            now = self._view(view.job.id)
        except UnknownRowError:
            what = "another book was put in the place of this one, which does not have this job"
            raise ChangedError(view, None, what) from None
        same = (now.seen.facts, now.seen.newest) == (view.seen.facts, view.seen.newest)
        if same and _shows(now) == _shows(view):
            return now
        raise ChangedError(view, now, what_came_in(view, now, self.book))

    def _mark(
        self, view: JobView, event: Event | None, kind: str, number: int | None = None,
        text: str = "",
    ) -> JobView:  # fmt: skip
        job, who = view.job.id, self.who
        return self.keep(
            view, event, lambda _: self.book.add_mark(job, who, kind, number=number, text=text)
        )

    def tick(self, view: JobView, item: str) -> JobView:
        """Tick one item of the checklist that is due; the clamp bolts only after the rest."""
        event: Event = "tick final" if view.is_final else "tick received"
        return self.keep(view, event, partial(self._tick, item))

    def _tick(self, item: str, now: JobView) -> None:
        listed: rows.Checklist = "final" if now.is_final else "received"
        due = now.check_due
        if due is None or due.key != item:
            raise InputError("check", item, f"'{due.key if due is not None else 'none'}' next")
        self.book.add_fact(
            now.job.id, self.who, rows.Tick(checklist=listed, item=item, text=due.words)
        )

    def take_reading(self, view: JobView, line: Line, read: Typed) -> JobView:
        """Keep a reading: the one that is due, or a repeat of one already taken in this round."""

        def write(now: JobView) -> None:
            check_reading(line, read.text, read.mm, read.unit)
            taken = rows.Reading(
                method_id=line.method_id,
                pass_number=now.progress.pass_number,
                text=read.text,
                unit=read.unit,
                mm=read.mm,
                caliper_id=read.caliper_id,
                how=read.how,
                temperature_id=_temperature_now(now),
            )
            self.book.add_fact(now.job.id, self.who, taken)

        return self.keep(view, "read", write)

    def take_locked(self, view: JobView, line: Line, read: Typed) -> JobView:
        """Keep a reading with the clamp bolts tight for good; the final check before it counts."""

        def write(now: JobView) -> None:
            check_reading(line, read.text, read.mm, read.unit)
            locked = rows.LockedReading(
                method_id=line.method_id, text=read.text, unit=read.unit, mm=read.mm,
                caliper_id=read.caliper_id, how=read.how, temperature_id=_temperature_now(now),
            )  # fmt: skip
            self.book.add_fact(now.job.id, self.who, locked)

        return self.keep(view, "read locked", write)

    def enough(self, view: JobView) -> JobView:
        """Go on with fewer repeats than the shop wants; at least one of each reading."""

        def write(now: JobView) -> None:
            if not now.may_go_on:
                raise InputError("repeats", "not yet", "at least one of each reading")
            number = now.progress.pass_number
            self.book.add_mark(now.job.id, self.who, "enough", number=number)

        return self.keep(view, "enough", write)

    def seat_studs(self, view: JobView) -> JobView:
        """Keep that all three studs were brought up to touch the blade."""
        return self._mark(view, "seat", "seated")

    def aim(self, view: JobView, line: Line, text: str, unit: Unit) -> JobView:
        """Keep a target: a length, or with a sign a change from the reading of now.

        Raises:
            InputError: not a length, or a target that is not positive.
        """
        length = parse_length(text, unit, target_name(line))
        kind: rows.TargetKind = "value"
        mm = length.mm
        if length.signed:
            if line.now_mm is None:
                raise InputError(target_name(line), text, "a value: nothing is read yet")
            kind, mm = "change", line.now_mm + length.mm
        return self.aim_at(view, line, Typed(text, length.unit, mm), kind)

    def aim_at(
        self,
        view: JobView,
        line: Line,
        aim: Typed,
        kind: rows.TargetKind,
        tolerance_mm: float | None = None,
    ) -> JobView:
        """Keep a target whose value in mm is already understood."""
        wide_mm = line.tolerance_mm if tolerance_mm is None else tolerance_mm

        def write(now: JobView) -> None:
            check_target(line, aim.text, aim.mm, aim.unit)
            target = rows.Target(
                method_id=line.method_id, text=aim.text, unit=aim.unit, kind=kind, mm=aim.mm,
                tolerance_mm=wide_mm,
            )  # fmt: skip
            self.book.add_fact(now.job.id, self.who, target)

        return self.keep(view, "aim", write)

    def aim_at_baseline(self, view: JobView, baseline: rows.Baseline | None = None) -> JobView:
        """Make a baseline the target, all of its numbers: the ski's own where none is given."""

        def aim(now: JobView) -> JobView:
            wanted = baseline or now.baseline
            if wanted is None:
                raise InputError("baseline", "(none)", "a ski that has a baseline")
            by_name = {line.method.name: line for line in now.lines}
            known = [e for e in wanted.entries if e.method_name in by_name]
            if not known:
                raise InputError("baseline", wanted.name, "numbers by this ski's own methods")
            for e in known:
                line = by_name[e.method_name]
                aim = Typed(e.text, e.unit, e.mm)
                now = self.aim_at(now, line, aim, "baseline", e.tolerance_mm)
            return now

        return self.act(view, "aim", aim)

    def aim_wing(self, view: JobView, angle_deg: float, hold: rows.WingHold = "") -> JobView:
        """Keep the wing's angle (degrees) wanted in this job, and the hold that it is read by.

        Raises:
            InputError: no wing is at such an angle.
        """
        text = f"{angle_of(f'{angle_deg:g}'):g}"
        return self._mark(view, "aim", WING_AIM, hold_number(hold), text)

    def accept_target(self, view: JobView) -> JobView:
        """Go on with the targets as they stand; readings without one are held where they were.

        Raises:
            InputError: no target yet.
            OutOfReachError: the blade or a stud cannot get there.
        """

        def write(now: JobView) -> None:
            if not now.progress.targets:
                raise InputError("target", "(none)", "a target for at least one reading")
            if now.unreachable is not None:
                raise now.unreachable
            self.book.add_mark(now.job.id, self.who, "aimed")

        return self.keep(view, "accept target", write)

    def reopen_target(self, view: JobView) -> JobView:
        """Open the target again, to change it; the turns made so far stay as they are."""
        return self._mark(view, "aim", "reaim")

    def step_done(self, view: JobView) -> JobView:
        """Keep that the next act of the round is done; the last before measuring closes it."""
        return self.keep(view, "step", self._step)

    def _step(self, now: JobView) -> None:
        if now.unreachable is not None:
            raise now.unreachable
        if not now.steps:
            why = error_words(now.why, now.ski.unit) if now.why is not None else "(none)"
            raise InputError("turns", why, "readings and a target that fix them")
        acts = [s for s in now.steps if s.do != "measure"]
        at = now.progress
        if at.step + 1 < len(acts):
            number = at.step + 1
            parts = parts_text(self.book, now.ski) if number == 1 else ""
            text = parts or _did_text(acts[at.step])
            self.book.add_mark(now.job.id, self.who, "step", number=number, text=text)
            return
        told = now.plan.turns if now.plan is not None else ()  # by hand nobody writes them down
        turns = [rows.Turn(t.stud.name, t.exact, t.turns) for t in told]
        self.book.add_fact(
            now.job.id,
            self.who,
            rows.PassRow(number=at.next_pass, turns=tuple(turns), finest_turn=now.finest_turn),
        )

    def accept(self, view: JobView) -> JobView:
        """Go on with the readings as they stand: within tolerance, or taken as good enough."""
        return self._mark(view, "accept", "accepted", text=view.stage)

    def set_wing(
        self, view: JobView, text: str, hold: rows.WingHold | None = None, gauge: str | None = None
    ) -> JobView:
        """Keep the wing's angle in degrees, with the hold and the gauge of that angle.

        ``hold`` and ``gauge`` are given where another was used; the hold is else that of the angle
        wanted, or the shop's.
        """

        def write(now: JobView) -> None:
            angle, setup = angle_of(text), wing_setup(self.book)
            lay = now.wing_wanted_hold or setup.kept_hold if hold is None else hold
            used = setup.gauge_named(angle) if gauge is None else gauge
            self.book.add_fact(
                now.job.id,
                self.who,
                rows.WingSetting(text=text, angle_deg=angle, hold=lay, gauge=used),
            )

        return self.keep(view, "set wing", write)

    def second_eyes(self, view: JobView, who: str) -> JobView:
        """Keep that another pair of eyes looked at the ski after its final check."""
        initials = initials_of(who)

        def write(now: JobView) -> None:
            check_other_eyes(initials, self.who)
            self.book.add_mark(now.job.id, self.who, "second_eyes", text=initials)

        return self.keep(view, "second eyes", write)

    def sign_off(self, view: JobView, who: str) -> JobView:
        """Release the ski under these initials, on today's queue; another's where the shop asks."""
        return self.keep(view, "sign off", partial(self._sign_off, initials_of(who)))

    def _sign_off(self, initials: str, now: JobView) -> None:
        if now.rules.after_lock and now.lock_due is not None:
            name = now.lines[now.lock_due].method.name
            raise InputError("after-lock check", f"no {name}", "each read with the bolts tight")
        if now.rules.second_eyes:
            check_other_eyes(now.progress.eyes, initials)
        job = self.book.job(now.job.id)
        if job.day < self.day:
            self.book.carry_job(job.id, self.day, who=initials)
        self.book.add_fact(job.id, initials, rows.SignOff(text=parts_text(self.book, now.ski)))

    def set_aside(self, view: JobView, reason: str) -> JobView:
        """Put the ski aside with a reason."""
        if not reason.strip():
            raise InputError("reason", reason, "a word or two on why")
        return self._mark(view, "set aside", "set_aside", text=reason)

    def take_up(self, view: JobView) -> JobView:
        """Take a ski up again where it was left."""
        return self._mark(view, "take up", "taken_up")

    def note(self, view: JobView, kind: str, text: str) -> JobView:
        """Keep a note or a reading that had no place.

        Nothing is concluded from it, and what was typed must not be lost: it is kept whatever came
        in since the view was read.
        """
        self.book.add_mark(view.job.id, self.who, kind, text=text)
        return self.view(view.job.id)

    def set_finest(self, view: JobView, turn: float) -> JobView:
        """Change the finest turn for this job; not while studs are being turned."""
        return self._mark(view, "finest", "finest", text=repr(check_finest(turn)))

    def settle(self, view: JobView) -> JobView:
        """Keep that each stud was turned out and in again before the job's first reading."""

        def write(now: JobView) -> None:
            if not now.offers_settling:
                accepted = "once, before a job's first reading, with the setting learning on"
                raise InputError("settled", "not now", accepted)
            self.book.add_mark(now.job.id, self.who, SETTLED)

        return self.keep(view, "read", write)

    def without_learned(self, view: JobView, without: bool) -> JobView:
        """Turn this job by the plain geometry, or again by what was learnt; not in a round."""
        return self._mark(view, "finest", WITHOUT_LEARNED, text="on" if without else "off")

    def last_entry(self, view: JobView) -> rows.AnyFact | None:
        """Return the entry that take back would strike out."""
        beside = ("held", *TURN_ANSWERS)
        live = [
            f
            for f in view.facts
            if f.struck is None and not (isinstance(f, rows.Mark) and f.kind in beside)
        ]
        return live[-1] if live else None

    def turn_to_take_back(self, view: JobView) -> rows.AnyFact | None:
        """Return the entry that take back would strike out, where it is the record of a turn."""
        last = self.last_entry(view)
        live = (f for f in view.facts if f.struck is None)
        return last if last is not None and turn_in(last, live) else None

    def take_back(
        self, view: JobView, turn: TurnAnswer | None = None
    ) -> tuple[JobView, rows.AnyFact | None]:
        """Strike out the job's last entry; it stays readable.

        Where that is the record of a turn, ``turn`` says what became of the stud, and is kept.

        Raises:
            InputError: the record of a turn, and nothing is said of the stud; or the other way.
            ChangedError: something of the ski was added since the view was read.
        """
        last = self.act(view, None, partial(self._take_back, turn))
        return self.view(view.job.id), last

    def _take_back(self, turn: TurnAnswer | None, now: JobView) -> rows.AnyFact | None:
        last, turned = self.last_entry(now), self.turn_to_take_back(now)
        if turned is not None and turn is None:
            accepted = "whether the stud was turned back by hand, or was never turned"
            raise InputError("take back", "the record of a turn", accepted)
        if turned is None and turn is not None:
            raise InputError(
                "take back", "no record of a turn", "the last entry, nothing more said"
            )
        if last is not None:
            self.book.strike(last.id, TAKEN_BACK, self.who)
        if last is not None and turn is not None:
            self.book.add_mark(now.job.id, self.who, turn, text=last.id)
        return last

    def strike_reading(
        self, view: JobView, line: Line, reason: str, reading_id: str | None = None
    ) -> JobView:
        """Strike out a repeat of this round, with a reason: the last where none is named.

        Raises:
            InputError: no such repeat in this round, or no reason.
        """

        def write(now: JobView) -> None:
            lines = [x for x in now.lines if x.method_id == line.method_id]
            repeats = [r.id for x in lines for r in x.latest]
            if not repeats or reading_id not in (None, *repeats):
                raise InputError("reading", line.method.name, "a reading taken in this round")
            self.book.strike(reading_id or repeats[-1], reason, self.who)

        return self.keep(view, "strike", write)

    def queue(
        self,
        ski_id: str,
        due: str = "",
        *,
        note: str = "",
        kind: rows.JobKind = "setting",
        finest_turn: float | None = None,
    ) -> rows.Job:
        """Put a ski at the end of today's queue.

        The finest turn is the shop's where it has settled one, else that of the ski's block.
        """
        if finest_turn is None:
            finest_turn = default_finest(self.book)
        how = rows.JobTerms(kind, note, finest_turn)
        return self.book.add_job(ski_id, self.day, due, who=self.who, how=how)

    def remember(self, name: str, value: str) -> None:
        """Keep a setting of the bench, such as the ski in hand."""
        self.book.set_setting(name, value, who=self.who)


def _temperature_now(view: JobView) -> str | None:
    """Return the id of the temperature in force."""
    return view.tools.now.id if view.tools.now is not None else None


def _shows(view: JobView) -> object:
    """What of a ski's sheet, blade and block an act goes by, and the turns that they ask for."""
    methods = [(line.method_id, line.method, line.tolerance_mm) for line in view.lines]
    turns = [(t.stud.name, t.turns) for t in view.plan.turns] if view.plan is not None else None
    return view.rig, view.ski.has_wing, methods, view.finest_turn, turns


def _did_text(step: Step) -> str:
    """Return a step of a round as its record keeps it; ``turn_in`` reads it."""
    if step.turn is None:
        return step.do
    return f"{step.do} {step.turn.stud.name} {step.turn.turns:+}"


def initials_of(text: str, field: str = "initials") -> str:
    """Return initials without the blanks around them.

    Raises:
        InputError: other than 1 to 12 characters, or characters that print nothing.
    """
    initials = text.strip()
    if not 1 <= len(initials) <= 12 or not initials.isprintable():
        raise InputError(field, text, "1 to 12 characters")
    return initials


def check_other_eyes(eyes: str, who: str) -> None:
    """Raise an InputError unless the second pair of eyes is there, and is not that of ``who``."""
    if not eyes or eyes.casefold() == who.strip().casefold():
        accepted = "the initials of somebody else, who looked at the ski too"
        raise InputError("second pair of eyes", eyes or "(none)", accepted)
