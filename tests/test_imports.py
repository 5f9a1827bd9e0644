"""The rooms: who may import whom, and what the command line drags in."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from tests.shop import DAY, demo_file

ROOT = Path(__file__).parent.parent


def test_rooms_import_only_downward() -> None:
    """The contracts in pyproject.toml hold."""
    done = subprocess.run(
        [sys.executable, "-c", "from importlinter.cli import lint_imports_command as c; c()"],
        cwd=ROOT, capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    assert "0 broken" in done.stdout


def test_the_command_line_starts_light() -> None:
    """Importing the command line loads no screen, no store, no unit registry and no number mill."""
    code = (
        "import sys, workbench.cli; "
        "heavy = {'textual', 'rich', 'sqlite_utils', 'sqlite3', 'pint', 'platformdirs', 'numpy', "
        "'scipy', 'workbench.fin', 'workbench.records', 'workbench.work'}; "
        "print(*(heavy & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True
    )
    assert done.stdout.split() == []


FIRST_PAINT = """
import asyncio, sys
from pathlib import Path
from workbench.bench import start
from workbench.bench.app import Bench
from workbench.bench.action_menu import CHOICES
from workbench.records.book import Book
from workbench.work.job.shop import Shop

async def paint():
    with Book(Path(sys.argv[1])) as book:
        app = Bench(Shop(book, day=sys.argv[2], who="KV"))
        async with app.run_test(size=(120, 36)) as pilot:
            await pilot.pause()
            assert app.hands.state.view is not None
            opened = [f"workbench.bench.screens.{c.screen}" for c in CHOICES if c.screen]
            late = {name.rpartition(".")[0] for name in opened}
            late |= {"pint", "numpy", "scipy", "sqlite_utils", "click", "tomllib"}
            late |= {f"workbench.bench.{name}" for name in (
                "bases.forms", "screens.shop.caliper_screens",
                "screens.ski.questions", "bases.lists", "bases.prompts",
                "crash",
            )}
            late |= {f"workbench.work.{name}" for name in (
                "roster.adding", "demo.demo", "exchange.backup", "roster.queue",
            )}
            late |= {"workbench.records.exchange.rows_out", "workbench.records.backup.backups"}
            print(*sorted(late & set(sys.modules)))

asyncio.run(paint())
"""


def test_the_first_paint_loads_no_more_than_it_shows(tmp_path: Path) -> None:
    """No other screen, no form, no number mill, and sqlite-utils only to change tables."""
    book = demo_file(tmp_path)
    done = subprocess.run(
        [sys.executable, "-c", FIRST_PAINT, str(book), DAY],
        cwd=ROOT, capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stdout.split()) == (0, []), done.stderr
