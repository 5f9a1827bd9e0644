"""Files from people: what would keep a command for minutes is told at once."""

from __future__ import annotations

import contextlib
import json
import time
import tomllib
import tracemalloc
from collections.abc import Callable
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from workbench.cli import main
from workbench.errors import InputError
from workbench.places import shipped
from workbench.work.files import table_files
from workbench.work.files.table_files import (
    MOST_PARTS,
    check_key_parts,
    parse_table,
    read_table_file,
)
from workbench.work.order.order_file import order_from
from workbench.work.roster.parts_typed import open_parts, studs_in

ORDERS = sorted((shipped("fixtures") / "orders").iterdir())
LONG = ".".join("a" * 21)
SOON_S = 1.0


@pytest.mark.parametrize(
    "text",
    [
        f"{LONG} = 1", f"[{LONG}]", f"[[{LONG}]]", f"x = {{ {LONG} = 1 }}", "a . " * 20 + "a = 1",
        f"x = 1\n\n{LONG} = 1", ".".join(['"a.b"'] * 21) + " = 1", ".".join(["''"] * 21) + "=1",
        f"# it's\n{LONG} = 1", f'x = """a""""\n{LONG} = 1', f"x = '''a'''''\n{LONG} = 1",
        f'x = "\\""\n{LONG} = 1', f'x = """\\""""\n{LONG} = 1', f"x = 'a\\'\n{LONG} = 1",
        ".".join("a" * 40_000) + " = 1",
    ],
)  # fmt: skip
def test_a_key_of_very_many_parts_is_refused_at_once(text: str) -> None:
    """Wherever a key can stand, and whatever texts and comments come before it."""
    began = time.process_time()
    with pytest.raises(InputError, match=r"^file, line \d: .*at most 20 parts"):
        parse_table(text, "toml")
    assert time.process_time() - began < SOON_S


@pytest.mark.parametrize(
    "text",
    [
        ".".join("a" * 19) + " = 1", f'x = "{LONG}"', f"x = '{LONG}'", f'x = """\n{LONG} = 1\n"""',
        f"x = '''\n{LONG} = 1\n'''", f"# {LONG} = 1\nx = 1", f"x = [{'1.5, ' * 40}]",
        f"x = [{'[0.5, 1.5], ' * 40}]", f'"{LONG}" = 1', f'x = "it\'s {LONG}"',
        f'x = "a" # "{LONG}', f'x = """a\\""" {LONG} """', "x = 2031-05-06T07:08:09.123456",
        f'x = """"{LONG}"""""',
    ],
)  # fmt: skip
def test_an_ordinary_file_is_read_as_before(text: str) -> None:
    """Dots in numbers, texts, times and comments are no parts of a key."""
    assert parse_table(text, "toml") == tomllib.loads(text)


PIECES = (
    'p = """', '"""\n', '"""', "q = '''", "'''\n", "'''", 'r = "', '"\n', '"', "s = '", "'\n", "'",
    "# ", "\\", "\n", " ", f"{LONG} = 1\n", f"{LONG} = 1\n", f"[{LONG}]\n", "t = [1.5, ", "]\n",
)  # fmt: skip


