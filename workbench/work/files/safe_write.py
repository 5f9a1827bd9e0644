"""Files for people, written whole or not at all: into one folder, under names that stay in it.

Nothing that is there is overwritten; a name that is taken gets a number.
"""

from __future__ import annotations

import os
import tempfile
import unicodedata
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

from workbench.errors import InputError

LONGEST_SLUG = 40
LONGEST_STEM = 120
MOST_NUMBERED = 1000
FIELD = "folder"


def slug(text: str, limit: int = LONGEST_SLUG, otherwise: str = "ski") -> str:
    """Return text as a part of a file's name: small ASCII letters, digits and single hyphens."""
    plain = unicodedata.normalize("NFKD", text[: 10 * limit]).casefold()
    kept = "".join(c if c.isascii() and c.isalnum() else _gap(c) for c in plain)
    return "-".join(part for part in kept.split("-") if part)[:limit].strip("-") or otherwise


def _gap(char: str) -> str:
    """An accent that was taken off its letter leaves no gap behind, anything else does."""
    return "" if unicodedata.combining(char) else "-"


def write_set(folder: Path, stem: str, files: Mapping[str, bytes]) -> tuple[Path, ...]:
    """Write files that belong together, ``stem`` with each extension, and return their paths.

    The folder is made where it is not there. All of them are on the disk under other names before
    the first gets its own, so that a full disk leaves nothing half-written. Where one of the names
    is taken, all get the next number: ``stem-2``. They are readable by their owner alone.

    Raises:
        InputError: the folder cannot be made or written; says why.
    """
    stem = slug(stem, LONGEST_STEM, "file")
    spares: dict[str, Path] = {}
    try:
        folder = folder.expanduser()
        _make(folder)
        for extension, data in files.items():
            spares[extension] = _spare(folder, data)
        for number in range(1, MOST_NUMBERED):
            found = _publish(folder, stem if number == 1 else f"{stem}-{number}", spares)
            if found:
                return found
    except OSError as why:
        reason = why.strerror or type(why).__name__
        raise InputError(FIELD, str(folder), f"a folder that can be written ({reason})") from None
    except (ValueError, RuntimeError):  # a NUL in it, or the home of nobody
        raise InputError(FIELD, str(folder), "a path that can be written") from None
    finally:
        for spare in spares.values():
            with suppress(OSError):
                spare.unlink()
    raise InputError(FIELD, str(folder), f"fewer than {MOST_NUMBERED} files of one name")


def _make(folder: Path) -> None:
    """Make a folder and what leads to it, for its owner alone; one that is there stays as it is."""
    missing = [folder]
    while not missing[-1].exists() and missing[-1].parent != missing[-1]:
        missing.append(missing[-1].parent)
    for each in reversed(missing):
        each.mkdir(mode=0o700, exist_ok=True)


def _spare(folder: Path, data: bytes) -> Path:
    """Write data through to the disk under a name that nobody looks for."""
    handle, name = tempfile.mkstemp(prefix=".quarterturn-", suffix=".tmp", dir=folder)
    spare = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
    except BaseException:
        spare.unlink(missing_ok=True)
        raise
    return spare


def _publish(folder: Path, name: str, spares: Mapping[str, Path]) -> tuple[Path, ...]:
    """Give the files their names: all of them, or nothing where one is taken."""
    done: list[Path] = []
    try:
        for extension, spare in spares.items():
            target = folder / f"{name}.{extension}"
            _name(spare, target)
            done.append(target)
    except OSError as why:
        for path in done:
            path.unlink(missing_ok=True)
        if isinstance(why, FileExistsError):
            return ()
        raise
    return tuple(done)


def _name(spare: Path, target: Path) -> None:
    """Give a file its name unless that is taken, also on a disk that knows no links."""
    try:
        os.link(spare, target)
    except FileExistsError:
        raise
    except OSError:
        os.close(os.open(target, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
        os.replace(spare, target)
