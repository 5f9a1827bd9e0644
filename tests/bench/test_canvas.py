"""The cell canvas: what is drawn where, in which ink, and that nothing outside costs or harms."""

from __future__ import annotations

import math
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from workbench.bench.draw.canvas import (
    DOTS,
    Canvas,
    Mode,
    clipped,
)
from workbench.errors import InputError

MODES: tuple[Mode, ...] = ("braille", "block", "ascii")
FAR = st.floats(-1e308, 1e308) | st.floats(-60, 60)


@pytest.mark.parametrize(
    ("mode", "expected"),
    [("braille", "⡀⠠⠐⠈"), ("block", "▖▗▝"), ("ascii", "o.-|")],
)
def test_each_mode_shows_its_own_marks(mode: Mode, expected: str) -> None:
    """A dot in a known place of a cell gives that cell's known character."""
    if mode == "ascii":
        canvas = Canvas(4, 1, mode)
        canvas.dot(0, 0, 1)
        canvas.dot(1, 0, 1, ".")
        canvas.line(2, 0, 2, 0, 1)
        canvas.line(3, -9, 3, 9, 1)
    else:
        canvas = Canvas(len(expected), 1, mode)
        spots = {"braille": [(0, 3), (3, 2), (5, 1), (7, 0)], "block": [(0, 1), (3, 1), (5, 0)]}
        for x, y in spots[mode]:
            canvas.dot(x, y, 1)
    assert canvas.plain() == expected


def test_a_filled_braille_cell_has_all_eight_dots() -> None:
    """All eight dots of one cell are U+28FF."""
    canvas = Canvas(1, 1, "braille")
    for x in range(2):
        canvas.line(x, 0, x, 3, "ink")
    assert canvas.plain() == "⣿"


def test_a_filled_block_cell_is_a_full_block() -> None:
    """All four quadrants of one cell are a full block."""
    canvas = Canvas(1, 1, "block")
    canvas.polygon([(0, 0), (1, 0), (1, 1), (0, 1)], "ink")
    assert canvas.plain() == "█"


def test_ascii_lines_lean_as_they_run() -> None:
    """A falling line uses backslashes, a rising one slashes, with cells twice as high as wide."""
    falling, rising = Canvas(4, 2, "ascii"), Canvas(4, 2, "ascii")
    falling.line(0, 0, 3, 1, 1)
    rising.line(0, 1, 3, 0, 1)
    assert set(falling.plain()) - set(" \n") == {"\\"}
    assert set(rising.plain()) - set(" \n") == {"/"}


def test_the_later_ink_wins_the_cell() -> None:
    """Two inks in one cell keep both dots and take the later colour."""
    canvas = Canvas(2, 1, "braille")
    canvas.dot(0, 0, "first")
    canvas.dot(1, 3, "second")
    assert canvas.rows() == [[("⢁", "second"), (" ", None)]]
    assert canvas.dots_of("first") == {(0, 0)}


def test_rows_are_runs_of_one_ink() -> None:
    """Neighbouring cells of one ink come as one run and the empty ones have no ink."""
    canvas = Canvas(6, 1, "ascii")
    canvas.line(0, 0, 2, 0, "a")
    canvas.text(3, 0, "xy", "b")
    assert canvas.rows() == [[("---", "a"), ("xy", "b"), (" ", None)]]


def test_letters_stand_over_lines_whichever_came_first() -> None:
    """A line drawn after a letter leaves the letter and its ink."""
    canvas = Canvas(3, 1, "block")
    canvas.text(1, 0, "F", "stud")
    canvas.line(0, 0, 5, 0, "base")
    assert canvas.rows() == [[("▀", "base"), ("F", "stud"), ("▀", "base")]]


def test_dashes_leave_gaps_and_run_on_around_corners() -> None:
    """A dashed path is drawn for 4 of every 7 dots, counted along the whole path."""
    whole, bent = Canvas(40, 40, "braille"), Canvas(40, 40, "braille")
    whole.dashed(0, 0, 69, 0, 1)
    bent.polyline([(0, 0), (30, 0), (30, 39)], 1, dashed=True)
    assert whole.dots_of(1) == {(x, 0) for x in range(70) if x % 7 < 4}
    along = {x for x, y in bent.dots_of(1) if y == 0} | {30 + y for _, y in bent.dots_of(1) if y}
    assert along == {d for d in range(70) if d % 7 < 4}


def test_dashes_stay_put_when_their_start_is_cut_off() -> None:
    """A line that begins left of the canvas keeps the pattern it had there."""
    canvas = Canvas(20, 1, "braille")
    canvas.dashed(-73, 0, 39, 0, 1)
    drawn = {x for x, _ in canvas.dots_of(1)}
    assert drawn >= {x for x in range(40) if x % 7 in (5, 6)}
    assert not drawn & {x for x in range(40) if x % 7 == 2}


@given(FAR, FAR, FAR, FAR, st.sampled_from(MODES))
def test_a_line_from_anywhere_stays_on_the_canvas(
    x0: float, y0: float, x1: float, y1: float, mode: Mode
) -> None:
    """Any finite ends give rows of exactly the canvas's width and height."""
    canvas = Canvas(7, 3, mode)
    canvas.line(x0, y0, x1, y1, "a")
    canvas.dashed(x1, y0, x0, y1, "b")
    rows = canvas.rows()
    assert len(rows) == 3
    assert all(sum(len(text) for text, _ in row) == 7 for row in rows)
    assert all(0 <= x < 7 * DOTS[mode][0] and 0 <= y < 3 * DOTS[mode][1]
               for ink in "ab" for x, y in canvas.dots_of(ink))  # fmt: skip


