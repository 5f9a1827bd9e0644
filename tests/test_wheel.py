"""The wheel: built, installed in a fresh environment and used from outside the checkout."""

from __future__ import annotations

import os
import subprocess
import sys
import venv
import zipfile
from pathlib import Path

import pytest

from workbench import __version__

ROOT = Path(__file__).parent.parent


def run(*words: str | Path, cwd: Path) -> str:
    """Run a command away from the checkout and return what it printed."""
    env = {k: v for k, v in os.environ.items() if k not in ("PYTHONPATH", "VIRTUAL_ENV")}
    done = subprocess.run(
        [str(w) for w in words], cwd=cwd, env=env, capture_output=True, text=True, timeout=300,
        check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build the wheel once."""
    out = tmp_path_factory.mktemp("dist")
    run(sys.executable, "-m", "build", "--wheel", "--outdir", out, ROOT, cwd=out)
    built = list(out.glob("quarterturn-*.whl"))
    assert len(built) == 1
    return built[0]


@pytest.fixture(scope="module")
def fresh(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Install it in a fresh environment; the folder of its commands."""
    home = tmp_path_factory.mktemp("fresh") / "env"
    venv.create(home, with_pip=True)
    commands = home / ("Scripts" if os.name == "nt" else "bin")
    run(commands / "python", "-m", "pip", "install", "-q", wheel, cwd=home)
    return commands


def test_the_wheel_holds_the_rooms_the_styles_and_the_demo_shop(wheel: Path) -> None:
    """Every tracked kind of file travels: code, type marker, style sheets, fixtures."""
    names = set(zipfile.ZipFile(wheel).namelist())
    for folder in ("styles", "fixtures"):
        for path in (ROOT / folder).rglob("*"):
            if path.is_file():
                assert f"workbench/{path.relative_to(ROOT).as_posix()}" in names
    assert {"workbench/cli.py", "workbench/py.typed"} <= names
    assert any(n.startswith("workbench/fixtures/orders/") for n in names)
    assert any(n.startswith("workbench/styles/") for n in names)
    assert not any(n.startswith(("tests/", "fixtures/", "styles/")) for n in names)


def test_it_does_the_main_job_from_outside_the_checkout(fresh: Path, tmp_path: Path) -> None:
    """Version, a shipped order's turns, and what lies where, with the installed package alone."""
    command = fresh / "quarterturn"
    assert run(command, "--version", cwd=tmp_path) == f"quarterturn {__version__}\n"
    code = "from workbench.places import shipped; print(shipped('fixtures'), shipped('styles'))"
    fixtures, styles = run(fresh / "python", "-c", code, cwd=tmp_path).split()
    assert str(fresh.parent.resolve()) in fixtures
    assert str(fresh.parent.resolve()) in styles
    out = run(command, "turns", f"{fixtures}/orders/practice-plate.toml", cwd=tmp_path)
    assert "3/8 turn in, toward the blade (clockwise from" in out
    assert "before the ride" in out
