"""``completion`` and ``man``: scripts for shells and the manual page, made of what --help says."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from workbench import __version__
from workbench.commands.manual import STATUSES, Index, Parser, choice, command, help_of, place
from workbench.commands.output import say
from workbench.errors import BenchError, InputError

PATHS = ("FILE", "PATH", "FOLDER", "ORDER")
"""The word for a path in a command's usage: files are offered there."""

OURS = ("fish", "powershell")
SHELLS = ("bash", "zsh", "tcsh", *OURS)
"""The first three are written by shtab."""


@command(
    "completion",
    "print a script that lets a shell complete commands and options",
    "Keep what it prints where your shell looks for completions, or read it in by the shell's "
    "start-up file.",
    see="man, paths",
    examples=[
        ("completion bash", "For bash: source <(quarterturn completion bash)"),
        ("completion zsh", "For zsh: keep it as _quarterturn in a folder of $fpath."),
        ("completion tcsh", "For tcsh: keep it in a file and source that."),
        ("completion fish", "For fish: keep it as ~/.config/fish/completions/quarterturn.fish"),
        (
            "completion powershell",
            "For PowerShell: keep it in a file and name that in $PROFILE behind a dot.",
        ),
    ],
    takes=[choice("shell", SHELLS, "the shell")],
)
def _completion(args: argparse.Namespace) -> None:
    parser = args.whole()
    ours: dict[str, Callable[[_Command, list[_Command]], Iterator[str]]] = {
        "fish": _fish,
        "powershell": _powershell,
    }
    if args.shell in ours:
        commands = [_command(name, each) for name, each in _commands_of(parser).items()]
        say(ours[args.shell](_command("", parser), commands))
        return
    try:
        import shtab
    except ImportError:
        raise BenchError("completion needs shtab: pip install shtab") from None
    for each in (parser, *_commands_of(parser).values()):
        for action in each._actions:
            if action.metavar in PATHS:
                action.complete = shtab.FILE
    say([shtab.complete(parser, shell=args.shell)])


@dataclass(frozen=True, slots=True)
class _Option:
    """An option or a place of a command: ``flags`` are empty for a place."""

    flags: tuple[str, ...]
    words: str
    choices: tuple[str, ...]
    wants_value: bool
    is_path: bool


@dataclass(frozen=True, slots=True)
class _Command:
    """A command with its options, and the words that it takes without one."""

    name: str
    words: str
    options: tuple[_Option, ...]

    @property
    def words_taken(self) -> tuple[str, ...]:
        """The words that may stand in one of its places."""
        return tuple(word for place in self.options if not place.flags for word in place.choices)

    @property
    def takes_paths(self) -> bool:
        """Whether a file may stand in one of its places."""
        return any(place.is_path for place in self.options if not place.flags)


def _command(name: str, parser: Parser) -> _Command:
    options = (
        _Option(
            tuple(action.option_strings),
            help_of(parser, action),
            tuple(map(str, action.choices or ())),
            bool(action.option_strings) and action.nargs != 0,
            action.metavar in PATHS,
        )
        for action in parser._actions
        if not isinstance(action, argparse._SubParsersAction)
    )
    return _Command(name, parser.summary, tuple(options))


# -- fish ------------------------------------------------------------------------------------------

_FISH = """\
function __quarterturn_command --description 'Print the command that the line names'
    set -l given (commandline -opc)
    set -e given[1]
    while set -q given[1]
        switch $given[1]
            case {wants_value}
                set -e given[1]
            case '-*'
            case '*'
                echo $given[1]
                return 0
        end
        set -e given[1]
    end
    return 1
end

function __quarterturn_is --description 'Whether the line names this command'
    set -l found (__quarterturn_command)
    and test "$found" = $argv[1]
end

complete -c quarterturn -f"""


def _fish(program: _Command, commands: list[_Command]) -> Iterator[str]:
    takers = [flag for o in program.options if o.wants_value for flag in o.flags]
    yield _FISH.replace("{wants_value}", " ".join(takers))
    alone = "not __quarterturn_command"
    yield from _fish_options(alone, program)
    for each in commands:
        named = f"-a {each.name} -d {_quoted(each.words)}"
        yield f"complete -c quarterturn -n {_quoted(alone)} {named}"
    for each in commands:
        yield from _fish_options(f"__quarterturn_is {each.name}", each)


