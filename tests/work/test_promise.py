"""No ski is released unless it was measured and its clamp bolts checked after the last turn.

By name the orders of events that once let a ski go, and a quarter of the ten thousand steps of a
state machine; the others stand in files of their own, so that they run side by side.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace

import pytest

from tests.shop import read
from tests.work import promise
from tests.work.promise import FORGERIES, SKIS, Bench, World
from workbench.work.exchange import exchange
from workbench.work.roster import queue

SKI = SKIS[0]


@pytest.fixture
def world() -> Iterator[World]:
    with promise.world() as made:
        yield made


def at_stage(world: World, at: Bench, stage: str, name: str = SKI) -> None:
    """Work on honestly until a ski is at a stage."""
    world.look(at, name)
    for _ in range(40):
        assert at.held is not None
        if at.held.stage == stage:
            return
        assert world.onward(at)
    raise AssertionError(f"never at {stage}")


def turned(world: World, at: Bench, name: str = SKI) -> None:
    """Work on honestly until the bolts are loose and a stud is turned."""
    at_stage(world, at, "turning", name)
    assert world.onward(at)
    assert world.onward(at)


def opened_again_and_turned(world: World, at: Bench) -> None:
    """Strike what a sign-off rests on out, aim anew, loosen the bolts and turn a stud."""
    view = world.look(at, SKI)
    clamp = [f.id for f in view.facts if getattr(f, "item", "") == "clamp"]
    accepted = [f.id for f in view.facts if getattr(f, "kind", "") == "accepted"]
    for row_id in (*clamp, *accepted):
        at.book.strike(row_id, "not so", at.shop.who)
    view = world.look(at, SKI)
    assert world.act(at, "reaim")
    assert world.do(at, lambda: at.shop.aim(at.held, at.held.lines[0], "+.02", "in"))
    turned(world, at)


def lines_of(world: World, at: Bench, name: str = SKI) -> list[str]:
    status, said = world.command(world.paths.index(at.book.path), "queue")
    assert status == 0
    return [line for line in said.splitlines() if name in line]


def test_whatever_happens_in_whatever_order_the_promise_is_kept() -> None:
    """The same steps each time; any number of others by ``python -m tests.work.promise``."""
    promise.play_part(1)


def test_a_ski_that_is_set_honestly_is_released(world: World) -> None:
    """On every list, at both skis, and again the next day."""
    for at in world.benches:
        for name in SKIS:
            world.finish(at, name)
    world.tomorrow()
    world.enqueue(world.benches[0], SKI, recheck=True)
    world.finish(world.benches[0], SKI)


def test_a_turned_ski_that_is_carried_away_is_not_released(world: World) -> None:
    """Nor by a re-check on the day that it was carried from."""
    at = world.benches[0]
    world.finish(at, SKI)
    world.tomorrow()
    assert world.enqueue(at, SKI, recheck=False)
    turned(world, at)
    assert world.command(0, "carry", "all")[0] == 0
    world.check(whole=True)
    status, said = world.command(0, "card", SKI)
    assert (status, "NOT RELEASED" in said) == (0, True)
    for recheck in (True, False):
        assert not world.enqueue(at, SKI, recheck=recheck)
    world.check(whole=True)


def test_what_was_set_aside_meanwhile_is_not_signed_off(world: World) -> None:
    ours, theirs = world.benches[:2]
    at_stage(world, ours, "sign-off")
    world.look(theirs, SKI)
    assert world.act(theirs, "set aside")
    assert not world.act(ours, "sign off")
    world.check(whole=True)


def test_what_was_turned_meanwhile_is_not_signed_off(world: World) -> None:
    """The view in hand is of before: it says that the sign-off is next."""
    ours, theirs = world.benches[:2]
    at_stage(world, ours, "sign-off")
    opened_again_and_turned(world, theirs)
    assert not world.act(ours, "sign off")
    world.check(whole=True)


def test_a_reading_by_an_old_view_does_not_make_loose_bolts_tight(world: World) -> None:
    ours, theirs = world.benches[:2]
    at_stage(world, ours, "within")
    opened_again_and_turned(world, theirs)
    line = ours.held.lines[0]
    text = world.fins[SKI].text(line)
    assert not world.do(ours, lambda: read(ours.shop, ours.held, line, text))
    assert "clamp bolts loose" in lines_of(world, ours)[0]


def test_one_act_is_not_counted_twice(world: World) -> None:
    """Two hands say at once that the loosening is done: no stud is passed over."""
    ours, theirs = world.benches[:2]
    at_stage(world, ours, "turning")
    world.look(theirs, SKI)
    assert world.act(ours, "step")
    assert not world.act(theirs, "step")
    assert world.look(ours, SKI).progress.step == 1


@pytest.mark.parametrize("kind", FORGERIES)
@pytest.mark.parametrize("begun", ["waiting", "turned", "measured", "signed off"])
def test_no_row_from_a_file_releases_a_ski(world: World, begun: str, kind: str) -> None:
    ours, theirs = world.benches[0], world.benches[2]
    if begun == "turned":
        turned(world, ours)
    elif begun != "waiting":
        at_stage(world, ours, "within" if begun == "measured" else begun)
    for which in range(4):
        world.forge(ours, theirs, SKI, kind, which)
        world.check(whole=True)
    world.finish(theirs, SKI)


@pytest.mark.parametrize("kind", ["sign-off", "received clamp", "no clamp", "early sign-off"])
def test_an_import_names_the_ski_that_a_forged_sign_off_would_release(
    world: World, kind: str
) -> None:
    """And the exit status says that something is not well."""
    at = world.benches[0]
    turned(world, at)
    path = world.send(at, SKI)
    data = json.loads(path.read_bytes())
    promise.Forger(data["rows"], world.skis[SKI], world).add(kind, 0)
    path.write_text(json.dumps(data))
    status, said = world.command(1, "import", str(path))
    assert status != 0
    assert any(SKI in line and "NOT RELEASED" in line for line in said.splitlines()), said


def test_one_signs_off_and_another_turns_at_two_books(world: World) -> None:
    """After the exchange both say that the bolts are loose, whichever came first."""
    ours, theirs = world.benches[0], world.benches[2]
    at_stage(world, ours, "sign-off")
    exchange.take_in(theirs.shop, str(world.send(ours, None)))
    opened_again_and_turned(world, theirs)
    assert world.act(ours, "sign off")
    for source, to in ((theirs, ours), (ours, theirs)):
        assert world.take_in(to, world.send(source, None))
    world.check(whole=True)
    for at in (ours, theirs):
        assert "clamp bolts loose" in lines_of(world, at)[0]


def test_a_turn_that_was_taken_back_has_to_be_turned_back_or_measured(world: World) -> None:
    """Its record alone is struck out: the stud is where it was turned to."""
    at = world.benches[0]
    turned(world, at)
    for _ in range(2):
        world.act(at, "back")
    for _ in range(8):
        world.act(at, "as is") or world.onward(at)
    world.check(whole=True)


def test_a_round_does_not_go_on_from_readings_that_are_not_the_last(world: World) -> None:
    """A ski whose round is open, on whatever day, is not begun anew beside it."""
    at = world.benches[0]
    turned(world, at)
    assert world.carry(at, SKI, 1)
    assert not world.enqueue(at, SKI, recheck=False)
    world.tomorrow()
    world.finish(at, SKI)


def test_no_list_shows_a_ski_done_whose_clamp_check_was_struck_out(world: World) -> None:
    at = world.benches[0]
    world.finish(at, SKI)
    view = at.shop.view(world.line(at.shop, SKI).job_id)
    clamp = [f.id for f in view.facts if getattr(f, "item", "") == "clamp"][-1]
    at.book.strike(clamp, "not looked at", "KV")
    world.check(whole=True)
    assert "NOT RELEASED" in lines_of(world, at)[0]
    assert queue.summary_of(at.shop, at.shop.roster()).done == 0


def test_a_recheck_of_a_ski_that_was_never_measured_releases_nothing(world: World) -> None:
    """There is nothing that it could be a re-check of."""
    at, name = world.benches[0], "Otter 65"
    ski = at.book.add_ski(replace(at.book.skis()[0], id="", name=name), who="KV")
    world.skis[name], world.fins[name] = ski.id, world.fins[SKI]
    if world.enqueue(at, name, recheck=True):
        world.look(at, name)
        while at.held is not None and at.held.stage != "signed off" and world.onward(at):
            pass
    world.check(whole=True)
