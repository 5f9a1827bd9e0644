"""Whatever the terminal is, does or sends: the work is kept and the terminal given back whole."""

from __future__ import annotations

import io
import os
import pty
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from datetime import date
from pathlib import Path

import pytest

from tests.bench.terminal import Terminal
from tests.bench.test_kill import plain
from tests.shop import demo_file, open_shop, ski
from workbench.bench.hand.hands import draft_in
from workbench.bench.start import _let_go_of_the_terminal
from workbench.bench.terminal import plain as plain_sign
from workbench.records.backup.backups import copy_of_day
from workbench.records.book import Book
from workbench.records.store import rows

ENTERED, LEFT = b"\x1b[?1049h", b"\x1b[?1049l"
MOUSE_OFF, PASTE_OFF, CURSOR_ON = b"\x1b[?1000l", b"\x1b[?2004l", b"\x1b[?25h"
COLOURS = re.compile(rb"\x1b\[([0-9;:]+)m")
SHOW_ME = b"Gannet 68"
SHELL = {"COLORTERM": "", "NO_COLOR": "", "COLUMNS": "80", "LINES": "24"}


@pytest.fixture
def book(tmp_path: Path) -> Path:
    """A book whose ski in hand has a reading due."""
    path = demo_file(tmp_path)
    with open_shop(path) as shop:
        shop.remember("job", ski(shop, "Gannet 68").job.id)
    return path


def start(
    book: Path, size: tuple[int, int] = (120, 36), env: Mapping[str, str] | None = None
) -> Terminal:
    """A real bench on the book, from a shell that exports a size of its own."""
    command = [sys.executable, "-m", "workbench", "--book", str(book), "--who", "KV"]
    terminal = Terminal(command, size, {**SHELL, **(env or {})})
    terminal.until(SHOW_ME)
    terminal.settle(0.15)
    return terminal


@pytest.fixture
def bench(book: Path) -> Iterator[Terminal]:
    with start(book) as terminal:
        yield terminal


def draft(book: Path) -> str | None:
    with Book(book) as opened:
        begun = draft_in(opened.setting("draft") or "")
    return begun.text if begun is not None else None


def test_a_book_begun_where_one_was_lost_tells_of_its_backups(book: Path) -> None:
    """And the way back is the one that it names."""
    with Book(book) as opened:
        copy_of_day(opened.path, date(2031, 5, 6))
    for path in book.parent.glob(f"{book.name}*"):
        path.unlink()
    command = [sys.executable, "-m", "workbench", "--book", str(book)]
    with Terminal([*command, "--who", "KV"]) as terminal:
        terminal.until(b"restore 2031-05-06")
        terminal.press(b"q")
        assert terminal.exit_status() == 0
    subprocess.run([*command, "restore", "2031-05-06"], check=True, capture_output=True)
    with open_shop(book) as shop:
        assert ski(shop, "Gannet 68").job.id == shop.book.setting("job")


def texts(book: Path) -> list[str]:
    """The readings of the ski in hand."""
    with Book(book) as opened:
        job = opened.setting("job") or ""
        return [f.text for f in opened.facts(job) if isinstance(f, rows.Reading)]


def keep(terminal: Terminal) -> None:
    """Press Enter on an entry and wait until it is kept."""
    terminal.out = b""
    terminal.press(b"\r")
    terminal.until(b"kept: ")


def ask_to_leave(bench: Terminal, how: signal.Signals | bytes) -> None:
    """Send a signal, or keys."""
    if isinstance(how, bytes):
        os.write(bench.file, how)
    else:
        os.kill(bench.pid, how)


def given_back(out: bytes) -> None:
    """The alternate screen left, mouse and bracketed paste off, the cursor shown."""
    assert out.count(ENTERED) == out.count(LEFT) == 1
    for code in (MOUSE_OFF, PASTE_OFF, CURSOR_ON):
        assert code in out[out.index(ENTERED) :]
    assert b"Traceback" not in out


# Leaving ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("how", "status"),
    [
        (signal.SIGHUP, 129),
        (signal.SIGINT, 130),
        (b"\x03", 0),
        pytest.param(signal.SIGTERM, 143, marks=pytest.mark.long),
        pytest.param(b"\x11", 0, marks=pytest.mark.long),
    ],
)
def test_every_way_out_keeps_the_entry(
    bench: Terminal, book: Path, how: signal.Signals | bytes, status: int
) -> None:
    """Signals, Ctrl+C and Ctrl+Q: the entry begun is there next time, the terminal whole."""
    bench.press(b"2.4")
    ask_to_leave(bench, how)
    assert bench.exit_status() == status
    given_back(bench.out)
    assert draft(book) == "2.4"


