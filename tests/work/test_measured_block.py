"""A block measured by caliper, and put right by the rounds of a job."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from tests.shop import DAY, demo_file, open_shop
from workbench.errors import InputError
from workbench.fin.frame import Pose
from workbench.fin.plan.found_block import GOOD_MOVES
from workbench.measure.lengths import parse_length
from workbench.measure.units import MM_PER_INCH
from workbench.records.store import rows
from workbench.records.tables.roster import blade_of, stud_of
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.roster.measured_block import (
    PLACE_U_MM,
    drawn_block,
    found_from,
    found_lines,
    keep_found,
    keep_measured,
    measured_block,
)

IN = MM_PER_INCH
GOOD = {
    "name": "Bench block", "front_at": "6.90", "rear_at": "1.50 ± 0.01", "tail_at": "-0.6~0.1",
    "front_thread": "10-32 UNF", "front_tip": "0.05", "tail_thread": "10 turns 8.0mm",
    "tail_hand": "left", "tail_tip": "point",
}  # fmt: skip


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with open_shop(demo_file(tmp_path)) as opened:
        yield opened


def test_a_block_is_kept_with_how_well_each_place_is_known(shop: Shop) -> None:
    kept = keep_measured(shop, measured_block(GOOD, "in"))
    front, rear, tail = shop.book.block(kept.id).studs
    assert (front.at_mm[0], front.place_u_mm) == (pytest.approx(6.9 * IN), PLACE_U_MM)
    assert (rear.at_mm[0], rear.place_u_mm) == (
        pytest.approx(1.5 * IN), pytest.approx(0.01 * IN)
    )  # fmt: skip
    assert (tail.at_mm[1], tail.place_u_mm) == (pytest.approx(-0.6 * IN), pytest.approx(0.1 * IN))
    assert front.lead_mm == pytest.approx(IN / 32)
    assert rear.lead_mm == front.lead_mm  # as of the stud before
    assert tail.lead_mm == pytest.approx(0.8)
    assert (front.tip_radius_mm, rear.tip_radius_mm, tail.tip_radius_mm) == pytest.approx(
        (0.05 * IN, 0.05 * IN, 0.0)
    )
    assert (front.hand, tail.hand) == ("right", "left")
    assert [stud_of(s).touches for s in (front, rear, tail)] == ["top", "top", "back"]


def test_ten_turns_name_the_thread_that_is_near(shop: Shop) -> None:
    words = measured_block(GOOD, "in").words
    assert "M5x0.8" in words[2]
    assert "tail" in words[2]
    assert "left-hand" in words[2]
    assert "10-32 UNF" in words[0]


def test_a_stud_may_lean(shop: Shop) -> None:
    """Its axis then points so, and its place is where that meets base or tail end."""
    leaning = GOOD | {"front_lean": "2", "rear_lean": "-1.5°", "tail_lean": "3"}
    measured = measured_block(leaning, "in")
    front, rear, tail = measured.block.studs
    assert front.axis == pytest.approx((math.sin(math.radians(2)), math.cos(math.radians(2))))
    assert math.degrees(math.atan2(*rear.axis)) == pytest.approx(-1.5)
    assert math.degrees(math.atan2(tail.axis[1], tail.axis[0])) == pytest.approx(3.0)
    assert "leaning 2.0° toward the tip" in measured.words[0]
    assert "leaning 1.5° toward the tail" in measured.words[1]
    assert "leaning 3.0° out of the base" in measured.words[2]
    assert not any("leaning" in words for words in measured_block(GOOD, "in").words)
    kept = shop.book.block(keep_measured(shop, measured).id)
    assert stud_of(kept.studs[0]).axis == pytest.approx(front.axis)


def test_it_is_drawn_in_the_side_view(shop: Shop) -> None:
    block = measured_block(GOOD, "in").block
    blade = shop.book.blades()[0]
    drawn = "\n".join(drawn_block(block, blade))
    assert "+ where a stud touches" in drawn
    assert drawn.count("\n") > 5


@pytest.mark.parametrize(
    ("field", "text"),
    [
        ("name", ""), ("front_at", ""), ("front_at", "abc"), ("rear_at", "1.5 ± -1"),
        ("rear_at", "1.5 ± x"), ("tail_at", "-0.6 ± 90"), ("front_thread", ""),
        ("front_thread", "M99"), ("rear_thread", "0 turns 0.3"), ("tail_thread", "10 turns x"),
        ("tail_hand", "both"), ("front_tip", "sharp"),
        ("front_lean", "steep"), ("tail_lean", "45"), ("rear_at", "6.90"),
    ],
)  # fmt: skip
def test_wrong_input_names_the_field_and_keeps_nothing(shop: Shop, field: str, text: str) -> None:
    before = shop.book.blocks()
    with pytest.raises(InputError) as wrong:
        keep_measured(shop, measured_block({**GOOD, field: text}, "in"))
    assert shop.book.blocks() == before
    if (field, text) != ("rear_at", "6.90"):
        assert field.split("_")[0] in wrong.value.field


def test_a_name_that_is_taken_is_refused(shop: Shop) -> None:
    keep_measured(shop, measured_block(GOOD, "in"))
    with pytest.raises(InputError, match="no other block"):
        keep_measured(shop, measured_block({**GOOD, "name": "BENCH BLOCK"}, "in"))


# -- found from moves --------------------------------------------------------------------------


def with_rounds(shop: Shop, beside_mm: float) -> JobView:
    """A job with five rounds, its block written down so far beside where the studs are."""
    line = next(x for x in shop.roster() if x.ski_name == "Heron 66")
    old = shop.book.ski(line.ski_id)
    block = shop.book.block(old.block_id)
    true = tuple(map(stud_of, block.studs))
    moved = tuple(
        replace(s, at_mm=(s.at_mm[0] + beside_mm, s.at_mm[1]), place_u_mm=5.0, lead_u=0.002)
        if s.touches == "top" else replace(s, place_u_mm=5.0, lead_u=0.002)
        for s in block.studs
    )  # fmt: skip
    shop.book.correct_block(replace(block, studs=moved), who="KV", reason="as first written down")
    view = (
        shop.view(shop.queue(old.id).id) if line.stage == "signed off" else shop.view(line.job_id)
    )
    rig = replace(view.rig, blade=blade_of(shop.book.blade(old.blade_id)), studs=true)
    pose = Pose(0.652 * IN, -1.005 * IN, 0.001)
    for number in range(len(GOOD_MOVES) + 1):
        if number:
            move = GOOD_MOVES[number - 1]
            by_name = dict(zip([s.name for s in _in_order(true)], move, strict=True))
            turns = tuple(by_name[s.name] for s in true)
            pose = rig.seated(pose, turns)
            shop.book.add_fact(
                view.job.id,
                "KV",
                rows.PassRow(
                    number=number,
                    finest_turn=0.125,
                    turns=tuple(rows.Turn(s.name, t, t) for s, t in zip(true, turns, strict=True)),
                ),
            )
        for each in view.lines:
            text = f"{rig.observe(each.method, pose).value_mm / IN:.4f}"
            shop.book.add_fact(
                view.job.id,
                "KV",
                rows.Reading(
                    method_id=each.method_id,
                    pass_number=number,
                    text=text,
                    unit="in",
                    mm=parse_length(text, "in").mm,
                    caliper_id=None,
                    how="typed",
                ),
            )
    return shop.view(view.job.id)


def _in_order(studs: tuple) -> list:  # type: ignore[type-arg]
    """Two top studs, then the tail stud, as the moves name them."""
    return sorted(studs, key=lambda s: s.touches == "back")


def test_rounds_of_a_job_put_the_block_right(shop: Shop) -> None:
    view = with_rounds(shop, 3.0)
    found = found_from(shop, view)
    tops = [f for f in found.figures if f.what == "place" and f.stud != "tail"]
    assert all(abs(abs(f.value_mm) - 3.0) < 3.5 * f.u_mm for f in tops)
    assert all(f.learnt for f in tops)
    assert found.agree
    lines = found_lines(found, "in")
    assert any("fixed" in line for line in lines)
    done = keep_found(shop, view, found, "five rounds")
    assert done.changes
    studs = shop.book.block(view.ski.block_id).studs
    assert all(s.place_u_mm is not None and s.place_u_mm < 5.0 for s in studs if s.touches == "top")
    assert shop.book.block_versions(view.ski.block_id)[-1].reason == "five rounds"


def test_too_few_rounds_are_told(shop: Shop) -> None:
    view = shop.view(next(x.job_id for x in shop.roster() if x.stage == "target"))
    with pytest.raises(InputError, match="rounds"):
        found_from(shop, view)
    assert DAY


def test_no_figure_is_called_well_fixed_by_rounds_that_contradict_one_another(shop: Shop) -> None:
    found = replace(found_from(shop, with_rounds(shop, 3.0)), chi_square=1e5)
    lines = found_lines(found, "in")
    assert "contradict" in lines[-1]
    assert not any("well fixed" in line for line in lines)
    assert all("not to be trusted" in line for line in lines[:-1])
