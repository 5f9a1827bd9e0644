"""A blade traced by calipers alone, step by step: what to measure next, and what it comes to.

What was typed is kept in the book at once, as a draft, so that leaving or a killed bench loses
nothing; the blade itself is kept at the end.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace

from workbench.errors import BenchError, InputError
from workbench.fin.blade import Blade, Hole
from workbench.fin.trace.calipers import (
    FEWEST_DISTANCES,
    Check,
    CheckKind,
    Contradiction,
    Frame,
    Known,
    Place,
    blade_by_calipers,
    checked,
    contradiction,
    curve_of,
    places_of,
)
from workbench.frozen import dataclass
from workbench.measure.display import change_text, length_text
from workbench.measure.lengths import Placing, understand
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.work.job.shop import Shop
from workbench.work.trace.tracing import keep_traced

DRAFT = "trace_draft"
"""The setting under which distances are kept before the blade is."""

_MOST_HOLES = 6
STEP: dict[Unit, str] = {"in": "0.001", "mm": "0.01"}


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to measure: its words, and what (mm) a right number lies between."""

    key: str
    words: str
    usual_mm: tuple[float, float]
    place: Place | None = None


@dataclass(frozen=True, slots=True)
class TypedDistance:
    """One number as typed and in mm; ``insisted``: kept though the others contradict it."""

    text: str
    mm: float
    insisted: bool = False


