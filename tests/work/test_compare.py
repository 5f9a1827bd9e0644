"""Two settings side by side: the differences, the stud turns between, and the way back to one."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from tests.shop import heron, ski, walk_to
from workbench.errors import InputError
from workbench.fin.pose.equations import Reading
from workbench.fin.pose.fit import fit_pose
from workbench.records.store import rows
from workbench.work.history.compare import (
    Comparison,
    compare,
    comparison_lines,
    go_back,
    named_setting,
)
from workbench.work.history.history import (
    History,
    Setting,
    load_history,
    settings_in,
)
from workbench.work.job.shop import Shop


def of(shop: Shop, name: str = "Heron 67") -> tuple[History, tuple[Setting, ...]]:
    history = load_history(shop, ski(shop, name).ski.id)
    return history, settings_in(history)


def compared(shop: Shop, a: int, b: int) -> Comparison:
    history, settings = of(shop)
    return compare(history, settings[a], settings[b], "in")


def moved(setting: Setting, *by_mm: float) -> Setting:
    values = zip(setting.values, by_mm, strict=True)
    return replace(setting, values=tuple(replace(v, mm=v.mm + d) for v, d in values))


def test_differences_are_second_less_first_with_their_own_uncertainty(shop: Shop) -> None:
    """k = 2 times the root sum of squares of both, and clear only beyond it."""
    found = compared(shop, 0, 1)
    for line in found.lines:
        assert line.first is not None
        assert line.second is not None
        assert line.change is not None
        assert line.change.mm == pytest.approx(line.second.mm - line.first.mm)
        expanded = 2.0 * math.hypot(line.first.u_mm, line.second.u_mm)
        assert line.change.expanded_mm == pytest.approx(expanded)
        assert line.change.clear == (abs(line.change.mm) > expanded)
    assert [line.change.clear for line in found.lines if line.change] == [True, False, False]


def test_the_turns_between_take_the_blade_from_the_first_to_the_second(shop: Shop) -> None:
    """Seated after the exact turns, the blade gives the second setting's readings."""
    history, settings = of(shop)
    for a, b in ((0, 1), (5, 2), (len(settings) - 1, 0)):
        found = compare(history, settings[a], settings[b], "in")
        rig = history.rigs[settings[a].values[0].method_id]
        readings = [Reading(v.method, v.mm, v.u_mm) for v in settings[a].values]
        pose = fit_pose(rig.blade, rig.base, readings).pose
        after = rig.seated(pose, [t.exact for t in found.turns])
        for value in settings[b].values:
            assert rig.observe(value.method, after).value_mm == pytest.approx(value.mm, abs=1e-6)


def test_the_turns_uncertainty_is_carried_from_every_reading(shop: Shop) -> None:
    """Each reading moved by its own u, one by one, by turns: JCGM 100:2008, 5.1.3, note 2."""
    history, settings = of(shop)
    pair = (settings[0], settings[1])
    found = compare(history, *pair, "in").turns
    squares = [0.0] * len(found)
    for which, setting in enumerate(pair):
        for i, value in enumerate(setting.values):
            ends = []
            for sign in (0.5, -0.5):
                by = [sign * value.u_mm * (k == i) for k in range(len(setting.values))]
                both = (
                    (moved(setting, *by), pair[1]) if which == 0 else (pair[0], moved(setting, *by))
                )
                ends.append([t.exact for t in compare(history, *both, "in").turns])
            for k, (up, down) in enumerate(zip(*ends, strict=True)):
                squares[k] += (up - down) ** 2
    assert [t.u for t in found] == pytest.approx([math.sqrt(x) for x in squares], rel=1e-3)


def test_the_same_setting_twice_turns_nothing(shop: Shop) -> None:
    found = compared(shop, 3, 3)
    assert all(abs(t.exact) < 1e-9 and not t.turns for t in found.turns)
    assert all(line.change is not None and not line.change.clear for line in found.lines)


def test_turns_a_hand_makes_are_parts_of_the_finest_turn_near_the_exact_ones(shop: Shop) -> None:
    """All studs are rounded together, so that each may go either way, but by less than one part."""
    for turn in compared(shop, 0, len(of(shop)[1]) - 1).turns:
        assert turn.turns is not None
        assert (turn.turns * 8).is_integer()
        assert abs(turn.turns - turn.exact) < 0.25


def test_a_setting_read_by_another_method_has_the_same_turns_between(shop: Shop) -> None:
    """The front stud half a turn further in, then read by another length: that and no other."""
    history, settings = of(shop)
    first = settings[0]
    rig = history.rigs[first.values[0].method_id]
    fit = fit_pose(rig.blade, rig.base, [Reading(v.method, v.mm, v.u_mm) for v in first.values])
    after = rig.seated(fit.pose, [0.5, 0.0, 0.0])
    length = next(v for v in first.values if v.method.quantity == "length")
    other = replace(length.method, name="length, another height", band_mm=(3.0, 6.0))
    methods = {**history.methods, "another": other}
    history = replace(history, methods=methods, rigs={**history.rigs, "another": rig})
    for by in (length.method, other):
        values = tuple(
            replace(v, method_id="another", method=by) if v is length and by is other else v
            for v in first.values
        )
        second = replace(
            first,
            values=tuple(replace(v, mm=rig.observe(v.method, after).value_mm) for v in values),
        )
        found = compare(history, first, second, "in").turns
        assert [t.exact for t in found] == pytest.approx([0.5, 0.0, 0.0], abs=1e-6)
        assert [t.turns for t in found] == [0.5, 0.0, 0.0]


