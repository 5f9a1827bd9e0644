"""The rounds that the book keeps, and what they teach about a block and blade."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from tests.shop import DAY, Fin, demo_file, heron, open_shop, read, ski, walk_to
from workbench.cli import main
from workbench.records.book import Book
from workbench.records.store import rows
from workbench.work.exchange import exchange
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.learn import teaching
from workbench.work.learn.kept_rounds import KeptRound, rounds_of_ski
from workbench.work.learn.teaching import learnt_from, teaching_of
from workbench.work.learn.what_learnt import forget, learnt_page, round_lines, taught_lines
from workbench.work.roster.ski_sheet import change_parts

Captured = pytest.CaptureFixture[str]


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with open_shop(demo_file(tmp_path)) as shop:
        yield shop


def measured(shop: Shop) -> JobView:
    """Return the first ski after one round, measured."""
    view = ski(shop, "Heron 66")
    fin = heron(view)
    view = walk_to(shop, view, fin, "turning")
    view = walk_to(shop, view, fin, "measuring")
    return walk_to(shop, view, fin, "within", ("+.010", "", ""))


def kept(shop: Shop, view: JobView) -> tuple[KeptRound, ...]:
    book = shop.book
    return rounds_of_ski(book.history_of_ski(view.ski.id), book.ski_versions(view.ski.id))


def own(shop: Shop, view: JobView) -> list[KeptRound]:
    rounds = kept(shop, view)
    return [r for r in rounds if r.job_id == view.job.id]


def lines(shop: Shop, view: JobView) -> list[dict[str, Any]]:
    return [json.loads(x) for x in round_lines(shop.book, view.ski, "in")]


def test_a_round_is_kept_with_its_takes_turns_and_takes(shop: Shop) -> None:
    view = measured(shop)
    (kept,) = own(shop, view)
    made = next(f for f in view.facts if isinstance(f, rows.PassRow))
    assert kept.turns == {t.stud: t.turns for t in made.turns}
    assert any(kept.turns.values())
    typed = [f for f in view.facts if isinstance(f, rows.Reading)]
    for number, takes in ((0, kept.before), (1, kept.after)):
        assert takes == {f.method_id: (f.mm,) for f in typed if f.pass_number == number}


def test_the_lines_are_what_turns_reads(shop: Shop, tmp_path: Path, capsys: Captured) -> None:
    """Takes as they were typed, and a file of them is taken as it is."""
    view = measured(shop)
    found = lines(shop, view)
    last = found[-1]
    assert last["job"] == view.job.id
    assert set(last["turns"]) == {s.name for s in view.rig.studs}
    texts = {x.method.name: [float(r.text) for r in x.latest] for x in view.lines}
    assert last["after"] == texts
    assert main(["--book", str(shop.book.path), "history", "Heron 66", "--rounds"]) == 0
    assert [json.loads(x) for x in capsys.readouterr().out.splitlines()] == found


def test_a_struck_take_and_a_struck_round_leave_no_trace(shop: Shop) -> None:
    view = measured(shop)
    before = own(shop, view)
    line = view.lines[0]
    view = read(shop, view, line, "2.6")
    assert own(shop, view) != before
    view = shop.strike_reading(view, line, "slipped")
    assert own(shop, view) == before
    for fact in reversed(view.facts):
        if isinstance(fact, rows.Reading) and fact.pass_number == 1 and fact.struck is None:
            shop.book.strike(fact.id, "wrong ski", "KV")
    made = next(f for f in view.facts if isinstance(f, rows.PassRow))
    shop.book.strike(made.id, "never turned", "KV")
    for fact in view.facts:
        if isinstance(fact, rows.Mark) and fact.kind == "step":
            shop.book.strike(fact.id, "never turned", "KV")
            shop.book.add_mark(view.job.id, "KV", "not_turned", text=fact.id)
    shop.book.add_mark(view.job.id, "KV", "not_turned", text=made.id)
    assert own(shop, view) == []
    fin = heron(view)
    view = walk_to(shop, shop.view(view.job.id), fin, "measuring")
    view = walk_to(shop, view, fin, "within")
    (again,) = own(shop, view)
    assert again.before == before[0].before
    assert again.chain == view.job.id


def test_a_turn_struck_out_but_not_denied_begins_a_new_chain(shop: Shop) -> None:
    """The blade was moved by turns that no record counts: nothing is learnt across that."""
    view = measured(shop)
    for fact in reversed(view.facts):
        turned = isinstance(fact, rows.Mark) and fact.kind == "step"
        if turned or isinstance(fact, rows.PassRow):
            shop.book.strike(fact.id, "wrong numbers", "KV")
            shop.book.add_mark(view.job.id, "KV", "turned_back", text=fact.id)
    assert own(shop, view) == []
    view = shop.view(view.job.id)
    fin = heron(view)
    for x in view.lines:
        mm = fin.rig.observe(x.method, fin.pose).value_mm
        taken = rows.Reading(
            method_id=x.method_id,
            pass_number=view.progress.pass_number,
            text=fin.text(x),
            unit="in",
            mm=mm,
        )
        shop.book.add_fact(view.job.id, "KV", taken)
    view = walk_to(shop, shop.view(view.job.id), fin, "measuring")
    view = walk_to(shop, view, fin, "within")
    (kept,) = own(shop, view)
    assert kept.chain != view.job.id
    assert kept.before


def test_a_push_home_is_a_round_without_turns(shop: Shop) -> None:
    view = measured(shop)
    turns = [rows.Turn(s.name, 0.0, 0.0) for s in view.rig.studs]
    shop.book.add_fact(
        view.job.id, "KV", rows.PassRow(number=2, turns=tuple(turns), finest_turn=0.125)
    )
    view = shop.view(view.job.id)
    fin = Fin(view, 0.652, -1.005, 0.05)
    for x in view.lines:
        view = read(shop, view, x, fin.text(x))
    first, second = own(shop, view)
    assert set(second.turns.values()) == {0.0}
    assert not second.before
    assert first.chain == second.chain
    assert "before" not in lines(shop, view)[-1]


def test_settled_is_told_by_the_round_after_it(shop: Shop) -> None:
    view = ski(shop, "Heron 66")
    fin = heron(view)
    view = walk_to(shop, view, fin, "as received")
    shop.book.add_mark(view.job.id, "KV", "settled")
    view = walk_to(shop, shop.view(view.job.id), fin, "within")
    assert own(shop, view)[0].settled
    assert lines(shop, view)[-1]["settled"] is True


def test_a_hand_corrected_flips_the_turns_kept_under_the_old_one(shop: Shop) -> None:
    view = measured(shop)
    was = lines(shop, view)[-1]["turns"]
    block = shop.book.block(view.ski.block_id)
    turned = next(name for name, n in was.items() if n)
    studs = tuple(
        rows.Stud(s.name, s.touches, s.at_mm, s.axis, s.thread, s.lead_mm,
                  "left" if s.name == turned else s.hand, s.tip_radius_mm, s.travel_mm)
        for s in block.studs
    )  # fmt: skip
    shop.book.correct_block(
        rows.Block(block.id, block.name, studs, block.finest_turn), who="KV", reason="left hand"
    )
    now = lines(shop, view)[-1]["turns"]
    assert now[turned] == -was[turned]
    assert {k: n for k, n in now.items() if k != turned} == {
        k: n for k, n in was.items() if k != turned
    }


def test_all_skis_of_a_block_and_blade_teach(shop: Shop) -> None:
    """A job's own rounds aside, and the same whoever asks."""
    view = measured(shop)
    whole = teaching_of(shop.book, view.ski)
    others = teaching_of(shop.book, view.ski, view.job.id)
    assert len(whole.chains) == len(others.chains) + 1
    assert view.job.id not in {c.job_id for c in others.chains}
    own_blade = [c.id for c in whole.chains if c.rig.blade == view.rig.blade]
    assert own_blade == sorted(own_blade)
    assert [c.id for c in whole.chains][-len(own_blade) :] == own_blade
    learnt = learnt_from(view.rig, whole.methods, whole)
    assert learnt.rounds == sum(len(c.rounds) for c in whole.chains)
    assert all(learnt.counts)


