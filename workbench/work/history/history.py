"""A ski's history, read once: its jobs with their facts, and the settings it came and left with."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from workbench.errors import BenchError
from workbench.fin.plan.guidance import COVERAGE
from workbench.fin.pose.equations import Reading
from workbench.fin.pose.fit import Fit, fit_pose
from workbench.fin.reading.method import Method
from workbench.fin.reading.observe import observe_all
from workbench.fin.reading.rig import Rig
from workbench.fin.studs import Stud
from workbench.measure.calipers import DIN_862_MM
from workbench.measure.display import fine_text, length_text
from workbench.measure.repeats import mean_of
from workbench.measure.units import Unit
from workbench.records.book import Book
from workbench.records.store import rows
from workbench.records.tables.roster import blade_of, method_of, rig_of, stud_of
from workbench.records.tables.ski_facts import SkiFacts, SkiJob, SkiSheet
from workbench.work.history.rides import ride_rules_of
from workbench.work.job.shop import Shop
from workbench.work.job.ski_state import SkiState, conclude
from workbench.work.text.local_time import local_day
from workbench.work.text.words import clean
from workbench.work.trust.reading_budget import Figures, Taken, reading_u_mm, scatter_for, worst_of
from workbench.work.trust.reading_tools import Tools, tools_of
from workbench.work.trust.shop_policy import shop_rules

Moment = Literal["received", "left", "in hand"]

MOMENT_WORDS: dict[Moment, str] = {
    "received": "as received", "left": "as it left", "in hand": "as it is now",
}  # fmt: skip


LONGEST_MM = 1000.0
"""A reading beyond the reach of any caliper's table, as other hands may have left one, is shown but
not counted."""


@dataclass(frozen=True, slots=True)
class Value:
    """What one method read in a setting (mm): the mean of its repeats, with standard uncertainty.

    It is at 20 degrees where a temperature was stated; ``readings`` are as they were read.
    ``target`` is the one that was in force in that job, None where the reading was held.
    """

    method_id: str
    method: Method
    mm: float
    u_mm: float
    readings: tuple[rows.Reading, ...]
    target: rows.Target | None = None

    def words(self, unit: Unit) -> str:
        """Return the value with its expanded uncertainty."""
        return f"{length_text(self.mm, unit)} {unit} ±{fine_text(COVERAGE * self.u_mm, unit)}"


@dataclass(frozen=True, slots=True)
class Setting:
    """The numbers of one moment of a ski: each by its method, with the wing and the ride's rating.

    ``received`` is as received (the wing was not read then), ``left`` the last measured of a
    job signed off by what was kept of the ski, ``in hand`` the last measured of one that is not.
    ``at`` (ISO UTC) and ``who`` are those of its last reading. ``rating`` is the ride's, 1 to 5, of
    what was ridden.
    """

    job_id: str
    moment: Moment
    at: str
    who: str
    pass_number: int
    values: tuple[Value, ...]
    wing: rows.WingSetting | None = None
    rating: int | None = None

    def value(self, method_id: str) -> Value | None:
        """Return what a method read, or None where it was not read."""
        return next((v for v in self.values if v.method_id == method_id), None)

    @property
    def last_id(self) -> str:
        """The id of its last reading."""
        return max(r.id for v in self.values for r in v.readings)

    @property
    def day(self) -> str:
        """The local day it was measured on, as YYYY-MM-DD."""
        return local_day(self.at)

    @property
    def name(self) -> str:
        """The setting in words: its day and its moment."""
        return f"{self.day} {MOMENT_WORDS[self.moment]}"

    @property
    def beside(self) -> list[str]:
        """The wing's angle and the ride's rating in words, each where there is one."""
        out = [f"wing {self.wing.angle_deg:g}°"] if self.wing is not None else []
        return out + ([f"ride {self.rating} of 5"] if self.rating is not None else [])


@dataclass(frozen=True, slots=True)
class History:
    """Everything the book has of a ski; ``methods`` and ``rigs`` by id of the method.

    A blade that was exchanged has methods and a rig of its own; the base and the block are those of
    the ski as it is now, and ``studs`` by id those of every block that it wore.
    ``felt`` has the words of the shop's short list of complaints, by key.
    ``state`` is what the facts of all its jobs say together.
    ``seen`` is what there was of the ski when this was read.
    """

    ski: rows.Ski
    jobs: tuple[rows.JobHistory, ...]
    method_rows: Mapping[str, rows.Method]
    methods: Mapping[str, Method]
    rigs: Mapping[str, Rig]
    state: SkiState
    versions: tuple[rows.SkiVersion, ...] = ()
    curves: tuple[rows.Curve, ...] = ()
    pairs: tuple[rows.Pair, ...] = ()
    tools: Tools = field(default_factory=Tools)
    felt: Mapping[str, str] = field(default_factory=dict)
    parts: tuple[tuple[rows.PartVersion, ...], ...] = ()
    studs: Mapping[str, tuple[Stud, ...]] = field(default_factory=dict)
    seen: rows.SkiSeen = rows.NOTHING_SEEN

    def job(self, job_id: str) -> rows.JobHistory:
        """Return a job of this ski with its facts."""
        return next(j for j in self.jobs if j.job.id == job_id)

    def block_id_at(self, row_id: str) -> str:
        """Return the id of the block that the ski wore when a row was kept."""
        then = [v.ski for v in self.versions if v.id < row_id and v.struck is None]
        return (then[-1] if then else self.ski).block_id

    def method_name(self, method_id: str) -> str:
        """Return a method's name, which a number is never shown without."""
        row = self.method_rows.get(method_id)
        return row.name if row is not None else "a method that is not in the book"


