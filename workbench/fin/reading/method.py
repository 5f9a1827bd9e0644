"""How a number is taken, as a checked value: the quantities, and the methods they are read by.

Each quantity is declared here with all that is its own: ``Quantity`` is the closed set, ``TRAITS``
has a row for each of its members. Where a quantity is computed or drawn, a ``match`` that ends with
``assert_never`` has a case for it.
"""

from __future__ import annotations

import math
from typing import Literal, assert_never, get_args

from workbench.errors import InputError, shown
from workbench.fin.blade import check_point
from workbench.fin.frame import Point
from workbench.frozen import dataclass

# -- quantities ------------------------------------------------------------------------------------

Quantity = Literal["depth", "tail", "length"]
QUANTITIES: tuple[Quantity, ...] = get_args(Quantity)
NEEDED: tuple[Quantity, ...] = ("depth", "tail", "length")
"""Every ski is read by one of each: together they fix the blade. Any other is read beside them."""

Grip = Literal["station", "deepest", "tips", "flat"]
"""A way in which a caliper is held for a reading."""

ONE_OF = f"{', '.join(QUANTITIES[:-1])} or {QUANTITIES[-1]}"


@dataclass(frozen=True, slots=True)
class Scale:
    """A scale on a blade: what it is called, the way of its zero, and which way its figures grow.

    ``grows`` (as a file names it), ``grows_to`` (as a form does) and ``toward`` (in a sentence) are
    each the usual direction and the contrary one.
    """

    words: str
    way: str
    grows: tuple[str, str]
    grows_to: tuple[str, str]
    toward: tuple[str, str]


@dataclass(frozen=True, slots=True)
class Traits:
    """What is fixed about a quantity.

    ``words`` is its name on screen and paper, ``reaches`` from where to where it goes. ``ends`` are
    the contacts within the band that it is read over: one is read from the ski's tail end, two are
    read from each other; none is read out of the base. ``taken_at`` says which field its methods
    need: a ``station`` (without one the deepest point) or a contact ``band``. ``holds`` are the
    ways in which a caliper is held for it. ``scale`` is that on a blade that tells the quantity;
    None where there is no such scale.
    """

    words: str
    taken_at: Literal["station", "band"]
    ends: tuple[Literal["rear", "front"], ...]
    reaches: str
    holds: tuple[Grip, ...]
    scale: Scale | None = None

    @property
    def tells_place(self) -> bool:
        """Whether it is read from the ski's tail end, and so tells the place fore and aft."""
        return len(self.ends) == 1


TRAITS: dict[Quantity, Traits] = {
    "depth": Traits(
        "depth",
        "station",
        (),
        "from the base straight out to the blade's edge",
        ("station", "deepest"),
        Scale(
            "outward lines", "out", ("in", "out"), ("top", "outer"),
            ("the top edge", "the outer edge"),
        ),
    ),
    "tail": Traits(
        "tail distance",
        "band",
        ("rear",),
        "from the ski's tail end forward to the blade",
        ("tips", "flat"),
        Scale(
            "forward scale", "forward", ("back", "front"), ("tail", "tip"), ("the tail", "the tip")
        ),
    ),
    "length": Traits(
        "length", "band", ("rear", "front"), "over both ends of the blade", ("tips", "flat")
    ),
}  # fmt: skip


# -- coarse marks ----------------------------------------------------------------------------------

COARSE_U_MM = 0.5
"""Standard uncertainty of one reading by a coarse mark, where its method states none: half a line
of a millimetre scale, taken by eye (common practice, no source)."""

LONGEST_SCALE_MM = 300.0
"""No scale on a blade is longer."""


@dataclass(frozen=True, slots=True)
class Scribe:
    """A point (x, y) of the ski, read on a scale that is fixed to the blade.

    The scale's zero lies at ``zero_mm`` in the blade frame: at that u on a forward scale (a tail
    distance), at that v among outward lines (a depth). As a rule the reading grows as the number it
    means does: the scale's figures grow toward its rear end, the lines' toward the top edge.
    ``is_reversed`` is a scale whose figures grow the other way.
    """

    at_mm: Point
    zero_mm: float = 0.0
    is_reversed: bool = False

    def check(self, where: str) -> None:
        """Raise an InputError unless the point and the zero are of a sane size."""
        check_point(f"{where} at", self.at_mm)
        if not (math.isfinite(self.zero_mm) and abs(self.zero_mm) <= 1000.0):
            raise InputError(f"{where} zero", self.zero_mm, "a finite length of at most 1000 mm")


# -- methods ---------------------------------------------------------------------------------------

Part = Literal["tips", "flat", "rod", "step"]
PARTS: tuple[Part, ...] = ("tips", "flat", "rod", "step")
"""The parts of a caliper: jaw tips, jaws laid flat, depth rod, and the step behind the jaws."""

WIDEST_JAW_MM = 50.0
HIGHEST_BAND_MM = 100.0


