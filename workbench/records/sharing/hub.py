"""A hub on PostgreSQL: rows appended and read by one connection, which knows no book.

The password comes from where libpq looks for it (PGPASSWORD, the password file, a service file);
a URL with one in it is refused and not repeated, so that none is ever kept or printed.
"""

from __future__ import annotations

import json
import os
import socket
from collections.abc import Collection, Sequence
from contextlib import suppress
from datetime import datetime
from typing import Any, Self

from workbench.errors import InputError, shown
from workbench.frozen import dataclass
from workbench.records.sharing.hub_schema import BEGIN, CHANNEL, ROLE, STEPS
from workbench.records.sharing.journal import (
    Arriving,
    Batch,
    NewerFormError,
    Parcel,
    Seen,
    SharingError,
)

try:
    import psycopg
    from psycopg import conninfo
except ImportError:  # the extra is not installed: said when a hub is asked for
    psycopg = None  # type: ignore[assignment]

LEAST_SERVER = 140000
HERE_S = 90
"""A bench that has said nothing for so many seconds is not there any more."""

_ACCEPTED = (
    "a URL such as postgresql://bench@hub.example/shop?sslmode=verify-full; the password comes "
    "from PGPASSWORD, ~/.pgpass or a service file"
)
_SETTINGS = {
    "connect_timeout": 5,
    "keepalives_idle": 10,
    "keepalives_interval": 5,
    "keepalives_count": 3,
    "tcp_user_timeout": 15000,
}
"""So that a network that was cut is noticed in seconds; what the URL says goes before these."""

_SESSION = "SET statement_timeout = '60s'; SET idle_in_transaction_session_timeout = '20s'"


@dataclass(frozen=True, slots=True)
class BenchThere:
    """A bench that a hub knows: what it is called, whose hands, the ski in hand (blank: none) and
    since when; when it last said so, and how far it has taken the hub's rows."""

    bench: str
    name: str
    who: str
    ski: str
    since: datetime
    seen: datetime
    taken: int
    is_here: bool


@dataclass(frozen=True, slots=True)
class HubFacts:
    """What is to be said of a hub: rows counted by its last number, its size in bytes."""

    id: str
    server: str
    form: int
    last: int
    size: int
    may_change: bool
    """Whether this login could change rows if the triggers were not there: it is an owner's."""


def checked_url(text: str) -> str:
    """A hub's URL as it may be kept; raises ``InputError``, which never repeats a password."""
    _need_driver()
    url = text.strip()
    if not url.startswith(("postgresql://", "postgres://")):
        raise InputError("hub", "(no URL of PostgreSQL)", _ACCEPTED)
    try:
        parts = conninfo.conninfo_to_dict(url)
    except psycopg.Error:
        raise InputError("hub", "(a URL that cannot be read)", _ACCEPTED) from None
    if {"password", "sslpassword"} & parts.keys():
        raise InputError(
            "hub",
            "(a URL with a password in it)",
            "a URL without: what is on a command line others can read, so choose a new "
            "password, and give it by PGPASSWORD, ~/.pgpass or a service file",
        )
    return url


def _need_driver() -> None:
    if psycopg is None:
        raise SharingError("a hub needs psycopg: pip install '.[hub]' in a clone of Quarterturn")


