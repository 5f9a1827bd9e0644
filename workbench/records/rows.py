"""What the book holds, as frozen plain values: text, millimetres, tuples.

``id`` is given by the book: leave it ``""`` when adding. The id of a ski, blade, block, method,
caliper or baseline stays the same when it is corrected.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

Unit: TypeAlias = Literal["in", "mm"]
Quantity: TypeAlias = Literal["depth", "tail", "length"]
Edge: TypeAlias = Literal["top", "back"]
Hand: TypeAlias = Literal["right", "left"]
How: TypeAlias = Literal["typed", "gauge", "demo"]
TargetKind: TypeAlias = Literal["value", "change", "baseline"]
CheckKind: TypeAlias = Literal["zero", "block"]
Checklist: TypeAlias = Literal["received", "final"]
Point: TypeAlias = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Strike:
    """A row withdrawn: when (ISO UTC), by whom, why, and the id of what stands in its place."""

    at: str
    who: str
    reason: str
    replaced_by: str | None = None


@dataclass(frozen=True, slots=True)
class Ski:
    """A ski; ``methods`` are the ids of the reading methods it is read by, in order."""

    id: str
    name: str
    model: str
    serial: str
    rider: str
    unit: Unit
    blade_id: str
    block_id: str
    base_radius_mm: float | None = None
    base_apex_mm: float | None = None
    has_wing: bool = False
    methods: tuple[str, ...] = ()
    note: str = ""
    struck: Strike | None = None


@dataclass(frozen=True, slots=True)
class Hole:
    """A hole of a blade: its name, centre in the blade frame and diameter."""

    name: str
    u_mm: float
    v_mm: float
    diameter_mm: float


@dataclass(frozen=True, slots=True)
class Blade:
    """A blade: closed outline and two edges as points (u, v); ``source_text`` is what was typed."""

    id: str
    name: str
    outline_mm: tuple[Point, ...]
    top_edge_mm: tuple[Point, ...]
    back_edge_mm: tuple[Point, ...]
    holes: tuple[Hole, ...] = ()
    source_text: str = ""
    struck: Strike | None = None


@dataclass(frozen=True, slots=True)
class Stud:
    """A stud of a block; ``axis`` points toward the blade, ``travel_mm`` is (lowest, highest)."""

    name: str
    touches: Edge
    at_mm: Point
    axis: Point
    thread: str
    lead_mm: float
    hand: Hand = "right"
    tip_radius_mm: float = 0.0
    travel_mm: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Block:
    """A block with its studs and the finest turn worked in, in turns; 0 means exact."""

    id: str
    name: str
    studs: tuple[Stud, ...]
    finest_turn: float
    struck: Strike | None = None


@dataclass(frozen=True, slots=True)
class Method:
    """How a number is taken on a blade; a station is a hole's edge or a point, or neither."""

    id: str
    blade_id: str
    name: str
    quantity: Quantity
    band_lo_mm: float | None = None
    band_hi_mm: float | None = None
    station_hole: str | None = None
    station_edge: Literal["back", "front"] | None = None
    station_u_mm: float | None = None
    station_v_mm: float | None = None
    jaw_width_mm: float = 0.0
    tolerance_mm: float = 0.0508
    struck: Strike | None = None


@dataclass(frozen=True, slots=True)
class Caliper:
    """A caliper: the unit it shows, its resolution and its maximum permissible error.

    ``reference_height_mm`` is how high the line on its jaws that is held to the base stands above
    their tips, ``jaw_height_mm`` how high the flat jaws reach. ``din862_scale`` names a row of DIN
    862's table, which then gives the permissible error by length; ``mpe_mm`` is what it allows at
    the longest number of a fin.
    """

    id: str
    name: str
    unit: Unit
    resolution_mm: float
    mpe_mm: float
    struck: Strike | None = None
    reference_height_mm: float | None = None
    jaw_height_mm: float | None = None
    din862_scale: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CaliperCheck:
    """A check of a caliper: what it should have read and what it read, as typed and as mm.

    ``at`` is ISO UTC with microseconds, ``who`` initials; order is the order of ``id``.
    """

    id: str
    at: str
    who: str
    caliper_id: str
    kind: CheckKind
    nominal_text: str
    nominal_unit: Unit
    nominal_mm: float
    reading_text: str
    reading_unit: Unit
    reading_mm: float
    struck: Strike | None = None


@dataclass(frozen=True, slots=True)
class BaselineEntry:
    """One number of a baseline: as typed and as millimetres."""

    method_name: str
    text: str
    unit: Unit
    mm: float
    tolerance_mm: float


@dataclass(frozen=True, slots=True)
class Baseline:
    """The numbers a ski starts from; ``ski_id`` None is a baseline of no ski in particular."""

    id: str
    ski_id: str | None
    name: str
    entries: tuple[BaselineEntry, ...]
    source: str = ""
    struck: Strike | None = None


@dataclass(frozen=True, slots=True)
class Job:
    """One ski on one day's queue; ``rank`` orders the day, lowest first; ``due`` is free text."""

    id: str
    ski_id: str
    day: str
    due: str
    rank: float
    finest_turn: float
    struck: Strike | None = None


@dataclass(frozen=True, slots=True)
class QueueItem:
    """A job with what the roster shows of its ski."""

    job: Job
    ski_name: str
    rider: str
    model: str
    serial: str
    unit: Unit
    blade_name: str
    signed_off: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """Something that happened to a job: ``at`` is ISO UTC with microseconds, ``who`` initials.

    Order is the order of ``id``, also where the clock was set back.
    """

    id: str
    at: str
    who: str
    job_id: str
    struck: Strike | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading(Fact):
    """A number off the caliper: as typed (``text``, ``unit``) and as mm; pass 0 is as received."""

    method_id: str
    pass_number: int
    text: str
    unit: Unit
    mm: float
    caliper_id: str | None = None
    how: How = "typed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Target(Fact):
    """What a reading shall become: ``mm`` is absolute whatever ``kind`` it was typed as."""

    method_id: str
    text: str
    unit: Unit
    kind: TargetKind
    mm: float
    tolerance_mm: float


@dataclass(frozen=True, slots=True)
class Turn:
    """What one stud was turned in a pass: reckoned and as made, in turns; positive is in."""

    stud: str
    turns_exact: float
    turns: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PassRow(Fact):
    """A pass: its number (1 is the first), the turns and the finest turn they were rounded to."""

    number: int
    turns: tuple[Turn, ...]
    finest_turn: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark(Fact):
    """A step done or a thing noted: 'seated', 'within', 'set_aside', 'note' and the like."""

    kind: str
    number: int | None = None
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tick(Fact):
    """One item of a checklist ticked on purpose; ``text`` is the item as it read on the screen."""

    checklist: Checklist
    item: str
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class WingSetting(Fact):
    """The wing's angle to the base, as typed and in degrees."""

    text: str
    angle_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SignOff(Fact):
    """The ski is released."""

    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RideNote(Fact):
    """What the rider said afterwards."""

    text: str


AnyFact: TypeAlias = Reading | Target | PassRow | Mark | Tick | WingSetting | SignOff | RideNote


@dataclass(frozen=True, slots=True)
class Taken:
    """A reading about to be kept; the book adds id, time, initials and job."""

    method_id: str
    pass_number: int
    text: str
    unit: Unit
    mm: float
    caliper_id: str | None = None
    how: How = "typed"


@dataclass(frozen=True, slots=True)
class JobHistory:
    """A job of a ski with all its facts in order, struck ones included."""

    job: Job
    facts: tuple[AnyFact, ...]
