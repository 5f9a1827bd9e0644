"""A day's queue as lists and sums need it: a fixed number of queries, however long the day is."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Iterator
from typing import Any

from workbench.frozen import dataclass
from workbench.records.store.database import Database
from workbench.records.store.row_checks import day_text
from workbench.records.store.rows import AnyFact, QueueItem
from workbench.records.tables.jobs import OF_DAY, UNFINISHED_BEFORE, item_of, item_rows
from workbench.records.tables.ski_facts import SkiFacts, ski_facts


@dataclass(frozen=True, slots=True)
class DayItem:
    """A job of the queue with all that its stage is read off.

    ``methods``: id and tolerance (mm) of each reading of its ski, in order. ``ski`` has the facts
    of this job and of those beside it.
    """

    item: QueueItem
    ski_note: str
    has_wing: bool
    methods: tuple[tuple[str, float], ...]
    ski: SkiFacts

    @property
    def facts(self) -> tuple[AnyFact, ...]:
        """The facts of this job in order."""
        return self.ski.job(self.item.job.id).facts


@dataclass(frozen=True, slots=True)
class Unread:
    """A job of the queue of which only its place in it and a sign-off were looked for."""

    job_id: str
    signed_off: bool


@dataclass(frozen=True, slots=True)
class JobTimes:
    """When a signed-off job was first ticked and signed off (ISO UTC), and its breaks in order.

    ``breaks``: when it was set aside (True) or taken up again (False).
    """

    job_id: str
    begun: str
    signed: str
    breaks: tuple[tuple[bool, str], ...]


_LIVE = "NOT EXISTS (SELECT 1 FROM strikes x WHERE x.row_id = t.id)"

_METHODS = """SELECT p.owner, p.method_id, m.tolerance_mm FROM json_each(?) o
    JOIN ski_methods p ON p.owner = o.value
    JOIN methods m ON m.id = (SELECT max(v.id) FROM methods v WHERE v.root = p.method_id)
    ORDER BY p.owner, p.place"""

_FIRST = f"""SELECT t.job_id, min(t.at) AS at FROM json_each(?) o
    JOIN ticks t ON t.job_id = o.value WHERE {_LIVE} GROUP BY t.job_id"""

_SIGNED = f"""SELECT t.job_id, max(t.at) AS at FROM json_each(?) o
    JOIN sign_offs t ON t.job_id = o.value WHERE {_LIVE} GROUP BY t.job_id"""

_BREAKS = f"""SELECT t.job_id, t.kind, t.at FROM json_each(?) o
    JOIN marks t ON t.job_id = o.value
    WHERE t.kind IN ('set_aside', 'taken_up') AND {_LIVE} ORDER BY t.id"""

_LAST_RIDDEN = """SELECT max(q.day) AS day FROM queue q JOIN jobs j ON j.id = q.job_id
    WHERE q.day >= ? AND q.day < ? AND q.open = 0 AND q.struck = 0 AND j.kind = 'setting'"""

_NOT_SEEN_SINCE = """q.day = ? AND q.open = 0 AND q.struck = 0 AND j.kind = 'setting'
    AND NOT EXISTS (SELECT 1 FROM jobs l JOIN queue w ON w.job_id = l.id
        WHERE l.ski_id = j.ski_id AND l.id > j.id AND w.struck = 0)"""

_LAST_SETTING = """SELECT j.id FROM jobs j JOIN queue q ON q.job_id = j.id
    WHERE j.ski_id = ? AND j.id < ? AND j.kind = 'setting' AND q.open = 0 AND q.struck = 0
    ORDER BY j.id DESC LIMIT 1"""

_QUEUED = "SELECT job_id AS id, open FROM queue q WHERE {where} ORDER BY day, rank, job_id"

AFTER_EVERY_ID = "~"


NEAR = 28
"""So many jobs to each side are more than a screen shows."""


def day_list(db: Database, day: str, *, with_unfinished: bool = False) -> tuple[DayItem, ...]:
    """A day's queue by rank with all that stages are read off, in a fixed number of queries.

    ``with_unfinished``: what earlier days left open comes before it.
    """
    day = day_text("day", day)
    found = item_rows(db, UNFINISHED_BEFORE, [day]) if with_unfinished else []
    found += item_rows(db, OF_DAY, [day])
    return tuple(_items(db, found))


def day_around(db: Database, day: str, near: str) -> tuple[DayItem | Unread, ...]:
    """A day's queue behind what earlier days left open, read of the jobs around one alone.

    ``near`` is its id; where it is not in the list, it is read around the first that is open.
    """
    day = day_text("day", day)
    queued = [*db.query(_QUEUED.format(where=UNFINISHED_BEFORE), [day])]
    queued += db.query(_QUEUED.format(where=OF_DAY), [day])
    seen = json.dumps([row["id"] for row in _around(queued, near)])
    rows = item_rows(db, "q.job_id IN (SELECT value FROM json_each(?))", [seen])
    read = {item.item.job.id: item for item in _items(db, rows)}
    return tuple(read.get(row["id"]) or Unread(row["id"], not row["open"]) for row in queued)


def _items(db: Database, rows: list[dict[str, Any]]) -> Iterator[DayItem]:
    methods = _methods(db, {row["ski_row"] for row in rows})
    kept = ski_facts(db, [row["ski_id"] for row in rows], [row["id"] for row in rows])
    for row in rows:
        yield DayItem(
            item_of(row),
            row["ski_note"],
            bool(row["has_wing"]),
            tuple(methods[row["ski_row"]]),
            kept[row["ski_id"]],
        )


def _around(queued: list[dict[str, Any]], near: str) -> list[dict[str, Any]]:
    at = next((i for i, row in enumerate(queued) if row["id"] == near), None)
    if at is None:
        at = next((i for i, row in enumerate(queued) if row["open"]), 0)
    return queued[max(at - NEAR, 0) : at + NEAR + 1]


def _methods(db: Database, ski_rows: Iterable[str]) -> dict[str, list[tuple[str, float]]]:
    out: dict[str, list[tuple[str, float]]] = defaultdict(list)
    for row in db.query(_METHODS, [json.dumps(sorted(ski_rows))]):
        out[row["owner"]].append((row["method_id"], row["tolerance_mm"]))
    return out


def job_times(db: Database, job_ids: Iterable[str]) -> tuple[JobTimes, ...]:
    """When those of these jobs that are signed off were begun, broken off and signed off."""
    asked = [json.dumps(list(job_ids))]
    begun = {row["job_id"]: row["at"] for row in db.query(_FIRST, asked)}
    breaks: dict[str, list[tuple[bool, str]]] = defaultdict(list)
    for row in db.query(_BREAKS, asked):
        breaks[row["job_id"]].append((row["kind"] == "set_aside", row["at"]))
    return tuple(
        JobTimes(row["job_id"], begun[row["job_id"]], row["at"], tuple(breaks[row["job_id"]]))
        for row in db.query(_SIGNED, asked)
        if row["job_id"] in begun
    )


def ridden_since(db: Database, first_day: str, day: str) -> tuple[QueueItem, ...]:
    """The settings signed off on the last such day before ``day`` whose ski has no newer job.

    ``first_day`` is the earliest day that counts.
    """
    days = [day_text("day", first_day), day_text("day", day)]
    last: dict[str, Any] = next(db.query(_LAST_RIDDEN, days))
    if last["day"] is None:
        return ()
    return tuple(map(item_of, item_rows(db, _NOT_SEEN_SINCE, [last["day"]])))


_SEEN = """SELECT mm FROM readings r WHERE method_id = ?
    AND NOT EXISTS (SELECT 1 FROM strikes s WHERE s.row_id = r.id)
    ORDER BY mm {way} LIMIT 1"""


def seen_range_mm(db: Database, method_id: str) -> tuple[float, float] | None:
    """The least and the largest reading (mm) ever kept by a method, struck ones aside; or None."""
    ends = [
        float(row["mm"])
        for way in ("ASC", "DESC")
        for row in db.query(_SEEN.format(way=way), [method_id])
    ]
    return (ends[0], ends[1]) if ends else None


def last_setting(db: Database, ski_id: str, before: str | None = None) -> str | None:
    """The id of a ski's latest signed-off setting, older than the job ``before``; or None."""
    for row in db.query(_LAST_SETTING, [ski_id, before or AFTER_EVERY_ID]):
        return str(row["id"])
    return None
