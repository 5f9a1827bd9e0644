"""Ride notes, the rules of thumb for them, and starting numbers, in and out."""

from __future__ import annotations

import argparse
from typing import Any

from workbench.advice.ride_feel import CLAIM, SURE_WORDS, Rules
from workbench.commands.at_ski import fields_of, reach_status, ski_command
from workbench.commands.manual import choice, command, flag, option, options, place, unit_option
from workbench.commands.opened import opened_shop
from workbench.commands.output import facts, say, send
from workbench.errors import InputError
from workbench.work.files.safe_write import path_of, write_file
from workbench.work.files.table_files import read_table_file, read_text
from workbench.work.history.rides import (
    RIDE,
    choose,
    complaint_lines,
    keep_ride,
    keep_rules,
    offers_of,
    ride_lines,
    ride_rules_of,
    rules_text,
    try_words,
)
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job_text.typed_lines import job_meant
from workbench.work.paper.printing import find_view
from workbench.work.roster import baselines
from workbench.work.text.local_time import day_and_time
from workbench.work.text.words import clean


@ski_command(
    "ride",
    "ride notes, what technicians try for them, a choice made the target",
    "Without options the newest note, and what may be tried for it. Rules of thumb are common "
    "practice; technicians disagree: change one thing, then ride again.",
    see="advice, aim, history",
    examples=[
        ("ride --list", "The complaints with their numbers."),
        (
            'ride --ski H66-014 --complaints 1,4 --rating 3 --water 17C --text "slides"',
            "A note is kept; what may be tried is shown.",
        ),
        ("ride --choose 2", "The second suggestion is the target of the ski in hand."),
    ],
    takes=[
        options(RIDE),
        flag("--all", "earlier notes too"),
        flag("--list", "show the short list of complaints"),
        option("--choose", "N", "make this suggestion the target", type=int),
        unit_option("unit to show; left out: the bench's own"),
    ],
)
def _ride(args: argparse.Namespace) -> int:
    with opened_shop(args) as shop:
        if args.list:
            say(complaint_lines(shop))
            return 0
        view = _view(shop, args.ski)
        said = _kept(shop, view, args) if any(fields_of(args, RIDE).values()) else []
        if args.choose is not None:
            view, chosen = _chosen(shop, view, args)
            said = [*said, chosen]
        unit = shop.unit_typed(args.unit)
        out = [*said, *ride_lines(shop, view, unit, args.all)]
    say(out)
    return reach_status(view, unit) if args.choose is not None else 0


def _view(shop: Shop, text: str) -> JobView:
    """Return the job of today's queue that is meant, else the last of a ski the book knows."""
    try:
        return shop.view(job_meant(shop, text)[1].job_id)
    except InputError:
        if not text.strip():
            raise
        return find_view(shop, text)


def _kept(shop: Shop, view: JobView, args: argparse.Namespace) -> list[str]:
    keep_ride(shop, view, fields_of(args, RIDE))
    return ["Done: ride note kept."]


def _chosen(shop: Shop, view: JobView, args: argparse.Namespace) -> tuple[JobView, str]:
    offers = offers_of(shop, view, shop.unit_typed(args.unit))
    if not 1 <= args.choose <= len(offers):
        accepted = f"1 to {len(offers)}" if offers else "a ride note that something is tried for"
        raise InputError("--choose", args.choose, accepted)
    offer = offers[args.choose - 1]
    return choose(shop, view, offer), f"Done: target: {clean(offer.arithmetic)}."


@command(
    "advice",
    "the rules of thumb for what a rider feels: shown, written out, read in",
    "Rules of thumb are common practice; technicians disagree. A shop may keep its own list: "
    "export it, change it, import it.",
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
    "Export writes JSON; import reads JSON or TOML, all of it or nothing. What is there already "
    "is not doubled.",
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
