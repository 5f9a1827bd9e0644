"""A ski gets another blade or block: what it is shown by before and after, and what it takes to be
released again."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from tests.shop import DAY, Fin, demo_file, heron, open_shop, ski, walk_to
from workbench.bench.hand.state import BenchState
from workbench.bench.screens.ski.ski_forms import WearForm
from workbench.errors import InputError
from workbench.records.book import Book
from workbench.records.store import rows
from workbench.records.tables.roster import blade_of
from workbench.records.tables.ski_facts import SkiSheet, changes_of_parts
from workbench.work.exchange import exchange
from workbench.work.exchange.exchange_words import taken_in_lines
from workbench.work.history.compare import compare
from workbench.work.history.history import load_history, settings_in
from workbench.work.history.striking import consequences, strike_row
from workbench.work.history.timeline import row_words, timeline_of
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job.ski_state import REFITTED
from workbench.work.job.stages import MidPassError
from workbench.work.roster.ski_sheet import (
    NEVER_DONE,
    carried_to,
    change_parts,
    changed_words,
    correct_ski,
    last_change,
    methods_text,
    strike_change,
)


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with open_shop(demo_file(tmp_path)) as opened:
        yield opened


def second_blade(shop: Shop, of: rows.Ski) -> rows.Blade:
    """Add a blade of the same outline but 2 mm deeper, with the same methods by name."""
    old = shop.book.blade(of.blade_id)
    outline = tuple((u, v if v < 40.0 else v + 2.0) for u, v in old.outline_mm)
    new = shop.book.add_blade(replace(old, name="Deeper plate", outline_mm=outline), who="KV")
    for method in shop.book.methods_of(old.id):
        shop.book.add_method(replace(method, blade_id=new.id), who="KV")
    return new


def second_block(shop: Shop, of: rows.Ski, name: str = "Other block") -> rows.Block:
    old = shop.book.block(of.block_id)
    studs = tuple(replace(s, at_mm=(s.at_mm[0] + 1.0, s.at_mm[1])) for s in old.studs)
    return shop.book.add_block(replace(old, name=name, studs=studs), who="KV")


def signed(shop: Shop) -> JobView:
    view = ski(shop, "Heron 66")
    return walk_to(shop, view, heron(view), "signed off")


def test_a_released_ski_with_a_new_blade_is_not_released(shop: Shop) -> None:
    before = signed(shop)
    assert shop.ski_state(before.ski.id).release is not None
    blade = second_blade(shop, before.ski)
    worn = change_parts(shop, before.ski.id, {"blade": blade.name, "reason": "new blade"})
    assert worn.ski.blade_id == blade.id
    assert methods_text(shop, worn.ski) == methods_text(shop, before.ski)
    state = shop.ski_state(before.ski.id)
    assert state.release is None
    assert state.refitted
    assert state.loose
    assert REFITTED in state.danger
    assert "blade or block was changed" in state.why


def test_the_job_before_is_shown_by_the_old_blade_and_the_next_by_the_new(shop: Shop) -> None:
    before = signed(shop)
    blade = second_blade(shop, before.ski)
    change_parts(shop, before.ski.id, {"blade": blade.name, "reason": "new blade"})
    again = shop.view(before.job.id)
    assert again.blade_name == before.blade_name
    assert again.rig == before.rig
    assert again.pose == before.pose
    assert [x.final_mm for x in again.lines] == [x.final_mm for x in before.lines]
    job = shop.queue(before.ski.id)
    new = walk_to(shop, shop.view(job.id), heron(before), "as received")
    assert new.blade_name == "Deeper plate"
    assert new.rig.blade == blade_of(blade)
    assert new.due == 0  # readings as received are asked for
    assert new.left == ()  # and not compared with how it left on the old blade


def test_measured_and_bolts_checked_it_is_released_again(shop: Shop) -> None:
    before = signed(shop)
    blade = second_blade(shop, before.ski)
    change_parts(shop, before.ski.id, {"blade": blade.name, "reason": "new blade"})
    view = shop.view(shop.queue(before.ski.id).id)
    fin = Fin(view, 0.66, -1.0, 0.0)
    view = walk_to(shop, view, fin, "studs")
    assert not shop.ski_state(view.ski.id).refitted  # measured, but not released
    assert shop.ski_state(view.ski.id).release is None
    view = walk_to(shop, view, fin, "signed off")
    state = shop.ski_state(view.ski.id)
    assert state.release is not None
    assert state.release.job_id == view.job.id
    assert not state.danger
    whole = load_history(shop, view.ski.id).state
    assert whole.jobs[before.job.id].standing == "set again"


def test_a_check_after_the_ride_does_not_release_what_was_not_measured(shop: Shop) -> None:
    before = signed(shop)
    block = second_block(shop, before.ski)
    change_parts(shop, before.ski.id, {"block": block.name, "reason": "new block"})
    job = shop.queue(before.ski.id, kind="recheck")
    assert REFITTED in shop.view(job.id).progress.state.elsewhere


@pytest.mark.parametrize("stage", ["studs", "target"])
def test_a_change_in_an_open_job_asks_for_its_readings_and_target_anew(
    shop: Shop, stage: str
) -> None:
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), stage)
    if stage == "target":
        view = shop.aim(view, view.lines[0], "+.010", view.ski.unit)
    block = second_block(shop, view.ski)
    change_parts(shop, view.ski.id, {"block": block.name, "reason": "cracked"})
    now = shop.view(view.job.id)
    assert now.stage == "as received"
    assert now.block_name == "Other block"
    assert all(not line.latest for line in now.lines)
    assert not now.progress.targets
    fin = Fin(now, 0.66, -1.0, 0.0)
    assert walk_to(shop, now, fin, "target").progress.targets == {}
    assert shop.view(now.job.id).stage == "target"


def test_not_in_the_middle_of_a_round_and_nothing_is_kept(shop: Shop) -> None:
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "turning")
    view = shop.step_done(shop.step_done(view))
    block = second_block(shop, view.ski)
    with pytest.raises(MidPassError, match="round"):
        change_parts(shop, view.ski.id, {"block": block.name, "reason": "x"})
    assert shop.book.ski(view.ski.id).block_id == view.ski.block_id


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"blade": "2"}, "reason"),
        ({"blade": "2", "reason": " "}, "reason"),
        ({"blade": "no such", "reason": "x"}, "blade"),
        ({"block": "no such", "reason": "x"}, "block"),
        ({"reason": "x"}, "blade"),
    ],
)
def test_wrong_input_keeps_nothing(shop: Shop, fields: dict[str, str], field: str) -> None:
    view = ski(shop, "Heron 66")
    before = shop.book.ski_versions(view.ski.id)
    with pytest.raises(InputError) as wrong:
        change_parts(shop, view.ski.id, fields)
    assert wrong.value.field == field
    assert shop.book.ski_versions(view.ski.id) == before


@pytest.mark.parametrize("part", ["blade", "block"])
def test_parts_and_methods_are_kept_together_or_not_at_all(shop: Shop, part: str) -> None:
    """As the form of what a ski wears saves them."""
    view = ski(shop, "Heron 66")
    new = second_blade(shop, view.ski) if part == "blade" else second_block(shop, view.ski)
    form = WearForm(shop, BenchState(view=view))
    texts = dict(form._at_first)
    before = shop.book.ski_versions(view.ski.id)
    typed = "1; 2; 3" if part == "blade" else "1; 2"
    with pytest.raises(InputError) as wrong:
        form._on_save({**texts, part: new.name, "reason": "cracked", "methods": typed})
    assert wrong.value.field == "methods"
    assert shop.book.ski_versions(view.ski.id) == before


# -- struck out --------------------------------------------------------------------------------


def test_a_change_never_made_is_struck_out_and_stays_readable(shop: Shop) -> None:
    before = signed(shop)
    release = shop.ski_state(before.ski.id).release
    blade = second_blade(shop, before.ski)
    change_parts(shop, before.ski.id, {"blade": blade.name, "reason": "new blade"})
    correct_ski(shop, before.ski.id, {"note": "red tip"})  # a later correction has the blade too
    change = last_change(shop.book.ski_versions(before.ski.id))
    assert change is not None
    assert change.reason == "new blade"
    with pytest.raises(InputError, match="reason"):
        strike_change(shop, before.ski.id, change.id, "")
    strike_change(shop, before.ski.id, change.id, "it was another ski")
    now = shop.book.ski(before.ski.id)
    assert (now.blade_id, now.methods) == (before.ski.blade_id, before.ski.methods)
    assert now.note == "red tip"
    state = shop.ski_state(before.ski.id)
    assert state.release == release
    assert not state.danger
    assert last_change(shop.book.ski_versions(before.ski.id)) is None
    history = load_history(shop, now.id)
    lines = [row_words(e.row, history, "in") for e in timeline_of(history).entries]
    assert any("new blade" in line for line in lines)
    struck = [v for v in shop.book.ski_versions(now.id) if v.struck is not None]
    assert struck[0].struck is not None
    assert struck[0].struck.reason == "it was another ski"


@pytest.mark.parametrize(
    ("worn", "changes"),
    [
        ("a0 b1 a3", ""),
        ("a0 b1 b2 a3", ""),  # its name was corrected in between
        ("a0 b1 c3", "3"),  # what put it right were other parts again
        ("a0 b1 c2 a3", "23"),  # another bench gave it others in between
    ],
)
def test_a_struck_change_is_undone_only_by_the_parts_before_it(worn: str, changes: str) -> None:
    sheets = [
        SkiSheet(at[1], (), False, (at[0], "block"), *((True, "3") if at[1] == "1" else ()))
        for at in worn.split()
    ]
    assert changes_of_parts(sheets) == tuple(changes)


def test_the_parts_before_are_not_those_of_a_change_struck_out(shop: Shop) -> None:
    """Also where another change came in between from another bench, and is struck out as well."""
    view = ski(shop, "Heron 66")
    book, other = shop.book, second_block(shop, view.ski)
    change_parts(shop, view.ski.id, {"block": other.name, "reason": "new block"})
    wrong = book.ski_versions(view.ski.id)[-1]
    third = second_block(shop, view.ski, "Third block")
    late = book.correct_ski(replace(wrong.ski, block_id=third.id), who="ML", reason="cracked")
    right = book.correct_ski(replace(late, block_id=view.ski.block_id), who="KV")
    book.strike(wrong.id, "the other ski", "KV", book.ski_versions(right.id)[-1].id)
    for _ in range(2):
        last = last_change(book.ski_versions(right.id))
        assert last is not None
        strike_change(shop, right.id, last.id, "the other ski")
    assert book.ski(right.id).block_id == view.ski.block_id


def test_it_is_struck_out_from_the_history_too(shop: Shop) -> None:
    before = signed(shop)
    blade = second_blade(shop, before.ski)
    change_parts(shop, before.ski.id, {"blade": blade.name, "reason": "new blade"})
    entries = timeline_of(load_history(shop, before.ski.id)).entries
    sheets = [e for e in entries if isinstance(e.row, rows.SkiVersion)]
    assert [e.can_be_struck for e in sheets] == [False, True]
    assert NEVER_DONE in consequences(shop, sheets[1])
    assert strike_row(shop, sheets[1], "the wrong ski").reason == "the wrong ski"
    assert shop.book.ski(before.ski.id).blade_id == before.ski.blade_id
    assert shop.ski_state(before.ski.id).release is not None


def test_what_was_read_on_the_new_part_is_not_struck_away(shop: Shop) -> None:
    before = signed(shop)
    blade = second_blade(shop, before.ski)
    change_parts(shop, before.ski.id, {"blade": blade.name, "reason": "new blade"})
    view = shop.view(shop.queue(before.ski.id).id)
    walk_to(shop, view, Fin(view, 0.66, -1.0, 0.0), "studs")
    change = last_change(shop.book.ski_versions(before.ski.id))
    assert change is not None
    with pytest.raises(InputError, match="read"):
        strike_change(shop, before.ski.id, change.id, "wrong")


def test_the_old_part_put_back_is_a_change_and_is_measured_again(shop: Shop) -> None:
    before = signed(shop)
    blade, old = second_blade(shop, before.ski), shop.book.blade(before.ski.blade_id).name
    change_parts(shop, before.ski.id, {"blade": blade.name, "reason": "new blade"})
    change_parts(shop, before.ski.id, {"blade": old, "reason": "put back"})
    state = shop.ski_state(before.ski.id)
    assert state.release is None
    assert state.refitted


# -- history, exchange, carrying ---------------------------------------------------------------


def test_settings_on_two_blades_compare_by_what_is_exposed_and_have_no_turns_between(
    shop: Shop,
) -> None:
    before = signed(shop)
    blade = second_blade(shop, before.ski)
    change_parts(shop, before.ski.id, {"blade": blade.name, "reason": "new blade"})
    view = shop.view(shop.queue(before.ski.id).id)
    walk_to(shop, view, Fin(view, 0.66, -1.0, 0.0), "studs")
    history = load_history(shop, before.ski.id)
    settings = settings_in(history)
    found = compare(history, settings[-2], settings[-1], "in")
    assert found.turns == ()
    assert "blade" in found.trouble
    first, second = found.exposed
    assert first is not None
    assert second is not None
    assert second.area_mm2 > first.area_mm2 + 100.0  # 2 mm more of a blade 170 mm long


def test_settings_on_two_blocks_have_no_turns_between_them(shop: Shop) -> None:
    before = signed(shop)
    block = second_block(shop, before.ski)
    change_parts(shop, before.ski.id, {"block": block.name, "reason": "new block"})
    view = shop.view(shop.queue(before.ski.id).id)
    walk_to(shop, view, Fin(view, 0.66, -1.0, 0.0), "studs")
    history = load_history(shop, before.ski.id)
    settings = settings_in(history)
    assert "block" in compare(history, settings[-2], settings[-1], "in").trouble
    within = [s for s in settings if s.job_id == before.job.id]
    on_old = compare(history, within[0], within[-1], "in")
    assert [t.stud.at_mm for t in on_old.turns] == [s.at_mm for s in before.rig.studs]


def test_the_old_setting_is_carried_to_the_new_blade(shop: Shop) -> None:
    before = signed(shop)
    blade = second_blade(shop, before.ski)
    found = carried_to(shop, before, blade, "in")
    assert found is not None
    assert [r.method.name for r in found.readings] == [x.method.name for x in before.lines]
    assert found.carried.after.area_mm2 == pytest.approx(found.carried.before.area_mm2, abs=1e-3)


# -- what it is read by ------------------------------------------------------------------------


def test_a_ski_is_read_by_any_methods_of_its_blade_in_any_order(shop: Shop) -> None:
    view = ski(shop, "Heron 66")
    known = shop.book.methods_of(view.ski.blade_id)
    fine = [m for m in known if m.scribe is None]
    assert len(fine) > 3
    text = "; ".join(["4", fine[1].name, "3", "1"])
    old = view.ski
    new = correct_ski(shop, old.id, {"methods": text})
    assert new.methods == (fine[3].id, fine[1].id, fine[2].id, fine[0].id)
    assert changed_words(old, new) == "methods"
    now = shop.view(view.job.id)
    assert [x.method_id for x in now.lines] == list(new.methods)
    assert shop.ski_state(old.id).refitted is False  # nobody touched the ski


@pytest.mark.parametrize("text", ["", "1; 2", "1; 1; 2", "1; 2; 99", "1; 2; no such"])
def test_methods_that_will_not_do_are_told(shop: Shop, text: str) -> None:
    view = ski(shop, "Heron 66")
    with pytest.raises(InputError) as wrong:
        correct_ski(shop, view.ski.id, {"methods": text})
    assert wrong.value.field == "methods"
    assert shop.book.ski(view.ski.id).methods == view.ski.methods


# -- exchange ----------------------------------------------------------------------------------


def test_a_change_travels_and_ends_a_release_at_the_other_bench(shop: Shop, tmp_path: Path) -> None:
    before = signed(shop)
    ski_id = before.ski.id
    with Book(tmp_path / "other.db", bench="other") as book:
        other = Shop(book, day=DAY, who="ML")
        send(shop, other, tmp_path)
        assert other.ski_state(ski_id).release is not None
        block = second_block(shop, before.ski)
        change_parts(shop, ski_id, {"block": block.name, "reason": "cracked"})
        brought = send(shop, other, tmp_path)
        assert "Heron 66" in "\n".join(taken_in_lines(brought))
        there = other.ski_state(ski_id)
        assert there.release is None
        assert there.refitted
        assert other.book.ski(ski_id).block_id == block.id
        change = last_change(other.book.ski_versions(ski_id))
        assert change is not None
        assert change.reason == "cracked"
        strike_change(shop, ski_id, change.id, "the other ski")
        send(shop, other, tmp_path)
        assert other.ski_state(ski_id).release is not None
        assert other.book.ski(ski_id).block_id == before.ski.block_id


def send(shop: Shop, other: Shop, folder: Path) -> exchange.TakenIn:
    path = str(folder / "book.json")
    exchange.export_book(shop, path)
    return exchange.take_in(other, path)
