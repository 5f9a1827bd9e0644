"""What happened to a job, in order, and entries of no job; nothing is taken away, only struck out.

Entries are caliper checks, paired readings, curves of a base and studies.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import asdict, fields, replace
from operator import attrgetter
from typing import Any, TypeVar

from workbench.errors import InputError, shown
from workbench.records.store import rows, strikes
from workbench.records.store.database import (
    DamagedError,
    Database,
    StruckTwiceError,
    UnknownRowError,
)
from workbench.records.store.schema import CHECK_SUM
from workbench.records.store.specs import ENTRY_TABLES, FACT_TABLES, FACTS, STRIKABLE, Table
from workbench.records.store.writer import Pen
from workbench.records.tables import jobs

F = TypeVar("F", bound=rows.Fact)

_OWN = {
    kind: tuple(
        f.name for f in fields(kind) if f.name not in ("id", "at", "who", "job_id", "struck")
    )
    for kind in FACT_TABLES
}
"""What a fact of each kind says, by its columns."""
_STRIKE_COLUMNS = 4
"""The last columns of a fact: when, by whom and why it was struck, and what replaces it."""

_FACTS = f"""SELECT t.*, {strikes.JOINED}
    FROM json_each(?) o JOIN {{table}} t ON t.job_id = o.value
    LEFT JOIN strikes s ON s.row_id = t.id"""

_MARKS = f"""SELECT o.value, (SELECT count(*) FROM strikes) + (SELECT count(*) FROM other_strikes),
    {
    ", ".join(
        f"(SELECT count(*) || ' ' || max(t.id) FROM {table} t WHERE t.job_id = o.value)"
        for table in FACT_TABLES.values()
    )
}
    FROM json_each(?) o"""
"""What tells that nothing was added to a job and nothing struck: rows never change."""

MOST_KEPT = 1500
"""So many jobs are kept as read: more than any day's queue, a few megabytes."""

_LAST_READ = """
    SELECT job_id, newest FROM (
        SELECT j.id AS job_id, (SELECT max(r.id) FROM readings r WHERE r.job_id = j.id) AS newest
        FROM jobs j WHERE j.ski_id = ?)
    WHERE newest IS NOT NULL ORDER BY newest DESC
"""

_TURNS = """SELECT u.* FROM json_each(?) o JOIN passes p ON p.job_id = o.value
    JOIN turns u ON u.owner = p.id ORDER BY u.owner, u.place"""


_OF_JOBS = "\n    UNION ALL ".join(
    f"SELECT t.id FROM own o JOIN {table} t ON t.job_id = o.id"
    + (" WHERE t.kind <> 'held'" if table is Table.MARKS else "")
    for table in FACTS
)

_SEEN = f"""WITH own AS (SELECT id, day FROM jobs WHERE ski_id = :ski),
    kept AS (SELECT id FROM own UNION ALL {_OF_JOBS}),
    struck AS (SELECT s.id FROM kept k JOIN strikes s ON s.row_id = k.id)
    SELECT (SELECT count(*) FROM kept) + (SELECT count(*) FROM struck) + (SELECT count(*) FROM
            (SELECT DISTINCT m.job_id, m.day FROM own o
                JOIN moves m ON m.job_id = o.id AND m.day <> o.day)) AS facts,
        max(coalesce((SELECT max(id) FROM kept), ''), coalesce((SELECT max(id) FROM struck), ''))
            AS newest,
        (SELECT count(*) FROM skis WHERE root = :ski)
        + (SELECT count(*) FROM blades WHERE root = :blade)
        + (SELECT count(*) FROM blocks WHERE root = :block)
        + (SELECT count(*) FROM methods WHERE blade_id = :blade)
        + (SELECT count(*) FROM baselines WHERE ski_id = :ski)
        + (SELECT count(*) FROM json_each(:names) o JOIN settings t ON t.name = o.value)
            AS sheets"""


def seen(db: Database, ski: rows.Ski, settings: Iterable[str] = ()) -> rows.SkiSeen:
    """What there is of a ski now, to tell later whether something was added since.

    ``settings`` are the names of those that bear on how the ski is shown.
    """
    names = json.dumps(list(settings))
    asked = {"ski": ski.id, "blade": ski.blade_id, "block": ski.block_id, "names": names}
    return rows.SkiSeen(*db.conn.execute(_SEEN, asked).fetchone())


