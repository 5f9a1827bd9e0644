"""A sign-off whose checks or numbers were struck out since releases nothing, and all say so."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.shop import demo_file, heron, open_shop, ski, walk_to
from workbench.advice.checklists import CLAMP
from workbench.bench.next_line import next_words
from workbench.bench.state import BenchState
from workbench.records import rows
from workbench.work import exchange
from workbench.work.cards import card_of
from workbench.work.day_sheet import day_sheet
from workbench.work.exchange_words import taken_in_lines
from workbench.work.history import load_history
from workbench.work.jobs import JobView
from workbench.work.plain_next import task_of
from workbench.work.shop import Shop
from workbench.work.striking import consequences
from workbench.work.timeline import timeline_of


def signed(shop: Shop, changes: tuple[str, ...] = ("+.020", "", "")) -> JobView:
    view = ski(shop, "Heron 66")
    return walk_to(shop, view, heron(view), "signed off", changes)


def clamp_tick(view: JobView) -> rows.Tick:
    return next(f for f in view.facts if isinstance(f, rows.Tick) and f.item == CLAMP)


def struck(shop: Shop, view: JobView, row: rows.AnyFact) -> JobView:
    shop.book.strike(row.id, "not true", "KV")
    return shop.view(view.job.id)


def test_a_sign_off_that_rests_on_what_stands_releases_the_ski(shop: Shop) -> None:
    view = signed(shop)
    assert view.unreleased == ""
    assert card_of(shop, view).released


def test_without_its_clamp_bolt_check_nothing_says_released(shop: Shop) -> None:
    """Card, day sheet, next step at the bench and on the command line, and the stage."""
    view = signed(shop)
    view = struck(shop, view, clamp_tick(view))
    assert view.stage == "signed off"
    card = card_of(shop, view)
    assert not card.released
    assert card.status.startswith("NOT RELEASED, do not ride: signed off by KV")
    assert "clamp-bolt check was struck out since" in card.status
    assert "NOT RELEASED" in view.stage_words
    assert "not to be ridden" in next_words(BenchState(view=view, roster=shop.roster()))
    assert "not to be ridden" in task_of(view).words
    row = next(r for r in day_sheet(shop).rows if r.ski == view.ski.name)
    assert any("clamp-bolt check was struck out since" in point for point in row.points)


@pytest.mark.parametrize(
    ("kind", "told"), [(rows.Reading, "reading"), (rows.PassRow, "pass"), (rows.Tick, "check")]
)
def test_a_number_or_a_pass_struck_out_is_told_too(
    shop: Shop, kind: type[rows.AnyFact], told: str
) -> None:
    view = signed(shop)
    row = [f for f in view.facts if isinstance(f, kind) and f.struck is None][-1]
    view = struck(shop, view, row)
    assert told in view.unreleased
    assert not card_of(shop, view).released


def test_what_was_struck_out_and_done_anew_before_the_sign_off_does_not_count(shop: Shop) -> None:
    view = ski(shop, "Heron 66")
    fin = heron(view)
    view = walk_to(shop, view, fin, "final check", ("+.020", "", ""))
    view = shop.tick(view, view.checklist[0].key)
    view, _ = shop.take_back(view)
    view = walk_to(shop, view, fin, "signed off")
    assert any(f.struck is not None for f in view.facts)
    assert view.unreleased == ""


def test_a_reading_of_an_earlier_pass_is_not_what_the_sign_off_rests_on(shop: Shop) -> None:
    view = signed(shop)
    first = next(f for f in view.facts if isinstance(f, rows.Reading) and f.pass_number == 0)
    assert struck(shop, view, first).unreleased == ""


def test_striking_says_before_what_becomes_of_the_card(shop: Shop) -> None:
    view = signed(shop)
    timeline = timeline_of(load_history(shop, view.ski.id))
    entry = next(e for e in timeline.entries if e.row.id == clamp_tick(view).id)
    assert any("NOT RELEASED" in words for words in consequences(shop, entry))
    assert card_of(shop, shop.view(view.job.id)).released


def test_once_the_sign_off_is_struck_out_the_job_goes_on_from_its_check(shop: Shop) -> None:
    view = signed(shop)
    view = struck(shop, view, clamp_tick(view))
    view = struck(shop, view, next(f for f in view.facts if isinstance(f, rows.SignOff)))
    assert view.stage == "final check"
    view = walk_to(shop, view, heron(view), "signed off")
    assert view.unreleased == ""
    assert card_of(shop, view).released


def test_a_check_struck_out_on_another_bench_is_said_as_it_comes_in(
    shop: Shop, tmp_path: Path
) -> None:
    """There it was taken back before anybody knew here; here it was signed off."""
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "sign-off", ("+.020", "", ""))
    (tmp_path / "b").mkdir()
    with open_shop(demo_file(tmp_path / "b"), who="ML") as other:
        exchange.export_book(shop, str(tmp_path / "ours.json"))
        exchange.take_in(other, str(tmp_path / "ours.json"))
        view = walk_to(shop, view, heron(view), "signed off")
        other.take_back(other.view(view.job.id))
        exchange.export_book(other, str(tmp_path / "theirs.json"))
    said = "\n".join(taken_in_lines(exchange.take_in(shop, str(tmp_path / "theirs.json"))))
    assert "! 'Heron 66' (H66-014) is NOT RELEASED: its clamp-bolt check was struck out" in said
    assert "before: released by KV" in said
    assert not card_of(shop, shop.view(view.job.id)).released
