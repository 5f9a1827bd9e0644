"""The use cases of a day at the bench: each keeps what the tech did and shows the result.

Every method that has returned has kept what it was given. Bench and command line both work through
this; neither touches the book itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from workbench.errors import InputError
from workbench.measure.lengths import parse_length
from workbench.measure.units import Unit
from workbench.records import rows
from workbench.records.book import Book
from workbench.work.jobs import JobView, Line, build_view
from workbench.work.rigs import blade_of, method_of, rig_of
from workbench.work.stages import GLYPHS, Event, Progress, Stage, check_allowed, progress

TAKEN_BACK = "taken back"


@dataclass(frozen=True, slots=True)
class RosterLine:
    """One ski of the day: its job, names as typed, stage and pass."""

    job_id: str
    ski_name: str
    rider: str
    unit: Unit
    due: str
    stage: Stage
    pass_number: int

    @property
    def glyph(self) -> str:
        """A sign for the stage; the word stands beside it."""
        return GLYPHS[self.stage]


class Shop:
    """A book open for one day's work by one pair of hands."""

    def __init__(self, book: Book, day: str | None = None, who: str = "") -> None:
        self.book = book
        self.day = day or date.today().isoformat()
        self.who = who or book.setting("who", "") or ""

    # -- looking ---------------------------------------------------------------------------------

    def roster(self) -> tuple[RosterLine, ...]:
        """Return the day's queue in its order, what earlier days left unfinished first."""
        items = (*self.book.unfinished_before(self.day), *self.book.day_queue(self.day))
        facts = self.book.facts_for([item.job.id for item in items])
        out = []
        for item in items:
            ski = self.book.ski(item.job.ski_id)
            at = self._progress(ski, facts.get(item.job.id, ()))
            out.append(
                RosterLine(
                    item.job.id,
                    item.ski_name,
                    item.rider,
                    item.unit,
                    item.job.due,
                    at.stage,
                    at.pass_number,
                )
            )
        return tuple(out)

    def view(self, job_id: str) -> JobView:
        """Return everything the bench shows of a job."""
        job = self.book.job(job_id)
        ski = self.book.ski(job.ski_id)
        blade_row, block = self.book.blade(ski.blade_id), self.book.block(ski.block_id)
        blade = blade_of(blade_row)
        facts = self.book.facts(job_id)
        methods = []
        for method_id in ski.methods:
            row = self.book.method(method_id)
            methods.append((method_id, method_of(row, blade), row.tolerance_mm))
        finest = self._finest(facts, job)
        baselines = self.book.baselines_of(ski.id)
        return build_view(
            job,
            ski,
            (blade_row.name, block.name),
            rig_of(ski, blade, block.studs),
            methods,
            self._progress(ski, facts),
            facts,
            finest,
            baselines[-1] if baselines else None,
            tuple(method_of(row, blade) for row in self.book.methods_of(ski.blade_id)),
        )

    def _progress(self, ski: rows.Ski, facts: Sequence[rows.AnyFact]) -> Progress:
        tolerances = {m: self.book.method(m).tolerance_mm for m in ski.methods}
        return progress(facts, ski.methods, tolerances, ski.has_wing)

    @staticmethod
    def _finest(facts: Sequence[rows.AnyFact], job: rows.Job) -> float:
        for fact in reversed(facts):
            if isinstance(fact, rows.Mark) and fact.kind == "finest" and fact.struck is None:
                return float(fact.text)
        return job.finest_turn

    # -- doing -----------------------------------------------------------------------------------

    def tick(self, view: JobView, item: str) -> JobView:
        """Tick one item of the checklist that is due; the clamp bolts only after the rest."""
        listed: rows.Checklist = "final" if view.stage == "final check" else "received"
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
        number = view.progress.pass_number
        taken = rows.Taken(line.method_id, number, text, unit, mm, caliper_id, how)
        self.book.add_reading(view.job.id, self.who, taken)
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
        length = parse_length(text, unit, f"target for {line.method.name}")
        kind: rows.TargetKind = "value"
        mm = length.mm
        if length.signed:
            if line.now_mm is None:
                raise InputError(
                    f"target for {line.method.name}", text, "a value: nothing is read yet"
                )
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
        low, high = line.usual_mm
        if not 0.5 * low <= mm <= 1.5 * high:
            raise InputError(
                f"target for {line.method.name}", text,
                f"a value that this blade can read, {low:.1f} to {high:.1f} mm",
            )  # fmt: skip
        self.book.add_target(
            view.job.id, self.who, method_id=line.method_id, text=text, unit=unit, kind=kind, mm=mm,
            tolerance_mm=line.tolerance_mm if tolerance_mm is None else tolerance_mm,
        )  # fmt: skip
        return self.view(view.job.id)

    def aim_at_baseline(self, view: JobView) -> JobView:
        """Make the ski's baseline the target."""
        self._check(view, "aim")
        if view.baseline is None:
            raise InputError("baseline", "(none)", "a ski that has a baseline")
        by_name = {line.method.name: line for line in view.lines}
        known = [e for e in view.baseline.entries if e.method_name in by_name]
        if not known:
            raise InputError("baseline", view.baseline.name, "numbers by this ski's own methods")
        for e in known:
            line = by_name[e.method_name]
            view = self.aim_at(view, line, e.text, e.unit, "baseline", e.mm, e.tolerance_mm)
        return view

    def accept_target(self, view: JobView) -> JobView:
        """Go on with the targets as they stand; readings without one are held where they were."""
        self._check(view, "accept target")
        if not view.progress.targets:
            raise InputError("target", "(none)", "a target for at least one reading")
        self.book.add_mark(view.job.id, self.who, "aimed")
        return self.view(view.job.id)

    def reopen_target(self, view: JobView) -> JobView:
        """Open the target again, to change it; the turns made so far stay as they are."""
        self._check(view, "aim")
        self._check_not_mid_pass(view, "target")
        self.book.add_mark(view.job.id, self.who, "reaim")
        return self.view(view.job.id)

    def step_done(self, view: JobView) -> JobView:
        """Keep that the next act of the pass is done; the last before measuring closes the pass."""
        self._check(view, "step")
        if view.plan is None:
            raise InputError(
                "turns", view.trouble or "(none)", "readings and a target that fix them"
            )
        acts = [s for s in view.plan.steps if s.do != "measure"]
        if view.progress.step + 1 < len(acts):
            self.book.add_mark(view.job.id, self.who, "step", number=view.progress.step + 1)
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
        self._check_not_mid_pass(view, "readings")
        self.book.add_mark(view.job.id, self.who, "accepted", text=view.stage)
        return self.view(view.job.id)

    def set_wing(self, view: JobView, text: str) -> JobView:
        """Keep the wing's angle in degrees."""
        self._check(view, "set wing")
        accepted = "degrees from 2 to 20, such as 7.5"
        try:
            angle = float(text.strip().rstrip("°").replace(",", "."))
        except ValueError:
            raise InputError("wing angle", text, accepted) from None
        if not 2.0 <= angle <= 20.0:
            raise InputError("wing angle", text, accepted)
        self.book.add_wing(view.job.id, self.who, text, angle)
        return self.view(view.job.id)

    def sign_off(self, view: JobView, who: str) -> JobView:
        """Release the ski under these initials."""
        self._check(view, "sign off")
        initials = who.strip()
        if not 1 <= len(initials) <= 12:
            raise InputError("initials", who, "1 to 12 characters")
        self.book.add_sign_off(view.job.id, initials)
        return self.view(view.job.id)

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
        self._check_not_mid_pass(view, "finest turn")
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

    def strike_reading(self, view: JobView, line: Line, reason: str) -> JobView:
        """Strike out the last repeat of a reading in this pass, with a reason."""
        self._check(view, "strike")
        if not line.latest:
            raise InputError("reading", line.method.name, "a reading taken in this pass")
        self.book.strike(line.latest[-1].id, reason, self.who)
        return self.view(view.job.id)

    def remember(self, name: str, value: str) -> None:
        """Keep a setting of the bench, such as the ski in hand."""
        self.book.set_setting(name, value, who=self.who)

    def _check(self, view: JobView, event: Event) -> None:
        check_allowed(view.stage, event)

    @staticmethod
    def _check_not_mid_pass(view: JobView, what: str) -> None:
        if view.progress.mid_pass:
            raise InputError(
                what, "in the middle of a pass",
                "finish this pass and measure first, or u takes its steps back",
            )  # fmt: skip
