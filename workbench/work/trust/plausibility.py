"""Readings that cannot be right, in words: against each other, or against the turns made."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from workbench.errors import BenchError
from workbench.fin.plan.guidance import COVERAGE, ODD_TILT_RAD
from workbench.fin.plan.uncertainty import Expected, Explanation, expected_after
from workbench.fin.pose.equations import Reading
from workbench.fin.pose.fit import Fit, fit_pose
from workbench.fin.reading.method import Method
from workbench.fin.reading.rig import Rig
from workbench.frozen import dataclass
from workbench.measure.adjustment import Adjustment, adjust, critical_w
from workbench.measure.display import FINE, change_between, fine_text, length_text, turn_text
from workbench.measure.doubtful import Doubt, doubt
from workbench.measure.units import MM_PER, Unit
from workbench.work.text.words import clean
from workbench.work.trust.job_reading import Line

ALIKE = 0.01
"""Readings whose normalised residuals differ by less than this share cannot be told apart."""


@dataclass(frozen=True, slots=True)
class Suspect:
    """A reading to take again: its method, normalised residual and the likely cause in words."""

    method: str
    normalised: float
    cause: str


@dataclass(frozen=True, slots=True)
class Contradiction:
    """A reading that the others contradict: its normalised residual, what they say it should be,
    the likeliest slip, and the names of readings that cannot be told from it."""

    reading: Reading
    normalised: float
    expected: Expected
    slip: Doubt | None
    twins: tuple[str, ...] = ()


def suspects_of(rig: Rig, fit: Fit, methods: Sequence[Method], unit: Unit) -> tuple[Suspect, ...]:
    """Return the reading that the others contradict, with those that look just the same."""
    return suspects_in(contradictions(rig, fit, methods, unit), unit)


def suspects_in(found: Sequence[Contradiction], unit: Unit) -> tuple[Suspect, ...]:
    """Return contradictions as readings to take again, their causes in words."""
    return tuple(Suspect(c.reading.method.name, c.normalised, _cause(c, unit)) for c in found)


def contradictions(
    rig: Rig, fit: Fit, methods: Sequence[Method], unit: Unit
) -> tuple[Contradiction, ...]:
    """Return the reading that the others contradict, with those that look just the same.

    Data snooping (W. Baarda, 1968): the normalised residual of a reading is the root of what chi
    square falls by when that reading is left out. Leaving out is done in full, not linearised, as a
    reading near a corner of the outline is not linear. Poses of an odd tilt explain nothing: with a
    wrong reading one may fit better than any level one. Nothing with three readings; ``unit`` is
    that of the digits that may have been exchanged.
    """
    if len(fit.readings) < 4:
        return ()
    fit = _level(rig, fit)
    start = None if _is_odd(fit) else fit.pose
    whole = _chi_square(fit)
    found = []
    for i, reading in enumerate(fit.readings):
        others = tuple(r for j, r in enumerate(fit.readings) if j != i)
        try:
            without = fit_pose(rig.blade, rig.base, others, start)
            expected = expected_after(rig, without, [0.0] * 3, [reading.method])[0]
        except BenchError:  # the others fix no pose without it: nothing checks this reading
            continue
        fall = max(whole - _chi_square(without), 0.0) ** 0.5
        if fall > critical_w():
            found.append((fall, reading, without, expected))
    found = [f for f in found if not _is_odd(f[2])] or found
    top = max((fall for fall, *_ in found), default=0.0)
    found = [f for f in found if f[0] > (1.0 - ALIKE) * top]
    found.sort(key=lambda f: f[1].method.is_coarse)
    out = []
    for fall, reading, without, expected in found:
        slip = _slip(rig, reading, without, expected, methods, unit)
        twins = tuple(r.method.name for _, r, _, _ in found if r is not reading)
        sign = 1.0 if reading.value_mm > expected.value_mm else -1.0
        out.append(Contradiction(reading, sign * fall, expected, slip, twins))
    return tuple(out)


def _level(rig: Rig, fit: Fit) -> Fit:
    """Return the fit, or where its tilt is odd the one near level, if there is one."""
    if not _is_odd(fit):
        return fit
    try:
        level = fit_pose(rig.blade, rig.base, fit.readings)
    except BenchError:
        return fit
    return fit if _is_odd(level) else level


def _is_odd(fit: Fit) -> bool:
    return abs(fit.pose.tilt_rad) > ODD_TILT_RAD


def _chi_square(fit: Fit) -> float:
    return sum((v / r.u_mm) ** 2 for v, r in zip(fit.residuals_mm, fit.readings, strict=True))


def _slip(
    rig: Rig,
    reading: Reading,
    without: Fit,
    expected: Expected,
    methods: Sequence[Method],
    unit: Unit,
) -> Doubt | None:
    """Return the likeliest slip, from what the other readings say this one should be."""
    text = length_text(reading.value_mm, unit)
    others_mm = _by_other_methods(rig, without, reading.method, methods)
    u = (expected.u_mm**2 + reading.u_mm**2) ** 0.5
    return doubt(reading.value_mm, expected.value_mm, u, (text, unit), others_mm)


def _cause(found: Contradiction, unit: Unit) -> str:
    """Return the likeliest cause in words, and what cannot be told from it."""
    if found.slip is None:
        cause = "take it again"
    elif found.reading.method.is_coarse:
        off = _off_words(found.expected.value_mm, found.slip.off_mm, unit)
        cause = f"{off}: another line of the scale read, or has the scribe or the scale moved?"
    else:
        cause = doubt_words(found.slip, found.expected, unit)
    if found.twins:
        twins = ", ".join(map(clean, found.twins))
        cause += f"; or one of these, which cannot be told from it: {twins}"
    return cause


@dataclass(frozen=True, slots=True)
class AgainstExpected:
    """A number just read (mm) beside what was to be expected of it.

    ``u_mm`` is the reading's own standard uncertainty and ``dof`` its degrees of freedom; what it
    is held against rests on the same study of the shop's scatter, so that they are those of the
    difference too. ``others_mm``: what other methods of the quantity would read, by their names.
    """

    expected: Expected
    read_mm: float
    u_mm: float
    others_mm: Mapping[str, float]
    dof: float = math.inf

    @property
    def u_off_mm(self) -> float:
        """The standard uncertainty of the difference (mm)."""
        return math.hypot(self.expected.u_mm, self.u_mm)


def doubt_of(read: AgainstExpected, typed: tuple[str, Unit]) -> Doubt | None:
    """Return a doubt about a number as typed, against what the turns should have given."""
    return doubt(
        read.read_mm, read.expected.value_mm, read.u_off_mm, typed, read.others_mm, read.dof
    )


def _by_other_methods(
    rig: Rig, fit: Fit, method: Method, methods: Sequence[Method]
) -> dict[str, float]:
    """Return what the other methods of the same quantity would read on the same fin (mm)."""
    out = {}
    for other in methods:
        if other.quantity == method.quantity and other.name != method.name and not other.is_coarse:
            try:
                out[other.name] = rig.observe(other, fit.pose).value_mm
            except BenchError:
                continue
    return out


def doubt_words(found: Doubt, expected: Expected, unit: Unit) -> str:
    """Return a doubt as one sentence in ``unit``."""
    return f"{_off_words(expected.value_mm, found.off_mm, unit)}: {_slip_words(found, unit)}?"


def _slip_words(found: Doubt, unit: Unit) -> str:
    if found.slip == "graduation":
        step = float(found.detail.split()[0]) * MM_PER["in"] / MM_PER[unit]
        line = f"a line of the caliper misread by {step:.3f} {unit}"
        return f"{line}, or digits exchanged, {clean(found.digits)} meant" if found.digits else line
    if found.slip == "digits":
        return f"digits exchanged, {clean(found.detail)} meant"
    if found.slip == "method":
        return f"taken by '{clean(found.detail)}' instead"
    return "blade not seated, or the caliper held another way"


# -- against the setting that the ski left with ------------------------------------------------

RIDDEN_U_MM = 0.1
"""Standard uncertainty of where a fin is that was ridden and travelled since it was set, about
0.004 in: our default (common practice, no source)."""

COMMON_LINES = ("0.025 in", "0.100 in")
"""The lines most often misread on an inch scale (common practice, no source): a fin that may have
moved is not asked about for the rarer ones."""


@dataclass(frozen=True, slots=True)
class Known:
    """What a ski is known to have left with, in words, and from where a reading is far off it."""

    words: str
    far_mm: float


def moved_question(read: AgainstExpected, typed: tuple[str, Unit], known: Known, unit: Unit) -> str:
    """Return the question to ask about a reading as received, or nothing.

    Always asked where it is far from what is known. Nearer, only where it is clear of that, ridden
    and travelled as the ski was, and where a named slip with the fin still where it was left
    explains the number: a fin may well have moved a little, and that alone is no reason to doubt
    the hand.
    """
    expected_mm, read_mm = read.expected.value_mm, read.read_mm
    far = abs(read_mm - expected_mm) > known.far_mm
    if not far and doubt(read_mm, expected_mm, math.hypot(read.u_off_mm, RIDDEN_U_MM)) is None:
        return ""
    found = doubt_of(read, typed)
    named = found is not None and found.slip != "unseated"
    if found is not None and found.slip == "graduation" and found.detail not in COMMON_LINES:
        named = False
    if not (named or far):
        return ""
    cause = f"{_slip_words(found, unit)}? read again," if found and named else "read again,"
    off = change_between(expected_mm, read_mm, unit)
    return f"{off} {unit} from {known.words}: {cause} or has it moved?"


SEEN_MORE_MM = 0.15 * MM_PER["in"]
"""So far beyond what was seen a reading may be without a question (common practice, no source)."""


def unseen_question(line: Line, mm: float, unit: Unit) -> str:
    """Return the question about a reading as received that nothing foretells, or nothing.

    Asked where it lies well outside what this shop has seen on this blade by the same method.
    """
    if line.seen_mm is None:
        return ""
    low, high = line.seen_mm
    if low - SEEN_MORE_MM <= mm <= high + SEEN_MORE_MM:
        return ""
    seen = f"{length_text(low, unit)} to {length_text(high, unit)} {unit}"
    return f"seen on this blade so far: {seen}. Take it as it is?"


def since_left_words(read: AgainstExpected, unit: Unit) -> str:
    """Return how a reading as received differs from the setting it left with, or nothing.

    Said where the difference is clear of the expanded uncertainty of the two.
    """
    off = read.read_mm - read.expected.value_mm
    if abs(off) <= COVERAGE * read.u_off_mm:
        return ""
    return f"{change_between(read.expected.value_mm, read.read_mm, unit)} {unit} since it left"


def _off_words(expected_mm: float, off_mm: float, unit: Unit) -> str:
    """Return what is expected and how far a reading is off it, both to a digit more than shown."""
    off = change_between(expected_mm, expected_mm + off_mm, unit, FINE[unit])
    return f"{fine_text(expected_mm, unit)} {unit} expected, this is {off} {unit} off"


# -- against the turns meant ---------------------------------------------------------------------


def made_words(found: Sequence[Explanation], unit: Unit) -> str:
    """Return which turns the readings after a round say were made, where not those meant.

    ``found`` are the explanations, the best first and the turns meant last. Nothing is said where
    the turns meant are the only one.
    """
    if len(found) < 2:
        return ""
    best, *others, meant = found
    likely, way_back = _made_words(best)
    also = "".join(
        f"; or {_made_words(e)[0]}, which fits to {fine_text(e.worst_mm, unit)} {unit}"
        for e in others
    )
    return (
        f"It looks as if {likely}: {way_back}, or go on from here. "
        f"That fits the readings to {fine_text(best.worst_mm, unit)} {unit}, the turns as meant "
        f"miss by {fine_text(meant.worst_mm, unit)} {unit}{also}. "
        "The turns shown begin where it is now."
    )


def _made_words(one: Explanation) -> tuple[str, str]:
    """Return what seems to have been done, and how it is put right."""
    assert one.stud is not None
    stud = f"the {clean(one.stud.said)} stud"
    other = f"the {clean(one.other.said)} stud" if one.other is not None else ""
    return {
        "meant": ("", ""),
        "instead": (f"{other} was turned, not {stud}", f"turn it back {_back(one)}"),
        "exchanged": (f"the turns of {stud} and {other} were exchanged", "turn both back"),
        "other way": (f"{stud} was turned the other way", f"turn it {_back(one)}"),
        "not turned": (f"{stud} was not turned", f"turn it {_back(one)}"),
        "twice": (f"{stud} was turned twice as far", f"turn it back {_back(one)}"),
    }[one.made]


def _back(one: Explanation) -> str:
    """Return the turns that put a stud right: ``3/8 out (counter-clockwise)``."""
    stud = one.other or one.stud
    assert stud is not None
    sense = "clockwise" if stud.clockwise(one.back) else "counter-clockwise"
    return f"{turn_text(one.back)} {'in' if one.back > 0.0 else 'out'} ({sense})"


# -- all of them together ------------------------------------------------------------------------


def adjustment_of(fit: Fit) -> Adjustment | None:
    """Return the adjustment of a fit's readings at its pose; None with three, which nothing checks.

    Linear at the pose found (JCGM 102:2011; W. Baarda, 1968): beside a corner of the outline the
    leave-one-out of ``suspects_of`` is the surer one.
    """
    if len(fit.readings) < 4:
        return None
    rows = [seen.gradient for seen in fit.observations]
    off = [-r for r in fit.residuals_mm]
    return adjust(rows, [r.u_mm for r in fit.readings], off)


def agreement_report(fit: Fit, per: float) -> dict[str, Any] | None:
    """Return the global test and each reading's share of the redundancy, lengths over ``per``.

    Residuals are read minus adjusted, as those of suspects are.
    """
    found = adjustment_of(fit)
    if found is None:
        return None
    return {
        "chi_square": found.chi2,
        "degrees_of_freedom": found.dof,
        "p": found.p,
        "agree": found.agrees(),
        "readings": [
            {
                "method": reading.method.name,
                "residual": -residual / per,
                "redundancy": redundancy,
                "normalised_residual": None if w is None else -w,
                "detectable": None if least is None else least / per,
            }
            for reading, residual, redundancy, w, least in zip(
                fit.readings, found.residuals, found.redundancy, found.w, found.detectable(),
                strict=True,
            )
        ],
    }  # fmt: skip


def agreement_words(fit: Fit) -> str:
    """Return the global test as one sentence; nothing with three readings."""
    found = adjustment_of(fit)
    if found is None:
        return ""
    verdict = "agree" if found.agrees() else "do NOT agree"
    return (
        f"The readings {verdict} within their uncertainties "
        f"(chi-square {found.chi2:.2f}, {found.dof} more than needed, p {found.p:.3f})."
    )
