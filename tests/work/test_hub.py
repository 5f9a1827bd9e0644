"""Benches that share a hub on a real PostgreSQL, which the tests start: nothing is lost."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from tests.postgres import PASSWORD, Server, missing, server
from tests.records.conftest import Shop, furnish
from tests.shop import rows_out
from workbench.errors import InputError, RecordsError
from workbench.records.book import Book
from workbench.records.desk import utc_now
from workbench.records.sharing import journal
from workbench.records.sharing.hub import Hub
from workbench.records.sharing.journal import SharingError
from workbench.records.store import rows
from workbench.work.sharing import hubs
from workbench.work.sharing.hubs import Watch
from workbench.work.sharing.words import held_elsewhere, news_lines, sign_of

psycopg = pytest.importorskip("psycopg", reason="the extra 'hub' is not installed")
pytestmark = pytest.mark.skipif(bool(missing()), reason=missing())


@pytest.fixture(scope="module")
def postgres() -> Iterator[Server]:
    with server() as ours:
        with closing(psycopg.connect(ours.url(), autocommit=True)) as owner:
            owner.execute("CREATE ROLE quarterturn_bench NOLOGIN")
            owner.execute(f"CREATE ROLE bench_one LOGIN PASSWORD '{PASSWORD}'")
            owner.execute("GRANT quarterturn_bench TO bench_one")
        yield ours


@pytest.fixture
def url(postgres: Server) -> str:
    """A hub of its own for each test, as a bench's login sees it."""
    name = f"shop_{time.monotonic_ns()}"
    with closing(psycopg.connect(postgres.url(), autocommit=True)) as owner:
        owner.execute(f"CREATE DATABASE {name}")
    hubs.begin_hub(postgres.url(database=name))
    return postgres.url("bench_one", name)


def as_owner(url: str) -> psycopg.Connection[tuple[object, ...]]:
    return psycopg.connect(url.replace("bench_one@", "owner@"), autocommit=True)


@contextmanager
def joined(
    folder: Path, url: str, count: int, clocks: dict[int, Callable[[], datetime]] | None = None
) -> Iterator[tuple[Shop, list[Book]]]:
    """Books in step at a hub, the first of them with a shop in it."""
    with ExitStack() as stack:
        books = []
        for i in range(count):
            clock = (clocks or {}).get(i, utc_now)
            books.append(stack.enter_context(Book(folder / f"{i}.db", clock=clock)))
        shop = furnish(books[0])
        for i, book in enumerate(books):
            hubs.join_hub(book, url, f"bench {i}")
            hubs.sync_hub(book)
        yield shop, books


def note(book: Book, shop: Shop, text: str) -> str:
    return book.add_mark(shop.job.id, "kl", "note", text=text).id


def settle(books: list[Book]) -> None:
    """Sync until all are equal: once to send, once to take what others sent after."""
    for book in (*books, *books):
        assert hubs.sync_hub(book).round.is_whole
    for book in books[1:]:
        assert rows_out(book) == rows_out(books[0])


def test_five_benches_at_once_with_clocks_hours_apart(tmp_path: Path, url: str) -> None:
    """Each writes and syncs by itself; in the end all books hold all rows, each once."""
    clocks = {i: (lambda by=i: utc_now() + timedelta(hours=3 * by - 6)) for i in range(5)}
    with joined(tmp_path, url, 5, clocks) as (shop, books):
        made: list[str] = []

        def work(book: Book, name: int) -> None:
            for n in range(12):
                made.append(note(book, shop, f"{name}, {n}"))
                if n % 3 == 2:
                    hubs.sync_hub(book)

        hands = [
            threading.Thread(target=work, args=each) for each in zip(books, range(5), strict=True)
        ]
        for hand in hands:
            hand.start()
        for hand in hands:
            hand.join(60)
        settle(books)
        kept = [fact.id for fact in books[3].facts(shop.job.id)]
        assert sorted(kept) == sorted(made)
        assert len(made) == 60


