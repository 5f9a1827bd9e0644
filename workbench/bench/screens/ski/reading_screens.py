"""A closer look at a reading: how to take it, how sure it is, and what it is by other methods."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from textual.content import Content

from workbench.advice.holds import SOURCE
from workbench.bench.bases.view_only import DrawnCloser, TableScreen, trouble
from workbench.bench.draw.canvas import Area, Mode
from workbench.bench.draw.side_view import method_view
from workbench.bench.draw.text import hung, lines, paragraph, paragraphs, styled, visible, wrapped
from workbench.bench.hand.state import BenchState
from workbench.errors import BenchError
from workbench.measure.budget import Row
from workbench.measure.display import change_text, fine_text, finer_text, length_text
from workbench.measure.learnt_offset import Restatement
from workbench.measure.units import Unit
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job.temperature import correction_words
from workbench.work.job_text.budget_explained import (
    LEVEL,
    Trust,
    dof_text,
    doubtful_words,
    improve_words,
    meaning_words,
    origins_of,
    part_words,
    trust_of,
)
from workbench.work.job_text.setting_words import hold_words, place_words
from workbench.work.order.order_answers import exposed_words, exposure_at
from workbench.work.study.offsets import rests_words
from workbench.work.study.restating import Restated, learnt_beside, restated
from workbench.work.text.words import error_words

LEAST_DRAWN = 3
"""Rows below which a drawing says nothing."""


class HoldScreen(DrawnCloser):
    """How to take a reading: words, and a drawing of this very blade; arrows change the method."""

    TITLE_WORDS = "How to hold it"
    KEYS = "↑ ↓ another reading · * in/mm · Enter or Esc closes"

    def __init__(self, shop: Shop, state: BenchState) -> None:
        assert state.view is not None
        super().__init__(state.keys.of("hold"), state.unit)
        self._view, self._mode = state.view, state.drawing
        self._index = state.line_index

    def drawn(self, width: int, height: int) -> Content:
        """Return the words and the drawing."""
        return hold(self._view, self._index, self.unit, self._mode, width, height)

    def step(self, by: int) -> None:
        """Show the next or the previous of the ski's methods."""
        if self._view.lines:
            self._index = (self._index + by) % len(self._view.lines)
            self.draw()


def hold(view: JobView, index: int, unit: Unit, mode: Mode, width: int, height: int) -> Content:
    """Return how to hold the caliper for one of the ski's methods, filling width x height cells."""
    if not view.lines or width < 1 or height < 1:
        return styled("this ski has no reading")
    method = view.lines[index].method
    out = [styled((visible(f"{method.name}  ({index + 1} of {len(view.lines)})", width), "bold"))]
    out += paragraph(place_words(method, unit), width, "$accent")
    for sentence in hold_words(method):
        out += hung("· ", "", sentence, width)
    where = "as it is now" if view.pose is not None else "at a made-up place: not read yet"
    blade = f"This blade, {where}" if view.rig.blade.is_traced else "No blade yet"
    foot = styled((visible(f"{blade}; {SOURCE}.", width), "$ink-faint"))
    caption = wrapped(method_view(view.rig, view.pose, method, Area(1, 1, mode)).caption, width)
    room = height - len(out) - len(caption) - 1
    if room < LEAST_DRAWN:
        return lines([*out, foot][:height])
    picture = method_view(view.rig, view.pose, method, Area(width, room, mode))
    faint = [styled((part, "$ink-faint")) for part in caption]
    return lines([*out, *picture.canvas.contents(), *faint, foot])


BAR_CELLS = 12
WHENCE = 22
"""Cells for the names of figures before where each comes from."""

ROOM = 21
"""Cells at least for the name of a part."""

KIND_FROM = 104
"""Width from which what was known of a part, and how u was made of it, is beside it."""


