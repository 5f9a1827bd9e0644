"""The tables of the book and how they came about: named migrations, newest last.

Every table is strict and append-only, which the database holds by itself: an update or a delete is
refused whoever tries it. ``queue`` is the one exception. It holds nothing of its own; triggers
compute it from jobs, moves, sign-offs and strikes, so that a day's queue costs the same after a
decade.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from workbench.records.store.database import NUMBER_TAKEN, Database
from workbench.records.store.specs import PARTS, ROSTER, Table

if TYPE_CHECKING:
    import sqlite_utils
    from sqlite_utils import Migrations

APPLICATION_ID = 0x51544E31
"""Marks a database as a book of ours ("QTN1")."""

MIGRATION_SET = "quarterturn"
APPLIED = "_sqlite_migrations"
"""The table in which sqlite-utils names the steps that made a book."""


# Migrations go by the tables of their day: a table that comes later makes those of its own.
_FIRST_ROSTER = (
    Table.SKIS, Table.BLADES, Table.BLOCKS, Table.METHODS, Table.CALIPERS, Table.BASELINES,
)  # fmt: skip
_FIRST_FACTS = (
    Table.READINGS, Table.TARGETS, Table.PASSES, Table.MARKS, Table.TICKS, Table.WINGS,
    Table.SIGN_OFFS, Table.RIDE_NOTES,
)  # fmt: skip
_SUMMED_THEN = (*_FIRST_FACTS, Table.TEMPERATURES, Table.LOCKED_READINGS)

CHECK_SUM = "check_sum"
"""Over a row's other columns: it is of this book alone and is made anew where a row goes to."""

_ROW = "id TEXT PRIMARY KEY, at TEXT NOT NULL, who TEXT NOT NULL"
_UNIT = """unit TEXT NOT NULL CONSTRAINT "unit: 'in' or 'mm'" CHECK (unit IN ('in', 'mm'))"""


def _one_of(column: str, *words: str) -> str:
    listed = ", ".join(f"'{word}'" for word in words)
    return f'CONSTRAINT "{column}: one of {listed}" CHECK ({column} IN ({listed}))'


def _versions(table: Table) -> str:
    return (
        f"{_ROW}, root TEXT NOT NULL REFERENCES {table}(id), "
        f"replaces TEXT UNIQUE REFERENCES {table}(id)"
    )


def _part_of(table: Table) -> str:
    return f"owner TEXT NOT NULL REFERENCES {table}(id), place INTEGER NOT NULL"


_FACT = f"{_ROW}, job_id TEXT NOT NULL REFERENCES jobs(id)"
_PART_KEY = "PRIMARY KEY (owner, place)"

