"""The quantities that can be read of a fin: each is declared here, with all that is its own.

``Quantity`` is the closed set, ``TRAITS`` has a row for each of its members. Where a quantity is
computed or drawn, a ``match`` that ends with ``assert_never`` has a case for it.
"""

from __future__ import annotations

from typing import Literal, get_args

from workbench.frozen import dataclass

Quantity = Literal["depth", "tail", "length"]
QUANTITIES: tuple[Quantity, ...] = get_args(Quantity)
NEEDED: tuple[Quantity, ...] = ("depth", "tail", "length")
"""Every ski is read by one of each: together they fix the blade. Any other is read beside them."""

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
    holds: tuple[Literal["station", "deepest", "tips", "flat"], ...]
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
