"""The command line: exit statuses, one-line errors, hostile text, and what start-up loads."""

from __future__ import annotations

import copy
import json
import os
import subprocess
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from workbench import __version__
from workbench.cli import main
from workbench.places import shipped

ORDER = shipped("fixtures") / "orders" / "practice-plate.toml"
GOOD: dict[str, Any] = tomllib.loads(ORDER.read_text("utf-8"))

Edit = Callable[[dict[str, Any]], None]
Captured = pytest.CaptureFixture[str]


def complaint(capsys: Captured, *words: str, status: int = 2) -> str:
    """Run, expect this status, nothing on standard output and one line on standard error."""
    assert main(list(words)) == status
    out, err = capsys.readouterr()
    assert out == ""
    assert err.endswith("\n")
    assert err.count("\n") == 1
    assert "Traceback" not in err
    assert all(c.isprintable() for c in err[:-1])
    return err


def at(*keys: str | int, value: object) -> Edit:
    """Return an edit that sets the value at a path of keys."""

    def edit(order: dict[str, Any]) -> None:
        inner: Any = order
        for key in keys[:-1]:
            inner = inner[key]
        inner[keys[-1]] = value

    return edit


def without(*keys: str | int) -> Edit:
    """Return an edit that takes out what is at a path of keys."""

    def edit(order: dict[str, Any]) -> None:
        inner: Any = order
        for key in keys[:-1]:
            inner = inner[key]
        del inner[keys[-1]]

    return edit


def renamed(*keys: str | int, to: str) -> Edit:
    """Return an edit that misspells the key at the end of a path."""

    def edit(order: dict[str, Any]) -> None:
        inner: Any = order
        for key in keys[:-1]:
            inner = inner[key]
        inner[to] = inner.pop(keys[-1])

    return edit


