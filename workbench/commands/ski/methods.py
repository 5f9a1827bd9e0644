"""``methods``: the fin of a ski as every method of its blade would read it now."""

from __future__ import annotations

import argparse
from typing import Any

from workbench.commands.at_ski import add_unit_option, at_ski, ski_command
from workbench.commands.manual import page
from workbench.commands.output import say
from workbench.errors import PoseError
from workbench.work.job_text.how_to_hold import restated
from workbench.work.offsets.offset_words import method_lines
from workbench.work.offsets.offsets import learnt_beside
from workbench.work.text.words import error_words


def add(commands: Any) -> None:
    """Add ``methods``."""
    parser = ski_command(
        commands, "methods", "this fin by every method of its blade",
        "What each method would read on the fin as it is by the readings of this round in both "
        "units, with its standard uncertainty and its difference from the reading of the same "
        "quantity; and, where pairs of two methods were kept, what these make of the reading.",
    )  # fmt: skip
    add_unit_option(parser, "unit of uncertainties and differences")
    parser.set_defaults(run=_methods)
    page(
        parser,
        [
            ("methods", "The fin of the ski in hand."),
            ("methods --ski LK64/22 --unit mm", "Another one's, in mm."),
        ],
        ("restate", "pairs", "read"),
    )


def _methods(args: argparse.Namespace) -> int:

    with at_ski(args) as at:
        try:
            found = restated(at.shop, at.view, at.unit)
        except PoseError as why:
            raise PoseError(error_words(why, at.unit)) from None
        lines = method_lines(found, learnt_beside(at.shop, at.view, found), at.unit)
    say(lines)
    return 0
