"""The pages that --help prints: name, usage, description, options, examples, exit status, see also.

One parser for every command, so that all pages are built alike; a command gives its examples and
neighbours with its name.
"""

from __future__ import annotations

import argparse
import re
import sys
import textwrap
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from difflib import get_close_matches
from typing import Any, ClassVar, NoReturn, TypeAlias

from workbench.commands.output import WRONG_INPUT, say
from workbench.errors import InputError
from workbench.errors import shown as quoted

LONGEST_COMPLAINT = 1500

STATUSES = (
    (0, "done"),
    (1, "the bench or the book failed"),
    (2, "the input is wrong: one line says what, the value, and what is accepted"),
    (3, "the target is out of reach: which reading or stud, and its limit"),
)

WIDTH = 78
NEGATIVE = re.compile(r"-[\d.,]")
"""What looks like a number with a sign, such as -1/64 or -0.2mm: a value, never an option."""


Fields: TypeAlias = "tuple[tuple[str, str, str], ...]"
"""What a form asks at the bench, as options: (name, the word for its value, words)."""


class Page(argparse.RawDescriptionHelpFormatter):
    """A page of fixed width, its paragraphs already filled."""

    def __init__(self, prog: str) -> None:
        super().__init__(prog, max_help_position=26, width=WIDTH)


LONGEST_COMMAND = 16


class Index(Page):
    """The page of the program itself: its commands under headings.

    ``headings`` gives the heading that goes before a command, by the command's name.
    """

    headings: ClassVar[dict[str, str]] = {}

    def __init__(self, prog: str) -> None:
        super().__init__(prog)
        # argparse leaves the indent of commands out, so that the longest names would wrap.
        self._action_max_length = LONGEST_COMMAND + 4

    def _format_action(self, action: argparse.Action) -> str:
        text = super()._format_action(action)
        heading = "" if action.option_strings else self.headings.get(action.dest, "")
        return f"\n  {heading}:\n{text}" if heading else text


class Parser(argparse.ArgumentParser):
    """A parser whose help is a page and whose complaints are one line.

    ``summary`` says in a few words what the command does, ``examples`` are (command line, what it
    does), ``see`` the names of its neighbours.
    """

    def __init__(
        self,
        *,
        run: Callable[[argparse.Namespace], int | None] | None = None,
        examples: Sequence[tuple[str, str]] = (),
        see: str = "",
        **more: Any,
    ) -> None:
        """Make the parser of a command that ``run`` does.

        ``examples`` are (arguments behind the program's name, words), where the arguments may begin
        with an option of the program, such as ``--who KV sign-off``; ``see`` is as it is printed.
        """
        more.setdefault("formatter_class", Page)
        super().__init__(**more)
        self._negative_number_matcher = NEGATIVE
        self.summary = ""
        self.examples: tuple[tuple[str, str], ...] = ()
        self.see: tuple[str, ...] = ()
        if run is not None:
            self.set_defaults(run=run)
        if examples:
            program, _, _ = self.prog.partition(" ")
            self.examples = tuple((f"{program} {line}", words) for line, words in examples)
            self.see = tuple(see.split(", ")) if see else ()
            self.description = filled(self.description or "")
            self.epilog = "\n\n".join(_sections(self))

    def place(self, name: str, metavar: str, words: str, **how: Any) -> None:
        """Add an argument given by its place."""
        self.add_argument(name, metavar=metavar, help=words, **how)

    def option(self, name: str, metavar: str | tuple[str, ...], words: str, **how: Any) -> None:
        """Add an option that takes a value; ``metavar`` is the word for it."""
        self.add_argument(name, metavar=metavar, help=words, **how)

    def fields(self, fields: Fields) -> None:
        """Add an option for each field of a form; left out it is blank."""
        for name, metavar, words in fields:
            self.option(f"--{name}", metavar, words, default="")

    def unit(self, words: str, **how: Any) -> None:
        """Add the option of a unit of length."""
        self.add_argument("--unit", choices=("in", "mm"), help=words, **how)

    def flag(self, name: str, words: str) -> None:
        """Add an option that takes none."""
        self.add_argument(name, action="store_true", help=words)

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> tuple[Any, list[str]]:
        """Parse; what is left over is refused by the command it was given to, not the program."""
        found, rest = super().parse_known_args(args, namespace)
        if rest:
            self.error(f"unrecognized arguments: {' '.join(rest)}")
        return found, rest

    def _check_value(self, action: argparse.Action, value: Any) -> None:
        """Refuse a word that is no command, with those that look like it."""
        if isinstance(action, argparse._SubParsersAction) and value not in action.choices:
            near = get_close_matches(value, action.choices, n=3)
            meant = (
                f"did you mean {' or '.join(near)}?" if near else "a command of --help is needed"
            )
            raise argparse.ArgumentError(action, f"{quoted(value)} is no command; {meant}")
        super()._check_value(action, value)

    def error(self, message: str) -> NoReturn:
        """Print one line and leave with the status for wrong input."""
        said = quoted(message, LONGEST_COMPLAINT)[1:-1]  # what was given may hold anything
        self.exit(WRONG_INPUT, f"{self.prog}: {said}; see {self.prog} --help\n")

    def _print_message(self, message: str, file: Any = None) -> None:
        """Print a page or a complaint in the letters that the terminal has."""
        if message:
            say([message.removesuffix("\n")], file or sys.stderr)

    def format_help(self) -> str:
        """Return the whole page."""
        if not self.summary:
            return super().format_help()
        name = textwrap.fill(f"{self.prog} - {self.summary}", WIDTH, subsequent_indent="    ")
        return f"{name}\n\n{super().format_help()}"