def add_fact(pen: Pen, job_id: str, who: str, fact: F) -> F:
    """Keep one fact, with its id, time and job; of a round the turns of its studs as well.

    Of targets the latest of a method is in force; a ``Temperature`` may be named by readings taken
    from then on.
    """
    row_id, at = pen.stamp()
    kept = {name: getattr(fact, name) for name in _OWN[type(fact)]}
    turns: list[dict[str, Any]] = []
    if isinstance(fact, rows.RideNote):
        kept["complaints"] = " ".join(fact.complaints)
    elif isinstance(fact, rows.PassRow):
        turns = [asdict(turn) for turn in kept.pop("turns")]
    table = FACT_TABLES[type(fact)]
    pen.insert(table, turns, id=row_id, at=at, who=who, job_id=job_id, **kept)
    for place, turn in enumerate(turns):
        pen.insert(Table.TURNS, owner=row_id, place=place, **turn)
    return replace(fact, id=row_id, at=at, who=who, job_id=job_id)


def correct_reading(
    pen: Pen, reading_id: str, who: str, reason: str, right: rows.Reading
) -> rows.Reading:
    """Strike a reading out and keep the one that replaces it in its job, both or neither."""
    sql = "SELECT job_id FROM readings WHERE id = ?"
    found = list(pen.db.query(sql, [reading_id]))
    if not found:
        raise UnknownRowError("reading", reading_id)
    successor = add_fact(pen, found[0]["job_id"], who, right)
    strike(pen, reading_id, reason, who, successor.id)
    return successor


def strike(
    pen: Pen, row_id: str, reason: str, who: str, replaced_by: str | None = None
) -> rows.Strike:
    """Strike a row out, of whatever kind it is; it stays readable with the reason beside it.

    Raises ``StruckTwiceError`` where it was struck before, ``UnknownRowError`` where no row
    has that id.
    """
    if not reason.strip():
        raise InputError("reason", reason, "a word or two on why")
    table = _table_of(pen.db, row_id)
    for earlier in pen.db.query("SELECT who, at FROM strikes WHERE row_id = ?", [row_id]):
        raise StruckTwiceError(row_id, earlier["who"], earlier["at"])
    if replaced_by is not None and (
        replaced_by == row_id or table != _table_of(pen.db, replaced_by)
    ):
        raise InputError("replaced_by", replaced_by, f"the id of another row of {table}")
    strike_id, at = pen.stamp()
    pen.insert(
        Table.STRIKES,
        id=strike_id,
        at=at,
        who=who,
        row_table=table.value,
        row_id=row_id,
        reason=reason,
        replaced_by=replaced_by,
    )
    return rows.Strike(at, who, reason, replaced_by)


def _table_of(db: Database, row_id: str) -> Table:
    for table in STRIKABLE:
        if list(db.query(f"SELECT 1 FROM {table} WHERE id = ?", [row_id])):
            return table
    raise UnknownRowError("row", row_id)


def facts(db: Database, job_id: str) -> tuple[rows.AnyFact, ...]:
    """All facts of a job in order, struck ones included; raises ``UnknownRowError``."""
    jobs.job(db, job_id)
    return facts_for(db, (job_id,))[job_id]


def facts_for(
    db: Database, job_ids: Iterable[str], *, keep: bool = True, fresh: bool = False
) -> dict[str, tuple[rows.AnyFact, ...]]:
    """The facts of many jobs, with an entry for every id asked; one query for each table.

    Those of a job to which nothing was added since they were last read are not read again; without
    ``keep`` these are not kept for that. ``fresh``: all were written in the transaction that is
    open, so that none is damaged.
    """
    db.forget_if_others_wrote()
    wanted = list(dict.fromkeys(job_ids))
    marked = db.execute(_MARKS, [json.dumps(wanted)]) if keep or db.kept else ()
    marks = {row[0]: tuple(row[1:]) for row in marked}
    out: dict[str, tuple[rows.AnyFact, ...]] = {}
    for job_id in wanted:
        kept: Any = db.kept.get(job_id)
        if kept is not None and kept[0] == marks[job_id]:
            out[job_id] = kept[1]
    new = [job_id for job_id in wanted if job_id not in out]
    if len(db.kept) + len(new) > MOST_KEPT:
        db.kept.clear()
    read = _read(db, new, fresh) if new else {}
    if keep:
        db.kept.update((job_id, (marks[job_id], read[job_id])) for job_id in new[:MOST_KEPT])
    out |= read
    return {job_id: out[job_id] for job_id in wanted}


