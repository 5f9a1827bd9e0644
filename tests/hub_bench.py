"""What a hub carries, in figures: lag between benches, and a hub of ten million rows.

python -m tests.hub_bench lag [--benches 5] [--rate 200] [--seconds 30]
python -m tests.hub_bench size [--rows 10000000]

Both start a PostgreSQL of their own on the loopback, which writes through to the disk.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from statistics import quantiles

import psycopg

from tests.postgres import Server, missing, server
from tests.records.conftest import furnish
from tests.shop import demo_file, rows_out
from workbench.records.book import Book
from workbench.records.sharing import journal
from workbench.records.sharing.hub import Hub
from workbench.work.sharing import hubs
from workbench.work.sharing.hubs import Watch
from workbench.work.sharing.rounds import MOST_TAKEN

DURABLE = "-c fsync=on -c shared_buffers=256MB -c max_wal_size=4GB"


@contextmanager
def hub_of_our_own() -> Iterator[tuple[Server, str]]:
    with server(DURABLE) as ours:
        hubs.begin_hub(ours.url())
        yield ours, ours.url()


SKIS = 200


# -- lag -------------------------------------------------------------------------------------------


def bench(path: Path, number: int, rate: float, seconds: float) -> None:
    """Be one bench: keep notes at a rate, and print how late each row of the others came (s)."""
    lags: list[float] = []

    def told(shared: hubs.Shared) -> None:
        now = datetime.now(UTC)
        for row in shared.round.new.get("marks", ()):
            lags.append((now - datetime.fromisoformat(row["at"])).total_seconds())

    with Book(path) as book:
        watch = Watch(lambda: Book(book.path, beside=book), told)
        watch.start()
        while watch.standing.how != "in step":
            time.sleep(0.05)
        lags.clear()
        print("ready", flush=True)
        sys.stdin.readline()
        jobs = [row["id"] for row in rows_out(book)["jobs"]]
        begun, kept, waits = time.monotonic(), 0, []
        while (now := time.monotonic()) - begun < seconds:
            if kept > rate * (now - begun):
                time.sleep(0.002)
                continue
            book.add_mark(jobs[(7 * kept + number) % len(jobs)], "kl", "note", text=str(kept))
            waits.append(time.monotonic() - now)
            kept += 1
        time.sleep(3.0)
        watch.stop()
    print(json.dumps({"lags": lags, "kept": kept, "waits": waits}), flush=True)


def many_jobs(book: Book) -> list[str]:
    """A shop of as many skis as a busy week has, each with a job: their ids."""
    shop = furnish(book)
    out = [shop.job.id]
    for n in range(SKIS):
        one = replace(shop.ski, id="", name=f"Ski {n}", serial=f"N-{n}")
        out.append(book.add_job(book.add_ski(one).id, shop.job.day).id)
    return out


def lag(count: int, rate: float, seconds: float) -> None:
    """Run benches, each a process of its own, and say how late rows come to the others."""
    with tempfile.TemporaryDirectory() as place, hub_of_our_own() as (_, url):
        folder = Path(place)
        for i in range(count):
            with Book(folder / f"{i}.db") as book:
                if i == 0:
                    jobs = many_jobs(book)
                hubs.join_hub(book, url, f"bench {i}")
                hubs.sync_hub(book)
        command = [sys.executable, "-m", "tests.hub_bench", "bench"]
        benches = [
            subprocess.Popen(
                [*command, str(folder / f"{i}.db"), str(i), str(rate / count), str(seconds)],
                stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
            )
            for i in range(count)
        ]  # fmt: skip
        for each in benches:
            assert each.stdout is not None
            assert each.stdout.readline() == "ready\n"
        begun = time.monotonic()
        for each in benches:
            assert each.stdin is not None
            each.stdin.write("\n")
            each.stdin.flush()
        said = [json.loads(each.communicate()[0]) for each in benches]
        took = time.monotonic() - begun - 3.0
        lags = [x for each in said for x in each["lags"]]
        kept = sum(each["kept"] for each in said)
        waits = [x for each in said for x in each["waits"]]
        held = []
        for i in (*range(count), *range(count)):  # once to send what is left, once to take it
            with Book(folder / f"{i}.db") as book:
                hubs.sync_hub(book)
                held.append(sum(len(book.facts(job)) for job in jobs))
        assert held[-count:] == [kept] * count, held
        print(f"{count} benches, {kept} rows in {took:.1f} s ({kept / took:.0f} rows/s in all)")
        print(f"load of the machine: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
        print(f"rows that came while it ran: {len(lags)} of {kept * (count - 1)}; all books equal")
        print(f"lag from kept to kept elsewhere, s: {spread(lags)}")
        print(f"to keep an entry meanwhile, s: {spread(waits)}")


def spread(values: list[float]) -> str:
    cuts = quantiles(values, n=100)
    return f"median {cuts[49]:.3f}, p95 {cuts[94]:.3f}, p99 {cuts[98]:.3f}, most {max(values):.3f}"


# -- size ------------------------------------------------------------------------------------------

FILL = """
INSERT INTO quarterturn.rows (seq, id, row_table, body, bench, form, seen, at, login)
SELECT n,
    (lpad(to_hex(1800000000000 + n * 40), 12, '0') || '70008000'
        || lpad(to_hex(n), 12, '0'))::uuid::text,
    m.row_table, m.body, lpad(to_hex(n %% 1000), 16, '0'), 8, n, clock_timestamp(), 'bench'
