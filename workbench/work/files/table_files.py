"""Reading TOML and JSON files from people, strictly: size, encoding, syntax, keys and values.

A ``Table`` hands out checked values; what it does not know is refused.
"""

from __future__ import annotations

import difflib
import json
import math
import re
import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

from workbench.errors import InputError
from workbench.measure.lengths import parse_length
from workbench.measure.units import MM_PER, Unit

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

_PASSED = re.compile(
    r"""\"{3}(?:[^"\\]++|\\.|"(?!""))*+(?:"{3,5}|\Z)
    |'{3}(?:[^']++|'(?!''))*+(?:'{3,5}|\Z)
    |"(?:[^"\\\n]|\\.)*+(?:"|(?=\n)|\Z)
    |'[^'\n]*+(?:'|(?=\n)|\Z)
    |\#[^\n]*+""",
    re.VERBOSE | re.DOTALL,
)
"""Texts, of which an end that is missing is that of the line or file, and comments."""

_PART = "[A-Za-z0-9_-]++"
_LONG_KEY = re.compile(rf"(?<![A-Za-z0-9_-]){_PART}(?:[ \t]*+\.[ \t]*+{_PART}){{{MOST_PARTS}}}")


def check_key_parts(text: str) -> None:
    """Raise an ``InputError`` for a key of more than :data:`MOST_PARTS` parts with dots between.

    The reader's time would grow with their square. A quoted text may be a part of a key.
    """
    if not any(line.count(".") >= MOST_PARTS for line in text.split("\n")):
        return
    found = _LONG_KEY.search(_PASSED.sub(_blank, text))
    if found is not None:
        line = text.count("\n", 0, found.start()) + 1
        accepted = f"a key of at most {MOST_PARTS} parts with dots between"
        raise InputError(f"file, line {line}", text[found.start() : found.end()], accepted)


def _blank(found: re.Match[str]) -> str:
    return ("#" if found[0][0] == "#" else "x") * len(found[0])


# -- one table, value by value ---------------------------------------------------------------------

MISSING = "(missing)"
_Word = TypeVar("_Word", bound=str)
POINT = "a point [forward, outward]"
_LONGEST_TEXT = 10_000


