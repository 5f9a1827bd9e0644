"""What a shop's book shows of a day, of each job on it, and of how its ski left before."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import fields, replace
from datetime import date
from functools import partial

from workbench.errors import BenchError
from workbench.fin.blade import Blade
from workbench.fin.plan.uncertainty import Expected
from workbench.fin.pose.equations import Reading
from workbench.fin.pose.search import sweep_ahead
from workbench.fin.reading.method import Method
from workbench.fin.reading.rig import Rig
from workbench.fin.studs import named
from workbench.measure.units import Unit, unit_of
from workbench.records.book import Book
from workbench.records.store import rows
from workbench.records.tables.days import DayItem, Unread
from workbench.records.tables.roster import blade_of, method_of, rig_of
from workbench.work.job.build_view import Learn, Sources, standard_u_mm, worked_out
from workbench.work.job.job_view import JobView, RosterLine, roster_line
from workbench.work.job.ski_state import SkiState, conclude
from workbench.work.job.stages import Asked, progress
from workbench.work.order.rigs import expected_of
from workbench.work.order.round_records import (
    TAKEN_BACK,
    blade_for,
    block_for,
    described,
    did_words,
    held_at,
    last_mark,
    live,
    other_way_in,
    round_begun,
    turned_other_way,
)
from workbench.work.text.local_time import local
from workbench.work.text.words import clean
from workbench.work.trust.reading_budget import readings_of
from workbench.work.trust.reading_tools import tools_of
from workbench.work.trust.shop_policy import GUARD, SHAPING, Rules, shop_rules
from workbench.work.trust.wing_setup import wing_setup

MOST_TOLD = 2
"""So many of the things added are told; more would not be read."""

_MOST_LINES = 1500
"""So many lines of a queue are kept as worked out: more than any day has."""

WITHOUT_LEARNED = "without_learned"
"""The kind of mark that says, by ``on`` or ``off``, that a job goes without what was learnt."""


class OpenBook:
    """A book open for one day's work by one pair of hands: what it shows."""

    def __init__(self, book: Book, day: str | None = None, who: str = "") -> None:
        self.book = book
        self._fixed_day = day is not None
        self.day = day or date.today().isoformat()
        self.who = who or book.setting("who", "") or ""
        self._known_lines: dict[str, tuple[tuple[DayItem, Rules], RosterLine]] = {}

    def unit_typed(self, text: str | None = None) -> Unit:
        """Return the unit that is typed; blank is the bench's own.

        Raises:
            InputError: neither in nor mm.
        """
        if text and text.strip():
            return unit_of(text)
        return "mm" if self.book.setting("unit") == "mm" else "in"

    def turn_day(self) -> bool:
        """Go on to the day that has begun, where no day was asked for; never back to one past."""
        today = date.today().isoformat()
        if self._fixed_day or today <= self.day:
            return False
        self.day = today
        return True

    def roster(self, near: str | None = None) -> tuple[RosterLine, ...]:
        """Return the day's queue in its order, what earlier days left unfinished first.

        With ``near``, a job's id, skis are read around it alone; of the others nothing is known
        but their places.
        """
        if near is None:
            return self.lines_of(self.day)
        return self._lines(self.book.day_around(self.day, near))

    def lines_of(self, day: str) -> tuple[RosterLine, ...]:
        """Return a day's queue in its order; before today's, what earlier days left unfinished."""
        return self._lines(self.book.day_list(day, with_unfinished=day == self.day))

    def _lines(self, found: Iterable[DayItem | Unread]) -> tuple[RosterLine, ...]:
        rules = shop_rules(self.book)
        lines = tuple(self._line(each, rules) for each in found)
        return tuple(map(self._guarded_line, lines)) if self.guarded else lines

    def _line(self, each: DayItem | Unread, rules: Rules) -> RosterLine:
        """Return a job's line: that of last time where nothing that it is read off has changed."""
        if isinstance(each, Unread):
            return roster_line(each, rules)
        job_id = each.item.job.id
        known = self._known_lines.get(job_id)
        if known is None or known[0] != (each, rules):
            known = (each, rules), roster_line(each, rules)
            if len(self._known_lines) >= _MOST_LINES:
                self._known_lines.clear()
            self._known_lines[job_id] = known
        return known[1]

    def _guarded_line(self, line: RosterLine) -> RosterLine:
        """Only the whole view knows how sure readings are, and so if a guard band lets them.

        A ski that cannot be worked out keeps the line it has: it must not hide the others.
        """
        if line.stage != "within":
            return line
        try:
            return replace(line, stage=self.view(line.job_id).stage)
        except BenchError:
            return line

    def view(self, job_id: str) -> JobView:
        """Return everything the bench shows of a job."""
        return self.book.at_once(self._view, job_id)

    def _view(self, job_id: str) -> JobView:
        job = self.book.job(job_id)
        ski = self.book.ski(job.ski_id)
        kept = self.book.ski_facts((ski.id,), (job_id,))[ski.id]
        facts = kept.job(job_id).facts
        ski = self._as_worn(ski, facts)
        blade_row, block, corrected = self._parts(ski, facts)
        blade = blade_of(blade_row)
        known = self.book.methods_of(ski.blade_id)
        methods, stated = self._methods(ski, blade, known)
        rig = rig_of(ski, blade, block.studs)
        rules, guarded = shop_rules(self.book), self.guarded
        tools = tools_of(self.book, facts, stated)
        tolerances = {i: tolerance_mm for i, _, tolerance_mm in methods}
        u_of = partial(standard_u_mm, methods, rig=rig, tools=tools) if guarded else None
        state = conclude(kept, rules).jobs[job_id]
        at = progress(facts, Asked(tolerances, ski.has_wing, job.kind), state, rules, u_of)
        named = [(i, m) for i, m, _ in methods]
        first = at.stage == "as received" or (job.kind == "recheck" and at.gate != "waiting")
        known_left = first and not state.refitted  # else it left with another blade or block
        others = tuple(method_of(row, blade) for row in known)
        left = left_with(self.book, job, named, rig, stated, others) if known_left else None
        baselines = self.book.baselines_of(ski.id)
        measured = at.stage == "measuring" or (at.stage == "turning" and at.pass_number)
        begins = at.stage == "target" and not at.targets
        view = JobView(
            job=job,
            ski=ski,
            blade_name=blade_row.name,
            block_name=block.name,
            rig=rig,
            progress=at,
            facts=facts,
            finest_turn=self._finest(facts, job),
            baseline=baselines[-1] if baselines else None,
            tools=tools,
            rules=rules,
            corrected=corrected,
            seen=self.seen_of(ski),
            has_last=begins and self.book.last_setting(ski.id, job.id) is not None,
            stand_in=tuple(w for w, p in (("blade", blade_row), ("block", block)) if p.stand_in),
            wing_hold=wing_setup(self.book).kept_hold if at.stage == "wing" else "",
        )
        sources = Sources(
            methods=methods,
            others=others,
            marks=_marks(known, ski, blade),
            other_way=turned_other_way(self.book, block, facts) if measured else frozenset(),
            left=left or (),
            ranges=self._ranges(ski) if first and left is None and not baselines else {},
            guard=guarded,
        )
        begun = round_begun(facts)
        learns = rules.learns_at(begun or "~") and not is_without_learned(facts)
        learns = learns and bool(rules.learning) and at.stage in ("target", "turning", "within")
        learn = self._learner(view, dict(named), block, begun) if learns else None
        return worked_out(view, sources, learn)

    def _learner(
        self, view: JobView, methods: Mapping[str, Method], block: rows.Block, begun: str
    ) -> Learn:
        """Return what gives a job's next act by what was learnt.

        A round that was begun is finished by what was known and settled when it began.
        """
        from workbench.work.learn.what_learnt import OfJob, next_act

        of = OfJob(view.job.id, view.ski, view.rig, methods, block, begun)
        return partial(next_act, self.book, of)

    def _as_worn(self, ski: rows.Ski, facts: Sequence[rows.AnyFact]) -> rows.Ski:
        """Return the ski with the blade and block it wore when its job was signed off.

        What an open job is shown by are the parts of now.
        """
        signed = live(facts, rows.SignOff)
        if not signed:
            return ski
        known = self.book.ski_versions(ski.id)
        then = [v.ski for v in known if v.id < signed[-1].id and v.struck is None]
        worn = then[-1] if then else ski
        if (worn.blade_id, worn.block_id) == (ski.blade_id, ski.block_id):
            return ski
        return replace(ski, blade_id=worn.blade_id, block_id=worn.block_id, methods=worn.methods)

    def ski_state(self, ski_id: str) -> SkiState:
        """Return what all facts of a ski say together."""
        return self.book.at_once(
            lambda: conclude(self.book.ski_facts((ski_id,))[ski_id], shop_rules(self.book))
        )

    def seen_of(self, ski: rows.Ski) -> rows.SkiSeen:
        """Return what there is of a ski now, with what bears on how it is shown."""
        return self.book.seen(ski, (*SHAPING, GUARD.name))

    def _ranges(self, ski: rows.Ski) -> dict[str, tuple[float, float]]:
        """Return the range (mm) that this shop ever read by each of a ski's methods, by id."""
        found = ((i, self.book.seen_range_mm(i)) for i in ski.methods)
        return {i: seen for i, seen in found if seen is not None}

    def _parts(
        self, ski: rows.Ski, facts: Sequence[rows.AnyFact]
    ) -> tuple[rows.Blade, rows.Block, tuple[str, ...]]:
        """Return the blade and block a job is shown by, and words where they were corrected."""
        blade, block = self.book.blade(ski.blade_id), self.book.block(ski.block_id)
        until = held_at(facts)
        if not until:
            return blade, block, ()
        shown_blade, blade_words = blade_for(self.book, blade, facts, until)
        shown_block, block_words = block_for(self.book, block, facts, until)
        return shown_blade, shown_block, tuple(w for w in (blade_words, block_words) if w)

    def foresee(self, view: JobView) -> None:
        """Work out ahead: before the first reading as received what the ski left with, before the
        last one of three where the two before it let the blade be."""
        if view.stage in ("waiting", "received check"):
            self.book.at_once(self._foresee, view)
        known = [Reading(x.method, x.now_mm, 1.0) for x in view.lines if x.now_mm is not None]
        if view.due is not None and len(view.lines) == 3 and len(known) == 2:
            sweep_ahead(view.rig.blade, view.rig.base, known, view.lines[view.due].method)

    def _foresee(self, view: JobView) -> None:
        named = [(line.method_id, line.method) for line in view.lines]
        kept = self.book.methods_of(view.ski.blade_id)
        _, stated = self._methods(view.ski, view.rig.blade, kept)
        others = tuple(method_of(row, view.rig.blade) for row in kept)
        left_with(self.book, view.job, named, view.rig, stated, others)  # what it found is kept

    @property
    def guarded(self) -> bool:
        """Whether the shop accepts a reading only with a guard band inside its tolerance."""
        return GUARD.kept_in(self.book)

    def _methods(
        self, ski: rows.Ski, blade: Blade, known: Iterable[rows.Method]
    ) -> tuple[list[tuple[str, Method, float]], dict[str, float]]:
        """Return the ski's methods (id, method, tolerance in mm), and the u that some state.

        Those not among the ``known`` are read.
        """
        by_id = {row.id: row for row in known}
        kept = [by_id.get(i) or self.book.method(i) for i in ski.methods]
        stated = {row.id: row.u_mm for row in kept if row.u_mm is not None}
        return [(row.id, method_of(row, blade), row.tolerance_mm) for row in kept], stated

    @staticmethod
    def _finest(facts: Sequence[rows.AnyFact], job: rows.Job) -> float:
        changed = last_mark(facts, "finest")
        return float(changed.text) if changed is not None else job.finest_turn

    def finest_of(self, job_id: str) -> float:
        """Return the finest turn (turns) that a job was done with."""
        return self._finest(self.book.facts(job_id), self.book.job(job_id))


