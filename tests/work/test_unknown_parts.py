"""A ski whose blade or block nobody knows yet: it is read, set and released all the same, no turns
are told, and nothing invented is put in."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.fin.plates import plan
from tests.shop import Clock, empty_shop, read
from workbench.errors import InputError, MissingPartError, PoseError
from workbench.fin.blade import Blade
from workbench.fin.frame import Base, Pose
from workbench.fin.pose.equations import Reading
from workbench.fin.pose.fit import fit_pose
from workbench.fin.reading.method import Method
from workbench.fin.reading.rig import Rig
from workbench.measure.units import MM_PER_INCH as IN
from workbench.places import shipped
from workbench.records.book import Book
from workbench.records.store import rows
from workbench.records.store.row_checks import check_blade
from workbench.work.exchange import exchange
from workbench.work.exchange.exchange_words import taken_in_lines
from workbench.work.files.table_files import read_table_file
from workbench.work.history.history import load_history
from workbench.work.history.timeline import row_words, timeline_of
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job.ski_state import UNMEASURED
from workbench.work.job_text.job_text import job_lines
from workbench.work.job_text.tasks import task_of
from workbench.work.job_text.view_words import trouble_words
from workbench.work.learn.kept_rounds import rounds_of_ski
from workbench.work.order.order_file import order_from
from workbench.work.paper.cards import card_of
from workbench.work.paper.text_pages import card_text
from workbench.work.roster.adding import add_ski, ensure_starter, pick
from workbench.work.roster.ski_sheet import change_parts
from workbench.work.study.restating import aim_as_read, in_our_methods, theirs_typed, ways

NEW = {"name": "Heron 68", "serial": "H1", "unit": "in"}
CAME, LEFT = ("2.450", "0.850", "6.900"), ("2.459", "0.8505", "6.9005")


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with empty_shop(tmp_path) as opened:
        ensure_starter(opened.book, "KV")
        yield opened


def begun(shop: Shop, blade: str = "none", block: str = "none") -> JobView:
    """A ski added with these parts, its received check done."""
    view = shop.view(add_ski(shop, NEW | {"blade": blade, "block": block}))
    while view.check_due is not None:
        view = shop.tick(view, view.check_due.key)
    return view


def read_all(shop: Shop, view: JobView, texts: tuple[str, ...]) -> JobView:
    for line, text in zip(view.lines, texts, strict=True):
        view = read(shop, view, line, text)
    return view


def aimed(shop: Shop, view: JobView) -> JobView:
    """Read as received and aimed 0.010 in deeper."""
    view = shop.seat_studs(read_all(shop, view, CAME))
    return shop.accept_target(shop.aim(view, view.lines[0], "+.010", "in"))


def turned_by_hand(shop: Shop, view: JobView) -> JobView:
    while view.stage == "turning":
        view = shop.step_done(view)
    return view


def released(shop: Shop, view: JobView) -> JobView:
    view = shop.accept(view)
    while view.check_due is not None:
        view = shop.tick(view, view.check_due.key)
    return shop.sign_off(view, "KV")


def test_a_ski_without_blade_and_block_is_set_by_hand_and_released(shop: Shop) -> None:
    view = aimed(shop, begun(shop))
    assert (view.stage, view.pose, view.plan) == ("turning", None, None)
    assert isinstance(view.why, MissingPartError)
    words = "\n".join(job_lines(view, "in", 1, shop.roster()[0], ""))
    assert "no blade and no block yet: turns need an outline and the studs" in words
    assert "STAND-IN" not in words
    assert "no turns are told" in task_of(view).words
    view = turned_by_hand(shop, view)
    assert view.stage == "measuring"
    view = read_all(shop, view, LEFT)
    assert view.stage == "within"
    assert view.why is None
    view = released(shop, view)
    assert shop.ski_state(view.ski.id).release is not None
    card = card_text(card_of(shop, view))
    assert "2.4590 in" in card
    assert "No blade yet" in card
    history = load_history(shop, view.ski.id)
    said = [row_words(e.row, history, "in") for e in timeline_of(history).entries]
    assert any("turned by hand, as judged" in words for words in said)


def test_studs_turned_by_hand_have_to_be_measured_again(shop: Shop) -> None:
    """The promise: released is what was measured after the last turn."""
    view = aimed(shop, begun(shop))
    view = shop.step_done(shop.step_done(view))
    state = shop.ski_state(view.ski.id)
    assert state.turned
    assert state.loose
    assert UNMEASURED in state.danger
    undone, row = shop.take_back(view, "turned_back")
    assert isinstance(row, rows.Mark)
    assert undone.progress.step == 1
    view = turned_by_hand(shop, undone)
    with pytest.raises(InputError):
        shop.accept(view)


def test_what_was_turned_by_hand_teaches_nothing(shop: Shop) -> None:
    view = aimed(shop, begun(shop, blade="stand-in"))
    view = read_all(shop, turned_by_hand(shop, view), LEFT)
    ski_id = view.ski.id
    assert rounds_of_ski(shop.book.history_of_ski(ski_id), shop.book.ski_versions(ski_id)) == ()
    assert view.expected == ()
    assert view.made == ()


def test_somebody_elses_numbers_by_its_own_methods_become_the_target(shop: Shop) -> None:
    view = shop.seat_studs(read_all(shop, begun(shop), CAME))
    hows = [ways(shop, view, line.method.quantity)[0] for line in view.lines]
    texts = ("2.46", "0.851", "6.905")
    theirs = [theirs_typed(view, how, text, "in") for how, text in zip(hows, texts, strict=True)]
    new = aim_as_read(shop, view, theirs, in_our_methods(shop, view, theirs))
    assert [round(x.target_mm / IN, 4) for x in new.lines if x.target_mm] == [2.46, 0.851, 6.905]
    flat = next(h for h in ways(shop, view, "length") if h.method.name == "length, flat")
    other = [*theirs[:2], theirs_typed(view, flat, "6.8", "in")]
    with pytest.raises(MissingPartError):
        in_our_methods(shop, view, other)


def test_with_a_blade_and_no_block_the_place_is_known_and_turns_are_not(shop: Shop) -> None:
    view = aimed(shop, begun(shop, blade="stand-in"))
    assert view.pose is not None
    assert view.rig.missing == ("block",)
    assert trouble_words(view) == "no block yet: turns need the studs; measure one or choose one"


def test_the_blade_that_comes_later_is_a_change_of_parts(shop: Shop) -> None:
    view = released(shop, read_all(shop, turned_by_hand(shop, aimed(shop, begun(shop))), LEFT))
    parts = {"blade": "stand-in", "block": "stand-in", "reason": "traced"}
    worn = change_parts(shop, view.ski.id, parts)
    methods = [shop.book.method(i) for i in worn.ski.methods]
    assert [m.quantity for m in methods] == ["depth", "tail", "length"]
    state = shop.ski_state(view.ski.id)
    assert state.release is None
    assert state.refitted
    assert shop.view(view.job.id).blade_name == "No blade yet"  # as it was signed off
    again = shop.view(shop.queue(view.ski.id).id)
    assert again.rig.missing == ()
    while again.check_due is not None:
        again = shop.tick(again, again.check_due.key)
    again = shop.seat_studs(read_all(shop, again, ("2.30", "0.80", "6.60")))
    again = shop.accept_target(shop.aim(again, again.lines[0], "+.010", "in"))
    assert again.plan is not None


def test_none_is_one_part_of_the_book_and_is_never_listed(shop: Shop) -> None:
    first = begun(shop)
    second = shop.view(
        add_ski(shop, NEW | {"name": "Gull", "blade": "None", "block": "no block yet"})
    )
    assert (first.ski.blade_id, first.ski.block_id) == (second.ski.blade_id, second.ski.block_id)
    assert [b.name for b in shop.book.blades()] == ["Starter blade", "No blade yet"]
    for number in ("2", "none"):
        with pytest.raises(InputError, match="1 Starter blade"):
            pick(number, shop.book.blades(), "blade")


def test_a_ski_that_is_refused_leaves_no_part_behind(shop: Shop) -> None:
    with pytest.raises(InputError):
        add_ski(shop, NEW | {"blade": "none", "block": "none", "wing": "perhaps"})
    assert [b.name for b in shop.book.blades()] == ["Starter blade"]


def test_it_travels_and_its_outline_is_whole_or_none(shop: Shop, tmp_path: Path) -> None:
    view = turned_by_hand(shop, aimed(shop, begun(shop)))
    exchange.export_book(shop, str(tmp_path / "out.json"))
    with Book(tmp_path / "other.db", clock=Clock()) as other:
        there = Shop(other, shop.day, "PT")
        begun(there)
        taken = exchange.take_in(there, str(tmp_path / "out.json"))
        assert "yet': choose by number" not in "\n".join(taken_in_lines(taken))
        assert there.view(view.job.id).lines[0].received_mm == view.lines[0].received_mm
        assert there.view(view.job.id).rig.missing == ("blade", "block")
    row = {"outline_mm": "[]", "top_edge_mm": "[]", "back_edge_mm": "[]"}
    check_blade(row, "blades[0]")
    with pytest.raises(InputError, match="outline_mm"):
        check_blade(row | {"top_edge_mm": "[[0,0],[9,0]]", "back_edge_mm": "[[0,0],[0,9]]"}, "b")


def test_the_kernel_says_what_is_missing() -> None:
    rig = Rig(Blade.untraced("none"), Base(), ())
    tips = [Method(name, "length", band_mm=(i, i)) for i, name in enumerate("abc")]
    taken = [Reading(m, 170.0, 0.02) for m in tips]
    for act in (
        lambda: fit_pose(rig.blade, rig.base, taken),
        lambda: plan(rig, taken, (), 0.125),
        lambda: rig.seated(Pose(0.0, 0.0, 0.0), (0.0, 0.0, 0.0)),
    ):
        with pytest.raises(MissingPartError) as told:
            act()
        assert isinstance(told.value, PoseError)


def test_an_order_has_its_blade_and_its_studs() -> None:
    """What a file leaves out is told; only a book's ski may wait for its parts."""
    order = read_table_file(next((shipped("fixtures") / "orders").glob("*.toml")))
    bare = order["blade"] | {
        "outline": [],
        "top_edge": [[0, 0], [0, 0]],
        "back_edge": [[0, 0], [0, 0]],
        "holes": [],
    }
    with pytest.raises(InputError, match="outline"):
        order_from(order | {"blade": bare})
    with pytest.raises(InputError, match="studs"):
        order_from(order | {"studs": []})
