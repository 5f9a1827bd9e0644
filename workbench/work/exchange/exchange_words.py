"""What came of a file, in words: the same on the bench and on the command line."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

from workbench.errors import shown
from workbench.records.exchange.arrivals import Clash, Differs, Kind, StruckTwice
from workbench.records.store import rows
from workbench.records.store.specs import Table
from workbench.work.exchange.exchange import Change, Exported, TakenIn
from workbench.work.job.ski_state import SkiState
from workbench.work.job.stages import NOT_RELEASED
from workbench.work.text.local_time import local_day
from workbench.work.text.words import clean

_MOST_LISTED = 40
NAME_CELLS = 40

SINGULAR = {
    Table.BASELINES: "baseline",
    Table.PASSES: "round",
    Table.MOVES: "move in the queue",
    Table.WINGS: "wing setting",
    Table.SIGN_OFFS: "sign-off",
    Table.RIDE_NOTES: "ride note",
    Table.STRIKES: "row struck out",
    Table.CALIPER_CHECKS: "caliper check",
    Table.STUDIES: "study",
    Table.LOCKED_READINGS: "after-lock reading",
    Table.STUDY_READINGS: "study reading",
}
PLURAL = {
    Table.PASSES: "rounds",
    Table.MOVES: "moves in the queue",
    Table.STRIKES: "rows struck out",
    Table.STUDIES: "studies",
}


def exported_lines(done: Exported) -> list[str]:
    """Return what was written and where, and whether an earlier file made room for it."""
    instead = ", in place of the exchange file that was there" if done.replaced else ""
    said = f"({done.rows} rows, {size_words(done.size)})"
    return [f"Written: {clean(str(done.path))} {said}{instead}"]


def taken_in_lines(taken: TakenIn, now: datetime | None = None) -> list[str]:
    """Return what a file brought, then each conflict on a line of its own, marked ``!``."""
    brought = taken.brought
    new = [_count(table, count) for table, count in brought.new.items()]
    known = brought.known
    verb = "Would take in" if taken.dry_run else "Taken in"
    out = [f"{verb}: {', '.join(new)}" if new else "Nothing new in this file"]
    if known:
        out.append(f"Here already: {known} row{'' if known == 1 else 's'}, left as they are")
    if brought.settings_left:
        names = ", ".join(clean(name) for name in sorted(set(brought.settings_left)))
        out.append(f"Left in the file: settings of one bench ({names})")
    ahead = brought.latest is not None and brought.latest - (now or datetime.now(UTC))
    if ahead and ahead > timedelta(days=1):
        out.append(
            f"! Its newest row is of {brought.latest:%Y-%m-%d}, later than this machine's clock: "
            "check the clocks of both benches"
        )
    troubles = first_of([f"! {line}" for line in _troubles(taken)])
    return [*out, *troubles, *map(change_words, taken.changes)]


def first_of(troubles: list[str]) -> list[str]:
    """Return as many troubles as are listed, and how many more there are."""
    more = len(troubles) - _MOST_LISTED
    return troubles if more <= 0 else [*troubles[:_MOST_LISTED], f"! and {more} more"]


def _one(table: Table) -> str:
    """Return what one row of a table is called."""
    return SINGULAR.get(table, table.removesuffix("s").replace("_", " "))


def _count(table: Table, number: int) -> str:
    one = _one(table)
    return f"{number} {one if number == 1 else PLURAL.get(table, one + 's')}"


def size_words(size: int) -> str:
    """Return a file's size as people say it."""
    return f"{size / 1e6:.1f} MB" if size >= 100_000 else f"{max(size / 1e3, 0.1):.1f} kB"


def _troubles(taken: TakenIn) -> Iterator[str]:
    yield from map(differs_words, taken.brought.differs)
    yield from map(_struck_twice, taken.brought.struck_twice)
    yield from map(clash_words, taken.clashes)
    yield from map(clean, taken.troubles)


def differs_words(each: Differs) -> str:
    """Return a row that is here with other content than there."""
    return (
        f"{each.place} ({each.row_id}) is in the book with other content, which stays: "
        f"{each.column} is {shown(each.ours)} here and {shown(each.theirs)} there"
    )


def _struck_twice(each: StruckTwice) -> str:
    one = _one(each.table)
    said = [f"{_named(row['who']) or 'no initials'} ({_named(row['reason'])})"
            for row in (each.ours, each.theirs)]  # fmt: skip
    words = f"a {one} was struck out on both benches, by {said[0]} and by {said[1]}; both are kept"
    if each.ours["replaced_by"] != each.theirs["replaced_by"] and each.theirs["replaced_by"]:
        words += ", and so is each correction: strike out the one that is wrong"
    return words


def change_words(change: Change) -> str:
    """Return how a ski is now and how it stood before, with ``!`` where it is dangerous."""
    serial = f" ({_named(change.serial)})" if change.serial else ""
    told = change.contradicted if change.now.release is not None else ()
    now = "; ".join([state_words(change.now), *(_against(*each) for each in told)])
    was = f"; before: {state_words(change.before)}" if change.before is not None else ""
    sign = "! " if change.is_danger else ""
    return f"{sign}'{_named(change.name)}'{serial} is {now}{was}"


def _against(signed: rows.SignOff, why: str) -> str:
    who = _named(signed.who) or "nobody named"
    return f"the sign-off by {who} on {local_day(signed.at)} releases nothing: {clean(why)}"


def state_words(state: SkiState) -> str:
    """Return how a ski is, in a few words."""
    if state.release is not None:
        who = _named(state.release.who) or "nobody named"
        return f"released by {who} on {local_day(state.release.at)}"
    return f"{NOT_RELEASED}: {clean(state.danger)}" if state.danger else "not signed off"


def _named(text: str) -> str:
    kept = clean(text)
    return kept if len(kept) <= NAME_CELLS else f"{kept[: NAME_CELLS - 1]}…"


def clash_words(clash: Clash) -> str:
    """Return a clash as a sentence that says what can be done."""
    one = _one(clash.table)
    names = list(dict.fromkeys(clash.others))
    others = " and ".join(f"'{_named(name)}'" for name in names)
    if clash.kind == "serial" and len(names) == 1:
        others = f"{len(clash.others)} skis called {others}"
    return _CLASH_WORDS[clash.kind].format(
        subject=_named(clash.subject), kind=one, others=others, days=others.replace("'", "")
    )


_CLASH_WORDS: dict[Kind, str] = {
    "serial": "serial '{subject}' is on {others}: correct one of them",
    "name": "'{subject}' is the name of skis with the serials {others}: go by the serial",
    "twins": "there are two {kind}s called '{subject}': choose by number",
    "corrected": "{kind} '{subject}' was corrected on both benches: the later one is in force, "
    "look it over",
    "queued": "'{subject}' waits more than once, on {days}: strike out the job that is too much",
    "worked": "'{subject}' of {days} was worked on at both benches: look its numbers over",
}
