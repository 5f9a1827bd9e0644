"""A ski step by step: where it is, taking it in hand, checks, readings and the sign-off."""

from __future__ import annotations

import argparse

from workbench.commands.at_ski import METHOD, SKI, YES, AtSki, Did, at_ski, ski_act
from workbench.commands.manual import command, flag, option, place, unit_option
from workbench.commands.output import say, say_json
from workbench.errors import InputError
from workbench.records.book import whole
from workbench.work.job.entry import Typed
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job_text.job_text import job_lines, job_report, next_lines, ski_lines
from workbench.work.job_text.setting_words import moved_words
from workbench.work.job_text.typed_lines import (
    item_meant,
    kept_words,
    line_meant,
    placing_meant,
    take_ski,
)
from workbench.work.job_text.view_words import since_left
from workbench.work.roster.calipers import caliper_meant, standing_words
from workbench.work.text.fields import SECOND
from workbench.work.trust.reading_tools import held_caliper


@ski_act(
    "enough",
    "go on with fewer repeats than the shop wants",
    "At least one of each reading there must be.",
    see="read, settings",
    examples=[("enough", "One repeat of each will do this time.")],
)
def _enough(at: AtSki, args: argparse.Namespace) -> Did:
    return at.shop.enough(at.view), "going on with fewer repeats"


@ski_act(
    "seat",
    "say that all three studs touch the blade where it is",
    "Bring all three studs up until each just touches the blade, then say so.",
    see="next, aim",
    examples=[("seat", "The studs of the ski in hand touch.")],
)
def _seat(at: AtSki, args: argparse.Namespace) -> Did:
    return at.shop.seat_studs(at.view), "studs touch the blade where it is"


@command(
    "next",
    "how far a ski is and what to do now",
    "One fact a line, without drawing. Said are the ski, its stage, what to do now and the "
    "command for it, the caution that belongs there, each reading with its uncertainty and "
    "target, and where studs are to be turned the turns, exact and rounded, the steps and what to "
    "expect.",
    see="take, queue, tick, read",
    examples=[
        ("next", "The ski in hand."),
        ('next "Heron 66"', "A ski by its name."),
        ("next 3 --unit mm", "The third ski of the queue, in mm."),
        ("next H66-014 --json", "A ski by its serial, for a script."),
    ],
    takes=[
        place("ski", "SKI", "the same as --ski SKI", nargs="?", default=argparse.SUPPRESS),
        SKI,
        unit_option("unit to show; left out: the bench's own"),
    ],
)
def _next(args: argparse.Namespace) -> None:
    with at_ski(args) as at:
        if args.json:
            say_json(job_report(at.view, at.unit, at.number, at.line))
        else:
            say(job_lines(at.view, at.unit, at.number, at.line, at.ski))


@command(
    "take",
    "take a ski of the queue in hand",
    "The ski in hand is the one that commands are about where --ski names no other. The bench "
    "opens on it too.",
    see="next, queue",
    examples=[
        ("take 1", "The first ski of the queue."),
        ("take OT-65-771", "A ski by its serial."),
    ],
    takes=[place("ski", "SKI", "serial, name or number in the queue")],
)
def _take(args: argparse.Namespace) -> None:
    with at_ski(args) as at:
        take_ski(at.shop, at.line)
        lines = [*ski_lines(at.view, at.number, at.line, True), *next_lines(at.view, "")]
    say(lines)


@ski_act(
    "tick",
    "tick the next item of the check that is due",
    "Each item is ticked on purpose, one a command and in order; 'next' says which is due. The "
    "clamp bolts come last, always, and nothing is signed off without them.",
    see="next, sign-off",
    examples=[
        ("tick edges", "The item 'edges' of the received check."),
        ('tick --ski "Heron 66" 2', "The second item, of a ski that is not in hand."),
        ("--who KV tick clamp", "The clamp bolts, last of the final check, under KV."),
    ],
    takes=[place("item", "ITEM", "the item that is due, by its key or number")],
)
def _tick(at: AtSki, args: argparse.Namespace) -> Did:
    item = item_meant(at.view, args.item)
    return at.shop.tick(at.view, item.key), f"ticked: {item.words}"


@ski_act(
    "read",
    "keep a reading of the caliper",
    "Digits without a point are placed where they make sense for that reading, as on the bench: "
    "2450 or 24500 for a depth near 2.45 in. What has two meanings, or cannot be right after the "
    "turns made, is refused with the question; --yes takes it. A reading may be repeated; the "
    "mean of its repeats counts. After the final check it is the after-lock reading, the clamp "
    "bolts tight for good: it shows what clamping moved.",
    see="next, strike, take-back, calipers, enough",
    examples=[
        ('read "depth, hole 2 back edge" 2.4505', "A reading by its method's name."),
        ("read 1 24505", "The first reading; the point is placed: 2.4505 in."),
        ("read tail 18.42mm", "The one tail distance of this ski, in mm."),
        (
            'read --ski LK64/22 length 176.31 --unit mm --caliper "Drawer caliper, mm"',
            "Another ski's, with another caliper.",
        ),
        ("read 3 7.0175 --yes", "Taken though it is doubtful."),
    ],
    takes=[
        place("method", "METHOD", METHOD),
        place("value", "VALUE", "such as 2.4505, 24505, 62.23mm or 2 7/16"),
        unit_option("unit of a bare number; left out: the bench's own"),
        option("--caliper", "NAME", "taken with this one; left out: the one in hand"),
        flag("--yes", YES),
    ],
)
def _read(at: AtSki, args: argparse.Namespace) -> Did:
    line = line_meant(at.view, args.method)
    caliper = caliper_meant(at.shop, args.caliper) if args.caliper else held_caliper(at.shop.book)
    placing = placing_meant(at.view, line, args.value, at.unit, at.unit, sure=args.yes)
    told = since_left(at.view, line, placing.mm, at.unit)
    take = at.shop.take_locked if at.view.reads_locked else at.shop.take_reading
    caliper_id = caliper.id if caliper is not None else None
    typed = Typed(args.value, placing.unit, placing.mm, caliper_id=caliper_id)
    new = take(at.view, line, typed)
    now = next(x for x in new.lines if x.method_id == line.method_id)
    told = moved_words(now, at.unit) or told
    said = "; ".join(x for x in (kept_words(now, placing, args.value), told) if x)
    standing = standing_words(at.shop) if not args.caliper else ""
    return new, said, standing


@ski_act(
    "sign-off",
    "release a ski after its final check",
    "Only after every item of the final check, the clamp bolts last, and under initials: --who "
    "before the command, or the setting 'who'.",
    see="tick, card, day-sheet",
    examples=[
        ("--who KV sign-off", "Released by KV."),
        ("--who KV sign-off --second PM", "PM looked at it too."),
    ],
    takes=[option("--second", "INITIALS", f"{SECOND}; where the shop asks for that")],
)
def _sign_off(at: AtSki, args: argparse.Namespace) -> Did:
    who, view = at.shop.who, at.view
    if not who.strip():
        raise InputError("initials", "(none)", "some, as in quarterturn --who KV sign-off")
    new = _looked_and_signed(at.shop, view, args.second, who)
    return new, f"signed off by {who}"


@whole
def _looked_and_signed(shop: Shop, view: JobView, second: str | None, who: str) -> JobView:
    """Keep who else looked, where somebody did, and the sign-off: both or neither."""
    if second is not None:
        view = shop.second_eyes(view, second)
    return shop.sign_off(view, who)
