"""``man``: the manual page, made of what ``--help`` says."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from typing import Any

from workbench import __version__
from workbench.commands.manual import STATUSES, Index, Parser, help_of
from workbench.commands.output import say
from workbench.errors import InputError

WORDS = "a bench partner for setting a slalom-ski fin"


def add(commands: Any) -> None:
    """Add the parser."""
    parser = commands.add_parser(
        "man",
        help="print the manual page, of all commands or of one",
        description="Printed as man(1) reads it, from the same source as --help. To read it: "
        "quarterturn man | man -l -",
        run=_man,
        see="completion",
        examples=[
            ("man", "The page of the program, with every command."),
            ("man turns", "One command's."),
        ],
    )
    parser.add_argument("of", metavar="COMMAND", nargs="?", help="one command; default: all")


def _man(args: argparse.Namespace) -> None:
    program = args.whole()
    commands = _commands_of(program)
    if args.of is None:
        say(program_page(program, commands))
    elif args.of in commands:
        say(command_page(commands[args.of]))
    else:
        raise InputError("COMMAND", args.of, f"one of {', '.join(commands)}")


def _commands_of(program: argparse.ArgumentParser) -> dict[str, Parser]:
    return {
        name: parser
        for action in program._actions
        if isinstance(action, argparse._SubParsersAction)
        for name, parser in action.choices.items()
    }


def program_page(program: argparse.ArgumentParser, commands: dict[str, Parser]) -> Iterator[str]:
    """Yield the lines of the program's page in roff, each command with all it takes."""
    yield from _head("QUARTERTURN", "quarterturn", WORDS)
    yield ".SH SYNOPSIS"
    yield from _as_it_stands(program.format_usage().removeprefix("usage: "))
    yield ".SH DESCRIPTION"
    yield from _prose(program.description or "")
    yield ".SH OPTIONS"
    yield from _options(program)
    for name, parser in commands.items():
        if name in Index.headings:
            yield f".SH {_text(Index.headings[name].upper())}"
        yield f".SS {_text(f'quarterturn {name}')}"
        yield from _prose(f"{parser.summary[:1].upper()}{parser.summary[1:]}.")
        yield from _body(parser)
    yield from _end()


def command_page(parser: Parser) -> Iterator[str]:
    """Yield the lines of one command's page in roff."""
    yield from _head(parser.prog.replace(" ", "-").upper(), parser.prog, parser.summary)
    yield ".SH DESCRIPTION"
    yield from _body(parser)
    yield from _end()


def _head(title: str, name: str, words: str) -> Iterator[str]:
    yield f'.TH {_text(title)} 1 "" "quarterturn {__version__}" "User Commands"'
    yield ".SH NAME"
    yield f"{_text(name)} \\- {_text(words)}"


def _body(parser: Parser) -> Iterator[str]:
    yield from _as_it_stands(parser.format_usage().removeprefix("usage: "))
    yield from _prose(parser.description or "")
    yield from _options(parser)
    for line, words in parser.examples:
        yield from (".TP", f".B {_text(line)}", _text(words))
    if parser.see:
        yield from _prose(f"See also: {', '.join(parser.see)}.")


def _end() -> Iterator[str]:
    yield ".SH EXIT STATUS"
    for status, words in STATUSES:
        yield from (".TP", f".B {status}", _text(words))
    yield ".SH SAFETY"
    yield from _prose(
        "A loose or sharp fin injures. The ski and block maker's instructions come first."
    )


def _options(parser: argparse.ArgumentParser) -> Iterator[str]:
    formatter = parser._get_formatter()
    for action in parser._actions:
        if not isinstance(action, argparse._SubParsersAction):
            named = formatter._format_action_invocation(action)
            yield from (".TP", f".B {_text(named)}", _text(help_of(parser, action)))


def _as_it_stands(text: str) -> Iterator[str]:
    yield from (".PP", ".nf")
    yield from map(_text, text.rstrip().splitlines())
    yield ".fi"


def _prose(text: str) -> Iterator[str]:
    for paragraph in text.split("\n\n"):
        yield from (".PP", _text(" ".join(paragraph.split())))


def _text(text: str) -> str:
    """Return text that roff takes for nothing but text."""
    kept = "".join(_SIGNS.get(c) or (c if c.isascii() else f"\\[u{ord(c):04X}]") for c in text)
    return f"\\&{kept}" if kept.startswith(".") else kept


_SIGNS = {
    "\\": "\\e", "-": "\\-", "'": "\\(aq", '"': "\\(dq", "`": "\\(ga", "^": "\\(ha", "~": "\\(ti",
}  # fmt: skip
"""What roff takes for a command, or draws as another sign than the one to be typed."""