def test_settings_of_two_blades_have_no_turns_between(shop: Shop) -> None:
    """Each number stands alone, and it says that the blade was another one."""
    history, settings = of(shop)
    other, others = of(shop, "Lark 64")
    both = replace(
        history,
        methods={**history.methods, **other.methods},
        rigs={**history.rigs, **other.rigs},
    )
    found = compare(both, settings[0], others[0], "in")
    assert found.turns == ()
    assert "two settings of one blade" in found.trouble
    assert all(line.change is None for line in found.lines)
    assert any("read in B only" in line for line in comparison_lines(found))


def test_too_few_readings_have_differences_and_say_why_no_turns(shop: Shop) -> None:
    history, settings = of(shop)
    part = replace(settings[0], values=settings[0].values[:2])
    found = compare(history, part, settings[1], "in")
    assert "three" in found.trouble
    assert [line.change is not None for line in found.lines] == [True, True, False]


def test_in_words_both_units_stand_side_by_side(shop: Shop) -> None:
    lines = comparison_lines(compared(shop, 0, 1))
    assert lines[2].startswith("depth, hole 2 back edge: A 2.4740 in ±0.0020 = 62.84 mm ±0.052; B")
    assert "B: wing 7.5°, ride 3 of 5" in lines
    way = "turn in, toward the blade (clockwise from the screwdriver's end), exactly +"
    assert any(way in line for line in lines[-3:])


# -- the way back ------------------------------------------------------------------------------


def test_going_back_makes_every_number_a_target(shop: Shop) -> None:
    """As typed values, all lines at once; the plan then leads to the setting."""
    _, settings = of(shop)
    view = ski(shop, "Heron 67")
    assert view.stage == "turning"
    view = go_back(shop, view, settings[5])
    assert view.stage == "target"
    for line in view.lines:
        value = settings[5].value(line.method_id)
        assert value is not None
        assert line.target is not None
        assert line.target.kind == "value"
        assert line.target_mm == pytest.approx(value.mm, abs=0.25e-3 * 25.4 + 1e-9)
    view = shop.accept_target(view)
    assert view.plan is not None


def test_going_back_is_all_or_nothing(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    """A number that cannot be aimed at leaves no target behind, and the job where it was."""
    _, settings = of(shop)
    view = ski(shop, "Heron 67")
    wild = moved(settings[5], 0.0, 0.0, 900.0)
    with pytest.raises(InputError, match="length, tips"):
        go_back(shop, view, wild)
    assert shop.view(view.job.id).facts == view.facts


def test_a_stage_without_a_target_says_which_stage_has_one(shop: Shop) -> None:
    _, settings = of(shop)
    view = ski(shop, "Heron 66")
    with pytest.raises(InputError, match=r"at the stage waiting'.*at the stage 'target'"):
        go_back(shop, view, settings[0])
    view = walk_to(shop, view, heron(view), "final check")
    with pytest.raises(InputError, match="queue this ski again"):
        go_back(shop, view, settings[0])


def test_in_the_middle_of_a_pass_there_is_no_going_back(shop: Shop) -> None:
    """Studs may have been turned since the readings: finish the round first."""
    _, settings = of(shop)
    view = ski(shop, "Heron 67")
    while not view.progress.mid_pass:
        view = shop.step_done(view)
    with pytest.raises(InputError, match="middle of a round"):
        go_back(shop, view, settings[0])
    assert shop.view(view.job.id).facts == view.facts


def test_a_setting_by_other_methods_is_refused_by_name(shop: Shop) -> None:
    _, others = of(shop, "Lark 64")
    view = ski(shop, "Heron 67")
    with pytest.raises(InputError, match="also by 'depth, hole 2 back edge'"):
        go_back(shop, view, others[0])


def test_taking_back_after_going_back_leads_to_where_it_was(shop: Shop) -> None:
    _, settings = of(shop)
    view = before = ski(shop, "Heron 67")
    view = go_back(shop, view, settings[0])
    for _ in range(4):
        view, fact = shop.take_back(view)
        assert isinstance(fact, rows.Mark | rows.Target)
    assert (view.stage, view.progress.targets) == (before.stage, before.progress.targets)


# -- names -------------------------------------------------------------------------------------


def test_settings_are_named_by_number_day_and_moment(shop: Shop) -> None:
    _, settings = of(shop)
    day = settings[2].day
    assert named_setting(settings, "first") is settings[0]
    assert named_setting(settings, " LAST ") is settings[-1]
    assert named_setting(settings, "3") is settings[2]
    assert named_setting(settings, day) is settings[3]
    assert named_setting(settings, f"{day}:received") is settings[2]


@pytest.mark.parametrize("name", ["", "0", "99", "²", "2026-13-01", "2026-01-01", "last:left"])
def test_what_names_no_setting_is_refused(shop: Shop, name: str) -> None:
    with pytest.raises(InputError, match="first, last"):
        named_setting(of(shop)[1], name)
    with pytest.raises(InputError, match="read at least once"):
        named_setting((), "first")
