"""What can go wrong, as sentences a technician can act on.

Every error of ours derives from :class:`BenchError` and from a builtin, carries what was wrong as
fields, and reads as one line: what, the value, and what would be accepted.
"""

from __future__ import annotations

from typing import Literal


class BenchError(Exception):
    """Base of every error that Quarterturn raises on purpose; ``str()`` is fit for the screen."""


class InputError(BenchError, ValueError):
    """A value from a person, a file or a caliper that cannot be used.

    ``field`` names where it stood, ``value`` is what was there, ``accepted`` says what would do.
    """

    def __init__(self, field: str, value: object, accepted: str) -> None:
        self.field = field
        self.value = value
        self.accepted = accepted
        super().__init__(f"{field}: {shown(value)} — {accepted}")


class PoseError(BenchError, ValueError):
    """Readings that fix no pose: dependent, or without an intersection."""


class MissingPartError(PoseError):
    """A blade without an outline, or a block without studs: no pose, or no turns, until it has one.

    ``parts`` are those that are not known yet.
    """

    def __init__(self, *parts: Literal["blade", "block"]) -> None:
        self.parts = parts
        needs = {"blade": "an outline", "block": "the studs"}
        ways = {"blade": "trace one or choose one", "block": "measure one or choose one"}
        names = " and ".join(f"no {part}" for part in parts)
        wanted = " and ".join(needs[part] for part in parts)
        how = ways[parts[0]] if len(parts) == 1 else "trace, measure or choose them"
        super().__init__(f"{names} yet: turns need {wanted}; {how}")


class OutOfReachError(BenchError, ValueError):
    """A target that this blade, base or stud cannot reach; says which and what its limit is."""


class RecordsError(BenchError, OSError):
    """The book cannot be opened, read or written; says why and what to do next."""


def shown(value: object, limit: int = 60) -> str:
    """Quote ``value`` for a message: control characters escaped, long text shortened."""
    if isinstance(value, str):
        head = value[: limit + 1]  # a text of megabytes is cut anyway
        text = "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in head)
        text = f"'{text}'"
    else:
        text = repr(value)
    return text if len(text) <= limit else text[: limit - 1] + "…"