_FIRST_TABLES: dict[Table, str] = {
    Table.BLADES: f"""{_versions(Table.BLADES)}, name TEXT NOT NULL,
        outline_mm TEXT NOT NULL, top_edge_mm TEXT NOT NULL, back_edge_mm TEXT NOT NULL,
        source_text TEXT NOT NULL""",
    Table.HOLES: f"""{_part_of(Table.BLADES)}, name TEXT NOT NULL,
        u_mm REAL NOT NULL, v_mm REAL NOT NULL, diameter_mm REAL NOT NULL, {_PART_KEY}""",
    Table.BLOCKS: f"""{_versions(Table.BLOCKS)}, name TEXT NOT NULL,
        finest_turn REAL NOT NULL""",
    Table.STUDS: f"""{_part_of(Table.BLOCKS)}, name TEXT NOT NULL,
        touches TEXT NOT NULL {_one_of("touches", "top", "back")},
        at_x_mm REAL NOT NULL, at_y_mm REAL NOT NULL,
        axis_x REAL NOT NULL, axis_y REAL NOT NULL,
        thread TEXT NOT NULL, lead_mm REAL NOT NULL,
        hand TEXT NOT NULL {_one_of("hand", "right", "left")},
        tip_radius_mm REAL NOT NULL, travel_lo_mm REAL, travel_hi_mm REAL, {_PART_KEY}""",
    Table.METHODS: f"""{_versions(Table.METHODS)},
        blade_id TEXT NOT NULL REFERENCES blades(id), name TEXT NOT NULL,
        quantity TEXT NOT NULL {_one_of("quantity", "depth", "tail", "length")},
        band_lo_mm REAL, band_hi_mm REAL,
        station_hole TEXT, station_edge TEXT {_one_of("station_edge", "back", "front")},
        station_u_mm REAL, station_v_mm REAL,
        jaw_width_mm REAL NOT NULL, tolerance_mm REAL NOT NULL""",
    Table.CALIPERS: f"""{_versions(Table.CALIPERS)}, name TEXT NOT NULL, {_UNIT},
        resolution_mm REAL NOT NULL, mpe_mm REAL NOT NULL""",
    Table.SKIS: f"""{_versions(Table.SKIS)}, name TEXT NOT NULL, model TEXT NOT NULL,
        serial TEXT NOT NULL, rider TEXT NOT NULL, {_UNIT},
        blade_id TEXT NOT NULL REFERENCES blades(id),
        block_id TEXT NOT NULL REFERENCES blocks(id),
        base_radius_mm REAL, base_apex_mm REAL,
        has_wing INTEGER NOT NULL CONSTRAINT "has_wing: true or false" CHECK (has_wing IN (0, 1)),
        note TEXT NOT NULL""",
    Table.SKI_METHODS: f"""{_part_of(Table.SKIS)},
        method_id TEXT NOT NULL REFERENCES methods(id), {_PART_KEY}""",
    Table.BASELINES: f"""{_versions(Table.BASELINES)}, ski_id TEXT REFERENCES skis(id),
        name TEXT NOT NULL, source TEXT NOT NULL""",
    Table.BASELINE_ENTRIES: f"""{_part_of(Table.BASELINES)}, method_name TEXT NOT NULL,
        text TEXT NOT NULL, {_UNIT}, mm REAL NOT NULL, tolerance_mm REAL NOT NULL, {_PART_KEY}""",
    Table.SETTINGS: f"{_ROW}, name TEXT NOT NULL, value TEXT NOT NULL",
    Table.JOBS: f"""{_ROW}, ski_id TEXT NOT NULL REFERENCES skis(id), day TEXT NOT NULL,
        due TEXT NOT NULL, rank REAL NOT NULL, finest_turn REAL NOT NULL""",
    Table.MOVES: f"{_FACT}, day TEXT NOT NULL, rank REAL NOT NULL",
    Table.QUEUE: """job_id TEXT PRIMARY KEY REFERENCES jobs(id), day TEXT NOT NULL,
        rank REAL NOT NULL, open INTEGER NOT NULL, struck INTEGER NOT NULL""",
    Table.READINGS: f"""{_FACT}, method_id TEXT NOT NULL REFERENCES methods(id),
        pass_number INTEGER NOT NULL
            CONSTRAINT "pass_number: 0 (as received) or more" CHECK (pass_number >= 0),
        text TEXT NOT NULL, {_UNIT}, mm REAL NOT NULL,
        caliper_id TEXT REFERENCES calipers(id),
        how TEXT NOT NULL {_one_of("how", "typed", "gauge", "demo")}""",
    Table.TARGETS: f"""{_FACT}, method_id TEXT NOT NULL REFERENCES methods(id),
        text TEXT NOT NULL, {_UNIT},
        kind TEXT NOT NULL {_one_of("kind", "value", "change", "baseline")},
        mm REAL NOT NULL, tolerance_mm REAL NOT NULL""",
    Table.PASSES: f"""{_FACT}, number INTEGER NOT NULL
            CONSTRAINT "number: 1 or more" CHECK (number >= 1),
        finest_turn REAL NOT NULL""",
    Table.TURNS: f"""{_part_of(Table.PASSES)}, stud TEXT NOT NULL,
        turns_exact REAL NOT NULL, turns REAL NOT NULL, {_PART_KEY}""",
    Table.MARKS: f"{_FACT}, kind TEXT NOT NULL, number INTEGER, text TEXT NOT NULL",
    Table.TICKS: f"""{_FACT},
        checklist TEXT NOT NULL {_one_of("checklist", "received", "final")},
        item TEXT NOT NULL, text TEXT NOT NULL""",
    Table.WINGS: f"{_FACT}, text TEXT NOT NULL, angle_deg REAL NOT NULL",
    Table.SIGN_OFFS: f"{_FACT}, text TEXT NOT NULL",
    Table.RIDE_NOTES: f"{_FACT}, text TEXT NOT NULL",
    Table.STRIKES: f"""{_ROW}, row_table TEXT NOT NULL, row_id TEXT NOT NULL UNIQUE,
        reason TEXT NOT NULL, replaced_by TEXT""",
}

