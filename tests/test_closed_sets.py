"""Closed sets are closed: a stage, a quantity or a kind that a place does not know is refused.

Each place is given a member that is not there, as a new one would be where it was forgotten.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace
from typing import Any, get_args

import pytest

from tests.shop import Fin, advance, at_stage, heron, ski
from workbench.advice.holds import HOLDS
from workbench.advice.ride_feel import WHAT_WORDS, WHATS
from workbench.bench.hand.entry_keys import EntryKeys
from workbench.bench.hand.hands import Hands
from workbench.bench.panels.next_line import next_words
from workbench.bench.screens import help_screens
from workbench.commands import FAMILIES
from workbench.errors import InputError
from workbench.fin.frame import Base, Pose
from workbench.fin.pose.descent import closed_form
from workbench.fin.reading.method import ONE_OF, QUANTITIES, TRAITS, Method, Quantity, Scribe
from workbench.fin.reading.observe import observe
from workbench.measure.calipers import Caliper, judge
from workbench.records.store.rows import AnyFact, CurveKind, JobKind, Mark
from workbench.work.demo import _Player
from workbench.work.drawing.scene import _jaws, _span, method_caption
from workbench.work.history import timeline
from workbench.work.history.timeline import _TELLERS
from workbench.work.job import stages
from workbench.work.job.base_curve import FIELDS, measured_of
from workbench.work.job.coarse_marks import mark_place
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job.stages import (
    ALLOWED,
    EVENT_WORDS,
    STAGE_GLYPHS,
    Event,
    Stage,
    check_allowed,
)
from workbench.work.job_text import tasks
from workbench.work.job_text.tasks import TASKS, WAYS, Obstacle, caution_words, task_of, tour_words
from workbench.work.order.rigs import ANY_FIN_MM, usual_range_mm
from workbench.work.order.round_records import MARK_WORDS, described
from workbench.work.paper.day_sheet import HEADS, SHARES
from workbench.work.roster.settings import SETTINGS
from workbench.work.trust.reading_budget import StudyScatter, scatter_for

NEW: Any = "a new one"

# -- stages ----------------------------------------------------------------------------------------


@pytest.fixture
def polishing(shop: Shop) -> JobView:
    """A ski at a stage that nobody knows."""
    view = ski(shop, "Heron 66")
    return replace(view, progress=replace(view.progress, stage=NEW, gate=NEW))


def test_each_stage_and_each_act_has_its_row() -> None:
    assert set(STAGE_GLYPHS) == set(ALLOWED) == set(TASKS) == set(get_args(Stage))
    assert set(EVENT_WORDS) == set(get_args(Event))
    assert set().union(*ALLOWED.values()) == set(get_args(Event))
    assert len(set(STAGE_GLYPHS.values())) == len(STAGE_GLYPHS)


def test_a_walk_through_every_stage_finds_its_commands_and_its_words(shop: Shop) -> None:
    """Each command that is named is there, and each thing kept on the way is told in words."""
    known = {name for family in FAMILIES.values() for names in family.values()
             for name in names.split()}  # fmt: skip
    bare, winged = ski(shop, "Heron 66"), ski(shop, "Heron 67")
    kept, seen, before_a_check = set[str](), {"set aside"}, set[str]()
    assert task_of(at_stage(shop, "set aside")).commands == ("take-up",)
    for view, fin in ((bare, heron(bare)), (winged, Fin(winged, 0.690, -1.012, -0.10))):
        while True:
            seen.add(view.stage)
            commands = {command.split()[0] for command in task_of(view).commands}
            assert commands, view.stage
            assert commands <= known, view.stage
            if view.stage == "signed off":
                break
            before, view = view.stage, advance(shop, view, fin, ("+.008", "+.012", ""))
            if TASKS[view.stage].asks == "ticks" and TASKS[before].asks != "ticks":
                before_a_check.add(before)
        kept |= {f.kind for f in view.facts if isinstance(f, Mark)}
    order = get_args(Stage)
    assert seen == set(order)
    assert kept <= set(MARK_WORDS)
    assert set(MARK_WORDS) >= timeline._NOTES
    late = order[order.index("within") : order.index("signed off")]
    assert {stage for stage in order if TASKS[stage].open_point} == set(late)
    assert {stage for stage in order if TASKS[stage].begins_check} == before_a_check
    assert all(task.done for task in TASKS.values() if task.asks == "nothing")


def test_an_unknown_stage_is_answered_nowhere(shop: Shop, polishing: JobView) -> None:
    """Least of all as if the ski were signed off."""
    hands = Hands(shop)
    hands.open(polishing.job.id)
    hands.state = replace(hands.state, view=polishing, hands_on=False)
    walk = object.__new__(_Player)
    places: list[Callable[[], object]] = [
        lambda: next_words(hands.state),
        lambda: EntryKeys(hands)._next_step(polishing),
        lambda: task_of(polishing),
        lambda: caution_words(polishing, at_check=False),
        lambda: tour_words(polishing, "in", hands_on=False),
        lambda: walk._next(shop, polishing),
    ]
    for place in places:
        with pytest.raises((KeyError, ValueError), match=r"a new one|not in tuple"):
            place()
    with pytest.raises(KeyError):
        check_allowed(polishing.stage, "read")


def test_what_is_in_the_way_is_told_alike_at_the_bench_and_on_the_command_line(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each obstacle has its words at both, and an unknown one is passed over by neither."""
    assert set(WAYS) == set(get_args(Obstacle))
    hands = Hands(shop)
    hands.open(ski(shop, "Heron 66").job.id)
    view = hands.state.view
    assert view is not None
    for found in (*get_args(Obstacle), NEW):
        monkeypatch.setattr(tasks, "obstacle", lambda _, found=found: found)
        if found == "contradiction":
            continue  # its words name the reading: tests of coarse marks hold them
        if found == NEW:
            with pytest.raises(KeyError):
                next_words(hands.state)
            with pytest.raises(KeyError):
                task_of(view)
        else:
            assert next_words(hands.state).startswith(task_of(view).words[:20])


