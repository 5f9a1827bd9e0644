"""The rooms: who may import whom, and what the command line drags in."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

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
