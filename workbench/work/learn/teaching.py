"""What the rounds of a block and blade teach, from the book's facts; kept as long as these stay."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from functools import lru_cache
from itertools import pairwise

from workbench.errors import BenchError
from workbench.fin.learn.replay import (
    Learnt,
    Round,
    change_blade,
    follow,
    forget_stud,
    nothing_learnt,
)
from workbench.fin.learn.sight import Takes
from workbench.fin.reading.method import Method
from workbench.fin.reading.rig import Rig
from workbench.fin.studs import named
from workbench.frozen import dataclass
from workbench.records.book import Book
from workbench.records.store import rows
from workbench.records.tables.roster import blade_of, method_of, rig_of
from workbench.work.learn.kept_rounds import KeptRound, rounds_of_ski
from workbench.work.order.round_records import hands_changed

LEAST_JOBS, STEP = 100, 50
"""Of a block with more jobs the newest are gone through, from this many on: leads drift, so that
the oldest say little of today, and a bench waits for no longer replay."""

FORGOTTEN = "learnt_of_block"
"""Settings of this name, with the block's id behind it, keep what was forgotten or brought back."""


@dataclass(frozen=True, slots=True)
class Forgotten:
    """That what was learnt of a stud until ``id`` is to be forgotten; a stud "" is all of them.

    ``back`` are the studs of which it counts again, "" for all.
    """

    id: str
    stud: str
    reason: str
    who: str = ""
    back: tuple[str, ...] = ()

    def is_of(self, stud: str) -> bool:
        """Whether what was learnt of a stud, of any where it is "", is still forgotten by it."""
        if "" in self.back or self.stud in self.back:
            return False
        return not stud or (self.stud in ("", stud) and stud not in self.back)


@dataclass(frozen=True, slots=True)
class Chain:
    """Rounds that follow on one another, of a ski with this rig; ``id`` is that of the first."""

    id: str
    job_id: str
    rig: Rig
    rounds: tuple[Round, ...]


@dataclass(frozen=True, slots=True)
class Teaching:
    """All that teaches about a block and blade, oldest first.

    ``forgets`` are (id, place of the stud): what rounds before this id taught of it is forgotten.
    ``left_out`` counts older jobs that are not gone through.
    """

    methods: tuple[Method, ...]
    chains: tuple[Chain, ...]
    forgets: tuple[tuple[str, int], ...] = ()
    left_out: int = 0


@dataclass(frozen=True, slots=True)
class _Kept:
    """What was gathered, and the marks of the facts that it came from.

    ``own_mark`` is that of the job at hand where its turns came between another job's rounds.
    """

    mark: object
    own_mark: object
    teaching: Teaching


_KEPT: dict[tuple[object, ...], _Kept] = {}
_MOST_KEPT = 8


def teaching_of(book: Book, ski: rows.Ski, own_job: str = "", until: str = "") -> Teaching:
    """Return what teaches about a ski's block and blade, the job ``own_job`` aside.

    With ``until``, an id, nothing that came later: a round begun is finished by what was known.
    """
    return book.at_once(_teaching, book, ski, own_job, until)


