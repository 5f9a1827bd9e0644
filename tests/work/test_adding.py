"""Adding skis, blades and blocks from typed texts: what is kept, and what is refused and why."""

from __future__ import annotations

import os
import string
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from workbench.errors import InputError
from workbench.fin.frame import Pose
from workbench.places import shipped
from workbench.records.book import Book
from workbench.records.store import rows
from workbench.work.job.entry import Typed
from workbench.work.job.shop import Shop
from workbench.work.job_text.view_words import trouble_words
from workbench.work.roster.adding import (
    add_blade,
    add_block,
    add_ski,
    ensure_starter,
    parts_listed,
    pick,
)
from workbench.work.roster.parts_typed import (
    edge_of,
    holes_of,
    outline_of,
    stud_typed,
    yes_or_no,
)
from workbench.work.roster.queue import queue_again

HOSTILE = ("[b]X[/b]", "a[/nope]b", "[Q1]", "{x} %s $y", "'; DROP TABLE skis; --", "\x1b[31mred")
ORDERS = shipped("fixtures") / "orders"

SKI = {"name": "Teal 66", "rider": "Oda Finnvik", "serial": "T-1", "unit": "in", "blade": "1",
       "block": "1"}  # fmt: skip
BLADE = {
    "name": "Plate T", "unit": "in", "top_edge": "0 0; 7.3 0", "back_edge": "0 0; 0 0.9",
    "outline": "0 0; 7.3 0; 7.3 0.75; 7.05 1.0; 5.2 2.35; 1.6 3.48; 0.25 2.5; 0.1 1.0; 0 0.9",
    "holes": "2 1.6 3.0 0.3",
}  # fmt: skip
BLOCK = {
    "name": "Block T", "unit": "in", "finest_turn": "1/16",
    "stud_1": "front top 6.9 -1.6 0 1 10-32UNF right 0.05",
    "stud_2": "rear top 1.5 -1.6 0 1 10-32 UNF right 0.05",
    "stud_3": "back back 0.1 -0.6 1 0 M5x0.8",
}  # fmt: skip


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with Book(tmp_path / "shop.db") as book:
        ensure_starter(book, "KV")
        yield Shop(book, "2031-05-06", "KV")


def wrong(shop: Shop, add, fields: dict[str, str], field: str) -> InputError:
    """The error that these fields give; the book is as it was."""
    before = (shop.book.skis(), shop.book.blades(), shop.book.blocks(), shop.roster())
    with pytest.raises(InputError) as caught:
        add(shop, fields)
    assert (shop.book.skis(), shop.book.blades(), shop.book.blocks(), shop.roster()) == before
    assert caught.value.field.startswith(field), caught.value
    assert caught.value.accepted
    return caught.value


class TestStarter:
    def test_a_new_book_gets_one_blade_one_block_and_four_methods(self, shop: Shop) -> None:
        (blade,), (block,) = shop.book.blades(), shop.book.blocks()
        kinds = [m.quantity for m in shop.book.methods_of(blade.id)]
        assert kinds == ["depth", "tail", "length", "length"]
        assert [s.touches for s in block.studs] == ["top", "top", "back"]

    def test_a_book_with_a_blade_is_left_alone(self, shop: Shop) -> None:
        assert ensure_starter(shop.book, "KV") is False
        assert len(shop.book.blades()) == 1

    @pytest.mark.parametrize("tilt", [-0.01, 0.0, 0.01])
    def test_a_ski_on_the_starter_parts_can_be_read_and_turned(
        self, shop: Shop, tilt: float
    ) -> None:
        """The starter rig fixes a pose from its three readings and gives turns for a target."""
        view = shop.view(add_ski(shop, SKI | {"base_radius": "160", "base_apex": "4"}))
        while view.stage in ("waiting", "received check"):
            item = next(i for i in view.checklist if i.key not in view.progress.ticked)
            view = shop.tick(view, item.key)
        while view.stage == "as received":
            assert view.due is not None
            line = view.lines[view.due]
            mm = view.rig.observe(line.method, Pose(17.0, -25.5, tilt)).value_mm
            view = shop.take_reading(view, line, Typed(f"{mm:.6f} mm", "mm", mm))
        view = shop.seat_studs(view)
        view = shop.accept_target(shop.aim(view, view.lines[0], "+.010", "in"))
        assert trouble_words(view) == ""
        assert view.plan is not None
        assert any(t.turns for t in view.plan.turns)


