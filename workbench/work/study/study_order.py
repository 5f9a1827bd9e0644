"""The order in which a repeatability study is read."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

Cell = tuple[int, int, int]
"""Part, person and trial, each by its number from 0."""

Shuffle = Callable[[list[Any]], object]
"""Rearranges a list in place, as ``random.Random(seed).shuffle`` does."""

RULE = (
    "Every trial is a round: everyone reads every part once before anyone reads one again. "
    "In a round the people take turns, each through the parts in a shuffled order of their own; "
    "from one round to the next nobody reads twice running, nor the same part again, where that "
    "can be avoided."
)


def reading_order(parts: int, people: int, trials: int, shuffle: Shuffle) -> tuple[Cell, ...]:
    """Return each (part, person, trial) once, in the order of :data:`RULE`."""
    order: list[Cell] = []
    for trial in range(trials):
        turns = _shuffled(people, order[-1][1] if order else None, shuffle)
        own = {person: _shuffled(parts, _last_part(order, person), shuffle) for person in turns}
        order += [(own[person][k], person, trial) for k in range(parts) for person in turns]
    return tuple(order)


def _last_part(order: Sequence[Cell], person: int) -> int | None:
    return next((cell[0] for cell in reversed(order) if cell[1] == person), None)


def _shuffled(count: int, not_first: int | None, shuffle: Shuffle) -> list[int]:
    """Return the numbers below ``count`` shuffled, with another one first where there is one."""
    out = list(range(count))
    shuffle(out)
    if count > 1 and out[0] == not_first:
        rest = out[1:]
        shuffle(rest)
        out = [rest[0], *_with(rest[1:], out[0], shuffle)]
    return out


def _with(rest: list[int], one: int, shuffle: Shuffle) -> list[int]:
    mixed = [*rest, one]
    shuffle(mixed)
    return mixed