# -- quantities ------------------------------------------------------------------------------------


def chord(**fields: Any) -> Method:
    """A method of a quantity that nobody knows; its own check is passed by."""
    known: Quantity = "depth" if "scribe" in fields else "tail"
    method = Method(
        "chord", known, **({"band_mm": (0.0, 1.0)} if known == "tail" else {}), **fields
    )
    object.__setattr__(method, "quantity", NEW)
    return method


def test_each_quantity_has_its_row(shop: Shop) -> None:
    assert set(TRAITS) == set(QUANTITIES) == set(get_args(Quantity))
    assert set(ANY_FIN_MM) == {*QUANTITIES, "mark"}
    held = set(HOLDS)
    assert held == {(q, hold) for q in QUANTITIES for hold in TRAITS[q].holds}
    assert set(WHAT_WORDS) == set(WHATS) == {*QUANTITIES, "wing"}
    settings = {s.name for s in SETTINGS if s.name.startswith("tolerance_")}
    assert settings == {f"tolerance_{q}" for q in QUANTITIES}
    [(made,)] = shop.book.read(
        lambda db: list(db.execute("SELECT sql FROM sqlite_master WHERE name = 'methods'"))
    )
    listed = re.search(r"CHECK \(quantity IN \(([^)]*)\)", made)
    assert listed is not None
    assert re.findall(r"'(\w+)'", listed[1]) == list(QUANTITIES)
    assert set(QUANTITIES) <= {word for word, _ in help_screens._WORDS}
    assert len(HEADS) == len(SHARES)


def test_an_unknown_quantity_is_read_as_nothing(shop: Shop) -> None:
    """Neither as a length nor as anything else, wherever a quantity tells what is done."""
    rig = ski(shop, "Heron 66").rig
    pose, fine, coarse = Pose(150.0, -60.0, 0.0), chord(), chord(scribe=Scribe((1.0, 0.0), 0.0))
    length = Method("length", "length", band_mm=(0.0, 1.0))
    seen = observe(length, rig.blade, Base(), pose)
    assert seen is not None
    study = StudyScatter("length", None, "", "")  # type: ignore[arg-type]
    places: list[Callable[[], object]] = [
        lambda: observe(fine, rig.blade, Base(), pose),
        lambda: observe(coarse, rig.blade, Base(), pose),
        lambda: closed_form(fine, seen, pose, Base()),
        lambda: usual_range_mm(fine, rig.blade),
        lambda: method_caption(fine, meets=True),
        lambda: _jaws(fine, Base(), seen),
        lambda: _span(fine, Base(), seen),
        lambda: mark_place(coarse, "in"),
        lambda: fine.read_with,
        lambda: scatter_for([study], fine),
        lambda: HOLDS[NEW, "flat"],
    ]
    for place in places:
        with pytest.raises((AssertionError, KeyError)):
            place()
    with pytest.raises(InputError, match=ONE_OF):
        Method("chord", NEW, band_mm=(0.0, 1.0))


# -- kinds -----------------------------------------------------------------------------------------


def test_each_fact_is_told() -> None:
    assert set(get_args(AnyFact)) <= set(_TELLERS)
    assert set(get_args(AnyFact)) == {*timeline._KINDS, Mark}
    with pytest.raises(AssertionError):
        described(SimpleNamespace(text="new"))  # type: ignore[arg-type]


def test_an_unknown_kind_is_taken_for_no_other() -> None:
    assert set(FIELDS) == set(get_args(CurveKind))
    with pytest.raises(AssertionError):
        measured_of(NEW, {}, "mm")
    check: Any = SimpleNamespace(kind=NEW)
    with pytest.raises(AssertionError):
        judge(Caliper("C"), check)
    assert set(get_args(JobKind)) == {"setting", "recheck"}
    assert stages.progress([], stages.Asked({}, False), stages.JobState()).stage == "waiting"
    with pytest.raises(AssertionError):
        stages.progress([], stages.Asked({}, False, NEW), stages.JobState())
