"""Coarse marks in a job: optional, typed once, and enough to catch a tenth of an inch."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.shop import Fin, read, ski, walk_to
from workbench.errors import InputError
from workbench.measure.display import length_text
from workbench.records.store import rows
from workbench.work.job.coarse_marks import (
    READ_AGAIN,
    add_mark,
    mark_place,
    off_words,
    take_mark,
)
from workbench.work.job.job_view import CoarseMark, JobView
from workbench.work.job.shop import Shop
from workbench.work.trust.plausibility import suspects_in

SCALE = {
    "name": "scale, left", "kind": "scale", "unit": "in", "at": "2.0 0", "zero": "1.5",
    "grows": "", "u": "",
}  # fmt: skip
FRONT = SCALE | {"name": "scale, front", "at": "6.0", "zero": "5.5"}
LINES = SCALE | {"name": "lines", "kind": "lines", "at": "4.0 0.0", "u": "0.3 mm"}


def fin_of(view: JobView) -> Fin:
    return Fin(view, 0.652, -1.005, 0.05)


def received(shop: Shop, *marks: dict[str, str]) -> JobView:
    """Heron 66 with these marks on its blade, its three readings due."""
    view = ski(shop, "Heron 66")
    for fields in marks:
        add_mark(shop, view, fields)
    return walk_to(shop, shop.view(view.job.id), fin_of(view), "as received")


def with_readings(shop: Shop, view: JobView, tail_off_in: float = 0.0) -> JobView:
    """The three readings taken, the tail distance put off by so much."""
    for index in range(3):
        line = view.lines[index]
        off = tail_off_in * 25.4 if line.method.quantity == "tail" else 0.0
        true = view.rig.observe(line.method, fin_of(view).pose).value_mm
        view = read(shop, view, line, length_text(true + off, "in"))
    return view


def with_marks(shop: Shop, view: JobView, off_mm: float = 0.0) -> JobView:
    """Every mark read as an eye reads it, to the half millimetre, and put off by so much."""
    for index, mark in enumerate(view.marks):
        true = view.rig.observe(mark.method, fin_of(view).pose).value_mm
        text = f"{round(2 * (true + off_mm)) / 2:g} mm"
        view = take_mark(shop, view, view.marks[index], text, "mm")
    return view


def test_marks_are_never_due_and_leave_everything_as_it_is(shop: Shop) -> None:
    """A blade with marks that nobody reads is worked as one without."""
    view = received(shop, SCALE, LINES)
    assert [line.method.quantity for line in view.lines] == ["depth", "tail", "length"]
    view = with_readings(shop, view)
    assert view.stage == "studs"
    assert [m.latest for m in view.marks] == [(), ()]
    assert view.contradictions == ()


def test_each_mark_stands_beside_what_the_readings_would_give(shop: Shop) -> None:
    view = received(shop, SCALE, LINES)
    assert [m.expected_mm for m in view.marks] == [None, None]
    view = with_marks(shop, with_readings(shop, view))
    for mark in view.marks:
        true = view.rig.observe(mark.method, fin_of(view).pose).value_mm
        assert mark.expected_mm == pytest.approx(true, abs=0.05)
        assert mark.agrees
        assert off_words(mark, "in") == "agrees"
        assert mark.off_mm is not None
        assert abs(mark.off_mm) < 0.3


def test_a_mark_bears_on_no_stage_and_on_no_pass(shop: Shop) -> None:
    """Read at any time between readings and turns it moves no gate; a step done stays done."""
    view = with_readings(shop, received(shop, SCALE))
    fin = fin_of(view)
    for stage in ("studs", "target", "turning"):
        view = walk_to(shop, view, fin, stage)
        view = with_marks(shop, view)
        assert view.stage == stage
    view = shop.step_done(view)
    assert view.progress.step == 1
    view = with_marks(shop, view)
    assert view.progress.step == 1
    assert view.plan is not None
    assert all(not p.method.is_coarse for p in view.plan.predictions)
    assert all(not m.is_coarse for s in view.plan.steps for m, _ in s.expect)


def test_in_the_middle_of_a_pass_no_mark_is_read(shop: Shop) -> None:
    view = with_readings(shop, received(shop, SCALE))
    view = walk_to(shop, view, fin_of(view), "turning")
    view = shop.step_done(shop.step_done(view))
    with pytest.raises(InputError, match="middle of a round"):
        with_marks(shop, view)


@pytest.mark.parametrize("stage", ["waiting", "final check", "signed off"])
def test_marks_are_read_with_the_readings_only(shop: Shop, stage: str) -> None:
    view = ski(shop, "Heron 66")
    add_mark(shop, view, SCALE)
    view = shop.view(view.job.id)
    view = walk_to(shop, view, fin_of(view), stage)
    with pytest.raises(InputError, match="read a coarse mark: 'not at the stage"):
        take_mark(shop, view, view.marks[0], "7 mm", "mm")


def test_a_new_pass_asks_for_marks_anew(shop: Shop) -> None:
    view = with_marks(shop, with_readings(shop, received(shop, SCALE)))
    view = walk_to(shop, view, fin_of(view), "measuring")
    assert view.marks[0].latest == ()
    assert view.progress.values[0].keys() >= {view.marks[0].method_id}


def test_a_second_number_takes_the_place_of_the_first(shop: Shop) -> None:
    """A mark counts once: the first number is struck out and stays readable."""
    view = with_readings(shop, received(shop, SCALE))
    view = take_mark(shop, view, view.marks[0], "5 mm", "in")
    view = take_mark(shop, view, view.marks[0], "7 mm", "in")
    assert [r.text for r in view.marks[0].latest] == ["7 mm"]
    by = [f for f in view.facts if isinstance(f, rows.Reading)
          and f.method_id == view.marks[0].method_id]  # fmt: skip
    assert [f.text for f in by] == ["5 mm", "7 mm"]
    assert by[0].struck is not None
    assert by[0].struck.reason == READ_AGAIN
    assert by[0].struck.replaced_by == by[1].id


def test_a_mark_is_taken_back_like_any_entry(shop: Shop) -> None:
    view = with_marks(shop, with_readings(shop, received(shop, SCALE)))
    view, fact = shop.take_back(view)
    assert isinstance(fact, rows.Reading)
    assert view.marks[0].latest == ()


@pytest.mark.parametrize("off_in", [0.1, -0.1])
def test_a_tail_off_by_a_tenth_is_named(shop: Shop, off_in: float) -> None:
    """Two scales name the tail distance alone, with the line that was misread."""
    view = with_marks(shop, with_readings(shop, received(shop, SCALE, FRONT, LINES), off_in))
    (suspect,) = suspects_in(view.contradictions, "in")
    assert suspect.method == "tail, upper line"
    assert "misread by 0.100 in" in suspect.cause
    assert "misread by 2.540 mm" in suspects_in(view.contradictions, "mm")[0].cause
    assert [view.contradicts(line) for line in view.lines] == [False, True, False]


def test_one_scale_is_enough_to_see_it(shop: Shop) -> None:
    """With a single scale the tail distance is named first, and the scale beside it."""
    view = with_marks(shop, with_readings(shop, received(shop, SCALE, LINES), 0.1))
    names = [s.method for s in suspects_in(view.contradictions, "in")]
    assert names[0] == "tail, upper line"
    assert "scale, left" in names
    assert view.marks[0].agrees is False
    assert off_words(view.marks[0], "in").endswith("in off")


def test_taken_again_the_reading_is_right_and_nothing_is_suspect(shop: Shop) -> None:
    view = with_marks(shop, with_readings(shop, received(shop, SCALE, FRONT), 0.1))
    assert suspects_in(view.contradictions, "in")
    view = shop.strike_reading(view, view.lines[1], "misread")
    assert suspects_in(view.contradictions, "in") == ()
    view = read(shop, view, view.lines[1], fin_of(view).text(view.lines[1]))
    assert suspects_in(view.contradictions, "in") == ()
    assert all(m.agrees for m in view.marks)


def test_marks_change_the_pose_by_next_to_nothing(shop: Shop) -> None:
    """Marks as an eye reads them leave the pose within 3 % of what readings are worth."""
    plain = with_readings(shop, received(shop, SCALE, LINES))
    marked = with_marks(shop, plain)
    assert plain.pose is not None
    assert marked.pose is not None
    for line in plain.lines:
        one, two = (plain.rig.observe(line.method, p).value_mm for p in (plain.pose, marked.pose))
        assert line.u_mm is not None
        assert abs(one - two) < 0.03 * line.u_mm


def test_an_extra_method_of_the_ski_is_checked_too(shop: Shop) -> None:
    """A ski read by a fourth method: a slip in any one of them shows, without coarse marks."""
    view = ski(shop, "Heron 66")
    names = {m.name: m.id for m in shop.book.methods_of(view.ski.blade_id)}
    more = (*view.ski.methods, names["length, flat"])
    shop.book.correct_ski(replace(view.ski, methods=more), who="KV")
    view = walk_to(shop, shop.view(view.job.id), fin_of(view), "as received")
    assert len(view.lines) == 4
    for index in range(4):
        line = view.lines[index]
        true = view.rig.observe(line.method, fin_of(view).pose).value_mm
        text = length_text(true + (1.27 if index == 2 else 0.0), "in")
        view = read(shop, view, line, text)
    assert "length, tips" in [s.method for s in suspects_in(view.contradictions, "in")]


# -- what is typed -------------------------------------------------------------------------------


def scaled(shop: Shop) -> tuple[JobView, CoarseMark]:
    view = with_readings(shop, received(shop, SCALE))
    return view, view.marks[0]


def test_a_number_of_the_other_unit_is_asked_for_with_its_unit(shop: Shop) -> None:
    """7 on a millimetre scale typed at an inch bench is no 7 in; with its unit it is kept."""
    view, mark = scaled(shop)
    millimetres = f"{round(mark.expected_mm or 0.0)}"
    with pytest.raises(InputError, match=f"is it {millimetres} mm"):
        take_mark(shop, view, mark, millimetres, "in")
    view = take_mark(shop, view, mark, f"{millimetres} mm", "in")
    assert view.marks[0].agrees
    assert view.marks[0].latest[0].unit == "mm"


def test_before_the_readings_a_number_of_the_other_unit_is_asked_about_too(shop: Shop) -> None:
    """Nothing says what to expect yet, but 7 in stand on hardly any scale; 7.0 in are taken."""
    view = received(shop, SCALE)
    with pytest.raises(InputError, match="is it 7 mm"):
        take_mark(shop, view, view.marks[0], "7", "in")
    view = take_mark(shop, view, view.marks[0], "7 in", "in")
    assert view.marks[0].latest[0].mm == pytest.approx(177.8)


def test_while_measuring_the_turns_say_what_a_mark_should_read(shop: Shop) -> None:
    view = with_readings(shop, received(shop, SCALE))
    fin = fin_of(view)
    view = walk_to(shop, view, fin, "measuring")
    (mark,) = view.marks
    true = view.rig.observe(mark.method, fin.pose).value_mm
    assert mark.expected_mm == pytest.approx(true, abs=0.1)


@pytest.mark.parametrize("text", ["", "far", "400 mm", "1e5", "--3", "nan"])
def test_what_is_no_number_on_a_scale_is_refused(shop: Shop, text: str) -> None:
    view, mark = scaled(shop)
    with pytest.raises(InputError) as caught:
        take_mark(shop, view, mark, text, "mm")
    assert caught.value.accepted
    assert shop.view(view.job.id).marks[0].latest == ()


def test_a_number_below_zero_is_one_on_a_scale(shop: Shop) -> None:
    view, mark = scaled(shop)
    view = take_mark(shop, view, mark, "-3.5", "mm")
    reading = view.marks[0].reading
    assert reading is not None
    assert reading.value_mm == -3.5
    assert view.marks[0].agrees is False


# -- a new mark ----------------------------------------------------------------------------------


def test_a_mark_is_added_as_it_was_described(shop: Shop) -> None:
    view = received(shop, SCALE, LINES | {"grows": "outer"})
    scale, row = view.marks[0].method, view.marks[1].method
    assert scale.quantity == "tail"
    assert scale.scribe is not None
    assert scale.scribe.at_mm == pytest.approx((50.8, 0.0))
    assert scale.scribe.zero_mm == pytest.approx(38.1)
    assert not scale.scribe.is_reversed
    assert scale.stated_u_mm == 0.5
    assert row.quantity == "depth"
    assert row.scribe is not None
    assert row.scribe.is_reversed
    assert row.stated_u_mm == 0.3
    words = mark_place(scale, "in")
    assert "2.0000 from the tail end" in words
    assert "toward the tail" in words
    assert "toward the outer edge" in mark_place(row, "mm")
    assert "u 0.300 mm" in mark_place(row, "mm")


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"name": " "}, "name"),
        ({"name": "Tail, upper line"}, "name"),
        ({"kind": "length"}, "kind"),
        ({"unit": "cm"}, "unit"),
        ({"at": ""}, "at"),
        ({"at": "1 2 3"}, "at"),
        ({"at": "here"}, "at"),
        ({"at": "90000"}, "at"),
        ({"zero": ""}, "zero"),
        ({"zero": "500"}, "zero"),
        ({"grows": "outer"}, "grows"),
        ({"u": "0"}, "u"),
        ({"u": "-1"}, "u"),
        ({"u": "little"}, "u"),
    ],
)
def test_a_wrong_field_is_named_and_nothing_is_kept(
    shop: Shop, change: dict[str, str], field: str
) -> None:
    view = ski(shop, "Heron 66")
    before = shop.book.methods_of(view.ski.blade_id)
    with pytest.raises(InputError) as caught:
        add_mark(shop, view, SCALE | change)
    assert caught.value.field == field
    assert caught.value.accepted
    assert shop.book.methods_of(view.ski.blade_id) == before


def test_a_new_ski_is_never_read_by_a_mark_of_its_own(shop: Shop) -> None:
    """Marks stand beside the readings, even where they were added first."""
    from workbench.work.roster.adding import first_three

    view = received(shop, SCALE, LINES)
    methods = shop.book.methods_of(view.ski.blade_id)
    chosen = first_three(methods[::-1])
    assert all(m.scribe is None for m in chosen)
    assert [m.quantity for m in chosen] == ["depth", "tail", "length"]


def test_what_was_taken_is_in_the_book(shop: Shop) -> None:
    """What has returned is kept: another look at the book finds it, as typed and in mm."""
    view, mark = scaled(shop)
    take_mark(shop, view, mark, "7 mm", "in")
    kept = [f for f in shop.book.facts(view.job.id) if isinstance(f, rows.Reading)][-1]
    assert (kept.text, kept.unit, kept.mm, kept.pass_number) == ("7 mm", "mm", 7.0, 0)
