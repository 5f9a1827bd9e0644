"""Which records of a job say that a stud was turned, and what was said of those struck out."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal, get_args

from workbench.records.store import rows

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
    earlier = [f for f in beside if f.id < fact.id]
    others = (rows.Reading, rows.Target, rows.PassRow)
    since = max((f.id for f in earlier if isinstance(f, others)), default="")
    steps = (f for f in earlier if f.id > since and isinstance(f, rows.Mark) and f.kind == "step")
    return "" if any((f.number or 0) > 1 for f in steps) else "the studs"


def answered_in(facts: Iterable[rows.AnyFact]) -> dict[str, str]:
    """Return what was said of struck records of turns, by the record's id."""
    return {
        f.text: f.kind
        for f in facts
        if isinstance(f, rows.Mark) and f.kind in TURN_ANSWERS and f.struck is None
    }


def struck_turn(fact: rows.AnyFact, of_job: Iterable[rows.AnyFact]) -> bool:
    """Whether a struck record, among the facts of its job, was that of a stud turned."""
    if fact.struck is None:
        return False
    beside = (f for f in of_job if f.struck is None or isinstance(f, rows.Mark))
    return bool(turn_in(fact, beside))