@pytest.mark.parametrize(("how", "status"), [(signal.SIGTERM, 143), (b"\x03", 0)])
def test_a_book_that_has_gone_holds_nobody_up(
    bench: Terminal, book: Path, how: signal.Signals | bytes, status: int
) -> None:
    """It leaves all the same, and tells what was typed and could not be kept."""
    bench.press(b"2.4")
    for path in book.parent.glob(f"{book.name}*"):
        path.unlink()
    bench.settle(1.5)
    ask_to_leave(bench, how)
    assert bench.exit_status() == status
    given_back(bench.out)
    assert b"not kept, for the book could not be written: '2.4'" in bench.out


def test_a_screen_that_cannot_be_closed_holds_nobody_up(book: Path) -> None:
    """Whatever keeps it: the entry is kept, then the bench ends, with the status that was asked."""
    program = (
        "import sys; from workbench.bench import start; from workbench.bench.app import Bench; "
        "start.LONGEST_LEAVE_S = 4.0; Bench.exit = lambda *given, **named: None; "
        "from workbench.cli import main; sys.exit(main(sys.argv[1:]))"
    )
    command = [sys.executable, "-c", program, "--book", str(book), "--who", "KV"]
    with Terminal(command, (120, 36), SHELL) as terminal:
        terminal.until(SHOW_ME)
        terminal.settle(0.15)
        terminal.press(b"2.4")
        os.kill(terminal.pid, signal.SIGTERM)
        assert terminal.exit_status() == 143
    assert draft(book) == "2.4"


def test_a_lid_that_closes_on_a_book_that_has_gone_ends_the_bench(book: Path) -> None:
    """Nobody is there to be told, and nothing runs on unseen."""
    terminal = start(book)
    terminal.press(b"2.4")
    for path in book.parent.glob(f"{book.name}*"):
        path.unlink()
    os.close(terminal.file)
    assert _ended(terminal.pid) == 129


@pytest.mark.parametrize("how", [b"\x03", pytest.param(signal.SIGHUP, marks=pytest.mark.long)])
def test_what_was_typed_in_an_open_form_comes_back(
    bench: Terminal, book: Path, how: signal.Signals | bytes
) -> None:
    """A form in front is no trap: Ctrl+C and a closed lid leave, and the form is as it was."""
    bench.press(b"n")
    bench.until(b"Add a ski")
    bench.settle(0.1)
    bench.press(b"Swift 65")
    ask_to_leave(bench, how)
    assert bench.exit_status() == (0 if how == b"\x03" else 129)
    given_back(bench.out)
    with start(book) as again:
        again.press(b"n")
        again.until(b"Swift 65")
        again.press(b"\x1b")
        again.settle()
        again.press(b"q")
        assert again.exit_status() == 0
    with Book(book) as opened:
        assert not opened.setting("forms"), "a form that was closed is not kept for ever"


def test_a_lid_that_closes_ends_the_bench(book: Path) -> None:
    """The terminal goes with its line cut: the system sends SIGHUP."""
    terminal = start(book)
    terminal.press(b"2.4")
    os.close(terminal.file)
    assert _ended(terminal.pid) == 129
    assert draft(book) == "2.4"


