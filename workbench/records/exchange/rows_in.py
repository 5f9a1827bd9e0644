"""Rows on their way in from another book: all of them or none, and nothing here overwritten.

Rows are told apart by id alone. A row that is here already is passed over, so a file may come in
twice; as nothing depends on what came first, two books that have each other's rows are equal.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import groupby
from operator import attrgetter, itemgetter

from workbench.errors import InputError, shown
from workbench.records.exchange import arrivals
from workbench.records.exchange.arrivals import MANY, Brought, Differs, StruckTwice
from workbench.records.exchange.checks import (
    Arrived,
    are_plain,
    arrived,
    check_sense,
    checked_row,
    first_id_after,
)
from workbench.records.exchange.form import (
    ID_AT,
    ID_LENGTH,
    Form,
    OtherLayoutError,
    Row,
    forms,
    row_said,
    rows_said,
)
from workbench.records.exchange.rows_out import AT_ONCE, in_lots, lines_of, referred_to, travels
from workbench.records.store.database import Database, Told, quiet
from workbench.records.store.schema import Lifted, numbers_lifted
from workbench.records.store.specs import FACTS, ROSTER, Table
from workbench.records.store.writer import Pen, moment_of
from workbench.records.tables import jobs

MOST_LISTED = 5
MOST_MISSING = 1_000

QUEUED = frozenset((Table.JOBS, Table.MOVES, Table.SIGN_OFFS, Table.STRIKES))
"""What the queue is computed from."""

AHEAD = timedelta(days=1)
"""No clocks that are set right are farther apart, whatever their zones."""


def take_in(pen: Pen, data: object, *, follow: bool = True, told: Told = quiet) -> Brought:
    """Keep the rows of a file that are new here, then compute the queue again where it may change.

    ``data`` are lists of rows by table, or the lines of a file in lots as :class:`LinesIn` gives
    them, of which never more than a lot is in memory. ``follow`` makes the ids to come greater than
    those brought; a dry run, which the caller rolls back, must not. ``told`` is told how many more
    rows were gone through.

    Raises:
        InputError: a row that no book of ours can hold, or one that refers to a row that is neither
            in the file nor here.
        OtherLayoutError: lines that are not as ours are; nothing can be said of them.
    """
    taken = _Intake(pen, told)
    with pen.db.roomy(), numbers_lifted(pen.db):
        arrivals.begin(pen.db)
        if isinstance(data, LinesIn):
            taken.lines(data)
        else:
            taken.rows(data)
        taken.end()
    if taken.brought.new:
        if QUEUED & taken.brought.new.keys():
            jobs.rebuild_queue(pen)
        if follow:
            pen.mint.follow(taken.newest_new)
    return taken.brought


@dataclass(frozen=True, slots=True)
class LinesIn:
    """The lines of a file: ``lots`` yields a table's name, the number of the first line, lines."""

    lots: Iterable[tuple[str, int, list[str]]]


