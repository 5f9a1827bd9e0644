"""How often an honest reading is questioned, and how often a slip is: seeded simulation.

Each run draws the readings before and after from the very budgets that they are shown with, rounds
them as an inch caliper does, and asks what the bench asks. The short run shows that nothing is far
off; the long one pins the rates down.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import pytest

from tests.shop import as_received, heron, ski, walk_to
from workbench.fin.frame import Pose
from workbench.fin.plan.uncertainty import U_TURN
from workbench.measure.budget import ASSUMED, Budget
from workbench.measure.display import length_text
from workbench.measure.lengths import parse_length
from workbench.measure.repeats import Scatter
from workbench.measure.units import MM_PER_INCH
from workbench.work.job.entry import Typed
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job_text.view_words import doubt_question
from workbench.work.order.rigs import expected_of
from workbench.work.trust.reading_budget import (
    StudyScatter,
    Taken,
    budgets_of,
    default_figures,
    readings_of,
)
from workbench.work.trust.reading_tools import Tools

SHORT, LONG = 150, 4000
RUNS = [pytest.param(SHORT, id="short"), pytest.param(LONG, id="long", marks=pytest.mark.long)]
STEP_IN = 0.0005
TURNS = (-1.0, -0.5, -0.25, 0.0, 0.25, 0.5, 1.0)


def caliper_text(mm: float) -> str:
    """Return what an inch caliper shows."""
    return length_text(round(mm / MM_PER_INCH / STEP_IN) * STEP_IN * MM_PER_INCH, "in")


def drawn_error(budget: Budget, rng: random.Random) -> float:
    """Return one draw of all parts of a budget; the display's step is left to the rounding."""
    total = 0.0
    for part in budget.parts:
        if part.kind == "rectangular" and part.name != "resolution":
            total += part.sensitivity * rng.uniform(-1.0, 1.0) * part.u * math.sqrt(3.0)
        elif part.name != "resolution":
            total += part.sensitivity * rng.gauss(0.0, part.u)
    return total


@dataclass
class Simulation:
    """A fin read by an honest hand, and asked about; ``dof`` are those of the shop's studies."""

    view: JobView
    before: Pose
    rng: random.Random
    dof: int | None = None

    def __post_init__(self) -> None:
        self.methods = [line.method for line in self.view.lines]
        self.flat = next(m for m in self.others if m.name == "length, flat")
        taken = [Taken(m, (mm,)) for m, mm in zip(self.methods, self.at(self.before), strict=True)]
        self.budgets = budgets_of(taken, self.view.rig)

    @property
    def others(self) -> tuple:  # type: ignore[type-arg]
        return tuple(e.method for e in (self.view.expected or self.view.left))

    def at(self, pose: Pose) -> list[float]:
        return [self.view.rig.observe(m, pose).value_mm for m in self.methods]

    def read(self, pose: Pose) -> list[float]:
        """Return what an honest hand reads of a fin that stands so, before any rounding."""
        errors = [drawn_error(b, self.rng) for b in self.budgets]
        return [mm + error for mm, error in zip(self.at(pose), errors, strict=True)]

    def looked_at(self, turns: Sequence[float]) -> JobView:
        """Return the job with one set of readings before, and the turns made since."""
        studies = self.studies()
        figures = [
            replace(default_figures(mm), scatter=studies[0] if studies else None)
            for mm in self.at(self.before)
        ]
        texts = map(caliper_text, self.read(self.before))
        taken = [
            Taken(m, (parse_length(text, "in").mm,), None, f)
            for m, text, f in zip(self.methods, texts, figures, strict=True)
        ]
        known = readings_of(taken, self.view.rig)
        expected = expected_of(self.view.rig, known, tuple(turns), self.others)
        tools = Tools(studies=studies)
        if self.view.stage == "as received":
            return replace(self.view, left=expected, tools=tools)
        return replace(self.view, expected=expected, tools=tools)

    def studies(self) -> tuple[StudyScatter, ...]:
        """Return a study of each reading by this same hand, as chance made it."""
        if self.dof is None:
            return ()
        chance = self.rng.gammavariate(self.dof / 2, 2.0) / self.dof
        scatter = Scatter(ASSUMED.sd * math.sqrt(chance), self.dof)
        return tuple(StudyScatter(m.name.casefold(), scatter, "", "") for m in self.methods)


def asked(view: JobView, index: int, text: str) -> str:
    return doubt_question(
        view, view.lines[index], Typed(text, "in", parse_length(text, "in").mm), "in"
    )


def exchanged(text: str, rng: random.Random) -> str:
    """Return the text with two unlike neighbouring digits exchanged."""
    pairs = [text[i : i + 2] for i in range(len(text) - 1)]
    places = [i for i, p in enumerate(pairs) if p.isdigit() and p[0] != p[1]]
    i = rng.choice(places)
    return text[:i] + text[i + 1] + text[i] + text[i + 2 :]


def share(found: Sequence[bool]) -> float:
    assert found
    return sum(found) / len(found)


def allowed(rate: float, runs: int) -> float:
    """Return a rate with four standard errors of so many runs on top."""
    return rate + 4.0 * math.sqrt(rate * (1.0 - rate) / runs)


# -- after turns -----------------------------------------------------------------------------------