def load_history(shop: Shop, ski_id: str) -> History:
    """Read everything the book has of a ski.

    Raises:
        RecordsError: the book cannot be read, or the ski is not in it.
    """
    return shop.book.at_once(_load, shop, ski_id)


def _load(shop: Shop, ski_id: str) -> History:
    book = shop.book
    ski = book.ski(ski_id)
    jobs = book.history_of_ski(ski_id)
    pairs = book.pairs_of(ski_id)
    versions = book.ski_versions(ski_id)
    method_rows = {i: book.method(i) for i in _method_ids(ski, jobs, pairs)}
    blade_rows = {m.blade_id: book.blade(m.blade_id) for m in method_rows.values()}
    blades = {i: blade_of(row) for i, row in blade_rows.items()}
    block = book.block(ski.block_id)
    rigs = {i: rig_of(ski, blade, block.studs) for i, blade in blades.items()}
    known = SkiFacts(ski_id, tuple(map(SkiSheet.of, versions)), tuple(map(SkiJob.of, jobs)))
    return History(
        ski,
        jobs,
        method_rows,
        {i: method_of(row, blades[row.blade_id]) for i, row in method_rows.items()},
        {i: rigs[row.blade_id] for i, row in method_rows.items()},
        conclude(known, shop_rules(book)),
        versions,
        book.curves_of(ski_id),
        pairs,
        tools_of(
            book,
            [fact for job in jobs for fact in job.facts],
            {i: m.u_mm for i, m in method_rows.items() if m.u_mm is not None},
        ),
        _felt(shop, jobs),
        _parts_of(book, ski),
        {
            i: tuple(map(stud_of, book.block(i).studs))
            for i in {ski.block_id, *(v.ski.block_id for v in versions)}
        },
        shop.seen_of(ski),
    )


def _parts_of(book: Book, ski: rows.Ski) -> tuple[tuple[rows.PartVersion, ...], ...]:
    """Return the versions of the ski's blade, of its block and of each of its own baselines."""
    baselines = [b.id for b in book.every_baseline() if b.ski_id == ski.id]
    return (
        book.blade_versions(ski.blade_id),
        book.block_versions(ski.block_id),
        *map(book.baseline_versions, baselines),
    )


def _felt(shop: Shop, jobs: Iterable[rows.JobHistory]) -> dict[str, str]:
    """Return the words of the short list where a rider chose of it; none where it is spoilt."""
    facts = (fact for job in jobs for fact in job.facts)
    if not any(isinstance(fact, rows.RideNote) and fact.complaints for fact in facts):
        return {}
    try:
        return {complaint.key: complaint.words for complaint in ride_rules_of(shop).complaints}
    except BenchError:
        return {}


def _method_ids(
    ski: rows.Ski, jobs: Iterable[rows.JobHistory], pairs: Iterable[rows.Pair]
) -> list[str]:
    """Return the ski's own methods first, in its order, then every other that was ever used."""
    used = dict.fromkeys(ski.methods)
    for job in jobs:
        for fact in job.facts:
            if type(fact) is rows.Reading or type(fact) is rows.Target:
                used[fact.method_id] = None
    for pair in pairs:
        used.update(dict.fromkeys((pair.method_id, pair.other_method_id)))
    return list(used)


# -- settings ----------------------------------------------------------------------------------


def settings_in(history: History) -> tuple[Setting, ...]:
    """Return every setting in a history, oldest first; struck-out jobs and rows do not count."""
    worked = _Worked(history)
    out: list[Setting] = []
    for job in history.jobs:
        if job.job.struck is None:
            out += _settings_of_job(job, worked)
    return tuple(out)