class _Intake:
    """A file on its way in: what was seen of it so far, none of it growing with the file."""

    def __init__(self, pen: Pen, told: Told) -> None:
        self.pen, self.db, self.told = pen, pen.db, told
        self.forms = forms(pen.db)
        self.brought = Brought()
        self.newest = self.newest_new = ""
        self._horizon = pen.clock().astimezone(UTC) + AHEAD
        self._latest_id = first_id_after(self._horizon)
        self._missing: dict[tuple[Table, str], str] = {}
        self._count_missing = 0
        self._count_new = 0
        self._lifted = Lifted(pen.db)

    # -- the two ways in ---------------------------------------------------------------------------

    def rows(self, data: object) -> None:
        """Take rows that are in memory: each is looked at before the first is kept."""
        for table, found in groupby(arrived(self.forms, data), key=attrgetter("table")):
            for lot in in_lots(found, AT_ONCE):
                ids = [each.id for each in lot]
                fresh = self._take(table, ids, self._here(table, ids), lot, is_plain=False)
                if fresh:
                    kept = self.brought.rows.setdefault(table, [])
                    kept += [each.row for each in fresh]

    def lines(self, data: LinesIn) -> None:
        """Take lines, a lot at a time."""
        order = list(self.forms)
        reached = -1
        last = ""
        for name, first, texts in data.lots:
            place = f"rows.{name}[{first}]"
            if name not in order or order.index(Table(name)) < reached:
                raise OtherLayoutError(place)
            if order.index(Table(name)) > reached:
                last = ""
                reached = order.index(Table(name))
            ids = [text[ID_AT : ID_AT + ID_LENGTH] for text in texts]
            if ids[0] <= last or ids != sorted({*ids}):
                raise OtherLayoutError(place)
            last = ids[-1]
            self._lot(Table(name), first, ids, texts)

    def _lot(self, table: Table, first: int, ids: list[str], texts: list[str]) -> None:
        """Take the lines of a lot. One that is here, sign for sign, is not read at all."""
        form, here = self.forms[table], self._here(table, ids)
        numbers = [n for n, text in enumerate(texts) if here.get(ids[n]) != text]
        self.brought.known += len(ids) - len(numbers)
        rows = rows_said([texts[n] for n in numbers])
        is_plain = rows is not None and are_plain(form, rows)
        if rows is None or not is_plain:
            places = [f"rows.{table}[{first + n}]" for n in numbers]
            rows = [
                checked_row(form, row_said(texts[n], place), place)
                for n, place in zip(numbers, places, strict=True)
            ]
        come = [Arrived(table, first + n, row) for n, row in zip(numbers, rows, strict=True)]
        for n, each in zip(numbers, come, strict=True):
            if each.id != ids[n]:
                raise OtherLayoutError(each.place)
        self._take(table, ids, here, come, is_plain=is_plain)

    def _here(self, table: Table, ids: list[str]) -> dict[str, str]:
        """The lines of the rows that are here of a file's; it gives them by id."""
        sql = f"SELECT 1 FROM {table} t WHERE t.id BETWEEN ? AND ? LIMIT 1"
        near = self.db.execute(sql, [ids[0], ids[-1]]).fetchone()
        if near is None and table is not Table.STRIKES:
            return {}
        return lines_of(self.db, self.forms[table], ids)

    def _take(
        self,
        table: Table,
        ids: list[str],
        here: Mapping[str, str],
        come: list[Arrived],
        *,
        is_plain: bool,
    ) -> list[Arrived]:
        """Keep what is new of the rows that ``come`` among those of these ids; which those are."""
        fresh = []
        for each in come:
            if each.id not in here:
                fresh.append(each)
            elif (ours := json.loads(here[each.id])) == each.row:
                self.brought.known += 1
            else:
                self.brought.differs.append(_difference(each, ours))
        self.newest = max(self.newest, ids[-1])
        if table is Table.SETTINGS:
            names = [each.row["name"] for each in fresh]
            self.brought.settings_left += [name for name in names if not travels(name)]
            fresh = [each for each in fresh if travels(each.row["name"])]
        known = [i for i in ids if i in here]
        arrivals.add(self.db, table, known, is_new=False)
        if fresh:
            self._keep(table, fresh, is_plain)
        self.told(len(known) + len(fresh))
        return fresh

    # -- what is new -------------------------------------------------------------------------------

    def _keep(self, table: Table, fresh: list[Arrived], is_plain: bool) -> None:
        """Keep the new rows of a lot, by id; of plain ones no column has to be looked at."""
        form = self.forms[table]
        if not is_plain or fresh[-1].id >= self._latest_id:
            for each in fresh:
                if each.id >= self._latest_id:
                    raise _of_the_future(each, self._horizon - AHEAD)
                check_sense(each)
        arrivals.add(self.db, table, [each.id for each in fresh], is_new=True)
        if table in FACTS:
            arrivals.add_jobs(self.db, {each.row["job_id"] for each in fresh})
        self.newest_new = max(self.newest_new, fresh[-1].id)
        self.brought.new[table] = self.brought.new.get(table, 0) + len(fresh)
        self._count_new += len(fresh)
        if self._count_new >= MANY:
            self._lifted.lift()
        if table is Table.STRIKES:
            self._strike(fresh)
        elif table in ROSTER or not self._insert(form, fresh):
            for each in fresh:
                _insert_row(self.pen, form, each)
        self._look_for_missing(form, fresh)

    def _insert(self, form: Form, fresh: list[Arrived]) -> bool:
        """Add rows of which none hangs on the one before, all at once; False where one is refused:
        one by one it can be named."""
        part, columns = form.part, tuple(form.columns)
        rows = [*map(itemgetter(*columns), (each.row for each in fresh))]
        made = [() if part is None else each.row[part.value] for each in fresh]
        try:
            with self.db.atomic():
                self.pen.insert_many(form.table, columns, rows, made)
                if part is not None:
                    self.pen.insert_parts(part, [each.id for each in fresh], made)
        except sqlite3.IntegrityError:
            return False
        return True

    def _strike(self, fresh: list[Arrived]) -> None:
        """Keep each strike: as the row's own, or beside the one that the row has."""
        sql = "SELECT t.* FROM json_each(?) o JOIN strikes t ON t.row_id = o.value"
        sought = json.dumps([each.row["row_id"] for each in fresh])
        struck = {row["row_id"]: row for row in self.db.query(sql, [sought])}
        for each in fresh:
            row, row_id = each.row, each.row["row_id"]
            if row_id in struck:
                self.pen.insert(Table.OTHER_STRIKES, **row)
                twice = StruckTwice(Table(row["row_table"]), row_id, struck[row_id], row)
                self.brought.struck_twice.append(twice)
            else:
                self.pen.insert(Table.STRIKES, **row)
                struck[row_id] = row

    # -- what the rows refer to and is neither here nor came with them or before -------------------

    def _look_for_missing(self, form: Form, fresh: Sequence[Arrived]) -> None:
        asked = referred_to(form, [each.row for each in fresh])
        missing = {(of, i) for of, ids in asked.items() for i in self._not_here(form, of, ids)}
        for each in fresh if missing else ():
            for of, ids in referred_to(form, [each.row]).items():
                for found in ((of, i) for i in ids if (of, i) in missing):
                    self._count_missing += found not in self._missing
                    if len(self._missing) < MOST_MISSING:
                        self._missing.setdefault(found, each.place)

    def _not_here(self, form: Form, table: Table, ids: Sequence[str]) -> set[str]:
        """A thing of the roster is referred to by the id of its first row."""
        root = "AND t.root = t.id" if form.table is not Table.STRIKES and table in ROSTER else ""
        sql = f"SELECT t.id FROM json_each(?) o JOIN {table} t ON t.id = o.value {root}"
        return {*ids} - {row_id for (row_id,) in self.db.execute(sql, [json.dumps(ids)])}

    def end(self) -> None:
        """Look at what can only be told of the whole file."""
        self.brought.latest = moment_of(self.newest) if self.newest else None
        if self._missing:
            raise _missing(self._missing, self._count_missing)
        for table, other, row_id in arrivals.ids_twice(self.db, self._count_new):
            place = f"rows.{table}: id"
            raise InputError(place, row_id, f"an id of its own; a row of {other} has this one")
        self._lifted.put_back()


