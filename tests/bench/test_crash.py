"""An error of our own: the terminal is given back, the work kept, a report written and named."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import pytest

from tests.bench.terminal import Terminal
from tests.shop import demo_file, open_shop
from workbench.bench.crash import words, write_report
from workbench.bench.hand.hands import draft_in

BROKEN = """
from workbench.bench.hand.hands import Hands
def broken(self):
    raise ZeroDivisionError("a slip of ours")
Hands.flip_unit = broken
from workbench.cli import main
raise SystemExit(main(["--book", {book!r}, "--who", "KV"]))
"""


def test_the_report_is_named_and_the_entry_comes_back(tmp_path: Path) -> None:
    """The bench dies on a key with an entry begun; the next one opens with that entry."""
    book = demo_file(tmp_path)
    with open_shop(book) as shop:
        job = next(x.job_id for x in shop.roster() if x.stage == "measuring")
        shop.remember("job", job)
    command = [sys.executable, "-c", BROKEN.format(book=str(book))]
    with Terminal(command) as terminal:
        terminal.until(b"take back")
        terminal.settle()
        terminal.press(b"24")
        terminal.press(b"*")
        terminal.settle(1.0)
        out = terminal.out
        assert terminal.exit_status() == 1
    assert b"\x1b[?1049l" in out, "the alternate screen was not left"
    assert b"Traceback" not in out
    found = re.search(rb"report for its makers is in (\S+\.txt)\.", out.replace(b"\r\n", b""))
    assert found is not None, out[-600:]
    report = Path(found[1].decode())
    assert report.parent == tmp_path
    assert report.stat().st_mode & 0o777 == 0o600
    assert "a slip of ours" in report.read_text()
    with open_shop(book) as shop:
        begun = draft_in(shop.book.setting("draft") or "")
        assert begun is not None
        assert (begun.text, begun.job_id) == ("24", job)
        assert shop.book.setting("job") == job


def test_where_no_report_can_be_written_it_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither beside the book nor in the system's folder."""
    monkeypatch.setattr("tempfile.gettempdir", lambda: str(tmp_path / "gone"))
    report = write_report(ValueError("x"), tmp_path / "nowhere", "bench")
    assert report is None
    assert "no report could be written" in words(report)
