"""How program, terminal, folders and book are, and the bench in a browser."""

from __future__ import annotations

import argparse
from ipaddress import ip_address

from workbench.commands.manual import command, option
from workbench.commands.opened import path_of
from workbench.commands.output import FAILED, say, say_json
from workbench.errors import BenchError, InputError, RecordsError, shown
from workbench.places import is_there
from workbench.work.exchange.doctor import facts_of, is_well, lines_of


@command(
    "doctor",
    "say how program, terminal, folders and book are",
    "Versions, what the terminal can show, where things lie, and the book's health: whether the "
    "file is whole, how many rows it has and which are damaged, its newest row and its backups. "
    "Nothing is changed, and no name of a person or a ski is in it. The exit status is 1 where "
    "something is wrong with the book or a package is missing.",
    see="paths, backup, restore",
    examples=[
        ("doctor", "All of it, a fact to a line."),
        ("doctor --json", "The same for a script."),
    ],
)
def _doctor(args: argparse.Namespace) -> int:
    facts = facts_of(path_of(args))
    if args.json:
        say_json(facts)
    else:
        say(lines_of(facts))
    return 0 if is_well(facts) else FAILED


PORT = 8765
EXTRA = "serve needs textual-serve: pip install '.[web]'"


def _port(text: str) -> int:
    if text.isdecimal() and 0 < int(text) < 65536:
        return int(text)
    raise argparse.ArgumentTypeError(f"{shown(text)} is no port: 1 to 65535")


def is_loopback(host: str) -> bool:
    """Whether an address is this machine alone."""
    try:
        return host == "localhost" or ip_address(host).is_loopback
    except ValueError:
        return False


@command(
    "serve",
    "the bench in a browser, for a tablet on the wall",
    "One book, a bench for each window that opens the address it prints; Ctrl+C ends it. It is "
    "reached from this machine alone unless --host names an address of it; the address then holds "
    "a token, and whoever does not bring it is refused. Nothing is encrypted: use it in the "
    "shop's own network.",
    see="sync, hub",
    examples=[
        ("serve", "In a browser on this machine."),
        ("serve --host 192.168.4.20 --port 8080", "For a tablet; the address has a token."),
    ],
    takes=[
        option("--host", "ADDRESS", "left out: this machine alone", default="127.0.0.1"),
        option("--port", "PORT", f"default: {PORT}", type=_port, default=PORT),
    ],
)
def _serve(args: argparse.Namespace) -> int:
    book = path_of(args)
    if not is_there(book):
        raise RecordsError(
            f"{shown(str(book), 300)}: there is no book; quarterturn begin begins one"
        )
    try:
        from workbench.commands.shop.serve_web import BenchServer
    except ImportError:
        raise BenchError(EXTRA) from None
    server = BenchServer(book, args.who or "", args.host, args.port, is_loopback(args.host))
    say([f"Bench: {server.address}", "Ctrl+C ends it; what was kept stays kept."])
    try:
        server.serve()
    except OSError as why:
        accepted = f"an address and a port of this machine that are free ({why.strerror})"
        raise InputError("--host, --port", f"{args.host}:{args.port}", accepted) from None
    return 0