def _read(db: Database, asked: list[str], fresh: bool) -> dict[str, tuple[rows.AnyFact, ...]]:
    asked_text = json.dumps(asked)
    found: dict[str, list[rows.AnyFact]] = {job_id: [] for job_id in asked}
    turns = _turns(db, asked_text)
    others: Mapping[str, tuple[rows.Strike, ...]] | None = None  # few books have any
    for kind, table in FACT_TABLES.items():
        kept_rows = db.execute(_FACTS.format(table=table), [asked_text])
        names = [column[0] for column in kept_rows.description[:-_STRIKE_COLUMNS]]
        for row in kept_rows:
            columns: dict[str, Any] = dict(zip(names, row, strict=False))
            made = turns[columns["id"]] if kind is rows.PassRow else ()
            struck = None
            if not fresh and columns["id"] not in db.sound:
                struck = strikes.of_damage(db, table, columns, map(asdict, made))
            columns.pop(CHECK_SUM, None)
            if kind is rows.PassRow:
                columns["turns"] = tuple(made)
            elif kind is rows.RideNote:
                columns["complaints"] = tuple(columns["complaints"].split())
            strike_of = row[-_STRIKE_COLUMNS:]
            if strike_of[0] is not None:
                others = strikes.others_of(db) if others is None else others
                at, by, reason, new = strike_of
                struck = rows.Strike(at, by, reason, new, others.get(columns["id"], ()))
            if columns["job_id"] not in found:
                raise DamagedError(f"{table} of job {shown(columns['job_id'])}")
            found[columns["job_id"]].append(kind(struck=struck, **columns))
    return {job_id: tuple(sorted(kept, key=attrgetter("id"))) for job_id, kept in found.items()}


def _turns(db: Database, asked: str) -> dict[str, list[rows.Turn]]:
    turns: dict[str, list[rows.Turn]] = defaultdict(list)
    for row in db.query(_TURNS, [asked]):
        turns[row["owner"]].append(rows.Turn(row["stud"], row["turns_exact"], row["turns"]))
    return turns


def history_of_ski(db: Database, ski_id: str) -> tuple[rows.JobHistory, ...]:
    """Every job of a ski with its facts, oldest first, struck ones included."""
    of_ski = jobs.jobs(db, "j.ski_id = ?", [ski_id])
    kept = facts_for(db, (job.id for job in of_ski))
    return tuple(rows.JobHistory(job, kept[job.id]) for job in of_ski)


def last_read_jobs(db: Database, ski_id: str) -> tuple[tuple[str, str], ...]:
    """The ids of a ski's jobs that were read, each with its newest reading's: newest first.

    Struck readings count, so that no standing reading of a job is newer than what it says.
    """
    return tuple((job_id, newest) for job_id, newest in db.execute(_LAST_READ, [ski_id]))


_TURNED = """SELECT j.id FROM jobs j
    WHERE j.ski_id IN (SELECT root FROM skis WHERE block_id = ?)
    AND (EXISTS (SELECT 1 FROM passes p WHERE p.job_id = j.id)
        OR EXISTS (SELECT 1 FROM marks m WHERE m.job_id = j.id AND m.kind = 'step'))
    ORDER BY j.id"""

_MARKED = f"""WITH own AS (SELECT value AS id FROM json_each(?)),
    kept AS ({_OF_JOBS}), struck AS (
        SELECT s.id FROM (SELECT id FROM kept UNION ALL SELECT id FROM own) k
        JOIN strikes s ON s.row_id = k.id)
    SELECT (SELECT count(*) FROM kept), (SELECT max(id) FROM kept),
        (SELECT count(*) FROM struck), (SELECT max(id) FROM struck)"""