KILLED = """
import sys
from workbench.records.book import Book
from workbench.work.sharing import hubs
with Book(sys.argv[1]) as book:
    for n in range(100000):
        print(book.add_mark(sys.argv[2], "kl", "note", text=str(n)).id, flush=True)
        if n % 4 == 3:
            hubs.sync_hub(book)
"""


def test_a_bench_killed_in_the_middle_of_a_sync_loses_nothing(tmp_path: Path, url: str) -> None:
    """What it said it had kept is at every bench afterwards, each row once."""
    with joined(tmp_path, url, 2) as (shop, books):
        books[0].close()
        command = [sys.executable, "-c", KILLED, str(tmp_path / "0.db"), shop.job.id]
        bench = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        assert bench.stdout is not None
        said = [bench.stdout.readline().strip() for _ in range(41)]
        os.kill(bench.pid, signal.SIGKILL)
        said += bench.stdout.read().split()[:-1]
        bench.stdout.close()
        bench.wait(20)
        with Book(tmp_path / "0.db") as again:
            settle([again, books[1]])
            assert set(said) <= {fact.id for fact in books[1].facts(shop.job.id)}


def wait_for(what: Callable[[], object], seconds: float = 30.0) -> float:
    begun = time.monotonic()
    while not what():
        assert time.monotonic() - begun < seconds, "did not come about"
        time.sleep(0.02)
    return time.monotonic() - begun


def test_a_watch_rides_out_a_server_that_is_stopped_and_a_cut_network(
    tmp_path: Path, url: str, postgres: Server
) -> None:
    """Alone it says so and keeps on; what was entered meanwhile goes when the hub answers again."""
    with joined(tmp_path, url, 2) as (shop, books):
        there = [Watch(lambda b=book: Book(b.path, beside=b), lambda _: None) for book in books]
        for watch in there:
            watch.start()
        try:
            wait_for(lambda: all(watch.standing.how == "in step" for watch in there))
            first = note(books[0], shop, "before")
            ids = lambda: {fact.id for fact in books[1].facts(shop.job.id)}  # noqa: E731
            assert wait_for(lambda: first in ids()) < 10.0
            there[0].in_hand("KV", shop.ski.id)
            wait_for(lambda: held_elsewhere(there[1].standing, shop.ski.id))
            assert "KV has this ski in hand at 'bench 0'" in held_elsewhere(
                there[1].standing, shop.ski.id
            )
            postgres.stop()
            wait_for(lambda: all(watch.standing.how == "alone" for watch in there))
            second = note(books[0], shop, "without a hub")
            third = note(books[1], shop, "there too")
            wait_for(lambda: "to send" in sign_of(there[0].standing))
            assert held_elsewhere(there[1].standing, shop.ski.id) == ""
            postgres.start()
            wait_for(lambda: all(watch.standing.how == "in step" for watch in there))
            with as_owner(url) as owner:
                owner.execute(
                    "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
                    "WHERE application_name = 'quarterturn'"
                )
            fourth = note(books[0], shop, "with the line cut")
            wait_for(lambda: {second, third, fourth} <= ids())
        finally:
            for watch in there:
                watch.stop()
        settle(books)


def test_a_socket_closed_under_a_sync_costs_nothing(tmp_path: Path, url: str) -> None:
    """Whatever was sent and noted until then; the next round goes on there."""
    with joined(tmp_path, url, 2) as (shop, books):
        for cut in ("put", "read"):
            note(books[0], shop, cut)
            hub = Hub(url)
            whole = getattr(hub, cut)

            def cut_off(
                *args: object, hub: Hub = hub, whole: Callable[..., object] = whole
            ) -> None:
                whole(*args)
                with socket.socket(fileno=os.dup(hub._conn.fileno())) as line:
                    line.shutdown(socket.SHUT_RDWR)
                raise_from_it = hub.facts
                raise_from_it()

            setattr(hub, cut, cut_off)
            with closing(hub), pytest.raises(SharingError, match="does not answer"):
                hubs.hub_round(books[0], hub)
        settle(books)