def _fish_options(condition: str, command: _Command) -> Iterator[str]:
    begin = f"complete -c quarterturn -n {_quoted(condition)}"
    for option in command.options:
        if option.flags:
            yield " ".join([begin, *_fish_option(option)])
    if command.words_taken:
        yield f"{begin} -a {_quoted(' '.join(command.words_taken))}"
    if command.takes_paths:
        yield f"{begin} -F"


def _fish_option(option: _Option) -> Iterator[str]:
    for flag in option.flags:
        yield f"-l {flag[2:]}" if flag.startswith("--") else f"-s {flag[1:]}"
    yield f"-d {_quoted(option.words)}"
    if option.wants_value:
        yield "-r"
    if option.choices:
        yield f"-a {_quoted(' '.join(option.choices))}"
    elif option.is_path:
        yield "-F"


def _quoted(text: str) -> str:
    inner = text.replace("\\", "\\\\").replace("'", "\\'")
    return f"'{inner}'"


# -- PowerShell ------------------------------------------------------------------------------------

_POWERSHELL = """\
Register-ArgumentCompleter -Native -CommandName quarterturn -ScriptBlock {
    param($word, $line, $at)
    $wantsValue = @({wants_value})
    $offered = @{
{table}
    }
    $named = ''
    $skip = $false
    $before = ''
    foreach ($part in ($line.CommandElements | Select-Object -Skip 1)) {
        if ($part.Extent.EndOffset -ge $at -and $word) { break }
        $text = $part.Extent.Text
        $before = $text
        if ($named) { continue }
        if ($skip) { $skip = $false }
        elseif ($wantsValue -contains $text) { $skip = $true }
        elseif (-not $text.StartsWith('-')) { $named = $text }
    }
    $key = "$named $before"
    if (-not $offered.ContainsKey($key)) { $key = $named }
    if (-not $offered.ContainsKey($key)) { return }
    foreach ($pair in $offered[$key]) {
        if ($pair[0] -like "$word*") {
            [System.Management.Automation.CompletionResult]::new(
                $pair[0], $pair[0], 'ParameterValue', $pair[1])
        }
    }
}"""


def _powershell(program: _Command, commands: list[_Command]) -> Iterator[str]:
    takers = [_doubled(flag) for o in program.options if o.wants_value for flag in o.flags]
    first = [*_offered(program), *((command.name, command.words) for command in commands)]
    table = [_table_line("", first)]
    for each in commands:
        table.append(_table_line(each.name, _offered(each)))
        table += [
            _table_line(f"{each.name} {flag}", [(word, option.words) for word in option.choices])
            for option in each.options
            if option.choices
            for flag in option.flags
        ]
    yield _POWERSHELL.replace("{wants_value}", ", ".join(takers)).replace(
        "{table}", "\n".join(table)
    )


def _offered(command: _Command) -> Iterator[tuple[str, str]]:
    for option in command.options:
        words = option.choices if not option.flags else option.flags
        yield from ((word, option.words) for word in words)


def _table_line(key: str, pairs: Iterable[tuple[str, str]]) -> str:
    listed = [f"@({_doubled(word)}, {_doubled(words or word)})" for word, words in pairs]
    lone = "," if len(listed) == 1 else ""  # or PowerShell takes the pair for the list
    return f"        {_doubled(key)} = @({lone}{', '.join(listed)})"


def _doubled(text: str) -> str:
    """Return text as PowerShell quotes it; a tool tip must not be empty."""
    inner = text.replace("'", "''").replace("\N{RIGHT SINGLE QUOTATION MARK}", "''")
    return f"'{inner}'"


# -- the manual page -------------------------------------------------------------------------------

WORDS = "a bench partner for setting a slalom-ski fin"


@command(
    "man",
    "print the manual page, of all commands or of one",
    "Printed as man(1) reads it, from the same source as --help. To read it: quarterturn man | "
    "man -l -",
    see="completion",
    examples=[
        ("man", "The page of the program, with every command."),
        ("man turns", "One command's."),
    ],
    takes=[place("of", "COMMAND", "one command; default: all", nargs="?")],
)
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
