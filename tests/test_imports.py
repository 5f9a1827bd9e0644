"""The rooms: who may import whom, and what the command line drags in."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
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
from importlib.util import find_spec
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
            )}
            late |= {f"workbench.work.{name}" for name in (
                "roster.adding", "demo", "exchange.backup", "roster.queue",
            )}
            late |= {"workbench.records.exchange.rows_out", "workbench.records.backup.backups"}
            print(*sorted(late & set(sys.modules)))
            print(*(name for name in sorted(late) if find_spec(name) is None))

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


LATE = {
    # What the command line can do is loaded by the word that asks for it: 300 ms for the bench,
    # 110 to 230 for an order, 8 for a report of our own error.
    "cli": "tempfile bench.crash bench.start measure.lengths work.order.learned_turns "
    "work.order.order_answers work.order.order_file work.text.words",
    # The demo and the first parts of a book are seldom made (50 ms each); the app (340), the hub
    # (210) and the day's backup (16) come after the first words on the terminal.
    "bench.start": "bench.action_menu bench.app bench.terminal work.demo work.exchange.backup "
    "work.roster.adding work.sharing.hubs work.sharing.words",
    # An error is told even where the book's code or a library is what failed (34 ms).
    "bench.crash": "rich.console work.exchange.doctor",
    "bench.hand.hands": "work.roster.queue",  # 9 ms of the first paint, for a scanned serial alone
    "bench.terminal": "textual.drivers",  # its module cannot be imported on Windows
    # Drivers of other systems, and what an extra installs.
    "commands.files": "work.sharing work.sharing.hubs",  # psycopg, 250 ms of --help
    "commands.shop.for_shells": "shtab",
    "commands.shop.program": "commands.shop.serve_web",
    "work.trace.drawing": "ezdxf svgelements",
    "work.trace.tracing": "work.trace.scan",
    # Units are defined by pint (380 ms), tables changed by sqlite-utils (220), folders found by
    # platformdirs (12), TOML read by tomllib (4): none of it by most starts.
    "measure.units": "pint",
    "places": "platformdirs",
    "records.backup.opening": "sqlite_utils",
    "records.store.schema": "sqlite_utils",
    "work.files.table_files": "tomllib",
    "work.trust.reading_tools": "work.trust.study_results",  # 3 ms, for shops that study
    "work.job.open_book": "work.learn.what_learnt",  # 85 ms, for shops that learn
}
"""What is imported inside functions, by the module that does it: what start-up was measured to
need. The times are of one process, beyond what the module has loaded."""


@cache
def _parsed() -> dict[str, ast.Module]:
    """Return every module of ours, by its name below ``workbench``."""
    found = {}
    for path in sorted((ROOT / "workbench").rglob("*.py")):
        name = ".".join(path.relative_to(ROOT / "workbench").with_suffix("").parts)
        found[name] = ast.parse(path.read_text(encoding="utf-8"))
    return found


def _functions(module: ast.Module) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    nodes = ast.walk(module)
    return (n for n in nodes if isinstance(n, ast.FunctionDef | ast.AsyncFunctionDef))


def test_imports_inside_functions_are_those_that_the_start_needs() -> None:
    """A new one is refused until its reason stands in the list; one that is gone leaves it."""
    found = {}
    for name, module in _parsed().items():
        late = set()
        for node in (each for function in _functions(module) for each in ast.walk(function)):
            if isinstance(node, ast.ImportFrom):
                late.add(str(node.module).removeprefix("workbench."))
            elif isinstance(node, ast.Import):
                late |= {alias.name for alias in node.names}
        if late:
            found[name] = late
    assert found == {module: set(late.split()) for module, late in LATE.items()}


def test_a_public_name_is_one_thing_in_its_room() -> None:
    """None is defined in two modules of ``work``, of ``bench`` and so on."""
    where: dict[tuple[str, str], list[str]] = {}
    for name, module in _parsed().items():
        for node in module.body:
            match node:
                case ast.FunctionDef() | ast.AsyncFunctionDef() | ast.ClassDef():
                    defined = [node.name]
                case ast.Assign():
                    defined = [target.id for target in node.targets if isinstance(target, ast.Name)]
                case ast.AnnAssign(target=ast.Name() as target):
                    defined = [target.id]
                case _:
                    defined = []
            for each in defined:
                if not each.startswith("_"):
                    where.setdefault((name.partition(".")[0], each), []).append(name)
    assert {what: names for what, names in where.items() if len(names) > 1} == {}


MOST_PARAMETERS = 6


def test_no_function_takes_a_row_of_parameters() -> None:
    """What takes more is a value that has a name."""
    long = {}
    for name, module in _parsed().items():
        for function in _functions(module):
            given = function.args
            count = sum(
                arg.arg not in ("self", "cls")
                for arg in (*given.posonlyargs, *given.args, *given.kwonlyargs)
            )
            if count > MOST_PARAMETERS:
                long[f"{name}: {function.name}"] = count
    assert long == {}
