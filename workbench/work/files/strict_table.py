"""Reading a table of a file strictly: each value checked, each error naming its key."""

from __future__ import annotations

import difflib
import math
from collections.abc import Mapping, Sequence
from typing import TypeVar

from workbench.errors import InputError
from workbench.measure.lengths import parse_length
from workbench.measure.units import MM_PER, Unit

MISSING = "(missing)"
C = TypeVar("C", bound=str)
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
        self, key: str, choices: Sequence[C], accepted: str = "", default: C | None = None
    ) -> C:
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