def is_without_learned(facts: Iterable[rows.AnyFact]) -> bool:
    """Whether a job's turns were asked for without what was learnt."""
    asked = last_mark(facts, WITHOUT_LEARNED)
    return asked is not None and asked.text == "on"


def _marks(
    kept: Iterable[rows.Method], ski: rows.Ski, blade: Blade
) -> tuple[tuple[str, Method], ...]:
    """Return the coarse marks of a blade (id, method) that are none of a ski's readings."""
    marks = (row for row in kept if row.scribe is not None and row.id not in ski.methods)
    return tuple((row.id, method_of(row, blade)) for row in marks)


# -- how a ski left this bench before: what its readings as received are held against --------------


def left_with(
    book: Book,
    job: rows.Job,
    methods: Sequence[tuple[str, Method]],
    rig: Rig,
    stated_u_mm: Mapping[str, float],
    others: Sequence[Method] = (),
) -> tuple[Expected, ...] | None:
    """Return what each method, and ``others``, should read as the ski of ``job`` left before.

    What tells it is the last whole round of readings by ``methods`` (by id) of any other job of the
    ski, with the turns that were made after it and not read again; what was read with the clamp
    bolts tight for good goes before the reading of that round. None where there is no such round or
    its turns are not known; nothing where it fixes no pose.
    """
    found = last_round(book, job, [i for i, _ in methods])
    if found is None:
        return None
    each, number = found
    kept: dict[str, list[rows.Reading]] = {}
    for reading in _readings(each.facts):
        if reading.pass_number == number:
            kept.setdefault(reading.method_id, []).append(reading)
    kept |= _locked(each.facts, number)
    made = _turns_after(book, job, each.facts, number)
    if made is None:
        return None
    taken = tools_of(book, each.facts, stated_u_mm).taken_in(methods, kept)
    turns = tuple(made.get(named(s.name, tuple(made)) or "", 0.0) for s in rig.studs)
    return expected_of(rig, readings_of(tuple(taken.values()), rig), turns, tuple(others))


