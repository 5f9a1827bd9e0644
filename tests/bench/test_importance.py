"""One ladder for all that is said: nothing of a lower step displaces or shrinks a higher one."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import product
from pathlib import Path
from typing import get_args

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from textual.content import Content

from tests.bench.screens import bench
from tests.bench.test_hands import begin
from tests.shop import Fin, at_stage, demo_file, heron, open_shop, ski, walk_to
from workbench.bench.draw.bigtext import big, together
from workbench.bench.draw.text import look_of
from workbench.bench.hand.state import BenchState
from workbench.bench.panels.next_line import (
    CAUTION,
    caution,
    next_rows,
    next_words,
)
from workbench.bench.panels.one_thing import one_thing, over_the_screen, turn_thing
from workbench.bench.panels.panel_text import danger_rows, picture, roster
from workbench.bench.panels.readings_panel import readings
from workbench.bench.panels.turns_panel import turns
from workbench.bench.screens.shop.queue_screen import item_row as queue_row
from workbench.fin.plan.plan import Code, Remark
from workbench.records.store import rows
from workbench.work.job.entry import Typed
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job_text.view_words import Importance, Said, in_order, of_remark, said_of
from workbench.work.text.words import turn_words

CODES = get_args(Code)


def turning(shop: Shop) -> BenchState:
    """The first turn of a round is due."""
    keys = begin(shop, "turning")
    keys.type("\n")
    return keys.hands.state


def with_remarks(state: BenchState, remarks: tuple[Remark, ...]) -> BenchState:
    assert state.view is not None
    assert state.view.plan is not None
    plan = replace(state.view.plan, remarks=remarks)
    return replace(state, view=replace(state.view, plan=plan))


def large_rows(drawn: Content) -> list[str]:
    """The rows in large type."""
    shown = drawn.split("\n", allow_blank=True)
    return [row.plain.rstrip() for row in shown if re.search("[▀▄█]", row.plain)]


def flat(drawn: Content) -> str:
    return " ".join(drawn.plain.split())


def test_the_ladder_is_a_closed_set_with_a_sign_and_a_look_for_each_step() -> None:
    """Danger before wrong before doubt before figures; each step has its own, none is dim."""
    assert [x.name for x in sorted(Importance)] == ["DANGER", "WRONG", "DOUBT", "FIGURES"]
    assert len({x.sign for x in Importance}) == len(Importance)
    assert len({look_of(x) for x in Importance}) == len(Importance)
    assert not any("dim" in look_of(x) or "faint" in look_of(x) for x in Importance)
    assert {of_remark(Remark(code)) for code in CODES} == set(Importance)
    mixed = [Said(x, x.name) for x in (2, 0, 3, 1, 0) for x in [Importance(x)]]
    assert [x.importance for x in in_order(mixed)] == [0, 0, 1, 2, 3]


REMARKS = st.lists(
    st.builds(
        Remark, st.sampled_from(CODES), st.sampled_from(["tail, upper line", "top front"]),
        when=st.just("wanted"), value_mm=st.just(0.1), limit_mm=st.just(0.2),
    ), max_size=8,
)  # fmt: skip


@settings(
    max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(REMARKS, st.integers(26, 60), st.integers(4, 40))
def test_no_lower_step_displaces_or_shrinks_a_higher_one_or_the_turn(
    shop: Shop, remarks: list[Remark], width: int, height: int
) -> None:
    """Over many states: taking a lower step away leaves what stands above it as it was."""
    state = turning_once(shop)
    full = turns(with_remarks(state, tuple(remarks)), width, height)
    assert len(full.split("\n", allow_blank=True)) <= height
    assert "clockwise" in full.plain
    for step in Importance:
        upper = tuple(r for r in remarks if of_remark(r) <= step)
        alone = turns(with_remarks(state, upper), width, height)
        assert large_rows(full) == large_rows(alone) or step < Importance.DANGER
        shown = with_remarks(state, upper)
        assert shown.view is not None
        for said in said_of(shown.view, state.unit):
            if said.importance <= step and said.words in flat(alone):
                assert said.words in flat(full), (said, width, height)


_ONCE: dict[int, BenchState] = {}


def turning_once(shop: Shop) -> BenchState:
    """The state made once for a shop: hypothesis asks for it many times."""
    if id(shop) not in _ONCE:
        _ONCE.clear()
        _ONCE[id(shop)] = turning(shop)
    return _ONCE[id(shop)]


@pytest.mark.parametrize("message", ["", "kept", "a word to the wise " * 3, "it is wrong " * 30])
@pytest.mark.parametrize("width", [58, 78, 118])
def test_what_is_just_said_cuts_neither_the_turn_nor_the_caution(
    shop: Shop, message: str, width: int
) -> None:
    """The caution is bold in a row of its own, or whole on the frame; NEXT keeps its rows.

    In the smallest terminal the key, which stands at its foot too, may go.
    """
    state = turning_once(shop)
    for tone in ("warn", "done", "say"):
        said = replace(state, message=message, tone=tone)
        shown, frame = next_rows(said, width)
        act = next_words(state).removesuffix(" Enter when done.")
        assert act in flat(shown).removeprefix("NEXT ")
        assert caution(state) in (flat(shown) + frame)
        if not frame:
            row = next(r for r in shown.split("\n") if caution(state)[:20] in r.plain)
            assert any(CAUTION in str(span.style) for span in row.spans)


def test_loose_bolts_stand_out_in_the_roster_and_in_the_queue(shop: Shop) -> None:
    """In a danger's sign and look, before anything faint; nowhere where the bolts are tight."""
    state = turning(shop)
    loose = shop.roster()
    state = replace(state, roster=loose)
    look = look_of(Importance.DANGER)
    drawn = roster(state, 30, 40)
    assert "!! bolts loose" in drawn.plain
    assert drawn.plain.count("bolts loose") == sum(line.loose for line in loose)
    assert any(str(span.style) == look for span in drawn.spans)
    line = next(line for line in loose if line.loose)
    row = queue_row(line, False, 78, shop.day)
    at = row.plain.index("!! bolts loose")
    assert any(span.start <= at < span.end and str(span.style) == look for span in row.spans)


