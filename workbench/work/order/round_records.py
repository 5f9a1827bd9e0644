"""What the records of a job say: which studs were turned, by which versions, and each in words.

A job follows the newest version of its block and blade, so that a correction helps at once. Two do
not: a signed-off job keeps showing what it showed, and an open round is finished as it was begun,
for the turns made in it were counted by what was written down then. Which versions those were is
kept with the loosening and with the sign-off, for a correction made earlier on another bench may
come in later.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Literal, TypeVar, assert_never, cast, get_args

from workbench.measure.display import turns_text
from workbench.records.book import Book
from workbench.records.store import rows
from workbench.work.text.local_time import day_and_time
from workbench.work.text.words import clean
from workbench.work.trust.wing_setup import hold_numbered

_Fact = TypeVar("_Fact", bound=rows.Fact)


def live(facts: Iterable[rows.AnyFact], kind: type[_Fact]) -> list[_Fact]:
    """Return the facts of a kind that are not struck out."""
    return [f for f in facts if isinstance(f, kind) and f.struck is None]


def last_of(facts: Iterable[rows.AnyFact], kind: type[_Fact]) -> _Fact | None:
    """Return the last fact of a kind that is not struck out."""
    return next(reversed(live(facts, kind)), None)


def last_mark(facts: Iterable[rows.AnyFact], kind: str) -> rows.Mark | None:
    """Return the last mark of a kind that is not struck out."""
    return next((f for f in reversed(live(facts, rows.Mark)) if f.kind == kind), None)


WING_AIM = "wing_aim"
"""The kind of mark that keeps the wing's angle wanted, in degrees."""

TAKEN_BACK = "taken back"
"""The reason with which the last entry is struck out when it is taken back."""

SETTLED = "settled"
"""The kind of mark that says that each stud was turned out and in again before it was read."""

BY_HAND = "by hand"
"""The text of the step of a round that was turned as its technician judged: which studs went how
far nobody wrote down, and such a round keeps no turns."""

TurnAnswer = Literal["turned_back", "not_turned"]
TURN_ANSWERS: tuple[TurnAnswer, ...] = get_args(TurnAnswer)
"""Marks that say of a struck record, whose id is their text, that its stud is turned no longer."""


def turn_in(fact: rows.AnyFact, beside: Iterable[rows.AnyFact]) -> str:
    """Return which stud a record says was turned; nothing where it is the record of no turn.

    A round whose steps were kept one by one, among ``beside``, records no turn that these do not.
    Of what an older book kept of a step only its number is known: from the second on it may be a
    turn.
    """
    if isinstance(fact, rows.Mark) and fact.kind == "step":
        do, _, rest = fact.text.partition(" ")
        if do == "turn":
            return rest.rpartition(" ")[0]
        if fact.text == BY_HAND:
            return "the studs"
        return "a stud" if not fact.text and (fact.number or 0) > 1 else ""
    if isinstance(fact, rows.Mark) and fact.kind == SETTLED:
        return "the studs"
    if not isinstance(fact, rows.PassRow):
        return ""
    if fact.turns and not any(t.turns for t in fact.turns):
        return ""
    steps = _open_steps([f for f in beside if f.id < fact.id])
    return "" if any((f.number or 0) > 1 for f in steps) else "the studs"


def _open_steps(facts: Sequence[rows.AnyFact]) -> list[rows.Mark]:
    """Return the steps that no reading, target or round came after."""
    others = (rows.Reading, rows.Target, rows.PassRow)
    since = max((f.id for f in facts if isinstance(f, others)), default="")
    return [f for f in facts if isinstance(f, rows.Mark) and f.kind == "step" and f.id > since]


def answered_in(facts: Iterable[rows.AnyFact]) -> dict[str, str]:
    """Return what was said of struck records of turns, by the record's id."""
    return {f.text: f.kind for f in live(facts, rows.Mark) if f.kind in TURN_ANSWERS}


def struck_turn(fact: rows.AnyFact, of_job: Iterable[rows.AnyFact]) -> bool:
    """Whether a struck record, among the facts of its job, was that of a stud turned."""
    if fact.struck is None:
        return False
    beside = (f for f in of_job if f.struck is None or isinstance(f, rows.Mark))
    return bool(turn_in(fact, beside))


