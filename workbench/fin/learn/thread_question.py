"""Whether a stud's thread or hand is the one that was told, asked from what its turns moved."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import median

from workbench.fin.parts.studs import Hand
from workbench.fin.parts.threads import known_leads
from workbench.fin.reading.rig import Rig
from workbench.frozen import dataclass

LEAST_TURN = 0.25
"""Moves of fewer turns than this tell too little."""

ROUNDS, OFF, SURE = 5, 0.08, 5.0
"""Asked after so many rounds, when so far off its lead, by so many standard deviations."""

OFF_AT_ONCE, SURE_AT_ONCE = 0.5, 10.0
"""Asked at once when as far off as this."""

COMMON = 0.015
"""What all moves of a stud share of the lead's own error and the survey's does not average out."""

NEAR = 0.03
"""A thread fits whose lead is this near, beside three standard deviations."""


@dataclass(frozen=True, slots=True)
class Move:
    """What one turn of a stud moved by the readings before and after it, in turns of its lead.

    ``turns`` were asked for, ``real`` of them are left once the backlash that they probably took up
    is off. ``u_turns``, the standard uncertainty of ``moved``, leaves out what all moves of the
    stud have in common.
    """

    stud: int
    turns: float
    real: float
    moved: float
    u_turns: float

    @property
    def ratio(self) -> float:
        """What it moved over what its lead says."""
        return self.moved / self.real

    @property
    def u(self) -> float:
        """The standard uncertainty of the ratio."""
        return self.u_turns / abs(self.real)


@dataclass(frozen=True, slots=True)
class ThreadQuestion:
    """A stud whose thread or hand does not fit its moves, and what would fit."""

    stud: int
    ratio: float
    u_ratio: float
    threads: tuple[str, ...]
    hand: Hand


def thread_question(rig: Rig, moves: Sequence[Move]) -> ThreadQuestion | None:
    """Return the question to ask about a stud, of the stud that is surest to be wrong; or None."""
    asked: list[tuple[float, ThreadQuestion]] = []
    for j, stud in enumerate(rig.studs):
        own = [m for m in moves if m.stud == j and abs(m.turns) > LEAST_TURN]
        if not own:
            continue
        weights = [1.0 / m.u**2 for m in own]
        whole = math.fsum(weights)
        mean = math.fsum(w * m.ratio for w, m in zip(weights, own, strict=True)) / whole
        u = math.hypot(1.0 / math.sqrt(whole), COMMON)
        middle = median(m.ratio for m in own)
        sure = abs(mean - 1.0) / u
        # Not the mean alone: a few seatings that are not home pull it, the median hardly.
        least_off = min(abs(mean - 1.0), abs(middle - 1.0))
        often = len(own) >= ROUNDS and least_off > max(OFF, SURE * u)
        at_once = abs(mean - 1.0) > OFF_AT_ONCE and sure > SURE_AT_ONCE
        # A mean and a median that tell opposite ways come from single wrong rounds.
        if not (often or at_once) or (middle - 1.0) * (mean - 1.0) <= 0.0:
            continue
        hand: Hand = stud.hand
        if middle < 0.0:
            hand = "left" if stud.hand == "right" else "right"
        lead = abs(middle) * stud.lead_mm
        reach = (NEAR + 3.0 * u) * stud.lead_mm
        fits = [(abs(mm - lead), name) for name, mm in known_leads() if abs(mm - lead) <= reach]
        names = tuple(name for _, name in sorted(fits))
        asked.append((sure, ThreadQuestion(j, mean, u, names, hand)))
    return max(asked, key=lambda a: a[0])[1] if asked else None
