"""How a caliper is held for each kind of reading, so that every hand takes the same number.

Common practice, no source.
"""

from __future__ import annotations

from workbench.fin.reading.method import Grip, Quantity

SOURCE = "common practice, no source"


HOLDS: dict[tuple[Quantity, Grip], tuple[str, ...]] = {
    ("depth", "station"): (
        "Beam flush on the base, square to it; the depth rod or the step touches the outer "
        "edge at the station.",
        "Level: along the blade's face, leaning neither to tip nor to tail.",
        "Sight the station's edge along the rod each time; never the middle of the hole.",
    ),
    ("depth", "deepest"): (
        "Beam flush on the base, square to it; the depth rod or the step touches the outer "
        "edge where it is farthest out.",
        "Level: along the blade's face, leaning neither to tip nor to tail.",
        "Slide along the edge until the number is largest, and take that one.",
    ),
    ("tail", "tips"): (
        "One jaw against the ski's tail end on its middle line; the tip of the other touches "
        "the trailing edge at the very base.",
        "Beam level with the base and in line with the ski.",
        "The same line of the jaw at the tail end every time; do not dip into the slot.",
    ),
    ("tail", "flat"): (
        "One jaw against the ski's tail end on its middle line; the face of the other touches "
        "the trailing edge.",
        "Caliper flush on the base, level, in line with the ski.",
        "Line up the same reference line of the jaw every time: another line, another number.",
    ),
    ("length", "tips"): (
        "Only the jaw tips touch: one the leading edge, one the trailing edge, at the very base.",
        "Beam level with the base, both tips at one height, along the blade's face.",
        "Stay on the base: do not cross the slot and do not let a tip dip into it.",
    ),
    ("length", "flat"): (
        "Caliper lying flush on the base; the faces of both jaws meet the edges, wherever the "
        "blade is longest within their height.",
        "Level, along the blade's face, closed without force.",
        "The same side and the same reference line of the jaws every time.",
    ),
}
"""How the caliper is held for a quantity taken in a way, one act to a sentence."""
