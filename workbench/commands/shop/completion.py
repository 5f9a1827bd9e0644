"""``completion``: a script by which a shell completes commands and options."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from typing import Any

from workbench.commands.manual import page
from workbench.commands.output import say
from workbench.errors import BenchError

PATHS = ("FILE", "PATH", "FOLDER", "ORDER")
"""The word for a path in a command's usage: files are offered there."""

SHELLS = ("bash", "zsh", "tcsh")


def add(commands: Any) -> None:
    """Add the parser."""
    parser = commands.add_parser(
        "completion",
        help="print a script that lets a shell complete commands and options",
        description="Keep what it prints where your shell looks for completions, or read it in by "
        "the shell's start-up file.",
    )
    parser.add_argument("shell", choices=SHELLS, help="the shell")
    parser.set_defaults(run=_completion)
    page(
        parser,
        [
            ("completion bash", "For bash: source <(quarterturn completion bash)"),
            ("completion zsh", "For zsh: keep it as _quarterturn in a folder of $fpath."),
            ("completion tcsh", "For tcsh: keep it in a file and source that."),
        ],
        ("paths",),
    )


def _completion(args: argparse.Namespace) -> int:

    try:
        import shtab
    except ImportError:
        raise BenchError("completion needs shtab: pip install shtab") from None
    parser = args.whole()
    for action in _actions(parser):
        if action.metavar in PATHS:
            action.complete = shtab.FILE  # type: ignore[attr-defined]
    say([shtab.complete(parser, shell=args.shell)])
    return 0


def _actions(parser: argparse.ArgumentParser) -> Iterator[argparse.Action]:
    """Yield every option and argument of a parser and of the commands under it."""
    for action in parser._actions:
        yield action
        if isinstance(action, argparse._SubParsersAction):
            for command in action.choices.values():
                yield from _actions(command)
