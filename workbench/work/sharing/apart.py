"""One ski set at two benches that did not know of each other: found on the way, told with both.

Each row carries how far its writer had taken the hub, or each file of a folder, when it was written
(``seen``). Of two rows neither writer knew the other's where each lies behind what the other's had
seen of its stream.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from workbench.errors import BenchError
from workbench.records.book import Book
from workbench.records.sharing import journal
from workbench.records.sharing.journal import Arriving, Seen
from workbench.work.sharing.rounds import SETTING_FACTS, Round, Way


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
    stream: str
    row: Arriving

    def is_news_to(self, other: _Fact) -> bool:
        """Whether the writer of another row had not seen this one."""
        return self.row.position > (other.row.seen or {}).get(self.stream, 0)


def set_twice(book: Book, way: Way, done: Round) -> tuple[SetTwice, ...]:
    """The skis of which a round showed that this bench and another set them apart."""
    facts = [*done.facts, *(row for table in SETTING_FACTS for row in done.new.get(table, ()))]
    if done.first is None or not facts:
        return ()
    ski_of = book.read(journal.skis_of_jobs, {str(row["job_id"]) for row in facts})
    by_ski: dict[str, list[_Fact]] = defaultdict(list)
    for stream, row in way.facts_after(done.first, ski_of, SETTING_FACTS):
        by_ski[ski_of[row.body["job_id"]]].append(_Fact(stream, row))
    own = frozenset(book.read(journal.own_benches))
    out = []
    for ski, found in by_ski.items():
        for bench in sorted({fact.row.bench for fact in found} - own):
            pair = _pair(found, own, bench, done.before)
            if pair is not None:
                ours, theirs = (_version(book, side, way.names()) for side in pair)
                out.append(SetTwice(ski, book.ski(ski).name, ours, theirs))
    return tuple(out)


def _pair(
    found: Sequence[_Fact], own: frozenset[str], bench: str, before: Seen
) -> tuple[list[_Fact], list[_Fact]] | None:
    """What each of the two did that the other did not know; None where nothing of it is new."""
    ours = [fact for fact in found if fact.row.bench in own]
    theirs = [fact for fact in found if fact.row.bench == bench]
    apart = [(a, b) for a in ours for b in theirs if a.is_news_to(b) and b.is_news_to(a)]
    new = (
        each for pair in apart for each in pair if each.row.position > before.get(each.stream, 0)
    )
    if next(new, None) is None:
        return None
    left, right = {a.row.row_id for a, _ in apart}, {b.row.row_id for _, b in apart}
    return ([a for a in ours if a.row.row_id in left], [b for b in theirs if b.row.row_id in right])


def _version(book: Book, facts: Sequence[_Fact], names: Mapping[str, str]) -> Version:
    last = facts[-1].row
    name = names.get(last.bench, f"bench {last.bench[:6]}")
    return Version(name, str(last.body["who"]), "; ".join(_parts(book, facts)))


def _parts(book: Book, facts: Iterable[_Fact]) -> Iterable[str]:
    """What facts say, the last of each kind and method."""
    said: dict[str, str] = {}
    rounds = 0
    for fact in facts:
        body, table = fact.row.body, fact.row.table
        if table in ("readings", "locked_readings", "targets"):
            what = "target " if table == "targets" else ""
            name = f"{what}{_method(book, str(body['method_id']))}"
            said[name] = f"{name} {body['text']} {body['unit']}"
        elif table == "passes":
            rounds += 1
            said["rounds"] = f"{rounds} round{'' if rounds == 1 else 's'} of turns"
        elif table == "wings":
            said["wing"] = f"wing {body['text']}"
        else:
            said["signed"] = "signed off"
    return said.values()


def _method(book: Book, method_id: str) -> str:
    try:
        return book.method(method_id).name
    except BenchError:
        return "a reading"
