"""The promise, concluded from the rows of a book alone: a model that knows facts and their order.

*No ski is released unless it was measured and its clamp bolts checked after the last turn.* It
reads the tables by plain SQL and shares no code with what it judges.

What is done to a ski counts whichever job it was written down in, in the order of ids. What was
struck out proves nothing; but a turn that was struck out may have been made all the same, so that
it counts as one until a mark that names it says that the stud was turned back, or never turned. A
pass that was struck out says no more than its steps, where those were kept one by one, and nothing
where it turned no stud. A job that
was struck out proves nothing either, and its turns count. A ski that was set aside is released by
no sign-off until it was taken up in that job; one that is signed off can no longer be taken up, and
bars its own sign-offs alone. Another blade or block loosens the bolts and moves the fin as a turn,
unless the change was struck out: it was never made.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

_FACTS = """
    SELECT f.id, f.kind, f.what, j.id AS job, j.ski_id AS ski,
        EXISTS (SELECT 1 FROM strikes x WHERE x.row_id IN (f.id, j.id)) AS struck
    FROM (
        SELECT id, job_id, 'signed' AS kind, '' AS what FROM sign_offs
        UNION ALL SELECT id, job_id, 'clamp', '' FROM ticks
            WHERE checklist = 'final' AND item = 'clamp'
        UNION ALL SELECT id, job_id, 'read', method_id FROM readings
        UNION ALL SELECT p.id, p.job_id, 'passed', coalesce((SELECT max(abs(t.turns)) > 0
            FROM turns t WHERE t.owner = p.id), 0) FROM passes p
        UNION ALL SELECT id, job_id, CASE WHEN number = 1 THEN 'loosened'
            WHEN text IN ('seat', 'snug') THEN 'seated' ELSE 'turned' END, ''
            FROM marks WHERE kind = 'step'
        UNION ALL SELECT id, job_id, 'settled', '' FROM marks WHERE kind = 'settled'
        UNION ALL SELECT id, job_id, 'undone', text FROM marks
            WHERE kind IN ('turned_back', 'not_turned')
        UNION ALL SELECT id, job_id, 'aside', '' FROM marks WHERE kind = 'set_aside'
        UNION ALL SELECT id, job_id, 'taken up', '' FROM marks WHERE kind = 'taken_up'
    ) f JOIN jobs j ON j.id = f.job_id ORDER BY f.id"""

_REFITS = """
    SELECT v.id, 'refitted' AS kind, '' AS what, '' AS job, v.root AS ski, 0 AS struck FROM (
        SELECT id, root, blade_id || ' ' || block_id AS parts,
            LAG(blade_id || ' ' || block_id) OVER (PARTITION BY root ORDER BY id) AS before
        FROM skis
    ) v WHERE v.parts <> v.before AND NOT EXISTS (
        SELECT 1 FROM strikes x WHERE x.row_id = v.id OR x.replaced_by = v.id)"""
"""Each version of a ski by which it got other parts, but those never made and what put them right.
"""

_METHODS = """SELECT s.root, p.method_id FROM skis s JOIN ski_methods p ON p.owner = s.id
    WHERE s.id = (SELECT max(v.id) FROM skis v WHERE v.root = s.root)"""


class Fact(NamedTuple):
    """One thing that was done to a ski.

    ``what`` is the method of a reading, the row that a mark names, of a pass whether it turns.
    """

    id: str
    kind: str
    what: str | int
    job: str
    ski: str
    struck: bool


_TURNED = ("turned", "passed", "settled")
_MOVED = (*_TURNED, "refitted")


@dataclass
class Ski:
    """What follows for a ski from its facts up to one of them.

    ``released``: a sign-off releases it now. ``proved``: the sign-offs that released it when they
    were made; of the others none ever did.
    """

    methods: frozenset[str]
    read: set[str] = field(default_factory=set)
    clamped: bool = False
    loose: bool = False
    aside: set[str] = field(default_factory=set)
    signed: set[str] = field(default_factory=set)
    stepped: set[str] = field(default_factory=set)
    released: bool = False
    proved: set[str] = field(default_factory=set)
    why: str = "never signed off"

    def take(self, fact: Fact, undone: frozenset[str] = frozenset()) -> None:
        """Go on by one fact; ``undone`` are the turns that were struck out and undone by hand."""
        said_by_steps = fact.kind == "passed" and (fact.job in self.stepped or not fact.what)
        if fact.kind in ("turned", "passed"):
            (self.stepped.add if fact.kind == "turned" else self.stepped.discard)(fact.job)
        if fact.struck and (fact.id in undone or said_by_steps or fact.kind not in _TURNED):
            return
        if fact.kind in _MOVED:
            self.read.clear()
        if fact.kind in _MOVED or fact.kind in ("loosened", "seated"):
            self.clamped, self.released, self.loose = False, False, True
            self.why = f"{fact.kind} since"
        if fact.struck:
            return
        if fact.kind == "read" and fact.what in self.methods:
            self.read.add(fact.what)
        elif fact.kind == "clamp":
            self.clamped, self.loose = True, False
        elif fact.kind == "aside":
            self.aside.add(fact.job)
            self.released, self.why = False, "set aside"
        elif fact.kind == "taken up":
            self.aside.discard(fact.job)
        elif fact.kind == "signed":
            self._sign(fact)

    def _sign(self, fact: Fact) -> None:
        lacks = [
            words
            for words, lacking in (
                ("not measured after the last turn", not self.read >= self.methods),
                ("clamp bolts not checked after the last turn", not self.clamped),
                ("set aside", bool(self.aside - (self.signed - {fact.job}))),
            )
            if lacking
        ]
        self.signed.add(fact.job)
        if lacks:
            self.why = "signed off, but " + ", ".join(lacks)
        else:
            self.released, self.why = True, ""
            self.proved.add(fact.id)


def conclude(methods: Mapping[str, Iterable[str]], facts: Sequence[Fact]) -> dict[str, Ski]:
    """Return what follows for each ski from facts in the order of their ids."""
    skis = {ski: Ski(frozenset(each)) for ski, each in methods.items()}
    undone = frozenset(f.what for f in facts if f.kind == "undone" and not f.struck)
    for fact in facts:
        skis[fact.ski].take(fact, undone)
    return skis


def read_book(db: sqlite3.Connection) -> tuple[dict[str, Ski], list[Fact]]:
    """Return what follows for each ski of a book, by its id, and the facts it follows from."""
    methods: dict[str, set[str]] = {}
    for ski, method in db.execute(_METHODS):
        methods.setdefault(ski, set()).add(method)
    rows = sorted([*db.execute(_FACTS), *db.execute(_REFITS)])
    facts = [Fact(*row[:5], bool(row[5])) for row in rows]
    return conclude(methods, facts), facts
