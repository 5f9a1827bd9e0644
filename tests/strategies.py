"""Made-up blades, bases, poses, methods and rigs, for hypothesis and for seeded long runs alike.

Each maker takes a :class:`Chance`, so that one description serves both: hypothesis draws (and
shrinks) numbers on a grid of 1/64 mm, where corners fall exactly on levels and edges stand exactly
upright; a seeded run takes any float.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Protocol, TypeVar

from hypothesis import strategies as st

from workbench.fin.blade import Blade, Hole
from workbench.fin.frame import Base, Point, Pose
from workbench.fin.reading.method import Method, Quantity, Station
from workbench.fin.reading.observe import observe
from workbench.fin.reading.rig import Rig
from workbench.fin.studs import Hand, Stud

T = TypeVar("T")
GRID = 64

INCH = 25.4
EXACT_MM = 1e-9 * INCH
"""Agreement asked for where a result is exact: 1e-9 in."""
ITERATED_MM = 1e-6 * INCH
"""Agreement asked for where a result is iterated: 1e-6 in."""

HOSTILE_NAMES = (
    "[b]X[/b]", "a[/nope]b", "[Q1]", "", " ", "\x00", "\x1b[31mred", "a\nb", "'; --", "é" * 300,
    "\u202eabc", "{x}", "%s", "\\", '"', "ﬁn №2", "💥",
)  # fmt: skip
"""Names that a markup engine, a terminal, a format string or a query might trip over."""


class Chance(Protocol):
    """A source of choices."""

    def number(self, lo: float, hi: float) -> float:
        """Return a number from lo to hi."""

    def count(self, lo: int, hi: int) -> int:
        """Return a whole number from lo to hi, both included."""

    def pick(self, options: Sequence[T]) -> T:
        """Return one of the options."""


@dataclass(frozen=True)
class Drawn:
    """Choices drawn by hypothesis, lengths on a dyadic grid."""

    draw: Callable[..., Any]
    grid: int = GRID

    def number(self, lo: float, hi: float) -> float:
        low, high = math.ceil(lo * self.grid), math.floor(hi * self.grid)
        if low >= high:
            return float(self.draw(st.floats(lo, hi)))
        return float(self.draw(st.integers(low, high))) / self.grid

    def count(self, lo: int, hi: int) -> int:
        return int(self.draw(st.integers(lo, hi)))

    def pick(self, options: Sequence[T]) -> T:
        return options[self.draw(st.integers(0, len(options) - 1))]


@dataclass(frozen=True)
class Seeded:
    """Choices from a seeded generator."""

    source: random.Random

    def number(self, lo: float, hi: float) -> float:
        return self.source.uniform(lo, hi)

    def count(self, lo: int, hi: int) -> int:
        return self.source.randint(lo, hi)

    def pick(self, options: Sequence[T]) -> T:
        return options[self.source.randrange(len(options))]


def make_polygon(chance: Chance, lo: int = 3, hi: int = 12) -> tuple[Point, ...]:
    """Return a simple polygon, as a rule not convex: star-shaped about (100, 40) in mm."""
    n = chance.count(lo, hi)
    points = []
    for i in range(n):
        angle = math.tau * (i + chance.number(0.1, 0.9)) / n
        radius = chance.number(20.0, 90.0)
        point = (100.0 + radius * math.cos(angle), 40.0 + radius * math.sin(angle))
        points.append((round(point[0] * GRID) / GRID, round(point[1] * GRID) / GRID))
    return tuple(points)


def make_steps(chance: Chance) -> tuple[Point, ...]:
    """Return a plate of steps and ramps: upright edges, level edges and notches."""
    n = chance.count(2, 5)
    points: list[Point] = [(0.0, 0.0)]
    length = 0.0
    below: list[Point] = []
    for _ in range(n):
        depth = chance.number(20.0, 90.0)
        further = length + chance.number(5.0, 50.0)
        below += [(length, depth), (further, chance.pick((depth, depth, depth + 5.0)))]
        length = further
    points.append((length, 0.0))
    for point in reversed(below):
        if point != points[-1]:
            points.append(point)
    return tuple(points)


def make_fin(chance: Chance) -> tuple[Point, ...]:
    """Return a fin-like outline: level top, upright back, a wavy curve below that may overhang."""
    length = chance.number(150.0, 200.0)
    back = chance.number(15.0, 30.0)
    front = chance.number(10.0, 25.0)
    n = chance.count(3, 9)
    below = []
    for i in range(n):
        angle = math.pi * (i + chance.number(0.15, 0.85)) / n
        reach = chance.number(0.75, 1.15)
        u = length * 0.5 + reach * length * 0.5 * math.cos(angle)
        v = max(front, back) + 3.0 + reach * 62.0 * math.sin(angle)
        below.append((round(u * GRID) / GRID, round(v * GRID) / GRID))
    return ((0.0, 0.0), (length, 0.0), (length, front), *below, (0.0, back))


def make_blade(chance: Chance) -> Blade:
    """Return a fin-like blade with holes."""
    outline = make_fin(chance)
    length = outline[1][0]
    holes = tuple(
        Hole(str(i + 1), (chance.number(0.2 * length, 0.8 * length), 45.0), 7.5) for i in range(2)
    )
    return Blade("made up", outline, (outline[0], outline[1]), (outline[0], outline[-1]), holes)


def make_shape(chance: Chance) -> Blade:
    """Return a blade of any shape; its edges are the first and last of its outline."""
    outline = chance.pick((make_polygon, make_steps, make_fin))(chance)
    return Blade("any shape", outline, (outline[0], outline[1]), (outline[0], outline[-1]))


def make_base(chance: Chance) -> Base:
    """Return a flat base, or one curved as skis are and somewhat more."""
    if chance.pick((True, False)):
        return Base()
    return Base(chance.number(1500.0, 20000.0), chance.number(-100.0, 400.0))


def make_pose(chance: Chance, steepest_deg: float = 4.0) -> Pose:
    """Return a pose with the top edge hidden under the base."""
    tilt = chance.pick((0.0, 1.0, 1.0)) * math.radians(chance.number(-steepest_deg, steepest_deg))
    return Pose(chance.number(10.0, 30.0), chance.number(-28.0, -18.0), tilt)


def make_method(
    chance: Chance, blade: Blade, name: str, quantity: Quantity | None = None
) -> Method:
    """Return a reading method of any kind for this blade."""
    what = quantity or chance.pick(("depth", "tail", "length"))
    if what != "depth":
        lo = chance.number(0.0, 12.0)
        wide = chance.pick((0.0, 0.0, 1.0)) * chance.number(0.5, 15.0)
        return Method(name, what, band_mm=(lo, lo + wide))
    kind = chance.pick(("deepest", "hole", "point"))
    width = chance.pick((0.0, 0.0, 1.0)) * chance.number(0.5, 12.0)
    if kind == "deepest":
        return Method(name, what)
    if kind == "hole" and blade.holes:
        hole, edge = chance.pick(blade.holes), chance.pick(("back", "front"))
        return Method(name, what, Station(hole.edge(edge), hole.name, edge), width)
    us = [u for u, _ in blade.outline_mm]
    low, high = min(us), max(us)
    at = (chance.number(low + 0.1 * (high - low), high - 0.1 * (high - low)), 40.0)
    return Method(name, what, Station(at), width)


def make_rig(chance: Chance, blade: Blade | None = None, base: Base | None = None) -> Rig:
    """Return a rig whose studs stand about where a block would hold them."""
    blade = blade or make_blade(chance)
    base = base or make_base(chance)
    length = blade.top_edge_mm[1][0]

    def stud(name: str, touches: Any, at: Point, axis: Point) -> Stud:
        lean = math.radians(chance.number(-8.0, 8.0))
        c, s = math.cos(lean), math.sin(lean)
        hands: tuple[Hand, ...] = ("right", "right", "left")
        return Stud(
            name,
            touches,
            at,
            (c * axis[0] - s * axis[1], s * axis[0] + c * axis[1]),
            chance.pick((0.5, 0.79375, 0.8, 25.4 / 28)),
            chance.pick(hands),
            chance.pick((0.0, chance.number(0.0, 3.0))),
        )

    return Rig(
        blade,
        base,
        (
            stud("front", "top", (20.0 + chance.number(0.7, 0.95) * length, -45.0), (0.0, 1.0)),
            stud("rear", "top", (20.0 + chance.number(0.05, 0.3) * length, -45.0), (0.0, 1.0)),
            stud("tail", "back", (-5.0, chance.number(-15.0, -8.0)), (1.0, 0.0)),
        ),
    )


KINDS: tuple[tuple[Quantity, ...], ...] = (
    ("depth", "tail", "length"),
    ("depth", "tail", "length"),
    ("depth", "depth", "tail"),
    ("depth", "tail", "tail"),
    ("length", "length", "tail"),
    ("tail", "tail", "length"),
    ("tail", "tail", "tail"),
)
"""Sets of three readings that as a rule fix a pose."""


def make_methods(
    chance: Chance, blade: Blade, base: Base, pose: Pose, kinds: Sequence[Quantity]
) -> list[Method] | None:
    """Return methods of these kinds that all read something at ``pose``; None for want of luck."""
    out = []
    for i, kind in enumerate(kinds):
        for _ in range(5):
            method = make_method(chance, blade, f"{kind} {i + 1}", kind)
            if observe(method, blade, base, pose) is not None:
                out.append(method)
                break
        else:
            return None
    return out


def _strategy(maker: Callable[..., T], **options: Any) -> st.SearchStrategy[T]:
    @st.composite
    def made(draw: Callable[..., Any]) -> T:
        return maker(Drawn(draw), **options)

    return made()


def blades() -> st.SearchStrategy[Blade]:
    """Fin-like blades."""
    return _strategy(make_blade)


def shapes() -> st.SearchStrategy[Blade]:
    """Blades of any simple shape."""
    return _strategy(make_shape)


def bases() -> st.SearchStrategy[Base]:
    """Flat and curved bases."""
    return _strategy(make_base)


def poses(steepest_deg: float = 4.0) -> st.SearchStrategy[Pose]:
    """Poses with the top edge under the base."""
    return _strategy(make_pose, steepest_deg=steepest_deg)


def rigs() -> st.SearchStrategy[Rig]:
    """Whole rigs: blade, base and three studs."""
    return _strategy(make_rig)


@st.composite
def sights(draw: st.DrawFn) -> tuple[Method, Blade, Base, Pose]:
    """A method, a blade of any shape, a base and a pose."""
    chance = Drawn(draw)
    blade, base = make_shape(chance), make_base(chance)
    pose = make_pose(chance, 12.0)
    return make_method(chance, blade, "any"), blade, base, pose


def hostile_names() -> st.SearchStrategy[str]:
    """Names that people and pranksters type, and any other text."""
    return st.one_of(st.sampled_from(HOSTILE_NAMES), st.text(max_size=80))