_FIRST_INDEXES = (
    *(f"CREATE INDEX {table}_versions ON {table}(root, id)" for table in _FIRST_ROSTER),
    *(f"CREATE INDEX {table}_job ON {table}(job_id)" for table in (*_FIRST_FACTS, Table.MOVES)),
    "CREATE INDEX methods_blade ON methods(blade_id)",
    "CREATE INDEX baselines_ski ON baselines(ski_id)",
    "CREATE INDEX settings_name ON settings(name)",
    "CREATE INDEX jobs_ski ON jobs(ski_id)",
    "CREATE INDEX queue_day ON queue(day, rank, job_id)",
    "CREATE INDEX queue_open ON queue(day, rank, job_id) WHERE open = 1 AND struck = 0",
)

_MORE_OF_CALIPERS = (
    "reference_height_mm REAL",
    "jaw_height_mm REAL",
    f"din862_scale TEXT {_one_of('din862_scale', 'digital', 'scale 0.1/0.05 mm')}",
)

_CHECKS = f"""{_ROW}, caliper_id TEXT NOT NULL REFERENCES calipers(id),
    kind TEXT NOT NULL {_one_of("kind", "zero", "block")},
    nominal_text TEXT NOT NULL,
    nominal_unit TEXT NOT NULL {_one_of("nominal_unit", "in", "mm")}, nominal_mm REAL NOT NULL,
    reading_text TEXT NOT NULL,
    reading_unit TEXT NOT NULL {_one_of("reading_unit", "in", "mm")}, reading_mm REAL NOT NULL"""

_WHOLE_DAY_TABLES: dict[Table, str] = {
    Table.TEMPERATURES: f"""{_FACT}, text TEXT NOT NULL,
        unit TEXT NOT NULL {_one_of("unit", "C", "F")},
        blade_c REAL NOT NULL, caliper_c REAL NOT NULL,
        blade_material TEXT NOT NULL, caliper_material TEXT NOT NULL""",
    Table.PAIRS: f"""{_ROW}, ski_id TEXT NOT NULL REFERENCES skis(id),
        method_id TEXT NOT NULL REFERENCES methods(id),
        text TEXT NOT NULL, {_UNIT}, mm REAL NOT NULL,
        other_method_id TEXT NOT NULL REFERENCES methods(id),
        other_text TEXT NOT NULL,
        other_unit TEXT NOT NULL {_one_of("other_unit", "in", "mm")}, other_mm REAL NOT NULL,
        caliper_id TEXT REFERENCES calipers(id)""",
    Table.CURVES: f"""{_ROW}, ski_id TEXT NOT NULL REFERENCES skis(id),
        kind TEXT NOT NULL {_one_of("kind", "sagitta", "three depths")},
        text TEXT NOT NULL, {_UNIT}, from_x_mm REAL NOT NULL, to_x_mm REAL NOT NULL,
        sagitta_mm REAL NOT NULL, radius_mm REAL, apex_mm REAL""",
    Table.STUDIES: f"""{_ROW}, name TEXT NOT NULL, what TEXT NOT NULL, {_UNIT},
        parts TEXT NOT NULL, people TEXT NOT NULL,
        trials INTEGER NOT NULL CONSTRAINT "trials: 1 or more" CHECK (trials >= 1),
        sequence TEXT NOT NULL""",
    Table.STUDY_READINGS: f"""{_ROW}, study_id TEXT NOT NULL REFERENCES studies(id),
        part TEXT NOT NULL, person TEXT NOT NULL, trial INTEGER NOT NULL,
        text TEXT NOT NULL, {_UNIT}, mm REAL NOT NULL,
        caliper_id TEXT REFERENCES calipers(id)""",
}

