"""What the book holds, as frozen plain values: text, millimetres, tuples.

``id`` is given by the book: leave it ``""`` when adding; so are ``at`` and ``who`` where a row has
them, and the job of a fact. The id of a ski, blade, block, method,
caliper or baseline stays the same when it is corrected.
"""

from __future__ import annotations

from typing import Literal, TypeAlias

from workbench.fin.reading.method import Quantity, Scribe, Station
from workbench.frozen import dataclass

Unit: TypeAlias = Literal["in", "mm"]
Edge: TypeAlias = Literal["top", "back"]
Hand: TypeAlias = Literal["right", "left"]
How: TypeAlias = Literal["typed", "gauge", "demo"]
TargetKind: TypeAlias = Literal["value", "change", "baseline"]
CheckKind: TypeAlias = Literal["zero", "block"]
Checklist: TypeAlias = Literal["received", "final"]
JobKind: TypeAlias = Literal["setting", "recheck"]
WingHold: TypeAlias = Literal["", "front", "middle", "rear"]
CurveKind: TypeAlias = Literal["sagitta", "three depths"]
Point: TypeAlias = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Strike:
    """A row withdrawn: when (ISO UTC), by whom, why, and the id of what replaces it.

    ``others`` are the strikes of the same row that other benches made, oldest first. ``is_damage``:
    nobody withdrew it, but it no longer says what was written, so that it counts as little.
    """

    at: str
    who: str
    reason: str
    replaced_by: str | None = None
    others: tuple[Strike, ...] = ()
    is_damage: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """A row as it was written: ``at`` is ISO UTC with microseconds, ``who`` initials.

    Order is the order of ``id``, also where the clock was set back.
    """

    id: str = ""
    at: str = ""
    who: str = ""
    struck: Strike | None = None


@dataclass(frozen=True, slots=True)
class SkiSeen:
    """What there was of a ski when it was looked at; rows are only ever added to a book.

    ``facts``: how many jobs, other days they were carried to, facts and strikes there are in all of
    the ski's jobs, with the id of the ``newest``; another place in the day's order is none,
    nor is a reading without a place, which a bench keeps while a screen of it is open.
    ``sheets``: how many versions of the ski, its blade, block, methods and baselines, and settings
    that bear on how it is shown.
    """

    facts: int = 0
    newest: str = ""
    sheets: int = 0


NOTHING_SEEN = SkiSeen()


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
    size: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SkiVersion(Written):
    """A ski as it was first written down or later corrected: when (ISO UTC) and by whom.

    ``id`` is the version's own, ``ski.id`` that of the ski. ``reason`` is why its blade or block
    was changed, else blank; such a change, entered by mistake, is struck out, and the version in
    its place is the strike's ``replaced_by``.
    """

    ski: Ski
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Hole:
    """A hole of a blade: its name, centre in the blade frame and diameter."""

    name: str
    u_mm: float
    v_mm: float
    diameter_mm: float


@dataclass(frozen=True, slots=True)
class Blade:
    """A blade: closed outline and two edges as points (u, v); ``source_text`` is what was typed.

    All three are empty where the outline is not known yet.

    ``stand_in``: whether it is invented, for want of the real one. ``outline_u_mm`` is the standard
    uncertainty of its outline, ``traced`` how it was traced, in words; blank: typed or from a file.
    """

    id: str
    name: str
    outline_mm: tuple[Point, ...]
    top_edge_mm: tuple[Point, ...]
    back_edge_mm: tuple[Point, ...]
    holes: tuple[Hole, ...] = ()
    source_text: str = ""
    struck: Strike | None = None
    stand_in: bool = False
    outline_u_mm: float = 0.0
    traced: str = ""


@dataclass(frozen=True, slots=True)
class Stud:
    """A stud of a block; ``axis`` points toward the blade, ``travel_mm`` is (lowest, highest).

    ``place_u_mm`` is the standard uncertainty of where its axis lies beside itself, ``lead_u`` that
    of its lead as a share of it; None where nobody said.
    """

    name: str
    touches: Edge
    at_mm: Point
    axis: Point
    thread: str
    lead_mm: float
    hand: Hand = "right"
    tip_radius_mm: float = 0.0
    travel_mm: tuple[float, float] | None = None
    place_u_mm: float | None = None
    lead_u: float | None = None


@dataclass(frozen=True, slots=True)
class Block:
    """A block with its studs and the finest turn worked in, in turns; 0 means exact.

    ``studs`` are empty where the block is not known yet.

    ``stand_in``: whether it is invented, for want of the real one.
    """

    id: str
    name: str
    studs: tuple[Stud, ...]
    finest_turn: float
    struck: Strike | None = None
    stand_in: bool = False


