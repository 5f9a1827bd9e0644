"""The use cases of a day at the bench: each keeps what the tech did and shows the result.

Every method that has returned has kept what it was given. Bench and command line both work through
this; neither touches the book itself.
"""

from __future__ import annotations

from workbench.errors import InputError
from workbench.measure.lengths import parse_length
from workbench.measure.units import Unit
from workbench.records import rows
from workbench.work.jobs import TAKEN_BACK as TAKEN_BACK
from workbench.work.jobs import JobView, Line
from workbench.work.looking import OpenBook
from workbench.work.roster import RosterLine as RosterLine
from workbench.work.rules import default_finest
from workbench.work.stages import HELD, Event, check_can
from workbench.work.typed_numbers import check_reading, check_target, target_name
from workbench.work.versions import parts_text
from workbench.work.wing_setup import angle_of, wing_setup


class Shop(OpenBook):
    """A book open for one day's work by one pair of hands: what they do."""

    def tick(self, view: JobView, item: str) -> JobView:
        """Tick one item of the checklist that is due; the clamp bolts only after the rest."""
        listed: rows.Checklist = "final" if view.is_final else "received"
        self._check(view, "tick final" if listed == "final" else "tick received")
        open_items = [i for i in view.checklist if i.key not in view.progress.ticked]
        if not open_items or open_items[0].key != item:
            raise InputError("check", item, f"'{open_items[0].key if open_items else 'none'}' next")
        words = open_items[0].words
        self.book.add_tick(view.job.id, self.who, listed, item, words)
        return self.view(view.job.id)

    def take_reading(
        self,
        view: JobView,
        line: Line,
        text: str,
        unit: Unit,
        mm: float,
        how: rows.How = "typed",
        caliper_id: str | None = None,
    ) -> JobView:
        """Keep a reading: the one that is due, or a repeat of one already taken in this pass."""
        self._check(view, "read")
        check_reading(line, text, mm, unit)
        number = view.progress.pass_number
        now = view.tools.now
        at = now.id if now is not None else None
        taken = rows.Taken(line.method_id, number, text, unit, mm, caliper_id, how, at)
        self.book.add_reading(view.job.id, self.who, taken)
        return self.view(view.job.id)

    def take_locked(
        self,
        view: JobView,
        line: Line,
        text: str,
        unit: Unit,
        mm: float,
        how: rows.How = "typed",
        caliper_id: str | None = None,
    ) -> JobView:
        """Keep a reading with the clamp bolts tight for good; the final check before it stands."""
        self._check(view, "read locked")
        check_reading(line, text, mm, unit)
        now = view.tools.now
        self.book.add_locked_reading(
            view.job.id, self.who, method_id=line.method_id, text=text, unit=unit, mm=mm,
            caliper_id=caliper_id, how=how, temperature_id=now.id if now is not None else None,
        )  # fmt: skip
        return self.view(view.job.id)

    def enough(self, view: JobView) -> JobView:
        """Go on with fewer repeats than the shop wants; at least one of each reading."""
        self._check(view, "enough")
        if not view.may_go_on:
            raise InputError("repeats", "not yet", "at least one of each reading")
        number = view.progress.pass_number
        self.book.add_mark(view.job.id, self.who, "enough", number=number)
        return self.view(view.job.id)

    def seat_studs(self, view: JobView) -> JobView:
        """Keep that all three studs were brought up to touch the blade."""
        self._check(view, "seat")
        self.book.add_mark(view.job.id, self.who, "seated")
        return self.view(view.job.id)

    def aim(self, view: JobView, line: Line, text: str, unit: Unit) -> JobView:
        """Keep a target: a length, or with a sign a change from the reading of now.

        Raises:
            InputError: not a length, or a target that is not positive.
        """
        self._check(view, "aim")
        length = parse_length(text, unit, target_name(line))
        kind: rows.TargetKind = "value"
        mm = length.mm
        if length.signed:
            if line.now_mm is None:
                raise InputError(target_name(line), text, "a value: nothing is read yet")
            kind, mm = "change", line.now_mm + length.mm
        return self.aim_at(view, line, text, length.unit, kind, mm)

    def aim_at(
        self,
        view: JobView,
        line: Line,
        text: str,
        unit: Unit,
        kind: rows.TargetKind,
        mm: float,
        tolerance_mm: float | None = None,
    ) -> JobView:
        """Keep a target whose value in mm is already understood."""
        self._check(view, "aim")
        check_target(line, text, mm, unit)
        self.book.add_target(
            view.job.id, self.who, method_id=line.method_id, text=text, unit=unit, kind=kind, mm=mm,
            tolerance_mm=line.tolerance_mm if tolerance_mm is None else tolerance_mm,
        )  # fmt: skip
        return self.view(view.job.id)

    def aim_at_baseline(self, view: JobView, baseline: rows.Baseline | None = None) -> JobView:
        """Make a baseline the target: the ski's own where none is given."""
        self._check(view, "aim")
        baseline = baseline or view.baseline
        if baseline is None:
            raise InputError("baseline", "(none)", "a ski that has a baseline")
        by_name = {line.method.name: line for line in view.lines}
        known = [e for e in baseline.entries if e.method_name in by_name]
        if not known:
            raise InputError("baseline", baseline.name, "numbers by this ski's own methods")
        for e in known:
            line = by_name[e.method_name]
            view = self.aim_at(view, line, e.text, e.unit, "baseline", e.mm, e.tolerance_mm)
        return view

    def accept_target(self, view: JobView) -> JobView:
        """Go on with the targets as they stand; readings without one are held where they were.

        Raises:
            InputError: no target yet.
            OutOfReachError: the blade or a stud cannot get there.
        """
        self._check(view, "accept target")
        if not view.progress.targets:
            raise InputError("target", "(none)", "a target for at least one reading")
        if view.unreachable is not None:
            raise view.unreachable
        self.book.add_mark(view.job.id, self.who, "aimed")
        return self.view(view.job.id)

    def reopen_target(self, view: JobView) -> JobView:
        """Open the target again, to change it; the turns made so far stay as they are."""
        self._check(view, "aim")
        self.book.add_mark(view.job.id, self.who, "reaim")
        return self.view(view.job.id)

    def step_done(self, view: JobView) -> JobView:
        """Keep that the next act of the pass is done; the last before measuring closes the pass."""
        self._check(view, "step")
        if view.unreachable is not None:
            raise view.unreachable
        if view.plan is None:
            raise InputError(
                "turns", view.trouble or "(none)", "readings and a target that fix them"
            )
        acts = [s for s in view.plan.steps if s.do != "measure"]
        if view.progress.step + 1 < len(acts):
            number = view.progress.step + 1
            parts = parts_text(self.book, view.ski) if number == 1 else ""
            self.book.add_mark(view.job.id, self.who, "step", number=number, text=parts)
            return self.view(view.job.id)
        turns = [rows.Turn(t.stud.name, t.exact, t.turns) for t in view.plan.turns]
        number = view.progress.pass_number + 1
        self.book.add_pass(
            view.job.id, self.who, number=number, turns=turns, finest_turn=view.finest_turn
        )
        return self.view(view.job.id)

    def accept(self, view: JobView) -> JobView:
        """Go on with the readings as they stand: within tolerance, or taken as good enough."""
        self._check(view, "accept")
        self.book.add_mark(view.job.id, self.who, "accepted", text=view.stage)
        return self.view(view.job.id)

    def set_wing(
        self, view: JobView, text: str, hold: rows.WingHold | None = None, gauge: str | None = None
    ) -> JobView:
        """Keep the wing's angle in degrees, with the shop's hold and the gauge of that angle.

        ``hold`` and ``gauge`` are given where another was used.
        """
        self._check(view, "set wing")
        angle, setup = angle_of(text), wing_setup(self.book)
        hold = setup.kept_hold if hold is None else hold
        gauge = setup.gauge_named(angle) if gauge is None else gauge
        self.book.add_wing(view.job.id, self.who, text, angle, hold=hold, gauge=gauge)
        return self.view(view.job.id)

    def second_eyes(self, view: JobView, who: str) -> JobView:
        """Keep that another pair of eyes looked at the ski after its final check."""
        self._check(view, "second eyes")
        self._check_other(initials_of(who), self.who)
        self.book.add_mark(view.job.id, self.who, "second_eyes", text=initials_of(who))
        return self.view(view.job.id)

    @staticmethod
    def _check_other(eyes: str, who: str) -> None:
        if not eyes or eyes.casefold() == who.strip().casefold():
            accepted = "the initials of somebody else, who looked at the ski too"
            raise InputError("second pair of eyes", eyes or "(none)", accepted)

    def sign_off(self, view: JobView, who: str) -> JobView:
        """Release the ski under these initials, on today's queue; another's where the shop asks."""
        self._check(view, "sign off")
        initials = initials_of(who)
        if view.rules.after_lock and view.lock_due is not None:
            name = view.lines[view.lock_due].method.name
            raise InputError("after-lock check", f"no {name}", "each read with the bolts tight")
        if view.rules.second_eyes:
            self._check_other(view.progress.eyes, initials)
        self.book.batch(self._sign_off, view, initials)
        return self.view(view.job.id)

    def _sign_off(self, view: JobView, initials: str) -> None:
        job = view.job
        if job.day < self.day:
            self.book.carry_job(job.id, self.day, who=initials)
        self.book.add_sign_off(job.id, initials, parts_text(self.book, view.ski))

    def set_aside(self, view: JobView, reason: str) -> JobView:
        """Put the ski aside with a reason."""
        self._check(view, "set aside")
        if not reason.strip():
            raise InputError("reason", reason, "a word or two on why")
        self.book.add_mark(view.job.id, self.who, "set_aside", text=reason)
        return self.view(view.job.id)

    def take_up(self, view: JobView) -> JobView:
        """Take a ski up again where it was left."""
        self._check(view, "take up")
        self.book.add_mark(view.job.id, self.who, "taken_up")
        return self.view(view.job.id)

    def note(self, view: JobView, kind: str, text: str) -> JobView:
        """Keep a note or something that came in and had no place."""
        self.book.add_mark(view.job.id, self.who, kind, text=text)
        return self.view(view.job.id)

    def set_finest(self, view: JobView, turn: float) -> JobView:
        """Change the finest turn for this job; not while studs are being turned."""
        self._check(view, "finest")
        if not (turn == 0.0 or 1 / 64 <= turn <= 1.0):
            raise InputError("finest turn", turn, "0 (exact) or 1/64 to 1 turn")
        self.book.add_mark(view.job.id, self.who, "finest", text=repr(turn))
        return self.view(view.job.id)

    def last_entry(self, view: JobView) -> rows.AnyFact | None:
        """Return the entry that take back would strike out."""
        live = [
            f
            for f in view.facts
            if f.struck is None and not (isinstance(f, rows.Mark) and f.kind == "held")
        ]
        return live[-1] if live else None

    def take_back(self, view: JobView) -> tuple[JobView, rows.AnyFact | None]:
        """Strike out the job's last entry; it stays readable."""
        last = self.last_entry(view)
        if last is not None:
            self.book.strike(last.id, TAKEN_BACK, self.who)
        return self.view(view.job.id), last

    def strike_reading(
        self, view: JobView, line: Line, reason: str, reading_id: str | None = None
    ) -> JobView:
        """Strike out a repeat of this pass, with a reason: the last where none is named.

        Raises:
            InputError: no such repeat in this pass, or no reason.
        """
        self._check(view, "strike")
        repeats = [r.id for r in line.latest]
        if not repeats or reading_id not in (None, *repeats):
            raise InputError("reading", line.method.name, "a reading taken in this pass")
        self.book.strike(reading_id or repeats[-1], reason, self.who)
        return self.view(view.job.id)

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
        return self.book.add_job(
            ski_id, self.day, due, finest_turn=finest_turn, who=self.who, kind=kind, note=note
        )

    def remember(self, name: str, value: str) -> None:
        """Keep a setting of the bench, such as the ski in hand."""
        self.book.set_setting(name, value, who=self.who)

    def _check(self, view: JobView, event: Event) -> None:
        check_can(view.progress, event)
        if event in HELD:  # another bench may have turned a stud since this view was read
            check_can(self.view(view.job.id).progress, event)


def initials_of(text: str) -> str:
    """Return initials without the blanks around them; an InputError unless 1 to 12 characters."""
    initials = text.strip()
    if not 1 <= len(initials) <= 12:
        raise InputError("initials", text, "1 to 12 characters")
    return initials