def _teaching(book: Book, ski: rows.Ski, own_job: str, until: str) -> Teaching:
    listed = [i for i in book.turned_jobs(ski.block_id) if i != own_job]
    first = max(0, (len(listed) - LEAST_JOBS) // STEP * STEP)
    asked = listed[first:]
    place = (str(book.path), ski.block_id, ski.blade_id, own_job, until)
    mark = (
        tuple(asked),
        book.mark_of_jobs(asked),
        book.block_versions(ski.block_id),
        book.blade(ski.blade_id),
        book.settings_kept((FORGOTTEN + " " + ski.block_id,)),
        book.seen(ski, ()).sheets,
    )
    kept = _KEPT.pop(place, None)
    own = _own(book, own_job) if kept is not None and kept.own_mark is not None else None
    if kept is None or (kept.mark, kept.own_mark) != (mark, own):
        past = book.jobs_with_facts(asked)
        # A reading at hand changes nothing in other jobs: only between their rounds a turn does.
        own_mark = _own(book, own_job) if _is_among(past, ski, own_job) else None
        if own_mark is not None:
            past = (*past, *book.jobs_with_facts((own_job,)))
        kept = _Kept(mark, own_mark, _gathered(book, ski, past, own_job, first, until))
    _KEPT[place] = kept
    while len(_KEPT) > _MOST_KEPT:
        _KEPT.pop(next(iter(_KEPT)))
    return kept.teaching


def _own(book: Book, own_job: str) -> object:
    return book.mark_of_jobs((own_job,))


def _is_among(jobs: Sequence[rows.JobHistory], ski: rows.Ski, own_job: str) -> bool:
    """Whether another job of the ski has facts later than where the job at hand begins."""
    if not own_job:
        return False
    of_ski = (past for past in jobs if past.job.ski_id == ski.id)
    return any(fact.id > own_job for past in of_ski for fact in past.facts)


def _gathered(
    book: Book,
    ski: rows.Ski,
    jobs: Sequence[rows.JobHistory],
    own_job: str,
    left_out: int,
    until: str,
) -> Teaching:
    block = book.block(ski.block_id)
    by_ski: dict[str, list[rows.JobHistory]] = {}
    for past in jobs:
        by_ski.setdefault(past.job.ski_id, []).append(past)
    kept: dict[str, list[tuple[KeptRound, rows.Ski]]] = {}
    for ski_id, own in by_ski.items():
        versions = book.ski_versions(ski_id)
        for each in rounds_of_ski(own, versions):
            sheet = sheet_at(versions, each.id)
            is_asked = each.job_id != own_job and (not until or each.id < until)
            if is_asked and sheet.block_id == ski.block_id:
                kept.setdefault(each.chain, []).append((each, sheet))
    versions_of_block = book.block_versions(ski.block_id)
    methods: dict[str, Method] = {}
    chains = []
    for listed in kept.values():
        sheet = listed[0][1]
        chain = _chain(book, [r for r, _ in listed], sheet, block, versions_of_block)
        if chain is not None:
            chains.append((sheet.blade_id == ski.blade_id, chain))
            if sheet.blade_id == ski.blade_id:
                methods |= {t.method.name: t.method for r in chain.rounds for t in r.after}
    # Rounds of the block with other blades tell of its studs; they go first, for another blade
    # forgets the edges.
    chains.sort(key=lambda c: (c[0], c[1].id))
    forgets = [*_replaced(versions_of_block, block), *_told_to_forget(book, block)]
    return Teaching(
        tuple(methods.values()), tuple(c for _, c in chains), tuple(sorted(forgets)), left_out
    )


def sheet_at(versions: Sequence[rows.SkiVersion], row_id: str) -> rows.Ski:
    """Return a ski as it was when a row was kept."""
    known = [v.ski for v in versions if v.id < row_id]
    return known[-1] if known else versions[0].ski


def _chain(
    book: Book,
    rounds: Sequence[KeptRound],
    ski: rows.Ski,
    block: rows.Block,
    versions: Sequence[rows.PartVersion],
) -> Chain | None:
    """Return rounds as the kernel takes them; None where they cannot be gone through."""
    try:
        blade = blade_of(book.blade(ski.blade_id))
        rig = rig_of(ski, blade, block.studs)
        by_id = {m.id: method_of(m, blade) for m in book.methods_of(ski.blade_id)}
        made = tuple(kernel_round(each, block, versions, by_id) for each in rounds)
    except BenchError:
        return None
    if not made[0].before or any(len(r.after) < 3 for r in made):
        return None
    return Chain(rounds[0].id, rounds[0].job_id, rig, made)


def hand_then(
    each: KeptRound, block: rows.Block, versions: Sequence[rows.PartVersion]
) -> KeptRound:
    """Return a round with the turns that went the other way, for a hand was written down wrong."""
    known = [v.part for v in versions if v.id < each.id]
    then = known[-1] if known else block
    flipped = hands_changed(then, block) if isinstance(then, rows.Block) else ()
    turns = {stud: -n if stud in flipped and n else n for stud, n in each.turns.items()}
    return replace(each, turns=turns)


def kernel_round(
    each: KeptRound,
    block: rows.Block,
    versions: Sequence[rows.PartVersion],
    methods: Mapping[str, Method],
) -> Round:
    """Return a kept round as the kernel takes it, its studs' hands as they are known now."""
    by_stud = hand_then(each, block, versions).turns
    names = tuple(by_stud)
    one, two, three = (by_stud.get(named(s.name, names) or "", 0.0) for s in block.studs)
    return Round(
        each.chain, (one, two, three), takes_of(each.after, methods),
        takes_of(each.before, methods), each.settled,
    )  # fmt: skip


def takes_of(
    kept: Mapping[str, tuple[float, ...]], methods: Mapping[str, Method]
) -> tuple[Takes, ...]:
    """Return takes (mm) by method id as the kernel takes them; coarse marks are none."""
    return tuple(
        Takes(methods[i], values)
        for i, values in kept.items()
        if i in methods and not methods[i].is_coarse
    )


def _replaced(versions: Sequence[rows.PartVersion], block: rows.Block) -> list[tuple[str, int]]:
    """Return where a stud got another thread, lead or tip: nothing is known of a new stud."""
    out = []
    for old, new in pairwise(versions):
        if not (isinstance(old.part, rows.Block) and isinstance(new.part, rows.Block)):
            continue
        was = {s.name: (s.lead_mm, s.tip_radius_mm) for s in old.part.studs}
        now = {s.name: (s.lead_mm, s.tip_radius_mm) for s in new.part.studs}
        out += [
            (new.id, j)
            for j, stud in enumerate(block.studs)
            if stud.name in was and was[stud.name] != now.get(stud.name)
        ]
    return out


def forgotten(book: Book, block_id: str) -> tuple[Forgotten, ...]:
    """Return what was ever told to be forgotten of a block's studs, oldest first."""
    name = f"{FORGOTTEN} {block_id}"
    out: list[Forgotten] = []
    for row_id, text in book.settings_kept((name,)).get(name, ()):
        try:
            data = json.loads(text)
            stud, reason, who = str(data["stud"]), str(data["reason"]), str(data.get("who", ""))
            back = data["do"] == "bring back"
        except (ValueError, TypeError, KeyError, RecursionError):
            continue  # a row of other hands
        if back:
            out = [replace(f, back=(*f.back, stud)) if f.is_of(stud) else f for f in out]
        else:
            out.append(Forgotten(row_id, stud, reason, who))
    return tuple(out)


def _told_to_forget(book: Book, block: rows.Block) -> list[tuple[str, int]]:
    return [
        (f.id, j)
        for f in forgotten(book, block.id)
        for j, stud in enumerate(block.studs)
        if f.is_of(stud.name)
    ]


_Forgets = tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class _Reached:
    """What is learnt after so many chains, and what of it is still to be forgotten later."""

    learnt: Learnt
    forgets: _Forgets


_Way = tuple[tuple[Chain, ...], list[_Reached]]
_WAYS: dict[tuple[object, ...], _Way] = {}


@lru_cache(maxsize=16)
def learnt_from(rig: Rig, methods: tuple[Method, ...], teaching: Teaching) -> Learnt:
    """Return what all of this teaches about a rig read by these methods."""
    reached = _gone_through(nothing_learnt(rig, methods), teaching)
    learnt = reached.learnt
    for _, stud in reached.forgets:
        learnt = forget_stud(learnt, stud)
    return _with_rig(learnt, rig, methods)


def _gone_through(learnt: Learnt, teaching: Teaching) -> _Reached:
    """Go through the chains, from where they differ from those gone through before."""
    place = (learnt.rig, learnt.methods, teaching.forgets)
    chains, known = _WAYS.pop(place, ((), [_Reached(learnt, teaching.forgets)]))
    same = 0
    for one, two in zip(chains, teaching.chains, strict=False):
        if one is not two and one != two:
            break
        same += 1
    way = known[: same + 1]
    for i in range(same, len(teaching.chains)):
        newest = teaching.chains[i - 1].id if i else ""
        way.append(_after_chain(way[-1], teaching.chains[i], newest, learnt, teaching.forgets))
    _WAYS[place] = (teaching.chains, way)
    while len(_WAYS) > _MOST_KEPT:
        _WAYS.pop(next(iter(_WAYS)))
    return way[-1]


def _after_chain(
    before: _Reached, chain: Chain, newest: str, first: Learnt, all_forgets: _Forgets
) -> _Reached:
    """Return what is learnt after one more chain; ``first`` is what was known before any."""
    learnt, forgets = before.learnt, before.forgets
    if chain.id < newest:  # the block's own blade begins: what was forgotten, is again
        forgets = all_forgets
    for row_id, stud in forgets:
        if row_id < chain.id:
            learnt = forget_stud(learnt, stud)
    forgets = tuple(f for f in forgets if f[0] >= chain.id)
    used = {t.method.name: t.method for r in chain.rounds for t in (*r.before, *r.after)}
    if chain.rig.blade == first.rig.blade:
        used = {m.name: m for m in first.methods} | used
    if chain.rig.blade == learnt.rig.blade:
        used = {m.name: m for m in learnt.methods} | used
    learnt = _with_rig(learnt, chain.rig, tuple(used.values()))
    with suppress(BenchError):  # then it teaches nothing
        learnt = follow(learnt, chain.rounds)[0]
    return _Reached(learnt, forgets)


def _with_rig(learnt: Learnt, rig: Rig, methods: tuple[Method, ...]) -> Learnt:
    """Return what is known of another ski with this block; of its blade where it is the same."""
    if learnt.rig.blade != rig.blade:
        return replace(change_blade(learnt, rig), methods=methods)
    wider = set(methods) - set(learnt.methods)
    # Knots lie where the methods known at the first reading touch: another one begins the edges.
    edges = None if wider and learnt.edges is not None else learnt.edges
    return replace(learnt, rig=rig, methods=methods if wider else learnt.methods, edges=edges)