class Table:
    """One table of a file: hands out checked values and knows which keys were never asked for."""

    def __init__(self, data: object, path: str, unit: Unit = "in") -> None:
        if not isinstance(data, Mapping):
            raise InputError(path, data, "a table of keys and values")
        self._data = data
        self._asked: list[str] = []
        self.path = path
        self.unit: Unit = unit

    def where(self, key: str) -> str:
        """Return the full name of a key for messages."""
        return f"{self.path}.{key}" if self.path else key

    def has(self, key: str) -> bool:
        """Whether the key is there."""
        self._asked.append(key)
        return key in self._data

    def raw(self, key: str, accepted: str) -> object:
        """Return the value of a key that must be there."""
        self._asked.append(key)
        if key not in self._data:
            raise InputError(self.where(key), MISSING, accepted)
        return self._data[key]

    def text(self, key: str, accepted: str = "a text", default: str | None = None) -> str:
        """Return a text; with a default the key may be left out."""
        if default is not None and not self.has(key):
            return default
        value = self.raw(key, accepted)
        if not isinstance(value, str) or len(value) > _LONGEST_TEXT:
            raise InputError(self.where(key), value, accepted)
        return value

    def name(self, key: str = "name") -> str:
        """Return a text that is not empty."""
        value = self.text(key, "a name")
        if not value.strip():
            raise InputError(self.where(key), value, "a name that is not empty")
        return value

    def choice(
        self, key: str, choices: Sequence[_Word], accepted: str = "", default: _Word | None = None
    ) -> _Word:
        """Return one of a few words; with a default the key may be left out."""
        accepted = accepted or " or ".join(f"'{word}'" for word in choices)
        given = self.text(key, accepted, default)
        found = next((word for word in choices if word == given), None)
        if found is None:
            raise InputError(self.where(key), given, accepted)
        return found

    def truth(self, key: str) -> bool:
        """Return true or false; a key that is left out is false."""
        if not self.has(key):
            return False
        value = self.raw(key, "true or false")
        if not isinstance(value, bool):
            raise InputError(self.where(key), value, "true or false")
        return value

    def names(self) -> list[str]:
        """Return the keys there are, where they are names that the file may choose."""
        return [str(key) for key in self._data]

    def length(self, key: str, default_mm: float | None = None) -> float:
        """Return a length in mm; with a default the key may be left out."""
        if default_mm is not None and not self.has(key):
            return default_mm
        return self.as_length(self.raw(key, self._length_accepted()), self.where(key))

    def as_length(self, value: object, where: str) -> float:
        """Return a number in the file's unit, or a text with its own unit, as mm."""
        if isinstance(value, str):
            return parse_length(value, self.unit, where).mm
        number = as_number(value, where, self._length_accepted())
        return number * MM_PER[self.unit]

    def _length_accepted(self) -> str:
        return f"a length: a number in {self.unit}, or a text with its unit such as '62.2 mm'"

    def point(self, key: str, accepted: str = POINT) -> tuple[float, float]:
        """Return two lengths in mm: a point, or what else is ``accepted``."""
        return self.as_point(self.raw(key, accepted), self.where(key), accepted)

    def as_point(self, value: object, where: str, accepted: str = POINT) -> tuple[float, float]:
        """Return two lengths in mm."""
        a, b = as_list(value, where, accepted, 2)
        return (self.as_length(a, f"{where}[0]"), self.as_length(b, f"{where}[1]"))

    def points(self, key: str, count: int | None = None) -> tuple[tuple[float, float], ...]:
        """Return a list of points in mm, of a fixed number where ``count`` is given."""
        accepted = "a list of points [[u, v], ...]" if count is None else f"{count} points [u, v]"
        items = as_list(self.raw(key, accepted), self.where(key), accepted, count)
        return tuple(self.as_point(p, f"{self.where(key)}[{i}]") for i, p in enumerate(items))

    def table(self, key: str, accepted: str = "a table") -> Table:
        """Return a table inside this one."""
        return Table(self.raw(key, accepted), self.where(key), self.unit)

    def tables(self, key: str, required: bool = True, most: int | None = None) -> list[Table]:
        """Return a list of tables inside this one, of at most ``most``."""
        if not required and not self.has(key):
            return []
        items = as_list(self.raw(key, "a list of tables"), self.where(key), "a list of tables")
        if most is not None and len(items) > most:
            raise InputError(self.where(key), f"{len(items)} tables", f"at most {most}")
        return [Table(t, f"{self.where(key)}[{i}]", self.unit) for i, t in enumerate(items)]

    def done(self) -> None:
        """Raise an InputError for a key that nobody asked for: a slip is never passed over."""
        for key in self._data:
            if key not in self._asked:
                near = difflib.get_close_matches(str(key), self._asked, 1)
                hint = f"did you mean '{near[0]}'? " if near else ""
                known = ", ".join(dict.fromkeys(self._asked))
                raise InputError(
                    self.where(str(key)), self._data[key], f"{hint}known here: {known}"
                )


def as_number(value: object, where: str, accepted: str = "a number") -> float:
    """Return a finite number of a file; a truth value is none."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise InputError(where, value, accepted)
    try:
        number = float(value)
    except OverflowError:
        raise InputError(where, value, accepted) from None
    if not math.isfinite(number) or abs(number) > 1e9:
        raise InputError(where, value, f"{accepted}, finite and of a sane size")
    return number


def as_list(value: object, where: str, accepted: str, count: int | None = None) -> Sequence[object]:
    """Return a list of a file, of a fixed length where ``count`` is given."""
    if not isinstance(value, list | tuple) or (count is not None and len(value) != count):
        raise InputError(where, value, accepted)
    return value


class under:
    """Name the key and the value as written in an error that the kernel raises about a table."""

    def __init__(self, table: Table) -> None:
        self._table = table

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: object, error: object, trace: object) -> None:
        if not isinstance(error, InputError):
            return
        key = error.field.rpartition(" ")[2]
        if key not in ("name", "outline") and self._table.has(key):
            value = self._table.raw(key, error.accepted)
            raise InputError(self._table.where(key), value, error.accepted) from None
        raise InputError(
            f"{self._table.path}: {error.field}", error.value, error.accepted
        ) from None
