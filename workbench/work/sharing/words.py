"""Sharing in words and as JSON: what a round did, how far a book is in step with its hub."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import assert_never

from workbench.errors import shown
from workbench.records.sharing.hub import BenchThere, HubFacts
from workbench.records.sharing.journal import InHand
from workbench.work.exchange.exchange import Change
from workbench.work.exchange.exchange_words import (
    change_words,
    clash_words,
    differs_words,
    first_of,
    size_words,
)
from workbench.work.sharing.hubs import HubStatus, Shared, Standing
from workbench.work.sharing.rounds import Round, SetTwice, Version
from workbench.work.text.words import clean


def shared_lines(shared: Shared) -> list[str]:
    """Return what a round did, then each thing to look at on a line of its own, marked ``!``."""
    done = shared.round
    head = f"{_rows(done.sent)} sent, {_rows(done.taken)} taken"
    if done.is_whole:
        head += f": in step with {clean(shared.place)}"
    return [head, *first_of(news_lines(shared)), *map(_in_hand_words, shared.in_hand)]


def _in_hand_words(each: InHand) -> str:
    who = f" ({clean(each.who)})" if each.who else ""
    return f"{clean(each.bench)}{who} had '{clean(each.ski)}' in hand on {_when(each.at)}"


def _when(at: datetime) -> str:
    return f"{at.astimezone():%Y-%m-%d %H:%M}"


def news_lines(shared: Shared) -> list[str]:
    """Return what of a round is to be looked at, a line each: clashes first."""
    done = shared.round
    lines = [
        *map(set_twice_words, shared.set_twice),
        *dict.fromkeys(map(clash_words, done.clashes)),
        *map(differs_words, done.differs),
        *map(clean, dict.fromkeys(done.troubles)),
        *map(clean, done.stopped),
        *(f"not taken: {clean(why)}" for why in done.refused),
    ]
    states = [change_words(change) for change in _changes(done)]
    return [*(f"! {line}" for line in lines), *states]


def _changes(done: Round) -> list[Change]:
    """The skis whose state changed, each once: as it was before the first and is after the last."""
    out: dict[tuple[str, str], Change] = {}
    for change in done.changes:
        key = (change.name, change.serial)
        first = out.get(key, change)
        out[key] = Change(*key, first.before, change.now, change.contradicted)
    return sorted(out.values(), key=lambda change: not change.is_danger)


def is_danger(shared: Shared) -> bool:
    """Whether a ski is not to be ridden that this bench thought otherwise of."""
    return any(change.is_danger for change in _changes(shared.round))


def set_twice_words(each: SetTwice) -> str:
    """Return both versions of a ski that two benches set, neither knowing of the other."""
    return (
        f"'{clean(each.ski)}' was set at two benches at once: {_version(each.ours)}; "
        f"{_version(each.theirs)}. Both are kept: look its numbers over"
    )


def versions_words(each: SetTwice) -> str:
    """Return the same of the ski in hand, whose name is shown above."""
    return f"set at two benches at once: {_version(each.ours)}; {_version(each.theirs)}"


def _version(version: Version) -> str:
    who = f" ({clean(version.who)})" if version.who else ""
    return f"at {clean(version.bench)}{who} {clean(version.words)}"


def _rows(count: int) -> str:
    return f"{count} row{'' if count == 1 else 's'}"


def shared_json(shared: Shared) -> dict[str, object]:
    """Return what a round did, for machines."""
    done = shared.round
    return {
        "place": shared.place,
        "sent": done.sent,
        "taken": done.taken,
        "in_step": done.is_whole,
        "refused": done.refused,
        "stopped": done.stopped,
        "set_twice": [
            {"ski": each.ski, "versions": [_version_json(each.ours), _version_json(each.theirs)]}
            for each in shared.set_twice
        ],
        "in_hand": [
            {"bench": each.bench, "who": each.who, "ski": each.ski, "at": each.at.isoformat()}
            for each in shared.in_hand
        ],
        "news": news_lines(shared),
    }


def _version_json(version: Version) -> dict[str, str]:
    return {"bench": version.bench, "who": version.who, "set": version.words}


def begun_lines(url: str, facts: HubFacts, done: tuple[str, ...]) -> list[str]:
    """Return what 'hub init' did, and how benches get in."""
    what = f"made or brought up: {', '.join(done)}" if done else "was there, and up to date"
    return [
        f"Hub {facts.id} on {facts.server} {what}",
        "A bench gets a login of its own, which may append and read and nothing else:",
        "  CREATE ROLE bench_one LOGIN PASSWORD '...' IN ROLE quarterturn_bench;",
        "Then there: quarterturn hub join URL, with that login's name in the URL and its password",
        "in ~/.pgpass, PGPASSWORD or a service file.",
    ]


def joined_lines(url: str, facts: HubFacts) -> list[str]:
    """Return what 'hub join' did, with a caution where the login may do more than a bench needs."""
    out = [f"Joined: {clean(url)}", "The bench keeps in step while it is open; else: sync"]
    if facts.may_change:
        out.insert(
            1,
            "! This login is an owner's: let the bench have one IN ROLE quarterturn_bench, which "
            "the database lets append and read alone",
        )
    return out


def status_lines(status: HubStatus, names: Mapping[str, str]) -> list[str]:
    """Return how far a book is in step with its hub; ``names`` are those of skis by their ids."""
    share, facts = status.share, status.facts
    out = [
        f"hub: {clean(share.place)}",
        f"this bench: {clean(share.name)}",
        f"to send: {_rows(status.unsent)}",
    ]
    if status.held:
        out.append(f"! held back: {_rows(status.held)}, which 'sync' names")
    if facts is None:
        return [*out, f"! alone: {clean(status.trouble)}"]
    out += [
        f"to take: {_rows(status.untaken)}",
        f"on it: {facts.server}, form {facts.form}, last row {facts.last}, "
        f"{size_words(facts.size)}",
    ]
    return [*out, *(f"bench: {there_words(each, names)}" for each in status.benches)]


def there_words(there: BenchThere, names: Mapping[str, str]) -> str:
    """Return a bench that a hub knows, what it has in hand, or when it was last there."""
    who = f" ({clean(there.who)})" if there.who else ""
    if not there.is_here:
        return f"{clean(there.name)}{who}, last there {_when(there.seen)}"
    if not there.ski:
        return f"{clean(there.name)}{who}, there"
    ski = clean(names.get(there.ski, "a ski that is not here yet"))
    return f"{clean(there.name)}{who} has '{ski}' in hand since {there.since.astimezone():%H:%M}"


def status_json(status: HubStatus, names: Mapping[str, str]) -> dict[str, object]:
    """Return how far a book is in step with its hub, for machines."""
    facts = status.facts
    return {
        "hub": status.share.place,
        "name": status.share.name,
        "unsent": status.unsent,
        "held": status.held,
        "trouble": status.trouble,
        "untaken": None if facts is None else status.untaken,
        "server": None if facts is None else facts.server,
        "form": None if facts is None else facts.form,
        "last": None if facts is None else facts.last,
        "size": None if facts is None else facts.size,
        "benches": [
            {
                "name": each.name,
                "who": each.who,
                "ski": names.get(each.ski, ""),
                "since": each.since.isoformat(),
                "seen": each.seen.isoformat(),
                "here": each.is_here,
            }
            for each in status.benches
        ],
    }


def sign_of(standing: Standing, *, short: bool = False) -> str:
    """Return how a bench is with its hub as a sign and a word or two, for the top line."""
    since = f"{'' if short else 'since '}{standing.since:%H:%M}"
    match standing.how:
        case "in step":
            return "= in step"
        case "behind":
            return f"~ behind {since}"
        case "alone":
            more = f", {standing.unsent} to send" if standing.unsent and not short else ""
            return f"! alone {since}{more}"
        case _:
            assert_never(standing.how)


def held_elsewhere(standing: Standing, ski_id: str) -> str:
    """Return who else has a ski in hand and where, blank where nobody has."""
    for there in standing.others:
        if there.ski == ski_id:
            who = clean(there.who) or "somebody"
            since = f"{there.since.astimezone():%H:%M}"
            return f"{who} has this ski in hand at {shown(clean(there.name))} since {since}"
    return ""