def left_hand(state: BenchState) -> BenchState:
    """The stud to turn has a left-hand thread."""
    assert state.view is not None
    assert state.view.plan is not None
    plan = state.view.plan

    def other(turn: object) -> object:
        return replace(turn, stud=replace(turn.stud, hand="left"))  # type: ignore[attr-defined, type-var]

    steps = tuple(replace(s, turn=other(s.turn)) if s.turn else s for s in plan.steps)
    made = replace(plan, turns=tuple(map(other, plan.turns)), steps=steps)  # type: ignore[arg-type]
    return replace(state, view=replace(state.view, plan=made))


@pytest.mark.parametrize(("width", "height"), list(product((26, 36, 41), (6, 9, 14, 20))))
def test_a_left_hand_thread_says_so_beside_its_turn(shop: Shop, width: int, height: int) -> None:
    """In words no row cuts, whatever the room; and clockwise says from where it is seen."""
    state = left_hand(turning(shop))
    drawn = turns(state, width, height)
    assert "!! LEFT-HAND THREAD" in drawn.plain
    assert "counter-clockwise from the screwdriver's end" in flat(drawn)
    assert "LEFT-HAND THREAD" in next_words(state)
    assert state.view is not None
    assert state.view.plan is not None
    words = [turn_words(t) for t in state.view.plan.turns if t.turns]
    assert all(
        "LEFT-HAND THREAD (counter-clockwise from the screwdriver's end)" in x for x in words
    )


def test_the_stud_is_named_as_large_as_its_turn_and_lit_in_the_side_view(shop: Shop) -> None:
    state = turning(shop)
    thing = one_thing(state)
    assert thing.large == ("3/8 ↻", "top rear")
    assert len({len(part) for part in together(thing.large, 36, 12)}) == 1
    assert large_rows(turns(state, 36, 15)) == [
        row.rstrip() for part in together(thing.large, 36, 9) for row in part
    ]
    drawn = picture(state, 60, 20)
    lit = [drawn.plain[s.start : s.end] for s in drawn.spans if str(s.style) == "bold $ink-wanted"]
    assert "R" in "".join(lit)
    before = begin(shop, "target").hands.state if state.view is None else state
    assert "R" not in picture(replace(before, view=_not_turning(shop)), 60, 20).plain


def _not_turning(shop: Shop) -> JobView:
    return next(shop.view(x.job_id) for x in shop.roster() if x.stage == "target")


STAND_IN = "STAND-IN BLADE AND BLOCK: turns are approximate"