class BudgetScreen(TableScreen):
    """How sure one reading is, part by part, with its repeats."""

    TITLE_WORDS = "How sure is this reading?"

    def __init__(self, shop: Shop, state: BenchState) -> None:
        super().__init__(state.keys.of("sure"), state.unit)
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
    return [
        row for name, origin in rows for row in hung(f"{name:<{WHENCE}}", "$accent", origin, width)
    ]


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


class RestateScreen(TableScreen):
    """The readings of this round by every method of the blade, in both units."""

    TITLE_WORDS = "Convert between methods"

    def __init__(self, shop: Shop, state: BenchState) -> None:
        assert state.view is not None
        view, unit = state.view, state.unit
        super().__init__(state.keys.of("restate"), unit)
        self._rows: tuple[Restated, ...] = ()
        self._learnt: dict[str, Restatement] = {}
        self._why = ""
        self._out = exposure_at(view.rig, view.pose) if view.pose is not None else None
        try:
            self._rows = restated(shop, view, unit)
            self._learnt = learnt_beside(shop, view, self._rows)
        except BenchError as why:
            self._why = error_words(why, unit)

    def table(self, width: int) -> Content:
        """Return the table, or why there is none."""
        if self._why:
            return trouble(self._why, width)
        table = restate_table(self._rows, self.unit, width, self._learnt)
        said = f"{exposed_words(self._out.seen, self.unit)}." if self._out is not None else ""
        return lines([table, *([styled(""), *paragraph(said, width)] if said else ())])


def restate_table(
    found: tuple[Restated, ...],
    unit: Unit,
    width: int,
    learnt: Mapping[str, Restatement] | None = None,
) -> Content:
    """Return every method with its reading in both units, its uncertainty and its difference.

    ``learnt``, by method name, is what offsets learnt from pairs make of the readings.
    """
    room = min(max(width - 47, 9), 48)
    beside = f"difference ({unit})"
    head = f"  {'method':<{room}} {'in':>8} {'mm':>8}  {f'u ({unit})':>8}  {beside:>15}"
    out = [styled((visible(head, width), "bold $accent"))]
    for row in found:
        out += _restated_row(row, unit, room, width)
        if learnt and row.method.name in learnt:
            out += _learnt_rows(learnt[row.method.name], unit, room, width)
    notes = (
        "● read in this round. The others are what the blade, where these readings put it, would "
        "read; difference: less the method read of the same quantity.",
        "u is the standard uncertainty, carried from the readings of this round; how well the "
        "blade's outline is known is not in it.",
    )
    out.append(styled(""))
    out += paragraphs(notes, width, "$ink-faint")
    return lines(out)


def _restated_row(row: Restated, unit: Unit, room: int, width: int) -> list[Content]:
    mark = "●" if row.read else " "
    name = visible(row.method.name, room)
    name += " " * max(room - styled(name).cell_length, 0)
    if row.value_mm is None or row.u_mm is None:
        why = wrapped(f"! {row.trouble}", width - 4)
        head = styled(f"{mark} {name} {'—':>8} {'—':>8}")
        return [head, *[styled((f"    {part}", "$state-caution")) for part in why]]
    inch, mm = length_text(row.value_mm, "in"), length_text(row.value_mm, "mm")
    if row.difference_mm is None:
        beside = "as read" if row.read else "none read"
        beside = "coarse mark" if row.method.is_coarse else beside
    else:
        beside = change_text(row.difference_mm, unit)
    text = f"{mark} {name} {inch:>8} {mm:>8}  {fine_text(row.u_mm, unit):>8}  {beside:>15}"
    return [styled((text, "bold" if row.read else ""))]


def _learnt_rows(found: Restatement, unit: Unit, room: int, width: int) -> list[Content]:
    inch, mm = length_text(found.value, "in"), length_text(found.value, "mm")
    head = f"  {'  learned from pairs':<{room}} {inch:>8} {mm:>8}  {fine_text(found.u, unit):>8}"
    return [
        styled(visible(head, width)),
        styled((visible(f"    {rests_words(found)}", width), "$ink-faint")),
    ]
