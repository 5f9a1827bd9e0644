"""Published figures to test against, each with its source.

``data/figures.json`` holds inputs, the digits as published and the loosest tolerance the source
allows. A figure with a "from memory" note was not read at its source: the note says which part.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

_PATH = Path(__file__).parent / "data" / "figures.json"


@dataclass(frozen=True)
class Figure:
    """One published example."""

    id: str
    source: str
    inputs: dict[str, Any]
    expected: dict[str, Any]
    abs_tolerance: dict[str, Any]

    def check(self, **actual: float) -> None:
        """Compare each computed value with the published one, within its tolerance."""
        for name, value in actual.items():
            self.check_item(name, value)

    def check_item(self, name: str, value: float) -> None:
        """The same for a name that is no identifier."""
        published, tolerance = float(self.expected[name]), self.abs_tolerance[name]
        assert abs(value - published) <= tolerance, (
            f"{self.id} {name}: {value!r}, published {self.expected[name]} within {tolerance} "
            f"({self.source})"
        )


@cache
def _all() -> dict[str, dict[str, Any]]:
    figures: dict[str, dict[str, Any]] = json.loads(_PATH.read_text(encoding="utf-8"))
    return figures


def figure(identity: str) -> Figure:
    """The published example with this id."""
    entry = _all()[identity]
    return Figure(
        identity, entry["source"], entry["inputs"], entry["expected"], entry["abs_tolerance"]
    )
