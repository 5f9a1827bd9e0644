"""What the turns of a stud really moved, in terminal cells."""

from __future__ import annotations

from textual.content import Content

from workbench.bench.draw.canvas import Canvas, Mode
from workbench.bench.draw.plots import ticks_of
from workbench.bench.draw.text import styled, visible
from workbench.work.learn.what_learnt import LearntStud

LEAST_SPAN = 0.1
"""Turns: a stud that moves just as its thread says is not blown up to show its noise alone."""

GUTTER = 7
_NONE = "no turn of it was measured yet"
_TITLE = "moved more or less than turned (up), by turns asked for (across; in is right)"
_SHORT = "moved more or less (up), by turns (across)"
LEGEND = "• a round · dashes: its thread · line: as learned"


def learned_plot(stud: LearntStud, width: int, height: int, mode: Mode) -> list[Content]:
    """Draw commanded turns against moved ones, as the difference, which a straight plot hides.

    The dashes are what the thread says; the line is what was learnt, for turns on in the same
    direction. One that reverses takes up the backlash first and lies nearer to no move.
    """
    title = _TITLE if len(_TITLE) <= width else _SHORT
    head = styled((visible(title, width), "$ink-faint"))
    if not stud.moves:
        return [head, styled((visible(f"  {_NONE}", width), "$ink-faint"))]
    reach = 1.1 * max(abs(m.turns) for m in stud.moves)
    offs = [m.moved - m.turns for m in stud.moves]
    span = max(1.1 * max(map(abs, offs)), LEAST_SPAN)
    canvas = Canvas(max(width - GUTTER, 8), max(height - 3, 3), mode)

    def x(turns: float) -> float:
        return (turns + reach) / (2.0 * reach) * (canvas.dots_wide - 1)

    def y(off: float) -> float:
        return (span - off) / (2.0 * span) * (canvas.dots_high - 1)

    canvas.dashed(x(-reach), y(0.0), x(reach), y(0.0), "faint")
    slope = stud.ratio - 1.0
    canvas.line(x(-reach), y(-reach * slope), x(reach), y(reach * slope), "wanted", "-")
    glyph = "*" if mode == "ascii" else "•"
    across, down = canvas.dots_wide / canvas.width, canvas.dots_high / canvas.height
    for move, off in zip(stud.moves, offs, strict=True):
        canvas.text(int(x(move.turns) / across), int(y(off) / down), glyph, "now")
    ticks, places = ticks_of(-span, span, max(canvas.height // 2, 2))
    labels = {int(y(t) / down): f"{t:+.{places}f}".replace("-", "−") for t in ticks}
    bar = "|" if mode == "ascii" else "│"
    out = [head]
    for i, row in enumerate(canvas.rows()):
        edge = (f"{labels.get(i, ''):>{GUTTER - 1}}{bar}", "$ink-faint")
        out.append(styled(edge, *[(text, f"$ink-{ink}" if ink else "") for text, ink in row]))
    ends = f"{-reach:.2f}".replace("-", "−")
    gap = max(canvas.width - len(ends) - 6, 1)
    middle = "0".center(gap)
    out.append(styled((visible(f"{'':>{GUTTER}}{ends}{middle}+{reach:.2f}", width), "$ink-faint")))
    legend = LEGEND.replace("•", glyph)
    out.append(styled((visible(f"{'':>{GUTTER}}{legend}", width), "$ink-faint")))
    return out
