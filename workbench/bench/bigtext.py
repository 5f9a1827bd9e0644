"""Numbers large enough to be read at arm's length, from a 5 x 7 grid in half blocks or ASCII."""

from __future__ import annotations

from collections.abc import Mapping

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


def big(
    text: str,
    width: int,
    ascii_only: bool = False,
    more: Mapping[str, tuple[str, ...]] | None = None,
) -> list[str]:
    """Return the rows of ``text`` in large signs, or as it is where it would not fit.

    ``more`` holds further signs, each 7 rows of ``#`` and ``.``.
    """
    written = text.replace("\N{MINUS SIGN}", "-")
    grids = [_GRID.get(char) or (more or {}).get(char) for char in written]
    if not written or any(grid is None for grid in grids):
        return [text]
    rows = [" ".join(grid[i] for grid in grids if grid is not None) for i in range(7)]
    if len(rows[0]) > width:
        return [text]
    if ascii_only:
        return [row.replace(".", " ") for row in rows]
    rows.append("." * len(rows[0]))
    return [
        "".join(_HALVES[(a == "#", b == "#")] for a, b in zip(rows[i], rows[i + 1], strict=True))
        for i in range(0, 8, 2)
    ]
