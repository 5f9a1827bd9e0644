"""What a person who helps from afar asks first: program, terminal, folders, the book's health.

Nothing of what the book says is in it, no name of a person or a ski: it may be sent to anybody.
The home folder is written ``~``, as its name is often its owner's.
"""

from __future__ import annotations

import os
import platform
import re
import sys
import tempfile
from importlib import metadata
from pathlib import Path
from typing import Any, TypeAlias

from workbench import __version__
from workbench.places import NotShippedError, is_there, shipped
from workbench.records.backup.backups import backups_of, folder_of
from workbench.records.backup.health import SQLITE, Health, health_of
from workbench.work.text.local_time import on_the_wall
from workbench.work.text.words import clean

Facts: TypeAlias = dict[str, Any]
"""What was found, by section and name; lists, texts, numbers and None, as JSON has them."""

DRAWN_WITH = (("braille", "⣿"), ("blocks", "▚█"), ("lines", "─│┌"), ("signs", "✓✗▲▼°±"))
"""Letters that drawings and states use, and some of each."""

_REQUIREMENT = re.compile(r"([A-Za-z0-9._-]+)[^;]*(?:;.*extra\s*==\s*['\"]([\w.-]+)['\"])?")
_FOR_MAKERS = ("test",)


def facts_of(book: Path, *, quick: bool = False) -> Facts:
    """Look at everything; ``quick`` leaves a large book at its counts."""
    needed, extras = _packages()
    health = health_of(book, quick=quick) if is_there(book) else None
    return {
        "versions": {
            "quarterturn": __version__,
            "python": platform.python_version(),
            "sqlite": SQLITE,
            "system": f"{platform.system()} {platform.release()} {platform.machine()}".strip(),
            **needed,
        },
        "extras": extras,
        "terminal": _terminal(),
        "folders": _folders(book),
        "book": None if health is None else _book(book, health),
    }


def is_well(facts: Facts) -> bool:
    """Whether the book is sound, or not begun yet, and no package that is needed is missing."""
    book = facts["book"]
    return None not in facts["versions"].values() and (book is None or book["sound"])


# -- what is there ---------------------------------------------------------------------------------


def _packages() -> tuple[dict[str, str | None], dict[str, dict[str, str | None]]]:
    """Return the versions of what is needed, and of what each extra brings; None is missing."""
    needed: dict[str, str | None] = {}
    extras: dict[str, dict[str, str | None]] = {}
    try:
        wanted = metadata.requires("quarterturn") or []
    except metadata.PackageNotFoundError:
        wanted = []  # run from a folder, never installed
    for line in wanted:
        if (found := _REQUIREMENT.match(line)) and found[2] not in _FOR_MAKERS:
            where = needed if found[2] is None else extras.setdefault(found[2], {})
            where[found[1]] = _version(found[1])
    return needed, extras


def _version(package: str) -> str | None:
    try:
        return metadata.version(package)
    except metadata.PackageNotFoundError:
        return None


def _terminal() -> Facts:
    # The terminal's own stream: while the bench is open another takes its place.
    out = sys.__stdout__
    encoding = "" if out is None else out.encoding
    return {
        "term": os.environ.get("TERM", ""),
        "size": _size(),
        "encoding": encoding,
        "colors": _colors(),
        "letters": [name for name, some in DRAWN_WITH if _can_write(some, encoding)],
        "is_terminal": out is not None and not out.closed and out.isatty(),
    }


def _size() -> list[int] | None:
    """Return columns and rows of the terminal; None where there is none."""
    for stream in (sys.__stdout__, sys.__stderr__, sys.__stdin__):
        try:
            if stream is not None:
                return list(os.get_terminal_size(stream.fileno()))
        except (OSError, ValueError):
            continue
    return None


def _colors() -> str:
    """Return how many colors the surroundings promise."""
    term = os.environ.get("TERM", "")
    if os.environ.get("NO_COLOR"):
        return "none (NO_COLOR is set)"
    if os.environ.get("COLORTERM", "") in ("truecolor", "24bit") or os.environ.get("WT_SESSION"):
        return "24 bit"
    if term in ("", "dumb"):
        return "none"
    return "256" if "256" in term else "16"