def test_the_database_lets_a_bench_append_and_read_and_nothing_else(
    tmp_path: Path, url: str
) -> None:
    """No change, no removal, no number of its own choice; not even for the owner by accident."""
    refused = (psycopg.errors.InsufficientPrivilege, psycopg.errors.RaiseException)
    acts = (
        "UPDATE quarterturn.rows SET body = '{}'",
        "DELETE FROM quarterturn.rows",
        "TRUNCATE quarterturn.rows",
    )
    bench_alone = (
        "INSERT INTO quarterturn.rows SELECT seq + 1, 'x' || id, row_table, body, bench, form, "
        "seen, at, login FROM quarterturn.rows LIMIT 1",
        "UPDATE quarterturn.hub SET form = 99",
        "UPDATE quarterturn.benches SET name = 'x'",
        "DELETE FROM quarterturn.benches",
        "SELECT setval('quarterturn.row_numbers', 1)",
        "CREATE TABLE quarterturn.mine (n integer)",
        "DROP TABLE quarterturn.rows",
    )
    with joined(tmp_path, url, 1) as (_, books):
        with closing(psycopg.connect(url, autocommit=True)) as bench, as_owner(url) as owner:
            before = bench.execute("SELECT * FROM quarterturn.rows ORDER BY seq").fetchall()
            assert before
            for act in (*acts, *bench_alone):
                with pytest.raises(refused):
                    bench.execute(act)
            for act in acts:
                with pytest.raises(refused):
                    owner.execute(act)
            assert bench.execute("SELECT * FROM quarterturn.rows ORDER BY seq").fetchall() == before
        with Hub(url) as hub:
            assert not hub.facts().may_change
        assert hubs.status_of(books[0]).untaken == 0


def test_who_commits_late_has_held_the_others_back(tmp_path: Path, url: str) -> None:
    """While one appends no other gets a number: what a reader has passed cannot fill up later."""
    insert = (
        "INSERT INTO quarterturn.rows (id, row_table, body, bench, form) "
        "VALUES (repeat(%s, 36), 'moves', '{}', %s, 1) RETURNING seq"
    )
    with closing(psycopg.connect(url)) as late, closing(psycopg.connect(url)) as soon:
        ((first,),) = late.execute(insert, ["a", "late"]).fetchall()
        soon.execute("SET lock_timeout = '300ms'")
        soon.commit()
        with pytest.raises(psycopg.errors.LockNotAvailable):
            soon.execute(insert, ["b", "soon"])
        soon.rollback()
        with Hub(url) as hub:
            assert hub.read("", 0, 10).rows == ()
            late.commit()
            ((second,),) = soon.execute(insert, ["c", "soon"]).fetchall()
            soon.commit()
            assert second > first
            assert [row.position for row in hub.read("", 0, 10).rows] == [first, second]


