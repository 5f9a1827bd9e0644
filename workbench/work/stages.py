"""The stages of a ski on the bench: one table says what is allowed when.

A job's stage is never stored. It is read off its facts, struck-out ones aside: the stage is the
first gate that is not yet passed. Taking an entry back therefore leads back to where it was made.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from workbench.advice.checklists import RECEIVED, final_items
from workbench.errors import InputError
from workbench.fin.guidance import is_within
from workbench.measure.repeats import mean_of
from workbench.records.rows import (
    AnyFact,
    Mark,
    PassRow,
    Reading,
    SignOff,
    Target,
    Tick,
    WingSetting,
)

Stage = Literal[
    "waiting", "received check", "as received", "studs", "target", "turning", "measuring",
    "within", "wing", "final check", "sign-off", "signed off", "set aside",
]  # fmt: skip

Event = Literal[
    "tick received", "read", "seat", "aim", "accept target", "step", "accept", "set wing",
    "tick final", "sign off", "set aside", "take up", "note", "finest", "strike",
]  # fmt: skip

GLYPHS: dict[Stage, str] = {
    "waiting": "·", "received check": "?", "as received": "1", "studs": "2", "target": "3",
    "turning": "4", "measuring": "5", "within": "=", "wing": "6", "final check": "7",
    "sign-off": "8", "signed off": "✓", "set aside": "‖",
}  # fmt: skip

_ANYTIME: frozenset[Event] = frozenset({"set aside", "note", "finest"})
_READ: frozenset[Event] = _ANYTIME | {"strike"}

ALLOWED: dict[Stage, frozenset[Event]] = {
    "waiting": _ANYTIME | {"tick received"},
    "received check": _ANYTIME | {"tick received"},
    "as received": _READ | {"read"},
    "studs": _READ | {"read", "seat"},
    "target": _READ | {"aim", "accept target"},
    "turning": _READ | {"aim", "step", "accept"},
    "measuring": _READ | {"read"},
    "within": _READ | {"aim", "read", "accept"},
    "wing": _READ | {"set wing"},
    "final check": _READ | {"tick final"},
    "sign-off": _READ | {"sign off"},
    "signed off": frozenset({"note"}),
    "set aside": frozenset({"note", "take up"}),
}
"""Stage and event: everything that is not here is refused."""


def check_allowed(stage: Stage, event: Event) -> None:
    """Raise an InputError unless the event is allowed at this stage."""
    if event not in ALLOWED[stage]:
        can = ", ".join(sorted(ALLOWED[stage]))
        raise InputError("next step", f"{event} at the stage '{stage}'", f"one of: {can}")


@dataclass(frozen=True, slots=True)
class Progress:
    """Where a job stands: its stage, the pass under way, and what there is so far (mm).

    ``values``: repeats by pass number and method id, in order. ``step``: acts of this pass done.
    ``ticked``: keys ticked of the checklist that is due.
    """

    stage: Stage
    pass_number: int
    values: Mapping[int, Mapping[str, tuple[Reading, ...]]]
    targets: Mapping[str, Target]
    step: int
    ticked: frozenset[str]
    reason: str = ""

    @property
    def mid_pass(self) -> bool:
        """Whether studs may have been turned since the readings: only loosening comes before."""
        return self.stage == "turning" and self.step > 1

    def mean_mm(self, pass_number: int, method_id: str) -> float | None:
        """Return the mean of a method's repeats in a pass, or None."""
        taken = self.values.get(pass_number, {}).get(method_id, ())
        return mean_of([r.mm for r in taken]) if taken else None


def progress(
    facts: Sequence[AnyFact],
    method_ids: Sequence[str],
    tolerances_mm: Mapping[str, float],
    has_wing: bool,
) -> Progress:
    """Read a job's progress off its facts (in order of id)."""
    live = [f for f in facts if f.struck is None]
    values = _values(live)
    targets = {f.method_id: f for f in live if isinstance(f, Target)}
    passes = [f for f in live if isinstance(f, PassRow)]
    number = len(passes)
    found = _gate(live, method_ids, tolerances_mm, has_wing, values, targets, number)
    stage, ticked = found
    aside = [f for f in live if isinstance(f, Mark) and f.kind in ("set_aside", "taken_up")]
    reason = ""
    if aside and aside[-1].kind == "set_aside" and stage != "signed off":
        stage, reason = "set aside", aside[-1].text
    since = _last_id(live, (Reading, Target, PassRow))
    steps = [f for f in live if isinstance(f, Mark) and f.kind == "step" and f.id > since]
    return Progress(stage, number, values, targets, len(steps), ticked, reason)


def _gate(
    live: Sequence[AnyFact],
    method_ids: Sequence[str],
    tolerances_mm: Mapping[str, float],
    has_wing: bool,
    values: Mapping[int, Mapping[str, tuple[Reading, ...]]],
    targets: Mapping[str, Target],
    number: int,
) -> tuple[Stage, frozenset[str]]:
    """Return the stage of the first gate not passed, and what of its checklist is ticked."""
    if any(isinstance(f, SignOff) for f in live):
        return "signed off", frozenset()
    received = frozenset(f.item for f in live if isinstance(f, Tick) and f.checklist == "received")
    if not received >= {i.key for i in RECEIVED}:
        return ("received check" if received else "waiting"), received
    if not all(values.get(0, {}).get(m) for m in method_ids):
        return "as received", frozenset()
    marks = {f.kind: f.id for f in live if isinstance(f, Mark)}
    if "seated" not in marks:
        return "studs", frozenset()
    opened = max(_last_id(live, (Target,)), marks.get("reaim", ""))
    if marks.get("aimed", "") <= opened or "aimed" not in marks:
        return "target", frozenset()
    if not all(values.get(number, {}).get(m) for m in method_ids):
        return "measuring", frozenset()
    touched = _last_id(live, (Reading, Target, PassRow))
    if marks.get("accepted", "") < touched:
        met = _met(method_ids, tolerances_mm, values, targets, number)
        return ("within" if met else "turning"), frozenset()
    if has_wing and not any(isinstance(f, WingSetting) and f.id > touched for f in live):
        return "wing", frozenset()
    touched = max(touched, _last_id(live, (WingSetting,)), marks.get("accepted", ""))
    final = frozenset(
        f.item for f in live if isinstance(f, Tick) and f.checklist == "final" and f.id > touched
    )
    done = final >= {i.key for i in final_items(has_wing)}
    return ("sign-off" if done else "final check"), final


def _values(live: Sequence[AnyFact]) -> dict[int, dict[str, tuple[Reading, ...]]]:
    out: dict[int, dict[str, tuple[Reading, ...]]] = {}
    for f in live:
        if isinstance(f, Reading):
            row = out.setdefault(f.pass_number, {})
            row[f.method_id] = (*row.get(f.method_id, ()), f)
    return out


def _met(
    method_ids: Sequence[str],
    tolerances_mm: Mapping[str, float],
    values: Mapping[int, Mapping[str, tuple[Reading, ...]]],
    targets: Mapping[str, Target],
    number: int,
) -> bool:
    for m in method_ids:
        now = mean_of([r.mm for r in values[number][m]])
        target = targets.get(m)
        if target is not None:
            aim, tolerance = target.mm, target.tolerance_mm
        else:
            aim, tolerance = mean_of([r.mm for r in values[0][m]]), tolerances_mm[m]
        if not is_within(now - aim, tolerance):
            return False
    return True


def _last_id(live: Sequence[AnyFact], kinds: tuple[type, ...]) -> str:
    return max((f.id for f in live if isinstance(f, kinds)), default="")
