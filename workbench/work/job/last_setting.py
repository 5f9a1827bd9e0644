"""How a ski left this bench before: what its readings as received are held against."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from workbench.fin.parts.studs import named
from workbench.fin.plan.expectation import Expected
from workbench.fin.reading.method import Method
from workbench.fin.reading.rig import Rig
from workbench.records.book import Book
from workbench.records.store import rows
from workbench.work.order.solved_jobs import expected_of
from workbench.work.order.versions import other_way_in
from workbench.work.trust.caliper_figures import tools_of
from workbench.work.trust.reading_budget import readings_of


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
    live = [f for f in facts if f.struck is None]
    passes = sum(isinstance(f, rows.PassRow) for f in live)
    return (f for f in live if isinstance(f, rows.Reading) and f.pass_number <= passes)


def _locked(facts: Sequence[rows.AnyFact], number: int) -> dict[str, list[rows.Reading]]:
    """Return what was read with the clamp bolts tight, by method id, if nothing was done since."""
    live = [f for f in facts if f.struck is None]
    touched = max(
        (f.id for f in live if isinstance(f, rows.Reading | rows.PassRow) or _is_step(f)),
        default="",
    )
    found = (f for f in live if isinstance(f, rows.LockedReading) and f.id > touched)
    return {
        f.method_id: [
            rows.Reading(
                id=f.id, at=f.at, who=f.who, job_id=f.job_id, method_id=f.method_id,
                pass_number=number, text=f.text, unit=f.unit, mm=f.mm, caliper_id=f.caliper_id,
                how=f.how, temperature_id=f.temperature_id,
            )
        ]
        for f in found
    }  # fmt: skip


def _is_step(fact: rows.AnyFact) -> bool:
    return isinstance(fact, rows.Mark) and fact.kind == "step"


def _turns_after(
    book: Book, job: rows.Job, facts: Sequence[rows.AnyFact], number: int
) -> dict[str, float] | None:
    """Return the turns of each stud in the rounds after round ``number``, which were not read.

    None where one of them was turned by hand and not written down.

    A stud whose hand was written down wrongly then was turned the other way.
    """
    made = [f for f in facts if isinstance(f, rows.PassRow) and f.struck is None]
    made = [each for each in made if each.number > number]
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
