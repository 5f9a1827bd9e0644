"""How sure a reading is and why: its budget, its repeats, and whether it means anything."""

from __future__ import annotations

import math

from workbench.errors import InputError
from workbench.fin.plan.plan import Prediction
from workbench.fin.reading.method import Method
from workbench.frozen import dataclass
from workbench.measure.budget import SCATTER, Budget, Contribution
from workbench.measure.display import FINE, change_text, fine_text, finer_text
from workbench.measure.doubtful import Doubts
from workbench.measure.repeats import Repeats
from workbench.measure.units import MM_PER, Unit
from workbench.work.job.job_view import JobView
from workbench.work.trust.job_reading import WITHIN, Line
from workbench.work.trust.reading_budget import (
    OUTLINE,
    STATED,
    Figures,
    budgets_of,
    origin_words,
    outline_u_mm,
    with_outline,
)

LEVEL = 0.95
"""Coverage probability of the expanded uncertainty shown."""

IMPROVE: dict[str, str] = {
    "resolution": "a caliper with a finer display would help most",
    "caliper error": "a caliper with a smaller permissible error would help most",
    "zero and gauge block": "clean the jaws, set zero again and check it on a gauge block",
    SCATTER: "more repeats, each taken afresh, would help most",
    "contact height": "hold the jaw at the very same height every time",
    "temperature": "let blade and caliper lie together until both are near 20 °C",
    "temperature of the blade": "read a thermometer that lies on the blade",
    "temperature of the caliper": "let the caliper lie by the blade, and read both",
    "expansion of the blade": "measure nearer 20 °C",
    "expansion of the caliper": "measure nearer 20 °C",
    OUTLINE: "trace the blade finer, at 600 dpi say; it cancels against this reading's own target",
    STATED: "read it by a caliper's method where one is to be had",
}
"""What to do about each contribution (common practice, no source)."""

OUTLINE_ORIGIN = (
    "how well the blade was traced: it counts in turns and in other methods' numbers, not against "
    "this reading's own target"
)

ASSUMED = "the scatter is assumed: take it again two or three times to see it"
DOUBTFUL = "look at the doubtful repeat first"
THIRD = "take a third"


@dataclass(frozen=True, slots=True)
class Trust:
    """How sure the reading of one line is (mm): its repeats, its doubts and its budget.

    ``figures`` name the caliper and where each figure comes from; ``after`` is what the turns that
    are to be made bring the reading to.
    """

    line: Line
    repeats: Repeats
    doubts: Doubts
    budget: Budget
    figures: Figures
    after: Prediction | None = None

    @property
    def method(self) -> Method:
        """How the reading is taken."""
        return self.line.method


def trust_of(view: JobView, line: Line) -> Trust:
    """Return how sure a line's reading of this round is, and why.

    Raises:
        InputError: the line has no reading in this round.
    """
    repeats = line.repeats
    if line.taken is None or repeats is None:
        raise InputError(
            f"reading '{line.method.name}'", "(none)", "one or more readings in this round"
        )
    taken = [x.taken for x in view.lines if x.taken is not None]
    budgets = map(with_outline, budgets_of(taken, view.rig), outline_u_mm(taken, view.rig))
    by_name = {t.method.name: b for t, b in zip(taken, budgets, strict=True)}
    budget = by_name[line.method.name]
    figures = line.taken.known_figures
    after = None
    if view.plan is not None and any(t.turns for t in view.plan.turns):
        after = next((p for p in view.plan.predictions if p.method == line.method), None)
    return Trust(line, repeats, line.doubts, budget, figures, after)


def budget_lines(trust: Trust, unit: Unit) -> tuple[str, ...]:
    """Return the budget line by line with what JCGM 100, table H.1 tells of each, then its sums."""
    budget, k = trust.budget, trust.budget.coverage(LEVEL)
    parts = (
        f"from {row.contribution.name}: {part_words(row.contribution, unit)}, "
        f"u {finer_text(row.component, unit)} {unit}, degrees of freedom "
        f"{dof_text(row.contribution.dof)}, {row.share:.0%} of it"
        for row in budget.rows
    )
    return (
        *parts,
        f"combined u {finer_text(budget.u, unit)} {unit}, effective degrees of freedom "
        f"{dof_text(budget.dof)}",
        f"expanded U {finer_text(k * budget.u, unit)} {unit}, {LEVEL:.0%}, coverage factor {k:.2f}",
    )


def part_words(part: Contribution, unit: Unit) -> str:
    """Return what was known of a part, its divisor, sensitivity, distribution and type."""
    known, of = _in_own_unit(part, unit)
    return (
        f"{known:.3g} {of} / {part.divisor:.3g} × {_sensitivity(part, unit):.2g} "
        f"({part.distribution}, type {part.evaluation})"
    )


