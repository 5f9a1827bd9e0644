"""After an error of ours: a report in a file of its owner alone, and where it is.

The report holds the program's own lines and the error's message, where the bench was and what
``quarterturn doctor`` says; no page of the book, and nothing that was typed but what the message
itself names.
"""

from __future__ import annotations

import os
import platform
import sys
import tempfile
import traceback
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from workbench import __version__
from workbench.places import book_path

SORRY = "Quarterturn ran into an error of its own and closed; what was kept is in the book."


def write_report(
    error: BaseException, folder: Path, where: str, book: Path | None = None
) -> Path | None:
    """Write what happened to a new file in ``folder``, or in the system's folder for such files.

    ``book`` is the book that was open, whose health is told too.
    Returns its path, or None where neither can be written.
    """
    text = _report(error, where, book)
    for place in (folder, Path(tempfile.gettempdir())):
        try:
            handle, name = tempfile.mkstemp(
                prefix="quarterturn-report-", suffix=".txt", dir=place, text=True
            )
            with os.fdopen(handle, "w", encoding="utf-8", errors="backslashreplace") as file:
                file.write(text)
        except OSError:
            continue
        return Path(name)
    return None


def _report(error: BaseException, where: str, book: Path | None) -> str:
    trace = "".join(traceback.format_exception(error))
    return (
        f"Quarterturn {__version__}, Python {platform.python_version()}, {sys.platform}\n"
        f"terminal: {os.environ.get('TERM', '')}\nat: {where}\n\n{trace}\n"
        + "".join(f"{line}\n" for line in _surroundings(book))
    )


def _surroundings(book: Path | None) -> list[str]:
    """Return the doctor's lines; none rather than a second error on top of the first."""
    with suppress(Exception):
        from workbench.work.exchange.doctor import facts_of, lines_of

        return lines_of(facts_of(book or book_path(), quick=True))
    return []


def as_text(renderables: Iterable[object]) -> str:
    """Return what Textual would have printed as plain text."""
    from rich.console import Console

    console = Console(width=100, no_color=True, force_terminal=False)
    with console.capture() as got:
        console.print(*renderables)
    return got.get()


def words(report: Path | None, then: str = "Start it again: it opens where you were.") -> str:
    """Return what the person at the bench is told, in one line."""
    told = f"a report for its makers is in {report}" if report else "no report could be written"
    return f"{SORRY} {told}. {then}".rstrip()