def test_what_a_closed_terminal_did_not_take_changes_no_status(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Python would end with 120 where its own last flush fails."""

    class Gone(io.StringIO):
        def flush(self) -> None:
            raise OSError(5, "the terminal has gone")

    monkeypatch.setattr(sys, "stderr", Gone())
    _let_go_of_the_terminal()
    sys.stderr.flush()


def test_a_driver_that_is_none_is_told_in_one_line(book: Path) -> None:
    """No report, no trace: the variable and what it may be; and nothing of the book is touched."""
    command = [sys.executable, "-m", "workbench", "--book", str(book)]
    with Terminal(command, env={**SHELL, "TEXTUAL_DRIVER": "nonsense"}) as terminal:
        assert terminal.exit_status(30.0) == 2
    assert terminal.out.count(b"\n") == 1
    assert b"TEXTUAL_DRIVER: 'nonsense'" in terminal.out


def test_a_terminal_that_goes_without_a_word_ends_the_bench(book: Path) -> None:
    """No SIGHUP reaches it, as under another program's session: it notices, and does not spin."""
    master, slave = pty.openpty()
    child = subprocess.Popen(
        [sys.executable, "-m", "workbench", "--book", str(book)],
        stdin=slave, stdout=slave, stderr=slave, start_new_session=True,
        env={**os.environ, "TERM": "xterm-256color"},
    )  # fmt: skip
    os.close(slave)
    seen = b""
    while SHOW_ME not in seen:
        seen += os.read(master, 65536)
    os.write(master, b"2.4")
    while b"2.4" not in seen.rpartition(SHOW_ME)[2]:
        seen += os.read(master, 65536)
    os.close(master)
    assert child.wait(timeout=20) == 129
    assert draft(book) == "2.4"


def _ended(pid: int) -> int:
    end = time.monotonic() + 20
    while time.monotonic() < end:
        ended, status = os.waitpid(pid, os.WNOHANG)
        if ended:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.05)
    os.kill(pid, signal.SIGKILL)
    raise AssertionError("the bench runs on without a terminal")


def stalled(bench: Terminal) -> None:
    """Type until the terminal, which nobody reads any more, has long stopped taking paints."""
    for _ in range(150):
        os.write(bench.file, b"2\x7f")
        time.sleep(0.01)
    os.write(bench.file, b"2.4")
    time.sleep(2)  # a slow machine has taken the keys by then


def test_a_stalled_terminal_that_is_cut_ends_the_bench(book: Path) -> None:
    """As a connection that hangs and is then lost: keys went on being taken, and the bench ends."""
    terminal = start(book)
    stalled(terminal)
    os.close(terminal.file)
    assert _ended(terminal.pid) == 129
    assert draft(book) == "2.4"


def test_a_stalled_terminal_does_not_hold_the_bench_up(bench: Terminal, book: Path) -> None:
    """SIGTERM while nobody reads what is painted: it ends all the same, its entry kept."""
    stalled(bench)
    os.kill(bench.pid, signal.SIGTERM)
    assert _ended(bench.pid) == 143
    bench.ended = True
    assert draft(book) == "2.4"


def test_a_terminal_that_stalled_goes_on(bench: Terminal, book: Path) -> None:
    """Read again, it shows what was typed meanwhile."""
    stalled(bench)
    bench.settle()
    bench.press(b"\x1b")
    bench.settle()
    os.write(bench.file, b"\x11")
    assert bench.exit_status() == 0
    given_back(bench.out)
    assert not draft(book)


def test_stopped_and_continued(bench: Terminal, book: Path) -> None:
    """SIGTSTP gives the terminal back, SIGCONT draws again, and the entry goes on."""
    bench.press(b"2.4")
    os.kill(bench.pid, signal.SIGTSTP)
    bench.until(LEFT)
    _, status = os.waitpid(bench.pid, os.WUNTRACED)
    assert os.WIFSTOPPED(status)
    bench.out = b""
    os.kill(bench.pid, signal.SIGCONT)
    bench.until(SHOW_ME)
    bench.press(b"905")
    keep(bench)
    assert texts(book)[-1] == "2.4905"


def test_stopped_without_warning_and_continued(bench: Terminal, book: Path) -> None:
    """SIGSTOP says nothing first; SIGCONT draws anew without a key, and keys come in order."""
    bench.press(b"2.4")
    os.kill(bench.pid, signal.SIGSTOP)
    os.waitpid(bench.pid, os.WUNTRACED)
    bench.out = b""
    os.kill(bench.pid, signal.SIGCONT)
    bench.until(SHOW_ME)
    bench.until(b"Gannet 68")
    bench.press(b"905")
    keep(bench)
    assert texts(book)[-1] == "2.4905"
    bench.press(b"\x03")
    assert bench.exit_status() == 0
    assert bench.out.count(LEFT) == 1
    assert ENTERED not in bench.out
    assert CURSOR_ON in bench.out[bench.out.index(LEFT) :]


# An error of our own ------------------------------------------------------------------------------

