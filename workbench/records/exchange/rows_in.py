"""Rows on their way in from another book: all of them or none, and nothing here overwritten.

Rows are told apart by id alone. A row that is here already is passed over, so a file may come in
twice; as nothing depends on what came first, two books that have each other's rows are equal.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from itertools import count, groupby, islice
from operator import itemgetter

from workbench.errors import InputError, shown
from workbench.records.exchange import arrivals
from workbench.records.exchange.arrivals import MANY
from workbench.records.exchange.checks import (
    Arrived,
    are_plain,
    arrived,
    check_sense,
    checked_row,
    first_id_after,
)
from workbench.records.exchange.form import Form, Row, forms
from workbench.records.exchange.lines import ID_AT, ID_LENGTH, OtherLayoutError, row_said, rows_said
from workbench.records.exchange.rows_out import (
    AT_ONCE,
    lines_of,
    references,
    referred_to,
    rows_of,
    travels,
)
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
    time of the newest row in the file. Which rows they were is asked of the book
    (``arrivals.py``) until the next file comes in; ``rows`` are those that were new of what was in
    memory, so none of a file's lines.
    """

    new: dict[Table, int] = field(default_factory=dict)
    rows: dict[Table, list[Row]] = field(default_factory=dict, compare=False)
    known: int = 0
    differs: list[Differs] = field(default_factory=list)
    struck_twice: list[StruckTwice] = field(default_factory=list)
    settings_left: list[str] = field(default_factory=list)
    latest: datetime | None = None


def take_in(pen: Pen, data: object, *, follow: bool, told: Told = quiet) -> Brought:
    """Keep the rows of a file that are new here, then compute the queue again where it may change.

    ``data`` are lists of rows by table, or the lines of a file in lots as :class:`LinesIn` gives
    them, of which never more than a lot is in memory. ``follow`` makes the ids to come greater than
    those brought; a dry run, which the caller rolls back, must not.

    Raises:
        InputError: a row that no book of ours can hold, or one that refers to a row that is neither
            in the file nor here.
        OtherLayoutError: lines that are not as ours are; nothing can be said of them.
    """
    taken = _Intake(pen, told)
    with pen.db.roomy(), arrivals.begun(pen.db), numbers_lifted(pen.db):
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
        self._references = _References(pen.db)
        self._count_new = 0
        self._lifted = Lifted(pen.db)

    # -- the two ways in ---------------------------------------------------------------------------

    def rows(self, data: object) -> None:
        """Take rows that are in memory: each is looked at before the first is kept."""
        found = iter(arrived(self.forms, data))
        for table, of_table in groupby(found, key=lambda each: each.table):
            while lot := list(islice(of_table, AT_ONCE)):
                ids = [each.id for each in lot]
                ours = {row["id"]: row for row in rows_of(self.db, self.forms[table], ids)}
                known = [each.id for each in lot if each.id in ours]
                for each in lot:
                    if each.id in ours:
                        self._known(each, ours[each.id])
                new = [each for each in lot if each.id not in ours]
                self._seen(table, lot[-1].id, known, new, is_plain=False)
                if table in self.brought.new:
                    kept = [each.row for each in new if not _stays(each)]
                    self.brought.rows.setdefault(table, []).extend(kept)

    def lines(self, data: LinesIn) -> None:
        """Take lines, a lot at a time. A line that is here, sign for sign, is not read at all."""
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
        form = self.forms[table]
        ours = self._ours(form, ids)
        come = [
            (number, row_id, text)
            for number, row_id, text in zip(count(first), ids, texts)
            if ours.get(row_id) != text
        ]
        self.brought.known += len(ids) - len(come)
        rows = rows_said([text for _, _, text in come])
        is_plain = rows is not None and are_plain(form, rows)
        fresh: list[Arrived] = []
        for i, (number, row_id, text) in enumerate(come):
            if rows is not None and is_plain:
                row = rows[i]
            else:
                place = f"rows.{table}[{number}]"
                row = checked_row(form, row_said(text, place), place)
            if row["id"] != row_id:
                raise OtherLayoutError(f"rows.{table}[{number}]")
            if row_id in ours:
                self._known(Arrived(table, number, row), json.loads(ours[row_id]))
            else:
                fresh.append(Arrived(table, number, row))
        self._seen(table, ids[-1], [i for i in ids if i in ours], fresh, is_plain)

    def _ours(self, form: Form, ids: list[str]) -> dict[str, str]:
        """The lines of the rows that are here of a file's; it gives them by id."""
        sql = f"SELECT 1 FROM {form.table} t WHERE t.id BETWEEN ? AND ? LIMIT 1"
        near = self.db.execute(sql, [ids[0], ids[-1]]).fetchone()
        if near is None and form.table is not Table.STRIKES:
            return {}
        return lines_of(self.db, form, ids)

    def _known(self, each: Arrived, ours: Row) -> None:
        if ours == each.row:
            self.brought.known += 1
        else:
            self.brought.differs.append(_difference(each, ours))

    def _seen(
        self, table: Table, last: str, known: list[str], fresh: list[Arrived], is_plain: bool
    ) -> None:
        self.newest = max(self.newest, last)
        if table is Table.SETTINGS:
            self.brought.settings_left += [each.row["name"] for each in fresh if _stays(each)]
            fresh = [each for each in fresh if not _stays(each)]
        arrivals.add(self.db, table, known, is_new=False)
        if fresh:
            self._keep(table, fresh, is_plain)
        self.told(len(known) + len(fresh))

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
        else:
            self._insert(form, fresh)
        self._references.look(form, fresh)

    def _insert(self, form: Form, fresh: list[Arrived]) -> None:
        """Add rows; all at once where nothing of a row hangs on the one before."""
        if form.table not in ROSTER:
            part = form.part
            columns = tuple(form.columns)
            rows = [*map(itemgetter(*columns), (each.row for each in fresh))]
            made = [() if part is None else each.row[part.value] for each in fresh]
            try:
                with self.db.atomic():
                    self.pen.insert_many(form.table, columns, rows, made)
                    if part is not None:
                        self.pen.insert_parts(part, [each.id for each in fresh], made)
                return
            except sqlite3.IntegrityError:
                pass  # one by one, to name the row
        for each in fresh:
            _insert_row(self.pen, form, each)

    def _strike(self, fresh: list[Arrived]) -> None:
        struck = _strikes_here(self.db, fresh)
        for each in fresh:
            _strike(self.pen, each, struck, self.brought)

    def end(self) -> None:
        """Look at what can only be told of the whole file."""
        self.brought.latest = moment_of(self.newest) if self.newest else None
        self._references.refuse_missing()
        for table, other, row_id in arrivals.ids_twice(self.db, self._count_new):
            place = f"rows.{table}: id"
            raise InputError(place, row_id, f"an id of its own; a row of {other} has this one")
        self._lifted.put_back()