async def test_a_stand_in_is_told_at_every_stage_until_a_real_one_is_given(tmp_path: Path) -> None:
    """Above the panels at both sizes, on the card and in 'next'; a real blade ends it."""
    from workbench.work.job_text.job_text import warning_lines
    from workbench.work.paper.cards import card_of

    with open_shop(demo_file(tmp_path)) as shop:
        view = ski(shop, "Heron 66")
        blade, block = shop.book.blade(view.ski.blade_id), shop.book.block(view.ski.block_id)
        shop.book.correct_blade(replace(blade, stand_in=True))
        shop.book.correct_block(replace(block, stand_in=True))
        fin = heron(view)
        seen = []
        async with bench(shop, (80, 24)) as screen:
            for stage in ("waiting", "as received", "target", "turning", "final check", "sign-off"):
                view = walk_to(shop, shop.view(view.job.id), fin, stage)
                screen.app.hands.open(view.job.id)
                screen.app.hands.look_again()
                await screen.settle()
                assert f"!! {STAND_IN}" in screen.shown(), stage
                assert f"Danger: {STAND_IN}" in warning_lines(view, "in")
                assert STAND_IN in card_of(shop, view).status
                seen.append(stage)
            shop.book.correct_blade(replace(blade, stand_in=False))
            shop.book.correct_block(replace(block, stand_in=False))
            screen.app.hands.look_again()
            await screen.settle()
            assert "STAND-IN" not in screen.shown()
        assert len(seen) == 6


def test_an_old_book_knows_its_starter_parts_for_stand_ins(shop: Shop) -> None:
    """Of rows written before anybody was asked, the name tells."""
    from workbench.records.tables.roster import STARTERS, _is_stand_in

    for name in (*STARTERS, "Plate A"):
        assert _is_stand_in({"stand_in": None, "name": name}) is (name in STARTERS)
        assert _is_stand_in({"stand_in": 0, "name": name}) is False


def test_the_big_digits_show_the_number_as_it_will_be_kept(shop: Shop) -> None:
    """Its point in place, however it was typed; what was typed stands above it."""
    keys = begin(shop, "as received")
    keys.type("24505")
    state = keys.hands.state
    assert one_thing(state).large == ("2.4505",)
    drawn = readings(state, 41, 16)
    assert large_rows(drawn)[:4] == [r.rstrip() for r in big("2.4505", 41)]
    assert "24505 → 2.4505 in" in drawn.plain


def test_beside_each_field_stands_what_it_is_held_against_until_it_is_in(shop: Shop) -> None:
    """After a round the expected reading and the target; gone once the new one is read."""
    state = begin(shop, "measuring").hands.state
    assert state.view is not None
    thing = one_thing(state)
    expected = f"expect {state.view.expected[0].value_mm / 25.4:.4f}"
    assert thing.below == (expected, "target 2.4960")
    shown = readings(state, 41, 16).plain
    assert f"{expected} · target 2.4960" in shown
    assert shown.count("expect ") == 3
    keys = begin(shop, "measuring", "Heron 66")
    line = keys.hands.state.view.lines[0]  # type: ignore[union-attr]
    keys.type("2.4960\n")
    after = keys.hands.state
    assert after.view is not None
    assert after.view.lines[0].now_mm is not None
    assert readings(after, 41, 16).plain.count("expect ") == 2
    assert line.method.name in readings(after, 41, 16).plain


@pytest.mark.parametrize("size", [(80, 24), (120, 36), (160, 50), (200, 60)])
def test_the_one_thing_fills_the_screen_at_each_stage(shop: Shop, size: tuple[int, int]) -> None:
    """The value; the target and its change; stud and turn; the final three."""
    wanted = {"target": 2, "turning": 2, "measuring": 1, "sign-off": 3}
    fin = heron(ski(shop, "Heron 66"))
    for stage, count in wanted.items():
        walk_to(shop, ski(shop, "Heron 66"), fin, stage)
        keys = begin(shop, stage)
        if stage in ("measuring", "target"):
            keys.type("2.4960" if stage == "measuring" else "+.010")
        if stage == "turning" and keys.hands.state.view and not keys.hands.state.view.progress.step:
            keys.type("\n")
        if stage == "sign-off":
            keys.type("\n")
        state = keys.hands.state
        assert len(one_thing(state).large) == count, stage
        drawn = over_the_screen(state, size[0] - 4, size[1] - 9)
        large = large_rows(drawn)
        assert len(large) >= (size[1] - 9) * 0.3, (stage, size)
        assert all(r.cell_length <= size[0] - 4 for r in drawn.split("\n", allow_blank=True))