BROKEN = """
import sys
{patch}
from workbench.cli import main
raise SystemExit(main(["--book", sys.argv[1], "--who", "KV"]))
"""
PLACES = {
    "in a key of the bench": (
        "from workbench.bench.hand.hands import Hands\nHands.next_side = lambda s: 1 / 0", b"\t"
    ),
    "in a screen in front": (
        "from workbench.bench.screens.help_screens import Help\n"
        "Help.on_mount = lambda s: 1 / 0", b"?"
    ),
    "in a key of a screen in front": (
        "from workbench.bench.screens.help_screens import Help\n"
        "Help.on_key = lambda s, e: 1 / 0", b"?x"
    ),
    "in drawing a panel": (
        "from workbench.bench import panels\nfrom workbench.bench.hand.hands import Hands\n"
        "def flip(s):\n    panels.top_line = None\n    s.change()\nHands.flip_unit = flip", b"*"
    ),
    "in a timer": (
        "from workbench.bench.app import Bench\n"
        "Bench._look = lambda s: 1 / 0 if s.hands.state.entry else None", b""
    ),
    "while it starts": (
        "from workbench.bench.app import Bench\nBench.on_mount = lambda s: 1 / 0", None
    ),
    "while its screen is made": (
        "from workbench.bench.app import Bench\nBench.compose = lambda s: 1 / 0", None
    ),
    "before there is a screen": (
        "from workbench.bench import app\n"
        "def make(shop):\n    raise ZeroDivisionError\napp.Hands = make", None
    ),
    "where the keyboard is read": (
        "import textual.drivers.linux_driver as d\nclass P:\n"
        "    def __init__(self, *a): pass\n    def tick(self): return []\n"
        "    def feed(self, text):\n        if 'h' in text: 1 / 0\n"
        "        return d.parser_was.feed(text)\n"
        "d.parser_was = d.XTermParser()\nd.XTermParser = P", b"h"
    ),
}  # fmt: skip


ONLY_LONG = (
    "in a key of the bench", "while its screen is made", "in drawing a panel",
    "in a key of a screen in front", "before there is a screen",
)  # fmt: skip
"""The first of them is in the everyday run elsewhere."""


@pytest.mark.parametrize(
    "place", [pytest.param(p, marks=pytest.mark.long) if p in ONLY_LONG else p for p in PLACES]
)
def test_an_error_of_ours_anywhere(book: Path, place: str) -> None:
    """The terminal is whole, the entry kept, a report written and named, the status 1."""
    patch, keys = PLACES[place]
    script = BROKEN.format(patch=patch)
    with Terminal([sys.executable, "-c", script, str(book)]) as terminal:
        if keys is not None:
            terminal.until(SHOW_ME)
            terminal.press(b"2.4")
            os.write(terminal.file, keys)
        assert terminal.exit_status(30) == 1
        out = terminal.out
    assert out.count(ENTERED) == out.count(LEFT)
    assert b"Traceback" not in out
    assert b"Quarterturn ran into an error of its own" in out
    (report,) = book.parent.glob("quarterturn-report-*.txt")
    assert "ZeroDivisionError" in report.read_text() or place == "in drawing a panel"
    assert report.stat().st_mode & 0o777 == 0o600
    assert "2.4" not in report.read_text().partition("at: ")[0]
    if keys is not None:
        assert draft(book) == "2.4"


def test_a_byte_that_is_no_text_changes_nothing(bench: Terminal, book: Path) -> None:
    """Noise on the line, a keyboard of another encoding: what can be read is read."""
    bench.press(b"2.4\xff\xfe9\x80\xc305")
    bench.settle()
    keep(bench)
    assert texts(book)[-1] == "2.4905"


# Sizes --------------------------------------------------------------------------------------------


def test_resized_while_typing(bench: Terminal, book: Path) -> None:
    """From 200x60 to 60x18 and back between the digits."""
    for n, digit in enumerate(b"2.4905"):
        bench.resize((200, 60) if n % 2 else (60, 18))
        bench.press(bytes([digit]))
    bench.resize((200, 60))
    bench.settle()
    keep(bench)
    assert texts(book)[-1] == "2.4905"


def test_too_small_says_so_and_still_keeps_readings(bench: Terminal, book: Path) -> None:
    """At 40x10 nothing is drawn but what is wrong; the entry begun is kept by Enter."""
    bench.press(b"2.4")
    bench.out = b""
    bench.resize((40, 10))
    bench.until(b"Too small to draw")
    bench.settle()
    bench.press(b"905\r")
    bench.settle()
    assert texts(book)[-1] == "2.4905"
    bench.out = b""
    bench.resize((120, 36))
    bench.until(SHOW_ME)
    bench.settle()
    assert "2.4905 in" in plain(bench.out)