def test_the_cache_follows_the_facts(shop: Shop) -> None:
    view = measured(shop)
    first = teaching_of(shop.book, view.ski)
    assert teaching_of(shop.book, view.ski) is first
    made = next(f for f in view.facts if isinstance(f, rows.PassRow))
    shop.book.strike(made.id, "of another ski", "KV")
    assert len(teaching_of(shop.book, view.ski).chains) == len(first.chains) - 1


def test_a_new_thread_forgets_that_stud_alone(shop: Shop) -> None:
    view = measured(shop)
    block = shop.book.block(view.ski.block_id)
    studs = (*block.studs[:2], rows.Stud(
        block.studs[2].name, block.studs[2].touches, block.studs[2].at_mm, block.studs[2].axis,
        "M4x0.7", 0.7, block.studs[2].hand, block.studs[2].tip_radius_mm, block.studs[2].travel_mm,
    ))  # fmt: skip
    shop.book.correct_block(
        rows.Block(block.id, block.name, studs, block.finest_turn), who="KV", reason="new stud"
    )
    view = shop.view(view.job.id)
    whole = teaching_of(shop.book, view.ski)
    learnt = learnt_from(view.rig, whole.methods, whole)
    assert learnt.counts[2] == 0
    assert learnt.counts[0]
    assert learnt.lead_ratio(2) == pytest.approx((1.0, learnt.known.lead))


