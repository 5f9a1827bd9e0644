"""The order of the wing's screws, for its screen and for the panel of its stage."""

from __future__ import annotations

from textual.content import Content

from workbench.advice.checklists import STEPS, WING_SOURCE
from workbench.bench.draw.text import (
    lines,
    paragraph,
    styled,
    visible,
    wrapped,
)


def steps_lines(width: int) -> list[Content]:
    """Return the screws' order, an act a line where it fits."""
    out = [styled((visible(f"screws ({WING_SOURCE})", width), "$ink-faint"))]
    for number, step in enumerate(STEPS, 1):
        text = visible(f" {step.words}", width - len(step.name) - 3)
        out.append(styled(f"{number} ", (step.name, "bold"), text))
    return out


def steps_short(width: int) -> list[Content]:
    """Return the screws' order in one line."""
    words = " > ".join(step.name for step in STEPS)
    return [styled((visible(f"screws: {words}; the maker's figure wins", width), "$ink-faint"))]


def steps_panel(width: int, height: int) -> Content:
    """Return the screws' order for the panel of the wing's stage; the help has it in full."""
    title = styled(("the wing, in this order", "$ink-faint"))
    source = [styled((part, "$ink-faint")) for part in wrapped(WING_SOURCE, width)]
    source = paragraph(WING_SOURCE, width, "$ink-faint")
    out = [*steps_in_full(width), *source]
    if len(out) <= height:
        return lines([title, *out] if len(out) < height else out)
    short = [visible(f"{number} {s.name}: {s.words}", width) for number, s in enumerate(STEPS, 1)]
    where = styled(("… in full: h", "bold"))
    return lines([*(styled((row, "bold")) for row in short), where, *source][: max(height, 1)])


def steps_in_full(width: int) -> list[Content]:
    """Return each act of the screws' order in as many rows as it takes."""
    out = []
    for number, step in enumerate(STEPS, 1):
        first, *rest = wrapped(f"{number} {step.name}: {step.words}", width - 2)
        out += [styled((first, "bold")), *[styled(f"  {part}") for part in rest]]
    return out