class TestSki:
    def test_it_stands_in_todays_queue_with_everything_typed(self, shop: Shop) -> None:
        more = {"model": "long", "wing": "yes", "due": "14:00", "base_radius": "4200 mm",
                "base_apex": "4"}  # fmt: skip
        job_id = add_ski(shop, SKI | more)
        (line,) = shop.roster()
        (ski,) = shop.book.skis()
        assert (line.job_id, line.ski_name, line.rider, line.due) == (
            job_id, "Teal 66", "Oda Finnvik", "14:00",
        )  # fmt: skip
        assert (ski.model, ski.serial, ski.has_wing) == ("long", "T-1", True)
        assert (ski.base_radius_mm, ski.base_apex_mm) == (4200.0, pytest.approx(101.6))
        kinds = [shop.book.method(m).quantity for m in ski.methods]
        assert kinds == ["depth", "tail", "length"]

    def test_a_blank_base_is_flat_and_a_blank_wing_is_none(self, shop: Shop) -> None:
        add_ski(shop, SKI)
        (ski,) = shop.book.skis()
        assert (ski.base_radius_mm, ski.base_apex_mm, ski.has_wing) == (None, None, False)

    def test_parts_are_found_by_name_in_any_case(self, shop: Shop) -> None:
        add_ski(shop, SKI | {"blade": "starter BLADE", "block": " Starter block "})
        assert shop.book.skis()[0].blade_id == shop.book.blades()[0].id

    def test_a_blank_unit_is_the_benchs_own(self, shop: Shop) -> None:
        shop.book.set_setting("unit", "mm")
        assert shop.view(add_ski(shop, SKI | {"unit": " "})).ski.unit == "mm"

    @pytest.mark.parametrize(
        ("change", "field"),
        [
            ({"name": "  "}, "name"),
            ({"name": "x" * 1001}, "name"),
            ({"name": "a\0b"}, "name"),
            ({"rider": "\ud800"}, "rider"),
            ({"unit": "cm"}, "unit"),
            ({"blade": "no such"}, "blade"),
            ({"blade": "0"}, "blade"),
            ({"blade": "²"}, "blade"),
            ({"block": "2"}, "block"),
            ({"block": ""}, "block"),
            ({"base_radius": "flat", "base_apex": "4"}, "base radius"),
            ({"base_radius": "2", "base_apex": "4"}, "base radius"),
            ({"base_radius": "160"}, "base apex"),
            ({"base_apex": "4"}, "base radius"),
            ({"wing": "maybe"}, "wing"),
        ],
    )
    def test_a_wrong_field_is_named_and_nothing_is_kept(
        self, shop: Shop, change: dict[str, str], field: str
    ) -> None:
        wrong(shop, add_ski, SKI | change, field)

    def test_an_unknown_blade_is_answered_with_the_ones_there_are(self, shop: Shop) -> None:
        assert "1 Starter blade" in wrong(shop, add_ski, SKI | {"blade": "9"}, "blade").accepted

    @pytest.mark.parametrize("name", HOSTILE)
    def test_hostile_text_is_kept_as_it_is(self, shop: Shop, name: str) -> None:
        add_ski(shop, SKI | {"name": name, "rider": name})
        (ski,) = shop.book.skis()
        assert (ski.name, ski.rider) == (name, name)

    def test_the_same_ski_is_not_added_twice(self, shop: Shop) -> None:
        add_ski(shop, SKI)
        assert "queue it" in wrong(shop, add_ski, SKI, "name").accepted
        add_ski(shop, SKI | {"serial": "T-2"})


class TestQueue:
    def test_a_known_ski_comes_back_when_its_job_is_done(self, shop: Shop) -> None:
        first = add_ski(shop, SKI)
        ski_id = shop.book.skis()[0].id
        with pytest.raises(InputError, match="not in the queue already"):
            queue_again(shop, ski_id)
        shop.book.add_fact(first, "KV", rows.SignOff())
        second = queue_again(shop, ski_id, "15:00")
        assert [line.job_id for line in shop.roster()] == [first, second]

    def test_one_left_over_from_an_earlier_day_is_in_the_queue_already(self, shop: Shop) -> None:
        add_ski(shop, SKI)
        tomorrow = Shop(shop.book, "2031-05-07", "KV")
        with pytest.raises(InputError, match="already"):
            queue_again(tomorrow, shop.book.skis()[0].id)

    @pytest.mark.parametrize("ski_id", ["", "nonsense", "1' OR '1'='1"])
    def test_an_unknown_id_is_refused(self, shop: Shop, ski_id: str) -> None:
        with pytest.raises(InputError, match="in the book"):
            queue_again(shop, ski_id)