def test_another_days_job_of_the_ski_begins_its_own_chain(shop: Shop) -> None:
    view = measured(shop)
    job = shop.book.add_job(view.ski.id, DAY)
    assert own(shop, shop.view(job.id)) == []
    chains = {r.chain for r in kept(shop, view)}
    assert view.job.id in chains


def test_a_turn_of_the_job_at_hand_between_another_jobs_rounds_parts_them(shop: Shop) -> None:
    """The job at hand teaches nothing of itself, but what it turned no other job counts."""
    view = measured(shop)
    job = shop.book.add_job(view.ski.id, DAY)
    turns = [rows.Turn(s.name, 0.25, 0.25) for s in view.rig.studs]
    before = teaching_of(shop.book, view.ski, job.id)
    line = view.lines[0]
    shop.book.add_fact(
        job.id,
        "KV",
        rows.Reading(method_id=line.method_id, pass_number=0, text="7.000", unit="in", mm=177.8),
    )
    assert teaching_of(shop.book, view.ski, job.id) is before  # a reading alone costs nothing
    shop.book.add_fact(job.id, "KV", rows.PassRow(number=1, turns=tuple(turns), finest_turn=0.125))
    shop.book.add_fact(
        view.job.id, "KV", rows.PassRow(number=2, turns=tuple(turns), finest_turn=0.125)
    )
    now = shop.view(view.job.id)
    fin = heron(now)
    for x in now.lines:
        mm = fin.rig.observe(x.method, fin.pose).value_mm
        taken = rows.Reading(
            method_id=x.method_id, pass_number=2, text=fin.text(x), unit="in", mm=mm
        )
        shop.book.add_fact(view.job.id, "KV", taken)
    found = teaching_of(shop.book, view.ski, job.id)
    assert all(chain.job_id != job.id for chain in found.chains)
    own_rounds = [len(c.rounds) for c in found.chains if c.job_id == view.job.id]
    assert own_rounds == [1]  # its second round began where nobody knows
    whole = teaching_of(shop.book, view.ski)
    assert [c for c in whole.chains if c.job_id != job.id] == list(found.chains)