def test_no_password_is_kept_printed_or_logged(
    tmp_path: Path, url: str, postgres: Server, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It comes from the environment; in a URL it is refused, and not repeated."""
    database = url.split("/")[3].split("?")[0]
    over_tcp = f"postgresql://bench_one@127.0.0.1:{postgres.port}/{database}"
    with Book(tmp_path / "book.db") as book:
        for wrong in (
            over_tcp.replace("bench_one@", f"bench_one:{PASSWORD}@"),
            f"{over_tcp}?password={PASSWORD}",
            f"host=127.0.0.1 password={PASSWORD}",
            f"postgresql://bench_one:{PASSWORD}@[not a host",
        ):
            with pytest.raises(InputError) as caught:
                hubs.join_hub(book, wrong)
            assert PASSWORD not in str(caught.value)
        monkeypatch.setenv("PGPASSWORD", f"{PASSWORD}-wrong")
        with pytest.raises(SharingError, match="does not answer") as failed:
            hubs.join_hub(book, over_tcp)
        assert PASSWORD not in str(failed.value)
        monkeypatch.setenv("PGPASSWORD", PASSWORD)
        hubs.join_hub(book, over_tcp, "by the window")
        assert hubs.sync_hub(book).round.is_whole
    kept = b"".join(file.read_bytes() for file in tmp_path.glob("book.db*"))
    assert b"127.0.0.1" in kept
    assert PASSWORD.encode() not in kept
    assert PASSWORD not in postgres.log()


def test_a_hub_put_back_from_a_backup_is_filled_again(tmp_path: Path, url: str) -> None:
    """It has lost rows and gives their numbers to others; each bench sends and takes anew."""
    with joined(tmp_path, url, 2) as (shop, books):
        with as_owner(url) as owner:
            ((kept,),) = owner.execute("SELECT max(seq) FROM quarterturn.rows").fetchall()
            for n in range(3):
                note(books[0], shop, f"lost by the hub {n}")
            settle(books)
            owner.execute("ALTER TABLE quarterturn.rows DISABLE TRIGGER no_change")
            owner.execute("DELETE FROM quarterturn.rows WHERE seq > %s", [kept])
            owner.execute("SELECT setval('quarterturn.row_numbers', %s)", [kept])
        note(books[1], shop, "after it was put back")
        settle([books[1], books[0]])
        assert len(books[1].facts(shop.job.id)) == 4
        with Hub(url) as hub:
            assert len(hub.read("", 0, 1000).rows) == len(set(map(str, every_id(books[0]))))


def every_id(book: Book) -> list[str]:
    return [row["id"] for rows in rows_out(book).values() for row in rows]


def test_a_forged_row_is_held_back_alone_and_one_too_early_is_let_in_later(
    tmp_path: Path, url: str
) -> None:
    """The others' rows go on; what was held is named until it fits."""
    with joined(tmp_path, url, 2) as (shop, books):
        kept = books[0].add_fact(shop.job.id, "kl", shop.taken())
        books[0].strike(kept.id, "slip", "kl")
        rows = {row["id"]: row for rows in rows_out(books[0]).values() for row in rows}
        (struck,) = rows_out(books[0])["strikes"]
        forged = rows[kept.id] | {"id": kept.id[:-1] + ("1" if kept.id[-1] != "1" else "2")}
        sql = (
            "INSERT INTO quarterturn.rows (id, row_table, body, bench, form) VALUES (%s,%s,%s,%s,1)"
        )
        with closing(psycopg.connect(url, autocommit=True)) as bench:
            for table, row in (
                ("strikes", struck),
                ("readings", forged | {"mm": 9.0}),
                ("readings", forged | {"id": forged["id"][:-2] + "zz"}),
                ("no_table", forged | {"id": forged["id"][:-3] + "abc"}),
            ):
                bench.execute(sql, [row["id"], table, json.dumps(row), "somebody"])
        done = hubs.sync_hub(books[1]).round
        assert len(done.refused) == 4
        assert any("mm" in why for why in done.refused)
        assert hubs.status_of(books[1]).held == 4
        hubs.sync_hub(books[0])
        done = hubs.sync_hub(books[1]).round
        assert len(done.refused) == 3
        assert [each.struck is not None for each in books[1].facts(shop.job.id)] == [True]
        assert rows_out(books[1]) == rows_out(books[0])


def test_an_older_bench_stops_at_what_it_does_not_know_and_a_newer_waits_for_the_hub(
    tmp_path: Path, url: str
) -> None:
    """Nothing is passed over; bringing the hub up is done on purpose."""
    with joined(tmp_path, url, 2) as (shop, books), as_owner(url) as owner:
        note(books[0], shop, "known")
        hubs.sync_hub(books[0])
        owner.execute("UPDATE quarterturn.hub SET form = %s", [journal.FORM + 1])
        owner.execute(
            "INSERT INTO quarterturn.rows (id, row_table, body, bench, form) "
            "VALUES (repeat('n', 36), 'new_table', '{}', 'newer', %s)",
            [journal.FORM + 1],
        )
        note(books[0], shop, "behind it")
        hubs.sync_hub(books[0])
        for _ in range(2):
            done = hubs.sync_hub(books[1]).round
            assert "a newer one wrote it" in done.stopped[0]
        assert [fact.text for fact in books[1].facts(shop.job.id)] == ["known"]  # type: ignore[union-attr]
        owner.execute("UPDATE quarterturn.hub SET form = %s", [journal.FORM - 1])
        note(books[1], shop, "of a newer bench")
        done = hubs.sync_hub(books[1]).round
        assert any("the hub takes" in why and "nothing was sent" in why for why in done.stopped)
        with pytest.raises(psycopg.errors.Error, match="newer than the hub"):
            owner.execute(
                "INSERT INTO quarterturn.rows (id, row_table, body, bench, form) "
                "VALUES (repeat('m', 36), 'moves', '{}', 'newer', %s)",
                [journal.FORM],
            )
        owner.execute("INSERT INTO quarterturn.steps (name) VALUES ('of_tomorrow')")
        for act in (lambda: Hub(url), lambda: hubs.begin_hub(url.replace("bench_one", "owner"))):
            with pytest.raises(SharingError, match="newer Quarterturn"):
                act()


def test_a_ski_set_at_two_benches_apart_is_told_at_both_with_both_versions(
    tmp_path: Path, url: str
) -> None:
    """One after the other is no clash; without knowing of each other it is, whoever syncs first."""

    def read(book: Book, shop: Shop, text: str, who: str) -> None:
        taken = rows.Reading(
            method_id=shop.method.id,
            pass_number=0,
            text=text,
            unit="in",
            mm=float(text) * 25.4,
            caliper_id=shop.caliper.id,
        )
        book.add_fact(shop.job.id, who, taken)

    with joined(tmp_path, url, 3) as (shop, books):
        read(books[0], shop, "2.450", "KL")
        assert hubs.sync_hub(books[0]).set_twice == ()
        assert hubs.sync_hub(books[1]).set_twice == ()
        read(books[1], shop, "2.455", "RB")
        for book in (books[1], books[0], books[2]):
            assert hubs.sync_hub(book).set_twice == ()
        read(books[0], shop, "2.460", "KL")
        read(books[1], shop, "2.470", "RB")
        assert hubs.sync_hub(books[0]).set_twice == ()  # nobody else's is there yet
        told = [hubs.sync_hub(books[1]), hubs.sync_hub(books[0])]
        for shared in told:
            (line,) = [line for line in news_lines(shared) if "two benches at once" in line]
            assert "at bench 0 (KL) tail, tips 2.460 in" in line
            assert "at bench 1 (RB) tail, tips 2.470 in" in line
        for book in (books[2], books[1], books[0]):
            assert hubs.sync_hub(book).set_twice == ()
        settle(books)


def test_what_is_no_hub_or_not_joined_is_said(tmp_path: Path, postgres: Server) -> None:
    """With what to do next; a hub is begun a second time without harm."""
    with Book(tmp_path / "book.db") as book:
        with pytest.raises(RecordsError, match="no hub is joined"):
            hubs.sync_hub(book)
        with pytest.raises(SharingError, match="hub init"):
            hubs.join_hub(book, postgres.url())
        with pytest.raises(SharingError, match="does not answer"):
            hubs.join_hub(book, "postgresql://bench_one@127.0.0.1:1/none")
        with pytest.raises(SharingError, match="owner's login"):
            hubs.begin_hub(postgres.url("bench_one"))
        with pytest.raises(InputError, match="a URL such as"):
            hubs.join_hub(book, "https://hub.example")
        assert not book.is_shared_by_hub()
