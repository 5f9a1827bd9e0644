"""Turns by what a block and blade have taught the bench: off unless asked for, and safely so."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from tests.shop import Fin, demo_file, heron, open_shop, read, ski, walk_to
from workbench.errors import InputError
from workbench.fin.learn.replay import Move
from workbench.fin.reading.rig import Rig
from workbench.fin.studs import Stud
from workbench.records.store import rows
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job.ski_state import UNMEASURED
from workbench.work.job.stages import MidPassError
from workbench.work.job_text.tasks import task_of
from workbench.work.job_text.view_words import Importance, said_of

CHANGES = ("+.030", "", "+.020")


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with open_shop(demo_file(tmp_path)) as shop:
        yield shop


class Longer(Fin):
    """A fin in a block whose studs move more per turn than their threads say."""

    def __init__(self, view: JobView, ratio: float) -> None:
        super().__init__(view, 0.652, -1.005, 0.05)
        told = view.rig
        studs = tuple(
            Stud(s.name, s.touches, s.at_mm, s.axis, s.lead_mm * ratio, s.hand, s.tip_radius_mm)
            for s in told.studs
        )
        self.rig = Rig(told.blade, told.base, studs)


def learning(shop: Shop) -> None:
    shop.book.set_setting("learning", "on", who="KV")


def at_turning(shop: Shop, ratio: float = 1.0) -> tuple[JobView, Fin]:
    view = ski(shop, "Heron 66")
    fin = Longer(view, ratio)
    return walk_to(shop, view, fin, "turning", CHANGES), fin


def turns(view: JobView) -> list[float]:
    assert view.plan is not None
    return [t.turns for t in view.plan.turns]


def test_nothing_changes_until_learning_is_on(shop: Shop) -> None:
    view, _ = at_turning(shop)
    assert view.learnt is None
    assert "%" not in task_of(view).words
    plain = turns(view)
    learning(shop)
    view = shop.view(view.job.id)
    assert view.learnt is not None
    assert "%" in task_of(view).words
    view = shop.without_learned(view, True)
    assert view.learnt is None
    assert turns(view) == plain
    assert shop.without_learned(view, False).learnt is not None


def test_what_was_read_and_what_is_aimed_at_stay(shop: Shop) -> None:
    view, _ = at_turning(shop)
    learning(shop)
    learnt = shop.view(view.job.id)
    assert [x.now_mm for x in learnt.lines] == [x.now_mm for x in view.lines]
    assert [x.target_mm for x in learnt.lines] == [x.target_mm for x in view.lines]
    assert learnt.stage == view.stage
    assert learnt.plan is not None
    assert view.plan is not None
    assert [p.now_mm for p in learnt.plan.predictions] == [p.now_mm for p in view.plan.predictions]


def test_the_round_keeps_the_turns_that_were_told(shop: Shop) -> None:
    learning(shop)
    view, fin = at_turning(shop, 1.02)
    assert view.plan is not None
    told = {t.stud.name: t.turns for t in view.plan.turns}
    assert any(told.values())
    view = walk_to(shop, view, fin, "measuring", CHANGES)
    made = [f for f in view.facts if isinstance(f, rows.PassRow)]
    assert {t.stud: t.turns for t in made[-1].turns} == told


def test_a_round_begun_is_finished_by_what_was_known_when_it_began(shop: Shop) -> None:
    """Neither the setting nor what other jobs teach meanwhile changes a turn in the middle."""
    learning(shop)
    view, _ = at_turning(shop)
    view = shop.step_done(view)
    told = turns(view)
    shop.book.set_setting("learning", "off", who="KV")
    view = shop.view(view.job.id)
    assert view.learnt is not None
    assert turns(view) == told
    other = ski(shop, "Heron 67")
    made = [rows.Turn(s.name, 0.5, 0.5) for s in other.rig.studs]
    shop.book.add_fact(
        other.job.id, "KV", rows.PassRow(number=9, turns=tuple(made), finest_turn=0.125)
    )
    view = shop.view(view.job.id)
    assert turns(view) == told
    view = shop.step_done(view)
    with pytest.raises(MidPassError):
        shop.without_learned(view, True)


def test_a_push_home_is_a_round_with_its_steps(shop: Shop) -> None:
    """Bolts loosened, blade pushed home, bolts snugged, then everything is measured again."""
    learning(shop)
    view, fin = at_turning(shop)
    view = walk_to(shop, view, fin, "measuring", CHANGES)
    block = view.rig
    held = [t.mm for t in block.travels(fin.pose)]
    # Not home at the tail stud: it stands off by 0.008 in.
    away = [mm + (0.2 if j == 2 else 0.0) for j, mm in enumerate(held)]
    from workbench.fin.studs import seat

    pose = fin.pose
    fin.pose = seat(block.studs, block.blade, away, pose)
    for line in view.lines:
        view = read(shop, view, line, fin.text(line))
    assert view.learnt is not None
    words = task_of(view).words
    assert "Push the blade home at the tail stud" in words, words
    assert view.has_round
    assert view.plan is not None
    assert [s.do for s in view.plan.steps] == ["loosen", "seat", "snug", "measure"]
    fin.pose = pose
    before = view.progress.pass_number
    for _ in range(3):
        view = shop.step_done(view)
    assert view.progress.pass_number == before + 1
    assert view.stage == "measuring"
    made = [f for f in view.facts if isinstance(f, rows.PassRow)]
    assert not any(t.turns for t in made[-1].turns)


def test_turns_never_go_beyond_where_a_stud_reaches(shop: Shop) -> None:
    learning(shop)
    view, _ = at_turning(shop)
    assert view.plan is not None
    at = view.rig.travels(view.plan.after)
    block = shop.book.block(view.ski.block_id)
    j = next(i for i, n in enumerate(turns(view)) if n)
    end, plain = at[j].mm, shop.without_learned(view, True)
    assert plain.plan is not None
    other = plain.rig.travels(plain.plan.after)[j].mm
    if end == other:
        pytest.skip("both end at the same place")
    studs = list(block.studs)
    between = (end + other) / 2.0
    limits = (between, 100.0) if end < other else (-100.0, between)
    studs[j] = replace(studs[j], travel_mm=limits)
    shop.book.correct_block(replace(block, studs=tuple(studs)), who="KV", reason="travel measured")
    view = shop.without_learned(shop.view(view.job.id), False)
    assert view.learnt is None


def test_settling_is_offered_before_the_first_reading_and_may_be_skipped(shop: Shop) -> None:
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "as received")
    assert not view.offers_settling
    learning(shop)
    view = shop.view(view.job.id)
    assert task_of(view).commands[0] == "settled"
    skipped = read(shop, view, view.lines[0], heron(view).text(view.lines[0]))
    assert not skipped.offers_settling
    with pytest.raises(InputError, match="before a job's first reading"):
        shop.settle(skipped)


def test_settled_leaves_the_bolts_loose_until_it_is_read(shop: Shop) -> None:
    learning(shop)
    view = ski(shop, "Heron 66")
    fin = heron(view)
    view = shop.settle(walk_to(shop, view, fin, "as received"))
    assert view.progress.loose
    assert not view.offers_settling
    view = walk_to(shop, view, fin, "turning", CHANGES)
    assert not view.progress.loose
    assert view.learnt is not None
    assert view.learnt.job.before[0][1].directions == ("in", "in", "in")


def test_settled_studs_were_turned_and_the_ski_is_measured_again(shop: Shop) -> None:
    """Also where the job was struck out, and where the record was, until somebody says more."""
    view = ski(shop, "Heron 66")
    done = walk_to(shop, view, heron(view), "signed off")
    learning(shop)
    again = shop.view(shop.queue(done.ski.id).id)
    again = shop.settle(walk_to(shop, again, heron(again), "as received"))
    assert shop.ski_state(done.ski.id).turned
    struck, _ = shop.take_back(again, "turned_back")
    assert not shop.ski_state(done.ski.id).turned
    shop.settle(struck)
    shop.book.strike(again.job.id, "not today", "KV")
    check = shop.view(shop.queue(done.ski.id, kind="recheck").id)
    assert check.progress.state.elsewhere == UNMEASURED
    state = shop.ski_state(done.ski.id)
    assert (state.release, state.turned) == (None, True)


def test_settled_at_another_bench_after_the_readings_they_no_longer_hold(shop: Shop) -> None:
    """Two benches had one job: one read it, then the other settled its studs."""
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "studs")
    shop.book.add_mark(view.job.id, "ML", "settled")
    assert shop.view(view.job.id).stage == "as received"


def test_a_turn_too_coarse_for_the_tolerance_is_said_with_a_finer_one(shop: Shop) -> None:
    """At 0.002 in turns of 1/2 are not offered without saying which would do."""
    learning(shop)
    view, _ = at_turning(shop)
    view = shop.set_finest(view, 0.5)
    words = task_of(view).words
    assert "In turns of 1/" in words, words
    fine = shop.set_finest(view, 0.0)
    assert "In turns of" not in task_of(fine).words


def test_a_thread_that_does_not_fit_is_asked_about_and_not_changed(shop: Shop) -> None:
    """With the threads that would; the block is as it was told until somebody corrects it."""
    learning(shop)
    view, _ = at_turning(shop)
    assert view.learnt is not None
    assert not any("another thread" in each.words for each in said_of(view, "in"))
    job = view.learnt.job
    half = (Move(1, 1.0, 1.0, 0.5, 0.02),) * 6
    odd = replace(view.learnt, job=replace(job, learnt=replace(job.learnt, kept_moves=(half,))))
    (asked,) = (e for e in said_of(replace(view, learnt=odd), "in") if "another" in e.words)
    assert asked.importance is Importance.DOUBT
    assert asked.words.startswith("The top rear stud moves 0.50 times what its thread says. ")
    assert "left hand?" not in asked.words
    assert shop.view(view.job.id).rig == view.rig