class TestBlade:
    def test_a_typed_blade_is_kept_with_usual_methods(self, shop: Shop) -> None:
        blade = shop.book.blade(add_blade(shop, BLADE))
        assert blade.outline_mm[1] == pytest.approx((185.42, 0.0), abs=1e-9)
        assert blade.holes[0].diameter_mm == pytest.approx(7.62, abs=1e-9)
        assert blade.source_text == BLADE["outline"]
        names = [m.name for m in shop.book.methods_of(blade.id)]
        assert names == [
            "depth, hole 2 back edge", "tail, upper line", "length, tips", "length, flat",
        ]  # fmt: skip
        add_ski(shop, SKI | {"blade": "Plate T"})

    def test_without_a_hole_the_depth_is_the_deepest(self, shop: Shop) -> None:
        blade_id = add_blade(shop, BLADE | {"holes": ""})
        assert shop.book.methods_of(blade_id)[0].name == "depth, deepest"

    @pytest.mark.parametrize("path", sorted(ORDERS.glob("*.*")), ids=lambda p: p.name)
    def test_a_work_order_gives_its_blade_methods_and_studs(self, shop: Shop, path: Path) -> None:
        blade_id = add_blade(shop, {"name": "From order", "file": str(path)})
        block_id = add_block(shop, {"name": "From order", "file": str(path)})
        assert shop.book.blade(blade_id).name == "From order"
        assert {m.quantity for m in shop.book.methods_of(blade_id)} == {"depth", "tail", "length"}
        assert len(shop.book.block(block_id).studs) == 3
        add_ski(shop, SKI | {"blade": "From order", "block": "From order"})

    def test_a_file_of_a_blade_alone_is_enough(self, shop: Shop, tmp_path: Path) -> None:
        path = tmp_path / "plate.toml"
        path.write_text(
            'unit = "mm"\n[blade]\nname = "Plate [b]"\noutline = [[0,0],[180,0],[100,80]]\n'
            "top_edge = [[0,0],[180,0]]\nback_edge = [[0,0],[50,40]]\n"
        )
        before = path.read_bytes()
        blade = shop.book.blade(add_blade(shop, {"file": str(path)}))
        assert (blade.name, len(shop.book.methods_of(blade.id))) == ("Plate [b]", 4)
        assert path.read_bytes() == before

    @pytest.mark.parametrize(
        ("change", "field"),
        [
            ({"name": ""}, "name"),
            ({"name": "STARTER blade"}, "name"),
            ({"unit": "feet"}, "unit"),
            ({"outline": ""}, "outline"),
            ({"outline": "0 0; 7.3 0"}, "outline"),
            ({"outline": "0 0; 7.3; 1 1"}, "outline, point 2"),
            ({"outline": "0 0; 7.3 0; 7.3 x"}, "outline, point 3"),
            ({"outline": "0 0; 7.3 3; 7.3 0; 0 3"}, "outline"),
            ({"outline": "9" * 100_001}, "outline"),
            ({"top_edge": "0 0"}, "top edge"),
            ({"top_edge": "0 5; 7.3 5"}, "top edge"),
            ({"back_edge": "0 0; 0 0"}, "back edge"),
            ({"holes": "2 1.6 3.0"}, "holes"),
            ({"holes": "2 1.6 3.0 wide"}, "holes"),
            ({"holes": "2 1.6 3.0 -1"}, "holes"),
            ({"holes": "2 1.6 3.0 .3; 2 1 2 .3"}, "holes"),
            ({"file": "/no/such/file.toml"}, "outline"),
        ],
    )
    def test_a_wrong_field_is_named_and_nothing_is_kept(
        self, shop: Shop, change: dict[str, str], field: str
    ) -> None:
        wrong(shop, add_blade, BLADE | change, field)

    @pytest.mark.parametrize(
        "text",
        ["", "{", "[1]", "unit = 3", 'unit = "in"', "blade = 3", "[blade]\nname = 1", "odd = 1"],
    )
    def test_a_file_with_nothing_of_use_is_an_error_of_the_file(
        self, shop: Shop, tmp_path: Path, text: str
    ) -> None:
        path = tmp_path / "bad.toml"
        path.write_text(text)
        wrong(shop, add_blade, {"name": "N", "file": str(path)}, "file")
        wrong(shop, add_block, {"name": "N", "file": str(path)}, "file")

    @pytest.mark.parametrize(
        "path", ["-", "/no/such", "/", "~nobody-here-9/x", "a\0b", "/dev/zero"]
    )
    def test_what_is_no_plain_file_is_refused_at_once(self, shop: Shop, path: str) -> None:
        wrong(shop, add_blade, {"name": "N", "file": path}, "file")

    def test_a_pipe_does_not_keep_the_bench_waiting(self, shop: Shop, tmp_path: Path) -> None:
        pipe = tmp_path / "pipe.toml"
        os.mkfifo(pipe)
        wrong(shop, add_blade, {"name": "N", "file": str(pipe)}, "file")


