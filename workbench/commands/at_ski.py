"""The ski that a command is about: named by --ski, else the one in hand."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, TypeAlias

from workbench.commands.manual import Command, Run, Takes, command, option
from workbench.commands.opened import opened_shop
from workbench.commands.output import say
from workbench.errors import OutOfReachError
from workbench.fin.reading.method import QUANTITIES
from workbench.measure.units import Unit
from workbench.work.job.job_view import JobView, RosterLine
from workbench.work.job.shop import Shop
from workbench.work.job.stages import NotNowError
from workbench.work.job_text.job_text import after_lines, refused_words
from workbench.work.job_text.typed_lines import is_in_hand, job_meant, option_for
from workbench.work.text.fields import Field, Texts
from workbench.work.text.words import error_words


@dataclass(frozen=True, slots=True)
class AtSki:
    """A shop with the job that is meant: its place in the queue, and the bench's unit.

    ``ski`` is the option that names it in commands shown to the reader, blank where it is in hand.
    """

    shop: Shop
    view: JobView
    unit: Unit
    number: int
    line: RosterLine
    ski: str


Did: TypeAlias = "tuple[JobView, str] | tuple[JobView, str, str]"
"""The job after an act, what was done in a few words, and what warns beside it."""


Act: TypeAlias = Callable[[AtSki, argparse.Namespace], Did]
"""What a command does with the ski that is meant."""

METHOD = f"a reading by its method's name or number, or {', '.join(QUANTITIES)} where one is meant"
YES = "take the likeliest meaning, or the doubtful value as it is, without asking"

SKI = option(
    "--ski", "SKI", "serial, name or number in the queue; left out: the ski in hand", default=""
)


def fields_of(args: argparse.Namespace, fields: Iterable[Field]) -> Texts:
    """Return the fields as given, by the names that the use cases know."""
    return {field.key: getattr(args, field.name) or "" for field in fields}


def ski_command(
    name: str, words: str, description: str, *, takes: Sequence[Takes] = (), **page: Any
) -> Callable[[Run], Command]:
    """Return what makes a command about one ski of the function that does it; see ``command``."""
    return command(name, words, description, takes=(SKI, *takes), **page)


def ski_act(
    name: str, words: str, description: str, *, aims: bool = False, **page: Any
) -> Callable[[Act], Command]:
    """Return what makes a command about one ski of the one thing that it does; see :func:`act`."""
    made = ski_command(name, words, description, **page)
    return lambda do: made(lambda args: act(args, do, aims=aims))


@contextmanager
def at_ski(args: argparse.Namespace) -> Iterator[AtSki]:
    """Open the book and find the job that is meant.

    Raises:
        InputError: no ski is in hand, or none or several of the queue are meant.
        RecordsError: the book cannot be opened.
    """

    with opened_shop(args) as shop:
        number, line = job_meant(shop, args.ski)
        ski = "" if is_in_hand(shop, line) else option_for(shop, number, line)
        view = shop.view(line.job_id)
        yield AtSki(shop, view, shop.unit_typed(getattr(args, "unit", None)), number, line, ski)


OUT_OF_REACH = 3


def act(args: argparse.Namespace, do: Act, *, aims: bool = False) -> int:
    """Do one thing with the ski that is meant; say what was done and what comes next.

    With ``aims`` it bears on the target: one out of reach is kept, told and status 3.
    """

    with at_ski(args) as at:
        try:
            new, said, *warned = do(at, args)
        except NotNowError as why:
            raise NotNowError(why.field, why.value, refused_words(at.view, at.ski)) from None
        except OutOfReachError as why:
            raise OutOfReachError(error_words(why, at.unit)) from None
        lines = after_lines(new, at.unit, at.ski, said, warned)
    say(lines)
    return reach_status(new, at.unit) if aims else 0


def reach_status(view: JobView, unit: Unit) -> int:
    """Return the exit status for a target that was given; one out of reach is told."""

    if view.unreachable is None or view.stage not in ("target", "turning"):
        return 0
    say([f"quarterturn: {error_words(view.unreachable, unit)}"], sys.stderr)
    return OUT_OF_REACH


def words_of(texts: Iterable[str]) -> str:
    """Return words that stood one by one on the command line as one text."""
    return " ".join(texts)