def _settings_of_job(job: rows.JobHistory, worked: _Worked) -> list[Setting]:
    live = [f for f in job.facts if f.struck is None]
    taken = _by_pass(live)
    if not taken:
        return []
    # The latest round that was measured as fully as any round of this job.
    full = max(map(len, taken.values()))
    last = max(number for number, by_method in taken.items() if len(by_method) == full)
    signed = worked.history.state.jobs[job.job.id].has_left
    out = [_setting("received", 0, taken[0], live, worked)] if 0 in taken else []
    if last > 0 or signed:
        moment: Moment = "left" if signed else "in hand"
        out.append(_setting(moment, last, taken[last], live, worked))
    return out


def _by_pass(live: Sequence[rows.AnyFact]) -> dict[int, dict[str, list[rows.Reading]]]:
    """Return the readings that count; those of a round that was struck out do not."""
    passes = sum(type(f) is rows.PassRow for f in live)
    out: dict[int, dict[str, list[rows.Reading]]] = {}
    for fact in live:
        if type(fact) is not rows.Reading or fact.pass_number > passes:
            continue
        if 0.0 < fact.mm <= LONGEST_MM:
            out.setdefault(fact.pass_number, {}).setdefault(fact.method_id, []).append(fact)
    return out


def _setting(
    moment: Moment,
    number: int,
    taken: Mapping[str, Sequence[rows.Reading]],
    live: Sequence[rows.AnyFact],
    worked: _Worked,
) -> Setting:
    targets = {f.method_id: f for f in live if type(f) is rows.Target}
    wings = [f for f in live if type(f) is rows.WingSetting]
    ratings = [f.rating for f in live if type(f) is rows.RideNote and f.rating is not None]
    last = max((r for readings in taken.values() for r in readings), key=lambda r: r.id)
    repeats = {i: worked.taken(i, taken[i]) for i in worked.history.methods if i in taken}
    known = worked.slopes.of(repeats)
    values = tuple(
        Value(
            i, t.method, mean_of(t.values_mm), u_of(t, known[i]), tuple(taken[i]), targets.get(i)
        )
        for i, t in repeats.items()
    )  # fmt: skip
    ridden = moment != "received"
    return Setting(
        last.job_id, moment, last.at, last.who, number, values,
        wings[-1] if wings and ridden else None,
        ratings[-1] if ratings and ridden else None,
    )  # fmt: skip


def readings_in(history: History, job_id: str) -> list[tuple[rows.Reading, float, float]]:
    """Return each reading of a job not struck out, with its standard uncertainty (mm)."""
    worked = _Worked(history)
    live = [f for f in history.job(job_id).facts if f.struck is None]
    out = []
    for taken in _by_pass(live).values():
        known = worked.slopes.of({i: worked.taken(i, kept) for i, kept in taken.items()})
        for i, kept in taken.items():
            for reading in kept:
                alone = worked.taken(i, [reading])
                out.append((reading, alone.values_mm[0], u_of(alone, known[i])))
    return out


# -- lines and values ----------------------------------------------------------------------------


def settings_lines(settings: Sequence[Setting], unit: Unit) -> list[str]:
    """Return one numbered line for each setting, each number by its method."""
    out = []
    for number, setting in enumerate(settings, 1):
        numbers = [f"{clean(v.method.name)} {v.words(unit)}" for v in setting.values]
        name = ", ".join(x for x in (setting.name, clean(setting.who)) if x)
        out.append(f"{number}  {name}: {', '.join(numbers + setting.beside)}")
    return out or ["this ski was not read yet"]


def settings_report(settings: Sequence[Setting]) -> dict[str, object]:
    """Return the settings as plain values, lengths and their standard uncertainties in mm."""
    return {"settings": [setting_report(s) for s in settings]}


def setting_report(setting: Setting) -> dict[str, object]:
    """Return a setting as plain values."""
    return {
        "name": setting.name, "job": setting.job_id, "moment": setting.moment, "at": setting.at,
        "who": setting.who,
        "values": [{"method": v.method.name, "mm": v.mm, "u_mm": v.u_mm} for v in setting.values],
        "wing_deg": setting.wing.angle_deg if setting.wing is not None else None,
        "rating": setting.rating,
    }  # fmt: skip


# -- how sure each of many readings is -------------------------------------------------------------


# A decade of readings was taken with a few calipers between a few checks of them, at poses not far
# apart: what a budget takes from those is the same for all that fall between the same two checks.

_STEPS_MM = sorted({upper for table in DIN_862_MM.values() for upper, _ in table})
"""Lengths at which a permissible error may change."""


