"""The side view: true to scale for any blade, and the difference large enough to be seen."""

from __future__ import annotations

import itertools
import math
import random

import pytest

from tests.strategies import KINDS, Seeded, make_methods, make_pose, make_rig, make_shape
from workbench.bench.draw.canvas import DOTS, Area, Mode
from workbench.bench.draw.side_view import method_view, side_view
from workbench.errors import InputError
from workbench.fin.blade import Blade, distance_to_segment
from workbench.fin.frame import Base, Pose
from workbench.fin.pose.equations import Reading
from workbench.fin.reading.method import Method
from workbench.fin.reading.observe import observe
from workbench.fin.reading.rig import Rig
from workbench.work.drawing.scene import (
    FACTORS,
    SHOWN_SHARE,
    STUD_SHOWN_MM,
    enlarged,
    enlargement,
    largest_move,
    placed,
)

MODES: tuple[Mode, ...] = ("braille", "block", "ascii")
SEEDS = range(25)


def case(seed: int, any_shape: bool = False) -> tuple[Rig, Pose, Seeded]:
    chance = Seeded(random.Random(seed))
    rig = make_rig(chance)
    if any_shape:
        rig = Rig(make_shape(chance), rig.base, rig.studs)
    return rig, make_pose(chance), chance


def outline_dots(picture, points):
    dots = [picture.view.at(p) for p in points]
    return list(itertools.pairwise([*dots, dots[0]]))


def near(p, edges) -> float:
    return min(distance_to_segment(p, a, b) for a, b in edges)


@pytest.mark.parametrize("mode", MODES)
@pytest.mark.parametrize("seed", SEEDS)
def test_the_blade_now_is_drawn_where_it_is(seed: int, mode: Mode) -> None:
    """Each dot of now lies within one dot of the true outline, and the whole outline is there."""
    rig, now, _ = case(seed, any_shape=True)
    picture = side_view(rig, now, now.moved(0.1, -0.2, 0.001), Area(60, 20, mode))
    edges = outline_dots(picture, placed(rig.blade, now))
    dots = picture.canvas.dots_of("now")
    assert dots
    assert all(near(p, edges) <= 1.0 for p in dots)
    for (ax, ay), (bx, by) in edges:
        for t in (0.0, 0.25, 0.5, 0.75):
            x, y = ax + t * (bx - ax), ay + t * (by - ay)
            assert any(math.hypot(x - i, y - j) <= 1.5 for i, j in dots)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_wanted_blade_is_drawn_at_the_enlarged_pose(seed: int) -> None:
    """Each dashed dot lies within one dot of the outline at now + factor * difference."""
    rig, now, chance = case(seed)
    wanted = now.moved(
        chance.number(-0.5, 0.5), chance.number(-0.5, 0.5), chance.number(-0.01, 0.01)
    )
    picture = side_view(rig, now, wanted, Area(70, 24))
    far = Pose(
        now.x_mm + picture.factor * (wanted.x_mm - now.x_mm),
        now.y_mm + picture.factor * (wanted.y_mm - now.y_mm),
        now.tilt_rad + picture.factor * (wanted.tilt_rad - now.tilt_rad),
    )
    edges = outline_dots(picture, placed(rig.blade, far))
    dots = picture.canvas.dots_of("wanted")
    assert dots
    assert all(near(p, edges) <= 1.0 for p in dots)
    assert f"×{picture.factor:g}" in picture.caption


@pytest.mark.parametrize("mode", MODES)
def test_a_square_plate_looks_square(mode: Mode) -> None:
    """With a cell twice as high as wide, a square is twice as many cells wide as high."""
    rig, _, _ = case(1)
    corners = ((0.0, 0.0), (80.0, 0.0), (80.0, 80.0), (0.0, 80.0))
    plate = Blade("square", corners, (corners[0], corners[1]), (corners[0], corners[3]))
    picture = side_view(
        Rig(plate, Base(), rig.studs), Pose(20.0, -20.0, 0.0), None, Area(90, 40, mode)
    )
    xs, ys = zip(*picture.canvas.dots_of("now"), strict=True)
    across, down = DOTS[mode]
    wide, high = (max(xs) - min(xs)) / across, (max(ys) - min(ys)) / down
    assert high > 10
    assert wide == pytest.approx(2.0 * high, abs=2.0)


