"""What fits badly together after rows came from another book: shown, never settled here."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal, TypeAlias

from workbench.records.exchange.rows_in import Brought
from workbench.records.store.database import Database
from workbench.records.store.specs import FACTS, ROSTER, Table

Kind: TypeAlias = Literal["serial", "name", "twins", "corrected", "queued", "worked"]

_NOW = """SELECT t.root, t.name{more} FROM {table} t
    WHERE t.id = (SELECT max(v.id) FROM {table} v WHERE v.root = t.root)
    AND NOT EXISTS (SELECT 1 FROM strikes s WHERE s.row_id = t.root) {only} ORDER BY t.root"""

_KNOWN = {
    Table.BLADES: "AND t.outline_mm <> '[]'",
    Table.BLOCKS: "AND EXISTS (SELECT 1 FROM studs p WHERE p.owner = t.id)",
}
"""Among parts that are not known yet nobody chooses."""

_WAITING = """SELECT j.ski_id, q.day FROM json_each(?) o JOIN jobs j ON j.ski_id = o.value
    JOIN queue q ON q.job_id = j.id WHERE q.open = 1 AND q.struck = 0 ORDER BY q.day, j.id"""


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


def clashes(db: Database, brought: Brought) -> tuple[Clash, ...]:
    """All clashes that have to do with rows that were new."""
    return (
        *_of_skis(db, brought),
        *(clash for table in (Table.BLADES, Table.BLOCKS, Table.CALIPERS)
          for clash in _twins(db, table, brought)),
        *(clash for table in ROSTER for clash in _corrected(db, table, brought)),
        *_queued(db, brought),
        *_worked(db, brought),
    )  # fmt: skip


def _new_roots(table: Table, brought: Brought) -> set[str]:
    return {row["root"] for row in brought.new.get(table, ())}


def _of_skis(db: Database, brought: Brought) -> Iterator[Clash]:
    new = _new_roots(Table.SKIS, brought)
    if not new:
        return
    by_serial: dict[str, list[tuple[str, str, str]]] = defaultdict(list)
    by_name: dict[str, list[tuple[str, str, str]]] = defaultdict(list)
    for ski in db.execute(_NOW.format(table=Table.SKIS, more=", t.serial", only="")):
        by_name[_key(ski[1])].append(ski)
        if ski[2].strip():
            by_serial[_key(ski[2])].append(ski)
    for same in by_serial.values():
        if len(same) > 1 and any(root in new for root, _, _ in same):
            yield Clash("serial", Table.SKIS, same[0][2], tuple(name for _, name, _ in same))
    for same in by_name.values():
        serials = {_key(serial): serial for _, _, serial in same}
        if len(serials) > 1 and any(root in new for root, _, _ in same):
            yield Clash("name", Table.SKIS, same[0][1], tuple(serials.values()))


def _key(text: str) -> str:
    return " ".join(text.split()).casefold()


def _twins(db: Database, table: Table, brought: Brought) -> Iterator[Clash]:
    new = _new_roots(table, brought)
    if not new:
        return
    by_name: dict[str, list[tuple[str, str]]] = defaultdict(list)
    for thing in db.execute(_NOW.format(table=table, more="", only=_KNOWN.get(table, ""))):
        by_name[_key(thing[1])].append(thing)
    for same in by_name.values():
        if len(same) > 1 and any(root in new for root, _ in same):
            yield Clash("twins", table, same[0][1])


def _corrected(db: Database, table: Table, brought: Brought) -> Iterator[Clash]:
    roots = {row["root"] for row in brought.new.get(table, ()) if row["root"] != row["id"]}
    in_file = brought.in_file.get(table, set())
    sql = f"SELECT t.root, t.id, t.name FROM json_each(?) o JOIN {table} t ON t.root = o.value"
    own: dict[str, str] = {}
    for root, row_id, name in db.execute(f"{sql} ORDER BY t.root, t.id", [_listed(roots)]):
        if root != row_id and row_id not in in_file:
            own[root] = name
    yield from (Clash("corrected", table, name) for name in own.values())


def _queued(db: Database, brought: Brought) -> Iterator[Clash]:
    skis = {row["ski_id"] for row in brought.new.get(Table.JOBS, ())}
    days: dict[str, list[str]] = defaultdict(list)
    for ski, day in db.execute(_WAITING, [_listed(skis)]):
        days[ski].append(day)
    twice = {ski: tuple(waits) for ski, waits in days.items() if len(waits) > 1}
    names = _ski_names(db, twice)
    yield from (Clash("queued", Table.JOBS, names[ski], waits) for ski, waits in twice.items())


def _worked(db: Database, brought: Brought) -> Iterator[Clash]:
    """Jobs known before that got new facts, and have facts here that the file does not have."""
    came = brought.new_ids(Table.JOBS)
    both: set[str] = set()
    new = {
        row["job_id"]
        for table in FACTS
        for row in brought.new.get(table, ())
        if row["job_id"] not in came
    }
    for table in FACTS:
        in_file = brought.in_file.get(table, set())
        sql = f"SELECT t.job_id, t.id FROM json_each(?) o JOIN {table} t ON t.job_id = o.value"
        both |= {job for job, row_id in db.execute(sql, [_listed(new)]) if row_id not in in_file}
    sql = """SELECT j.ski_id, q.day FROM json_each(?) o JOIN jobs j ON j.id = o.value
        JOIN queue q ON q.job_id = j.id ORDER BY j.id"""
    found = list(db.execute(sql, [_listed(both)]))
    names = _ski_names(db, (ski for ski, _ in found))
    yield from (Clash("worked", Table.JOBS, names[ski], (day,)) for ski, day in found)


def skis_touched(db: Database, brought: Brought, lists: Iterable[str]) -> tuple[str, ...]:
    """The skis of whose state rows just received may say something else than was known here.

    ``lists`` are the names of the settings that sign-offs are held against.
    """
    jobs = brought.new_ids(Table.JOBS)
    jobs |= {row["job_id"] for table in FACTS for row in brought.new.get(table, ())}
    struck = _listed(row["row_id"] for row in brought.new.get(Table.STRIKES, ()))
    for table in FACTS:
        sql = f"SELECT t.job_id FROM json_each(?) o JOIN {table} t ON t.id = o.value"
        jobs |= {job for (job,) in db.execute(sql, [struck])}
    wanted = frozenset(lists)
    listed = [r["id"] for r in brought.new.get(Table.SETTINGS, ()) if r["name"] in wanted]
    if listed:
        sql = "SELECT job_id FROM sign_offs WHERE id > ?"
        jobs |= {job for (job,) in db.execute(sql, [min(listed)])}
    jobs |= {row["row_id"] for row in brought.new.get(Table.STRIKES, ())}
    sql = "SELECT j.ski_id FROM json_each(?) o JOIN jobs j ON j.id = o.value"
    skis = {ski for (ski,) in db.execute(sql, [_listed(jobs)])}
    return tuple(sorted(skis | _new_roots(Table.SKIS, brought)))


def _ski_names(db: Database, skis: Iterable[str]) -> dict[str, str]:
    sql = """SELECT t.root, t.name FROM json_each(?) o JOIN skis t ON t.root = o.value
        ORDER BY t.id"""
    return dict(db.execute(sql, [_listed(skis)]).fetchall())


def _listed(ids: Iterable[str]) -> str:
    return json.dumps(sorted(set(ids)))
