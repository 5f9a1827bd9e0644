"""The command line: words to a use case or to the bench, and exit statuses.

0: done. 1: the bench or the book failed. 2: the input is wrong. 3: the target is out of reach.
Everything heavy is imported by the command that needs it.
"""

from __future__ import annotations

import argparse
import gc
import os
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from errno import EBADF, EIO, ENOSPC
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias

from workbench import __version__
from workbench.commands import modules
from workbench.commands.manual import (
    Command,
    Index,
    Parser,
    Takes,
    add_family,
    command,
    filled,
    flag,
    option,
    place,
)
from workbench.commands.output import (
    DONE,
    FAILED,
    OUT_OF_REACH,
    WRONG_INPUT,
    facts,
    reporting,
    say,
    say_json,
)
from workbench.errors import BenchError, InputError, OutOfReachError, PoseError, RecordsError, shown
from workbench.places import NotShippedError, book_path

if TYPE_CHECKING:
    from workbench.work.order.order_file import Order

LONGEST_LINE = 1000

OWN_COMMANDS = {
    "a job as a file": ("turns", "predict", "restate"),
    "the program": ("demo", "paths"),
}
"""Commands of this module, by their heading: they start without loading any other."""

DESCRIPTION = """\
A bench partner for setting a slalom-ski fin. Without a command the bench opens on the shop's own \
book; F1 or ? inside shows the keys. Every job of the bench can also be done line by line: \
'quarterturn take SKI', then 'quarterturn next' says what to do and by which command."""

EPILOG = """\
Every command has its own page: quarterturn COMMAND --help.
Exit status: 0 done, 1 failed, 2 the input is wrong, 3 the target is out of reach.
A loose or sharp fin injures. The ski and block maker's instructions come first."""


def build_parser(
    families: Iterable[tuple[str, str, tuple[str, ...]]] | None = None,
) -> argparse.ArgumentParser:
    """Return the parser of the command line with these families, else with all."""
    parser = Parser(
        prog="quarterturn", description=filled(DESCRIPTION), epilog=EPILOG, formatter_class=Index
    )
    parser.add_argument("--version", action="version", version=f"quarterturn {__version__}")
    option("--book", "PATH", "the book to open instead of the shop's own")(parser)
    option("--who", "INITIALS", "initials that entries are kept under")(parser)
    parser.set_defaults(whole=build_parser, run=_bench)
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", parser_class=Parser)
    for heading, module, names in modules() if families is None else families:
        add_family(commands, heading, names, vars(import_module(module)).values())
    for heading, own in OWN_COMMANDS.items():
        add_family(commands, heading, own, globals().values())
    return parser


def _families_for(given: Sequence[str]) -> tuple[tuple[str, str, tuple[str, ...]], ...]:
    """Return the families to load: the one that the first word names, all where none has it."""
    words = iter(given)
    for word in words:
        if word in ("--book", "--who"):
            next(words, "")
        elif not word.startswith(("--book=", "--who=", "--version")):
            is_own = any(word in names for names in OWN_COMMANDS.values())
            return tuple(modules(word)) or (() if is_own else tuple(modules()))
    return ()


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit status."""
    with _no_collecting():
        given = sys.argv[1:] if arguments is None else arguments
        try:
            args = build_parser(_families_for(given)).parse_args(given)
        except BrokenPipeError:  # a page of help whose reader went away
            _drop_output()
            return DONE
        return _answered(args)


@contextmanager
def _no_collecting() -> Iterator[None]:
    """Start without looking for garbage, of which loading makes none; the bench begins later."""
    collecting = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collecting:
            gc.enable()


def _answered(args: argparse.Namespace) -> int:
    """Do what is asked; return the exit status, whatever happens."""
    if sys.stdout is None:
        return _complain(args, "standard output: is closed; open it, or send it to a file", FAILED)
    try:
        if getattr(args, "json", False) and not getattr(args, "watch", False):
            with reporting(args.command) as report:
                status = args.run(args) or DONE
            if report.lines or report.facts:
                say_json(report.value(status))
        else:
            status = args.run(args) or DONE
        sys.stdout.flush()
        return status
    except InputError as why:
        return _complain(args, str(why), WRONG_INPUT)
    except (PoseError, OutOfReachError, RecordsError, BenchError) as why:
        return _complain(args, str(why), _status(why))
    except NotShippedError as why:
        return _complain(args, str(why), FAILED)
    except BrokenPipeError:
        # The reader went away (a pager was closed): nothing of ours is lost.
        _drop_output()
        return DONE
    except KeyboardInterrupt:
        return 130
    except OSError as why:
        if why.errno not in (ENOSPC, EIO, EBADF) or why.filename is not None:
            return _slip_of_ours(args, why)
        _drop_output()
        return _complain(args, f"standard output: cannot be written ({why.strerror})", FAILED)
    except Exception as error:
        return _slip_of_ours(args, error)


def _drop_output() -> None:
    """Let what is left to print go nowhere, or leaving would fail on it again."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _slip_of_ours(args: argparse.Namespace, error: Exception) -> int:
    """Write a report of an error that is nobody's but ours, and say where it is."""
    import tempfile

    from workbench.bench.crash import words, write_report

    book = Path(args.book) if args.book else None
    report = write_report(error, Path(tempfile.gettempdir()), str(args.command or "start"), book)
    return _complain(args, words(report, ""), FAILED)


def _status(why: BenchError) -> int:
    if isinstance(why, OutOfReachError):
        return OUT_OF_REACH
    return WRONG_INPUT if isinstance(why, PoseError) else FAILED


def _complain(args: argparse.Namespace, text: str, status: int) -> int:
    order = getattr(args, "order", None)
    where = f"{_one_line(order)}: " if order is not None else ""
    say([_one_line(f"quarterturn: {where}{text}")], sys.stderr)
    return status