class TestBlock:
    def test_a_typed_block_is_kept(self, shop: Shop) -> None:
        block = shop.book.block(add_block(shop, BLOCK))
        front, rear, back = block.studs
        assert (block.name, block.finest_turn) == ("Block T", 0.0625)
        assert (front.thread, rear.thread, back.thread) == ("10-32UNF", "10-32 UNF", "M5x0.8")
        assert front.lead_mm == pytest.approx(0.79375, abs=1e-12)  # 25.4 / 32
        assert (back.name, back.touches, back.axis, back.hand) == ("back", "back", (1, 0), "right")
        assert (front.tip_radius_mm, back.tip_radius_mm) == (pytest.approx(1.27, abs=1e-12), 0.0)

    @pytest.mark.parametrize(("typed", "turn"), [("", 0.125), ("0", 0.0), ("0.25", 0.25)])
    def test_the_finest_turn(self, shop: Shop, typed: str, turn: float) -> None:
        block = shop.book.block(add_block(shop, BLOCK | {"finest_turn": typed}))
        assert block.finest_turn == turn

    @pytest.mark.parametrize(
        ("change", "field"),
        [
            ({"name": ""}, "name"),
            ({"name": "starter block"}, "name"),
            ({"finest_turn": "2"}, "finest turn"),
            ({"finest_turn": "1/8 in"}, "finest turn"),
            ({"stud_1": ""}, "stud 1"),
            ({"stud_1": "front side 6.9 -1.6 0 1 10-32UNF right"}, "stud 1"),
            ({"stud_1": "front top 6.9 -1.6 0 0 10-32UNF right"}, "stud 1"),
            ({"stud_1": "front top 6.9 -1.6 0 1x 10-32UNF right"}, "stud 1"),
            ({"stud_2": "rear top 1.5 -1.6 0 1 M99x7"}, "stud 2"),
            ({"stud_2": "rear back 1.5 -1.6 0 1 M5"}, "stud"),
            ({"stud_3": "back back 0.1 -0.6 1 0 M5 right 99"}, "stud 3"),
            ({"stud_3": "rear back 0.1 -0.6 1 0 M5"}, "stud"),
            ({"stud_3": "x" * 5000}, "stud 3"),
        ],
    )
    def test_a_wrong_field_is_named_and_nothing_is_kept(
        self, shop: Shop, change: dict[str, str], field: str
    ) -> None:
        wrong(shop, add_block, BLOCK | change, field)

    def test_studs_typed_beside_a_file_are_refused(self, shop: Shop) -> None:
        path = str(ORDERS / "practice-plate.toml")
        wrong(shop, add_block, BLOCK | {"file": path}, "stud 1")


class TestTyped:
    def test_points_take_commas_units_line_ends_and_a_last_semicolon(self) -> None:
        points = outline_of("0, 0; 2,5 1/2\n10mm -1;", "in")
        assert points == pytest.approx([(0, 0), (63.5, 12.7), (10, -25.4)])

    def test_an_edge_has_two_points(self) -> None:
        assert edge_of("0 0; 5 0", "mm", "top edge") == ((0.0, 0.0), (5.0, 0.0))

    def test_a_hole_may_have_a_name_of_two_words(self) -> None:
        assert holes_of("upper left 1 2 3", "mm")[0].name == "upper left"

    def test_a_left_hand_stud_with_a_name_that_is_a_keyword(self) -> None:
        typed = stud_typed("top top 1 2 0 1 M4 LEFT", "mm", "stud 1")
        assert (typed.stud.name, typed.stud.hand, typed.thread) == ("top", "left", "M4")

    @pytest.mark.parametrize(("text", "meant"), [("YES", True), ("n", False), ("", False)])
    def test_yes_or_no(self, text: str, meant: bool) -> None:
        assert yes_or_no(text, "wing") is meant

    def test_a_name_goes_before_a_number(self, shop: Shop) -> None:
        """A blade called 1 that stands second is what 1 means."""
        second = add_blade(shop, BLADE | {"name": "1"})
        assert pick("1", shop.book.blades(), "blade").id == second
        assert parts_listed(shop.book.blades()) == "1 Starter blade (a stand-in) · 2 1"

    @given(st.text(alphabet=string.printable + "½−é\u202e[", max_size=60))
    def test_no_text_gets_past_as_anything_but_a_value_or_our_own_error(self, text: str) -> None:
        for read in (
            lambda: outline_of(text, "in"),
            lambda: holes_of(text, "mm"),
            lambda: stud_typed(text, "in", "stud 1"),
            lambda: yes_or_no(text, "wing"),
        ):
            with suppress(InputError):
                read()
