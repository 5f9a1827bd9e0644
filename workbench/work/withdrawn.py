"""What a sign-off rested on and was struck out since: the sign-off stands, but releases nothing.

A row can be struck out on the ski's history, or on another bench and come in by a file.
"""

from __future__ import annotations

from collections.abc import Sequence

from workbench.advice.checklists import CLAMP
from workbench.records import rows


def withdrawn_from(facts: Sequence[rows.AnyFact], method_ids: Sequence[str], has_wing: bool) -> str:
    """Return what no longer stands of what the last sign-off rested on, in a few words; or nothing.

    A check counts where it was struck out and is ticked by no other row before the sign-off,
    likewise the wing, and a reading of the last pass by one of these methods. A pass counts where
    it was struck out after the sign-off, for one that was struck out before was done anew.
    """
    live = [f for f in facts if f.struck is None]
    signed = [f for f in live if isinstance(f, rows.SignOff)]
    if not signed:
        return ""
    sign_off = signed[-1]
    before = [f for f in facts if f.id < sign_off.id]
    stands = [_what(f) for f in before if f.struck is None]
    gone = [f for f in before if f.struck is not None and _what(f) not in stands]
    passes = [f for f in gone if isinstance(f, rows.PassRow) and _later(f, sign_off)]
    last = sum(isinstance(f, rows.PassRow) for f in (*live, *passes))
    checks = {f.item for f in gone if isinstance(f, rows.Tick) and f.checklist == "final"}
    out = ["clamp-bolt check"] if CLAMP in checks else []
    if checks - {CLAMP}:
        out.append("final check")
    read = [f for f in gone if isinstance(f, rows.Reading) and f.pass_number == last]
    if any(f.method_id in method_ids for f in read):
        out.append("reading")
    if has_wing and any(isinstance(f, rows.WingSetting) for f in gone):
        out.append("wing")
    if passes:
        out.append("pass")
    return " and ".join(out)


def _what(fact: rows.AnyFact) -> tuple[object, ...]:
    """Return what a fact stands for, so that another one may stand in its place."""
    if isinstance(fact, rows.Tick):
        return ("tick", fact.checklist, fact.item)
    if isinstance(fact, rows.Reading):
        return ("reading", fact.pass_number, fact.method_id)
    if isinstance(fact, rows.WingSetting):
        return ("wing",)
    return (fact.id,)


def _later(fact: rows.AnyFact, sign_off: rows.SignOff) -> bool:
    return fact.struck is not None and fact.struck.at > sign_off.at