BROKEN: list[tuple[str, Edit, tuple[str, ...]]] = [
    ("unit missing", without("unit"), ("unit", "(missing)", '"in" or "mm"')),
    ("unit unknown", at("unit", value="cm"), ("unit", "'cm'", '"in" or "mm"')),
    ("unit a number", at("unit", value=25.4), ("unit", "25.4", '"in" or "mm"')),
    ("unit misspelt", renamed("unit", to="units"), ("unit", '"in" or "mm"')),
    ("key unknown", at("blades", value=1), ("blades", "did you mean 'blade'")),
    ("job empty", at("job", value=" "), ("job", "not empty")),
    ("settled in words", at("settled", value="yes"), ("settled", "'yes'", "true or false")),
    ("finest text", at("finest_turn", value="an eighth"), ("finest_turn", "'an eighth'", "1/4")),
    ("finest over 1", at("finest_turn", value=2), ("finest_turn", "2", "0 (exact) to 1")),
    ("finest below 0", at("finest_turn", value=-0.25), ("finest_turn", "-0.25", "from 0")),
    ("finest true", at("finest_turn", value=True), ("finest_turn", "True", "part of a turn")),
    ("finest tiny", at("finest_turn", value=1e-9), ("finest_turn", "1e-09", "part of a turn")),
    ("title a list", at("title", value=["x"]), ("title", "['x']", "a text")),
    ("blade missing", without("blade"), ("blade", "(missing)", "table")),
    ("blade a text", at("blade", value="plate"), ("blade", "'plate'", "table")),
    ("outline missing", without("blade", "outline"), ("blade.outline", "(missing)", "points")),
    ("outline short", at("blade", "outline", value=[[0, 0], [7, 0]]), ("outline", "2 points")),
    (
        "outline crossing",
        at("blade", "outline", value=[[0, 0], [7, 3], [7, 0], [0, 3]]),
        ("blade", "outline", "simple outline"),
    ),
    ("outline text", at("blade", "outline", 0, value=["a", 0]), ("blade.outline[0][0]", "'a'")),
    (
        "outline three",
        at("blade", "outline", 0, value=[1, 2, 3]),
        ("blade.outline[0]", "[1, 2, 3]"),
    ),
    ("outline true", at("blade", "outline", 0, value=[True, 0]), ("blade.outline[0][0]", "True")),
    (
        "outline in mm",
        at("blade", "outline", value=[[0, 0], [185, 0], [0, 90]]),
        ("blade", "outline", "is the unit right?"),
    ),
    ("top edge away", at("blade", "top_edge", value=[[0, -1], [7, -1]]), ("top_edge", "outline")),
    ("top edge a point", at("blade", "top_edge", value=[[0, 0]]), ("blade.top_edge", "2 points")),
    ("back edge missing", without("blade", "back_edge"), ("blade.back_edge", "(missing)")),
    ("hole no size", without("blade", "holes", 0, "diameter"), ("blade.holes[0].diameter",)),
    (
        "hole negative",
        at("blade", "holes", 0, "diameter", value=-1),
        ("blade.holes[0]", "diameter"),
    ),
    ("hole no name", at("blade", "holes", 0, "name", value=" "), ("blade.holes[0].name", "empty")),
    ("hole number", at("blade", "holes", 0, "name", value=2), ("blade.holes[0].name", "a name")),
    ("base no apex", without("base", "apex"), ("base.apex", "(missing)", "a length")),
    ("base tight", at("base", "radius", value=3), ("base.radius: 3 ", "300 mm")),
    ("base infinite", at("base", "radius", value=float("inf")), ("base.radius", "inf", "finite")),
    ("base misspelt", renamed("base", "radius", to="raduis"), ("base.radius", "(missing)")),
    ("two studs", without("studs", 2), ("studs", "2 studs", "three")),
    ("studs a table", at("studs", value={}), ("studs", "{}", "a list of tables")),
    ("stud a number", at("studs", 0, value=7), ("studs[0]", "7", "table")),
    ("three on top", at("studs", 2, "touches", value="top"), ("studs", "two on 'top'")),
    ("same name", at("studs", 1, "name", value="front"), ("stud", "'front'", "used once")),
    ("touches side", at("studs", 0, "touches", value="side"), ("studs[0].touches", "'side'")),
    ("axis naught", at("studs", 0, "axis", value=[0, 0]), ("studs[0]", "axis", "toward the blade")),
    ("axis away", at("studs", 0, "axis", value=[0, -1]), ("front", "axis", "from outside")),
    ("axis a text", at("studs", 0, "axis", value="up"), ("studs[0].axis", "'up'", "direction")),
    ("no thread", without("studs", 0, "thread"), ("studs[0].thread", "(missing)", "lead")),
    (
        "two leads",
        at("studs", 0, "lead", value=0.03),
        ("studs[0].thread", "thread, lead", "one of"),
    ),
    ("thread odd", at("studs", 0, "thread", value="10-33 UNF"), ("studs[0].thread", "'10-33 UNF'")),
    (
        "thread words",
        at("studs", 0, "thread", value="fine"),
        ("studs[0].thread", "'fine'", "M5x0.8"),
    ),
    ("hand both", at("studs", 0, "hand", value="both"), ("studs[0].hand", "'both'", "'left'")),
    ("tip negative", at("studs", 0, "tip_radius", value=-0.1), ("studs[0]", "tip_radius")),
    ("place_u negative", at("studs", 0, "place_u", value=-0.1), ("studs[0]", "place_u")),
    ("lead_u a text", at("studs", 0, "lead_u", value="1 %"), ("studs[0].lead_u", "'1 %'", "share")),
    (
        "travel turned",
        at("studs", 0, "travel", value=[1, 0]),
        ("studs[0]", "travel", "least < most"),
    ),
    (
        "travel one",
        at("studs", 0, "travel", value=[1]),
        ("studs[0].travel", "[1]", "[least, most]"),
    ),
    ("method twice", at("methods", 1, "name", value="length, tips"), ("methods", "used once")),
    (
        "quantity odd",
        at("methods", 0, "quantity", value="width"),
        ("methods[0].quantity", "'width'"),
    ),
    ("no band", without("methods", 1, "band"), ("methods[1]", "band", "heights")),
    (
        "band turned",
        at("methods", 1, "band", value=[0.3, 0]),
        ("methods[1]", "band", "lo not above"),
    ),
    ("band on depth", at("methods", 0, "band", value=[0, 1]), ("methods[0]", "band", "station")),
    (
        "hole unknown",
        at("methods", 0, "station", "hole", value="9"),
        ("methods[0].station", "'9'", "one of this blade's holes: '2'"),
    ),
    (
        "edge side",
        at("methods", 0, "station", "edge", value="side"),
        ("methods[0].station", "'side'"),
    ),
    ("station text", at("methods", 0, "station", value="2"), ("methods[0].station", "'2'")),
    ("jaw on tail", at("methods", 1, "jaw_width", value=0.1), ("methods[1]", "jaw_width", "depth")),
    ("no readings", without("readings"), ("readings", "(missing)", "a list of tables")),
    ("method unknown", at("readings", 0, "method", value="dept"), ("readings[0].method", "'dept'")),
    (
        "values a number",
        at("readings", 0, "values", value=2.4),
        ("readings[0].values", "2.4", "list"),
    ),
    (
        "values none",
        at("readings", 0, "values", value=[]),
        ("readings[0].values", "[]", "one or more"),
    ),
    (
        "value not values",
        renamed("readings", 0, "values", to="value"),
        ("readings[0].value", "list"),
    ),
    (
        "value nan",
        at("readings", 0, "values", 0, value=float("nan")),
        ("values[0]", "nan", "finite"),
    ),
    (
        "value text",
        at("readings", 0, "values", 0, value="2.4 furlong"),
        ("readings[0].values[0]", "'2.4 furlong'", "2 7/16"),
    ),
    (
        "value null",
        at("readings", 0, "values", 0, value=None),
        ("readings[0].values[0]", "a length"),
    ),
    ("u naught", at("readings", 0, "u", value=0), ("readings[0].u", "more than 0")),
    ("u negative", at("readings", 0, "u", value=-1), ("readings[0].u", "-1", "more than 0")),
    (
        "read twice",
        at("readings", 1, "method", value="length, tips"),
        ("readings", "each method once"),
    ),
    ("two readings", without("readings", 1), ("2 readings", "three")),
    (
        "target unread",
        at("targets", 0, "method", value="length, flat"),
        ("targets[0].method", "'length, flat'", "has a reading"),
    ),
    ("value and change", at("targets", 0, "value", value=2.4), ("targets[0].value", "either")),
    ("neither", without("targets", 0, "change"), ("targets[0].value", "(missing)", "either")),
    ("tolerance naught", at("targets", 0, "tolerance", value=0), ("targets[0].tolerance", "more")),
    (
        "tolerance misspelt",
        renamed("targets", 0, "tolerance", to="tolerence"),
        ("targets[0].tolerence", "did you mean 'tolerance'"),
    ),
]


