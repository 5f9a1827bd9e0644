"""What a file brought, kept beside the book for as long as it is open, and what of it fits badly.

Which rows came lies in temporary tables of the connection, so that a file of any size takes no
memory; the next file empties them. What fits badly is shown, never settled here.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal, TypeAlias

from workbench.records.exchange.form import Row
from workbench.records.store.database import Database
from workbench.records.store.specs import FACTS, ORDER, ROSTER, Table


@dataclass(frozen=True, slots=True)
class Differs:
    """A row that is here with other content: the first column that differs, ours and theirs."""

    table: Table
    place: str
    row_id: str
    column: str
    ours: object
    theirs: object


@dataclass(frozen=True, slots=True)
class StruckTwice:
    """A row that another bench struck out too; both strikes are kept."""

    table: Table
    row_id: str
    ours: Row
    theirs: Row


@dataclass(slots=True)
class Brought:
    """What a file brought: how many rows were new, by table, how many known, what does not fit.

    ``settings_left``: names of settings that belong to one bench and were left. ``latest``: the
    time of the newest row in the file. Which rows they were is asked of the book by the functions
    below until the next file comes in; ``rows`` are those that were new of what was in memory, so
    none of a file's lines.
    """

    new: dict[Table, int] = field(default_factory=dict)
    rows: dict[Table, list[Row]] = field(default_factory=dict, compare=False)
    known: int = 0
    differs: list[Differs] = field(default_factory=list)
    struck_twice: list[StruckTwice] = field(default_factory=list)
    settings_left: list[str] = field(default_factory=list)
    latest: datetime | None = None


MANY = 20_000
"""From so many new rows on, whole tables are gone through once instead of row by row."""

_TABLES = {
    "came_new": "of TEXT, id TEXT, PRIMARY KEY (of, id)",
    "came_known": "of TEXT, id TEXT, PRIMARY KEY (of, id)",
    "came_jobs": "id TEXT PRIMARY KEY",
}


def begin(db: Database) -> None:
    """Begin with none, within an open transaction that checks references when it ends."""
    for name, columns in _TABLES.items():
        db.execute(f"CREATE TEMP TABLE IF NOT EXISTS {name} ({columns}) WITHOUT ROWID")
    forget(db)
    db.execute("PRAGMA defer_foreign_keys = ON")


def forget(db: Database) -> None:
    """Let go of what came."""
    db.execute("DROP INDEX IF EXISTS temp.came_new_id")
    for name in _TABLES:
        db.execute(f"DELETE FROM temp.{name}")


def add(db: Database, table: Table, ids: Collection[str], *, is_new: bool) -> None:
    """Note rows of a table."""
    name = "came_new" if is_new else "came_known"
    sql = f"INSERT INTO temp.{name} SELECT ?, value FROM json_each(?)"
    if ids:
        db.execute(sql, [table.value, json.dumps([*ids])])


def add_jobs(db: Database, ids: Collection[str]) -> None:
    """Note jobs of which new facts came."""
    sql = "INSERT OR IGNORE INTO temp.came_jobs SELECT value FROM json_each(?)"
    db.execute(sql, [json.dumps(sorted(ids))])


def new_values(db: Database, table: Table, column: str) -> tuple[str, ...]:
    """What the new rows of a table say in a column, each once and sorted."""
    tables = (table, Table.OTHER_STRIKES) if table is Table.STRIKES else (table,)
    sql = " UNION ".join(
        f"""SELECT t.{column} FROM temp.came_new a JOIN {name} t ON t.id = a.id
        WHERE a.of = '{table}'"""
        for name in tables
    )
    return tuple(value for (value,) in db.execute(f"{sql} ORDER BY 1"))


def new_among(db: Database, ids: Iterable[str]) -> set[str]:
    """Those of these ids that are of new rows, whatever their table."""
    sql = f"""SELECT o.value FROM json_each(?) o WHERE EXISTS (SELECT 1 FROM temp.came_new a
        WHERE a.of IN ({", ".join(f"'{table}'" for table in ORDER)}) AND a.id = o.value)"""
    return {row_id for (row_id,) in db.execute(sql, [json.dumps([*ids])])}


def ids_twice(db: Database, count_new: int) -> Iterator[tuple[str, Table, str]]:
    """Yield each new id that a row of another table has: its table, the other one, the id.

    A strike would strike out both.
    """
    if count_new >= MANY:
        db.execute("CREATE INDEX temp.came_new_id ON came_new(id)")
    for table in ORDER if count_new else ():
        if count_new >= MANY:
            joined = f"{table} t CROSS JOIN temp.came_new a ON a.id = t.id"
        else:
            joined = f"temp.came_new a CROSS JOIN {table} t ON t.id = a.id"
        sql = f"SELECT a.of, a.id FROM {joined} WHERE a.of <> ?"
        for of, row_id in db.execute(sql, [table.value]):
            yield of, table, row_id


# -- what fits badly together after it -------------------------------------------------------------

Kind: TypeAlias = Literal["serial", "name", "twins", "corrected", "queued", "worked"]

_NOW = """SELECT t.root, t.name{more} FROM {table} t
    WHERE t.id = (SELECT max(v.id) FROM {table} v WHERE v.root = t.root)
    AND NOT EXISTS (SELECT 1 FROM strikes s WHERE s.row_id = t.root) {only} ORDER BY t.root"""

_KNOWN = {
    Table.BLADES: "AND t.outline_mm <> '[]'",
    Table.BLOCKS: "AND EXISTS (SELECT 1 FROM studs p WHERE p.owner = t.id)",
}
"""Among parts that are not known yet nobody chooses."""

_WAITING = """SELECT j.ski_id, q.day FROM (SELECT DISTINCT n.ski_id AS id FROM temp.came_new a
        JOIN jobs n ON n.id = a.id WHERE a.of = 'jobs') o JOIN jobs j ON j.ski_id = o.id
    JOIN queue q ON q.job_id = j.id WHERE q.open = 1 AND q.struck = 0 ORDER BY q.day, j.id"""

_NOT_IN_FILE = """NOT EXISTS (SELECT 1 FROM temp.came_new f WHERE f.of = '{table}' AND f.id = t.id)
    AND NOT EXISTS (SELECT 1 FROM temp.came_known f WHERE f.of = '{table}' AND f.id = t.id)"""


@dataclass(frozen=True, slots=True)
class Clash:
    """``subject`` is what it is about, ``others`` the names, serials or days that stand together.

    ``serial``: one serial, several names. ``name``: one ski's name, several serials. ``twins``: two
    things of one kind and name. ``corrected``: a thing that both benches corrected; the later one
    is in force. ``queued``: a ski that waits more than once. ``worked``: a job that both benches
    worked on since they last exchanged.
    """

    kind: Kind
    table: Table
    subject: str
    others: tuple[str, ...] = ()


def clashes(db: Database) -> tuple[Clash, ...]:
    """All clashes that have to do with the rows that the last file brought."""
    twins = (Table.BLADES, Table.BLOCKS, Table.CALIPERS)
    return (
        *_of_skis(db),
        *(clash for table in twins for clash in _twins(db, table)),
        *(clash for table in ROSTER for clash in _corrected(db, table)),
        *_queued(db),
        *_worked(db),
    )


def _of_skis(db: Database) -> Iterator[Clash]:
    new = new_values(db, Table.SKIS, "root")
    found = db.execute(_NOW.format(table=Table.SKIS, more=", t.serial", only="")) if new else ()
    skis = [*found]
    for same in _alike(skis, 2, new):
        yield Clash("serial", Table.SKIS, same[0][2], tuple(name for _, name, _ in same))
    for same in _alike(skis, 1, new):
        serials = {_key(serial): serial for _, _, serial in same}
        if len(serials) > 1:
            yield Clash("name", Table.SKIS, same[0][1], tuple(serials.values()))


def _twins(db: Database, table: Table) -> Iterator[Clash]:
    new = new_values(db, table, "root")
    sql = _NOW.format(table=table, more="", only=_KNOWN.get(table, ""))
    for same in _alike(db.execute(sql) if new else (), 1, new):
        yield Clash("twins", table, same[0][1])


def _alike(
    found: Iterable[tuple[str, ...]], column: int, new: Collection[str]
) -> Iterator[list[tuple[str, ...]]]:
    """Yield the things that say the same in a column, where one of several is new by its root."""
    by_text: dict[str, list[tuple[str, ...]]] = defaultdict(list)
    for thing in found:
        by_text[_key(thing[column])].append(thing)
    roots = {*new}
    for text, same in by_text.items():
        if text and len(same) > 1 and not roots.isdisjoint(thing[0] for thing in same):
            yield same


def _key(text: str) -> str:
    return " ".join(text.split()).casefold()


def _corrected(db: Database, table: Table) -> Iterator[Clash]:
    sql = f"""SELECT t.root, t.name FROM {table} t WHERE t.root <> t.id AND t.root IN (
            SELECT n.root FROM temp.came_new a JOIN {table} n ON n.id = a.id
            WHERE a.of = '{table}' AND n.root <> n.id)
        AND {_NOT_IN_FILE.format(table=table)} ORDER BY t.root, t.id"""
    own: dict[str, str] = dict(db.execute(sql))
    yield from (Clash("corrected", table, name) for name in own.values())


def _queued(db: Database) -> Iterator[Clash]:
    days: dict[str, list[str]] = defaultdict(list)
    for ski, day in db.execute(_WAITING):
        days[ski].append(day)
    twice = {ski: tuple(waits) for ski, waits in days.items() if len(waits) > 1}
    names = _ski_names(db, twice)
    yield from (Clash("queued", Table.JOBS, names[ski], waits) for ski, waits in twice.items())


def _worked(db: Database) -> Iterator[Clash]:
    """Jobs known before that got new facts, and have facts here that the file does not have."""
    own = " OR ".join(
        f"""EXISTS (SELECT 1 FROM {table} t WHERE t.job_id = c.id
            AND {_NOT_IN_FILE.format(table=table)})"""
        for table in FACTS
    )
    sql = f"""SELECT j.ski_id, q.day FROM temp.came_jobs c JOIN jobs j ON j.id = c.id
        JOIN queue q ON q.job_id = j.id WHERE NOT EXISTS (
            SELECT 1 FROM temp.came_new a WHERE a.of = 'jobs' AND a.id = c.id)
        AND ({own}) ORDER BY j.id"""
    found = db.execute(sql).fetchall()
    names = _ski_names(db, (ski for ski, _ in found))
    yield from (Clash("worked", Table.JOBS, names[ski], (day,)) for ski, day in found)


def skis_touched(db: Database, lists: Iterable[str]) -> tuple[str, ...]:
    """The skis of whose state rows just received may say something else than was known here.

    ``lists`` are the names of the settings that sign-offs are held against.
    """
    struck = new_values(db, Table.STRIKES, "row_id")
    jobs = {*struck}
    for table in FACTS:
        sql = f"SELECT t.job_id FROM json_each(?) o JOIN {table} t ON t.id = o.value"
        jobs |= {job for (job,) in db.execute(sql, [_listed(struck)])}
    names = _listed(lists)
    sql = """SELECT job_id FROM sign_offs WHERE id > (SELECT min(t.id) FROM temp.came_new a
        JOIN settings t ON t.id = a.id JOIN json_each(?) o ON o.value = t.name
        WHERE a.of = 'settings')"""
    jobs |= {job for (job,) in db.execute(sql, [names])}
    sql = """SELECT j.ski_id FROM (SELECT id FROM temp.came_jobs
            UNION SELECT id FROM temp.came_new WHERE of = 'jobs'
            UNION SELECT value FROM json_each(?)) o
        JOIN jobs j ON j.id = o.id UNION SELECT t.root FROM temp.came_new a
        JOIN skis t ON t.id = a.id WHERE a.of = 'skis' ORDER BY 1"""
    return tuple(ski for (ski,) in db.execute(sql, [_listed(jobs)]))


def newly_struck(db: Database, brought: Brought) -> set[str]:
    """The ids of the rows that are struck out now and were not before the last file."""
    new = {*new_values(db, Table.STRIKES, "id")}
    before = {t.row_id for t in brought.struck_twice if t.ours["id"] not in new}
    return {*new_values(db, Table.STRIKES, "row_id")} - before


def _ski_names(db: Database, skis: Iterable[str]) -> dict[str, str]:
    sql = """SELECT t.root, t.name FROM json_each(?) o JOIN skis t ON t.root = o.value
        ORDER BY t.id"""
    return dict(db.execute(sql, [_listed(skis)]).fetchall())


def _listed(ids: Iterable[str]) -> str:
    return json.dumps(sorted(set(ids)))
