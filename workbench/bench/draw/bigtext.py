"""Numbers large enough to be read at arm's length, from a 5 x 7 grid in half blocks or ASCII."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeAlias

Font: TypeAlias = dict[str, tuple[str, ...]]
"""Signs in rows of ``#`` and ``.``: 7 rows, 5 in the small one."""


def _font(signs: str, picture: str) -> Font:
    """Return the signs that stand beside each other in a picture, a blank between two."""
    return dict(
        zip(signs, zip(*map(str.split, picture.split("\n")[1:-1]), strict=True), strict=True)
    )


_GRID: Font = _font(
    '0123456789.,/-+ _"',
    """
.###. ..#.. .###. .###. ...#. ##### ..##. ##### .###. .###. .. .. ....# .... ..... .. .... #.#
#...# .##.. #...# #...# ..##. #.... .#... ....# #...# #...# .. .. ....# .... ..#.. .. .... #.#
#..## ..#.. ....# ....# .#.#. ####. #.... ...#. #...# #...# .. .. ...#. .... ..#.. .. .... ...
#.#.# ..#.. ...#. ..##. #..#. ....# ####. ..#.. .###. .#### .. .. ..#.. #### ##### .. .... ...
##..# ..#.. ..#.. ....# ##### ....# #...# ..#.. #...# ....# .. ## .#... .... ..#.. .. .... ...
#...# ..#.. .#... #...# ...#. #...# #...# ..#.. #...# ...#. ## .# #.... .... ..#.. .. .... ...
.###. .###. ##### .###. ...#. .###. .###. ..#.. .###. .##.. ## #. #.... .... ..... .. #### ...
""",
)
"""Digits and the signs of numbers."""

LETTERS: Font = _font(
    "ABCDEFGHIJKLMNOP",
    """
.###. ####. .###. ####. ##### ##### .###. #...# ### ....# #...# #.... #...# #...# .###. ####.
#...# #...# #...# #...# #.... #.... #...# #...# .#. ....# #..#. #.... ##.## ##..# #...# #...#
#...# #...# #.... #...# #.... #.... #.... #...# .#. ....# #.#.. #.... #.#.# ##..# #...# #...#
##### ####. #.... #...# ####. ####. #.### ##### .#. ....# ##... #.... #.#.# #.#.# #...# ####.
#...# #...# #.... #...# #.... #.... #...# #...# .#. ....# #.#.. #.... #...# #..## #...# #....
#...# #...# #...# #...# #.... #.... #...# #...# .#. #...# #..#. #.... #...# #..## #...# #....
#...# ####. .###. ####. ##### #.... .###. #...# ### .###. #...# ##### #...# #...# .###. #....
""",
) | _font(
    "QRSTUVWXYZ",
    """
.###. ####. .#### ##### #...# #...# #...# #...# #...# #####
#...# #...# #.... ..#.. #...# #...# #...# #...# #...# ....#
#...# #...# #.... ..#.. #...# #...# #...# .#.#. .#.#. ...#.
#...# ####. .###. ..#.. #...# #...# #.#.# ..#.. ..#.. ..#..
#.#.# #.#.. ....# ..#.. #...# #...# #.#.# .#.#. ..#.. .#...
#..#. #..#. ....# ..#.. #...# .#.#. ##.## #...# ..#.. #....
.##.# #...# ####. ..#.. .###. ..#.. #...# #...# ..#.. #####
""",
)
"""Capital letters."""

_SIGNS: Font = _font(
    "°±?↻↺",
    """
.##. ..#.. .###. ..###.# #.###..
#..# ..#.. #...# .#...## ##...#.
#..# ##### ....# #...### ###...#
.##. ..#.. ..##. #...... ......#
.... ..#.. ..#.. #.....# #.....#
.... ..... ..... .#...#. .#...#.
.... ##### ..#.. ..###.. ..###..
""",
)
"""The degree, plus or minus, a question, and the two ways to turn."""

_LARGE: Font = {**LETTERS, **_SIGNS, **_GRID}