def test_deeper_is_higher_and_the_tail_is_left() -> None:
    """The ski lies base up: y outward is up the screen and x forward to the right."""
    rig, now, _ = case(2)
    view = side_view(rig, now, None, Area(60, 20)).view
    (x0, y0), (x1, y1) = view.at((10.0, 0.0)), view.at((90.0, 60.0))
    assert x1 > x0
    assert y1 < y0


@pytest.mark.parametrize("seed", SEEDS)
def test_the_enlargement_makes_the_difference_seen(seed: int) -> None:
    """The factor is round, and its neighbours would be further from the share aimed at."""
    rig, now, chance = case(seed)
    size = 10 ** chance.number(-2.5, 1.0)
    wanted = now.moved(size, -0.5 * size, 0.001 * size)
    factor = enlargement(rig.blade, now, wanted)
    us, vs = zip(*rig.blade.outline_mm, strict=True)
    share = largest_move(rig.blade, now, wanted) / max(max(us) - min(us), max(vs) - min(vs))
    assert factor in FACTORS
    if factor < FACTORS[-1]:
        assert share * factor > SHOWN_SHARE / 1.6
    if factor > 1.0:
        assert share * factor < SHOWN_SHARE * 1.6


def test_known_enlargement() -> None:
    """A plate 200 mm long pushed 1.2 mm: 12 % of 200 mm is 24 mm, twenty times as much."""
    corners = ((0.0, 0.0), (200.0, 0.0), (200.0, 80.0), (0.0, 80.0))
    plate = Blade("plate", corners, (corners[0], corners[1]), (corners[0], corners[3]))
    here = Pose(20.0, -20.0, 0.0)
    assert enlargement(plate, here, here.moved(1.2, 0.0, 0.0)) == 20.0
    assert enlargement(plate, here, here.moved(50.0, 0.0, 0.0)) == 1.0
    assert enlargement(plate, here, here) == 1.0


def test_a_tilt_is_enlarged_the_shorter_way_round() -> None:
    """A wanted tilt written a whole turn away is the same small difference."""
    now, wanted = Pose(0.0, 0.0, 0.01), Pose(0.0, 0.0, 0.02 + math.tau)
    assert enlarged(now, wanted, 5.0).tilt_rad == pytest.approx(0.06)


@pytest.mark.parametrize("mode", MODES)
def test_captions_say_what_is_drawn(mode: Mode) -> None:
    """With both poses, one or none the caption says so, in ASCII where the mode is ASCII."""
    rig, now, _ = case(3)
    both = side_view(rig, now, now.moved(0.4, 0.0, 0.0), Area(60, 20, mode))
    assert "wanted" in both.caption
    assert f"{both.factor:g}" in both.caption
    assert side_view(rig, now, now, Area(60, 20, mode)).caption.endswith("is as wanted")
    assert "wanted" not in side_view(rig, now, None, Area(60, 20, mode)).caption
    none = side_view(rig, None, None, Area(60, 20, mode))
    assert none.caption == "not all readings yet"
    assert none.canvas.dots_of("wanted")
    assert not none.canvas.dots_of("now")
    assert "wanted" in side_view(rig, None, now, Area(60, 20, mode)).caption
    for picture in (both, none):
        assert mode != "ascii" or (picture.caption + picture.canvas.plain()).isascii()


@pytest.mark.parametrize("seed", SEEDS)
def test_studs_touch_the_blade_and_bear_their_letters(seed: int) -> None:
    """Dots of each stud end at its contact and stay near it; f, r and b name them."""
    rig, now, _ = case(seed)
    picture = side_view(rig, now, None, Area(80, 24))
    dots = picture.canvas.dots_of("stud") | picture.canvas.dots_of("now")
    for t in rig.travels(now):
        x, y = picture.view.at(t.contact_mm)
        assert any(math.hypot(x - i, y - j) <= 1.0 for i, j in dots)
    touched = [picture.view.at(t.contact_mm) for t in rig.travels(now)]
    reach = picture.view.across * (STUD_SHOWN_MM + 2 * max(s.tip_radius_mm for s in rig.studs)) + 2
    for dot in picture.canvas.dots_of("stud"):
        assert min(math.dist(dot, at) for at in touched) <= reach
    letters = "".join(text for row in picture.canvas.rows() for text, ink in row if ink == "stud")
    assert set("frt") <= set(letters)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_base_is_drawn_where_it_is(seed: int) -> None:
    """Each dot of the base lies within one dot of the true line or arc."""
    rig, now, _ = case(seed)
    picture = side_view(rig, now, None, Area(60, 20))
    view = picture.view
    assert picture.canvas.dots_of("base")
    for i, j in picture.canvas.dots_of("base"):
        assert abs(view.at((0.0, rig.base.y(view.x_mm(i))))[1] - j) <= 1.0