@dataclass(frozen=True, slots=True)
class Method:
    """How a number is taken on a blade, by the kernel's own values for where it is taken.

    Where a station lies that is named by a hole only its blade tells. ``u_mm`` is the standard
    uncertainty of one reading by this method; None leaves it to the budget.
    """

    id: str
    blade_id: str
    name: str
    quantity: Quantity
    band_mm: tuple[float, float] | None = None
    station: Station | None = None
    jaw_width_mm: float = 0.0
    tolerance_mm: float = 0.0508
    struck: Strike | None = None
    scribe: Scribe | None = None
    u_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Caliper:
    """A caliper: the unit it shows, its resolution and its maximum permissible error.

    ``reference_height_mm`` is how high the line on its jaws that is held to the base is above
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
class CaliperCheck(Written):
    """A check of a caliper: what it should have read and what it read, as typed and as mm."""

    caliper_id: str
    kind: CheckKind
    nominal_text: str
    nominal_unit: Unit
    nominal_mm: float
    reading_text: str
    reading_unit: Unit
    reading_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair(Written):
    """One fin read by two methods, both as typed and as mm: what a method offset is learnt from."""

    ski_id: str
    method_id: str
    text: str
    unit: Unit
    mm: float
    other_method_id: str
    other_text: str
    other_unit: Unit
    other_mm: float
    caliper_id: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve(Written):
    """A measurement of a ski's base between two places; ``radius_mm`` None is a flat base."""

    ski_id: str
    kind: CurveKind
    text: str
    unit: Unit
    from_x_mm: float
    to_x_mm: float
    sagitta_mm: float
    radius_mm: float | None
    apex_mm: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Study(Written):
    """A repeatability study: its parts, people and trials, and the order to read them in.

    ``sequence`` holds (part, person, trial), each by its number from 0.
    """

    name: str
    what: str
    unit: Unit
    parts: tuple[str, ...]
    people: tuple[str, ...]
    trials: int
    sequence: tuple[tuple[int, int, int], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyReading(Written):
    """One reading of a study: which part, by whom, which trial (from 0)."""

    study_id: str
    part: str
    person: str
    trial: int
    text: str
    unit: Unit
    mm: float
    caliper_id: str | None = None


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
    """The numbers a ski starts from; ``ski_id`` None is a baseline of no ski in particular.

    It may be one of a model and size, or of a rider; ``wing`` is the wing's angle as typed.
    """

    id: str
    ski_id: str | None
    name: str
    entries: tuple[BaselineEntry, ...]
    source: str = ""
    struck: Strike | None = None
    model: str = ""
    size: str = ""
    rider: str = ""
    wing: str = ""
    wing_deg: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PartVersion(Written):
    """A blade, block or baseline as first written down or later corrected: when, by whom, why.

    ``id`` is the version's own, ``part.id`` that of the part.
    """

    reason: str
    part: Blade | Block | Baseline


@dataclass(frozen=True, slots=True)
class Job:
    """One ski on one day's queue; ``rank`` orders the day, lowest first; ``due`` is free text.

    A ``recheck`` is the look after the first ride: the final check alone.
    """

    id: str
    ski_id: str
    day: str
    due: str
    rank: float
    finest_turn: float
    struck: Strike | None = None
    kind: JobKind = "setting"
    note: str = ""


@dataclass(frozen=True, slots=True)
class JobTerms:
    """What is settled of a new job; ``finest_turn`` None: that of the ski's block."""

    kind: JobKind = "setting"
    note: str = ""
    finest_turn: float | None = None


AS_USUAL = JobTerms()


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
class Fact(Written):
    """Something that happened to a job."""

    job_id: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadOff(Fact):
    """A number off the caliper: as typed (``text``, ``unit``) and as mm."""

    method_id: str
    text: str
    unit: Unit
    mm: float
    caliper_id: str | None = None
    how: How = "typed"
    temperature_id: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading(ReadOff):
    """A reading of a round; round 0 is as received."""

    pass_number: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LockedReading(ReadOff):
    """A number read once the clamp bolts were tight for good: a look, after which nothing turns."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Temperature(Fact):
    """What blade and caliper were at, as typed and in degrees Celsius, and what they are made of.

    Readings that name it are as read; what they would be at 20 degrees is worked out from it.
    """

    text: str
    unit: Literal["C", "F"]
    blade_c: float
    caliper_c: float
    blade_material: str
    caliper_material: str


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
    """What one stud was turned in a round: worked out and as made, in turns; positive is in."""

    stud: str
    turns_exact: float
    turns: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PassRow(Fact):
    """A round: its number (1 is the first), the turns and the finest turn they were rounded to."""

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
    """The wing's angle to the base, as typed and in degrees.

    ``hold`` says where the straightedge lay, ``gauge`` which gauge of the shop was used.
    """

    text: str
    angle_deg: float
    hold: WingHold = ""
    gauge: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SignOff(Fact):
    """The ski is released."""

    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RideNote(Fact):
    """What the rider said afterwards, in words; ``complaints`` are keys of the short list.

    ``water``, ``rope`` and ``speed`` are as typed, ``water_c`` in degrees Celsius; ``rating`` is
    from 1 (poor) to 5 (as good as it gets).
    """

    text: str
    rider: str = ""
    place: str = ""
    water: str = ""
    water_c: float | None = None
    rope: str = ""
    speed: str = ""
    complaints: tuple[str, ...] = ()
    rating: int | None = None


AnyFact: TypeAlias = (
    Reading
    | Target
    | PassRow
    | Mark
    | Tick
    | WingSetting
    | SignOff
    | RideNote
    | Temperature
    | LockedReading
)


@dataclass(frozen=True, slots=True)
class JobHistory:
    """A job of a ski with all its facts in order, struck ones included."""

    job: Job
    facts: tuple[AnyFact, ...]
