"""The pages that --help prints: name, usage, description, options, examples, exit status, see also.

One parser for every command, so that all pages are built alike; a command gives its examples and
neighbours with its name.
"""

from __future__ import annotations

import argparse
import re
import sys
import textwrap
from collections.abc import Callable, Iterable, Mapping, Sequence
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any, ClassVar, NoReturn, TypeAlias

from workbench.commands.output import WRONG_INPUT, say
from workbench.errors import InputError
from workbench.errors import shown as quoted

if TYPE_CHECKING:
    from workbench.work.text.fields import Field

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

    def __init__(self, **more: Any) -> None:
        more.setdefault("formatter_class", Page)
        super().__init__(**more)
        self._negative_number_matcher = NEGATIVE
        self.summary = ""
        self.examples: tuple[tuple[str, str], ...] = ()
        self.see: tuple[str, ...] = ()

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


Run: TypeAlias = Callable[[argparse.Namespace], "int | None"]
"""What does a command; it returns the exit status, None for 0."""

Takes: TypeAlias = Callable[[argparse._ActionsContainer], object]
"""Something that a command takes: adds itself to the command's parser."""


def place(name: str, metavar: str, words: str, **how: Any) -> Takes:
    """Return an argument given by its place."""
    return lambda to: to.add_argument(name, metavar=metavar, help=words, **how)


def option(name: str, metavar: str | tuple[str, ...], words: str, **how: Any) -> Takes:
    """Return an option that takes a value; ``metavar`` is the word for it."""
    return lambda to: to.add_argument(name, metavar=metavar, help=words, **how)


def choice(name: str, choices: Iterable[str], words: str, **how: Any) -> Takes:
    """Return an option, or an argument given by its place, that is one of some words."""
    return lambda to: to.add_argument(name, choices=choices, help=words, **how)


def flag(name: str, words: str, **how: Any) -> Takes:
    """Return an option that takes no value."""
    how.setdefault("action", "store_true")
    return lambda to: to.add_argument(name, help=words, **how)


def unit_option(words: str, **how: Any) -> Takes:
    """Return the option of a unit of length."""
    return choice("--unit", ("in", "mm"), words, **how)


def place_of(field: Field, **how: Any) -> Takes:
    """Return a field of a form as an argument given by its place."""
    return place(field.key, field.typed, field.help, **how)


def options(fields: Iterable[Field], *, more: str = "", changes: bool = False, **how: Any) -> Takes:
    """Return an option for each field of a form; left out it is blank.

    ``more`` is said behind each's words; ``changes``: what is left out stays as it is.
    """
    asked = tuple(fields)
    how.setdefault("default", None if changes else "")

    def add(to: argparse._ActionsContainer) -> None:
        for each in asked:
            words = each.words if changes else each.help
            to.add_argument(typed(each.name), metavar=each.typed, help=words + more, **how)

    return add


def one_of(*takes: Takes) -> Takes:
    """Return options that exclude each other."""

    def add(to: argparse._ActionsContainer) -> None:
        group = to.add_mutually_exclusive_group()
        for each in takes:
            each(group)

    return add


JSON = flag("--json", "print JSON for machines")


NO_FACTS = frozenset(("card", "completion", "day-sheet", "demo", "export-csv", "man", "serve"))
"""Commands that print a page, a file or a script as it is, or open the bench."""


class Command:
    """A command: its name, its page, what it takes, and the function that does it.

    Each takes --json that has facts for machines.
    """

    def __init__(self, name: str, run: Run, page: Mapping[str, Any]) -> None:
        self.name, self.run, self._page = name, run, page

    def add(self, commands: Commands) -> None:
        """Add the command's parser."""
        page = self._page
        description = filled(page["description"])
        parser = commands.add_parser(self.name, help=page["words"], description=description)
        parser.summary = page["words"].rstrip(".")
        program, _, _ = parser.prog.partition(" ")
        parser.examples = tuple((f"{program} {line}", words) for line, words in page["examples"])
        parser.see = tuple(page["see"].split(", ")) if page["see"] else ()
        parser.epilog = "\n\n".join(_sections(parser))
        parser.set_defaults(run=self.run)
        for takes in page["takes"]:
            takes(parser)
        if self.name not in NO_FACTS and "--json" not in parser._option_string_actions:
            JSON(parser)


def command(
    name: str,
    words: str,
    description: str,
    *,
    see: str = "",
    examples: Sequence[tuple[str, str]],
    takes: Sequence[Takes] = (),
) -> Callable[[Run], Command]:
    """Return what makes a command of the function that does it.

    ``examples`` are (arguments behind the program's name, words), where the arguments may begin
    with an option of the program, such as ``--who KV sign-off``; ``see`` names neighbours.
    """  # fmt: skip
    page = {
        "words": words, "description": description, "see": see, "examples": examples,
        "takes": takes,
    }  # fmt: skip
    return lambda run: Command(name, run, page)


def add_family(
    commands: Commands, heading: str, names: Iterable[str], family: Iterable[object]
) -> None:
    """Add the commands of these names that are among the values of a module.

    ``heading``, where there is one, goes before the first.
    """
    by_name = {each.name: each for each in family if isinstance(each, Command)}
    for name in names:
        by_name[name].add(commands)
        if heading:
            Index.headings[name], heading = heading, ""


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
        accepted = f"one of {', '.join(map(typed, ways))} at a time"
        raise InputError(" ".join(map(typed, asked)), "together", accepted)
    name = asked[0] if asked else ""
    for other, of in belongs.items():
        if _is_given(args, other) and name not in of:
            value = getattr(args, other)
            given = value if isinstance(value, str) else "(given)"
            raise InputError(typed(other), given, f"{_listed(of)} with it")
    return name


def typed(name: str) -> str:
    """Return an option as it is typed."""
    return f"--{name.replace('_', '-')}"


def _is_given(args: argparse.Namespace, name: str) -> bool:
    return getattr(args, name) not in (None, False)


def _listed(names: tuple[str, ...]) -> str:
    return " or ".join(map(typed, names))
