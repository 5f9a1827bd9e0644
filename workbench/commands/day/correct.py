"""What is written down of a ski, a block, a blade or a baseline put right, and what a ski wears."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from itertools import pairwise
from typing import Any

from workbench.commands.at_ski import fields_of
from workbench.commands.manual import (
    Command,
    Run,
    command,
    flag,
    option,
    options,
    place,
    place_of,
    unit_option,
)
from workbench.commands.opened import KNOWN, opened_shop
from workbench.commands.output import say
from workbench.errors import InputError
from workbench.records.store import rows
from workbench.work.job.shop import Shop
from workbench.work.order.carried import carried_lines
from workbench.work.roster.adding import BLADE, BLOCK, blade_meant, known_ski
from workbench.work.roster.baselines import baseline_named, correct_baseline, strike_baseline
from workbench.work.roster.corrections import (
    CORRECTED,
    Mended,
    correct_blade,
    correct_block,
    mended_lines,
)
from workbench.work.roster.ski_sheet import (
    FOLLOWS,
    NEVER_DONE,
    SHEET,
    WORN,
    change_parts,
    changed_words,
    correct_ski,
    last_carried,
    last_change,
    methods_text,
    sheet_of,
    strike_change,
)
from workbench.work.text.fields import REASON, some
from workbench.work.text.local_time import day_and_time
from workbench.work.text.words import clean


@command(
    "correct-ski",
    "put right what is written down of a ski",
    "What is left out stays as it is; an empty text ('') empties it. Every earlier version stays "
    "in the ski's history, and its readings are not touched.",
    see="history, wear, add-ski, curve",
    examples=[
        ('correct-ski H66-014 --rider "Ines Tavary-Holm"', "Its rider's name."),
        ('correct-ski "Heron 66" --serial H66-041 --size 66', "A serial that was misread."),
        ("correct-ski H66-014 --methods '1; 3; 4; 2'", "Read by four methods, in this order."),
        ("correct-ski LK64/22 --wing no --note ''", "Its wing came off; the note goes."),
    ],
    takes=[KNOWN, options(SHEET, changes=True)],
)
def _correct_ski(args: argparse.Namespace) -> None:
    given = {field.key: getattr(args, field.name) for field in SHEET}
    with opened_shop(args) as shop:
        old = known_ski(shop, args.ski)
        new = correct_ski(shop, old.id, {k: v for k, v in given.items() if v is not None})
        sheet = sheet_of(new).items()
        said = [f"{key.capitalize()}: {clean(text) or '(none)'}" for key, text in sheet]
        said.append(f"Read by: {clean(methods_text(shop, new))}")
    say([f"Done: sheet corrected: {changed_words(old, new)}.", *said])


@command(
    "wear",
    "give a ski another blade or block, or show what it wears",
    "What was read before stays with the parts it was read on; the next job is "
    "shown by the new ones, and the ski is not released until it is measured and its clamp "
    f"bolts are checked. {NEVER_DONE}",
    see="parts, correct-ski, carry",
    examples=[
        ("wear H66-014", "What it wears, and each change."),
        ("wear H66-014 --blade 2 --reason 'new blade'", "Another blade from now on."),
        ("wear H66-014 --never-made 'the wrong ski'", "The change was entered by mistake."),
    ],
    takes=[
        KNOWN,
        options(WORN[:3]),
        option("--never-made", "REASON", "strike the last change out: it was never made"),
        unit_option("left out: the bench's own"),
    ],
)
def _wear(args: argparse.Namespace) -> None:
    with opened_shop(args) as shop:
        ski = known_ski(shop, args.ski)
        if args.never_made is not None:
            if args.blade or args.block:
                raise InputError("--never-made", args.never_made, "it alone: no new part with it")
            last = last_change(shop.book.ski_versions(ski.id))
            if last is None:
                raise InputError("--never-made", ski.name, "a ski whose parts were changed")
            strike_change(shop, ski.id, last.id, args.never_made)
            say(["Done: the change is struck out.", *_worn(shop, shop.book.ski(ski.id))])
            return
        if not (args.blade or args.block):
            if args.reason:
                raise InputError("--reason", args.reason, "--blade or --block with it")
            say(_worn(shop, ski))
            return
        blade = blade_meant(shop, args.blade, "--blade") if args.blade else None
        unit = shop.unit_typed(args.unit)
        carried = last_carried(shop, ski, blade, unit) if blade is not None else None
        worn = change_parts(shop, ski.id, fields_of(args, WORN[:3]))
        lines = [f"Done: {clean(', '.join(worn.changes))}.", FOLLOWS]
        lines += [f"Read by: {clean(methods_text(shop, worn.ski))}."]
        if carried is not None:
            lines += ["", *carried_lines(carried, unit)]
        say(lines)


def _worn(shop: Shop, ski: rows.Ski) -> list[str]:
    out = [
        f"Blade: {clean(shop.book.blade(ski.blade_id).name)}",
        f"Block: {clean(shop.book.block(ski.block_id).name)}",
        f"Read by: {clean(methods_text(shop, ski))}",
    ]
    versions = shop.book.ski_versions(ski.id)
    for before, version in pairwise(versions):
        parts = [
            f"{word} {clean(get(a).name)} → {clean(get(b).name)}"
            for word, get, a, b in (
                ("blade", shop.book.blade, before.ski.blade_id, version.ski.blade_id),
                ("block", shop.book.block, before.ski.block_id, version.ski.block_id),
            )
            if a != b
        ]
        if parts:
            struck = f"; struck out: {clean(version.struck.reason)}" if version.struck else ""
            by = f" {clean(version.who)}" if version.who else ""
            why = f": {clean(version.reason)}" if version.reason else ""
            out.append(f"{day_and_time(version.at)}{by}  {', '.join(parts)}{why}{struck}")
    state = shop.ski_state(ski.id)
    return [*out, f"! {state.danger}"] if state.danger else out


def _correcting(kind: str, words: str) -> Callable[[Run], Command]:
    return command(
        f"correct-{kind}",
        f"put right what is written down of a {kind}, from a file",
        f"TOML or JSON as for add-{kind}. Every ski that uses it follows, its readings "
        f"stay as they are and its turns are worked out anew. {words} A signed-off job keeps "
        "showing what it showed, and a round whose steps were begun is finished as it was begun.",
        see=f"parts, add-{kind}, history",
        examples=[
            (f'correct-{kind} 1 {kind}.toml --reason "measured again" --dry-run', "A look first."),
            (f'correct-{kind} 1 {kind}.toml --reason "measured again"', "Kept."),
        ],
        takes=[
            place(kind, kind.upper(), "by name or number in 'parts'"),
            *(place_of(field) for field in some(BLADE if kind == "blade" else BLOCK, "file")),
            options([CORRECTED], required=True),
            flag("--dry-run", "say what would come of it, no more"),
        ],
    )


@_correcting("block", "Its studs keep their names, for the turns already made are kept by them.")
def _correct_block(args: argparse.Namespace) -> None:
    with opened_shop(args) as shop:
        done = correct_block(shop, args.block, args.file, args.reason, dry_run=args.dry_run)
    _say_corrected(args, "block", done)


@_correcting("blade", "Its reading methods stay as they are.")
def _correct_blade(args: argparse.Namespace) -> None:
    with opened_shop(args) as shop:
        done = correct_blade(shop, args.blade, args.file, args.reason, dry_run=args.dry_run)
    _say_corrected(args, "blade", done)


def _say_corrected(args: argparse.Namespace, kind: str, done: Mended[Any]) -> None:
    head, said = ("Trial", "would be corrected") if args.dry_run else ("Done", "corrected")
    say([f"{head}: {kind} {said}: {clean(done.part.name)}.", *mended_lines(done)])


@command(
    "correct-baseline",
    "put a number of a baseline right",
    "What it said before stays in the ski's history. A target that was taken from it stays as it "
    "is.",
    see="baselines, strike-baseline",
    examples=[
        (
            'correct-baseline spring "tail, upper line" "0.790 in" --reason "digits swapped"',
            "One number of it.",
        )
    ],
    takes=[
        place("baseline", "BASELINE", "its name or number in 'baselines'"),
        place("method", "METHOD", "the method's name, in full"),
        place("value", "VALUE", "bare: in the unit that the number had"),
        options([CORRECTED], required=True),
    ],
)
def _correct_baseline(args: argparse.Namespace) -> None:
    with opened_shop(args) as shop:
        baseline = baseline_named(shop, args.baseline)
        values = {args.method: args.value}
        done = correct_baseline(shop, baseline.id, values, args.reason)
    say([f"Done: baseline corrected: {clean(done.part.name)}.", *mended_lines(done)])


@command(
    "strike-baseline",
    "strike a baseline out",
    "It is offered no longer and stays readable with the reason, in 'baselines struck' and in the "
    "history of its ski.",
    see="baselines, correct-baseline",
    examples=[('strike-baseline spring --reason "read on another ski"', "Withdrawn.")],
    takes=[
        place("baseline", "BASELINE", "its name or number in 'baselines'"),
        options([REASON], required=True),
    ],
)
def _strike_baseline(args: argparse.Namespace) -> None:
    with opened_shop(args) as shop:
        baseline = baseline_named(shop, args.baseline)
        strike_baseline(shop, baseline, args.reason)
    say([f"Done: baseline struck out: {clean(baseline.name)}. It stays readable."])