# Kinds of terminal --------------------------------------------------------------------------------


def _colours(out: bytes) -> tuple[int, int]:
    """How many codes set one of the sixteen colours, and how many any other colour."""
    sixteen = more = 0
    for code in COLOURS.findall(out):
        parts = code.replace(b":", b";").split(b";")
        if b"38" in parts or b"48" in parts:
            more += 1
        elif any(part.isdigit() and _is_colour(int(part)) for part in parts):
            sixteen += 1
    return sixteen, more


def _is_colour(number: int) -> bool:
    return 30 <= number % 60 <= 37 or 40 <= number % 60 <= 47


@pytest.mark.parametrize(
    ("env", "sixteen", "more"),
    [
        pytest.param({"TERM": "xterm-256color"}, False, True, marks=pytest.mark.long),
        ({"TERM": "xterm"}, True, False),
        pytest.param({"TERM": "linux"}, True, False, marks=pytest.mark.long),
        pytest.param({"TERM": "screen"}, True, False, marks=pytest.mark.long),
        ({"TERM": "xterm-256color", "NO_COLOR": "1"}, False, False),
        pytest.param(
            {"TERM": "xterm-256color", "COLORTERM": "truecolor", "NO_COLOR": "1"},
            False,
            False,
            marks=pytest.mark.long,
        ),
    ],
    ids=["256", "xterm", "linux", "screen", "no colour", "no true colour"],
)
def test_the_colours_are_those_that_the_terminal_has(
    book: Path, env: dict[str, str], sixteen: bool, more: bool
) -> None:
    """True colour, 256, sixteen or none; a reading is taken with each, and each can be read."""
    with start(book, env=env) as terminal:
        terminal.press(b"2.4905")
        keep(terminal)
        terminal.press(b"y")
        terminal.settle(0.1)
        terminal.press(b"q")
        assert terminal.exit_status() == 0
        found = _colours(terminal.out)
    assert (found[0] > 0, found[1] > 0) == (sixteen, more), found


def test_a_terminal_of_plain_letters(book: Path) -> None:
    """An encoding without our signs: others of the same width stand for them, and nothing else."""
    env = {"PYTHONIOENCODING": "ascii", "LC_ALL": "C", "LANG": "C", "PYTHONUTF8": "0"}
    with start(book, env=env) as terminal:
        first = terminal.out
        terminal.press(b"2.4905")
        keep(terminal)
        out = first + terminal.out
    assert out.isascii()
    assert b"\\u" not in out
    shown = plain(out)
    assert "+- Readings ---" in shown
    assert "2.4905 in" in shown


def test_the_signs_that_stand_in_take_as_many_cells() -> None:
    """One letter for one cell, two for two, none for what takes none; each is plain."""
    from rich.cells import cell_len

    for char in map(chr, (*range(0xA0, 0x3000), 0x65E5, 0x1F4A5, 0xFF0B)):
        found = plain_sign(char)
        assert found.isascii(), char
        assert len(found) == cell_len(char), char


@pytest.mark.long
def test_drawn_without_braille(book: Path) -> None:
    """With drawing set to ASCII the side view and the readings' pictures use plain letters."""
    with Book(book) as opened:
        opened.set_setting("drawing", "ascii", who="")
    with start(book) as terminal:
        shown = plain(terminal.out)
    assert not any("\u2800" <= char <= "\u28ff" for char in shown)


@pytest.mark.parametrize("stream", ["stdin", "stdout", "stderr"])
def test_any_stream_that_is_no_terminal_is_refused(book: Path, stream: str, tmp_path: Path) -> None:
    """The screen is drawn on standard error, so that must be a terminal too."""
    master, slave = pty.openpty()
    streams = {"stdin": slave, "stdout": slave, "stderr": slave}
    with (tmp_path / "file").open("w+") as file:
        streams[stream] = file.fileno()
        done = subprocess.run(
            [sys.executable, "-m", "workbench", "--book", str(book)], **streams, timeout=30,
            check=False,
        )  # fmt: skip
        file.seek(0)
        said = file.read()
    if stream != "stderr":
        said = os.read(master, 65536).decode()
    os.close(slave)
    os.close(master)
    assert done.returncode == 2
    assert said.strip().count("\n") == 0
    assert "terminal" in said
    assert "\x1b" not in said