def _one_line(text: str) -> str:
    """Return text on one line, its control characters written out."""
    line = shown(" ".join(text.split()), sys.maxsize)[1:-1]
    return line if len(line) <= LONGEST_LINE else f"{line[: LONGEST_LINE - 1]}…"


def _bench(args: argparse.Namespace) -> int:
    """Open the bench."""
    from workbench.bench.start import run

    return run(args)


_DEMO = command(
    "demo",
    "open the bench on a scratch book with an invented shop",
    "Nothing of yours is touched; the scratch book goes when the bench is left, unless --keep "
    "names a place for it.",
    see="begin",
    examples=[
        ("demo", "The invented shop, afresh."),
        ("demo --keep demo.db --tour", "A first day step by step, in a book that stays."),
    ],
    takes=[
        option("--keep", "PATH", "keep the demo's book at PATH; the next run goes on with it"),
        flag("--tour", "walk through a first day, step by step"),
    ],
)(_bench)


@command(
    "paths",
    "say where the book and the settings lie",
    "The book holds all that was kept, its settings too.",
    see="backup",
    examples=[("paths", "The shop's own book.")],
)
def _paths(args: argparse.Namespace) -> None:
    where = str(args.book or book_path())
    facts(book=where)
    say([f"book: {_one_line(where)}"])


# -- a job as a file -------------------------------------------------------------------------------

Answer: TypeAlias = "Callable[[argparse.Namespace, Order], str | Mapping[str, object]]"
"""What a command says of an order: a table to be read, or an object for machines."""


def _order_command(
    name: str, words: str, description: str, *, takes: Sequence[Takes], **page: Any
) -> Callable[[Answer], Command]:
    """Return what makes a command about a work order of the function that answers it."""
    order = place("order", "ORDER", "a work-order file, TOML or JSON; - is standard input")
    made = command(name, words, description, takes=(*takes, order), **page)
    return lambda answer: made(lambda args: _answer_order(args, answer))


def _answer_order(args: argparse.Namespace, answer: Answer) -> int:
    from workbench.work.order.order_file import read_order

    if args.order == "-" == getattr(args, "history", None):
        raise InputError("--history", "-", "a file: standard input is the order's")
    order = read_order(args.order)
    try:
        found = answer(args, order)
    except InputError:
        raise
    except BenchError as why:
        from workbench.work.text.words import error_words

        return _complain(args, error_words(why, order.unit), _status(why))
    if isinstance(found, str):
        say([found])
    else:
        say_json(found)
    return DONE


@_order_command(
    "turns",
    "the stud turns that bring a work order's readings to its targets",
    "Pose now and wanted, exact and rounded stud turns, the steps in order and the readings to "
    "expect.",
    see="predict, restate",
    examples=[
        ("turns heron.toml", "The turns of a work order, as a table."),
        ("turns - --json", "An order on standard input, for a machine."),
        ("turns heron.toml --history rounds.jsonl", "With what its rounds so far have taught."),
    ],
    takes=[
        option(
            "--history", "FILE",
            "the rounds of this block and blade so far, JSON lines: the answer learns from them",
        )
    ],
)  # fmt: skip
def _turns(args: argparse.Namespace, order: Order) -> str | Mapping[str, object]:
    if args.history is not None:
        from workbench.work.order.learned_turns import (
            advice_of,
            advice_report,
            advice_table,
            read_rounds,
        )

        advice = advice_of(order, read_rounds(args.history, order))
        return advice_report(advice) if args.json else advice_table(advice)

    from workbench.work.order.order_answers import order_plan, turns_report, turns_table

    result = order_plan(order)
    return turns_report(order, result) if args.json else turns_table(order, result)


@_order_command(
    "predict",
    "what a work order's readings become after given stud turns",
    "The readings after these turns. Positive is in, toward the blade.",
    see="turns",
    examples=[("predict heron.toml --turn front=+1/4 --turn tail=-0.1", "Two studs turned.")],
    takes=[
        option(
            "--turn", "STUD=TURNS",
            "a stud and its turns, such as front=+1/4 or tail=-0.1; may be repeated",
            action="append", default=[],
        )
    ],
)  # fmt: skip
def _predict(args: argparse.Namespace, order: Order) -> str | Mapping[str, object]:
    from workbench.work.order.order_answers import predict_report, readings_table

    report = predict_report(order, _given_turns(args.turn))
    return report if args.json else readings_table(report, "readings", order.unit)


@_order_command(
    "restate",
    "convert between methods: what another would read on the same fin",
    "Convert the fin's readings to other methods of the order.",
    see="turns",
    examples=[('restate heron.toml --by "length, flat"', "What the caliper laid flat would read.")],
    takes=[
        option(
            "--by", "METHOD", "a method of the order; may be repeated; left out: all of them",
            action="append", default=[],
        )
    ],
)  # fmt: skip
def _restate(args: argparse.Namespace, order: Order) -> str | Mapping[str, object]:
    from workbench.work.order.order_answers import readings_table, restate_report

    methods = [order.method(name, "--by") for name in args.by] or list(order.methods)
    report = restate_report(order, methods, skip=not args.by)
    return report if args.json else readings_table(report, "restated", order.unit)


def _given_turns(texts: Sequence[str]) -> dict[str, float]:
    from workbench.measure.lengths import parse_turn

    out: dict[str, float] = {}
    for text in texts:
        name, sign, number = text.rpartition("=")
        if not sign or not name:
            raise InputError("--turn", text, "STUD=TURNS, such as front=+1/4 or tail=-0.1")
        if name in out:
            raise InputError("--turn", text, "each stud once")
        out[name] = parse_turn(number, f"--turn {name}")
    return out