@pytest.fixture
def turned(shop: Shop) -> Callable[[int | None], Simulation]:
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "measuring", ("+.010", "", "-.015"))
    return lambda dof: Simulation(view, heron(view).pose, random.Random(66), dof)


@pytest.mark.parametrize("runs", RUNS)
@pytest.mark.parametrize("dof", [None, 2, 8])
def test_after_turns_an_honest_pass_is_questioned_in_one_case_of_a_hundred(
    turned: Callable[[int | None], Simulation], dof: int | None, runs: int
) -> None:
    """Any of three readings, with the default scatter or with that of a study, however small."""
    s = turned(dof)
    found = []
    for _ in range(runs):
        turns = [s.rng.choice(TURNS) for _ in s.view.rig.studs]
        view = s.looked_at(turns)
        made = [t + s.rng.gauss(0.0, U_TURN) if t else 0.0 for t in turns]
        after = s.read(s.view.rig.seated(s.before, made))
        found.append(any(asked(view, i, caliper_text(mm)) for i, mm in enumerate(after)))
    assert share(found) <= allowed(0.01, runs)


@pytest.mark.parametrize("runs", RUNS)
def test_after_turns_slips_are_caught(
    turned: Callable[[int | None], Simulation], runs: int
) -> None:
    """Every misread line; a wrong method by name; digits exchanged that move it by 0.006 in."""
    s = turned(None)
    lines, methods, digits = [], [], []
    for _ in range(runs):
        turns = [s.rng.choice(TURNS) for _ in s.view.rig.studs]
        view = s.looked_at(turns)
        made = [t + s.rng.gauss(0.0, U_TURN) if t else 0.0 for t in turns]
        pose = s.view.rig.seated(s.before, made)
        after = s.read(pose)
        for i, mm in enumerate(after):
            step = s.rng.choice((0.025, 0.05, 0.1, 0.2)) * s.rng.choice((-1, 1))
            lines.append(bool(asked(view, i, caliper_text(mm + step * MM_PER_INCH))))
            right = caliper_text(mm)
            wrong = exchanged(right, s.rng)
            if abs(float(wrong) - float(right)) > 0.006:
                digits.append("digits exchanged" in asked(view, i, wrong))
        flat = s.view.rig.observe(s.flat, pose).value_mm + after[2] - s.at(pose)[2]
        methods.append("'length, flat'" in asked(view, 2, caliper_text(flat)))
    assert share(lines) == 1.0
    assert share(methods) >= 0.98
    assert share(digits) >= 0.98


# -- as received -----------------------------------------------------------------------------------


@pytest.fixture
def received(shop: Shop) -> Simulation:
    view = as_received(shop)
    return Simulation(view, heron(view).pose, random.Random(67))


@pytest.mark.parametrize("runs", RUNS)
@pytest.mark.parametrize("by_mm", [0.0, 0.1])
def test_as_received_an_honest_ski_is_hardly_ever_questioned(
    received: Simulation, by_mm: float, runs: int
) -> None:
    """With the fin as it was left, or shifted a little by riding: the whole of three readings."""
    s = received
    found = []
    for _ in range(runs):
        view = s.looked_at((0.0, 0.0, 0.0))
        shift = [s.rng.gauss(0.0, by_mm) for _ in range(2)]
        pose = s.before.moved(*shift, s.rng.gauss(0.0, by_mm / 180.0))
        now = s.read(pose)
        found.append(any(asked(view, i, caliper_text(mm)) for i, mm in enumerate(now)))
    assert share(found) <= (0.0 if by_mm == 0.0 else allowed(0.01, runs))


@pytest.mark.parametrize("runs", RUNS)
def test_as_received_common_slips_are_caught(received: Simulation, runs: int) -> None:
    """The common lines, a wrong method, digits that move it by 0.014 in or more.

    A fin may have moved by less, so that less is told and not asked; nor are the rarer lines.
    """
    s = received
    lines, rare, methods, digits = [], [], [], []
    for _ in range(runs):
        view = s.looked_at((0.0, 0.0, 0.0))
        now = s.read(s.before)
        for i, mm in enumerate(now):
            sign = s.rng.choice((-1, 1)) * MM_PER_INCH
            common = mm + s.rng.choice((0.025, 0.1)) * sign
            lines.append(bool(asked(view, i, caliper_text(common))))
            rare.append("misread" in asked(view, i, caliper_text(mm + 0.2 * sign)))
            right = caliper_text(mm)
            wrong = exchanged(right, s.rng)
            if abs(float(wrong) - float(right)) > 0.014:
                digits.append(bool(asked(view, i, wrong)))
        flat = s.view.rig.observe(s.flat, s.before).value_mm + now[2] - s.at(s.before)[2]
        methods.append("'length, flat'" in asked(view, 2, caliper_text(flat)))
    assert share(lines) >= 0.98
    assert share(rare) == 0.0
    assert share(methods) >= 0.98
    assert share(digits) >= 0.98


def test_the_simulation_s_hand_scatters_as_its_budget_says(received: Simulation) -> None:
    """Else the rates above would mean nothing: the drawn errors have the budgets' own u."""
    s = received
    runs = 4000
    for budget in s.budgets:
        errors = [drawn_error(budget, s.rng) for _ in range(runs)]
        step = next(p.u for p in budget.parts if p.name == "resolution")
        u = math.sqrt(math.fsum(e * e for e in errors) / runs + step**2)
        assert u == pytest.approx(budget.u, rel=0.05)