@pytest.mark.parametrize(("edit", "parts"), [b[1:] for b in BROKEN], ids=[b[0] for b in BROKEN])
def test_a_broken_order_is_named_by_file_key_and_value(
    edit: Edit, parts: tuple[str, ...], tmp_path: Path, capsys: Captured
) -> None:
    """Status 2 and one line: the file, the key, the value and what would do."""
    order = copy.deepcopy(GOOD)
    edit(order)
    path = tmp_path / "order.json"
    text = json.dumps(order).replace("NaN", "1e400").replace("Infinity", "1e400")
    path.write_text(text, "utf-8")
    err = complaint(capsys, "turns", str(path))
    assert "order.json" in err
    for part in parts:
        assert part.replace("nan", "inf") in err


RAW: list[tuple[str, str, bytes, str]] = [
    ("empty", "o.toml", b"", "unit"),
    ("foreign", "o.toml", b"Dear all, here are the minutes.\n", "TOML"),
    ("picture", "o.toml", b"\x89PNG\r\n\x1a\n\x00\x00", "UTF-8"),
    ("not utf-8", "o.toml", b'unit = "in" # \xff', "UTF-8"),
    ("cut off", "o.json", b'{"unit": "in", "blade": {', "line 1"),
    ("list", "o.json", b"[1, 2]", "a table of keys"),
    ("nan", "o.json", b'{"unit": "in", "finest_turn": NaN}', "finite"),
    ("nan in toml", "o.toml", b'unit = "in"\nfinest_turn = nan', "finest_turn: nan"),
    ("duplicate", "o.json", b'{"unit": "in", "unit": "mm"}', "each key once"),
    ("duplicate in toml", "o.toml", b'unit = "in"\nunit = "mm"\n', "line 2"),
    ("deep list", "o.json", b'{"unit":' + b"[" * 900 + b"]" * 900 + b"}", "nested too deeply"),
    ("deeper list", "o.json", b"[" * 100_000, "nested too deeply"),
    ("deep toml", "o.toml", b"unit = " + b"[" * 5000, "nested too deeply"),
    ("deep keys", "o.toml", b".".join([b"a"] * 900) + b" = 1\n", "at most 20 parts"),
    ("long number", "o.json", b'{"unit": ' + b"9" * 5000 + b"}", "sane size"),
    ("long hex", "o.toml", b"unit = 0x" + b"f" * 9000, "sane size"),
    ("huge", "o.toml", b"#" * 5_000_002, "5 MB"),
    ("zero bytes", "o.json", b"\x00" * 10, "JSON"),
]