class _Worked:
    """A history with what is worked out of its readings once for all its settings."""

    def __init__(self, history: History) -> None:
        self.history, self.slopes = history, Slopes(history.rigs)
        self._known: dict[tuple[object, ...], Figures | None] = {}
        gauges = history.tools.gauges
        self._checks = {i: sorted(c.id for c in gauge.checks) for i, gauge in gauges.items()}

    def taken(self, method_id: str, kept: Sequence[rows.Reading]) -> Taken:
        """Return repeats by one method, the same as ``tools.taken`` gives."""
        tools, method = self.history.tools, self.history.methods[method_id]
        found = [self._figures(method_id, method, reading) for reading in kept]
        figures = worst_of([f for f in found if f is not None]) if all(found) else None
        return Taken(method, tools.values_mm(kept), tools.stated_u_mm.get(method_id), figures)

    def _figures(self, method_id: str, method: Method, kept: rows.Reading) -> Figures | None:
        tools = self.history.tools
        if kept.temperature_id:  # its part of the budget goes with the length itself
            return tools.taken(method_id, method, [kept]).figures
        caliper = kept.caliper_id or ""
        before = bisect_left(self._checks.get(caliper, ()), kept.id)
        study = scatter_for(tools.studies, method, kept.id)
        known = study.done if study is not None else ""
        part = None if method.is_coarse else method.read_with
        key = (caliper, before, bisect_left(_STEPS_MM, abs(kept.mm)), known, part)
        if key not in self._known:
            self._known[key] = tools.taken(method_id, method, [kept]).figures
        return self._known[key]


NEAR_MM = 2.0
"""How far readings may lie from those of a pose found before to be reached by one step: the step
along that fit's gain then ends within a few hundredths of a millimetre of the pose itself."""


def u_of(taken: Taken, slope: float) -> float:
    """Return the standard uncertainty (mm) of the mean of repeats that follow the jaw's height so.

    ``slope`` is the change of the reading per mm of height (mm/mm).
    """
    if taken.u_mm is not None:
        return taken.u_mm
    return reading_u_mm(taken.values_mm, slope, taken.known_figures)


class Slopes:
    """Works out slopes for many settings of one ski; ``rigs`` by id of the method.

    A slope is read off the blade where it is. Within a small way of a pose found before, the
    pose is had by one step along that fit's gain.
    """

    def __init__(self, rigs: Mapping[str, Rig]) -> None:
        self._rigs = rigs
        self._fits: dict[tuple[str, ...], Fit] = {}

    def of(self, taken: Mapping[str, Taken]) -> dict[str, float]:
        """Return each method's slope (mm/mm), by its id; 0 where no pose tells."""
        found: Sequence[float] = ()
        if any(t.u_mm is None and t.method.quantity != "depth" for t in taken.values()):
            found = self._found(taken)
        return dict(zip(taken, found or [0.0] * len(taken), strict=True))

    def _found(self, taken: Mapping[str, Taken]) -> Sequence[float]:
        rigs = {id(rig): rig for rig in (self._rigs[i] for i in taken)}
        if len(rigs) > 1:
            return ()
        (rig,) = rigs.values()
        means = [mean_of(t.values_mm) for t in taken.values()]
        near = self._fits.get(tuple(taken))
        stepped = _stepped(rig, near, means) if near is not None else ()
        if stepped:
            return stepped
        whole = zip(taken.values(), means, strict=True)
        readings = [Reading(t.method, mean, u_of(t, 0.0)) for t, mean in whole]
        try:
            fit = fit_pose(rig.blade, rig.base, readings, near.pose if near is not None else None)
        except BenchError:  # said in full where such readings are on the bench
            return ()
        self._fits[tuple(taken)] = fit
        return [seen.height_slope for seen in fit.observations]


def _stepped(rig: Rig, near: Fit, means: Sequence[float]) -> Sequence[float]:
    """Return the slopes one step away from a known fit; nothing where that is too far."""
    moved = [mm - r.value_mm for mm, r in zip(means, near.readings, strict=True)]
    if max(map(abs, moved)) > NEAR_MM:
        return ()
    dx, dy, turn = (sum(g * m for g, m in zip(row, moved, strict=True)) for row in near.gain)
    pose = near.pose.moved(dx, dy, turn)
    slanting = [r.method for r in near.readings if r.method.quantity != "depth"]
    seen = observe_all(slanting, rig.blade, rig.base, pose)
    slopes = {m.name: o.height_slope for m, o in zip(slanting, seen, strict=True) if o is not None}
    if len(slopes) < len(slanting):
        return ()
    return [slopes.get(r.method.name, 0.0) for r in near.readings]
