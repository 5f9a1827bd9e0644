"""DEVELOPERS.md is true: every file that it names is there, and its map has every folder."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).parent.parent
TEXT = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
PACKAGE = ROOT / "workbench"

MOST_MODULES = 16


def test_every_file_named_is_there() -> None:
    """By its path from the root or the package; a bare name is that of one file or more."""
    known = {path.name for room in (PACKAGE, ROOT / "tests") for path in room.rglob("*.py")}
    named = set(re.findall(r"`([\w/]+\.py)`", TEXT))
    assert len(named) > 40
    for name in named:
        there = (ROOT / name).exists() or (PACKAGE / name).exists()
        assert there or ("/" not in name and name in known), name


def test_the_map_has_every_folder() -> None:
    """And no folder holds more modules than can be looked over."""
    mapped = {PACKAGE / name for name in re.findall(r"^\| `([\w/]+)/` \|", TEXT, re.MULTILINE)}
    holding: dict[Path, int] = {}
    for path in PACKAGE.rglob("*.py"):
        if path.name != "__init__.py":
            holding[path.parent] = holding.get(path.parent, 0) + 1
    assert max(holding.values()) <= MOST_MODULES
    rooms = {PACKAGE, *(PACKAGE / name for name in ("bench", "fin", "records"))}
    for folder in holding.keys() - rooms:
        assert {folder, folder.parent} & mapped, folder
    assert mapped <= {path.parent for path in PACKAGE.rglob("__init__.py")}