@pytest.mark.parametrize(("name", "raw", "part"), [r[1:] for r in RAW], ids=[r[0] for r in RAW])
def test_a_file_that_is_no_order(
    name: str, raw: bytes, part: str, tmp_path: Path, capsys: Captured
) -> None:
    """Whatever the file holds, status 2 and one line that says what it should be."""
    (tmp_path / name).write_bytes(raw)
    err = complaint(capsys, "turns", str(tmp_path / name))
    assert name in err
    assert part in err


def test_a_missing_file_and_a_directory(tmp_path: Path, capsys: Captured) -> None:
    """Neither is an order; each says so."""
    assert "No such file" in complaint(capsys, "turns", str(tmp_path / "gone.toml"))
    assert "directory" in complaint(capsys, "restate", str(tmp_path))
    assert "control characters" in complaint(capsys, "predict", "a\0b")


@pytest.mark.parametrize(
    ("turn", "part"),
    [
        ("front", "STUD=TURNS"),
        ("=1", "STUD=TURNS"),
        ("front=", "turns such as 1/4"),
        ("front=nan", "turns such as 1/4"),
        ("front=1 mm", "without a unit"),
        ("front=1e3", "turns such as 1/4"),
        ("front=101", "at most 100"),
        ("side=1", "'front', 'rear', 'tail'"),
    ],
)
def test_turns_that_are_none(turn: str, part: str, capsys: Captured) -> None:
    """A turn that cannot be read is named with what would do."""
    err = complaint(capsys, "predict", str(ORDER), f"--turn={turn}")
    assert "--turn" in err
    assert part in err


def test_a_stud_given_twice_and_a_method_unknown(capsys: Captured) -> None:
    """Each stud once; a method must be one of the order's."""
    err = complaint(capsys, "predict", str(ORDER), "--turn=front=1", "--turn=front=2")
    assert "each stud once" in err
    assert "'length, flat'" in complaint(capsys, "restate", str(ORDER), "--by", "flat")


@pytest.mark.parametrize("words", [["turn", "x"], ["turns"], ["turns", "x", "--jsn"], ["--nope"]])
def test_a_slip_on_the_command_line(words: list[str], capsys: Captured) -> None:
    """argparse's own complaints are one line and status 2 too."""
    with pytest.raises(SystemExit) as left:
        main(words)
    out, err = capsys.readouterr()
    assert left.value.code == 2
    assert out == ""
    assert err.count("\n") == 1
    assert "--help" in err


def test_a_target_out_of_reach_is_status_3(tmp_path: Path, capsys: Captured) -> None:
    """Beyond the blade: which reading; beyond a stud: which one, and its limit."""
    order = copy.deepcopy(GOOD)
    order["targets"] = [{"method": "length, tips", "value": 9.0}]
    path = tmp_path / "order.json"
    path.write_text(json.dumps(order))
    err = complaint(capsys, "turns", str(path), status=3)
    assert "length, tips" in err
    assert "9.0000 in" in err
    order = copy.deepcopy(GOOD)
    order["targets"][0]["change"] = 0.1
    order["studs"][1]["limits"] = [0.4, 0.6]
    path.write_text(json.dumps(order))
    err = complaint(capsys, "turns", str(path), status=3)
    assert "top rear stud" in err
    assert "0.6000 in" in err


def test_readings_that_fix_no_pose_are_status_2(tmp_path: Path, capsys: Captured) -> None:
    """A reading beyond the blade is the input's fault, and is named."""
    order = copy.deepcopy(GOOD)
    order["readings"][2]["values"] = [8.5]
    path = tmp_path / "order.json"
    path.write_text(json.dumps(order))
    assert "length, tips" in complaint(capsys, "turns", str(path))


HOSTILE = [
    "[b]X[/b]", "a[/nope]b", "[Q1]", "\x1b[2J\x1b]0;owned\x07", "two\nlines\r", "\u202egnol",
    "\ud800", "tab\there", "%s{0}", "-" * 3000, "\x9b31m",
]  # fmt: skip


