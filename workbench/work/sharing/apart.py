"""One ski set at two benches that did not know of each other: found at the hub, told with both.

Each row at the hub carries how far its writer had taken the hub when it was written (``seen``). Of
two rows neither writer knew the other's where each number is greater than the other's ``seen``.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from workbench.errors import BenchError
from workbench.records.book import Book
from workbench.records.sharing import journal
from workbench.records.sharing.hub import BenchThere, Hub
from workbench.work.sharing.rounds import SETTING_FACTS, Round


@dataclass(frozen=True, slots=True)
class Version:
    """What one bench did to a ski: where, whose hands, and in words what it read and decided."""

    bench: str
    who: str
    words: str


@dataclass(frozen=True, slots=True)
class SetTwice:
    """A ski that two benches set, neither knowing of the other."""

    ski_id: str
    ski: str
    ours: Version
    theirs: Version


@dataclass(frozen=True, slots=True)
class _Fact:
    seq: int
    seen: int
    bench: str
    table: str
    body: Mapping[str, Any]


def set_twice(book: Book, hub: Hub, done: Round, before: int) -> tuple[SetTwice, ...]:
    """The skis of which a round showed that this bench and another set them apart.

    ``before`` is how far the hub had been taken before the round.
    """
    facts = [*done.facts, *(row for table in SETTING_FACTS for row in done.new.get(table, ()))]
    if done.first is None or not facts:
        return ()
    ski_of = book.journal(journal.skis_of_jobs, {str(row["job_id"]) for row in facts})
    by_ski: dict[str, list[_Fact]] = defaultdict(list)
    for row in hub.facts_after(done.first, ski_of, SETTING_FACTS):
        fact = _Fact(*row)
        by_ski[ski_of[fact.body["job_id"]]].append(fact)
    own = frozenset(book.journal(journal.own_benches))
    named = {bench.bench: bench for bench in hub.benches()}
    out = []
    for ski, found in by_ski.items():
        for bench in sorted({fact.bench for fact in found} - own):
            pair = _pair(found, own, bench, before)
            if pair is not None:
                ours, theirs = (_version(book, side, named) for side in pair)
                out.append(SetTwice(ski, book.ski(ski).name, ours, theirs))
    return tuple(out)


def _pair(
    found: Sequence[_Fact], own: frozenset[str], bench: str, before: int
) -> tuple[list[_Fact], list[_Fact]] | None:
    """What each of the two did that the other did not know; None where nothing of it is new."""
    ours = [fact for fact in found if fact.bench in own]
    theirs = [fact for fact in found if fact.bench == bench]
    apart = [
        (a, b) for a in ours for b in theirs
        if a.seen < b.seq and b.seen < a.seq
    ]  # fmt: skip
    if not any(max(a.seq, b.seq) > before for a, b in apart):
        return None
    left, right = {a.seq for a, _ in apart}, {b.seq for _, b in apart}
    return [a for a in ours if a.seq in left], [b for b in theirs if b.seq in right]


def _version(book: Book, facts: Sequence[_Fact], named: Mapping[str, BenchThere]) -> Version:
    last = facts[-1]
    known = named.get(last.bench)
    name = known.name if known is not None else f"bench {last.bench[:6]}"
    return Version(name, str(last.body["who"]), "; ".join(_parts(book, facts)))


def _parts(book: Book, facts: Iterable[_Fact]) -> Iterable[str]:
    """What facts say, the last of each kind and method."""
    said: dict[str, str] = {}
    rounds = 0
    for fact in facts:
        body = fact.body
        if fact.table in ("readings", "locked_readings", "targets"):
            what = "target " if fact.table == "targets" else ""
            name = f"{what}{_method(book, str(body['method_id']))}"
            said[name] = f"{name} {body['text']} {body['unit']}"
        elif fact.table == "passes":
            rounds += 1
            said["rounds"] = f"{rounds} round{'' if rounds == 1 else 's'} of turns"
        elif fact.table == "wings":
            said["wing"] = f"wing {body['text']}"
        else:
            said["signed"] = "signed off"
    return said.values()


def _method(book: Book, method_id: str) -> str:
    try:
        return book.method(method_id).name
    except BenchError:
        return "a reading"
