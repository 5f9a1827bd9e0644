"""The wing's arithmetic line by line: the base's curve, and one wing at three holds."""

from __future__ import annotations

import argparse

from workbench.commands.manual import command, option, unit_option
from workbench.commands.output import say, say_json
from workbench.work.job_text.wing_report import report_of, table_of

TEXTS = ("chord", "sagitta", "start", "straightedge", "at", "angle", "held", "lead")

_LENGTHS = (
    ("chord", True, "length of the chord that the sagitta is measured over"),
    ("sagitta", True, "how far the base bulges over the chord; minus: how far it is hollow"),
    ("straightedge", False, "its length (left out: the chord's)"),
    ("at", False, "the wing's place (left out: so that the straightedge begins at the tail)"),
)


@command(
    "wing",
    "a base's curve from chord and sagitta, and a wing's angle at three holds",
    "A straightedge lies on the base with its middle at the wing. On a base that bulges it "
    "touches where it is held; in a hollow one it rests on its two ends. Printed is what the same "
    "wing reads with the straightedge held at its front end, middle and rear end. Lengths are in "
    "--unit, or carry their own, such as '152 mm'; places are counted from the tail end forward.",
    see="set-wing",
    examples=[
        ("wing --chord 6 --sagitta .028 --angle 8 --held front", "Eight degrees at the front."),
        ("wing --chord '152 mm' --sagitta '0.7 mm' --json", "The base's curve, for a script."),
    ],
    takes=[
        *(
            option(f"--{name}", "LENGTH", words, required=required)
            for name, required, words in _LENGTHS
        ),
        option(
            "--from",
            "LENGTH",
            "where the chord begins (left out: at the tail end)",
            dest="start",
            default="0",
        ),
        option("--angle", "DEGREES", "the wing's angle as read at --held"),
        option("--held", "HOLD", "front, middle (the default) or rear", default="middle"),
        option(
            "--lead",
            "WAY",
            "out (the default) or in: where the wing's leading edge is to its trailing edge",
            default="out",
        ),
        unit_option("unit of bare numbers", default="in"),
    ],
)
def _wing(args: argparse.Namespace) -> None:
    """Print the three holds."""
    report = report_of({key: getattr(args, key) or "" for key in TEXTS}, args.unit)
    if args.json:
        say_json(report)
    else:
        say(table_of(report).splitlines())
