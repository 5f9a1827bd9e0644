"""Plots in terminal cells: axes, error bars, bands, ratings and struck-out points."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from workbench.bench.draw.canvas import Area, Canvas, Mode
from workbench.bench.draw.plots import (
    GLYPHS,
    extent,
    framed,
    grid,
    legend,
    plot_rows,
    ticks_of,
)
from workbench.work.history.series import (
    Band,
    Point,
    PointMark,
    Series,
)

DAY = 86400.0
T0 = 1_780_000_000.0


def point(
    day: float,
    value: float,
    mark: PointMark = "left",
    expanded: float = 0.05,
    rating: int | None = None,
) -> Point:
    return Point(T0 + day * DAY, value, expanded, mark, "job", rating)


DEPTH = Series(
    "depth, hole 2 back edge", False,
    (point(0, 62.84, "received"), point(0, 63.17, rating=3), point(30, 63.1, rating=5),
     point(40, 90.0, "struck", 0.0), point(60, 62.9, "received")),
    (Band(T0, T0 + 30 * DAY, 63.1, 63.2), Band(T0 + 30 * DAY, None, 63.0, 63.1)),
)  # fmt: skip
SPAN = (T0, T0 + 60 * DAY)


def drawn(series: Series, mode: Mode = "braille", width: int = 76, height: int = 16) -> list[str]:
    return [row.plain for row in plot_rows(series, SPAN, "in", Area(width, height, mode))]


@pytest.mark.parametrize("mode", ["braille", "block", "ascii"])
def test_a_plot_fills_its_room_and_names_its_method_and_unit(mode: Mode) -> None:
    """Title, ratings, axis labels in inches, and days below; never wider than its room."""
    rows = drawn(DEPTH, mode)
    assert len(rows) == 16
    assert max(map(len, rows)) <= 76
    assert rows[0] == "depth, hole 2 back edge (in)"
    assert rows[1].split() == ["ride", "3", "5"]
    sign = "+" if mode == "ascii" else "┤"
    labels = [float(row.partition(sign)[0]) for row in rows[2:-1] if sign in row]
    assert labels == sorted(labels, reverse=True)
    assert all(2.46 < label < 2.50 for label in labels)
    assert len(labels) >= 3
    assert len(rows[-1].split()) >= 3
    if mode == "ascii":
        assert "".join(rows).isascii()


def test_each_kind_of_point_has_a_sign_of_its_own() -> None:
    for at in (0, 1):
        assert len({signs[at] for signs in GLYPHS.values()}) == len(GLYPHS)
    text = "\n".join(drawn(DEPTH))
    assert (text.count("○"), text.count("●"), text.count("×")) == (2, 2, 1)


def test_a_struck_out_point_far_off_stands_at_the_edge_and_stretches_nothing() -> None:
    """The scale is that of what stands; the wrong one is drawn in the topmost row."""
    low, high = extent(DEPTH)
    assert high < 64.0
    assert low > 62.0
    assert "×" in drawn(DEPTH)[2]


def test_error_bars_reach_as_far_as_the_expanded_uncertainty() -> None:
    """In ASCII one bar is a column of | around its sign, of the height that the axis gives it."""
    lone = Series("d", False, (point(0, 62.0, expanded=0.5), point(60, 64.0, expanded=0.0)))
    rows = [row.plain[5:] for row in plot_rows(lone, SPAN, "mm", Area(60, 24, "ascii"))]
    low, high = extent(lone)
    frame = framed(SPAN, low, high, Canvas(55, 22, "ascii"))
    column = math.floor(frame.x(T0) + 0.5)
    bar = [row[column] for row in rows[1:-1] if row[column] != " "]
    reach = math.floor(frame.y(61.5) + 0.5) - math.floor(frame.y(62.5) + 0.5)
    assert len(bar) == reach + 1
    assert set(bar) == {"|", "@"}


def test_a_series_that_never_changed_is_not_blown_up() -> None:
    """Noise of a hundredth of a millimetre does not fill the plot."""
    flat = Series("d", False, (point(0, 62.0, expanded=0.0), point(60, 62.01, expanded=0.0)))
    low, high = extent(flat)
    assert high - low >= 0.08
    wing = Series("wing", True, (point(0, 7.5, expanded=0.0),))
    assert plot_rows(wing, SPAN, "in", Area(60, 12))[0].plain == "wing (degrees)"


def test_without_room_it_says_so() -> None:
    assert drawn(DEPTH, width=20) == ["depth, hole 2 back …"]
    assert drawn(DEPTH, height=4) == ["depth, hole 2 back edge: no room to draw"]


def test_only_struck_points_are_still_drawn() -> None:
    gone = Series("d", False, (point(0, 62.0, "struck", 0.0),))
    assert "×" in "".join(drawn(gone))


def test_the_legend_names_what_is_there() -> None:
    assert legend([DEPTH], "braille", 100).plain == (
        "○ received  ● left  × struck  │ ±U (k=2)  ╌╌ target ±tol.  ride 1-5"
    )
    assert legend([DEPTH], "ascii", 100).plain.isascii()
    wing = Series("wing", True, (point(0, 7.5, "in hand", 0.0),))
    assert legend([wing], "ascii", 100).plain == "# in hand"


def test_four_plots_stand_beside_each_other_in_their_room() -> None:
    rows = grid([DEPTH] * 4, SPAN, "in", Area(112, 30, "braille"))
    assert len(rows) == 30
    assert max(row.cell_length for row in rows) <= 112
    assert sum(row.plain.count("depth, hole 2") for row in rows) == 4


@given(st.floats(-1e4, 1e4), st.floats(1e-4, 1e4), st.integers(1, 12))
def test_ticks_are_round_numbers_within_the_range(low: float, span: float, most: int) -> None:
    """Evenly apart by 1, 2 or 5 times a power of ten, at most one more than asked for."""
    ticks, places = ticks_of(low, low + span, most)
    assert len(ticks) <= most + 1
    assert all(low - 1e-6 * span <= t <= low + span * (1 + 1e-6) for t in ticks)
    if len(ticks) > 1:
        step = ticks[1] - ticks[0]
        lead = step / 10.0 ** math.floor(math.log10(step) + 1e-4)
        assert min(abs(lead - k) for k in (1, 2, 5)) < 1e-3
        assert len({f"{t:.{places}f}" for t in ticks}) == len(ticks)


@given(
    st.lists(
        st.tuples(
            st.floats(0, 400), st.floats(5, 200), st.floats(0, 1),
            st.sampled_from(list(GLYPHS)),
        ),
        min_size=1, max_size=12,
    ),
    st.sampled_from(["braille", "block", "ascii"]),
    st.integers(24, 120), st.integers(6, 40),
)  # fmt: skip
def test_any_points_draw_within_their_room(
    points: list[tuple[float, float, float, PointMark]], mode: Mode, width: int, height: int
) -> None:
    """Whatever the values, times and room."""
    series = Series("s", False, tuple(point(d, v, m, e) for d, v, e, m in points))
    whens = [p.when for p in series.points]
    for unit in ("in", "mm"):
        rows = plot_rows(series, (min(whens), max(whens)), unit, Area(width, height, mode))
        assert len(rows) == height
        assert max(row.cell_length for row in rows) <= width
