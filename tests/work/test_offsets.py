"""Method offsets learnt from pairs kept in the book, on published data and on a fin that stands."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.measure.figures import figure
from tests.shop import Fin, read, ski, walk_to
from workbench.errors import InputError
from workbench.fin.frame import Pose
from workbench.measure.display import length_text
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.study import offsets
from workbench.work.study.offset_words import pair_state, restated_words, summary
from workbench.work.study.offsets import Two


def lengths(shop: Shop) -> tuple[JobView, Two]:
    """A ski whose blade has two lengths, and the two."""
    view = ski(shop, "Heron 67")
    (two,) = offsets.choices(shop, view)
    return view, two


def add(
    shop: Shop, view: JobView, two: Two, first: str, second: str, unit: Unit = "in"
) -> rows.Pair:
    return offsets.add_pair(shop, view, two, {"first": first, "second": second}, unit)


def said(study: offsets.OffsetStudy, unit: Unit = "in") -> str:
    return " ".join(f"{s.label}: {s.text}" for s in summary(study, unit))


def both(shop: Shop, view: JobView, two: Two) -> JobView:
    """Let the ski be read by both methods, and return its job."""
    kept = shop.book.ski(view.ski.id)
    shop.book.correct_ski(replace(kept, methods=(*kept.methods, two.second.id)), who="KV")
    return shop.view(view.job.id)


# -- pairs --------------------------------------------------------------------------------------


def test_only_methods_of_one_quantity_are_two(shop: Shop) -> None:
    """Lengths tips and flat, but no depth against a length; a blade with none has none."""
    view, two = lengths(shop)
    assert (two.first.name, two.second.name) == ("length, tips", "length, flat")
    assert offsets.choices(shop, ski(shop, "Otter 65")) == ()
    assert view.ski.blade_id == two.first.blade_id


def test_published_pairs_give_the_published_agreement(shop: Shop) -> None:
    """Bland & Altman 1986, kept as if they were lengths in mm: difference, s and limits."""
    example = figure("bland-altman-pefr")
    view, two = lengths(shop)
    for wright, mini in zip(example.inputs["wright_1"], example.inputs["mini_1"], strict=True):
        add(shop, view, two, f"{mini} mm", f"{wright} mm")
    learnt = offsets.study(shop, view, two).learnt
    assert learnt is not None
    example.check(
        mean_difference=learnt.agreement.bias,
        sd=learnt.agreement.sd,
        se_mean=learnt.agreement.se_bias,
    )
    assert learnt.n == 17


def test_a_pair_keeps_what_was_typed_and_its_mm(shop: Shop) -> None:
    """Bare digits are placed, units may differ, and mm stands beside the text."""
    view, two = lengths(shop)
    row = add(shop, view, two, "69365", "171.79 mm")
    assert (row.text, row.unit, row.other_text, row.other_unit) == (
        "69365", "in", "171.79 mm", "mm",
    )  # fmt: skip
    assert (row.mm, row.other_mm) == pytest.approx((6.9365 * 25.4, 171.79))
    assert row.method_id == two.first.id
    assert row.other_method_id == two.second.id


@pytest.mark.parametrize(
    ("first", "second", "field"),
    [("", "6.76", "first"), ("6.93", "six", "second"), ("0.693", "6.76", "first"),
     ("6.93", "676.5", "second"), ("-6.93", "6.76", "first"), ("-6.93 in", "6.76", "first")],
)  # fmt: skip
def test_what_is_no_reading_of_this_blade_is_told(
    shop: Shop, first: str, second: str, field: str
) -> None:
    """Nothing is kept, and the error names the line of the form."""
    view, two = lengths(shop)
    with pytest.raises(InputError) as caught:
        add(shop, view, two, first, second)
    assert caught.value.field == field
    assert shop.book.pairs() == ()


def test_no_pair_and_one_pair_are_said_plainly(shop: Shop) -> None:
    view, two = lengths(shop)
    assert "none yet" in said(offsets.study(shop, view, two))
    add(shop, view, two, "6.9365", "6.7635")
    study = offsets.study(shop, view, two)
    assert study.learnt is None
    assert "1 pair, difference −0.1730 in: one pair shows no scatter" in said(study)
    assert study.now is None
    with pytest.raises(InputError, match="2 or more"):
        offsets.restate_typed(shop, view, two, "6.9", "in")


def test_a_struck_pair_stays_readable_and_counts_no_more(shop: Shop) -> None:
    view, two = lengths(shop)
    for first, second in (("6.9365", "6.7635"), ("7.0010", "6.8275"), ("6.95", "6.50")):
        add(shop, view, two, first, second)
    study = offsets.study(shop, view, two)
    offsets.strike_pair(shop, study.pairs[2], "jaw in the slot")
    after = offsets.study(shop, view, two)
    assert (study.n, after.n) == (3, 2)
    assert pair_state(after.pairs[2]) == ("✗", "struck: jaw in the slot")
    assert after.learnt is not None
    assert after.learnt.agreement.bias == pytest.approx(-0.17325 * 25.4)
    with pytest.raises(InputError, match="not struck out"):
        offsets.strike_pair(shop, after.pairs[2], "again")
    with pytest.raises(InputError, match="a word or two"):
        offsets.strike_pair(shop, after.pairs[0], " ")


def test_the_other_way_round_is_the_mirror(shop: Shop) -> None:
    """The same pairs, whichever method is called the first."""
    view, two = lengths(shop)
    for first, second in (("6.9365", "6.7635"), ("7.0010", "6.8275"), ("6.88", "6.7085")):
        add(shop, view, two, first, second)
    there, back = (offsets.study(shop, view, t).learnt for t in (two, two.turned))
    assert there is not None
    assert back is not None
    assert there.agreement.bias == pytest.approx(-back.agreement.bias)
    assert there.agreement.sd == pytest.approx(back.agreement.sd)


# -- out of rounds ------------------------------------------------------------------------------


def read_both(shop: Shop) -> tuple[JobView, Two, Fin]:
    """A job read as received by both lengths."""
    view = ski(shop, "Heron 66")
    (two,) = offsets.choices(shop, view)
    view = both(shop, view, two)
    fin = Fin(view, 0.652, -1.005, 0.05)
    return walk_to(shop, view, fin, "studs", ("+.010", "", "", "")), two, fin


def test_a_pass_read_by_both_is_offered_and_taken_once(shop: Shop) -> None:
    view, two, fin = read_both(shop)
    study = offsets.study(shop, view, two)
    (offered,) = study.offered
    assert study.n == 0
    assert offered.where.endswith("received")
    assert offered.first.text == fin.text(view.lines[2])
    assert offsets.take_offered(shop, two, study.offered) == 1
    after = offsets.study(shop, view, two)
    assert (after.n, after.offered) == (1, ())
    assert offsets.study(shop, view, two.turned).offered == ()


def test_a_pair_typed_by_hand_is_not_offered_again(shop: Shop) -> None:
    """The very numbers of a round, typed before it was offered, stand for it."""
    view, two, _ = read_both(shop)
    (offered,) = offsets.study(shop, view, two).offered
    add(shop, view, two, offered.first.text, offered.second.text, offered.first.unit)
    assert offsets.study(shop, view, two).offered == ()


def test_a_pair_struck_out_is_not_offered_again(shop: Shop) -> None:
    view, two, _ = read_both(shop)
    offsets.take_offered(shop, two, offsets.study(shop, view, two).offered)
    offsets.strike_pair(shop, offsets.study(shop, view, two).pairs[0], "wrong jaw")
    assert offsets.study(shop, view, two).offered == ()


def test_two_passes_with_the_same_numbers_are_two_pairs(shop: Shop) -> None:
    """Taken one at a time, each leaves one fewer on offer."""
    view, two, fin = read_both(shop)
    view = walk_to(shop, view, fin, "within", ("+.010", "", "", ""))
    offered = offsets.study(shop, view, two).offered
    assert len(offered) >= 2
    for left in range(len(offered) - 1, -1, -1):
        offsets.take_offered(shop, two, offsets.study(shop, view, two).offered[:1])
        assert len(offsets.study(shop, view, two).offered) == left


def test_repeats_make_one_pair_of_their_means(shop: Shop) -> None:
    view, two, _ = read_both(shop)
    first = view.lines[2].latest[0].mm
    view = read(shop, view, view.lines[2], "6.9400")
    (offered,) = offsets.study(shop, view, two).offered
    assert offered.first.mm == pytest.approx((first + 6.94 * 25.4) / 2.0)
    assert float(offered.first.text) * 25.4 == pytest.approx(offered.first.mm, abs=2e-4)


# -- restating ----------------------------------------------------------------------------------


def pairs_of_a_standing_fin(shop: Shop, view: JobView, two: Two, off_mm: float = 0.0) -> None:
    """Keep six pairs that this blade gives at six places, the second off by so much."""
    fin = Fin(view, 0.690, -1.012, -0.10)
    start = fin.pose
    methods = {m.name: m for m in (x.method for x in view.lines)}
    tips = methods[two.first.name]
    flat = next(
        r.method
        for r in _restated(shop, view)
        if r.method.name == two.second.name
    )  # fmt: skip
    for i in range(6):
        pose = Pose(start.x_mm, start.y_mm + 0.2 * i, start.tilt_rad)
        numbers = [fin.rig.observe(m, pose).value_mm for m in (tips, flat)]
        texts = [f"{length_text(mm, 'mm')} mm" for mm in (numbers[0], numbers[1] + off_mm)]
        add(shop, view, two, *texts)


def _restated(shop: Shop, view: JobView) -> tuple:  # type: ignore[type-arg]
    from workbench.work.study.restating import restated

    return restated(shop, view)


def test_learnt_and_outline_agree_where_the_outline_is_right(shop: Shop) -> None:
    view, two = lengths(shop)
    pairs_of_a_standing_fin(shop, view, two)
    study = offsets.study(shop, view, two)
    assert study.outline is not None
    assert study.outline.agrees
    assert "agrees within the uncertainty" in said(study)


def test_a_wrong_outline_is_hinted_at(shop: Shop) -> None:
    """Pairs 0.3 mm from what the outline says: more than their uncertainty."""
    view, two = lengths(shop)
    pairs_of_a_standing_fin(shop, view, two, 0.3)
    study = offsets.study(shop, view, two)
    assert study.outline is not None
    assert not study.outline.agrees
    assert "the outline, or a way of holding, is off" in said(study)


def test_without_readings_the_outline_says_nothing_yet(shop: Shop) -> None:
    view = ski(shop, "Heron 66")
    (two,) = offsets.choices(shop, view)
    for first, second in (("6.9365", "6.7635"), ("7.0010", "6.8275")):
        add(shop, view, two, first, second)
    study = offsets.study(shop, view, two)
    assert study.outline is None
    assert "three readings of this round" in said(study)


def test_a_reading_is_restated_with_what_it_rests_on(shop: Shop) -> None:
    """Typed and current, the same way; and so does the door for other screens."""
    view, two = lengths(shop)
    for first, second in (("6.9365", "6.7635"), ("7.0010", "6.8275"), ("6.88", "6.7075")):
        add(shop, view, two, first, second)
    number, typed = offsets.restate_typed(shop, view, two, "6.95", "in")
    assert typed.value == pytest.approx((6.95 - 0.173) * 25.4, abs=0.01)
    assert typed.u > 0.01
    words = restated_words(number, typed, (two.first.name, two.second.name), "in")
    assert "rests on 3 pairs" in words
    now = offsets.study(shop, view, two).now
    line = view.lines[2]
    assert now is not None
    assert line.now_mm is not None
    assert line.u_mm is not None
    flat = next(r.method for r in _restated(shop, view) if r.method.name == two.second.name)
    same = offsets.learnt_restatement(shop, view, line.method, flat, line.now_mm, line.u_mm)
    assert (line.now_mm, same) == now


def test_nothing_is_restated_across_quantities_or_to_itself(shop: Shop) -> None:
    view, two = lengths(shop)
    for first, second in (("6.9365", "6.7635"), ("7.0010", "6.8275")):
        add(shop, view, two, first, second)
    depth, length = view.lines[0].method, view.lines[2].method
    for method in (depth, length, replace(length, name="unknown")):
        assert offsets.learnt_restatement(shop, view, length, method, 176.0, 0.02) is None


def test_a_slope_in_doubt_is_said_and_used(shop: Shop) -> None:
    """Nine pairs whose difference grows with the number: the line restates, not the mean."""
    view, two = lengths(shop)
    for i in range(9):
        first = 150.0 + 4.0 * i
        add(shop, view, two, f"{first:.2f} mm", f"{0.97 * first + 0.5 + 0.01 * (i % 3):.2f} mm")
    study = offsets.study(shop, view, two)
    assert study.learnt is not None
    assert study.learnt.line is not None
    assert "really not 1: the difference grows with the number" in said(study)
    _, found = offsets.restate_typed(shop, view, two, "180 mm", "in")
    assert found.sloped
    assert found.value == pytest.approx(0.97 * 180.0 + 0.51, abs=0.02)
    _, beyond = offsets.restate_typed(shop, view, two, "200 mm", "in")
    assert "beyond what the pairs cover" in offsets.rests_words(beyond)


def test_every_word_comes_in_both_units(shop: Shop) -> None:
    view, two = lengths(shop)
    for first, second in (("6.9365", "6.7635"), ("7.0010", "6.8275")):
        add(shop, view, two, first, second)
    study = offsets.study(shop, view, two)
    assert "−0.1732 in" in said(study)
    assert "−4.401 mm" in said(study, "mm")