def test_going_on_from_what_was_gone_through_is_going_through_it_anew(shop: Shop) -> None:
    """One chain more, or one struck out, gives what a bench that knew nothing of it learns."""
    view = measured(shop)
    whole = teaching_of(shop.book, view.ski)
    learnt_from(view.rig, whole.methods, whole)
    made = next(f for f in view.facts if isinstance(f, rows.PassRow))
    shop.book.strike(made.id, "of another ski", "KV")
    less = teaching_of(shop.book, view.ski)
    for asked in (less, whole):
        learnt_from.cache_clear()
        on = learnt_from(view.rig, asked.methods, asked)
        learnt_from.cache_clear()
        teaching._WAYS.clear()
        assert learnt_from(view.rig, asked.methods, asked) == on


def test_two_benches_that_exchange_learn_the_same(shop: Shop, tmp_path: Path) -> None:
    """Ski by ski in another order, with what was forgotten: word for word the same."""
    view = measured(shop)
    forget(shop.book, view.ski, "tail", "new stud", "KV")
    files = []
    for n, each in enumerate(shop.book.skis()):
        if each.block_id == view.ski.block_id:
            files.append(str(tmp_path / f"{n}.json"))
            exchange.export_ski(shop, each.serial, files[-1])
    whole = str(tmp_path / "book.json")
    exchange.export_book(shop, whole)
    with Book(tmp_path / "other.db") as book:
        other = Shop(book, day=DAY, who="MO")
        for file in reversed(files):
            exchange.take_in(other, file)
        exchange.take_in(other, whole)
        assert taught_lines(book, view.ski) == taught_lines(shop.book, view.ski)


def test_a_job_of_the_demo_names_what_its_block_has_taught(shop: Shop) -> None:
    """Its loaner ski's season was written with leads off by 2 %: one is told from its thread."""
    page = learnt_page(shop.book, ski(shop, "Heron 66").ski)
    rear = next(s for s in page.studs if s.said == "top rear")
    assert "moves 2.0 % more per turn than its thread says" in rear.words
    assert rear.ratio == pytest.approx(1.02, abs=0.01)
    assert all(s.backlash == pytest.approx(0.02, abs=0.01) for s in page.studs)
    assert len(rear.moves) > 40
    assert page.history[0].startswith("Rounds per ski: ")


def test_rounds_before_and_since_learning_was_on_are_told_apart(shop: Shop) -> None:
    view = ski(shop, "Heron 66")
    shop.book.set_setting("learning", "on", who="KV")
    measured(shop)
    told = learnt_page(shop.book, view.ski).history[0]
    assert told.startswith("Rounds per ski: 1.7 before learning was on (")
    assert told.endswith(" jobs), 1.0 over the last 1 with it")


def test_a_round_teaches_of_the_parts_that_the_ski_had_then(shop: Shop) -> None:
    """Another block in the middle of a job: its readings are no end of a round of the old one."""
    view = measured(shop)
    (first,) = own(shop, view)
    old = shop.book.block(view.ski.block_id)
    new = shop.book.add_block(replace(old, name="Other block"), who="KV")
    change_parts(shop, view.ski.id, {"block": new.name, "reason": "cracked"})
    view = shop.view(view.job.id)
    fin = Fin(view, 0.66, -1.0, 0.0)
    for stage in ("turning", "measuring", "within"):
        view = walk_to(shop, view, fin, stage, ("+.010", "", ""))
    one, two = own(shop, view)
    assert one == first
    assert two.chain != one.chain
    assert two.before
    typed = [f for f in view.facts if isinstance(f, rows.Reading) and f.id > one.id]
    assert all(len(takes) == 1 for takes in (*two.before.values(), *two.after.values())), typed
    assert [c.id for c in teaching_of(shop.book, view.ski).chains] == [two.id]
    before = teaching_of(shop.book, replace(view.ski, block_id=old.id))
    assert one.id in {c.id for c in before.chains}
    assert two.id not in {c.id for c in before.chains}
    assert [x["job"] for x in lines(shop, view)] == [two.chain]
