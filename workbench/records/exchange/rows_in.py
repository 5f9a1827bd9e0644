"""Rows on their way in from another book: all of them or none, and nothing here overwritten.

Rows are told apart by id alone. A row that is here already is passed over, so a file may come in
twice; as nothing depends on what came first, two books that have each other's rows are equal.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

from workbench.errors import InputError, shown
from workbench.records.exchange.checks import Arrived, arrived, check_sense, time_of
from workbench.records.exchange.form import Form, Row, forms
from workbench.records.exchange.rows_out import references, rows_of, travels
from workbench.records.store.database import Database
from workbench.records.store.schema import numbers_lifted
from workbench.records.store.specs import ROSTER, Table
from workbench.records.store.writer import Pen
from workbench.records.tables import jobs

MOST_LISTED = 5

QUEUED = frozenset((Table.JOBS, Table.MOVES, Table.SIGN_OFFS, Table.STRIKES))
"""What the queue is computed from."""

AHEAD = timedelta(days=1)
"""No clocks that are set right are farther apart, whatever their zones."""


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
    """What a file brought: rows that were new and rows known, by table, and what does not fit.

    ``settings_left``: names of settings that belong to one bench and were left. ``latest``: the
    time of the newest row in the file.
    """

    new: dict[Table, list[Row]] = field(default_factory=dict)
    known: dict[Table, int] = field(default_factory=dict)
    in_file: dict[Table, set[str]] = field(default_factory=dict)
    differs: list[Differs] = field(default_factory=list)
    struck_twice: list[StruckTwice] = field(default_factory=list)
    settings_left: list[str] = field(default_factory=list)
    latest: datetime | None = None

    @property
    def newly_struck(self) -> set[str]:
        """The ids of the rows that are struck out now and were not before."""
        new = self.new_ids(Table.STRIKES)
        before = {t.row_id for t in self.struck_twice if t.ours["id"] not in new}
        return {row["row_id"] for row in self.new.get(Table.STRIKES, ())} - before

    def new_ids(self, table: Table) -> set[str]:
        """The ids of the rows of a table that were new here."""
        return {row["id"] for row in self.new.get(table, ())}


def take_in(pen: Pen, data: object, *, follow: bool) -> Brought:
    """Keep the rows of a file that are new here, then compute the queue again where it may change.

    ``follow`` makes the ids to come greater than those brought; a dry run, which the caller rolls
    back, must not.

    Raises:
        InputError: a row that no book of ours can hold, or one that refers to a row that is neither
            in the file nor here.
    """
    made = forms(pen.db)
    found = arrived(made, data)
    brought = Brought(latest=max((time_of(each.id) for each in found), default=None))
    for each in found:
        brought.in_file.setdefault(each.table, set()).add(each.id)
    fresh = _fresh(pen.db, made, found, brought)
    _refuse_future(fresh, pen.clock().astimezone(UTC))
    for each in fresh:
        check_sense(each)
    _refuse_taken(pen.db, fresh)
    _refuse_dangling(pen.db, made, fresh)
    _insert(pen, made, fresh, brought)
    if fresh:
        if QUEUED & brought.new.keys():
            jobs.rebuild_queue(pen)
        if follow:
            pen.mint.follow(max(each.id for each in fresh))
    return brought


def _fresh(
    db: Database, made: Mapping[Table, Form], found: Iterable[Arrived], brought: Brought
) -> list[Arrived]:
    """The rows that are not here yet; what is here is counted or set down as different."""
    out: list[Arrived] = []
    by_table: dict[Table, list[Arrived]] = defaultdict(list)
    for each in found:
        by_table[each.table].append(each)
    for table, rows in by_table.items():
        ours = {row["id"]: row for row in rows_of(db, made[table], (each.id for each in rows))}
        for each in rows:
            if each.id not in ours:
                if _stays(each):
                    brought.settings_left.append(each.row["name"])
                else:
                    out.append(each)
            elif ours[each.id] == each.row:
                brought.known[table] = brought.known.get(table, 0) + 1
            else:
                brought.differs.append(_difference(each, ours[each.id]))
    return out


def _stays(each: Arrived) -> bool:
    return each.table is Table.SETTINGS and not travels(each.row["name"])


def _difference(each: Arrived, ours: Row) -> Differs:
    column = next(name for name in ours if ours[name] != each.row[name])
    return Differs(each.table, each.place, each.id, column, ours[column], each.row[column])


def _refuse_future(fresh: Iterable[Arrived], now: datetime) -> None:
    """Refuse ids of a time to come: this book's own would have to follow them, and would then be
    later than what others do after it."""
    for each in fresh:
        if time_of(each.id) > now + AHEAD:
            accepted = (
                f"an id of no later than a day from now ({now:%Y-%m-%d %H:%M} UTC): this one is of "
                f"{time_of(each.id):%Y-%m-%d}; set the clocks of both benches right"
            )
            raise InputError(f"{each.place}.id", each.id, accepted)


def _refuse_taken(db: Database, fresh: Sequence[Arrived]) -> None:
    """Refuse an id that a row of another table has: a strike would strike out both."""
    places = {each.id: each.place for each in fresh}
    wanted = json.dumps(sorted(places))
    for table in forms(db):
        sql = f"SELECT t.id FROM json_each(?) o JOIN {table} t ON t.id = o.value LIMIT 1"
        for row in db.query(sql, [wanted]):
            accepted = f"an id of its own; a row of {table} has this one"
            raise InputError(f"{places[row['id']]}.id", row["id"], accepted)


def _refuse_dangling(db: Database, made: Mapping[Table, Form], fresh: Sequence[Arrived]) -> None:
    """Refuse the file where a row refers to one that is neither in it nor here.

    A thing of the roster is referred to by the id of its first row.
    """
    wanted: dict[tuple[Table, bool], dict[str, str]] = defaultdict(dict)
    for each in fresh:
        first = each.table is not Table.STRIKES
        for table, row_id in references(made[each.table], each.row):
            wanted[table, first and table in ROSTER].setdefault(row_id, each.place)
    coming: dict[tuple[Table, bool], set[str]] = defaultdict(set)
    for each in fresh:
        coming[each.table, False].add(each.id)
        if each.row.get("root") == each.id:
            coming[each.table, True].add(each.id)
    missing = []
    for (table, first), places in wanted.items():
        sought = set(places) - coming[table, first]
        lost = sorted(sought - _here(db, table, sought, first=first))
        missing += [(table, row_id, places[row_id]) for row_id in lost]
    if missing:
        raise _missing(missing)


def _here(db: Database, table: Table, ids: Iterable[str], *, first: bool) -> set[str]:
    root = "AND t.root = t.id" if first else ""
    sql = f"SELECT t.id FROM json_each(?) o JOIN {table} t ON t.id = o.value {root}"
    return {row["id"] for row in db.query(sql, [json.dumps(sorted(ids))])}


def _missing(missing: Sequence[tuple[Table, str, str]]) -> InputError:
    table, row_id, place = missing[0]
    others = [f"{t.removesuffix('s')} {shown(i)}" for t, i, _ in missing[1:MOST_LISTED]]
    more = f"; also missing: {', '.join(others)}" if others else ""
    if len(missing) > MOST_LISTED:
        more += f" and {len(missing) - MOST_LISTED} more"
    accepted = f"a row of {table} that is in this file or in the book{more}"
    return InputError(f"{place} refers to", row_id, accepted)


def _insert(
    pen: Pen, made: Mapping[Table, Form], fresh: Sequence[Arrived], brought: Brought
) -> None:
    struck = _strikes_here(pen.db, fresh)
    with numbers_lifted(pen.db):
        for each in fresh:
            brought.new.setdefault(each.table, []).append(each.row)
            if each.table is Table.STRIKES:
                _strike(pen, each, struck, brought)
            else:
                _insert_row(pen, made[each.table], each)


def _insert_row(pen: Pen, form: Form, each: Arrived) -> None:
    part = form.part
    row = {name: each.row[name] for name in form.columns}
    if each.table in ROSTER:
        row["replaces"] = _version_before(pen.db, each)
    try:
        pen.insert(each.table, () if part is None else each.row[part.value], **row)
        if part is not None:
            for place, columns in enumerate(each.row[part.value]):
                pen.insert(part, owner=each.id, place=place, **columns)
    except InputError as why:
        raise InputError(f"{each.place}.{why.field}", why.value, why.accepted) from None


def _version_before(db: Database, each: Arrived) -> str | None:
    """The version that this one came after, where no other version has taken that place."""
    sql = f"""SELECT max(t.id) AS id FROM {each.table} t WHERE t.root = ? AND t.id < ?"""
    before = next(db.query(sql, [each.row["root"], each.id]))["id"]
    taken = f"SELECT 1 FROM {each.table} WHERE replaces = ?"
    return None if before is None or list(db.query(taken, [before])) else str(before)


def _strikes_here(db: Database, fresh: Sequence[Arrived]) -> dict[str, Row]:
    sought = [each.row["row_id"] for each in fresh if each.table is Table.STRIKES]
    sql = "SELECT t.* FROM json_each(?) o JOIN strikes t ON t.row_id = o.value"
    return {row["row_id"]: row for row in db.query(sql, [json.dumps(sought)])}


def _strike(pen: Pen, each: Arrived, struck: dict[str, Row], brought: Brought) -> None:
    """Keep a strike: as the row's own, or beside the one that the row has."""
    row = each.row
    ours = struck.get(row["row_id"])
    if ours is None:
        struck[row["row_id"]] = row
        pen.insert(Table.STRIKES, **row)
        return
    pen.insert(Table.OTHER_STRIKES, **row)
    twice = StruckTwice(Table(row["row_table"]), row["row_id"], ours, row)
    brought.struck_twice.append(twice)