def last_round(
    book: Book, of: rows.Job, method_ids: Sequence[str]
) -> tuple[rows.JobHistory, int] | None:
    """Return the other job that was read last by all methods, and its last whole round.

    Jobs are looked at from the one read last, no farther back than it takes: a ski may have years
    of them.
    """
    last: tuple[rows.JobHistory, int] | None = None
    last_id = ""
    for job_id, newest_id in book.last_read_jobs(of.ski_id):
        if newest_id <= last_id:
            break
        job = book.job(job_id)
        if job_id == of.id or job.struck is not None:
            continue
        each = rows.JobHistory(job, book.facts(job_id))
        rounds: dict[int, dict[str, str]] = {}
        for reading in _readings(each.facts):
            rounds.setdefault(reading.pass_number, {})[reading.method_id] = reading.id
        whole = [n for n, seen in rounds.items() if seen.keys() >= set(method_ids)]
        if whole and (newest := max(rounds[max(whole)].values())) > last_id:
            last, last_id = (each, max(whole)), newest
    return last


def _readings(facts: Sequence[rows.AnyFact]) -> Iterator[rows.Reading]:
    """Give the readings that count; those of a round that was struck out do not."""
    passes = len(live(facts, rows.PassRow))
    return (f for f in live(facts, rows.Reading) if f.pass_number <= passes)


