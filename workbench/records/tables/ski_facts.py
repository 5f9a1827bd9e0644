"""What is known of whole skis: the facts of all their jobs that may still bear on today.

A fixed number of queries, however many skis are asked for.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

from workbench.frozen import dataclass
from workbench.records.store.database import Database
from workbench.records.store.rows import AnyFact, JobHistory, JobKind, SignOff, SkiVersion
from workbench.records.tables import facts


@dataclass(frozen=True, slots=True)
class SkiSheet:
    """What a ski was read by and wore, and whether it had a wing, from the version ``since`` on.

    ``parts`` are the ids of its blade and block; ``struck``: whether it was struck out, and by
    which version it was ``replaced_by``.
    """

    since: str
    methods: tuple[str, ...]
    has_wing: bool
    parts: tuple[str, str] = ("", "")
    struck: bool = False
    replaced_by: str = ""

    @staticmethod
    def of(version: SkiVersion) -> SkiSheet:
        """A ski as one of its versions has it."""
        ski, struck = version.ski, version.struck
        return SkiSheet(
            version.id, ski.methods, ski.has_wing, (ski.blade_id, ski.block_id),
            struck is not None, (struck.replaced_by or "") if struck is not None else "",
        )  # fmt: skip


def changes_of_parts(sheets: Sequence[SkiSheet]) -> tuple[str, ...]:
    """The ids of the versions by which a ski got another blade or block, oldest first.

    One that was struck out was never done, and so neither was what put it right: the version that
    gave the parts before it back, where the ski had still those of the struck one.
    """
    undone = {
        sheet.replaced_by: (sheet.parts, before.parts)
        for before, sheet in pairwise(sheets)
        if sheet.struck
    }
    return tuple(
        sheet.since
        for before, sheet in pairwise(sheets)
        if sheet.parts != before.parts
        and not sheet.struck
        and undone.get(sheet.since) != (before.parts, sheet.parts)
    )


@dataclass(frozen=True, slots=True)
class SkiJob:
    """A job of a ski with its facts in order of id; ``open``: no sign-off of it is in force."""

    id: str
    kind: JobKind
    day: str
    open: bool
    struck: bool
    facts: tuple[AnyFact, ...]

    @staticmethod
    def of(past: JobHistory) -> SkiJob:
        """A job of a ski's history."""
        job = past.job
        signed = any(isinstance(f, SignOff) and f.struck is None for f in past.facts)
        return SkiJob(job.id, job.kind, job.day, not signed, job.struck is not None, past.facts)


@dataclass(frozen=True, slots=True)
class SkiFacts:
    """A ski's sheets, oldest first, and its jobs in the order they were added.

    Other parts that the ski got before ``settled``, an id, were measured by a job left out here.
    """

    id: str
    sheets: tuple[SkiSheet, ...]
    jobs: tuple[SkiJob, ...]
    settled: str = ""

    @property
    def refitted(self) -> tuple[str, ...]:
        """The ids of the versions by which it got another blade or block, that still matter."""
        return tuple(i for i in changes_of_parts(self.sheets) if i > self.settled)

    @property
    def ids(self) -> Iterator[str]:
        """The ids of its sheets, of its jobs and of their facts."""
        yield from (sheet.since for sheet in self.sheets)
        for job in self.jobs:
            yield job.id
            yield from (fact.id for fact in job.facts)

    def job(self, job_id: str) -> SkiJob:
        """The job of this id, which is one of them."""
        return next(job for job in self.jobs if job.id == job_id)

    def without(self, ids: Collection[str], struck: Collection[str]) -> SkiFacts:
        """The same before the rows of these ids were there, and ``struck`` before they were."""
        sheets = tuple(
            replace(sheet, struck=sheet.struck and sheet.since not in struck)
            for sheet in self.sheets
            if sheet.since not in ids
        )
        kept = (job for job in self.jobs if job.id not in ids)
        jobs = tuple(_job_without(job, ids, struck) for job in kept)
        return SkiFacts(self.id, sheets, jobs, self.settled)


def _job_without(job: SkiJob, ids: Collection[str], struck: Collection[str]) -> SkiJob:
    kept = (fact for fact in job.facts if fact.id not in ids)
    facts = tuple(replace(f, struck=None) if f.id in struck else f for f in kept)
    signed = any(isinstance(f, SignOff) and f.struck is None for f in facts)
    is_struck = job.struck and job.id not in struck
    return SkiJob(job.id, job.kind, job.day, not signed, is_struck, facts)


_NEWEST = "coalesce((SELECT max(t.id) FROM {table} t WHERE t.job_id = j.id), '')"

_JOBS = f"""SELECT j.ski_id, j.id, j.kind, q.day, q.open, q.struck,
    {_NEWEST.format(table="readings")} AS read, max(
    {", ".join(_NEWEST.format(table=t) for t in ("marks", "passes", "ticks", "wings", "sign_offs"))}
    ) AS newest
    FROM json_each(?) o JOIN jobs j ON j.ski_id = o.value
    JOIN queue q ON q.job_id = j.id ORDER BY j.id"""
"""A newest id is one look into an index: a job that is left out costs next to nothing."""

_AFTER = (
    "AND c.id > coalesce((SELECT max(t.id) FROM {table} t WHERE t.job_id = o.value {more}), '')"
)

