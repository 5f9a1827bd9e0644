"""What technicians try for what a rider feels: the shape of the rules, not the rules themselves.

Common practice, no source; technicians disagree. The list itself is data that a shop can change.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal, get_args

from workbench.fin.reading.method import TRAITS, Quantity

What = Literal[Quantity, "wing"]
Sure = Literal["often", "sometimes", "rarely"]

WHATS: tuple[What, ...] = get_args(What)
SURE: tuple[Sure, ...] = get_args(Sure)

WHAT_WORDS: dict[What, str] = {
    **{quantity: traits.words for quantity, traits in TRAITS.items()}, "wing": "wing angle",
}  # fmt: skip

SURE_WORDS: dict[Sure, str] = {
    "often": "often helps", "sometimes": "sometimes helps", "rarely": "rarely helps",
}  # fmt: skip

CLAIM = (
    "Common practice, no source; technicians disagree. One change at a time, then ride again. "
    "The ski maker's advice comes first."
)
"""What is said wherever a rule is shown; nothing more is claimed."""


@dataclass(frozen=True, slots=True)
class Complaint:
    """Something a rider feels: a key for the book and the words for the list."""

    key: str
    words: str


@dataclass(frozen=True, slots=True)
class Try:
    """A change that technicians try.

    ``step`` is the modest first step, signed: in mm for a length, in degrees for the wing;
    ``step_text`` is how it was written. ``cost`` is what it may do elsewhere.
    """

    what: What
    step: float
    step_text: str
    why: str
    cost: str
    sure: Sure


@dataclass(frozen=True, slots=True)
class Water:
    """A change tried in colder or warmer water: beyond ``limit_c`` (degrees Celsius)."""

    side: Literal["below", "above"]
    limit_c: float
    limit_text: str
    change: Try

    def applies(self, water_c: float) -> bool:
        """Whether water of this temperature (degrees Celsius) is beyond the limit."""
        return water_c < self.limit_c if self.side == "below" else water_c > self.limit_c


@dataclass(frozen=True, slots=True)
class Rules:
    """A shop's list: the complaints, the tries by complaint key in the order they are tried."""

    complaints: tuple[Complaint, ...]
    tries: tuple[tuple[str, Try], ...]
    water: tuple[Water, ...]

    def complaint(self, key: str) -> Complaint | None:
        """Return the complaint of this key, or None where the list no longer has it."""
        return next((c for c in self.complaints if c.key == key), None)


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A try with what speaks for it: the complaints or the water, in words."""

    change: Try
    because: str


def suggestions(
    rules: Rules, complaints: Iterable[str], water_c: float | None = None
) -> tuple[Suggestion, ...]:
    """Return what may be tried for these complaints and this water, surest first.

    Several complaints that lead to the same change are named together; changes of one thing in
    opposite directions stay side by side: the technician chooses.
    """
    found: dict[tuple[What, float], list[tuple[Try, str]]] = {}
    for key in complaints:
        complaint = rules.complaint(key)
        if complaint is None:
            continue
        for of, change in rules.tries:
            if of == key:
                found.setdefault((change.what, change.step), []).append((change, complaint.words))
    if water_c is not None:
        for rule in rules.water:
            if rule.applies(water_c):
                because = f"water {rule.side} {rule.limit_text}"
                at = (rule.change.what, rule.change.step)
                found.setdefault(at, []).append((rule.change, because))
    out = [_together(each) for each in found.values()]
    return tuple(sorted(out, key=lambda s: SURE.index(s.change.sure)))


def _together(found: Sequence[tuple[Try, str]]) -> Suggestion:
    surest = min((change for change, _ in found), key=lambda change: SURE.index(change.sure))
    return Suggestion(surest, "; ".join(dict.fromkeys(because for _, because in found)))
