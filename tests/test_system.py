"""What differs between systems: each way is taken where the other is not there."""

from __future__ import annotations

import asyncio
import os
import signal
import threading
import types
from collections.abc import Callable
from pathlib import Path

import pytest

from workbench import system
from workbench.bench.terminal import take_up_again
from workbench.records.backup.copies import copy_book
from workbench.records.backup.place import place_held
from workbench.records.book import Book


def without(monkeypatch: pytest.MonkeyPatch, **modules: object) -> None:
    """Let these modules be all of the optional ones that the system has."""
    monkeypatch.setattr(system, "optional", modules.get)


def test_a_loop_without_signal_handlers_hears_them_all_the_same(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """As on Windows, where every loop has the method and it raises."""

    async def main() -> None:
        loop, heard = asyncio.get_running_loop(), asyncio.Event()

        def lacking(*_: object) -> None:
            raise NotImplementedError

        monkeypatch.setattr(loop, "add_signal_handler", lacking)
        before = signal.getsignal(signal.SIGTERM)
        try:
            system.on_signal(loop, signal.SIGTERM, heard.set)
            os.kill(os.getpid(), signal.SIGTERM)
            await asyncio.wait_for(heard.wait(), 60)
        finally:
            signal.signal(signal.SIGTERM, before)

    asyncio.run(main())


def test_signals_that_a_system_lacks_are_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("SIGHUP", "SIGTSTP", "SIGCONT"):
        monkeypatch.delattr(signal, name)
    assert [*system.leave_signals()] == [signal.SIGINT, signal.SIGTERM]
    assert not system.can_be_stopped()
    take_up_again(None)  # type: ignore[arg-type]  # does nothing there


def msvcrt_like(held: set[int]) -> types.SimpleNamespace:
    """The lock of Windows: one kind, of a byte, never taken twice."""
    lock = threading.Lock()

    def locking(handle: int, _mode: int, _count: int) -> None:
        key = os.fstat(handle).st_ino
        with lock:
            if key in held:
                raise OSError(13, "held")
            held.add(key)

    return types.SimpleNamespace(LK_NBLCK=2, locking=locking)


@pytest.mark.parametrize("kind", ["flock", "msvcrt", "none"])
def test_a_book_is_opened_copied_and_kept_with_whatever_lock_there_is(
    kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    held: set[int] = set()
    if kind == "msvcrt":
        without(monkeypatch, msvcrt=msvcrt_like(held))
    elif kind == "none":
        without(monkeypatch)
    path = tmp_path / "shop.db"
    with Book(path) as book:
        held.clear()
        book.set_setting("unit", "mm")
        held.clear()
        copy_book(book.path, tmp_path / "copy.db")
    held.clear()
    with place_held(path, alone=True):
        handle = os.open(tmp_path / ".shop.db.lock", os.O_RDWR)
        try:
            assert system.locks(handle, alone=True) is (kind == "none")
        finally:
            os.close(handle)
    assert (tmp_path / "copy.db").exists()


def test_folders_are_written_through_where_the_system_can(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    synced: list[int] = []
    monkeypatch.setattr(os, "fsync", synced.append)
    system.sync_folder(tmp_path)
    assert len(synced) == 1
    monkeypatch.delattr(os, "O_DIRECTORY")
    system.sync_folder(tmp_path)
    assert len(synced) == 1


@pytest.mark.parametrize(
    ("environment", "windows", "draws"),
    [
        ({}, False, False), ({"TERM": "dumb"}, False, False), ({"TERM": "xterm"}, False, True),
        ({}, True, True), ({"TERM": "dumb"}, True, False),
    ],
)  # fmt: skip
def test_a_terminal_that_says_nothing_draws_on_windows_alone(
    environment: dict[str, str], windows: bool, draws: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(system, "IS_WINDOWS", windows)
    assert system.can_draw(environment) is draws


def test_what_was_not_sent_is_dropped_where_the_system_can(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    flushed: list[tuple[int, int]] = []

    def flush(handle: int, what: int) -> None:
        flushed.append((handle, what))
        raise failure

    failure = type("error", (Exception,), {})()
    termios = types.SimpleNamespace(error=type(failure), TCOFLUSH=1, tcflush=flush)
    without(monkeypatch, termios=termios)
    drop: Callable[[int], None] = system.drop_unsent
    drop(7)
    without(monkeypatch)
    drop(8)
    assert flushed == [(7, 1)]
