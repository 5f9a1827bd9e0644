"""How far a bench is known before anything is learnt of it, and how rough its rounds are."""

from __future__ import annotations

import math

from workbench.errors import InputError
from workbench.frozen import dataclass
from workbench.measure.units import MM_PER_INCH

PROBABILITIES = ("gap_p", "gap_again_p", "misread_p", "wrong_turn_p", "other_p")


@dataclass(frozen=True, slots=True)
class Imperfections:
    """Standard uncertainties and probabilities of one bench (common practice, no source).

    ``lead`` is a share of the lead and ``drift`` how much it changes from job to job; ``backlash``
    and ``turn`` are turns. ``vertex_mm`` is how well the outline's corners are known, ``seat_mm``
    how a blade pushed home scatters at each stud, ``take_mm`` a caliper's scatter. ``gap_p`` is how
    often a blade is not home at one stud, ``gap_mm`` by how much.

    Raises:
        InputError: a probability outside 0 to 1, or nothing left of them for a good seating.
    """

    lead: float = 0.0175
    backlash: float = 1 / 32
    u_backlash: float = 0.018
    vertex_mm: float = 0.01 * MM_PER_INCH
    turn: float = 1 / 48
    move_share: float = 0.01
    seat_mm: float = 0.0004 * MM_PER_INCH
    take_mm: float = 0.0007 * MM_PER_INCH
    gap_p: float = 0.10
    gap_again_p: float = 0.02
    gap_mm: float = 0.0065 * MM_PER_INCH
    u_gap_mm: float = 0.002 * MM_PER_INCH
    misread_p: float = 0.005
    misread_mm: float = 0.02 * MM_PER_INCH
    wrong_turn_p: float = 0.005
    wrong_turn: float = 0.125
    other_p: float = 0.001
    other_mm: float = 0.05 * MM_PER_INCH
    drift: float = 0.0005

    def __post_init__(self) -> None:
        for field in PROBABILITIES:
            p = getattr(self, field)
            if not (math.isfinite(p) and 0.0 <= p < 1.0):
                raise InputError(field, p, "a probability: 0 or more and below 1")
        for again in (False, True):
            self.all_well_p(again, 3, 3)

    def all_well_p(self, again: bool, turned: int, readings: int) -> float:
        """Return how likely a seating is good, after so many studs turned, read so many times.

        ``again``: the blade was pushed home on purpose.

        Raises:
            InputError: what may be the matter leaves nothing for it.
        """
        field, gap_p = ("gap_again_p", self.gap_again_p) if again else ("gap_p", self.gap_p)
        matters = [gap_p, self.other_p, *[self.wrong_turn_p] * turned, *[self.misread_p] * readings]
        well = 1.0 - math.fsum(matters)
        if well <= 0.0:
            raise InputError(
                field, gap_p,
                f"together with other_p, {turned} times wrong_turn_p and {readings} times "
                f"misread_p less than 1, not {math.fsum(matters):g}",
            )  # fmt: skip
        return well

    @property
    def is_exact(self) -> bool:
        """Whether the bench is just as it was told, and turned and seated without error."""
        return not (self.lead or self.u_backlash or self.vertex_mm or self.turn or self.seat_mm)


ORDINARY = Imperfections()
"""A bench of which nothing better is known."""

EXACT = Imperfections(
    lead=0.0, backlash=0.0, u_backlash=0.0, vertex_mm=0.0, turn=0.0, move_share=0.0, seat_mm=0.0,
    take_mm=0.0, gap_p=0.0, gap_again_p=0.0, misread_p=0.0, wrong_turn_p=0.0, other_p=0.0,
    drift=0.0,
)  # fmt: skip
"""A bench that is just as it was told."""