_WORDS = "TEXT NOT NULL DEFAULT ''"
_WHOLE_DAY_COLUMNS: dict[Table, tuple[str, ...]] = {
    Table.READINGS: ("temperature_id TEXT REFERENCES temperatures(id)",),
    Table.METHODS: (
        "scribe_x_mm REAL",
        "scribe_y_mm REAL",
        "scribe_zero_mm REAL",
        'u_mm REAL CONSTRAINT "u_mm: more than 0" CHECK (u_mm > 0)',
    ),
    Table.SKIS: (f"size {_WORDS}",),
    Table.JOBS: (
        f"kind TEXT NOT NULL DEFAULT 'setting' {_one_of('kind', 'setting', 'recheck')}",
        f"note {_WORDS}",
    ),
    Table.WINGS: (
        f"hold {_WORDS} {_one_of('hold', '', 'front', 'middle', 'rear')}",
        f"gauge {_WORDS}",
    ),
    Table.RIDE_NOTES: (
        f"rider {_WORDS}",
        f"place {_WORDS}",
        f"water {_WORDS}",
        "water_c REAL",
        f"rope {_WORDS}",
        f"speed {_WORDS}",
        f"complaints {_WORDS}",
        'rating INTEGER CONSTRAINT "rating: 1 to 5" CHECK (rating BETWEEN 1 AND 5)',
    ),
    Table.BASELINES: (
        f"model {_WORDS}",
        f"size {_WORDS}",
        f"rider {_WORDS}",
        f"wing {_WORDS}",
        "wing_deg REAL",
    ),
}

_WHOLE_DAY_INDEXES = (
    "CREATE INDEX temperatures_job ON temperatures(job_id)",
    "CREATE INDEX pairs_methods ON pairs(method_id, other_method_id)",
    "CREATE INDEX curves_ski ON curves(ski_id)",
    "CREATE INDEX study_readings_study ON study_readings(study_id)",
    "CREATE INDEX skis_serial ON skis(serial)",
)

OTHER_STRIKE_SETTING = "second strike of "
"""Before a row's id: the setting that kept another bench's strike of it in a book of old.

Such settings stay where they are, as all rows do; they are read by one migration alone.
"""

_OTHER_STRIKES = f"""{_ROW}, row_table TEXT NOT NULL, row_id TEXT NOT NULL,
    reason TEXT NOT NULL, replaced_by TEXT"""

_OTHERS_SO_FAR = f"""INSERT OR IGNORE INTO {Table.OTHER_STRIKES}
    SELECT id, at, who, json_extract(value, '$.row_table'),
        substr(name, {len(OTHER_STRIKE_SETTING) + 1}),
        json_extract(value, '$.reason'), json_extract(value, '$.replaced_by')
    FROM {Table.SETTINGS} WHERE name >= ? AND name < ? AND json_valid(value) ORDER BY id"""
"""What cannot be read stays a setting, and does not keep the book from opening."""

_STAND_IN = 'stand_in INTEGER CONSTRAINT "stand_in: true or false" CHECK (stand_in IN (0, 1))'

_LOCKED_READINGS = f"""{_FACT}, method_id TEXT NOT NULL REFERENCES methods(id),
    text TEXT NOT NULL, {_UNIT}, mm REAL NOT NULL,
    caliper_id TEXT REFERENCES calipers(id),
    how TEXT NOT NULL {_one_of("how", "typed", "gauge", "demo")},
    temperature_id TEXT REFERENCES temperatures(id)"""

_SIGNED = """EXISTS (SELECT 1 FROM sign_offs s WHERE s.job_id = {job}
    AND NOT EXISTS (SELECT 1 FROM strikes x WHERE x.row_id = s.id))"""

