"""The pages of --help, their examples, and the scripts by which a shell completes."""

from __future__ import annotations

import argparse
import shlex
import shutil
import subprocess
import sys
from collections.abc import Iterator
from importlib import import_module
from itertools import chain
from pathlib import Path

import pytest

from workbench.cli import (
    OWN_COMMANDS,
    build_parser,
    main,
)
from workbench.commands import FAMILIES
from workbench.commands.manual import STATUSES, WIDTH, Command, Parser


def commands_of(parser: argparse.ArgumentParser) -> Iterator[tuple[str, Parser]]:
    """Yield every command of the command line by name."""
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            yield from action.choices.items()


WHOLE = build_parser()
COMMANDS = dict(commands_of(WHOLE))
FAMILY_COUNT = sum(map(len, FAMILIES.values()))


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_a_whole_page(name: str) -> None:
    """Name, usage, description, examples, exit statuses and neighbours that are there."""
    parser = COMMANDS[name]
    page = parser.format_help()
    first, usage, *_ = page.split("\n\n")
    assert " ".join(first.split()) == f"quarterturn {name} - {parser.summary}"
    assert usage.startswith(f"usage: quarterturn {name} ")
    assert parser.summary
    assert parser.description
    assert parser.description in page
    headings = [line for line in page.splitlines() if line[:1].isalpha() and line.endswith(":")]
    assert headings[-3:] == ["examples:", "exit status:", "see also:"]
    for status, words in STATUSES:
        assert f"  {status}  {words}" in page
    assert set(parser.see) <= set(COMMANDS)
    assert name not in parser.see


@pytest.mark.parametrize("name", COMMANDS)
def test_every_example_is_a_line_of_its_command(name: str) -> None:
    """Each example parses, and is about the command whose page it stands on."""
    parser = COMMANDS[name]
    assert parser.examples
    for line, words in parser.examples:
        program, *given = shlex.split(line)
        assert program == "quarterturn"
        assert WHOLE.parse_args(given).command == name
        assert words[0].isupper()


@pytest.mark.parametrize("name", COMMANDS)
def test_every_argument_is_explained_within_the_width(name: str) -> None:
    """No option and no place without words; prose stays within the page."""
    parser = COMMANDS[name]
    for action in parser._actions:
        assert action.help or isinstance(action, argparse._SubParsersAction), action.dest
    prose = parser.format_help().split("examples:")[0].splitlines()
    assert max(map(len, prose)) <= WIDTH


def test_the_programs_own_page_lists_each_command_under_a_heading() -> None:
    """Every command stands on it, and the first of each group below its heading."""
    page = WHOLE.format_help()
    for name, parser in COMMANDS.items():
        assert f"\n    {name} " in page, name
        assert parser.summary
    for heading in ("a ski, step by step", "the day and its skis", "files", "the shop"):
        assert f"\n  {heading}:\n" in page
    assert "quarterturn COMMAND --help" in page


