"""An entry of a job in a few words."""

from __future__ import annotations

from collections.abc import Iterator
from typing import assert_never

from workbench.measure.display import turns_text
from workbench.records.book import Book
from workbench.records.store import rows
from workbench.work.job.job_view import WING_AIM, JobView
from workbench.work.job.ski_state import TAKEN_BACK
from workbench.work.order.round_records import BY_HAND
from workbench.work.text.local_time import local
from workbench.work.text.words import clean
from workbench.work.trust.wing_setup import hold_numbered

MOST_TOLD = 2
"""So many of the things added are told; more would not be read."""


def described(fact: rows.AnyFact) -> str:
    """Return an entry in a few words."""
    match fact:
        case rows.Reading() | rows.Target() | rows.WingSetting() | rows.RideNote():
            kind = type(fact).__name__.lower().replace("setting", " angle")
            return f"{kind} {fact.text}"
        case rows.Tick():
            return f"tick '{fact.text}'"
        case rows.PassRow():
            return f"round {fact.number}"
        case rows.Mark(kind="step"):
            return step_done_words(fact)
        case rows.Mark(kind="wing_aim"):
            return f"{MARK_WORDS[WING_AIM]} {_angle_wanted(fact)}"
        case rows.Mark():
            return f"{MARK_WORDS.get(fact.kind, fact.kind)} {fact.text}".strip()
        case rows.LockedReading():
            return f"after-lock reading {fact.text}"
        case rows.Temperature():
            return f"temperature {fact.text} {fact.unit}"
        case rows.SignOff():
            return "sign-off"
        case _:
            assert_never(fact)


_MARKS: dict[str, tuple[str, str]] = {
    "seated": ("studs brought up to touch the blade", "brought the studs up"),
    "aimed": ("target accepted", "accepted the target"),
    "reaim": ("target opened again", "opened the target again"),
    "step": ("step of the round done", ""),
    "accepted": ("readings accepted", "accepted the readings"),
    "set_aside": ("set aside", "set it aside:"),
    "taken_up": ("taken up again", "took it up again"),
    "held": ("unplaced reading", "kept as a note:"),
    "finest": ("finest turn", "changed the finest turn to"),
    "note": ("note", "wrote a note:"),
    "second_eyes": ("second pair of eyes", "kept a second pair of eyes:"),
    "wing_aim": ("wing angle wanted", "asked for the wing angle"),
    "enough": ("gone on with fewer repeats", "went on with fewer repeats"),
    "turned_back": ("the stud was turned back by hand", "turned a stud back by hand"),
    "not_turned": ("the stud was never turned", "said that a stud was never turned"),
}
"""What a mark is called, and what it says somebody did; its text follows where it has one that a
person wrote."""

MARK_WORDS = {kind: name for kind, (name, _) in _MARKS.items()}
_BARE = ("accepted", "turned_back", "not_turned")


def _angle_wanted(fact: rows.Mark) -> str:
    hold = hold_numbered(fact.number)
    return f"{clean(fact.text[:40])}° held at the {hold}" if hold else clean(fact.text[:40])


def _did(fact: rows.AnyFact) -> str:
    """Return what somebody did to a ski, as said behind their initials."""
    if isinstance(fact, rows.Mark):
        if fact.kind == "step":
            return step_done_words(fact)
        text = "" if fact.kind in _BARE else clean(fact.text[:40])
        text = _angle_wanted(fact) if fact.kind == WING_AIM else text
        _, did = _MARKS.get(fact.kind, ("", clean(fact.kind)))
        return f"{did} {text}".strip()
    if isinstance(fact, rows.PassRow):
        return f"finished the turns of round {fact.number}"
    if isinstance(fact, rows.SignOff):
        return "signed it off"
    if isinstance(fact, rows.Tick):
        return f"ticked '{clean(fact.text[:40])}'"
    if isinstance(fact, rows.Reading):
        return f"read {clean(fact.text)} {fact.unit}"
    if isinstance(fact, rows.WingSetting):
        return f"set the wing to {fact.angle_deg:g}°"
    return f"kept a {clean(described(fact)[:40])}"


def what_came_in(seen: JobView, now: JobView, book: Book) -> str:
    """Return what was done to a ski since a view of it was read: by whom and when, newest first."""
    found = sorted(_news(seen, now, book), reverse=True)
    told = [f"{clean(who) or 'somebody'} {did} at {local(at):%H:%M}" for at, who, did in found]
    if any(h.job.id > seen.seen.newest for h in book.history_of_ski(now.ski.id)):
        told.append("it was queued again")
    if len(told) > MOST_TOLD:
        told[MOST_TOLD:] = [f"and {len(told) - MOST_TOLD} more"]
    if told:
        return "; ".join(told)
    if seen.job.day != now.job.day:
        return f"it was carried to {now.job.day}"
    if seen.seen.newest != now.seen.newest or seen.seen.facts != now.seen.facts:
        return "something of it arrived from another book, or was struck out"
    return "its sheet, its blade, its block or the shop's settings were changed"


def _news(seen: JobView, now: JobView, book: Book) -> Iterator[tuple[str, str, str]]:
    """Yield when, who and what of each fact and strike that the view was read without."""
    known = {f.id: f for f in seen.facts}
    for history in book.history_of_ski(now.ski.id):
        own = history.job.id == now.job.id
        for fact in history.facts:
            if fact.id not in known if own else fact.id > seen.seen.newest:
                yield fact.at, fact.who, _did(fact)
            elif own and fact.struck is not None and known[fact.id].struck is None:
                verb = "took back" if fact.struck.reason == TAKEN_BACK else "struck out"
                yield fact.struck.at, fact.struck.who, f"{verb} '{described(fact)}'"


def step_done_words(fact: rows.Mark) -> str:
    """Return what a step of a round did, as one says of somebody."""
    do, _, rest = fact.text.partition(" ")
    if do == "turn":
        stud, _, turns = rest.rpartition(" ")
        return f"turned the {clean(stud)} stud{_far(turns)}"
    if fact.number == 1:
        return "loosened the clamp bolts"
    if fact.text == BY_HAND:
        return "turned the studs as judged"
    return {"seat": "pushed the blade home", "snug": "snugged the clamp bolts"}.get(
        do, f"did step {fact.number} of the round"
    )


def _far(turns: str) -> str:
    try:
        number = float(turns)
    except ValueError:
        return ""
    return f" {turns_text(number)} {'in' if number > 0 else 'out'}"