_FIRST_QUEUE = (
    """CREATE TRIGGER queue_job AFTER INSERT ON jobs BEGIN
        INSERT INTO queue VALUES (NEW.id, NEW.day, NEW.rank, 1, 0); END""",
    """CREATE TRIGGER queue_move AFTER INSERT ON moves BEGIN
        UPDATE queue SET day = NEW.day, rank = NEW.rank WHERE job_id = NEW.job_id; END""",
    """CREATE TRIGGER queue_sign_off AFTER INSERT ON sign_offs BEGIN
        UPDATE queue SET open = 0 WHERE job_id = NEW.job_id; END""",
    f"""CREATE TRIGGER queue_sign_off_struck AFTER INSERT ON strikes
        WHEN NEW.row_table = 'sign_offs' BEGIN
        UPDATE queue SET open = NOT {_SIGNED.format(job="queue.job_id")}
        WHERE job_id = (SELECT job_id FROM sign_offs WHERE id = NEW.row_id); END""",
    """CREATE TRIGGER queue_job_struck AFTER INSERT ON strikes
        WHEN NEW.row_table = 'jobs' BEGIN
        UPDATE queue SET struck = 1 WHERE job_id = NEW.row_id; END""",
)

QUEUE_OF_ROWS = f"""
    SELECT j.id AS job_id,
        COALESCE((SELECT m.day FROM moves m WHERE m.job_id = j.id ORDER BY m.id DESC), j.day)
            AS day,
        COALESCE((SELECT m.rank FROM moves m WHERE m.job_id = j.id ORDER BY m.id DESC), j.rank)
            AS rank,
        NOT {_SIGNED.format(job="j.id")} AS open,
        EXISTS (SELECT 1 FROM strikes x WHERE x.row_id = j.id) AS struck
    FROM jobs j ORDER BY j.id"""
"""The queue as the kept rows give it: what ``queue`` must always equal."""


_COUNTED = "NOT EXISTS (SELECT 1 FROM strikes s WHERE s.row_id = t.id)"

_LAST_READ = "\n            ".join(
    f"AND t.id > coalesce((SELECT max(t.id) FROM {table} t"
    f" WHERE t.job_id = NEW.job_id AND {_COUNTED}), '')"
    for table in (Table.READINGS, Table.TARGETS, Table.PASSES)
)
"""After all of these: steps are counted anew from the last reading, target or round on."""

_NUMBERED = {
    "passes_number": f"""CREATE TRIGGER passes_number BEFORE INSERT ON passes
        WHEN EXISTS (SELECT 1 FROM passes t WHERE t.job_id = NEW.job_id
            AND t.number = NEW.number AND t.id <> NEW.id AND {_COUNTED})
        BEGIN SELECT RAISE(ABORT, 'passes: number {NUMBER_TAKEN}'); END""",
    "marks_step": f"""CREATE TRIGGER marks_step BEFORE INSERT ON marks WHEN NEW.kind = 'step'
        AND EXISTS (SELECT 1 FROM marks t WHERE t.job_id = NEW.job_id AND t.kind = 'step'
            AND t.number = NEW.number AND t.id <> NEW.id AND {_COUNTED}
            {_LAST_READ})
        BEGIN SELECT RAISE(ABORT, 'marks: number {NUMBER_TAKEN}'); END""",
}
"""Triggers by name. What was struck out is not counted, so that it can be done again."""


def _append_only(table: Table) -> tuple[str, ...]:
    """Refuse change and removal; the guard on insert is for ``INSERT OR REPLACE``."""
    say = f"RAISE(ABORT, '{table}: rows are kept as they are; strike out instead')"
    if table in PARTS:
        same = "owner = NEW.owner AND place = NEW.place"
    elif table is Table.STRIKES:
        same = "id = NEW.id OR row_id = NEW.row_id"
    elif table in ROSTER:
        same = "id = NEW.id OR replaces = NEW.replaces"
    else:
        same = "id = NEW.id"
    return (
        f"CREATE TRIGGER {table}_no_update BEFORE UPDATE ON {table} BEGIN SELECT {say}; END",
        f"CREATE TRIGGER {table}_no_delete BEFORE DELETE ON {table} BEGIN SELECT {say}; END",
        f"""CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table}
            WHEN EXISTS (SELECT 1 FROM {table} WHERE {same}) BEGIN SELECT {say}; END""",
    )