def test_help_of_a_command_is_printed_with_status_0(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main(["tick", "--help"])
    assert left.value.code == 0
    out = capsys.readouterr().out
    assert "quarterturn tick edges" in out
    assert "clamp bolts come last" in out


def test_the_parser_of_an_order_loads_nothing_heavy() -> None:
    """Without a family the parser loads neither screen nor store nor kernel nor completion."""
    code = (
        "import sys; from workbench.cli import build_parser; build_parser([]); "
        "heavy = {'textual', 'rich', 'sqlite_utils', 'sqlite3', 'pint', 'shtab', 'numpy', "
        "'workbench.work', 'workbench.records', 'workbench.fin', 'workbench.measure'}; "
        "print(*(heavy & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True
    )
    assert done.stdout.split() == []


def test_the_whole_parser_loads_no_screen() -> None:
    """The page of all commands loads their modules, yet neither screen nor number mill."""
    code = (
        "import sys; from workbench.cli import build_parser; build_parser(); "
        "heavy = {'textual', 'rich', 'pint', 'shtab', 'numpy', 'workbench.bench'}; "
        "print(*(heavy & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True
    )
    assert done.stdout.split() == []


@pytest.mark.parametrize(
    ("given", "loaded"),
    [
        ((), 0), (("--book", "tick"), 0), (("--who=KV",), 0), (("--version",), 0),
        (("turns", "x.toml"), 0), (("--book", "b.db", "demo"), 0),
        (("tick", "edges"), 1), (("--who", "KV", "next"), 1), (("--help",), FAMILY_COUNT),
        (("-h",), FAMILY_COUNT), (("nonsense",), FAMILY_COUNT),
    ],
)  # fmt: skip
def test_only_the_family_that_the_first_word_names_is_loaded(
    given: tuple[str, ...], loaded: int
) -> None:
    """The bench starts without any; help and a slip need them all."""
    from workbench.cli import _families_for

    assert len(_families_for(given)) == loaded


def test_negative_numbers_are_values_not_options() -> None:
    """A change with its sign, as a fraction or with a unit, needs no quoting."""
    for text in ("-.010", "-1/64", "-0.2mm", "-5"):
        assert WHOLE.parse_args(["aim", "depth", text]).value == text


# -- completion ------------------------------------------------------------------------------------


@pytest.mark.parametrize("shell", ["bash", "zsh", "tcsh"])
def test_a_shells_script_names_the_commands(shell: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["completion", shell]) == 0
    out = capsys.readouterr().out
    for name in ("next", "tick", "day-sheet", "turns"):
        assert name in out


@pytest.mark.skipif(shutil.which("bash") is None, reason="no bash here")
def test_bash_takes_the_script_and_completes_by_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The script is sound bash, and completes a command's first letters."""
    assert main(["completion", "bash"]) == 0
    script = tmp_path / "quarterturn.bash"
    script.write_text(capsys.readouterr().out, "utf-8")
    checked = subprocess.run(
        ["bash", "-n", str(script)], capture_output=True, timeout=60, check=False
    )
    assert checked.returncode == 0, checked.stderr
    ask = (
        f"source {shlex.quote(str(script))}; COMP_WORDS=(quarterturn day); COMP_CWORD=1; "
        '"$(complete -p quarterturn | sed "s/.*-F \\([^ ]*\\).*/\\1/")" quarterturn day; '
        'echo "${COMPREPLY[@]}"'
    )
    asked = subprocess.run(
        ["bash", "-c", ask], capture_output=True, text=True, timeout=60, check=False
    )
    assert asked.stdout.split() == ["day-sheet"], asked.stderr


def test_a_family_names_the_commands_that_it_adds() -> None:
    """The table by which one module is loaded names every command of it, once."""
    added: list[str] = []
    for family in FAMILIES.values():
        for module, names in family.items():
            values = vars(import_module(f"workbench.commands.{module}")).values()
            found = [value.name for value in values if isinstance(value, Command)]
            assert sorted(found) == sorted(names.split())
            added += found
    assert len(set(added)) == len(added)
    assert set(COMMANDS) == {*added, *chain(*OWN_COMMANDS.values())}


@pytest.mark.parametrize("name", COMMANDS)
def test_a_command_loaded_alone_has_the_same_page(name: str) -> None:
    """What the first word loads gives the page that the whole parser gives."""
    from workbench.cli import _families_for

    alone = dict(commands_of(build_parser(_families_for([name]))))
    assert len(alone) < len(COMMANDS)
    assert alone[name].format_help() == COMMANDS[name].format_help()


@pytest.mark.parametrize("shell", ["fish", "powershell"])
def test_our_own_scripts_offer_every_command_and_every_option(
    shell: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each with the words of its page, and the words that an option takes."""
    assert main(["completion", shell]) == 0
    out = capsys.readouterr().out
    for name, parser in COMMANDS.items():
        mark = f"__quarterturn_is {name}'" if shell == "fish" else f"'{name}' = @("
        lines = "\n".join(line for line in out.splitlines() if mark in line)
        for action in parser._actions:
            for flag in action.option_strings:
                written = f" -l {flag[2:]} " if flag.startswith("--") else f" -s {flag[1:]} "
                assert (written if shell == "fish" else f"@('{flag}', '") in lines, (name, flag)
    assert "tcsh" in out


@pytest.mark.skipif(shutil.which("fish") is None, reason="no fish here")
def test_fish_takes_the_script_and_completes_by_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["completion", "fish"]) == 0
    script = tmp_path / "quarterturn.fish"
    script.write_text(capsys.readouterr().out, "utf-8")
    fish = ["fish", "--no-config"]
    checked = subprocess.run([*fish, "-n", script], capture_output=True, timeout=60, check=False)
    assert (checked.returncode, checked.stderr) == (0, b"")
    for line, offered in (
        ("day-", {"day-sheet"}),
        ("--book day.db day-", {"day-sheet"}),
        ("completion po", {"powershell"}),
        ("export-csv --t", {"--to"}),
    ):
        ask = f"source {script}; complete -C 'quarterturn {line}'"
        asked = subprocess.run(
            [*fish, "-c", ask], capture_output=True, text=True, timeout=60, check=True
        )
        assert {row.split("\t")[0] for row in asked.stdout.splitlines()} == offered, line


@pytest.mark.skipif(shutil.which("groff") is None, reason="no groff here")
def test_the_manual_page_is_sound_and_says_what_help_says(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Every command with each of its options; roff has nothing to complain of."""
    assert main(["man"]) == 0
    roff = capsys.readouterr().out
    done = subprocess.run(
        ["groff", "-man", "-ww", "-Tutf8", "-P-cbou", "-rLL=200n"],
        input=roff, capture_output=True, text=True, timeout=60, check=True,
    )  # fmt: skip
    assert done.stderr == ""
    shown = " ".join(done.stdout.split())
    for name, parser in COMMANDS.items():
        assert f"quarterturn {name} " in shown
        for line, words in parser.examples:
            assert " ".join(line.split()) in shown, line
            assert " ".join(words.split()) in shown
    assert main(["man", "turns"]) == 0
    assert "QUARTERTURN\\-TURNS" in capsys.readouterr().out
    assert main(["man", "no-such"]) == 2
