"""What README.md and DEVELOPERS.md say is so."""

from __future__ import annotations

import json
import re
import subprocess
import tomllib
from pathlib import Path

import pytest

from workbench.cli import main

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text("utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text("utf-8")


def test_the_work_order_shown_is_one(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The example runs through all three commands, and its turns are those of the shipped one."""
    (block,) = re.findall(r"```toml\n(.*?)```", README, re.DOTALL)
    order = tmp_path / "order.toml"
    order.write_text(block, "utf-8")
    for words in (
        ["turns", str(order)],
        ["predict", str(order), "--turn", "front=+1/4", "--turn", "tail=-0.1"],
        ["restate", str(order), "--by", "length, flat"],
    ):
        assert main([*words, "--json"]) == 0, capsys.readouterr().err
        assert json.loads(capsys.readouterr().out)["unit"] == "in"
    shipped = tomllib.loads((ROOT / "fixtures/orders/practice-plate.toml").read_text("utf-8"))
    shown = tomllib.loads(block)
    assert shown["readings"] == shipped["readings"]
    assert shown["blade"] == shipped["blade"]


def test_the_history_shown_is_one(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The example line goes with the example order, as another job's round and as its own."""
    (block,) = re.findall(r"```toml\n(.*?)```", README, re.DOTALL)
    (line,) = re.findall(r"```json\n(.*?)```", README, re.DOTALL)
    order, history = tmp_path / "order.toml", tmp_path / "rounds.jsonl"
    history.write_text(line, "utf-8")
    for own in ("", 'job = "J7"\nsettled = true\n'):
        order.write_text(own + block, "utf-8")
        assert main(["turns", str(order), "--history", str(history), "--json"]) == 0
        report = json.loads(capsys.readouterr().out)
        assert report["learned"]["rounds"] == 1
        assert {"do", "stud", "methods", "p_within", "p_within_after"} <= set(report["act"])


def test_there_is_one_test_command_and_ci_takes_it() -> None:
    """.ci/run finds the README's own line, as its pattern says, and is sound bash."""
    script = (ROOT / ".ci" / "run").read_text("utf-8")
    (pattern,) = re.findall(r"s/\^\\\((.*?)\\\)\$/\\1/p", script)
    found = [line for line in README.splitlines() if re.fullmatch(pattern, line)]
    assert len(found) == 1
    assert "-e '.[test]'" in found[0]
    subprocess.run(["bash", "-n", str(ROOT / ".ci" / "run")], check=True, timeout=30)


def test_the_job_comes_first_and_then_two_commands() -> None:
    """A paragraph, the demo's command, the tests' command, the picture, in this order."""
    parts = [
        README.index(p) for p in ("A slalom ski's fin", "quarterturn demo\n", "pytest\n", "![")
    ]
    assert parts == sorted(parts)


@pytest.mark.parametrize("text", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_no_path_of_one_machine(text: str) -> None:
    """Nothing points to where it was written."""
    assert not re.search(r"(?<![\w.])/(home|work|tmp|opt|root|Users)/", text)


def test_the_commands_named_exist(capsys: pytest.CaptureFixture[str]) -> None:
    """Every `quarterturn ...` command in the text is one of the program's."""
    with pytest.raises(SystemExit):
        main(["--help"])
    known = capsys.readouterr().out
    for name in set(re.findall(r"(?:^|`|bin/)quarterturn ([a-z]+)", README + DEVELOPERS, re.M)):
        assert re.search(rf"^\s+{name}\s", known, re.M), name