class Hub:
    """An open connection to a hub; every method raises ``SharingError`` where it does not answer.

    It has one stream, called by the empty name, whose positions are row numbers.
    """

    own_stream = ""
    """The stream that :meth:`put` appends to."""
    stops_at_refused = False
    """Whether a row that is refused ends its stream for now; else it is held back by itself."""
    loses_sent = True
    """Whether what was sent is to be sent again where a stream is not what it was."""

    def __init__(self, url: str, *, is_new: bool = False) -> None:
        """Connect to the hub at ``url``; with ``is_new`` what is there need be no hub yet."""
        self.url = checked_url(url)
        given = conninfo.conninfo_to_dict(self.url)
        more: dict[str, Any] = {k: v for k, v in _SETTINGS.items() if k not in given}
        self._put: list[int] = []
        try:
            self._conn = psycopg.connect(
                self.url, autocommit=True, application_name="quarterturn", **more
            )
        except psycopg.Error as error:
            raise _said(error) from None
        try:
            if self._conn.info.server_version < LEAST_SERVER:
                raise SharingError("the hub's PostgreSQL is older than 14; bring it up to date")
            self._run(_SESSION)
            if not is_new:
                self._know()
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the connection."""
        with suppress(Exception):
            self._conn.close()

    def break_off(self) -> None:
        """Cut the line, from another thread: what is under way ends with ``SharingError``."""
        with suppress(Exception), socket.socket(fileno=os.dup(self._conn.fileno())) as line:
            line.shutdown(socket.SHUT_RDWR)

    def _know(self) -> None:
        """Learn which hub this is; refuse what is none, or is of another version."""
        there = self._rows("SELECT to_regclass('quarterturn.steps') IS NOT NULL")[0][0]
        if not there:
            raise SharingError("there is no hub; 'quarterturn hub init URL' makes one, as an owner")
        if self._steps() < STEPS.keys():
            raise NewerFormError(
                "the hub is of an older Quarterturn; bring every bench up to date, then the hub "
                "by 'quarterturn hub init URL', as an owner"
            )
        ((self.share, self.form),) = self._rows("SELECT id::text, form FROM quarterturn.hub")

    def _steps(self) -> set[str]:
        """The names of the steps that made the hub, all of which this program knows."""
        steps = {row[0] for row in self._rows("SELECT name FROM quarterturn.steps")}
        if newer := steps - STEPS.keys():
            raise NewerFormError(
                f"the hub was made by a newer Quarterturn ({shown(min(newer))}); update this one"
            )
        return steps

    def _run(self, sql: str, values: Sequence[object] | None = None) -> psycopg.Cursor[Any]:
        try:
            return self._conn.execute(sql, values)
        except psycopg.Error as error:
            raise _said(error) from None

    def _rows(self, sql: str, values: Sequence[object] | None = None) -> list[tuple[Any, ...]]:
        return self._run(sql, values).fetchall()

    # Making it -----------------------------------------------------------------------------------

    def begin(self, form: int) -> tuple[str, ...]:
        """Make the hub, or bring it up to this program's version and form; what was done.

        ``form`` is that of the rows which benches may then send. Raises ``SharingError``.
        """
        try:
            with self._conn.transaction():
                self._conn.execute("SELECT pg_advisory_xact_lock(5932451, 2)")
                done = self._brought_up(form)
        except psycopg.errors.InsufficientPrivilege as error:
            said = str(_said(error))
            raise SharingError(f"{said}; 'hub init' wants an owner's login, once") from None
        except psycopg.Error as error:
            raise _said(error) from None
        self._know()
        return done

    def _brought_up(self, form: int) -> tuple[str, ...]:
        done = []
        if not self._conn.execute("SELECT 1 FROM pg_roles WHERE rolname = %s", [ROLE]).fetchone():
            self._conn.execute(f"CREATE ROLE {ROLE} NOLOGIN")
            done.append(f"role {ROLE}")
        self._conn.execute(BEGIN)
        known = self._steps()
        for name, sql in STEPS.items():
            if name not in known:
                self._conn.execute(sql)
                self._conn.execute("INSERT INTO quarterturn.steps (name) VALUES (%s)", [name])
                done.append(f"step {name}")
        raised = self._conn.execute(
            "UPDATE quarterturn.hub SET form = %s WHERE form < %s", [form, form]
        ).rowcount
        if raised:
            done.append(f"form {form}")
        return tuple(done)

    # As a way of sharing -------------------------------------------------------------------------

    def knows(self, seen: Seen | None) -> None:
        """Nothing to note: the journal has it for each row."""

    def seen_of(self, row: Parcel) -> Seen | None:
        """How far the hub had been taken when a row was written."""
        return None if row.seen is None else {"": row.seen}

    def put(self, rows: Sequence[Parcel], form: int, bench: str) -> None:
        """Append rows by one statement; those that are there already are passed over."""
        if form > self.form:
            raise NewerFormError(
                f"this Quarterturn writes rows of form {form}, the hub takes {self.form}: nothing "
                "was sent. Bring every bench up to date, then the hub by 'quarterturn hub init URL'"
            )
        listed = [{"id": row.row_id, "t": row.table, "b": row.body, "s": row.seen} for row in rows]
        found = self._rows(
            """INSERT INTO quarterturn.rows (id, row_table, body, bench, form, seen)
            SELECT e->>'id', e->>'t', e->'b', %s, %s, (e->>'s')::bigint
            FROM jsonb_array_elements(%s::jsonb) WITH ORDINALITY AS list(e, n) ORDER BY n
            ON CONFLICT (id) DO NOTHING RETURNING seq""",
            [bench, form, json.dumps(listed, ensure_ascii=True, allow_nan=False)],
        )
        self._put += [row[0] for row in found]

    def streams(self) -> tuple[str, ...]:
        """The one stream there is."""
        return ("",)

    def is_same(self, stream: str, position: int, mark: str) -> bool:
        """Whether the row that was taken last is still there under its number.

        A hub that was put back from a backup has lost rows, and gives their numbers to others.
        """
        if position == 0:
            return True
        sql = "SELECT 1 FROM quarterturn.rows WHERE seq = %s AND id = %s"
        return bool(self._rows(sql, [position, mark]))

    def read(self, stream: str, position: int, most: int) -> Batch:
        """The next rows after a number; the schema says why none is skipped."""
        found = self._rows(
            """SELECT seq, id, row_table, body, form, bench, seen FROM quarterturn.rows
            WHERE seq > %s ORDER BY seq LIMIT %s""",
            [position, most],
        )
        rows = tuple(_arriving(row) for row in found)
        last = rows[-1] if rows else None
        return Batch(rows, last.position, last.row_id) if last else Batch((), position, "")

    def skip_own(self, position: int) -> tuple[int, str] | None:
        """The end of what was put, where all rows since ``position`` were."""
        put, self._put = self._put, []
        if not put:
            return None
        ((count, mark),) = self._rows(
            """SELECT count(*), max(id) FILTER (WHERE seq = %s) FROM quarterturn.rows
            WHERE seq > %s AND seq <= %s""",
            [max(put), position, max(put)],
        )
        return (max(put), mark) if count == len(put) else None

    # Who else is there ---------------------------------------------------------------------------

    def facts_after(
        self, after: Seen, jobs: Collection[str], tables: Collection[str]
    ) -> list[tuple[str, Arriving]]:
        """Rows of these tables and jobs numbered after ``after`` whose ``seen`` is known."""
        found = self._rows(
            """SELECT seq, id, row_table, body, form, bench, seen FROM quarterturn.rows
            WHERE seq > %s AND seen IS NOT NULL AND row_table = ANY(%s)
            AND body->>'job_id' = ANY(%s) ORDER BY seq""",
            [after.get("", 0), list(tables), list(jobs)],
        )
        return [("", _arriving(row)) for row in found]

    def names(self) -> dict[str, str]:
        """What the benches are called that have joined."""
        return {there.bench: there.name for there in self.benches()}

    def count_after(self, position: int) -> int:
        """How many rows stand after a number."""
        ((count,),) = self._rows("SELECT count(*) FROM quarterturn.rows WHERE seq > %s", [position])
        return int(count)

    def say_here(self, bench: str, name: str, who: str, ski: str, taken: int) -> None:
        """Say what this bench is called, whose hands are at it, and which ski is in hand."""
        sql = "SELECT quarterturn.say_here(%s, %s, %s, %s, %s)"
        self._run(sql, [bench, name[:60], who[:60], ski, taken])

    def benches(self) -> tuple[BenchThere, ...]:
        """All benches that the hub knows, by name."""
        found = self._rows(
            f"""SELECT bench, name, who, ski, since, seen, taken,
            seen > clock_timestamp() - interval '{HERE_S} seconds'
            FROM quarterturn.benches ORDER BY name, bench"""
        )
        return tuple(BenchThere(*row) for row in found)

    def listen(self) -> None:
        """Be told from now on when others append or take another ski in hand."""
        self._run(f"LISTEN {CHANNEL}")

    def heard(self, seconds: float) -> bool:
        """Wait until others said something, at most so long; whether they did."""
        own = self._conn.info.backend_pid
        try:
            return any(
                said.pid != own for said in self._conn.notifies(timeout=seconds, stop_after=1)
            )
        except psycopg.Error as error:
            raise _said(error) from None

    def facts(self) -> HubFacts:
        """What there is to say of the hub."""
        ((last, size, may_change),) = self._rows(
            """SELECT coalesce(max(seq), 0), pg_total_relation_size('quarterturn.rows'),
            has_table_privilege('quarterturn.rows', 'UPDATE, DELETE') FROM quarterturn.rows"""
        )
        version = self._conn.info.server_version
        server = f"PostgreSQL {version // 10000}.{version % 10000}"
        return HubFacts(self.share, server, self.form, last, size, may_change)


def _arriving(row: tuple[Any, ...]) -> Arriving:
    seq, row_id, table, body, form, bench, seen = row
    known = None if seen is None else {"": seen}
    return Arriving(seq, row_id, f"row {seq} of the hub", row_id, table, body, form, bench, known)


def _said(error: psycopg.Error) -> SharingError:
    """What PostgreSQL says, on one line; libpq never puts a password into it."""
    words = shown(" ".join(str(error).split()), 300)
    return SharingError(f"the hub does not answer: {words}")