def _first_book(db: Database) -> None:
    for table, columns in _FIRST_TABLES.items():
        db.execute(f"CREATE TABLE {table} ({columns}) STRICT, WITHOUT ROWID")
    for statement in (*_FIRST_INDEXES, *_FIRST_QUEUE):
        db.execute(statement)
    for table in _FIRST_TABLES:
        if table is not Table.QUEUE:
            _guard(db, table)


def _caliper_checks(db: Database) -> None:
    for column in _MORE_OF_CALIPERS:
        db.execute(f"ALTER TABLE {Table.CALIPERS} ADD COLUMN {column}")
    db.execute(f"CREATE TABLE {Table.CALIPER_CHECKS} ({_CHECKS}) STRICT, WITHOUT ROWID")
    db.execute("CREATE INDEX caliper_checks_caliper ON caliper_checks(caliper_id, id)")
    _guard(db, Table.CALIPER_CHECKS)


def _whole_day(db: Database) -> None:
    for table, columns in _WHOLE_DAY_TABLES.items():
        db.execute(f"CREATE TABLE {table} ({columns}) STRICT, WITHOUT ROWID")
        _guard(db, table)
    for table, more in _WHOLE_DAY_COLUMNS.items():
        for column in more:
            db.execute(f"ALTER TABLE {table} ADD COLUMN {column}")
    for statement in _WHOLE_DAY_INDEXES:
        db.execute(statement)


def _other_strikes(db: Database) -> None:
    """Give the strikes that other benches made of rows struck here a table of their own."""
    db.execute(f"CREATE TABLE {Table.OTHER_STRIKES} ({_OTHER_STRIKES}) STRICT, WITHOUT ROWID")
    db.execute("CREATE INDEX other_strikes_row ON other_strikes(row_id)")
    _guard(db, Table.OTHER_STRIKES)
    db.execute(_OTHERS_SO_FAR, [OTHER_STRIKE_SETTING, OTHER_STRIKE_SETTING + "~"])


@contextmanager
def numbers_lifted(db: Database) -> Iterator[None]:
    """Within an open transaction, take rows whose numbers are taken.

    Two books that were worked on apart may each have counted a round: both are kept.
    """
    names = ", ".join(f"'{name}'" for name in _NUMBERED)
    held = list(db.execute(f"SELECT name, sql FROM sqlite_master WHERE name IN ({names})"))
    for name, _ in held:
        db.execute(f"DROP TRIGGER {name}")
    yield
    for _, statement in held:
        db.execute(statement)


class Lifted:
    """What makes adding very many rows slow, let go of meanwhile within an open transaction.

    ``lift`` it once, ``put_back`` makes it anew as it was: an index that random numbers go into is
    then built sorted; guards against ``INSERT OR REPLACE``, which nothing here says, make SQLite
    set every page aside for every row; the queue is computed at the end; and a
    book that is shared with nobody has nothing to set down in its journal.
    """

    _WHICH = """SELECT type, name, sql FROM sqlite_master WHERE name = 'readings_seen'
        OR (type = 'trigger' AND (name LIKE '%\\_no\\_replace' ESCAPE '\\'
            OR name IN ('queue_job', 'queue_move', 'queue_sign_off', 'queue_sign_off_struck',
                'queue_job_struck')))"""

    _JOURNALS = """SELECT type, name, sql FROM sqlite_master
        WHERE type = 'trigger' AND name LIKE '%\\_journal' ESCAPE '\\'"""

    def __init__(self, db: Database) -> None:
        self._db = db
        self._held: list[str] | None = None

    def lift(self) -> None:
        """Let go of it, unless that was done."""
        if self._held is None:
            found = self._db.execute(self._WHICH).fetchall()
            if not self._is_shared():
                found += self._db.execute(self._JOURNALS).fetchall()
            for kind, name, _ in found:
                self._db.execute(f"DROP {kind} {name}")
            self._held = [statement for _, _, statement in found]

    def _is_shared(self) -> bool:
        there = "SELECT 1 FROM sqlite_master WHERE name = ?"
        if self._db.execute(there, [Table.SHARES]).fetchone() is None:
            return False
        return self._db.execute(f"SELECT 1 FROM {Table.SHARES}").fetchone() is not None

    def put_back(self) -> None:
        """Make what was let go of."""
        for statement in self._held or ():
            self._db.execute(statement)
        self._held = None


