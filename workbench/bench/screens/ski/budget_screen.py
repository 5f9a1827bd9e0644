"""How sure one reading is, part by part: repeats, caliper, and whether it means anything."""

from __future__ import annotations

from collections.abc import Iterable

from textual.content import Content

from workbench.bench.bases.view_only import UnitTable, trouble
from workbench.bench.draw.text import lines, paragraph, paragraphs, styled, visible, wrapped
from workbench.bench.hand.state import BenchState
from workbench.errors import BenchError
from workbench.measure.budget import Row
from workbench.measure.display import fine_text, length_text
from workbench.measure.units import Unit
from workbench.work.job.shop import Shop
from workbench.work.job.temperature import correction_words
from workbench.work.job_text.budget_explained import (
    LEVEL,
    Trust,
    dof_text,
    doubtful_words,
    finer_text,
    improve_words,
    meaning_words,
    origins_of,
    part_words,
    trust_of,
)
from workbench.work.text.words import error_words

BAR_CELLS = 12
WHENCE = 22
"""Cells for the names of figures before where each comes from."""

ROOM = 21
"""Cells at least for the name of a part."""

KIND_FROM = 104
"""Width from which what was known of a part, and how u was made of it, is beside it."""


class BudgetScreen(UnitTable):
    """How sure one reading is, part by part, with its repeats."""

    TITLE_WORDS = "How sure is this reading?"

    def __init__(self, shop: Shop, state: BenchState) -> None:
        super().__init__(state.keys.of("sure") or "escape", state.unit)
        self._trust: Trust | None = None
        self._why = "this ski has no reading"
        view, line = state.view, state.line
        if view is None or line is None:
            return
        if not line.latest:
            self._why = f"'{line.method.name}' is not read yet in this round: take it first"
            return
        try:
            self._trust = trust_of(view, line)
        except BenchError as why:
            self._why = error_words(why, state.unit)

    def table(self, width: int) -> Content:
        """Return the table, or why there is none."""
        if self._trust is None:
            return trouble(self._why, width)
        return budget_table(self._trust, self.unit, width)


def budget_table(trust: Trust, unit: Unit, width: int) -> Content:
    """Return the budget's parts and sums, what would improve it, the repeats, and what it means."""
    budget = trust.budget
    kind = width - 32 - ROOM if width >= KIND_FROM else 0
    room = min(max(width - 32 - kind, ROOM), 30)
    by = f" · {trust.figures.caliper}"
    reads = f"  {length_text(trust.repeats.mean, unit)} {unit}"
    method = visible(trust.method.name, max(width - len(reads) - len(by), 12))
    out = [styled((visible(f"{method}{reads}{by}", width), "bold"))]
    title = "known / divisor × sensitivity (distribution, type)".ljust(kind)[:kind]
    head = f"{'from':<{room}} {title}{f'u ({unit})':>8}  {'share':<17} {'dof':>3}"
    out.append(styled((visible(head, width), "bold $accent")))
    for row in budget.rows:
        out.append(_budget_row(row, unit, room, kind))
    u, k = budget.u, budget.coverage(LEVEL)
    sums = (
        ("combined u", u, f"effective dof {dof_text(budget.dof)}"),
        (f"expanded U, {LEVEL:.0%}", k * u, f"coverage factor {k:.2f}"),
    )
    for name, value, beside in sums:
        text = f"{name:<{room + kind}} {finer_text(value, unit):>8}"
        fits = len(text) + 2 + len(beside) <= width
        out.append(styled((text, "bold"), f"  {beside}" if fits else ""))
        out += [] if fits else [styled(f"  {beside}")]
    out += paragraph(improve_words(trust, unit), width)
    out += _repeats(trust, unit, width)
    out += paragraphs(meaning_words(trust, unit), width, "bold")
    if not kind:
        made = [(part.name, part_words(part, unit)) for part in budget.parts]
        out += [styled(("known / divisor × sensitivity (distribution, type)", "bold $accent"))]
        out += _named(made, width)
    return lines([*out, *_named(origins_of(trust), width)])


def _named(rows: Iterable[tuple[str, str]], width: int) -> list[Content]:
    """Return what is said of each, one to a line, under its name."""
    out = []
    for name, origin in rows:
        first, *rest = wrapped(origin, width - WHENCE)
        out.append(styled((f"{name:<{WHENCE}}", "$accent"), first))
        out += [styled(" " * WHENCE + part) for part in rest]
    return out


def _budget_row(row: Row, unit: Unit, room: int, kind: int) -> Content:
    """Return a part of the budget; with ``kind`` cells, beside it how u follows from its figure."""
    part = row.contribution
    bar = "#" * round(row.share * BAR_CELLS)
    made = visible(part_words(part, unit), kind - 1).ljust(kind) if kind else ""
    return styled(
        f"{visible(part.name, room):<{room}} {made}{finer_text(row.component, unit):>8}  "
        f"{row.share:>4.0%} {bar:<{BAR_CELLS}} {dof_text(part.dof):>3}"
    )


def _repeats(trust: Trust, unit: Unit, width: int) -> list[Content]:
    """Return the repeats with their figures; a doubtful one is marked and stays in the mean."""
    repeats, doubts = trust.repeats, trust.doubts
    count = f"{repeats.n} reading{'s' if repeats.n > 1 else ''}"
    figures = f"{count}: mean {finer_text(repeats.mean, unit)} {unit}"
    if repeats.sd is None or repeats.spread is None:
        figures += "; one reading shows no scatter"
    else:
        figures += f", sd {finer_text(repeats.sd, unit)}, spread {finer_text(repeats.spread, unit)}"
    out = paragraph(figures, width, "bold")
    out += _listed(trust, unit, width)
    out += _struck(trust, unit, width)
    said = f"Test: {doubts.test}."
    if doubts.apart:
        said += f" {doubtful_words(trust.line, unit)}; both still count."
    elif doubts.indices:
        said += " Doubtful ones still count: strike one out (x) or keep it."
    elif repeats.n >= 3:
        said += " None is doubtful."
    return [*out, *paragraph(said, width, "$ink-faint")]


def _listed(trust: Trust, unit: Unit, width: int) -> list[Content]:
    """Return every repeat in columns, numbered in the order taken."""
    warmed = [correction_words(c, unit) if c else "" for c in trust.line.corrections_mm]
    alike = len(set(warmed)) == 1
    texts = [
        f"{i}) {fine_text(v, unit)}"
        + (f" ({w})" if w and not alike else "")
        + (" ? doubtful" if i - 1 in trust.doubts.indices else "")
        for i, (v, w) in enumerate(zip(trust.repeats.values, warmed, strict=True), 1)
    ]
    cells = max(map(len, texts)) + 2
    per = max(width // cells, 1)
    marked = [(t.ljust(cells), "bold $state-caution" if "?" in t else "") for t in texts]
    out = [styled(*marked[i : i + per]) for i in range(0, len(marked), per)]
    if alike and warmed[0]:
        out.append(styled(f"each with {warmed[0]} in it"))
    return out


def _struck(trust: Trust, unit: Unit, width: int) -> list[Content]:
    """Return the repeats that were struck out, each with its reason."""
    out = []
    for r in trust.line.struck:
        reason = r.struck.reason if r.struck is not None else ""
        text = f"✗ {fine_text(r.mm, unit)} struck out: {reason}"
        out.append(styled((visible(text, width), "$ink-faint")))
    return out
