"""What ``hub`` and ``sync`` do: a hub made and joined, a round by a hub or a folder, how far it is.

A book is shared by one hub at a time and by any number of folders.
"""

from __future__ import annotations

import platform
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from workbench.errors import InputError, RecordsError
from workbench.records.book import Book
from workbench.records.sharing import journal
from workbench.records.sharing.folder import Folder
from workbench.records.sharing.hub import BenchThere, Hub, HubFacts, checked_url
from workbench.records.sharing.journal import FORM, InHand, Share, SharingError
from workbench.work.sharing.apart import SetTwice, set_twice
from workbench.work.sharing.rounds import Round, go_round

AT_ONCE = 2000
"""Rows in a transaction where nobody waits for the book at a bench."""

LONGEST_NAME = 40


@dataclass(frozen=True, slots=True)
class Shared:
    """A round by a hub or a folder, and the skis that it showed to be set at two benches.

    ``in_hand``: of a folder, the skis by name that others had in hand when they were there last.
    """

    place: str
    round: Round
    set_twice: tuple[SetTwice, ...] = ()
    in_hand: tuple[InHand, ...] = ()


@dataclass(frozen=True, slots=True)
class HubStatus:
    """How a book is with its hub; ``trouble`` says why the hub was not asked, else blank.

    ``unsent`` and ``untaken`` count rows, ``held`` those that were refused.
    """

    share: Share
    unsent: int
    held: int
    trouble: str = ""
    facts: HubFacts | None = None
    untaken: int = 0
    benches: tuple[BenchThere, ...] = ()


def begin_hub(url: str) -> tuple[HubFacts, tuple[str, ...]]:
    """Make a hub, or bring it up to this program; what there is and what was done."""
    with Hub(url, is_new=True) as hub:
        done = hub.begin(FORM)
        return hub.facts(), done


def join_hub(book: Book, url: str, name: str = "") -> HubFacts:
    """Share the book by a hub from now on; ``name`` is what this bench is called there."""
    kept = checked_url(url)
    called = _name(name)
    with Hub(kept) as hub:
        facts = hub.facts()
        book.write(journal.join, hub.share, "hub", kept, called)
        position, _ = book.read(journal.taken, hub.share, "")
        hub.say_here(book.own_bench(), called, "", "", position)
    return facts


def _name(name: str) -> str:
    text = name.strip() or platform.node()[:LONGEST_NAME] or "a bench"
    if len(text) > LONGEST_NAME or not text.isprintable():
        raise InputError("--name", name, f"a name of at most {LONGEST_NAME} characters")
    return text


def leave_hub(book: Book) -> Share:
    """Share the book by no hub any more; the one that was left. Raises ``RecordsError``."""
    share = hub_of(book)
    book.write(journal.leave_hub)
    return share


def hub_of(book: Book) -> Share:
    """The hub that is joined; raises ``RecordsError`` where none is."""
    for share in book.read(journal.shares):
        if share.kind == "hub" and share.joined:
            return share
    raise RecordsError("no hub is joined; 'quarterturn hub join URL' joins one")


def opened_hub(book: Book, share: Share) -> Hub:
    """The hub that is joined, connected to; another one under its URL is joined in its place."""
    hub = Hub(share.place)
    try:
        if hub.share != share.share:
            book.write(journal.join, hub.share, "hub", share.place, share.name)
    except BaseException:
        hub.close()
        raise
    return hub


def hub_round(book: Book, hub: Hub, most: int = AT_ONCE) -> Shared:
    """One round by an open hub."""
    done = go_round(book, hub, most)
    return Shared(hub.url, done, set_twice(book, hub, done))


def sync_hub(book: Book) -> Shared:
    """One round by the hub that is joined."""
    share = hub_of(book)
    with opened_hub(book, share) as hub:
        done = hub_round(book, hub)
        bench = book.own_bench()
        if not any(there.bench == bench and there.is_here for there in hub.benches()):
            position, _ = book.read(journal.taken, hub.share, "")
            hub.say_here(bench, share.name, "", "", position)  # else the open bench says so itself
        return done


def sync_folder(book: Book, path: str) -> Shared:
    """One round by a shared folder."""
    bench = book.own_bench()
    known = {  # the name of this bench's file there is kept as the bench's own
        share.share: book.read(journal.taken, share.share, share.name)[0]
        for share in book.read(journal.shares)
        if share.kind == "folder"
    }
    folder = Folder(Path(path).expanduser(), bench, known)
    place = str(Path(path).expanduser().resolve())
    book.write(journal.join, folder.share, "folder", place, folder.own_stream)
    done = go_round(book, folder, AT_ONCE)
    job = book.setting("job")
    ski = book.job(job).ski_id if job else ""
    folder.say_in_hand(book.setting("who") or "", ski, datetime.now(UTC))
    names = {each.id: each.name for each in book.skis()}
    others = tuple(
        replace(each, ski=names.get(each.ski, "a ski that is not here yet"))
        for each in folder.in_hand()
    )
    return Shared(place, done, set_twice(book, folder, done), others)


def status_of(book: Book) -> HubStatus:
    """How far the book is in step with the hub that is joined."""
    share = hub_of(book)
    unsent = book.read(journal.unsent, share.share)
    held = len(book.read(journal.held, share.share))
    try:
        with opened_hub(book, share) as hub:
            position, _ = book.read(journal.taken, hub.share, "")
            return HubStatus(
                share, unsent, held, "", hub.facts(), hub.count_after(position), hub.benches()
            )
    except SharingError as why:
        return HubStatus(share, unsent, held, str(why))