_Part = TypeVar("_Part", rows.Blade, rows.Block)

# -- by which versions of block and blade ----------------------------------------------------------

_PARTS = "parts"
"""What a note of versions begins with, in the text of a step or a sign-off."""


def held_at(facts: Sequence[rows.AnyFact]) -> str:
    """Return the id of the row that holds a job to what was written down before; else nothing."""
    if signed := live(facts, rows.SignOff):
        return signed[-1].id
    steps = _open_steps([f for f in facts if f.struck is None])
    return steps[1].id if len(steps) > 1 else ""  # the first is the loosening


def round_begun(facts: Sequence[rows.AnyFact]) -> str:
    """Return the id of the loosening of the round under way; nothing without one."""
    return next((f.id for f in _open_steps([f for f in facts if f.struck is None])), "")


def parts_text(book: Book, ski: rows.Ski) -> str:
    """Return the versions of a ski's blade and block that are in force, as rows keep them."""
    newest = (book.blade_versions(ski.blade_id)[-1], book.block_versions(ski.block_id)[-1])
    return " ".join((_PARTS, *(version.id for version in newest)))


def is_parts_text(text: str) -> bool:
    """Whether a row's text is such a note of versions: nothing that a person wrote."""
    return text.startswith(f"{_PARTS} ") and len(text.split()) == 3


def block_for(
    book: Book, block: rows.Block, facts: Sequence[rows.AnyFact], until: str
) -> tuple[rows.Block, str]:
    """Return the block as it was at the row ``until``, and words on a later correction."""
    return _before(book.block_versions(block.id), block, facts, until, "block")


def blade_for(
    book: Book, blade: rows.Blade, facts: Sequence[rows.AnyFact], until: str
) -> tuple[rows.Blade, str]:
    """Return the blade as it was at the row ``until``, and words on a later correction."""
    return _before(book.blade_versions(blade.id), blade, facts, until, "blade")


def _told(facts: Sequence[rows.AnyFact], until: str) -> frozenset[str]:
    """Return the versions that were noted with a sign-off, or with the loosening of its round.

    Older rows have no such note.
    """
    text = ""
    for fact in facts:
        if fact.struck is not None or fact.id > until:
            continue
        if isinstance(fact, rows.SignOff) and fact.id == until:
            text = fact.text
        elif isinstance(fact, rows.PassRow) and fact.id < until:
            text = ""
        elif isinstance(fact, rows.Mark) and fact.kind == "step" and fact.number == 1:
            text = fact.text
    return frozenset(text.split()[1:]) if is_parts_text(text) else frozenset()


def _before(
    versions: Sequence[rows.PartVersion],
    newest: _Part,
    facts: Sequence[rows.AnyFact],
    until: str,
    what: str,
) -> tuple[_Part, str]:
    told = _told(facts, until)
    kept = [v for v in versions if v.id in told] or [v for v in versions if v.id < until]
    if not kept or kept[-1] is versions[-1]:
        return newest, ""
    later = versions[-1]
    by = f" by {clean(later.who)}" if later.who else ""
    return cast("_Part", kept[-1].part), f"{what} corrected later, {day_and_time(later.at)}{by}"


def turned_other_way(
    book: Book, block: rows.Block, facts: Sequence[rows.AnyFact]
) -> frozenset[str]:
    """Return the studs whose hand was written down otherwise when the last round was made.

    They were turned the other way than the round says: what was told as in moved them out.
    """
    made = live(facts, rows.PassRow)
    return other_way_in(book, block, facts, made[-1]) if made else frozenset()


def other_way_in(
    book: Book, block: rows.Block, facts: Sequence[rows.AnyFact], made: rows.PassRow
) -> frozenset[str]:
    """Return the studs whose hand was written down otherwise when this round was made."""
    return hands_changed(block_for(book, block, facts, made.id)[0], block)


def hands_changed(then: rows.Block, now: rows.Block) -> frozenset[str]:
    """Return the studs whose hand was written down otherwise then."""
    hands = {s.name: s.hand for s in then.studs}
    return frozenset(s.name for s in now.studs if hands.get(s.name, s.hand) != s.hand)


# -- an entry in a few words -----------------------------------------------------------------------


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


def did_words(fact: rows.AnyFact) -> str:
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