def test_larger_terminals_take_larger_type() -> None:
    heights = [len(together(("2.4505",), width, 30)[0]) for width in (24, 40, 80, 130, 180)]
    assert heights == sorted(heights)
    assert heights[0] == 3
    assert heights[-1] > 14


async def test_a_key_shows_it_over_the_whole_screen_and_the_keys_go_on(tmp_path: Path) -> None:
    with open_shop(demo_file(tmp_path)) as shop:
        view = ski(shop, "Heron 66")
        view = walk_to(shop, view, heron(view), "turning")
        async with bench(shop, (80, 24)) as screen:
            screen.app.hands.open(view.job.id)
            await screen.by_hand("\n=")
            await screen.settle()
            assert "In large" in screen.shown()
            assert "Readings" not in screen.shown()
            assert "NEXT  Turn the top rear stud" in screen.shown()
            await screen.by_hand("\n")
            await screen.settle()
            assert screen.view.progress.step == 2
            await screen.by_hand("=")
            await screen.settle()
            assert "Readings" in screen.shown()


def test_signing_off_shows_the_final_three_the_wing_and_how_sure(shop: Shop) -> None:
    view = ski(shop, "Heron 67")
    fin = Fin(view, 0.690, -1.012, -0.10)
    view = walk_to(shop, view, fin, "sign-off", ("+.008", "+.012", ""))
    keys = begin(shop, "waiting")
    keys.hands.open(view.job.id)
    thing = one_thing(replace(keys.hands.state, hands_on=True))
    assert thing.large == tuple(f"{x.final_mm / 25.4:.4f}" for x in view.lines if x.final_mm)
    shown = readings(keys.hands.state, 36, 10).plain
    assert shown.count("±0.00") == 3
    assert "wing 7.5°" in shown
    assert len(large_rows(readings(keys.hands.state, 36, 10))) == 9


def test_the_wing_shows_the_angle_wanted_and_the_hold(shop: Shop) -> None:
    view = ski(shop, "Heron 67")
    fin = Fin(view, 0.690, -1.012, -0.10)
    view = walk_to(shop, view, fin, "wing", ("+.008", "+.012", ""))
    shop.note(view, "wing_aim", "7.5")
    shop.remember("wing_hold", "rear")
    keys = begin(shop, "waiting")
    keys.hands.open(view.job.id)
    keys.type("8")
    assert one_thing(keys.hands.state).large == ("8°",)
    assert one_thing(keys.hands.state).below == ("wanted 7.5°", "hold: rear")


def test_where_the_finest_turn_cannot_do_it_says_which_would(shop: Shop) -> None:
    """With whole quarter turns a small change is out of reach; the finer turn is named."""
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "target", ("+.003", "", ""))
    view = shop.set_finest(view, 1.0)
    view = shop.aim(view, view.lines[0], "+.0040", "in")
    assert view.plan is not None
    assert view.finer in (1 / 4, 1 / 8, 1 / 16, 1 / 32, 1 / 64)
    told = [s.words for s in said_of(view, "in")]
    assert any(f"1/{round(1 / view.finer)} turns would do" in words for words in told)


def test_a_reading_kept_locked_is_not_a_round_of_its_own(shop: Shop) -> None:
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "sign-off")
    line = view.lines[0]
    assert line.now_mm is not None
    new = shop.take_locked(view, line, Typed("2.4960", "in", line.now_mm))
    assert [type(f) for f in new.facts][-1] is rows.LockedReading
    assert new.progress.values == view.progress.values


def test_danger_rows_are_none_where_nothing_is_dangerous(shop: Shop) -> None:
    assert danger_rows(begin(shop, "target").hands.state, 80) == []


@pytest.mark.parametrize(("turns_", "way"), [(0.25, "IN, toward the blade"), (-0.25, "OUT, away")])
def test_a_turn_says_where_the_stud_goes(shop: Shop, turns_: float, way: str) -> None:
    """Beside in and out, large and in a sentence."""
    view = at_stage(shop, "turning")
    assert view.plan is not None
    turn = replace(view.plan.turns[0], turns=turns_)
    assert way in " ".join(turn_thing(turn, "turns").below)
    where = "toward the blade" if turns_ > 0.0 else "away from the blade"
    assert where in turn_words(turn)
