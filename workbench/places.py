"""Where things lie: what ships with the program, and the shop's own book."""

from __future__ import annotations

import os
from pathlib import Path

PACKAGE = Path(__file__).resolve().parent

BOOK_VARIABLE = "QUARTERTURN_BOOK"
"""The environment variable that names another book."""


class NotShippedError(FileNotFoundError):
    """A folder that should have come with the program is in neither of its places."""


def shipped(name: str) -> Path:
    """Return the folder of that name that ships with the program: ``styles`` or ``fixtures``.

    It lies inside an installed package, or beside it in a checkout (known by its pyproject.toml).

    Raises:
        NotShippedError: it is in neither place; the message names both.
    """
    inside, beside = PACKAGE / name, PACKAGE.parent / name
    if inside.is_dir():
        return inside
    if (PACKAGE.parent / "pyproject.toml").is_file() and beside.is_dir():
        return beside
    raise NotShippedError(
        f"{name}: neither {inside} nor {beside} is there — install Quarterturn again"
    )


def is_there(path: Path) -> bool:
    """Return whether anything is at a path; a name that no system takes leads nowhere."""
    try:
        return path.exists()
    except (OSError, ValueError):
        return False


def is_folder(path: Path) -> bool:
    """Return whether a folder is at a path, whatever its name."""
    return is_there(path) and path.is_dir()


def is_plain_file(path: Path) -> bool:
    """Return whether a file is at a path, no pipe and no device."""
    return is_there(path) and path.is_file()


def book_path() -> Path:
    """Return where the shop's book lies: QUARTERTURN_BOOK, else the user's data folder."""
    named = os.environ.get(BOOK_VARIABLE)
    if named:
        return Path(named).expanduser()
    # Only a run without --book asks for it.
    import platformdirs

    return Path(platformdirs.user_data_dir("quarterturn", appauthor=False)) / "shop.db"