def _after_lock(db: Database) -> None:
    """Give the readings after the clamp bolts are tight for good a table of their own."""
    db.execute(f"CREATE TABLE {Table.LOCKED_READINGS} ({_LOCKED_READINGS}) STRICT, WITHOUT ROWID")
    db.execute("CREATE INDEX locked_readings_job ON locked_readings(job_id)")
    _guard(db, Table.LOCKED_READINGS)


_SHARED_BOOKS = {
    Table.BENCHES: """number INTEGER PRIMARY KEY, bench TEXT NOT NULL UNIQUE, at TEXT NOT NULL,
        place TEXT NOT NULL""",
    Table.JOURNAL: """number INTEGER PRIMARY KEY, row_table TEXT NOT NULL, row_id TEXT NOT NULL,
        came TEXT NOT NULL DEFAULT '', seen INTEGER""",
    Table.SHARES: """share TEXT PRIMARY KEY, kind TEXT NOT NULL CHECK (kind IN ('hub', 'folder')),
        place TEXT NOT NULL, name TEXT NOT NULL, at TEXT NOT NULL,
        joined INTEGER NOT NULL CHECK (joined IN (0, 1)), sent INTEGER NOT NULL DEFAULT 0""",
    Table.TAKEN: """share TEXT NOT NULL REFERENCES shares(share), stream TEXT NOT NULL,
        position INTEGER NOT NULL, mark TEXT NOT NULL, PRIMARY KEY (share, stream)""",
    Table.HELD: """share TEXT NOT NULL REFERENCES shares(share), position INTEGER NOT NULL,
        body TEXT NOT NULL, why TEXT NOT NULL, PRIMARY KEY (share, position)""",
}
"""See ``records/sharing/journal.py`` for what they are. Only ``benches`` is append-only."""

_JOURNALED_THEN = (
    *_FIRST_ROSTER, *_SUMMED_THEN, Table.SETTINGS, Table.JOBS, Table.MOVES, Table.STRIKES,
    Table.OTHER_STRIKES, Table.CALIPER_CHECKS, Table.PAIRS, Table.CURVES, Table.STUDIES,
    Table.STUDY_READINGS,
)  # fmt: skip

_SEEN = f"""SELECT max(t.position) FROM {Table.TAKEN} t JOIN {Table.SHARES} s ON s.share = t.share
    WHERE s.kind = 'hub' AND s.joined"""


def _journaled(table: Table) -> str:
    """Set down each new row of a table, once the book is shared; before, it costs a look."""
    called = Table.STRIKES if table is Table.OTHER_STRIKES else table
    return f"""CREATE TRIGGER {table}_journal AFTER INSERT ON {table}
        WHEN EXISTS (SELECT 1 FROM {Table.SHARES}) BEGIN
        INSERT INTO {Table.JOURNAL} (row_table, row_id, seen)
        VALUES ('{called}', NEW.id, ({_SEEN})); END"""


def _shared_books(db: Database) -> None:
    """Make room for the book's own bench id, and for how far it shares its rows with others."""
    for table, columns in _SHARED_BOOKS.items():
        db.execute(f"CREATE TABLE {table} ({columns}) STRICT")
    for action in ("UPDATE", "DELETE"):
        say = "RAISE(ABORT, 'benches: rows are kept as they are')"
        db.execute(
            f"CREATE TRIGGER benches_no_{action.lower()} BEFORE {action} ON {Table.BENCHES}"
            f" BEGIN SELECT {say}; END"
        )
    db.execute(f"CREATE INDEX journal_home ON {Table.JOURNAL}(row_id) WHERE came = '-'")
    for table in _JOURNALED_THEN:
        db.execute(_journaled(table))


def _guard(db: Database, table: Table) -> None:
    for statement in _append_only(table):
        db.execute(statement)