FROM generate_series(%s::bigint, %s::bigint) AS n
JOIN models m ON m.number = n %% (SELECT count(*) FROM models)
"""
"""Ids that sort as they are numbered, one every 40 ms: 250 million rows in a year."""


def size(count: int) -> None:
    """Fill a hub with rows like a demo shop's, and say what they take and what they cost."""
    with tempfile.TemporaryDirectory() as place, hub_of_our_own() as (_, url):
        with Book(demo_file(Path(place))) as book:
            hubs.join_hub(book, url)
            hubs.sync_hub(book)
        with closing(psycopg.connect(url, autocommit=True)) as owner:
            fill(owner, count)
            measure(owner, url, Path(place))


def fill(owner: psycopg.Connection[tuple[object, ...]], count: int) -> None:
    owner.execute(
        """CREATE TABLE models AS SELECT row_number() OVER (ORDER BY seq) - 1 AS number,
        row_table, body FROM quarterturn.rows"""
    )
    owner.execute("ALTER TABLE quarterturn.rows DISABLE TRIGGER USER")
    owner.execute("SET synchronous_commit = off")
    begun = time.monotonic()
    step = 500_000
    for first in range(100_000, count + 100_000, step):
        last = min(first + step, count + 100_000) - 1
        owner.execute(FILL, [first, last])
    owner.execute("SELECT setval('quarterturn.row_numbers', %s)", [count + 100_000])
    owner.execute("ALTER TABLE quarterturn.rows ENABLE TRIGGER USER")
    owner.execute("SET synchronous_commit = on")
    owner.execute("VACUUM ANALYZE quarterturn.rows")
    print(f"{count} rows made in {time.monotonic() - begun:.0f} s")


def measure(owner: psycopg.Connection[tuple[object, ...]], url: str, place: Path) -> None:
    sizes = owner.execute(
        """SELECT pg_relation_size('quarterturn.rows'), pg_relation_size('quarterturn.rows_pkey'),
        pg_relation_size('quarterturn.rows_id_key'),
        (SELECT reltuples FROM pg_class WHERE oid = 'quarterturn.rows'::regclass)"""
    ).fetchone()
    assert sizes is not None
    table, by_number, by_id, count = sizes
    print(f"table {table / 1e9:.2f} GB ({table / count:.0f} bytes a row), index by number "  # type: ignore[operator]
          f"{by_number / 1e9:.2f} GB, index by id {by_id / 1e9:.2f} GB")  # type: ignore[operator]  # fmt: skip
    with Hub(url) as hub:
        last = hub.facts().last
        for at, words in ((last - 1000, "near its end"), (last // 2, "in its middle")):
            timed(f"200 rows read {words}", lambda at=at: hub.read("", at, 200))
        timed("2000 rows read in its middle", lambda: hub.read("", last // 2, 2000))
        timed("asked with nothing new", lambda: hub.read("", last, 200))
        timed("last row looked up", lambda: hub.is_same("", last, "x"))
        timed("benches there", hub.benches)
    with Book(place / "new.db") as book:
        furnish(book)
        hubs.join_hub(book, url)
        job = next(iter(rows_out(book)["jobs"]))["id"]
        with Hub(url) as hub:
            # From here on only what is new, as a bench that is in step.
            last = hub.facts().last
            ((mark,),) = owner.execute(
                "SELECT id FROM quarterturn.rows WHERE seq = %s", [last]
            ).fetchall()
            book.write(journal.note_taken, hub.share, "", last, str(mark))
            hubs.hub_round(book, hub, MOST_TAKEN)
            timed("a round of one new row", lambda: one_more(book, hub, job))


def one_more(book: Book, hub: Hub, job: str) -> None:
    book.add_mark(job, "kl", "note", text="one more")
    assert hubs.hub_round(book, hub, MOST_TAKEN).round.sent == 1


def timed(words: str, act: Callable[[], object], times: int = 40) -> None:
    taken = []
    for _ in range(times):
        begun = time.perf_counter()
        act()
        taken.append(time.perf_counter() - begun)
    taken.sort()
    middle, high = taken[times // 2] * 1e3, taken[times * 95 // 100] * 1e3
    print(f"{words}: median {middle:.2f} ms, p95 {high:.2f} ms")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    acts = parser.add_subparsers(dest="act", required=True)
    lags = acts.add_parser("lag")
    lags.add_argument("--benches", type=int, default=5)
    lags.add_argument("--rate", type=float, default=200.0)
    lags.add_argument("--seconds", type=float, default=30.0)
    acts.add_parser("size").add_argument("--rows", type=int, default=10_000_000)
    one = acts.add_parser("bench")
    one.add_argument("path", type=Path)
    one.add_argument("number", type=int)
    one.add_argument("rate", type=float)
    one.add_argument("seconds", type=float)
    args = parser.parse_args()
    if args.act == "bench":
        bench(args.path, args.number, args.rate, args.seconds)
    elif missing():
        sys.exit(missing())
    elif args.act == "lag":
        lag(args.benches, args.rate, args.seconds)
    else:
        size(args.rows)


if __name__ == "__main__":
    main()