def test_contacts_of_the_readings_are_marked() -> None:
    """A mark stands in the very cell where the caliper touches."""
    rig, now, chance = case(4)
    methods = make_methods(chance, rig.blade, rig.base, now, KINDS[0])
    assert methods
    picture = side_view(
        rig, now, None, Area(60, 20, "ascii"), [Reading(m, 1.0, 0.01) for m in methods]
    )
    rows = picture.canvas.plain().split("\n")
    for method in methods:
        seen = observe(method, rig.blade, rig.base, now)
        assert seen
        for point in seen.contacts_mm:
            x, y = picture.view.at(point)
            assert rows[round(y)][round(x)] == "o"


@pytest.mark.parametrize("seed", SEEDS)
def test_how_to_hold_the_caliper(seed: int) -> None:
    """The view of any method shows the blade, the jaws at the contacts, and a caption."""
    rig, now, chance = case(seed)
    methods = make_methods(chance, rig.blade, rig.base, now, KINDS[seed % len(KINDS)])
    for method in methods or ():
        seen = observe(method, rig.blade, rig.base, now)
        assert seen
        picture = method_view(rig, now, method, Area(60, 20))
        jaws = picture.canvas.dots_of("wanted")
        for point in seen.contacts_mm:
            x, y = picture.view.at(point)
            assert any(math.hypot(x - i, y - j) <= 1.0 for i, j in jaws)
        word = {"depth": "depth", "tail": "tail distance", "length": "length"}[method.quantity]
        assert picture.caption.startswith(word)


def test_a_method_that_meets_no_blade_says_so() -> None:
    """A band far above the blade draws no jaw and the caption tells why."""
    rig, now, _ = case(5)
    picture = method_view(rig, now, Method("high", "length", band_mm=(99.0, 99.5)), Area(40, 12))
    assert "no part of the blade" in picture.caption
    assert not picture.canvas.dots_of("wanted")


@pytest.mark.parametrize(("w", "h"), [(0, 0), (1, 1), (2, 1), (1, 9), (3, 3), (300, 2), (-5, 7)])
@pytest.mark.parametrize("mode", MODES)
def test_no_size_is_too_small(w: int, h: int, mode: Mode) -> None:
    """A panel squeezed to nothing is drawn all the same, at least one cell large."""
    rig, now, _ = case(6)
    picture = side_view(rig, now, now.moved(0.1, 0.1, 0.0), Area(w, h, mode))
    assert (picture.canvas.width, picture.canvas.height) == (max(1, w), max(1, h))


def test_a_stud_that_misses_its_edge_is_named() -> None:
    """A blade turned right over cannot be touched by its studs: the caption names them."""
    rig, now, _ = case(7)
    caption = side_view(rig, now.moved(0.0, 0.0, math.pi), None, Area(60, 20)).caption
    assert "not on its edge: top front, top rear, tail" in caption


def test_a_pose_that_is_no_place_is_refused() -> None:
    """Not-a-number is an input error and no picture."""
    rig, _, _ = case(8)
    with pytest.raises(InputError):
        side_view(rig, Pose(math.nan, 0.0, 0.0), None, Area(60, 20))


def test_a_base_that_ends_beside_the_blade_is_drawn() -> None:
    """A tight arc far off leaves parts of the picture without a base and breaks nothing."""
    rig, _, _ = case(9)
    odd = Rig(rig.blade, Base(300.0, 400.0), rig.studs)
    assert side_view(odd, None, None, Area(60, 20)).canvas.plain().strip()
    assert method_view(odd, None, Method("t", "tail", band_mm=(0.0, 5.0)), Area(60, 20)).caption