@dataclass(frozen=True, slots=True)
class Station:
    """A point of the blade under or over which a depth is taken, and how it was named."""

    at_mm: Point
    hole: str | None = None
    edge: str | None = None


@dataclass(frozen=True, slots=True)
class Method:
    """How a number is taken: which quantity, where, and with which part of the jaw.

    A depth has a station (None: deepest) and a jaw width; a tail distance or a length has a contact
    band (lo, hi) of heights above the base in mm. A depth or a tail distance with a ``scribe`` is a
    coarse mark and has none of these. ``u_mm`` is the whole standard uncertainty of one reading by
    this method; None leaves it to the budget. ``part`` is the part of the caliper it is read with;
    None is the usual one: see ``read_with``.
    """

    name: str
    quantity: Quantity
    station: Station | None = None
    jaw_width_mm: float = 0.0
    band_mm: tuple[float, float] | None = None
    scribe: Scribe | None = None
    u_mm: float | None = None
    part: Part | None = None

    def __post_init__(self) -> None:
        where = f"method {shown(self.name)}"
        if self.quantity not in QUANTITIES:
            raise InputError(f"{where} quantity", self.quantity, ONE_OF)
        if self.u_mm is not None and not (math.isfinite(self.u_mm) and self.u_mm > 0.0):
            raise InputError(f"{where} u", self.u_mm, "more than 0, or none")
        if self.part is not None and self.part not in PARTS:
            raise InputError(f"{where} part", self.part, ", ".join(PARTS))
        if self.scribe is not None:
            self._check_scribe(where, self.scribe)
        else:
            match TRAITS[self.quantity].taken_at:
                case "station":
                    self._check_station(where)
                case "band":
                    self._check_band(where)
                case _ as unknown:
                    assert_never(unknown)

    def _check_scribe(self, where: str, scribe: Scribe) -> None:
        if TRAITS[self.quantity].scale is None:
            accepted = "no scribe: a scale on the blade tells a depth or a tail distance only"
            raise InputError(f"{where} scribe", scribe.at_mm, accepted)
        place = None if self.station is None else self.station.at_mm
        for field, value in (
            ("band", self.band_mm), ("station", place), ("jaw_width", self.jaw_width_mm or None),
        ):  # fmt: skip
            if value is not None:
                none = "none: a scribe is read on the blade's own scale"
                raise InputError(f"{where} {field}", value, none)
        if self.part is not None:
            raise InputError(f"{where} part", self.part, "none: a scribe is read by eye")
        scribe.check(f"{where} scribe")

    def _check_station(self, where: str) -> None:
        if self.band_mm is not None:
            raise InputError(
                f"{where} band", self.band_mm, "no band: a depth has a station instead"
            )
        if self.station is not None:
            check_point(f"{where} station", self.station.at_mm)
        width = self.jaw_width_mm
        if not (math.isfinite(width) and 0.0 <= width <= WIDEST_JAW_MM):
            raise InputError(f"{where} jaw_width", width, f"0 to {WIDEST_JAW_MM:g} mm")

    def _check_band(self, where: str) -> None:
        if self.station is not None:
            raise InputError(f"{where} station", self.station.at_mm, "no station: give a band")
        if self.jaw_width_mm:
            raise InputError(f"{where} jaw_width", self.jaw_width_mm, "none: only a depth has one")
        if self.band_mm is None:
            raise InputError(f"{where} band", None, "[lo, hi], the heights a jaw can touch between")
        lo, hi = self.band_mm
        if not (math.isfinite(lo) and math.isfinite(hi) and lo <= hi):
            raise InputError(f"{where} band", self.band_mm, "[lo, hi] with lo not above hi")
        if lo < -HIGHEST_BAND_MM or hi > HIGHEST_BAND_MM:
            raise InputError(
                f"{where} band", self.band_mm, f"heights within {HIGHEST_BAND_MM:g} mm"
            )

    @property
    def is_tips(self) -> bool:
        """Whether the jaw tips alone touch: a band of no height."""
        return self.band_mm is not None and self.band_mm[0] == self.band_mm[1]

    @property
    def read_with(self) -> Part:
        """The part of the caliper: a depth's rod, else the jaws as the band says (our default)."""
        if self.part is not None:
            return self.part
        match TRAITS[self.quantity].taken_at:
            case "station":
                return "rod"
            case "band":
                return "tips" if self.is_tips else "flat"
            case _ as unknown:
                assert_never(unknown)

    @property
    def is_coarse(self) -> bool:
        """Whether this is a coarse mark: an optional reading that only checks the fine ones."""
        return self.scribe is not None

    @property
    def stated_u_mm(self) -> float | None:
        """The standard uncertainty of one reading, where the budget is not asked for it."""
        if self.u_mm is None and self.scribe is not None:
            return COARSE_U_MM
        return self.u_mm