def fingerprint(db: Database) -> int:
    """A number for how the tables and their triggers are made (31 bits of a CRC)."""
    ours = ", ".join(f"'{table}'" for table in Table)
    made = db.execute(
        f"""SELECT sql FROM sqlite_master
        WHERE type IN ('table', 'trigger') AND tbl_name IN ({ours}) ORDER BY type, name"""
    )
    return zlib.crc32("\n".join(row[0] for row in made).encode()) & 0x7FFFFFFF


def _executed(*statements: str) -> Callable[[Database], None]:
    """A step that is these statements."""

    def step(db: Database) -> None:
        for statement in statements:
            db.execute(statement)

    return step


BOOK_STEPS: dict[str, Callable[[Database], None]] = {
    "first_book": _first_book,
    "caliper_checks": _caliper_checks,
    "whole_day": _whole_day,
    "other_strikes": _other_strikes,
    # Every version of a thing has the reason for which it was corrected.
    "why_corrected": _executed(
        *(f"ALTER TABLE {t} ADD COLUMN reason TEXT NOT NULL DEFAULT ''" for t in _FIRST_ROSTER)
    ),
    # No two rounds of a job, and no two steps of a round, are counted under one number.
    "unique_numbers": _executed(*_NUMBERED.values()),
    # The least and the largest reading by a method are found at once, in whatever big book.
    "seen_readings": _executed(f"CREATE INDEX readings_seen ON {Table.READINGS}(method_id, mm)"),
    # Invented blades and blocks are told from real ones; of rows of before nobody said.
    "stand_ins": _executed(
        *(f"ALTER TABLE {t} ADD COLUMN {_STAND_IN}" for t in (Table.BLADES, Table.BLOCKS))
    ),
    "after_lock": _after_lock,
    # Every fact has a sum over its columns; rows of before have none and stay as they are.
    "check_sums": _executed(
        *(f"ALTER TABLE {t} ADD COLUMN {CHECK_SUM} INTEGER" for t in _SUMMED_THEN)
    ),
    # How well a blade's outline is known, and how it was traced.
    "traced_blades": _executed(
        f"ALTER TABLE {Table.BLADES} ADD COLUMN outline_u_mm REAL NOT NULL DEFAULT 0",
        f"ALTER TABLE {Table.BLADES} ADD COLUMN traced TEXT NOT NULL DEFAULT ''",
    ),
    # How well a stud's place and lead are known; of those of before nobody said.
    "measured_studs": _executed(
        f"ALTER TABLE {Table.STUDS} ADD COLUMN place_u_mm REAL",
        f"ALTER TABLE {Table.STUDS} ADD COLUMN lead_u REAL",
    ),
    "shared_books": _shared_books,
    # A blade may have no outline yet, and a block no studs; older benches would need both.
    "parts_to_come": _executed(),
}
"""All steps from an empty file to today's book, oldest first."""


def migrations() -> Migrations:
    """The steps as sqlite-utils applies them."""
    from sqlite_utils import Migrations

    steps = Migrations(MIGRATION_SET)
    for name, step in BOOK_STEPS.items():
        steps(name=name)(_applied_by(step))
    return steps


def _applied_by(step: Callable[[Database], None]) -> Callable[[sqlite_utils.Database], None]:
    def apply(db: sqlite_utils.Database) -> None:
        step(Database(db.conn))

    return apply


def step_names(steps: Migrations | None) -> tuple[str, ...]:
    """The names of steps, oldest first; None is today's."""
    if steps is None:
        return tuple(BOOK_STEPS)
    from sqlite_utils import Database as Whole

    nothing = Whole(memory=True, execute_plugins=False)
    try:
        return tuple(step.name for step in steps.pending(nothing))
    finally:
        nothing.close()


def applied(db: Database) -> tuple[str, ...]:
    """The names of the steps that made a book, in the order they were applied."""
    there = "SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = ?"
    if db.execute(there, [APPLIED]).fetchone() is None:
        return ()
    sql = f"SELECT name FROM {APPLIED} WHERE migration_set = ? ORDER BY rowid"
    return tuple(row[0] for row in db.execute(sql, [MIGRATION_SET]))


def pending(db: Database, steps: Migrations | None) -> tuple[str, ...]:
    """The names of the steps that are still to be applied, oldest first."""
    done = applied(db)
    return tuple(name for name in step_names(steps) if name not in done)