_DONE_WITH = f"""SELECT o.value FROM json_each(?) o WHERE EXISTS (SELECT 1 FROM ticks c
    JOIN sign_offs s ON s.job_id = c.job_id AND s.id > c.id
    WHERE c.job_id = o.value AND c.checklist = 'final' AND c.item = 'clamp'
    AND NOT EXISTS (SELECT 1 FROM strikes x WHERE x.row_id IN (c.id, s.id))
    {_AFTER.format(table="readings", more="")} {_AFTER.format(table="passes", more="")}
    {_AFTER.format(table="wings", more="")}
    {_AFTER.format(table="marks", more="AND t.kind IN ('step', 'settled')")})"""
"""The jobs of which it is plain that they left no bolt loose and no stud turned."""

_SHEETS = """SELECT k.root, k.id, k.has_wing, k.blade_id, k.block_id, s.id IS NOT NULL,
    coalesce(s.replaced_by, ''), p.method_id
    FROM json_each(?) o JOIN skis k ON k.root = o.value
    LEFT JOIN strikes s ON s.row_id = k.id AND k.id <> k.root
    LEFT JOIN ski_methods p ON p.owner = k.id ORDER BY k.id, p.place"""

_Row = tuple[str, str, JobKind, str, int, int, str, str]


def ski_facts(
    db: Database,
    ski_ids: Iterable[str],
    asked: Collection[str] = (),
    *,
    whole: bool = False,
    keep: bool = True,
    fresh: bool = False,
) -> dict[str, SkiFacts]:
    """The facts of these skis by ski: all of them with ``whole``, else those that still matter.

    Those are the jobs ``asked`` for, all that are open, the setting that was read and signed off
    last, and every job to which something was done after the first of these was added. Where jobs
    are asked for and none of them is a re-check, the last setting is left out if it is plain that
    it bears on none of them. Without ``keep`` they are not kept in memory for the next time;
    ``fresh`` are skis that the open transaction brought.
    """
    wanted = json.dumps(sorted(set(ski_ids)))
    by_ski: dict[str, list[_Row]] = defaultdict(list)
    for row in db.execute(_JOBS, [wanted]):
        by_ski[row[0]].append(tuple(row))
    wished = frozenset(asked)
    done_with = set() if whole or not wished else _done_with(db, by_ski.values())
    sheets = _sheets(db, wanted)
    chosen, settled = dict(by_ski), dict.fromkeys(sheets, "")
    if not whole:
        for ski, jobs in by_ski.items():
            refitted = max(changes_of_parts(sheets.get(ski, ())), default="")
            chosen[ski], settled[ski] = _that_matter(jobs, wished, done_with, refitted)
    wished_for = (job[1] for jobs in chosen.values() for job in jobs)
    kept = facts.facts_for(db, wished_for, keep=keep, fresh=fresh)
    return {
        ski: SkiFacts(
            ski,
            of_ski,
            tuple(
                SkiJob(i, kind, day, bool(is_open), bool(struck), kept[i])
                for _, i, kind, day, is_open, struck, _, _ in chosen.get(ski, ())
            ),
            settled[ski],
        )
        for ski, of_ski in sheets.items()
    }


def _done_with(db: Database, skis: Iterable[list[_Row]]) -> set[str]:
    last = (_last_setting(jobs) for jobs in skis)
    listed = json.dumps([job[1] for job in last if job is not None])
    return {row[0] for row in db.execute(_DONE_WITH, [listed])}


def _last_setting(jobs: list[_Row]) -> _Row | None:
    settled = (j for j in jobs if j[2] == "setting" and j[6] and not j[4] and not j[5])
    return max(settled, key=_newest, default=None)


def _that_matter(
    jobs: list[_Row], asked: frozenset[str], done_with: set[str], refitted: str
) -> tuple[list[_Row], str]:
    """The jobs that matter, and the id of the one before which no change of parts does.

    ``refitted`` is the id of the last such change.
    """
    last = _last_setting(jobs)
    needed = {job[1] for job in jobs if job[1] in asked or (job[4] and not job[5])}
    first = min((job[1] for job in jobs if job[1] in asked or job is last), default="")
    recent = [job for job in jobs if job[1] in needed or job is last or _newest(job) > first]
    if last is None or last[1] not in done_with or last[1] in needed:
        return recent, ""
    others = [job for job in recent if job is not last]
    plain = all(job[2] == "setting" and job[1] > _newest(last) for job in others)
    # Parts changed in the middle of the last setting: only its facts tell whether it was measured.
    midway = last[1] < refitted < _newest(last)
    return (others, last[1]) if plain and not midway else (recent, "")


def _newest(job: _Row) -> str:
    return max(job[6], job[7])


def _sheets(db: Database, wanted: str) -> Mapping[str, tuple[SkiSheet, ...]]:
    methods: dict[tuple[str, SkiSheet], list[str]] = {}
    for ski, since, has_wing, blade, block, struck, by, method_id in db.execute(_SHEETS, [wanted]):
        bare = SkiSheet(since, (), bool(has_wing), (blade, block), bool(struck), by)
        listed = methods.setdefault((ski, bare), [])
        if method_id is not None:
            listed.append(method_id)
    out: dict[str, tuple[SkiSheet, ...]] = {}
    for (ski, bare), listed in methods.items():
        out[ski] = (*out.get(ski, ()), replace(bare, methods=tuple(listed)))
    return out
