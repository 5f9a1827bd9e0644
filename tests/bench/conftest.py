"""A demo book for each test of the bench."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.shop import demo_file, open_shop
from workbench.work.shop import Shop


@pytest.fixture
def book_file(tmp_path: Path) -> Path:
    return demo_file(tmp_path)


@pytest.fixture
def shop(book_file: Path) -> Iterator[Shop]:
    with open_shop(book_file) as opened:
        yield opened