def _locked(facts: Sequence[rows.AnyFact], number: int) -> dict[str, list[rows.Reading]]:
    """Return what was read with the clamp bolts tight, by method id, if nothing was done since."""
    steps = (f for f in live(facts, rows.Mark) if f.kind == "step")
    touching = (*live(facts, rows.Reading), *live(facts, rows.PassRow), *steps)
    touched = max((f.id for f in touching), default="")
    found = (f for f in live(facts, rows.LockedReading) if f.id > touched)
    return {
        f.method_id: [
            rows.Reading(pass_number=number, **{x.name: getattr(f, x.name) for x in fields(f)})
        ]
        for f in found
    }


def _turns_after(
    book: Book, job: rows.Job, facts: Sequence[rows.AnyFact], number: int
) -> dict[str, float] | None:
    """Return the turns of each stud in the rounds after round ``number``, which were not read.

    None where one of them was turned by hand and not written down.

    A stud whose hand was written down wrongly then was turned the other way.
    """
    made = [each for each in live(facts, rows.PassRow) if each.number > number]
    if not made:
        return {}
    if not all(each.turns for each in made):
        return None
    block = book.block(book.ski(job.ski_id).block_id)
    out: dict[str, float] = {}
    for each in made:
        other_way = other_way_in(book, block, facts, each)
        for turn in each.turns:
            way = -turn.turns if turn.stud in other_way else turn.turns
            out[turn.stud] = out.get(turn.stud, 0.0) + way
    return out


# -- what others did meanwhile ---------------------------------------------------------------------


def what_came_in(seen: JobView, now: JobView, book: Book) -> str:
    """Return what was done to a ski since a view of it was read: by whom and when, newest first."""
    found = sorted(_news(seen, now, book), reverse=True)
    told = [f"{clean(who) or 'somebody'} {did} at {local(at):%H:%M}" for at, who, did in found]
    if any(h.job.id > seen.seen.newest for h in book.history_of_ski(now.ski.id)):
        told.append("it was queued again")
    if len(told) > MOST_TOLD:
        told[MOST_TOLD:] = [f"and {len(told) - MOST_TOLD} more"]
    if told:
        return "; ".join(told)
    if seen.job.day != now.job.day:
        return f"it was carried to {now.job.day}"
    if seen.seen.newest != now.seen.newest or seen.seen.facts != now.seen.facts:
        return "something of it arrived from another book, or was struck out"
    return "its sheet, its blade, its block or the shop's settings were changed"


def _news(seen: JobView, now: JobView, book: Book) -> Iterator[tuple[str, str, str]]:
    """Yield when, who and what of each fact and strike that the view was read without."""
    known = {f.id: f for f in seen.facts}
    for history in book.history_of_ski(now.ski.id):
        own = history.job.id == now.job.id
        for fact in history.facts:
            if fact.id not in known if own else fact.id > seen.seen.newest:
                yield fact.at, fact.who, did_words(fact)
            elif own and fact.struck is not None and known[fact.id].struck is None:
                verb = "took back" if fact.struck.reason == TAKEN_BACK else "struck out"
                yield fact.struck.at, fact.struck.who, f"{verb} '{described(fact)}'"
