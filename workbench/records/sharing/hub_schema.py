"""The tables of a hub on PostgreSQL, by migrations of its own, newest last.

A hub is one table of the benches' append-only rows. A bench's role may INSERT and SELECT there and
nothing else: privileges say so, and triggers refuse a change of any row to everybody else too.

**Why a reader skips nothing.** Numbers drawn from a sequence become visible as their transactions
commit, and those need not commit in the order of their numbers: a reader that has seen 12 may find
11 only later, and, asking for what comes after 12, never. So one transaction at a time may append:
a trigger before each INSERT takes an advisory lock that PostgreSQL holds until the transaction's
end, and only then draws numbers, row by row (by a trigger too, so that no bench can choose one, or
leave the lock out). PostgreSQL makes a transaction visible before it lets go of its locks; whoever
draws a greater number has therefore waited until all smaller ones were there to be seen, or were
given up. ``seq > n ORDER BY seq`` is then all that a reader needs. The cost is that appends wait
for each other, for as long as one takes: a bench sends in single statements of at most a few
hundred rows outside any longer transaction, so that no bench which hangs or loses its network holds
the lock.
"""

from __future__ import annotations

ROLE = "quarterturn_bench"
"""The role that benches' logins are given: CREATE ROLE one LOGIN IN ROLE quarterturn_bench."""

CHANNEL = "quarterturn"
"""Says that rows were appended, or that a bench took another ski in hand."""

_FIRST_HUB = f"""
CREATE SEQUENCE quarterturn.row_numbers;

CREATE TABLE quarterturn.hub (
    id uuid NOT NULL DEFAULT gen_random_uuid(),
    begun timestamptz NOT NULL DEFAULT clock_timestamp(),
    form integer NOT NULL,
    one boolean PRIMARY KEY DEFAULT true CHECK (one)
);
INSERT INTO quarterturn.hub (form) VALUES (0);

CREATE TABLE quarterturn.rows (
    seq bigint PRIMARY KEY,
    id text COLLATE "C" NOT NULL UNIQUE CHECK (length(id) = 36),
    row_table text NOT NULL CHECK (length(row_table) <= 40),
    body jsonb NOT NULL CHECK (jsonb_typeof(body) = 'object'),
    bench text NOT NULL CHECK (length(bench) <= 40),
    form integer NOT NULL CHECK (form > 0),
    seen bigint,
    at timestamptz NOT NULL,
    login text NOT NULL
);
COMMENT ON TABLE quarterturn.rows IS 'append-only: what the benches kept, each row once by its id';

CREATE TABLE quarterturn.benches (
    bench text PRIMARY KEY CHECK (length(bench) <= 40),
    name text NOT NULL CHECK (length(name) <= 60),
    who text NOT NULL CHECK (length(who) <= 60),
    ski text NOT NULL CHECK (length(ski) <= 40),
    since timestamptz NOT NULL,
    seen timestamptz NOT NULL,
    taken bigint NOT NULL
);
COMMENT ON TABLE quarterturn.benches IS 'who is there and what is in hand; no row of any book';

CREATE FUNCTION quarterturn.one_at_a_time() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    PERFORM pg_catalog.pg_advisory_xact_lock(5932451, 1);
    RETURN NULL;
END $$;

CREATE FUNCTION quarterturn.numbered() RETURNS trigger LANGUAGE plpgsql
    SECURITY DEFINER SET search_path = pg_catalog AS $$
BEGIN
    IF NEW.form > (SELECT form FROM quarterturn.hub) THEN
        RAISE EXCEPTION 'form % is newer than the hub', NEW.form USING ERRCODE = 'QT001';
    END IF;
    NEW.seq := nextval('quarterturn.row_numbers');
    NEW.at := clock_timestamp();
    NEW.login := session_user;
    RETURN NEW;
END $$;

CREATE FUNCTION quarterturn.told() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    PERFORM pg_catalog.pg_notify('{CHANNEL}', '');
    RETURN NULL;
END $$;

CREATE FUNCTION quarterturn.refused() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'rows are kept as they are; strike out instead';
END $$;

CREATE TRIGGER a_one_at_a_time BEFORE INSERT ON quarterturn.rows
    FOR EACH STATEMENT EXECUTE FUNCTION quarterturn.one_at_a_time();
CREATE TRIGGER b_numbered BEFORE INSERT ON quarterturn.rows
    FOR EACH ROW EXECUTE FUNCTION quarterturn.numbered();
CREATE TRIGGER c_told AFTER INSERT ON quarterturn.rows
    FOR EACH STATEMENT EXECUTE FUNCTION quarterturn.told();
CREATE TRIGGER no_change BEFORE UPDATE OR DELETE OR TRUNCATE ON quarterturn.rows
    FOR EACH STATEMENT EXECUTE FUNCTION quarterturn.refused();

CREATE FUNCTION quarterturn.say_here(
    a_bench text, a_name text, a_who text, a_ski text, a_position bigint
) RETURNS void LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog AS $$
DECLARE
    before text := (SELECT b.ski FROM quarterturn.benches b WHERE b.bench = a_bench);
BEGIN
    INSERT INTO quarterturn.benches AS b (bench, name, who, ski, since, seen, taken)
    VALUES (a_bench, a_name, a_who, a_ski, clock_timestamp(), clock_timestamp(), a_position)
    ON CONFLICT (bench) DO UPDATE SET name = excluded.name, who = excluded.who, ski = excluded.ski,
        since = CASE WHEN b.ski = excluded.ski THEN b.since ELSE excluded.since END,
        seen = excluded.seen, taken = excluded.taken;
    IF before IS DISTINCT FROM a_ski THEN
        PERFORM pg_notify('{CHANNEL}', 'hand');
    END IF;
END $$;

REVOKE ALL ON SCHEMA quarterturn FROM PUBLIC;
REVOKE ALL ON ALL FUNCTIONS IN SCHEMA quarterturn FROM PUBLIC;
GRANT USAGE ON SCHEMA quarterturn TO {ROLE};
GRANT SELECT ON quarterturn.hub, quarterturn.steps, quarterturn.rows, quarterturn.benches TO {ROLE};
GRANT INSERT (id, row_table, body, bench, form, seen) ON quarterturn.rows TO {ROLE};
GRANT EXECUTE ON FUNCTION quarterturn.say_here TO {ROLE};
"""

STEPS: dict[str, str] = {"first_hub": _FIRST_HUB}
"""All steps from an empty schema to today's hub, oldest first; those released are never edited."""

BEGIN = """
CREATE SCHEMA IF NOT EXISTS quarterturn;
CREATE TABLE IF NOT EXISTS quarterturn.steps (
    number integer GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    name text NOT NULL UNIQUE,
    at timestamptz NOT NULL DEFAULT clock_timestamp()
);
"""