def _difference(each: Arrived, ours: Row) -> Differs:
    column = next(name for name in ours if ours[name] != each.row[name])
    return Differs(each.table, each.place, each.id, column, ours[column], each.row[column])


def _of_the_future(each: Arrived, now: datetime) -> InputError:
    """Refuse an id of a time to come: this book's own would have to follow it, and would then be
    later than what others do after it."""
    accepted = (
        f"an id of no later than a day from now ({now:%Y-%m-%d %H:%M} UTC): this one is of "
        f"{moment_of(each.id):%Y-%m-%d}; set the clocks of both benches right"
    )
    return InputError(f"{each.place}.id", each.id, accepted)


def _missing(missing: Mapping[tuple[Table, str], str], count: int) -> InputError:
    (table, row_id), *more = [*missing][:MOST_LISTED]
    others = [f"{t.removesuffix('s')} {shown(i)}" for t, i in more]
    also = f"; also missing: {', '.join(others)}" if others else ""
    if count > MOST_LISTED:
        also += f" and {count - MOST_LISTED} more"
    accepted = f"a row of {table} that is in this file or in the book{also}"
    return InputError(f"{missing[table, row_id]} refers to", row_id, accepted)


def _insert_row(pen: Pen, form: Form, each: Arrived) -> None:
    """Add one row; a thing of the roster after the version that it replaces."""
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
    sql = f"SELECT max(t.id) FROM {each.table} t WHERE t.root = ? AND t.id < ?"
    (before,) = db.execute(sql, [each.row["root"], each.id]).fetchone()
    taken = f"SELECT 1 FROM {each.table} WHERE replaces = ?"
    return None if db.execute(taken, [before]).fetchone() else before