@given(*[st.floats(-200, 200)] * 4)
def test_every_dot_of_a_line_lies_within_a_dot_of_it(
    x0: float, y0: float, x1: float, y1: float
) -> None:
    """No dot is further from the true line than one dot, and a line inside shows both its ends."""
    canvas = Canvas(30, 15, "braille")
    canvas.line(x0, y0, x1, y1, 1)
    dots = canvas.dots_of(1)
    assert all(_gap(p, (x0, y0), (x1, y1)) <= 1.0 for p in dots)
    for x, y in ((x0, y0), (x1, y1)):
        if 0 <= x <= 59 and 0 <= y <= 59:
            assert (math.floor(x + 0.5), math.floor(y + 0.5)) in dots


@given(*[st.floats(-200, 200)] * 4)
def test_the_cut_part_is_on_the_line_and_inside(x0: float, y0: float, x1: float, y1: float) -> None:
    """What is kept lies in the rectangle; what is refused has no point in it."""
    part = clipped((x0, y0), (x1, y1), 60, 40)
    samples = [(x0 + t * (x1 - x0) / 50, y0 + t * (y1 - y0) / 50) for t in range(51)]
    inside = [p for p in samples if 0 <= p[0] <= 59 and 0 <= p[1] <= 39]
    if part is None:
        assert not inside
        return
    for x, y in part[:2]:
        assert -0.5 - 1e-9 <= x <= 59.5 + 1e-9
        assert -0.5 - 1e-9 <= y <= 39.5 + 1e-9
        assert _gap((x, y), (x0, y0), (x1, y1)) <= 1e-9


def test_huge_coordinates_are_cheap() -> None:
    """A thousand lines across 1e300 dots take no time, for only what shows is walked."""
    canvas = Canvas(80, 24)
    began = time.perf_counter()
    for i in range(1000):
        canvas.dashed(-1e300, i, 1e300, 100.0 - i, 1)
    assert time.perf_counter() - began < 2.0
    assert canvas.dots_of(1)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_no_number_is_refused(bad: float) -> None:
    """Not-a-number and infinity raise an error that names the coordinate."""
    canvas = Canvas(3, 3)
    for draw in (
        lambda: canvas.line(0, bad, 1, 1, 1),
        lambda: canvas.dot(bad, 0, 1),
        lambda: canvas.polygon([(0, 0), (1, bad)], 1, dashed=True),
    ):
        with pytest.raises(InputError, match="canvas coordinate"):
            draw()


@pytest.mark.parametrize(("w", "h", "mode"), [(0, 1, "ascii"), (1, -1, "block"), (1, 1, "cga")])
def test_an_odd_canvas_is_refused(w: int, h: int, mode: Mode) -> None:
    """A size below one cell or an unknown mode is an input error."""
    with pytest.raises(InputError, match="canvas"):
        Canvas(w, h, mode)


@given(
    st.lists(st.tuples(st.integers(-4, 12), st.integers(-1, 2), st.text(max_size=6)), max_size=6),
    st.sampled_from(MODES),
)
def test_any_text_keeps_every_row_its_width(writes: list[tuple[int, int, str]], mode: Mode) -> None:
    """Wide, unprintable or overlapping letters never shift a row, and ASCII stays ASCII."""
    canvas = Canvas(10, 2, mode)
    for col, row, text in writes:
        canvas.text(col, row, text, "t")
    for row_ in canvas.rows():
        assert sum(cell_len(char) for text, _ in row_ for char in text) == 10
    assert mode != "ascii" or canvas.plain().isascii()
    assert "\x1b" not in canvas.plain()


@pytest.mark.parametrize(
    ("second", "col", "shown"), [("a", 0, "a  "), ("a", 1, " a "), ("板", 1, " 板")]
)
def test_half_a_wide_letter_goes_when_the_other_half_does(
    second: str, col: int, shown: str
) -> None:
    """Writing over one half of a letter two cells wide blanks its other half."""
    canvas = Canvas(3, 1, "block")
    canvas.text(0, 0, "滑", 1)
    canvas.text(col, 0, second, 2)
    assert "".join(text for text, _ in canvas.rows()[0]) == shown


def _gap(p: tuple[float, float], a: tuple[float, float], b: tuple[float, float]) -> float:
    ex, ey = b[0] - a[0], b[1] - a[1]
    square = ex * ex + ey * ey
    t = 0.0 if square == 0 else ((p[0] - a[0]) * ex + (p[1] - a[1]) * ey) / square
    t = min(1.0, max(0.0, t))
    return math.hypot(p[0] - a[0] - t * ex, p[1] - a[1] - t * ey)


@pytest.mark.parametrize("off", [-1e-12, 0.0, 1e-12])
def test_right_between_two_dots_the_last_digit_decides_nothing(off: float) -> None:
    """The same dots on any machine, whatever its sine's last digit; a line has no dot more."""
    canvas = Canvas(10, 4)
    canvas.dot(2.5 + off, 3.5 - off, "a")
    assert canvas.dots_of("a") == {(3, 4)}
    canvas.line(1.5 + off, 1.5, 6.5 - off, 1.5 + off, "b")
    assert canvas.dots_of("b") == {(x, 2) for x in range(2, 8)}
