"""Numbers large enough to be read at arm's length, from a 5 x 7 grid in half blocks or ASCII."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from workbench.bench.draw.big_letters import LETTERS, SIGNS, SMALL

_GRID: dict[str, tuple[str, ...]] = {
    "0": (".###.", "#...#", "#..##", "#.#.#", "##..#", "#...#", ".###."),
    "1": ("..#..", ".##..", "..#..", "..#..", "..#..", "..#..", ".###."),
    "2": (".###.", "#...#", "....#", "...#.", "..#..", ".#...", "#####"),
    "3": (".###.", "#...#", "....#", "..##.", "....#", "#...#", ".###."),
    "4": ("...#.", "..##.", ".#.#.", "#..#.", "#####", "...#.", "...#."),
    "5": ("#####", "#....", "####.", "....#", "....#", "#...#", ".###."),
    "6": ("..##.", ".#...", "#....", "####.", "#...#", "#...#", ".###."),
    "7": ("#####", "....#", "...#.", "..#..", "..#..", "..#..", "..#.."),
    "8": (".###.", "#...#", "#...#", ".###.", "#...#", "#...#", ".###."),
    "9": (".###.", "#...#", "#...#", ".####", "....#", "...#.", ".##.."),
    ".": ("..", "..", "..", "..", "..", "##", "##"),
    ",": ("..", "..", "..", "..", "##", ".#", "#."),
    "/": ("....#", "....#", "...#.", "..#..", ".#...", "#....", "#...."),
    "-": ("....", "....", "....", "####", "....", "....", "...."),
    "+": (".....", "..#..", "..#..", "#####", "..#..", "..#..", "....."),
    " ": ("..", "..", "..", "..", "..", "..", ".."),
    "_": ("....", "....", "....", "....", "....", "....", "####"),
    '"': ("#.#", "#.#", "...", "...", "...", "...", "..."),
}

_HALVES = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}


_SCALES = (8, 7, 6, 5, 4, 3, 2, 1)
"""How many times the large signs may be enlarged, largest first."""


def big(
    text: str,
    width: int,
    ascii_only: bool = False,
    more: Mapping[str, tuple[str, ...]] | None = None,
) -> list[str]:
    """Return the rows of ``text`` in large signs, or as it is where it would not fit.

    ``more`` holds further signs, each 7 rows of ``#`` and ``.``.
    """
    dots = _dots(text, {**_GRID, **(more or {})})
    if not dots or len(dots[0]) > width:
        return [text]
    return _cells(dots, ascii_only)


def largest(text: str, width: int, height: int, ascii_only: bool = False) -> list[str]:
    """Return the rows of ``text`` in the largest type that fits, or as it is where none does.

    Letters stand as capitals; the smallest type is three rows high (five in ASCII).
    """
    for scale in _SCALES:
        dots = _scaled(_dots(text.upper(), LARGE), scale)
        if _fits(dots, width, height, ascii_only):
            return _cells(dots, ascii_only)
    dots = _dots(text.upper(), SMALL)
    return _cells(dots, ascii_only) if _fits(dots, width, height, ascii_only) else [text]


def together(
    texts: Sequence[str], width: int, height: int, ascii_only: bool = False
) -> list[list[str]]:
    """Return each text's rows, all in one type: the largest in which they fit one below another."""
    fonts = [(LARGE, scale) for scale in _SCALES] + [(SMALL, 1)]
    for font, scale in fonts:
        drawn = [_scaled(_dots(text.upper(), font), scale) for text in texts]
        if not all(dots and len(dots[0]) <= width for dots in drawn):
            continue
        rows = [_cells(dots, ascii_only) for dots in drawn]
        if sum(map(len, rows)) <= height:
            return rows
    return [[text] for text in texts]


def _dots(text: str, font: Mapping[str, tuple[str, ...]]) -> list[str]:
    """Return the rows of ``#`` and ``.`` of a text; none where the font lacks one of its signs."""
    grids = [font.get(char) for char in text.replace("\N{MINUS SIGN}", "-")]
    if not grids or any(grid is None for grid in grids):
        return []
    known = [grid for grid in grids if grid is not None]
    return [".".join(grid[i] for grid in known) for i in range(len(known[0]))]


def _scaled(dots: list[str], scale: int) -> list[str]:
    return ["".join(dot * scale for dot in row) for row in dots for _ in range(scale)]


def _fits(dots: list[str], width: int, height: int, ascii_only: bool) -> bool:
    high = len(dots) if ascii_only else -(-len(dots) // 2)
    return bool(dots) and len(dots[0]) <= width and high <= height


def _cells(dots: list[str], ascii_only: bool) -> list[str]:
    """Return rows of dots as half blocks, two rows in one; in ASCII each is a row of its own."""
    if ascii_only:
        return [row.replace(".", " ") for row in dots]
    rows = [*dots, "." * len(dots[0])] if len(dots) % 2 else dots
    return [
        "".join(_HALVES[(a == "#", b == "#")] for a, b in zip(rows[i], rows[i + 1], strict=True))
        for i in range(0, len(rows), 2)
    ]


LARGE: Mapping[str, tuple[str, ...]] = {**LETTERS, **SIGNS, **_GRID}
