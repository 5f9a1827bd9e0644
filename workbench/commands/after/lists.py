"""``advice`` and ``baselines``: the shop's rules of thumb and starting numbers, in and out."""

from __future__ import annotations

import argparse
from typing import Any

from workbench.advice.ride_feel import CLAIM, SURE_WORDS, Rules
from workbench.commands.manual import choice, command, place
from workbench.commands.opened import opened_shop
from workbench.commands.output import facts, say, send
from workbench.work.files.safe_write import path_of, write_file
from workbench.work.files.table_files import read_table_file, read_text
from workbench.work.history.rides import keep_rules, ride_rules_of, rules_text, try_words
from workbench.work.roster import baselines
from workbench.work.text.local_time import day_and_time
from workbench.work.text.words import clean


@command(
    "advice",
    "the rules of thumb for what a rider feels: shown, written out, read in",
    "Rules of thumb are common practice; technicians disagree. A shop may keep its "
    "own list: export it, change it, import it.",
    see="ride",
    examples=[
        ("advice", "The shop's rules, or those it begins with."),
        ("advice export rules.json", "Written out, to be changed."),
        ("advice import rules.json", "The shop's own from now on."),
    ],
    takes=[
        choice("action", ("show", "export", "import"), "left out: show", nargs="?", default="show"),
        place("file", "FILE", "- is standard in/out", nargs="?", default="-"),
    ],
)
def _advice(args: argparse.Namespace) -> None:
    with opened_shop(args) as shop:
        if args.action == "import":
            rules = keep_rules(shop, read_text(args.file))
            say([f"read in: {len(rules.complaints)} complaints, {len(rules.tries)} tries"])
        elif args.action == "export":
            _write(args.file, rules_text(shop))
        else:
            say(_shown(ride_rules_of(shop)))


def _shown(rules: Rules) -> list[str]:
    out = [CLAIM]
    for number, complaint in enumerate(rules.complaints, 1):
        out.append(f"{number} {clean(complaint.words)}")
        out += [
            f"    {try_words(change, 'in')}: {clean(change.why)} ({SURE_WORDS[change.sure]}); "
            f"may cost: {clean(change.cost)}"
            for key, change in rules.tries
            if key == complaint.key
        ]
    for rule in rules.water:
        change = rule.change
        out.append(
            f"water {rule.side} {clean(rule.limit_text)}: {try_words(change, 'in')}: "
            f"{clean(change.why)} ({SURE_WORDS[change.sure]}); may cost: {clean(change.cost)}"
        )
    return out


@command(
    "baselines",
    "starting numbers of skis, riders and models: listed, written out, read in",
    "Export writes JSON; import reads JSON or TOML, all of it or nothing. What is "
    "there already is not doubled.",
    see="aim, new-baseline, correct-baseline, strike-baseline",
    examples=[
        ("baselines", "All of the book."),
        ("baselines export spring.json", "Written out for another bench."),
        ("baselines import spring.json", "Read in; what is there is not doubled."),
    ],
    takes=[
        choice(
            "action",
            ("list", "export", "import", "struck"),
            "left out: list; struck: those that were struck out",
            nargs="?",
            default="list",
        ),
        place("file", "FILE", "- is standard in/out", nargs="?", default="-"),
    ],
)
def _baselines(args: argparse.Namespace) -> None:
    with opened_shop(args) as shop:
        if args.action == "import":
            found = baselines.read_baselines(read_table_file(args.file), shop.book.skis())
            new, there = baselines.take_in_baselines(shop, found)
            say([f"read in: {new} baselines; {there} were there already"])
        elif args.action == "export":
            _write(args.file, baselines.export_text(shop))
        elif args.action == "struck":
            gone = [b for b in shop.book.every_baseline() if b.struck is not None]
            say(map(_struck_words, gone) if gone else ["none struck out"])
        else:
            kept = shop.book.baselines()
            facts(
                baselines=[
                    {
                        "id": b.id, "name": b.name, "ski": b.ski_id, "model": b.model,
                        "size": b.size, "rider": b.rider, "wing_deg": b.wing_deg,
                        "numbers": [
                            {"method": e.method_name, "text": e.text, "unit": e.unit, "mm": e.mm}
                            for e in b.entries
                        ],
                    }
                    for b in kept
                ]
            )  # fmt: skip
            if kept:
                say(f"{number} {_baseline_words(each)}" for number, each in enumerate(kept, 1))


def _baseline_words(each: Any) -> str:
    numbers = "; ".join(f"{e.method_name} {e.text} {e.unit}" for e in each.entries)
    of = " ".join(x for x in (each.model, each.size, each.rider) if x)
    return clean(f"{each.name} ({of or 'of one ski'}): {numbers}")


def _struck_words(each: Any) -> str:
    by = f" by {each.struck.who}" if each.struck.who else ""
    said = f"; struck out{by} {day_and_time(each.struck.at)}: {each.struck.reason}"
    return _baseline_words(each) + clean(said)


def _write(file: str, text: str) -> None:
    """Write a new file, or standard output; what is there is never overwritten."""
    data = text.encode()
    if file == "-":
        send([data])
    else:
        write_file(path_of(file), [data])