def help_of(parser: argparse.ArgumentParser, action: argparse.Action) -> str:
    """Return what a page says of an option or a place, on one line."""
    return parser._get_formatter()._expand_help(action) if action.help else ""


Commands: TypeAlias = "argparse._SubParsersAction[Parser]"
"""What a family adds its commands to."""


@contextmanager
def headed(commands: Commands, heading: str) -> Iterator[None]:
    """Put a heading before the first command that is added within; none where it is blank."""
    known = set(commands.choices)
    yield
    first = next((name for name in commands.choices if name not in known), None)
    if heading and first is not None:
        Index.headings[first] = heading


NO_FACTS = frozenset(("card", "completion", "day-sheet", "demo", "export-csv", "man", "serve"))
"""Commands that print a page, a file or a script as it is, or open the bench."""


def summarise(commands: Commands) -> None:
    """Give each command the line it has in the list of all as the first of its page, and --json."""
    for shown in commands._get_subactions():
        parser = commands.choices[shown.dest]
        if isinstance(parser, Parser):
            parser.summary = str(shown.help or "").rstrip(".")
            if shown.dest not in NO_FACTS and "--json" not in parser._option_string_actions:
                parser.add_argument("--json", action="store_true", help="print JSON for machines")


def filled(text: str) -> str:
    """Return paragraphs, parted by blank lines, filled to the page's width."""
    parts = [" ".join(part.split()) for part in text.split("\n\n")]
    return "\n\n".join(textwrap.fill(part, WIDTH) for part in parts)


def _sections(parser: Parser) -> list[str]:
    out = ["examples:\n" + "\n".join(_example(*each) for each in parser.examples)]
    out.append("exit status:\n" + "\n".join(f"  {n}  {words}" for n, words in STATUSES))
    if parser.see:
        out.append("see also:\n  " + ", ".join(parser.see))
    return out


def _example(line: str, words: str) -> str:
    return f"  {line}\n{textwrap.indent(textwrap.fill(words, WIDTH - 6), ' ' * 6)}"


def act_asked(
    args: argparse.Namespace, acts: Iterable[str], belongs: Mapping[str, tuple[str, ...]]
) -> str:
    """Return the name of the act that is asked for among options that exclude each other, or blank.

    argparse's own groups would do, but they set their usage on one line however long.

    ``belongs`` gives for each other option the acts that it belongs to.

    Raises:
        InputError: two acts at once, or an option without its act.
    """

    ways = tuple(acts)
    asked = [name for name in ways if _is_given(args, name)]
    if len(asked) > 1:
        accepted = f"one of {', '.join(map(option, ways))} at a time"
        raise InputError(" ".join(map(option, asked)), "together", accepted)
    name = asked[0] if asked else ""
    for other, of in belongs.items():
        if _is_given(args, other) and name not in of:
            value = getattr(args, other)
            given = value if isinstance(value, str) else "(given)"
            raise InputError(option(other), given, f"{_listed(of)} with it")
    return name


def option(name: str) -> str:
    """Return an option as it is typed."""
    return f"--{name.replace('_', '-')}"


def _is_given(args: argparse.Namespace, name: str) -> bool:
    return getattr(args, name) not in (None, False)


def _listed(names: tuple[str, ...]) -> str:
    return " or ".join(map(option, names))
