"""What ``hub`` and ``sync`` do: a hub made and joined, a round by a hub or a folder, how far it is.

A book is shared by one hub at a time and by any number of folders. While a bench is open, a thread
with a connection of its own keeps the book in step with its hub: a round is made as soon as either
has something new, and every few seconds anyway. A hub that does not answer costs the bench nothing:
what is entered stays in the book and goes later.
"""

from __future__ import annotations

import platform
import threading
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from time import monotonic
from typing import Literal, TypeAlias

from workbench.errors import BenchError, InputError, RecordsError
from workbench.records.book import Book
from workbench.records.sharing import journal
from workbench.records.sharing.folder import Folder
from workbench.records.sharing.hub import BenchThere, Hub, HubFacts, checked_url
from workbench.records.sharing.journal import FORM, InHand, Share, SharingError
from workbench.work.sharing.rounds import MOST_TAKEN, Round, SetTwice, go_round, set_twice

_AT_ONCE = 2000
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
        _say_here(book, hub, called)
    return facts


def _say_here(book: Book, hub: Hub, name: str, who: str = "", ski: str = "") -> None:
    position, _ = book.read(journal.taken, hub.share, "")
    hub.say_here(book.own_bench(), name, who, ski, position)


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


def hub_round(book: Book, hub: Hub, most: int = _AT_ONCE) -> Shared:
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
            _say_here(book, hub, share.name)  # else the open bench says so itself
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
    done = go_round(book, folder, _AT_ONCE)
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


# -- kept in step beside the bench -----------------------------------------------------------------

How: TypeAlias = Literal["in step", "behind", "alone"]

LOOK_S = 0.25
"""So often the book is looked at for new entries; the hub says by itself when it has rows."""

BETWEEN_S = 0.2
"""Between rounds at least: where others keep many rows, more come at once, which costs less."""

ROUND_S = 5.0
"""A round is made so often although nothing was said: a message may be lost with its connection."""

SAY_S = 30.0
"""So often a bench says that it is there."""

WAITS_S = (1.0, 2.0, 5.0, 10.0, 15.0)
"""Between tries to reach a hub that does not answer; the last goes on."""

GRACE_S = 1.0
LONGEST_LEAVE_S = 6.0
"""A hub is waited for as long at most; a thread that is still connecting then writes nothing."""


@dataclass(frozen=True, slots=True)
class Standing:
    """How a bench is with its hub: since when, in words why where it is not in step, how many
    rows wait to go, and the other benches that are there."""

    how: How
    since: datetime
    why: str = ""
    unsent: int = 0
    others: tuple[BenchThere, ...] = ()


class Watch:
    """Keeps a book in step; ``standing`` and what it tells may be read from any thread."""

    def __init__(
        self,
        opened: Callable[[], Book],
        told: Callable[[Shared], None],
        clock: Callable[[], datetime] = datetime.now,
    ) -> None:
        """``opened`` opens the book in the watch's own thread; ``told`` is given every round that
        brought or refused something, there."""
        self._opened, self._told, self._clock = opened, told, clock
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._hand = ("", "")
        self._hub: Hub | None = None
        self.standing = Standing("behind", clock(), "the hub was not asked yet")

    def start(self) -> None:
        """Begin in a thread of its own."""
        self._thread = threading.Thread(target=self.run, name="sharing", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Finish the round that is under way, or break it off where it takes long."""
        self._stop.set()
        if self._thread is None:
            return
        self._thread.join(GRACE_S)
        if self._thread.is_alive() and (hub := self._hub) is not None:
            hub.break_off()
        self._thread.join(LONGEST_LEAVE_S)

    def wait(self, seconds: float) -> None:
        """Wait so long, or until stopped."""
        self._stop.wait(seconds)

    def in_hand(self, who: str, ski: str) -> None:
        """Say whose hands are at the bench and which ski, by its id, is in them."""
        self._hand = (who, ski)

    def run(self) -> None:
        """Keep in step until stopped; tries again whatever fails."""
        failed = 0
        while not self._stop.is_set():
            try:
                with self._opened() as book:
                    failed = self._try(book, failed)
            except BenchError as why:
                self._stands("alone", str(why))
                failed += 1
            except Exception as error:  # a slip of ours here must neither end nor hide the sharing
                self._stands("alone", f"an error of its own ({type(error).__name__}: {error})")
                failed += 1
            self._stop.wait(WAITS_S[min(failed, len(WAITS_S) - 1)])

    def _try(self, book: Book, failed: int) -> int:
        """Keep in step for as long as the hub answers; return how often it has not in a row."""
        while not self._stop.is_set():
            share = hub_of(book)
            try:
                with opened_hub(book, share) as hub:
                    self._hub = hub
                    self._keep_in_step(book, hub, share.name)
            except SharingError as why:
                failed = 0 if self.standing.how != "alone" else failed + 1
                self._stands("alone", str(why), book.read(journal.unsent, share.share))
                self._stop.wait(WAITS_S[min(failed, len(WAITS_S) - 1)])
        return failed

    def _keep_in_step(self, book: Book, hub: Hub, name: str) -> None:
        hub.listen()
        said: tuple[tuple[str, str], float] | None = None
        rounded, changed = float("-inf"), False
        while not self._stop.is_set():
            changed = book.changed_since_last_look() or changed
            now = monotonic()
            if (changed and now - rounded >= BETWEEN_S) or now - rounded >= ROUND_S:
                changed = False
                self._round(book, hub)
                rounded = monotonic()
            if said is None or said[0] != self._hand or now - said[1] >= SAY_S:
                hand = self._hand
                _say_here(book, hub, name, *hand)
                said = (hand, now)
                self._look_around(book, hub)
            if hub.heard(LOOK_S):
                self._stop.wait(rounded + BETWEEN_S - monotonic())
                self._round(book, hub)
                rounded = monotonic()
                self._look_around(book, hub)
        _say_here(book, hub, name, self._hand[0])

    def _round(self, book: Book, hub: Hub) -> None:
        if self.standing.how == "alone":
            self._stands("behind", "catching up", book.read(journal.unsent, hub.share))
        shared = hub_round(book, hub, MOST_TAKEN)
        done = shared.round
        if done.is_whole:
            self._stands("in step", "")
        else:
            why = (*done.stopped, *done.refused)[0]
            self._stands("behind", why, book.read(journal.unsent, hub.share))
        if done.taken or done.sent or not done.is_whole or shared.set_twice:
            self._told(shared)

    def _look_around(self, book: Book, hub: Hub) -> None:
        own = book.own_bench()
        there = tuple(x for x in hub.benches() if x.is_here and x.bench != own)
        now = self.standing
        self.standing = Standing(now.how, now.since, now.why, now.unsent, there)

    def _stands(self, how: How, why: str, unsent: int = 0) -> None:
        before = self.standing
        since = before.since if before.how == how else self._clock()
        others = () if how == "alone" else before.others
        self.standing = Standing(how, since, why, unsent, others)