def _stays(each: Arrived) -> bool:
    return each.table is Table.SETTINGS and not travels(each.row["name"])


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


class _References:
    """What the rows of a file refer to and is neither here nor came with them or before.

    A thing of the roster is referred to by the id of its first row.
    """

    def __init__(self, db: Database) -> None:
        self._db = db
        self._missing: dict[tuple[Table, str], str] = {}
        self._count = 0

    def look(self, form: Form, fresh: Sequence[Arrived]) -> None:
        """Note what of that the new rows of a table refer to."""
        asked = referred_to(form, [each.row for each in fresh])
        missing = {(table, i) for table in asked for i in self._not_here(form, table, asked[table])}
        for each in fresh if missing else ():
            for found in references(form, each.row):
                if found in missing:
                    self._count += found not in self._missing
                    if len(self._missing) < MOST_MISSING:
                        self._missing.setdefault(found, each.place)

    def _not_here(self, form: Form, table: Table, ids: set[str]) -> set[str]:
        root = "AND t.root = t.id" if form.table is not Table.STRIKES and table in ROSTER else ""
        sql = f"SELECT t.id FROM json_each(?) o JOIN {table} t ON t.id = o.value {root}"
        return ids - {row_id for (row_id,) in self._db.execute(sql, [json.dumps([*ids])])}

    def refuse_missing(self) -> None:
        """Raise where a row refers to one that is neither in the file nor here."""
        missing = [(table, row_id, place) for (table, row_id), place in self._missing.items()]
        if missing:
            raise _missing(missing, self._count)


def _missing(missing: Sequence[tuple[Table, str, str]], count: int) -> InputError:
    table, row_id, place = missing[0]
    others = [f"{t.removesuffix('s')} {shown(i)}" for t, i, _ in missing[1:MOST_LISTED]]
    more = f"; also missing: {', '.join(others)}" if others else ""
    if count > MOST_LISTED:
        more += f" and {count - MOST_LISTED} more"
    accepted = f"a row of {table} that is in this file or in the book{more}"
    return InputError(f"{place} refers to", row_id, accepted)


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