_SMALL: Font = (
    _font(
        "0123456789ABCDEFGHIJKLM",
        """
### .#. ### ### #.# ### ### ### ### ### .#. ##. .## ##. ### ### .## #.# # ..# #.# #.. #...#
#.# ##. ..# ..# #.# #.. #.. ..# #.# #.# #.# #.# #.. #.# #.. #.. #.. #.# # ..# #.# #.. ##.##
#.# .#. ### .## ### ### ### ..# ### ### ### ##. #.. #.# ##. ##. #.# ### # ..# ##. #.. #.#.#
#.# .#. #.. ..# ..# ..# #.# .#. #.# ..# #.# #.# #.. #.# #.. #.. #.# #.# # #.# #.# #.. #...#
### ### ### ### ..# ### ### .#. ### ### #.# ##. .## ##. ### #.. .## #.# # .#. #.# ### #...#
""",
    )
    | _font(
        "NOPQRSTUVWXYZ.,/-+_ °↻↺",
        """
#..# .#. ##. .##. ##. .## ### #.# #.# #...# #.# #.# ### . .. ..# ... ... ... . ## .##.# #.##.
##.# #.# #.# #..# #.# #.. .#. #.# #.# #...# #.# #.# ..# . .. ..# ... .#. ... . ## #..## ##..#
#.## #.# ##. #..# ##. .#. .#. #.# #.# #.#.# .#. .#. .#. . .. .#. ### ### ... . .. #.### ###.#
#..# #.# #.. #.#. #.# ..# .#. #.# #.# ##.## #.# .#. #.. . .# #.. ... .#. ... . .. #.... ....#
#..# .#. #.. .#.# #.# ##. .#. ### .#. #...# #.# .#. ### # #. #.. ... ... ### . .. .###. .###.
""",
    )
    | _font(
        '"±?',
        """
#.# .#. ##.
#.# ### ..#
... .#. .#.
... ... ...
... ### .#.
""",
    )
)
"""Digits, letters and signs three cells wide, so that a stud's name fits a narrow panel."""

_HALVES = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}

_SCALES = (8, 7, 6, 5, 4, 3, 2, 1)
"""How many times the large signs may be enlarged, largest first."""


def big(text: str, width: int, ascii_only: bool = False, more: Font | None = None) -> list[str]:
    """Return the rows of ``text`` in large signs, or as it is where it would not fit.

    ``more`` holds further signs, each 7 rows of ``#`` and ``.``.
    """
    dots = _dots(text, {**_GRID, **(more or {})})
    if not dots or len(dots[0]) > width:
        return [text]
    return _cells(dots, ascii_only)


def together(
    texts: Sequence[str], width: int, height: int, ascii_only: bool = False
) -> list[list[str]]:
    """Return each text's rows, all in one type: the largest in which they fit one below another."""
    fonts = [(_LARGE, scale) for scale in _SCALES] + [(_SMALL, 1)]
    for font, scale in fonts:
        drawn = [_scaled(_dots(text.upper(), font), scale) for text in texts]
        if not all(dots and len(dots[0]) <= width for dots in drawn):
            continue
        rows = [_cells(dots, ascii_only) for dots in drawn]
        if sum(map(len, rows)) <= height:
            return rows
    return [[text] for text in texts]


def _dots(text: str, font: Font) -> list[str]:
    """Return the rows of ``#`` and ``.`` of a text; none where the font lacks one of its signs."""
    grids = [font.get(char) for char in text.replace("\N{MINUS SIGN}", "-")]
    if not grids or any(grid is None for grid in grids):
        return []
    known = [grid for grid in grids if grid is not None]
    return [".".join(grid[i] for grid in known) for i in range(len(known[0]))]


def _scaled(dots: list[str], scale: int) -> list[str]:
    return ["".join(dot * scale for dot in row) for row in dots for _ in range(scale)]


def _cells(dots: list[str], ascii_only: bool) -> list[str]:
    """Return rows of dots as half blocks, two rows in one; in ASCII each is a row of its own."""
    if ascii_only:
        return [row.replace(".", " ") for row in dots]
    rows = [*dots, "." * len(dots[0])] if len(dots) % 2 else dots
    return [
        "".join(_HALVES[(a == "#", b == "#")] for a, b in zip(rows[i], rows[i + 1], strict=True))
        for i in range(0, len(rows), 2)
    ]