def budget_report(trust: Trust, unit: Unit) -> dict[str, object]:
    """Return the budget as JSON values: lengths in ``unit``, what is none in a unit of its own."""
    budget, k = trust.budget, trust.budget.coverage(LEVEL)
    origins = dict(origins_of(trust))
    per = MM_PER[unit]
    return {
        "method": trust.method.name, "unit": unit,
        "value": trust.repeats.mean / per, "repeats": trust.repeats.n,
        "u": budget.u / per, "dof": _finite(budget.dof),
        "level": LEVEL, "coverage_factor": k, "expanded": k * budget.u / per,
        "parts": [
            {
                "name": part.name, "known": known, "unit": of, "divisor": part.divisor,
                "distribution": part.distribution, "type": part.evaluation,
                "sensitivity": _sensitivity(part, unit), "u": row.component / per,
                "dof": _finite(part.dof), "share": row.share,
                "origin": origins.get(part.name, ""),
            }
            for row in budget.rows
            for part in (row.contribution,)
            for known, of in (_in_own_unit(part, unit),)
        ],
    }  # fmt: skip


def _in_own_unit(part: Contribution, unit: Unit) -> tuple[float, str]:
    """Return what is known of a part in the unit that its source is measured in, and that."""
    return (part.known / MM_PER[unit], unit) if part.of == "length" else (part.known, part.of)


def _sensitivity(part: Contribution, unit: Unit) -> float:
    return part.sensitivity if part.of == "length" else part.sensitivity / MM_PER[unit]


def _finite(dof: float) -> float | None:
    return None if math.isinf(dof) else dof


def dof_text(dof: float) -> str:
    """Return degrees of freedom, whole."""
    return "∞" if math.isinf(dof) else f"{dof:.0f}"


def origins_of(trust: Trust) -> tuple[tuple[str, str], ...]:
    """Return the caliper and where each figure of the budget comes from: (what, whence)."""
    names = {part.name for part in trust.budget.parts}
    traced = ((OUTLINE, OUTLINE_ORIGIN),) if OUTLINE in names else ()
    if STATED in names:
        stated = "stated by the method itself; no caliper's figure is in it"
        return (("uncertainty", stated), *traced)
    scatter = (SCATTER, origin_words(trust.figures.scatter, trust.repeats))
    used = [
        (name, origin)
        for name, origin in (*trust.figures.origins, scatter)
        if any(n == name or n.startswith(f"{name} of") for n in names)
    ]
    return (("taken with", trust.figures.caliper), *used, *traced)


def meaning_words(trust: Trust, unit: Unit) -> tuple[str, ...]:
    """Return change, tolerance, difference since received and what is known of the reading after
    the turns, with their figures, in sentences."""
    line, out = trust.line, []
    if line.target is not None and line.change_wanted is not None:
        out.append(f"Still to change: {line.change_wanted.words(unit)}.")
    if line.off_mm is not None and line.u_mm is not None and line.nearness is not None:
        out.append(_tolerance_words(line, line.off_mm, unit))
    if line.guard:
        out.append(_guard_words(line, unit))
    if line.since_received is not None and line.received_mm != line.now_mm:
        out.append(f"Since received: {line.since_received.words(unit)}.")
    if trust.after is not None and line.target is not None:
        out.append(_after_words(trust.after, unit))
    return tuple(out)


def _after_words(after: Prediction, unit: Unit) -> str:
    """Return how well the reading after the turns is known, and what outline and studs bring."""
    parts = [
        f"{name} {fine_text(u_mm, unit)}"
        for name, u_mm in (
            ("the outline", after.u_outline_mm),
            ("the studs' places and leads", after.u_block_mm),
        )
        if u_mm
    ]
    brought = f", of which {' and '.join(parts)}" if parts else ""
    return f"After the turns it is known to u {fine_text(after.u_after_mm, unit)} {unit}{brought}."


def _tolerance_words(line: Line, off_mm: float, unit: Unit) -> str:
    off = change_text(off_mm, unit, FINE[unit])
    state = WITHIN[line.nearness or "out"]
    return f"Tolerance: {off} off, ±{fine_text(line.tolerance_mm, unit)} {unit} allowed: {state}."


def _guard_words(line: Line, unit: Unit) -> str:
    if line.accepted_mm < 0:
        return "Guard band on: the uncertainty fills the tolerance, no reading can be accepted."
    return f"Guard band on: accepted up to {fine_text(line.accepted_mm, unit)} {unit} off."


def doubtful_words(line: Line, unit: Unit, do: str = "x strikes it out") -> str:
    """Return which repeats of a line are doubtful, by which test and what to do, or nothing."""
    found = line.doubts
    if not found.indices:
        return ""
    if found.limit is not None:
        return f"These two differ by more than {fine_text(found.limit, unit)} {unit}; {THIRD}"
    which = ", ".join(str(i + 1) for i in sorted(found.indices))
    return f"Repeat {which} doubtful ({found.test}): {do}"


def improve_words(trust: Trust, unit: Unit) -> str:
    """Return in one sentence what would make this reading better, and how much is to be gained."""
    part = trust.budget.largest
    share = max(trust.budget.shares)
    left = math.sqrt(max(trust.budget.u**2 - part.component**2, 0.0))
    do = IMPROVE.get(part.name, "look at this one first")
    if part.name == SCATTER and trust.doubts.indices:
        do = THIRD if trust.doubts.apart else DOUBTFUL
    elif part.name == SCATTER and trust.repeats.n == 1 and trust.figures.scatter is None:
        do = ASSUMED
    return (
        f"Most comes from {part.name} ({share:.0%}): {do}; without it "
        f"{fine_text(left, unit)} {unit} would be left of {fine_text(trust.budget.u, unit)}."
    )
