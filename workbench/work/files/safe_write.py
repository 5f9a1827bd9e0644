"""Files for people, written whole or not at all, readable by their owner alone.

``write_set`` writes into one folder under names that stay in it; a taken name gets a number.
``write_file`` writes at a path that a person named, never over a foreign file.
"""

from __future__ import annotations

import os
import tempfile
import unicodedata
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

from workbench.errors import InputError
from workbench.places import is_folder

LONGEST_SLUG = 40
LONGEST_STEM = 120
MOST_NUMBERED = 1000
HEAD_BYTES = 4096
"""How much of an existing file is read to tell whether it is one of ours."""


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
        with _told("folder", folder):
            folder = folder.expanduser()
            _make(folder)
            for extension, data in files.items():
                spares[extension], _ = _spare(folder, [data])
            for number in range(1, MOST_NUMBERED):
                found = _publish(folder, stem if number == 1 else f"{stem}-{number}", spares)
                if found:
                    return found
    finally:
        for spare in spares.values():
            with suppress(OSError):
                spare.unlink()
    raise InputError("folder", str(folder), f"fewer than {MOST_NUMBERED} files of one name")


def path_of(text: str) -> Path:
    """Return the path that a person typed; ``~`` is the home folder."""
    if not text.strip():
        raise InputError("file", text, "the path of a file")
    try:
        return Path(text.strip()).expanduser()
    except RuntimeError:
        raise InputError("file", text, "a path that can be reached (whose home is that?)") from None


def write_file(
    path: Path, chunks: Iterable[bytes], is_ours: Callable[[bytes], bool] | None = None
) -> int:
    """Write a file and return its size in bytes.

    It is on the disk under another name before it gets its own. A file that is there is replaced
    only where ``is_ours`` knows it by its first bytes or it is empty; without ``is_ours``, never.

    Raises:
        InputError: a foreign file is there, or the path cannot be written; says why.
    """
    with _told("file", path):
        _refuse(path, is_ours)
        spare, size = _spare(path.parent, chunks)
        try:
            if is_ours is None:
                _name(spare, path)
            else:
                os.replace(spare, path)
        except FileExistsError:
            raise InputError("file", str(path), "a file that is not there yet") from None
        finally:
            with suppress(FileNotFoundError):
                spare.unlink()
    return size


def _refuse(path: Path, is_ours: Callable[[bytes], bool] | None) -> None:
    if str(path) == "-":
        raise InputError("file", "-", "a file's path; this is not written to standard output")
    if is_folder(path):
        raise InputError("file", str(path), "a file, not a folder")
    if not path.exists():
        return
    if is_ours is None:
        raise InputError("file", str(path), "a file that is not there yet")
    if not path.is_file():  # a pipe would be waited for without end
        raise InputError("file", str(path), "a plain file, or a name that is free")
    with path.open("rb") as file:
        head = file.read(HEAD_BYTES)
    if head and not is_ours(head):
        raise InputError("file", str(path), "another name: a file of another kind is there")


@contextmanager
def _told(field: str, path: Path) -> Iterator[None]:
    """Say in a word why a path could not be written."""
    try:
        yield
    except InputError:
        raise
    except OSError as why:
        reason = why.strerror or type(why).__name__
        raise InputError(field, str(path), f"a {field} that can be written ({reason})") from None
    except (ValueError, RuntimeError):  # a NUL in it, or the home of nobody
        raise InputError(
            field, str(path), f"a {field} at a path without control characters"
        ) from None


def _make(folder: Path) -> None:
    """Make a folder and what leads to it, for its owner alone; one that is there stays as it is."""
    missing = [folder]
    while not missing[-1].exists() and missing[-1].parent != missing[-1]:
        missing.append(missing[-1].parent)
    for each in reversed(missing):
        each.mkdir(mode=0o700, exist_ok=True)


def _spare(folder: Path, chunks: Iterable[bytes]) -> tuple[Path, int]:
    """Write data through to the disk under a name that nobody looks for; return that and a size."""
    handle, name = tempfile.mkstemp(prefix=".quarterturn-", suffix=".tmp", dir=folder)
    spare = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            size = sum(file.write(chunk) for chunk in chunks)
            file.flush()
            os.fsync(file.fileno())
    except BaseException:
        spare.unlink(missing_ok=True)
        raise
    return spare, size


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