def _can_write(letters: str, encoding: str) -> bool:
    try:
        letters.encode(encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def _folders(book: Path) -> list[Facts]:
    places = [
        ("book", book),
        ("backups", folder_of(book)),
        ("reports", Path(tempfile.gettempdir())),
    ]
    for name in ("styles", "fixtures"):
        try:
            places.append((name, shipped(name)))
        except NotShippedError:
            places.append((name, Path(name)))
    return [{"what": name, "path": _at_home(at), "there": is_there(at)} for name, at in places]


def _at_home(path: Path) -> str:
    try:
        return str(Path("~") / path.absolute().relative_to(Path.home()))
    except (ValueError, RuntimeError, OSError):
        return str(path)


def _book(path: Path, health: Health) -> Facts:
    copies = backups_of(path)
    return {
        "sound": health.is_sound,
        "trouble": health.trouble,
        "version": health.step,
        "bytes": health.size,
        "rows": health.rows,
        "damaged": health.damaged,
        "newest": None if health.newest is None else health.newest.isoformat(timespec="seconds"),
        "newest_here": None
        if health.newest is None
        else f"{on_the_wall(health.newest):%Y-%m-%d %H:%M}",
        "backups": len(copies),
        "newest_backup": copies[0].day.isoformat() if copies else None,
        "shared": [{"by": by, "unsent": unsent} for by, unsent in health.shared],
    }


# -- in words --------------------------------------------------------------------------------------


def lines_of(facts: Facts) -> list[str]:
    """Return what was found, a fact to a line."""
    out = [f"{name}: {found or 'MISSING'}" for name, found in facts["versions"].items()]
    for extra, packages in facts["extras"].items():
        missing = [name for name, found in packages.items() if found is None]
        out.append(f"extra {extra}: {_extra_words(packages, missing)}")
    out += _terminal_lines(facts["terminal"])
    for place in facts["folders"]:
        out.append(f"{place['what']}: {place['path']}{'' if place['there'] else ' (not there)'}")
    out += _book_lines(facts["book"])
    return [clean(line) for line in out]


def _extra_words(packages: dict[str, str | None], missing: list[str]) -> str:
    if missing:
        return f"not there (missing: {', '.join(missing)})"
    return ", ".join(f"{name} {found}" for name, found in packages.items())


def _terminal_lines(terminal: Facts) -> list[str]:
    size = "unknown" if terminal["size"] is None else "x".join(map(str, terminal["size"]))
    lacks = [name for name, _ in DRAWN_WITH if name not in terminal["letters"]]
    letters = f"all but {', '.join(lacks)}" if lacks else "all"
    kind = "" if terminal["is_terminal"] else " (output goes elsewhere)"
    return [
        f"terminal: {terminal['term'] or 'TERM is not set'}, {size}{kind}",
        f"encoding: {terminal['encoding'] or 'unknown'}",
        f"colors: {terminal['colors']}",
        f"letters for drawing: {letters} by the encoding; whether the font has them only the eye "
        f"tells: {' '.join(some for name, some in DRAWN_WITH if name in terminal['letters'])}",
    ]


def _book_lines(book: Facts | None) -> list[str]:
    if book is None:
        return ["book's health: not begun yet"]
    if book["trouble"]:
        out = [f"book's health: ✗ it {book['trouble']}"]
    elif book["damaged"]:
        each = ", ".join(f"{count} of {table}" for table, count in book["damaged"].items())
        out = [f"book's health: ✗ damaged rows: {each}; keep it, and see the latest backup"]
    elif book["damaged"] is None:
        out = ["book's health: opens; it is large and was not looked through"]
    else:
        out = ["book's health: ✓ sound, no damaged row"]
    if not book["trouble"]:
        newest = book["newest_here"] or "none"
        out.append(f"book's rows: {book['rows']}, newest of {newest}; {book['bytes'] / 1e6:.1f} MB")
    kept = f", newest of {book['newest_backup']}" if book["newest_backup"] else ""
    out.append(f"book's backups: {book['backups']}{kept}")
    shared = [f"by a {each['by']}, rows still to go: {each['unsent']}" for each in book["shared"]]
    return [*out, f"book shared: {'; '.join(shared) or 'with no other bench'}"]