def turned_jobs(db: Database, block_id: str) -> tuple[str, ...]:
    """The ids of the jobs in which a stud of a block was turned, oldest first.

    Jobs of every ski that ever had the block.
    """
    return tuple(row[0] for row in db.execute(_TURNED, [block_id]))


def mark_of_jobs(db: Database, job_ids: Iterable[str]) -> tuple[object, ...]:
    """A mark of what is kept in jobs: another one after any fact or strike was added."""
    asked = json.dumps(list(job_ids))
    return tuple(db.execute(_MARKED, [asked]).fetchone())


def jobs_with_facts(db: Database, job_ids: Iterable[str]) -> tuple[rows.JobHistory, ...]:
    """Jobs with their facts, struck ones included, in the order they were added."""
    asked = tuple(job_ids)
    found = jobs.jobs(db, "j.id IN (SELECT value FROM json_each(?))", [json.dumps(asked)])
    kept = facts_for(db, asked)
    return tuple(rows.JobHistory(job, kept[job.id]) for job in sorted(found, key=lambda j: j.id))


Entry = TypeVar("Entry", bound=rows.Written)

_LISTS = ("parts", "people", "sequence")

_ENTRIES = f"""SELECT t.*, {strikes.JOINED}
    FROM {{table}} t LEFT JOIN strikes s ON s.row_id = t.id WHERE {{where}} ORDER BY t.id"""

_STUDIES_READ = """SELECT t.id, count(*) || ' ' || ifnull(group_concat(s.row_id), '')
    FROM studies t JOIN study_readings r ON r.study_id = t.id
    LEFT JOIN strikes s ON s.row_id = r.id
    WHERE NOT EXISTS (SELECT 1 FROM strikes x WHERE x.row_id = t.id) GROUP BY t.id"""


def add_entry(pen: Pen, entry: Entry, who: str) -> Entry:
    """Keep one entry."""
    row_id, at = pen.stamp()
    kept = {f.name: getattr(entry, f.name) for f in fields(entry) if f.name != "struck"}
    kept |= {name: json.dumps(kept[name]) for name in _LISTS if name in kept}
    pen.insert(ENTRY_TABLES[type(entry)], **kept | {"id": row_id, "at": at, "who": who})
    return replace(entry, id=row_id, at=at, who=who)


def entries_of(db: Database, kind: type[Entry], /, **where: str) -> tuple[Entry, ...]:
    """All entries whose columns are as given, in order, struck ones included."""
    of = " AND ".join(f"t.{column} = ?" for column in where) or "1"
    found = db.query(_ENTRIES.format(table=ENTRY_TABLES[kind], where=of), list(where.values()))
    return strikes.with_others(db, [_entry(db, kind, row) for row in found])


def entry(db: Database, kind: type[Entry], entry_id: str) -> Entry:
    """The entry of this id, struck out or not; raises ``UnknownRowError``."""
    found = entries_of(db, kind, id=entry_id)
    if not found:
        raise UnknownRowError(str(ENTRY_TABLES[kind]), entry_id)
    return found[0]


def studies_read(db: Database) -> tuple[tuple[str, str], ...]:
    """Each study with readings that is not struck out: its id, and a mark of its readings.

    The mark is another one after a reading was kept or struck out.
    """
    return tuple((study_id, mark) for study_id, mark in db.execute(_STUDIES_READ))


def _entry(db: Database, kind: type[Entry], row: dict[str, Any]) -> Entry:
    plain = {name: value for name, value in row.items() if not name.startswith("struck_")}
    for name in _LISTS:
        if name in plain:
            plain[name] = _list(plain[name])
    struck = strikes.of_damage(db, ENTRY_TABLES[kind], row)
    return kind(struck=strikes.struck(row) or struck, **plain)


def _list(text: str) -> tuple[Any, ...]:
    try:
        return tuple(tuple(x) if isinstance(x, list) else x for x in json.loads(text))
    except (ValueError, TypeError) as error:
        raise DamagedError(f"a list {text!r:.60}") from error
