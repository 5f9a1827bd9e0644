"""``ride``: what came back from a ride, what may be tried, and a choice made the target."""

from __future__ import annotations

import argparse

from workbench.commands.at_ski import fields_of, reach_status, ski_command
from workbench.commands.manual import flag, option, options, unit_option
from workbench.commands.opened import opened_shop
from workbench.commands.output import say
from workbench.errors import InputError
from workbench.work.history.rides import (
    RIDE,
    choose,
    complaint_lines,
    keep_ride,
    offers_of,
    ride_lines,
)
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job_text.typed_lines import job_meant
from workbench.work.paper.printing import find_view
from workbench.work.text.words import clean


@ski_command(
    "ride",
    "ride notes, what technicians try for them, a choice made the target",
    "Without options the newest note, and what may be tried for it. Rules of "
    "thumb are common practice; technicians disagree: change one thing, then ride again.",
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
