"""The shop's settings, read and changed line by line."""

from __future__ import annotations

import argparse

from workbench.commands.manual import command, place
from workbench.commands.opened import opened_shop
from workbench.commands.output import facts, say
from workbench.work.roster import settings
from workbench.work.text.words import clean


@command(
    "settings",
    "show the shop's settings, or change one",
    "Without a name all settings; with a name that one; with a value it is kept. An empty value "
    "('') goes back to what it is as shipped.",
    see="calipers",
    examples=[
        ("settings", "All of them."),
        ("settings repeats 3", "Three of each reading from now on."),
        ("settings who KV", "Entries are kept under KV."),
        ("settings tolerance-depth '0.003 in'", "Of new methods."),
    ],
    takes=[
        place("name", "NAME", "a setting, such as repeats", nargs="?"),
        place("value", "VALUE", "what it shall be", nargs="?"),
    ],
)
def _settings(args: argparse.Namespace) -> None:
    with opened_shop(args) as shop:
        if args.value == "" and settings.strike_out(shop, args.name):
            say([f"Struck out: {clean(args.name)}"])
            return
        wanted = settings.SETTINGS if args.name is None else (settings.named(args.name),)
        if args.value is not None:
            settings.change(shop, {wanted[0].name: args.value})
        now = settings.in_force(shop)
        amiss = settings.misfit_lines(shop.book.settings())
    facts(settings={s.name: now[s.name] for s in wanted}, amiss=amiss)
    say(f"{s.name:<20} {clean(now[s.name]) or '(none)':<22} {s.words}" for s in wanted)
    say(f"! {line}" for line in amiss)
