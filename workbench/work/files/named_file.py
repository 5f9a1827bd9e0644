"""Files at a path that a person named: written whole or not at all, never over a foreign file."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Iterable
from contextlib import suppress
from pathlib import Path

from workbench.errors import InputError
from workbench.places import is_folder

FIELD = "file"
HEAD_BYTES = 4096
"""So much of an existing file is looked at to tell whether it is one of ours."""


def path_of(text: str) -> Path:
    """Return the path that a person typed; ``~`` is the home folder."""
    if not text.strip():
        raise InputError(FIELD, text, "the path of a file")
    try:
        return Path(text.strip()).expanduser()
    except RuntimeError:
        raise InputError(FIELD, text, "a path that can be reached (whose home is that?)") from None


def write_file(path: Path, chunks: Iterable[bytes], is_ours: Callable[[bytes], bool]) -> int:
    """Write a file, readable by its owner alone, and return its size in bytes.

    It is on the disk under another name before it gets its own. A file that is there is replaced
    only where ``is_ours`` knows it by its first bytes; an empty one always.

    Raises:
        InputError: a foreign file is there, or the path cannot be written; says why.
    """
    try:
        _refuse(path, is_ours)
        handle, name = tempfile.mkstemp(prefix=".quarterturn-", suffix=".tmp", dir=path.parent)
        spare = Path(name)
        try:
            with os.fdopen(handle, "wb") as file:
                size = sum(file.write(chunk) for chunk in chunks)
                file.flush()
                os.fsync(file.fileno())
            os.replace(spare, path)
        finally:
            with suppress(FileNotFoundError):
                spare.unlink()
    except OSError as why:
        reason = why.strerror or type(why).__name__
        raise InputError(FIELD, str(path), f"a file that can be written ({reason})") from None
    except ValueError as why:
        if isinstance(why, InputError):
            raise
        raise InputError(FIELD, str(path), "a path without control characters") from None
    return size


def _refuse(path: Path, is_ours: Callable[[bytes], bool]) -> None:
    if str(path) == "-":
        raise InputError(FIELD, "-", "a file's path; this is not written to standard output")
    if is_folder(path):
        raise InputError(FIELD, str(path), "a file, not a folder")
    if not path.exists():
        return
    if not path.is_file():  # a pipe would be waited for without end
        raise InputError(FIELD, str(path), "a plain file, or a name that is free")
    with path.open("rb") as file:
        head = file.read(HEAD_BYTES)
    if head and not is_ours(head):
        raise InputError(FIELD, str(path), "another name: a file of another kind is there")
