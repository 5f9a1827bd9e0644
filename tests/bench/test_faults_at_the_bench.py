"""What can happen to the book's file: a line that says what and what to do; nothing typed is lost.

Short in the everyday run; ``pytest --long`` lets random hands work for half an hour or more.
"""

from __future__ import annotations

import os
import random
import resource
import sqlite3
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, closing, contextmanager, suppress
from functools import partial
from pathlib import Path

import pytest
from sqlite_utils import Database
from textual.events import Paste

from tests.bench.screens import SIZES, Screen, bench
from tests.bench.test_hostile import _hostile_job
from tests.bench.test_kill import bench_on, plain, sound
from tests.shop import demo_file, open_shop, ski
from workbench.bench import start
from workbench.bench.action_menu import CHOICES
from workbench.cli import main
from workbench.errors import RecordsError
from workbench.records import book as books
from workbench.records import desk
from workbench.records.backup import opening
from workbench.records.book import Book
from workbench.records.store import database, rows, schema
from workbench.work.job.shop import Shop


@pytest.fixture
def long(request: pytest.FixtureRequest) -> bool:
    return bool(request.config.getoption("--long"))


@pytest.fixture
def book(tmp_path: Path) -> Path:
    """A book in a folder of its own, whose ski in hand has a reading due."""
    (tmp_path / "shop").mkdir()
    path = demo_file(tmp_path / "shop")
    with open_shop(path) as shop:
        shop.remember("job", ski(shop, "Gannet 68").job.id)
    return path


def texts(book: Path) -> list[str]:
    """The readings of the ski in hand."""
    with Book(book) as opened:
        job = opened.setting("job") or ""
        return [f.text for f in opened.facts(job) if isinstance(f, rows.Reading)]


# A book that cannot be opened ---------------------------------------------------------------------


def _other_program(book: Path) -> None:
    book.unlink()
    with closing(sqlite3.connect(book)) as conn:
        conn.execute("CREATE TABLE skis (id TEXT)")
        conn.commit()


def _no_database(book: Path) -> None:
    book.write_bytes(b"dear rider,\n" * 500)