@given(st.lists(st.sampled_from(PIECES), min_size=2, max_size=8).map("".join))
@settings(max_examples=600)
@example(f'p = """a"""""\n{LONG} = 1\n')
@example(f'p = """\n{LONG} = 1\n"""\n')
def test_only_keys_are_counted_in_whatever_toml_there_is(text: str) -> None:
    """A text that can be read is refused if, and only if, one of its keys is that long."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return
    if _deepest(data) > MOST_PARTS:
        with pytest.raises(InputError):
            check_key_parts(text)
    else:
        check_key_parts(text)


def _deepest(data: object) -> int:
    """Tables one in the other; a key with dots makes as many as it has parts."""
    return 1 + max(map(_deepest, data.values()), default=0) if isinstance(data, dict) else 0


@pytest.mark.parametrize("path", ORDERS, ids=lambda p: p.name)
def test_every_order_of_ours_passes(path: Path) -> None:
    """Though the lines of an outline are full of dots."""
    check_key_parts(path.read_text(encoding="utf-8"))


def test_a_hostile_text_is_looked_through_in_a_moment() -> None:
    """Texts without an end, quotes and escapes by the hundred thousand."""
    dots = "." * 30 + "\n"
    for piece in ('"""\\', "'''", '"\\"', "\\", '""', "a.", "a. ", "[", '"""a', " ", "#"):
        text = dots + piece * 300_000
        began = time.process_time()
        with contextlib.suppress(InputError):
            check_key_parts(text)
        assert time.process_time() - began < 2 * SOON_S, piece


# -- too many of a thing ---------------------------------------------------------------------------


def _times(key: str, count: int) -> Callable[[dict[str, Any]], None]:
    def change(order: dict[str, Any]) -> None:
        first = order[key][0]
        order[key] = [first | {"name": f"{n}"} if "name" in first else first for n in range(count)]

    return change


def _holes(count: int) -> Callable[[dict[str, Any]], None]:
    def change(order: dict[str, Any]) -> None:
        hole = {"name": "x", "at": [1.6, 3.0], "diameter": 0.3}
        order["blade"]["holes"] = [hole | {"name": f"{n}"} for n in range(count)]

    return change


MANY: dict[str, tuple[Callable[[dict[str, Any]], None], str]] = {
    "readings": (_times("readings", 3000), r"readings: '3000 tables' — at most 50"),
    "methods": (_times("methods", 3000), r"methods: '3000 tables' — at most 50"),
    "studs": (_times("studs", 3000), r"studs: '3000 tables' — at most 50"),
    "targets": (_times("targets", 51), r"targets: '51 tables' — at most 50"),
    "holes": (_holes(20_000), r"blade\.holes: '20000 tables' — at most 200"),
}


@pytest.mark.parametrize("case", MANY)
def test_an_order_of_very_many_is_refused_at_once(case: str) -> None:
    """The key, how many there are, and how many there may be."""
    order = deepcopy(read_table_file(ORDERS[0]))
    change, words = MANY[case]
    change(order)
    began = time.process_time()
    with pytest.raises(InputError, match=words):
        order_from(order)
    assert time.process_time() - began < SOON_S


def test_json_and_files_of_parts_alike(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The command line says it in one line; a file that a block is added from is held to it too."""
    order = deepcopy(read_table_file(ORDERS[0]))
    _times("readings", 51)(order)
    path = tmp_path / "order.json"
    path.write_text(json.dumps(order))
    assert main(["turns", str(path)]) == 2
    assert "readings: '51 tables' — at most 50" in capsys.readouterr().err
    _times("studs", 51)(order)
    path.write_text(json.dumps(order))
    with pytest.raises(InputError, match="studs: '51 tables'"):
        studs_in(open_parts(str(path)))


@pytest.mark.parametrize("piece", ["{},", "[],", "0,", '"",'])
def test_what_would_take_far_more_room_than_its_text_is_refused_before_it_is_read(
    piece: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Endless empty tables took forty times their size to be refused."""
    monkeypatch.setattr(table_files, "MOST_TABLES", 20_000)
    monkeypatch.setattr(table_files, "MOST_VALUES", 100_000)
    text = '{"rows": {"marks": [' + piece * 500_000
    tracemalloc.start()
    try:
        with pytest.raises(InputError, match="nothing but brackets and commas"):
            table_files.parse_table(text, "json")
        assert tracemalloc.get_traced_memory()[1] < 100_000
    finally:
        tracemalloc.stop()


def test_a_text_of_any_signs_is_read_whatever_they_are() -> None:
    """A note of brackets is data."""
    text = json.dumps({"note": "[{,}]" * 100_000})
    assert table_files.parse_table(text, "json") == json.loads(text)
