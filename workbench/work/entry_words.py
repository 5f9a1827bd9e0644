"""An entry of a job in a few words."""

from __future__ import annotations

from workbench.records import rows
from workbench.work.timeline_words import MARK_WORDS


def described(fact: rows.AnyFact) -> str:
    """Return an entry in a few words."""
    if isinstance(fact, rows.Reading | rows.Target | rows.WingSetting | rows.RideNote):
        kind = type(fact).__name__.lower().replace("setting", " angle")
        return f"{kind} {fact.text}"
    if isinstance(fact, rows.Tick):
        return f"tick '{fact.text}'"
    if isinstance(fact, rows.PassRow):
        return f"pass {fact.number}"
    if isinstance(fact, rows.Mark):
        return f"{MARK_WORDS.get(fact.kind, fact.kind)} {fact.text}".strip()
    if isinstance(fact, rows.LockedReading):
        return f"after-lock reading {fact.text}"
    if isinstance(fact, rows.Temperature):
        return f"temperature {fact.text} {fact.unit}"
    return "sign-off"
