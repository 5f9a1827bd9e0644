"""``hub`` and ``sync``: the book shared with other benches, by a hub or a folder."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING, Any

from workbench.commands.manual import JSON, choice, command, flag, option, place
from workbench.commands.opened import opened_shop
from workbench.commands.output import FAILED, NOT_TO_BE_RIDDEN, reporting, say, say_json
from workbench.errors import InputError
from workbench.records.book import Book

if TYPE_CHECKING:
    from workbench.work.sharing.hubs import Shared


@command(
    "hub",
    "make, join, leave or look at the hub that benches share their books by",
    "A hub is a database on PostgreSQL (14 or later), one table of the benches' "
    "rows, to which they append. 'init', as its owner, makes it, or brings it up to this "
    "program's version once every bench is; 'join' shares this book by it, 'leave' no longer. "
    "The URL carries no password: that comes from PGPASSWORD, ~/.pgpass or a service file, and "
    "is kept nowhere here. TLS is as the URL says (sslmode=verify-full&sslrootcert=...). The "
    "network is never needed at the bench: what is entered goes when the hub answers again.",
    see="sync, export, import",
    examples=[
        ("hub init postgresql://owner@hub.example/shop", "The hub, made or brought up."),
        (
            "hub join 'postgresql://bench_one@hub.example/shop?sslmode=verify-full' "
            "--name 'window bench'",
            "This book shared by it.",
        ),
        ("hub status", "How far it is in step, and who else is there."),
    ],
    takes=[
        choice("act", ("init", "join", "leave", "status"), "what to do"),
        place("url", "URL", "of the hub, for init and join", nargs="?"),
        option("--name", "NAME", "what others call this bench", default=""),
        flag("--json", "print JSON for machines (status)"),
    ],
)
def _hub(args: argparse.Namespace) -> int:
    from workbench.work.sharing import hubs, words

    if (args.url is None) != (args.act in ("leave", "status")):
        accepted = (
            f"a URL after 'hub {args.act}'" if args.url is None else f"'hub {args.act}' alone"
        )
        raise InputError("URL", "(none)" if args.url is None else "(one)", accepted)
    if args.act == "init":
        say(words.begun_lines(args.url, *hubs.begin_hub(args.url)))
        return 0
    with opened_shop(args) as shop:
        if args.act == "join":
            say(words.joined_lines(args.url, hubs.join_hub(shop.book, args.url, args.name)))
        elif args.act == "leave":
            say([f"Left: {hubs.leave_hub(shop.book).place}; the book stays as it is"])
        else:
            status = hubs.status_of(shop.book)
            names = {ski.id: ski.name for ski in shop.book.skis()}
            if args.json:
                say_json(words.status_json(status, names))
            else:
                say(words.status_lines(status, names))
            return FAILED if status.trouble else 0
    return 0


@command(
    "sync",
    "bring this book and the others in step, by the hub or a shared folder",
    "What is new here goes, what is new there comes, by the same checks as an "
    "import. A folder, on a stick or a drive that is synced, takes one file for each bench. It "
    "may be broken off and done again at any time: a row arrives once. What does not fit is "
    "listed, marked '!'. The exit status is 1 where not everything went and came, 4 where a "
    "ski is not to be ridden that this bench thought otherwise of.",
    see="hub, export, import",
    examples=[
        ("sync", "Once, by the hub that is joined."),
        ("sync --watch", "For a book that no bench has open."),
        ("sync --folder /media/stick/shop", "By a stick."),
    ],
    takes=[
        option("--folder", "PATH", "a shared folder in place of the hub"),
        flag("--watch", "go on until broken off (Ctrl+C)"),
        JSON,
    ],
)
def _sync(args: argparse.Namespace) -> int:
    from workbench.work.sharing import hubs

    if args.watch and args.folder is not None:
        raise InputError("--watch", "--folder", "one of the two: a folder does not say what is new")
    with opened_shop(args) as shop:
        if args.watch:
            return _watch(args, shop.book)
        if args.folder is None:
            shared = hubs.sync_hub(shop.book)
        else:
            shared = hubs.sync_folder(shop.book, args.folder)
    return _said(args, shared)


def _said(args: argparse.Namespace, shared: Shared) -> int:
    """Say what a round did; return the exit status for it."""
    from workbench.work.sharing import words

    if args.json:
        say_json(words.shared_json(shared))
    else:
        say(words.shared_lines(shared))
    if words.is_danger(shared):
        return NOT_TO_BE_RIDDEN
    return 0 if shared.round.is_whole else FAILED


def _watch(args: argparse.Namespace, book: Any) -> int:
    from workbench.work.sharing import hubs, words
    from workbench.work.sharing.hubs import Watch

    def told(shared: Shared) -> None:
        if not args.json:
            _said(args, shared)
            return
        with reporting(args.command) as report:
            status = _said(args, shared)
        say_json(report.value(status))

    hubs.hub_of(book)
    watch = Watch(lambda: Book(book.path, beside=book), told)
    watch.start()
    how = ""
    try:
        while True:
            now = watch.standing
            if now.how != how:
                how = now.how
                why = f": {now.why}" if now.why else ""
                say([f"{words.sign_of(now)}{why}"], sys.stderr)
            watch.wait(0.5)
    except KeyboardInterrupt:
        return 0
    finally:
        watch.stop()