@dataclass(frozen=True, slots=True)
class Tracing:
    """A trace under way: the numbers so far, in the order of the steps."""

    unit: Unit
    entries: tuple[TypedDistance, ...] = ()

    # -- what has been measured ------------------------------------------------------------------

    @property
    def frame(self) -> Frame | None:
        """The straight sides, once they are measured."""
        if len(self.entries) < len(_FRAME):
            return None
        top, back, front, height = (e.mm for e in self.entries[: len(_FRAME)])
        return Frame(top, back, front, height)

    @property
    def read_mm(self) -> dict[int, float]:
        """The numbered distances taken so far, by number."""
        frame = self.frame
        if frame is None:
            return {}
        taken = self.entries[len(_FRAME) :]
        return {p.number: e.mm for p, e in zip(places_of(frame), taken, strict=False)}

    @property
    def _rest(self) -> tuple[TypedDistance, ...]:
        """The entries behind the numbered distances: holes, then checks."""
        frame = self.frame
        return () if frame is None else self.entries[len(_FRAME) + len(places_of(frame)) :]

    @property
    def _hole_entries(self) -> tuple[tuple[TypedDistance, ...], bool]:
        """The entries of holes, and whether there are no more holes (a 0 was typed)."""
        out: list[TypedDistance] = []
        for entry in self._rest:
            if len(out) % 3 == 0 and entry.mm == 0.0:
                return tuple(out), True
            out.append(entry)
            if len(out) == 3 * _MOST_HOLES:
                return tuple(out), True
        return tuple(out), False

    @property
    def holes(self) -> tuple[Hole, ...]:
        """The holes measured so far: two distances to the hole's nearer side and its diameter."""
        entries, _ = self._hole_entries
        out = []
        for i in range(0, len(entries) - 2, 3):
            u, v, size = (e.mm for e in entries[i : i + 3])
            out.append(Hole(str(i // 3 + 1), (u + size / 2.0, v + size / 2.0), size))
        return tuple(out)

    @property
    def curve(self) -> tuple[Known, ...]:
        """The curved edge as far as it is known; nothing before there is enough of it."""
        frame, read = self.frame, self.read_mm
        if frame is None or len(read) < FEWEST_DISTANCES:
            return ()
        try:
            return curve_of(frame, read)
        except BenchError:
            return ()

    @property
    def blade(self) -> Blade | None:
        """The blade, once every numbered distance is taken."""
        frame = self.frame
        if frame is None or len(self.read_mm) < len(places_of(frame)):
            return None
        return blade_by_calipers("", frame, self.read_mm, self.holes)

    # -- what to measure next --------------------------------------------------------------------

    @property
    def step(self) -> Step | None:
        """The next thing to measure; None when nothing is left to."""
        if len(self.entries) < len(_FRAME):
            return _FRAME[len(self.entries)]
        frame = self.frame
        assert frame is not None
        places = places_of(frame)
        if len(self.read_mm) < len(places):
            return _step_of(places[len(self.read_mm)], frame, self.unit)
        taken, no_more = self._hole_entries
        if not no_more:
            return _hole_step(len(taken), frame)
        done = len(self.checks)
        kinds = self.check_kinds
        return None if done >= len(kinds) else self._check_step(kinds[done])

    @property
    def check_kinds(self) -> tuple[CheckKind, ...]:
        """The check readings on the loose blade."""
        return ("length", "height", "hole") if self.holes else ("length", "height")

    @property
    def checks(self) -> tuple[Check, ...]:
        """The check readings taken, beside what the outline makes them."""
        blade = self.blade
        taken, no_more = self._hole_entries
        if blade is None or not no_more:
            return ()
        closing = 0 if len(taken) == 3 * _MOST_HOLES else 1
        entries = self._rest[len(taken) + closing :]
        curve = self.curve
        return tuple(
            checked(blade, kind, e.mm, curve)
            for kind, e in zip(self.check_kinds, entries, strict=False)
        )

    def _check_step(self, kind: CheckKind) -> Step:
        blade = self.blade
        assert blade is not None
        value = checked(blade, kind, 1.0).outline_mm
        return Step(f"check {kind}", _CHECK_WORDS[kind], (0.7 * value, 1.3 * value))

    # -- a number taken --------------------------------------------------------------------------

    def understood(self, text: str) -> tuple[Placing, ...]:
        """Return what a number typed for the next step can mean, best first.

        Raises:
            InputError: nothing is due, not a length, or one that cannot be.
        """
        step = self.step
        if step is None:
            raise InputError("distance", text, "nothing more: + keeps the blade")
        if step.usual_mm[0] == 0.0 and text.strip() in ("0", "0.0", ".0"):
            return (Placing(0.0, self.unit, "0"),)
        found = understand(text, self.unit, step.usual_mm, step.key)
        low, high = step.usual_mm
        if any(not low <= placing.mm <= high for placing in found.placings):
            ends = " to ".join(length_text(x, self.unit, STEP[self.unit]) for x in step.usual_mm)
            raise InputError(step.key, text, f"{ends} {self.unit}, or its unit behind it")
        if found.question and len(found.placings) == 1:
            raise InputError(step.key, text, f"{found.question} Write its unit behind it")
        return found.placings

    def taken(self, text: str, mm: float, *, insisted: bool = False) -> Tracing:
        """Return the trace with this number taken for the next step.

        Raises:
            InputError: lengths that together are no blade's.
        """
        new = replace(self, entries=(*self.entries, TypedDistance(text, mm, insisted)))
        if len(new.entries) == len(_FRAME):
            assert new.frame is not None  # says what is wrong with the four together
        elif self.blade is None:
            _ = new.blade  # says what is wrong where it is no blade
        return new

    def contradicted(self, mm: float) -> Contradiction | None:
        """Return the distance that the others contradict, this one for the next step included.

        One that was insisted on is not named again.
        """
        step, frame = self.step, self.frame
        if step is None or frame is None or step.place is None:
            return None
        found = contradiction(frame, {**self.read_mm, step.place.number: mm})
        if found is None:
            return None
        index = len(_FRAME) + found.place.number - 1
        if index < len(self.entries) and self.entries[index].insisted:
            return None
        return found

    def back(self) -> Tracing:
        """Return the trace without its last number."""
        return replace(self, entries=self.entries[:-1])


_FRAME: Sequence[Step] = (
    Step("top edge", "length of the top edge (the long straight side in the block)", (50.0, 300.0)),
    Step("back edge", "length of the back edge, from the top edge to its end", (3.0, 60.0)),
    Step("front corner", "height of the front corner above the top edge; 0: none", (0.0, 60.0)),
    Step("height", "greatest height, from the top edge to the outer edge", (20.0, 150.0)),
)

_CHECK_WORDS: dict[CheckKind, str] = {
    "length": "check: overall length of the loose blade, along the top edge",
    "height": "check: overall height, square to the top edge",
    "hole": "check: hole 1 to the outer edge, nearest side, square to the top edge",
}

CAUTION = "The blade is sharp: hold it by its faces, wear gloves."


def _step_of(place: Place, frame: Frame, unit: Unit) -> Step:
    at = f"{length_text(place.at_mm, unit, STEP[unit])} {unit}"
    if place.edge == "outer":
        words = f"{at} from the back edge: top edge to outer edge"
        usual = (0.3 * frame.height_mm, frame.height_mm + 1.0)
    elif place.edge == "leading":
        words = f"{at} below the top edge: back edge to leading edge"
        usual = (0.3 * frame.top_mm, 1.15 * frame.top_mm)
    else:
        words = f"{at} below the top edge: back edge to trailing edge"
        usual = (0.0, 0.5 * frame.top_mm)
    return Step(f"distance {place.number}", f"{place.number}: {words}", usual, place)


def _hole_step(taken: int, frame: Frame) -> Step:
    number, which = taken // 3 + 1, taken % 3
    key = f"hole {number}"
    if which == 0:
        words = f"{key}: back edge to its nearer side (0: no hole, or no more)"
        return Step(key, words, (0.0, frame.top_mm))
    if which == 1:
        words = f"{key}: top edge to its nearer side"
        return Step(key, words, (1.0, frame.height_mm))
    return Step(key, f"{key}: its diameter", (1.0, 20.0))


def contradiction_words(found: Contradiction, unit: Unit) -> str:
    """Return which distance the others contradict, and what they make it."""
    step = STEP[unit]
    off = change_text(found.read_mm - found.others_mm, unit, step)
    return (
        f"Distance {found.place.number} contradicts the others: "
        f"{length_text(found.read_mm, unit, step)} read, "
        f"{length_text(found.others_mm, unit, step)} by the others ({off} {unit})"
    )


def check_words(check: Check, unit: Unit) -> str:
    """Return a check reading beside the outline, in words."""
    step = STEP[unit]
    read, outline = (length_text(x, unit, step) for x in (check.read_mm, check.outline_mm))
    off = change_text(check.off_mm, unit, step)
    said = f"{check.what}: {read} read, outline {outline}, {off} {unit}"
    return f"✓ {said}: agrees" if check.agrees else f"? {said}: disagrees, measure again"


# -- in the book -----------------------------------------------------------------------------------


def draft_of(shop: Shop, unit: Unit) -> Tracing:
    """Return the trace that was left under way, else a new one."""
    try:
        kept = json.loads(shop.book.setting(DRAFT, "") or "[]")
        entries = tuple(TypedDistance(str(t), float(mm), bool(i)) for t, mm, i in kept)
        found = Tracing(unit, entries)
        assert found.step is not None or found.blade is not None
    except (ValueError, TypeError, AssertionError):
        return Tracing(unit)
    return found


def keep_draft(shop: Shop, tracing: Tracing) -> None:
    """Keep the numbers so far."""
    kept = [[e.text, e.mm, e.insisted] for e in tracing.entries]
    shop.book.set_setting(DRAFT, json.dumps(kept), who=shop.who)


def keep_by_calipers(shop: Shop, tracing: Tracing, name: str) -> tuple[rows.Blade, bool]:
    """Keep the traced blade under a name; a known name makes a new version of that blade.

    Raises:
        InputError: distances are missing, or a blank name.
    """
    blade = tracing.blade
    if blade is None:
        raise InputError("distances", len(tracing.read_mm), "all of them: more are to be taken")
    count = len(tracing.read_mm)
    agreed = sum(check.agrees for check in tracing.checks)
    how = f"calipers, {count} distances, {agreed} of {len(tracing.checks)} checks agree"
    # A trace left under way may be gone on with in the other unit.
    source = "; ".join(f"{e.text} = {e.mm:.3f} mm" for e in tracing.entries)
    kept = keep_traced(shop, replace(blade, name=name), how, source)
    keep_draft(shop, Tracing(tracing.unit))
    return kept
