"""The day's queue: jobs, and where each is in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields
from typing import Any

from workbench.records.store.database import Database, UnknownRowError
from workbench.records.store.row_checks import day_text, keepable
from workbench.records.store.rows import AS_USUAL, Job, JobTerms, QueueItem
from workbench.records.store.schema import QUEUE_OF_ROWS
from workbench.records.store.specs import Table
from workbench.records.store.strikes import JOINED, struck
from workbench.records.store.writer import Pen

_JOB = f"""SELECT j.id, j.ski_id, q.day, j.due, q.rank, j.finest_turn, j.kind, j.note, q.open,
    {JOINED}
    FROM jobs j JOIN queue q ON q.job_id = j.id LEFT JOIN strikes s ON s.row_id = j.id"""

_ITEM = """SELECT q.job_id AS id, j.ski_id, q.day, j.due, q.rank, j.finest_turn, j.kind, j.note,
    q.open, NULL AS struck_at, k.name AS ski_name, k.rider, k.model, k.serial, k.unit,
    b.name AS blade_name, k.has_wing, k.note AS ski_note, k.id AS ski_row
    FROM queue q JOIN jobs j ON j.id = q.job_id
    JOIN skis k ON k.id = (SELECT max(v.id) FROM skis v WHERE v.root = j.ski_id)
    JOIN blades b ON b.id = (SELECT max(v.id) FROM blades v WHERE v.root = k.blade_id)
    WHERE {where} ORDER BY q.day, q.rank, q.job_id"""

_OF_JOB = tuple(f.name for f in fields(Job) if f.name != "struck")
_OF_SKI = tuple(f.name for f in fields(QueueItem) if f.name not in ("job", "signed_off"))

OF_DAY = "q.day = ? AND q.struck = 0"

UNFINISHED_BEFORE = "q.open = 1 AND q.struck = 0 AND q.day < ?"


def add_job(
    pen: Pen, ski_id: str, day: str, due: str = "", *, who: str = "", how: JobTerms = AS_USUAL
) -> Job:
    """Put a ski at the end of a day's queue (``day`` as YYYY-MM-DD)."""
    day = day_text("day", day)
    block_turn = _block_turn(pen.db, ski_id)
    row_id, at = pen.stamp()
    pen.insert(
        Table.JOBS,
        id=row_id,
        at=at,
        who=who,
        ski_id=ski_id,
        day=day,
        due=due,
        rank=_last_rank(pen.db, day) + 1.0,
        finest_turn=block_turn if how.finest_turn is None else how.finest_turn,
        kind=how.kind,
        note=how.note,
    )
    return job(pen.db, row_id)


def _block_turn(db: Database, ski_id: str) -> float:
    sql = """SELECT b.finest_turn AS turn FROM skis k JOIN blocks b ON b.root = k.block_id
        WHERE k.root = ? ORDER BY k.id DESC, b.id DESC LIMIT 1"""
    for row in db.query(sql, [ski_id]):
        return float(row["turn"])
    raise UnknownRowError("ski", ski_id)


def _last_rank(db: Database, day: str) -> float:
    row = next(db.query("SELECT max(rank) AS rank FROM queue WHERE day = ?", [day]))
    return 0.0 if row["rank"] is None else float(row["rank"])


def move_job(pen: Pen, job_id: str, rank: float, *, who: str = "") -> Job:
    """Move a job within its day to where ``rank`` puts it."""
    return _move(pen, job_id, job(pen.db, job_id).day, rank, who)


def carry_job(pen: Pen, job_id: str, day: str, *, who: str = "") -> Job:
    """Carry a job over to the end of another day's queue; on its own day it stays as it is."""
    day = day_text("day", day)
    standing = job(pen.db, job_id)
    if standing.day == day:
        return standing
    return _move(pen, job_id, day, _last_rank(pen.db, day) + 1.0, who)


def _move(pen: Pen, job_id: str, day: str, rank: float, who: str) -> Job:
    keepable("rank", rank)
    row_id, at = pen.stamp()
    pen.insert(Table.MOVES, id=row_id, at=at, who=who, job_id=job_id, day=day, rank=rank)
    return job(pen.db, job_id)


def job(db: Database, job_id: str) -> Job:
    """The job of this id, on the day and rank it is at now; raises ``UnknownRowError``."""
    found = jobs(db, "j.id = ?", [job_id])
    if not found:
        raise UnknownRowError("job", job_id)
    return found[0]


def jobs(db: Database, where: str, values: Sequence[object]) -> tuple[Job, ...]:
    """Jobs in the order they were added."""
    rows = db.query(f"{_JOB} WHERE {where} ORDER BY j.id", list(values))
    return tuple(_job_of(row) for row in rows)


def _job_of(row: dict[str, Any]) -> Job:
    return Job(**{name: row[name] for name in _OF_JOB}, struck=struck(row))


def day_queue(db: Database, day: str) -> tuple[QueueItem, ...]:
    """A day's queue by rank, signed-off jobs included, struck ones not."""
    return tuple(map(item_of, item_rows(db, OF_DAY, [day_text("day", day)])))


def unfinished_before(db: Database, day: str) -> tuple[QueueItem, ...]:
    """The jobs of earlier days that were never signed off, oldest day first."""
    return tuple(map(item_of, item_rows(db, UNFINISHED_BEFORE, [day_text("day", day)])))


def item_rows(db: Database, where: str, values: Sequence[object]) -> list[dict[str, Any]]:
    """Rows of the queue by day and rank, each with what a list shows of its ski."""
    return list(db.query(_ITEM.format(where=where), list(values)))


def item_of(row: dict[str, Any]) -> QueueItem:
    """The item of such a row."""
    shown = {name: row[name] for name in _OF_SKI}
    return QueueItem(job=_job_of(row), signed_off=not row["open"], **shown)


def rebuild_queue(pen: Pen) -> None:
    """Compute the queue again from the kept rows, as after rows came from another book."""
    pen.db.execute(f"DELETE FROM {Table.QUEUE}")
    pen.db.execute(f"INSERT INTO {Table.QUEUE} {QUEUE_OF_ROWS}")
