"""Reading TOML and JSON files from people: size, encoding, syntax and duplicate keys checked."""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from workbench.errors import InputError

_LARGEST_BYTES = 5_000_000
DEEPEST = 20
"""More levels of tables and lists than any of our files has."""

MOST_TABLES, MOST_VALUES = 2_000_000, 10_000_000
"""So many tables and lists, and values in them, are read whatever the text that they lie in."""


def read_table_file(path: str | Path) -> dict[str, Any]:
    """Return the table in a TOML or JSON file; ``-`` reads standard input.

    Raises:
        InputError: no such file, too large, not text, not TOML or JSON, not a table.
    """
    text = read_text(path)
    name = str(path)
    kind = "json" if name.endswith(".json") else "toml" if name.endswith(".toml") else ""
    return parse_table(text, kind)


def parse_table(text: str, kind: str = "") -> dict[str, Any]:
    """Return the table in a text, JSON where ``kind`` says so or it starts with a brace.

    Raises:
        InputError: not TOML or JSON, not a table, or not of a sane shape.
    """
    as_json = kind == "json" or (not kind and text.lstrip().startswith("{"))
    data = _json(text) if as_json else _toml(text)
    if not isinstance(data, dict):
        raise InputError("file", type(data).__name__, "a table of keys and values at the top")
    check_sane(data)
    return data


def check_sane(data: dict[str, Any]) -> None:
    """Refuse what could not even be shown in a message: deep nesting and endless whole numbers."""
    level: list[object] = [data]
    for _ in range(DEEPEST):
        inner: list[object] = []
        for value in level:
            if isinstance(value, dict):
                inner.extend(value.values())
            elif isinstance(value, list):
                inner.extend(value)
            elif isinstance(value, int) and value.bit_length() > 1024:
                raise InputError("file", "over 300 digits in a row", "numbers of sane size")
        level = inner
    if level:
        raise InputError("file", "nested too deeply", f"at most {DEEPEST} levels")


def read_text(path: str | Path, largest: int = _LARGEST_BYTES) -> str:
    """Return a file's text, of at most ``largest`` bytes; ``-`` reads standard input.

    Raises:
        InputError: no such file, too large, or not text.
    """
    if str(path) == "-" and sys.stdin is None:
        raise InputError("file", "-", "standard input that is open")
    with cannot_read(path):
        if str(path) == "-":
            raw = sys.stdin.buffer.read(largest + 1)
        else:
            with open(path, "rb") as file:
                raw = file.read(largest + 1)
    if len(raw) > largest:
        accepted = f"a file of at most {largest // 1_000_000} MB"
        raise InputError("file", f"over {largest} bytes", accepted)
    return text_in(raw)


@contextmanager
def cannot_read(path: str | Path) -> Iterator[None]:
    """Say in a word why a file cannot be read, as an ``InputError``."""
    try:
        yield
    except OSError as why:
        reason = why.strerror or type(why).__name__
        raise InputError("file", str(path), f"a file that can be read ({reason})") from None
    except ValueError:
        raise InputError("file", str(path), "a path without control characters") from None


def text_in(raw: bytes) -> str:
    """The text that a file's bytes are in UTF-8; raises ``InputError``."""
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as why:
        raise InputError("file", f"byte {why.start}", "text in UTF-8") from None


def _toml(text: str) -> object:
    import tomllib

    check_key_parts(text)
    try:
        return tomllib.loads(text)
    except (tomllib.TOMLDecodeError, ValueError) as why:
        raise InputError("file", str(why), "TOML (or JSON, when it starts with '{')") from None
    except RecursionError:
        raise InputError("file", "nested too deeply", "TOML of a few levels") from None


def _check_countable(text: str) -> None:
    """Refuse what would take far more room as values than as text: endless empty tables, say.

    A row of ours takes hundreds of characters, each of its values ten; a note may be of any signs.
    """
    room = len(text)
    tables = text.count("{") + text.count("[")
    if tables > max(MOST_TABLES, room // 40) or text.count(",") > max(MOST_VALUES, room // 10):
        raise InputError("file", "nearly nothing but brackets and commas", "rows of a book")


def _json(text: str) -> object:
    _check_countable(text)
    try:
        return json.loads(text, parse_constant=no_constant, object_pairs_hook=no_doubles)
    except json.JSONDecodeError as why:
        raise InputError("file", f"line {why.lineno}: {why.msg}", "JSON") from None
    except RecursionError:
        raise InputError("file", "nested too deeply", "JSON of a few levels") from None
    except InputError:
        raise
    except ValueError as why:
        raise InputError("file", str(why), "JSON with numbers of a sane size") from None


def no_constant(word: str) -> object:
    """Refuse a number of JSON that is not finite."""
    raise InputError("file", word, "JSON with finite numbers")


def no_doubles(pairs: list[tuple[str, object]]) -> dict[str, object]:
    """Return the pairs of a JSON object as a dict, each key of it given once."""
    out: dict[str, object] = {}
    for key, value in pairs:
        if key in out:
            raise InputError(key, value, "each key once in its table")
        out[key] = value
    return out


MOST_PARTS = 20
"""More parts with dots between than any key of ours has."""

_PIECE = re.compile(
    r"""(?P<passed>[ \t]++)
    |(?P<dot>\.)
    |(?P<long>\"{3}|'{3})
    |(?P<part>[A-Za-z0-9_-]++|"(?:[^"\\\n]|\\.)*+"|'[^'\n]*+')
    |(?P<open>["'])
    |(?P<comment>\#[^\n]*+)
    |[^ \t."'\#A-Za-z0-9_-]++""",
    re.VERBOSE,
)
_LONG_ENDS = {
    '"""': re.compile(r'(?:[^"\\]++|\\.|"(?!""))*+"{3,5}', re.DOTALL),
    "'''": re.compile(r"(?:[^']++|'(?!''))*+'{3,5}"),
}


def check_key_parts(text: str) -> None:
    """Raise an ``InputError`` for a key of more than :data:`MOST_PARTS` parts with dots between.

    What is in texts and comments is passed over. A text without an end is left to the reader,
    which comes no farther than there.
    """
    if not any(line.count(".") >= MOST_PARTS for line in text.split("\n")):
        return
    at = start = parts = 0
    dotted = False
    while at < len(text):
        piece = _PIECE.match(text, at)
        assert piece is not None
        kind, end = piece.lastgroup, piece.end()
        if kind == "open":
            return
        if kind == "long":
            found = _LONG_ENDS[piece[0]].match(text, end)
            if found is None:
                return
            end = found.end()
        if kind == "part":
            parts, start = (parts + 1, start) if dotted else (1, at)
            dotted = False
        elif kind == "dot":
            dotted = parts > 0
        elif kind != "passed":
            parts, dotted = 0, False
        if parts > MOST_PARTS:
            line = text.count("\n", 0, start) + 1
            accepted = f"a key of at most {MOST_PARTS} parts with dots between"
            raise InputError(f"file, line {line}", text[start:end], accepted)
        at = end
