"""Runs the tests in several processes that are forked once everything is collected.

Nothing is imported, rewritten or collected twice, and a book that one fixture made before the
fork is there for all. A process takes whole files: half of them from the front of the list,
where the bench's tests mostly wait, the others from its end, where tests mostly reckon, so that
no core stands idle.
"""

from __future__ import annotations

import gc
import os
import sys
import traceback
import warnings
from collections import deque
from dataclasses import dataclass
from itertools import groupby, pairwise
from multiprocessing import Pipe
from multiprocessing.connection import Connection, wait
from typing import Any, Literal

import pytest

Group = tuple[int, ...]
"""Places of items in the session that one process runs one after the other."""


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.getgroup("xdist", "processes")._addoption(
        "-n", "--processes", type=int, default=0, metavar="N",
        help="run the tests in so many processes; 0 (the default): in this one",
    )  # fmt: skip


@pytest.hookimpl(tryfirst=True)
def pytest_runtestloop(session: pytest.Session) -> bool | None:
    """Share the files among processes; None, so pytest runs them all here, where that is asked."""
    files = _files(session)
    count = min(session.config.option.processes, len(files))
    alone = session.config.option.collectonly or session.config.option.usepdb or session.testsfailed
    if count < 2 or alone or not hasattr(os, "fork"):
        return None
    gc.collect()
    gc.freeze()
    _Shared(session, files, count).run()
    return True


def _files(session: pytest.Session) -> list[Group]:
    """Return the places of each file's items, in the order of collection."""
    places = groupby(range(len(session.items)), key=lambda n: session.items[n].path)
    return [tuple(group) for _, group in places]


@dataclass
class _Process:
    """One running process as its parent sees it."""

    pid: int
    end: Literal["front", "back"]
    given: deque[Group]
    at: int | None = None


class _Shared:
    """Gives files out, and tells pytest what comes back."""

    def __init__(self, session: pytest.Session, files: list[Group], count: int) -> None:
        self._session = session
        self._hook = session.config.hook
        self._left = deque(files)
        self._count = count
        self._running: dict[Connection, _Process] = {}
        self._begun = 0

    def run(self) -> None:
        """Run until every file is done; raises what pytest raises where it must stop early."""
        try:
            for _ in range(self._count):
                self._start()
            while self._running:
                for connection in wait(list(self._running)):
                    assert isinstance(connection, Connection)
                    try:
                        word = connection.recv()
                    except (EOFError, ConnectionResetError):
                        word = "gone", None
                    self._heard(connection, word)
                if self._session.shouldfail:
                    raise self._session.Failed(self._session.shouldfail)
                if self._session.shouldstop:
                    raise self._session.Interrupted(self._session.shouldstop)
        finally:
            for connection, process in self._running.items():
                connection.close()
                os.kill(process.pid, 15)
                os.waitpid(process.pid, 0)

    def _start(self) -> None:
        """Fork a process; it waits for its first file."""
        here, there = Pipe()
        self._begun += 1
        sys.stdout.flush()
        sys.stderr.flush()
        pid = os.fork()
        if pid == 0:
            status = 1
            try:
                for other in (here, *self._running):
                    other.close()
                _Child(self._session, there, self._begun).run()
                status = 0
            except Exception:
                there.send(("broken", traceback.format_exc()))
            finally:
                os._exit(status)
        there.close()
        process = _Process(pid, "front" if self._begun % 2 else "back", deque())
        self._running[here] = process
        self._give(here, process)

    def _give(self, connection: Connection, process: _Process) -> None:
        group: Group = ()
        if self._left:
            group = self._left.popleft() if process.end == "front" else self._left.pop()
            process.given.append(group)
        connection.send(group)

    def _heard(self, connection: Connection, word: tuple[str, Any]) -> None:
        process = self._running[connection]
        match word:
            case "begins", place:
                process.at = place
                while place not in process.given[0]:
                    process.given.popleft()
            case "wants", _:
                self._give(connection, process)
            case "report", data:
                report = self._hook.pytest_report_from_serializable(
                    config=self._session.config, data=data
                )
                self._hook.pytest_runtest_logreport(report=report)
            case "warning", (text, place, told):
                message = warnings.WarningMessage(UserWarning(text), UserWarning, *place)
                self._hook.pytest_warning_recorded.call_historic(
                    kwargs={"warning_message": message, **told}
                )
            case "broken", text:
                raise RuntimeError(text)
            case _:
                self._gone(connection, self._running.pop(connection))

    def _gone(self, connection: Connection, process: _Process) -> None:
        """A process has ended; where it died in a test that failed, and another goes on."""
        connection.close()
        _, status = os.waitpid(process.pid, 0)
        if status == 0:
            return
        ended = os.waitstatus_to_exitcode(status)
        if process.at is None:
            raise RuntimeError(f"a process of the tests ended with {ended} before its first test")
        item = self._session.items[process.at]
        report = pytest.TestReport(
            item.nodeid, item.location, {}, "failed", f"its process ended with {ended}", "call"
        )
        self._hook.pytest_runtest_logreport(report=report)
        given = [tuple(n for n in group if n > process.at or group is not process.given[0])
                 for group in process.given]  # fmt: skip
        self._left.extend(group for group in given if group)
        self._start()


class _Child:
    """A forked process: runs the files it is given and tells its parent every report."""

    def __init__(self, session: pytest.Session, parent: Connection, number: int) -> None:
        self._session = session
        self._parent = parent
        config = session.config
        # Reports go to the parent alone, and no file of caught output is shared with anybody.
        config.get_terminal_writer()._file = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115
        capture = config.pluginmanager.getplugin("capturemanager")
        capture.stop_global_capturing()
        capture.start_global_capturing()
        folders = config._tmp_path_factory
        folders._basetemp = folders.getbasetemp() / f"process-{number}"
        folders._basetemp.mkdir()
        self._told_before = True  # what was warned of before the fork is told to each new plugin
        config.pluginmanager.register(self, "forked")
        self._told_before = False

    def run(self) -> None:
        group: Group = self._parent.recv()
        while group:
            for place, following in pairwise(group):
                self._test(place, following)
            self._parent.send(("wants", None))
            more: Group = self._parent.recv()
            self._test(group[-1], more[0] if more else None)
            group = more

    def _test(self, place: int, following: int | None) -> None:
        items = self._session.items
        self._parent.send(("begins", place))
        self._session.config.hook.pytest_runtest_protocol(
            item=items[place], nextitem=None if following is None else items[following]
        )

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        config = self._session.config
        data = config.hook.pytest_report_to_serializable(config=config, report=report)
        self._parent.send(("report", data))

    def pytest_warning_recorded(
        self,
        warning_message: warnings.WarningMessage,
        when: str,
        nodeid: str,
        location: tuple[str, int, str] | None,
    ) -> None:
        if not self._told_before:
            text = f"{warning_message.category.__name__}: {warning_message.message}"
            place = warning_message.filename, warning_message.lineno
            told = {"when": when, "nodeid": nodeid, "location": location}
            self._parent.send(("warning", (text, place, told)))