def _cut_short(book: Path) -> None:
    with book.open("r+b") as file:
        file.truncate(book.stat().st_size // 2)


def _bits_flipped(book: Path) -> None:
    text = bytearray(book.read_bytes())
    for at in range(12288, len(text), 4096):
        for byte in range(at, at + 16):
            text[byte] ^= 0x55
    book.write_bytes(text)


def _newer(book: Path) -> None:
    with closing(sqlite3.connect(book)) as conn:
        conn.execute(
            """INSERT INTO _sqlite_migrations (migration_set, name, applied_at)
            VALUES ('quarterturn', 'from_the_future', '2040-01-01')"""
        )
        conn.commit()


def _no_longer_guarded(book: Path) -> None:
    with closing(sqlite3.connect(book)) as conn:
        conn.execute("DROP TRIGGER readings_no_update")
        conn.commit()


def _folder(book: Path) -> None:
    book.unlink()
    book.mkdir()


BROKEN: dict[str, tuple[Callable[[Path], None], str]] = {
    "another program's": (_other_program, "database of another program; name another file"),
    "no database": (_no_database, "not a book of Quarterturn; name another file"),
    "cut short": (_cut_short, "cut short; keep it and open the latest backup"),
    "bits flipped": (_bits_flipped, "damaged"),
    "a newer one": (_newer, "newer Quarterturn"),
    "guards taken off": (_no_longer_guarded, "changed by another program; keep it"),
    "a folder": (_folder, "is a folder; name a file in it"),
}


def _contents(folder: Path) -> dict[str, bytes | None]:
    return {p.name: p.read_bytes() if p.is_file() else None for p in folder.iterdir()}


@pytest.mark.parametrize("fault", BROKEN)
@pytest.mark.parametrize("command", [(), ("read", "length", "2.4905")])
def test_a_book_that_cannot_be_opened(
    book: Path,
    fault: str,
    command: tuple[str, ...],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Bench and commands alike: one line with a way on, status 1, nothing in the folder touched."""
    monkeypatch.setattr(opening, "_checked", set())
    monkeypatch.setattr(start, "_check_terminal", lambda: None)
    spoil, words = BROKEN[fault]
    spoil(book)
    before = _contents(book.parent)
    assert main(["--book", str(book), *command]) == 1
    out, errors = capsys.readouterr()
    assert out == ""
    assert errors.count("\n") == 1
    assert words in errors
    assert _contents(book.parent) == before


def test_a_step_that_fails_half_way(
    book: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A new version whose migration breaks: the book as it was, a copy named, the old one works."""
    before = texts(book)
    steps = schema.migrations()

    @steps(name="next_step")
    def _next(db: Database) -> None:
        db.execute("CREATE TABLE extra (id TEXT) STRICT")
        raise ValueError("no room for it")

    monkeypatch.setattr(books, "Desk", partial(desk.Desk, steps=steps))
    assert main(["--book", str(book), "queue"]) == 1
    errors = capsys.readouterr().err
    assert "could not be brought up to date" in errors
    assert "no room for it" in errors
    assert "it is as it was, and a copy is at" in errors
    assert "before-next_step.db" in errors
    monkeypatch.undo()
    assert texts(book) == before
    sound(book)


@pytest.mark.parametrize("left", ["-wal", "-shm", "-journal", ".lock"])
def test_what_a_dead_program_left_beside_the_book(book: Path, left: str) -> None:
    """Rubbish beside it, or the log of another book: the book opens with all that it holds."""
    before = texts(book)
    book.with_name(book.name + left).write_bytes(os.urandom(40_000))
    assert texts(book) == before
    sound(book)


def test_an_old_copy_laid_over_the_book_beside_its_newer_log(book: Path) -> None:
    """What copying by hand may leave: refused as damaged, or sound with all of the copy in it."""
    old = book.read_bytes()
    before = texts(book)
    with open_shop(book) as shop:
        job = shop.book.setting("job") or ""
        for n in range(300):
            shop.book.add_mark(job, "KV", "note", number=n)
        log = book.with_name("demo.db-wal").read_bytes()
    book.write_bytes(old)
    book.with_name("demo.db-wal").write_bytes(log)
    opening._checked.clear()
    refused = ""
    try:
        assert texts(book) == before
        sound(book)
    except RecordsError as why:
        refused = str(why)
    assert not refused or "keep it and open the latest backup" in refused


# Trouble while the bench is open ------------------------------------------------------------------


@contextmanager
def _full(shop: Shop) -> Iterator[None]:
    look = shop.book._desk.read
    pages = look(lambda db: db.execute("PRAGMA page_count").fetchone()[0])
    look(lambda db: db.execute(f"PRAGMA max_page_count = {pages}").fetchall())
    other = ski(shop, "Lark 64").job.id
    was = next(f for f in shop.book.facts(other) if isinstance(f, rows.Reading))
    taken = rows.Reading(
        method_id=was.method_id,
        pass_number=was.pass_number,
        text=was.text,
        unit=was.unit,
        mm=was.mm,
    )
    for fill in (
        lambda: shop.book.add_mark(other, "KV", "held", text="x"),
        lambda: shop.book.add_fact(other, "KV", taken),
        lambda: shop.book.set_setting("filler", "x", who=""),
    ):
        for _ in range(3000):
            try:
                fill()
            except RecordsError:
                break
    yield
    look(lambda db: db.execute("PRAGMA max_page_count = 1000000").fetchall())


@contextmanager
def _read_only(shop: Shop) -> Iterator[None]:
    shop.book._desk.read(lambda db: db.execute("PRAGMA query_only = ON"))
    yield
    shop.book._desk.read(lambda db: db.execute("PRAGMA query_only = OFF"))


@contextmanager
def _folder_gone(shop: Shop) -> Iterator[None]:
    folder = shop.book.path.parent
    away = folder.with_name("away")
    folder.rename(away)
    yield
    away.rename(folder)


@contextmanager
def _held_by_another(shop: Shop) -> Iterator[None]:
    with closing(sqlite3.connect(shop.book.path, isolation_level=None)) as other:
        shop.book._desk.read(lambda db: db.execute("PRAGMA busy_timeout = 20"))
        other.execute("BEGIN IMMEDIATE")
        yield
        other.execute("ROLLBACK")


TROUBLE: dict[str, tuple[Callable[[Shop], AbstractContextManager[None]], str]] = {
    "the disk is full": (_full, "the disk is full"),
    "the book is read-only": (_read_only, "the book is read-only"),
    "its folder has gone": (_folder_gone, "moved or deleted"),
    "another program holds it": (_held_by_another, "held the book too long"),
}


@pytest.mark.parametrize("trouble", TROUBLE)
async def test_trouble_while_a_reading_is_typed(
    book: Path, trouble: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It says what; the reading stays on the screen, and Enter keeps it once that is over."""
    monkeypatch.setattr(database, "PATIENCE_SECONDS", 0.05)
    cause, words = TROUBLE[trouble]
    before = texts(book)
    with open_shop(book) as shop:
        async with bench(shop, (120, 36)) as screen:
            await screen.by_hand("2.4905")
            with cause(shop):
                await screen.settle()
                await screen.by_hand("\n")
                shown = " ".join(screen.shown().replace("┃", " ").split())
                assert words in shown
                assert screen.app.hands.state.entry == "2.4905"
                for key in ("asterisk", "pagedown", "asterisk", "tab", "y", "pageup"):
                    await screen.pilot.press(key)
                assert screen.app.hands.state.entry == "2.4905"
                assert "Gannet 68" in screen.shown(), "an entry holds its ski in hand"
            await screen.settle()
            await screen.by_hand("\n")
            assert "kept" in screen.shown()
    assert texts(book) == [*before, "2.4905"]
    sound(book)


@pytest.mark.parametrize(
    "trouble",
    [pytest.param(t, marks=() if "full" in t else pytest.mark.long) for t in TROUBLE],
)
async def test_a_burst_that_no_place_can_keep_stays_in_sight(
    book: Path, trouble: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A reading sent while the help is open, and no note can be written: it is said, with it."""
    monkeypatch.setattr(database, "PATIENCE_SECONDS", 0.05)
    with open_shop(book) as shop:
        async with bench(shop) as screen:
            with TROUBLE[trouble][0](shop):
                await screen.by_hand("h")
                await screen.settle()
                screen.burst("2.4905\r\n")
                await screen.settle()
                await screen.pilot.press("escape")
                await screen.settle()
                assert "'2.4905' arrived and is not kept" in screen.shown()
            assert screen.held() == []


async def test_a_burst_into_the_queue_that_cannot_be_kept_says_so_there(book: Path) -> None:
    """The screen in front never claims that a note was kept when none was."""
    with open_shop(book) as shop:
        async with bench(shop) as screen:
            await screen.by_hand("z")
            await screen.settle()
            with _read_only(shop):
                screen.burst("2.4905\r\n")
                await screen.settle()
                shown = screen.shown()
                assert "2.4905 arrived here and was not taken" in shown
                assert "held as a note" not in shown
            screen.burst("2.4906\r\n")
            await screen.settle()
            assert "2.4906 arrived here and is held as a note" in screen.shown()
            assert screen.held() == ["2.4906"]


def test_a_disk_that_fills_under_a_real_bench(book: Path) -> None:
    """A limit on the file's size stops the log: the bench says so; with room again, Enter keeps."""
    before = texts(book)
    with bench_on(book) as terminal:
        terminal.until(b"Gannet 68")
        terminal.settle(0.1)
        was = resource.prlimit(terminal.pid, resource.RLIMIT_FSIZE)
        resource.prlimit(terminal.pid, resource.RLIMIT_FSIZE, (1000, was[1]))
        terminal.press(b"2.4905")
        terminal.settle(0.1)
        terminal.out = b""
        terminal.press(b"\r")
        terminal.until(b"disk")
        assert "kept:" not in plain(terminal.out)
        resource.prlimit(terminal.pid, resource.RLIMIT_FSIZE, was)
        terminal.out = b""
        terminal.settle(0.2)
        terminal.press(b"\r")
        terminal.until(b"kept: ")
    assert texts(book) == [*before, "2.4905"]
    sound(book)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A real file system of two megabytes, where the tests may mount one."""
    where = tmp_path / "disk"
    where.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=2m", "none", str(where)], capture_output=True,
        check=False,
    )  # fmt: skip
    if made.returncode:
        pytest.skip("no small disk can be mounted here")
    yield where
    subprocess.run(["umount", "-l", str(where)], check=True)


@pytest.mark.long
def test_a_small_disk_that_is_really_full(small_disk: Path) -> None:
    """Everything up to the last byte, then a line; with room again, on it goes."""
    book = demo_file(small_disk)
    with open_shop(book) as shop:
        job = ski(shop, "Gannet 68").job.id
        shop.remember("job", job)
    with bench_on(book) as terminal:
        terminal.until(b"Gannet 68")
        terminal.settle(0.1)
        filler = small_disk / "filler"
        with suppress(OSError), filler.open("wb", buffering=0) as file:
            while True:
                file.write(bytes(1024))
        terminal.press(b"2.4905")
        terminal.settle(0.1)
        for _ in range(60):  # until what room the log still had is used up
            terminal.out = b""
            terminal.press(b"\r")
            terminal.settle(0.05)
            if b"kept:" not in terminal.out:
                break
            terminal.press(b"2.4905")
            terminal.settle(0.05)
        terminal.until(b"disk")
        filler.unlink()
        told = len(texts(book))
        terminal.settle(0.2)
        terminal.press(b"\r")
        terminal.until(b"kept: ")
    assert len(texts(book)) == told + 1
    sound(book)


# A book that does not answer, whatever is done ----------------------------------------------------

LATER = "enter 2 plus enter f2 a n f3 f4 f5 f6 f7 delete space left right home end tab c k w s t z"
ACTIONS = sorted(choice.action for choice in CHOICES)


def _silent(*_: object, **__: object) -> None:
    raise RecordsError("the book: the disk does not answer properly; check it, then try again")


async def _stands(screen: Screen, keys: str) -> None:
    for key in keys.split():
        await screen.pilot.press(key)
    await screen.pilot.pause(0.02)
    assert screen.app.is_running or screen.app.return_code == 0


@pytest.mark.parametrize("action", ACTIONS)
@pytest.mark.parametrize("silent", ["read", "write"])
async def test_no_action_needs_a_book_that_answers(
    book: Path, action: str, silent: str, long: bool
) -> None:
    """Opened on a silent book, or the book falls silent when open: a message, and it stands."""
    if not long and (ACTIONS.index(action) + 25 * (silent == "read")) % 50:
        pytest.skip("two of the everyday run: all with --long")
    with open_shop(book) as shop:
        async with bench(shop, (80, 24)) as screen:
            await screen.by_hand("2.4")
            setattr(shop.book._desk, silent, _silent)
            screen.app.do_(action)
            await _stands(screen, "x f2 enter plus escape escape")
        delattr(shop.book._desk, silent)
        async with bench(shop, (80, 24)) as screen:
            screen.app.do_(action)
            await screen.pilot.pause(0.05)
            setattr(shop.book._desk, silent, _silent)
            await _stands(screen, LATER)
        delattr(shop.book._desk, silent)


# Random hands -------------------------------------------------------------------------------------

HOSTILE = (
    "[b]X[/b]", "a[/nope]b", "[@click=app.quit]go[/]", "end\\", "\x1b[31mred\x1b]0;t\x07",
    "\u202eabc\u2066", "z\u200bw\ufeff", "L" * 5000, "💥é\u0301\u0301\u0301", "%s {x} $name",
    "a\nb\tc", "\ud800\udfff", "nul\x00", "=1+1", "1e400", "nan", "2.45", "-1", "½", "9" * 400,
    "'; DROP TABLE skis; --", "x" * 1_000_000, "\r\n" * 5, "1\n" * 2000, "a" + "\u0301" * 3000,
    "日本" * 200, "\x9b31m", "../x", "yes", "in", "mm", "2.4905", "7 1/2", "0 0; 7.3 0; 1.6 3.4",
)  # fmt: skip
BAD_SIGNS = set("\x1b\x07\x00\x9b\u202e\u2066\u200b\ufeff\t\ud800")
_NAMES = """enter tab shift+tab up down left right pageup pagedown home end escape space f1 f2 f2 f2
f3 f4 f5 f6 f7 f8 f9 plus plus minus slash asterisk colon backspace delete ctrl+s full_stop comma
enter"""
KEYS = [*_NAMES.split(), *"abcdefghijklmnoprstuvwxyz0123456789"]
SLOWEST_S = 1.0


async def _random_act(screen: Screen, rnd: random.Random) -> str:
    """Do something anybody could do, and return what."""
    app, what = screen.app, rnd.random()
    in_front = len(app.screen_stack) > 1
    if what < 0.12 and not in_front:
        action = rnd.choice([a for a in ACTIONS if a != "quit"])
        app.do_(action)
        return f"do {action}"
    if what < 0.30:
        text = rnd.choice(HOSTILE)
        target = (app.focused or app.screen) if in_front else app
        target.post_message(Paste(text))
        return f"paste {text[:20]!r}"
    if what < 0.34:
        burst = rnd.choice(("2.4905\r\n", ".728\n", "-1/64\n"))
        screen.burst(burst)
        return f"burst {burst!r}"
    key = rnd.choice(KEYS)
    await screen.pilot.press(key)
    return key


async def _random_hands(folder: Path, seed: int, steps: int) -> None:
    rnd = random.Random(seed)
    book = demo_file(folder)
    done: list[str] = []
    with open_shop(book) as shop:
        async with bench(shop, rnd.choice(SIZES)) as screen:
            for n in range(steps):
                begun = time.process_time()
                done.append(await _random_act(screen, rnd))
                await screen.pilot.pause()
                took = time.process_time() - begun
                assert screen.app.is_running, (seed, done[-8:])
                assert took < SLOWEST_S, (seed, took, done[-8:])
                if n % 4 == 0:
                    shown = screen.shown()
                    assert not BAD_SIGNS & set(shown), (seed, done[-8:])
    sound(book)


async def test_random_hands_and_hostile_text(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, long: bool
) -> None:
    """Any keys, pastes and bursts on any screen: nothing crashes, hangs, acts or hides."""
    monkeypatch.chdir(tmp_path)
    for seed in range(200 if long else 1):
        await _random_hands(tmp_path, seed, 150 if long else 50)


DROPPED = {"line": "9" * 1_000_000, "digits": "1\n" * 300_000, "lines": "x\n" * 300_000}
EVERY_DAY = {("bench", "line"), ("bench", "digits"), ("n", "line"), ("/", "digits"), ("z", "lines")}


@pytest.mark.parametrize("where", ["bench", "n", "/", "s", "z"])
@pytest.mark.parametrize("what", DROPPED)
async def test_a_file_dropped_on_the_bench(
    shop_of: Shop, where: str, what: str, long: bool
) -> None:
    """A megabyte pasted anywhere is refused in words, at once, and what was typed stays."""
    if not long and (where, what) not in EVERY_DAY:
        pytest.skip("the other pairs with --long")
    async with bench(shop_of) as screen:
        await screen.by_hand("2.4" if where == "bench" else where)
        await screen.settle()
        app = screen.app
        begun = time.process_time()
        target = app if where == "bench" else (app.focused or app.screen)
        target.post_message(Paste(DROPPED[what]))
        await screen.settle()
        assert time.process_time() - begun < 2 * SLOWEST_S
        assert screen.held() == []
        assert app.is_running
        if where == "bench":
            assert app.hands.state.entry == "2.4"
            assert "not taken" in screen.shown() or "none of it was taken" in screen.shown()


@pytest.fixture
def shop_of(book: Path) -> Iterator[Shop]:
    with open_shop(book) as shop:
        yield shop


LONG_NAME = "x" * 5000


@pytest.mark.parametrize(
    "command",
    [
        ("--book", LONG_NAME, "queue"), ("--book", f"/{LONG_NAME}/a.db", "queue"),
        ("backup", LONG_NAME), ("export", LONG_NAME), ("import", LONG_NAME),
        ("import", "a\0b"), ("restore", LONG_NAME), ("add-blade", LONG_NAME),
        ("card", "Stilt 65", "--to", LONG_NAME), ("export-csv", "queue", "--to", LONG_NAME),
        ("turns", LONG_NAME), ("intake", LONG_NAME),
    ],
)  # fmt: skip
def test_a_name_that_no_system_takes(
    book: Path, command: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    """One line on standard error and a status of ours; no report, for it is no error of ours."""
    named = () if "--book" in command else ("--book", str(book))
    assert main([*named, *command]) in (1, 2)
    errors = capsys.readouterr().err
    assert errors.count("\n") == 1
    assert "error of its own" not in errors


# What leaves the book ----------------------------------------------------------------------------

PRINTING = (
    "queue", "find a", "find Heron", "history {ski}", "next --ski {ski}", "card {ski}", "day-sheet",
    "parts", "calipers", "baselines", "ride --ski {ski}", "hold --ski {ski}", "marks --ski {ski}",
    "compare {ski}", "no-such {ski}", "settings", "study", "restore --list",
    "temperature --ski {ski}",
)  # fmt: skip


@pytest.mark.parametrize(
    "text", ["\x1b[31m\x1b]0;t\x07\x9b2J", "\u202ea\u2066z\u200b\ufeff", "=1+1|a"]
)
def test_no_name_acts_on_a_terminal_through_a_command(
    book: Path, text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """All that commands print or write of things so named is letters, their complaints too."""
    with open_shop(book) as shop:
        view = _hostile_job(shop, text)
        shop.note(view, "note", text)
        shop.book.set_setting("shop", text, who="")
        serial = view.ski.serial
    statuses = set()
    for line in PRINTING:
        command = [serial if word == "{ski}" else word for word in line.split()]
        statuses.add(_status(["--book", str(book), *command]))
        _is_letters("".join(capsys.readouterr()))
    for kind in ("queue", "skis", "readings"):
        main(["--book", str(book), "export-csv", kind, "--to", str(tmp_path / f"{kind}.csv")])
        _is_letters((tmp_path / f"{kind}.csv").read_text(encoding="utf-8-sig"))
    main(["--book", str(book), "export", str(tmp_path / "all.json")])
    assert (tmp_path / "all.json").read_text("utf-8").isascii()
    main(["--book", str(book), "card", serial, "--format", "all", "--to", str(tmp_path / "cards")])
    for path in (tmp_path / "cards").iterdir():
        if path.suffix != ".pdf":
            _is_letters(path.read_text("utf-8"))
    assert statuses <= {0, 2}
    assert 0 in statuses


def _status(command: list[str]) -> object:
    try:
        return main(command)
    except SystemExit as left:
        return left.code


def _is_letters(text: str) -> None:
    assert not BAD_SIGNS & set(text), text[:300]


# For their owner alone ----------------------------------------------------------------------------


def test_all_that_is_written_is_for_its_owner_alone(
    book: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Book, log, copies, exports, cards and reports, whatever the shell's mask allows others."""
    folder = book.parent
    book.chmod(0o600)
    monkeypatch.chdir(folder)
    was = os.umask(0)
    try:
        for command in (
            ("backup",), ("export", "all.json"), ("export-csv", "readings", "--to", "readings.csv"),
            ("export-csv", "queue", "--to", "queue.csv"), ("card", "Stilt 65", "--to", "cards"),
            ("day-sheet", "--to", "cards"), ("note", "--ski", "Gannet 68", "a bolt is worn"),
        ):  # fmt: skip
            assert main(["--book", str(book), *command]) == 0, (command, capsys.readouterr())
        with Book(book):
            _only_mine(folder)
    finally:
        os.umask(was)
    _only_mine(folder)
    assert len(list(folder.rglob("*"))) > 8


def _only_mine(folder: Path) -> None:
    for path in folder.rglob("*"):
        assert path.stat().st_mode & 0o077 == 0, path
