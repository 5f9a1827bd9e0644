"""What all tests share: the demo book, the long-run option and hypothesis' manners."""

from __future__ import annotations

import gc
from collections import deque
from collections.abc import Iterator
from itertools import chain, cycle, groupby
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings
from textual.css.model import RuleSet
from textual.css.stylesheet import Stylesheet
from textual.widgets import Input

from tests.by_command import Commands, Refused, Run, demo_of_today
from tests.shop import BEGIN_FILE, begin_as_copy, demo_file, open_shop
from workbench.records.backup import opening
from workbench.work.job.shop import Shop

settings.register_profile(
    "bench",
    deadline=None,
    database=None,
    derandomize=True,
    max_examples=60,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)
settings.load_profile("bench")

vars(Input)["cursor_blink"]._default = False
"""A picture shows the cursor, and not by when it was taken."""

gc.set_threshold(100_000, 50, 100)
"""A suite that builds a thousand screens spends a tenth of its time looking for dead ones."""

opening._begin_file = begin_as_copy

_parse_rules = Stylesheet._parse_rules
_parsed: dict[object, list[RuleSet]] = {}


def _parsed_once(self: Stylesheet, css: str, *where: Any, **more: Any) -> list[RuleSet]:
    """A style sheet is parsed once for all the apps of this process that have the same colours."""
    key = (frozenset(self._variables.items()), css, where, tuple(more.items()))
    if key not in _parsed:
        _parsed[key] = _parse_rules(self, css, *where, **more)
    return _parsed[key]


Stylesheet._parse_rules = _parsed_once  # type: ignore[method-assign]


@pytest.fixture(scope="module")
def begun_by_steps() -> Iterator[None]:
    """Begin books by all steps from an empty file, as they are: for tests that are about it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(opening, "_begin_file", BEGIN_FILE)
        yield


@pytest.fixture
def book_file(tmp_path: Path) -> Path:
    """A fresh copy of the demo book."""
    return demo_file(tmp_path)


@pytest.fixture
def shop(book_file: Path) -> Iterator[Shop]:
    """The demo book open for its day."""
    with open_shop(book_file) as opened:
        yield opened


@pytest.fixture
def book(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A fresh copy of the demo book, whose day is today for the commands."""
    return demo_of_today(tmp_path, monkeypatch)


@pytest.fixture
def commands(book: Path, capsys: pytest.CaptureFixture[str]) -> Commands:
    """Runs commands on that book."""
    return Commands(book, capsys)


@pytest.fixture
def run(commands: Commands) -> Run:
    """Runs one that must succeed; gives its lines."""
    return commands.run


@pytest.fixture
def refused(commands: Commands) -> Refused:
    """Runs one that must be refused; gives what it says."""
    return commands.refused


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--long", action="store_true", help="also run the long random runs (ten thousand jobs)"
    )


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", "long: a long random run, only with --long")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Share files among processes from both ends: the bench's wait, those of the work reckon."""
    if hasattr(config, "workerinput"):
        files = deque(list(its) for _, its in groupby(items, key=lambda item: item.path))
        take = cycle((files.popleft, files.pop))
        items[:] = chain.from_iterable(next(take)() for _ in range(len(files)))
    if config.getoption("--long"):
        return
    for item in items:
        if "long" in item.keywords:
            item.add_marker(pytest.mark.skip(reason="a long run: pytest --long"))