@pytest.mark.parametrize("name", HOSTILE, ids=[ascii(n)[:20] for n in HOSTILE])
@pytest.mark.parametrize("command", ["turns", "predict", "restate"])
def test_hostile_names_are_shown_as_text(
    command: str, name: str, tmp_path: Path, capsys: Captured
) -> None:
    """Names are data: control characters are written out, brackets stay, in tables and errors."""
    order = copy.deepcopy(GOOD)
    order["studs"][0]["name"] = order["blade"]["holes"][0]["name"] = name
    order["methods"][0]["station"]["hole"] = order["methods"][0]["name"] = name
    order["readings"][0]["method"] = order["targets"][0]["method"] = name
    path = tmp_path / "order.json"
    path.write_text(json.dumps(order))
    assert main([command, str(path)]) == 0
    out = capsys.readouterr().out
    written = "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in name)
    assert written in out
    assert all(c.isprintable() or c == "\n" for c in out)
    assert main([command, str(path), "--json"]) == 0
    text = capsys.readouterr().out
    assert text.isascii()
    assert text.count("\n") == 1
    assert name in json.dumps(json.loads(text), ensure_ascii=False) or not name.isprintable()
    order["targets"][0]["method"] = "other"
    path.write_text(json.dumps(order))
    complaint(capsys, command, str(path))


def test_keys_of_a_file_are_text_too(tmp_path: Path, capsys: Captured) -> None:
    """An unknown key with an escape sequence reaches the terminal written out."""
    path = tmp_path / "order.json"
    path.write_text(json.dumps({**GOOD, "\x1b[31mred": 1}))
    assert "\\x1b[31mred" in complaint(capsys, "turns", str(path))


def python(*words: str, env: dict[str, str] | None = None, **more: Any) -> Any:
    return subprocess.run(
        [sys.executable, *words],
        capture_output=True,
        timeout=60,
        env={**os.environ, **(env or {})},
        check=False,
        **more,
    )


@pytest.mark.parametrize("command", ["turns", "predict", "restate"])
def test_start_up_loads_nothing_heavy(command: str) -> None:
    """The three commands run without the screen, the store, the unit registry or numpy."""
    code = (
        "import sys; from workbench.cli import main; "
        f"status = main([{command!r}, {str(ORDER)!r}]); "
        "heavy = {'textual', 'rich', 'sqlite_utils', 'sqlite3', 'pint', 'numpy', 'scipy'}; "
        "sys.exit(status or ', '.join(heavy & set(sys.modules)) or 0)"
    )
    done = python("-c", code)
    assert done.returncode == 0, done.stderr.decode()


def test_an_order_on_standard_input() -> None:
    """A single dash reads the order from standard input, TOML or JSON."""
    for raw in (ORDER.read_bytes(), json.dumps(GOOD).encode()):
        done = python("-m", "workbench", "turns", "-", "--json", input=raw)
        assert done.returncode == 0, done.stderr
        assert json.loads(done.stdout)["studs"][0]["turns"] == -0.375


def test_an_ascii_terminal_gets_ascii_signs() -> None:
    """A stream without the minus sign gets a hyphen instead of a traceback."""
    done = python("-m", "workbench", "turns", str(ORDER), env={"PYTHONIOENCODING": "ascii"})
    assert done.returncode == 0
    assert done.stderr == b""
    assert b"-0.354 +/-0.0" in done.stdout


def test_a_reader_that_goes_away_is_no_fault() -> None:
    """A closed pipe ends the run in peace."""
    read, write = os.pipe()
    os.close(read)
    try:
        done = subprocess.run(
            [sys.executable, "-m", "workbench", "turns", str(ORDER)],
            stdout=write, stderr=subprocess.PIPE, timeout=60, check=False,
        )  # fmt: skip
    finally:
        os.close(write)
    assert done.returncode == 0
    assert done.stderr == b""


def test_version_and_paths(
    capsys: Captured, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """The version is the package's; the book's place follows the variable and the option."""
    with pytest.raises(SystemExit) as left:
        main(["--version"])
    assert left.value.code == 0
    assert capsys.readouterr().out == f"quarterturn {__version__}\n"
    monkeypatch.setenv("QUARTERTURN_BOOK", str(tmp_path / "mine.db"))
    assert main(["paths"]) == 0
    assert f"book: {tmp_path / 'mine.db'}" in capsys.readouterr().out
    assert main(["--book", "other.db", "paths"]) == 0
    assert "other.db" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("typed", "meant"),
    [("quue", "did you mean queue"), ("sing-off", "did you mean sign-off?"), ("zzzz", "needed")],
)
def test_a_mistyped_command_is_told_what_looks_like_it(
    typed: str, meant: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as left:
        main([typed])
    assert left.value.code == 2
    said = capsys.readouterr().err
    assert f"'{typed}' is no command; " in said
    assert meant in said
    assert len(said.splitlines()) == 1
