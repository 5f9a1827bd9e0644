"""The quantities that can be read of a fin: each is declared here, with all that is its own.

``Quantity`` is the closed set, ``TRAITS`` has a row for each of its members. Where a quantity is
computed or drawn, a ``match`` that ends with ``assert_never`` has a case for it.
"""

from __future__ import annotations

from typing import Literal, get_args

from workbench.frozen import dataclass

Quantity = Literal["depth", "tail", "length"]
QUANTITIES: tuple[Quantity, ...] = get_args(Quantity)
ONE_OF = f"{', '.join(QUANTITIES[:-1])} or {QUANTITIES[-1]}"


@dataclass(frozen=True, slots=True)
class Traits:
    """What is fixed about a quantity.

    ``words`` is its name on screen and paper. ``taken_at`` says which field its methods need: a
    depth a ``station`` (none: the deepest point), the others a contact ``band``. ``holds`` are the
    ways in which a caliper is held for it. ``grows`` and ``grows_to`` are the two directions in
    which the figures of a scale on the blade may run, the usual one first, as a file and as a form
    name them; None where no scale tells the quantity.
    """

    words: str
    taken_at: Literal["station", "band"]
    holds: tuple[Literal["station", "deepest", "tips", "flat"], ...]
    grows: tuple[str, str] | None
    grows_to: tuple[str, str] | None


TRAITS: dict[Quantity, Traits] = {
    "depth": Traits("depth", "station", ("station", "deepest"), ("in", "out"), ("top", "outer")),
    "tail": Traits("tail distance", "band", ("tips", "flat"), ("back", "front"), ("tail", "tip")),
    "length": Traits("length", "band", ("tips", "flat"), None, None),
}
