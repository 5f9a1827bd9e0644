"""The table of stages and events is closed: everything is allowed by it or refused and not kept."""

from __future__ import annotations

from collections.abc import Callable
from typing import get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.shop import Fin, advance, demo_file, heron, open_shop, ski, take_back, walk_to
from workbench.errors import InputError
from workbench.work.job.entry import Typed
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job.stages import (
    ALLOWED,
    EVENT_WORDS,
    STAGE_GLYPHS,
    Event,
    Stage,
    check_allowed,
)

STAGES: tuple[Stage, ...] = get_args(Stage)
EVENTS: tuple[Event, ...] = get_args(Event)
IN_ORDER = tuple(stage for stage in STAGES if stage != "set aside")


def _tick(shop: Shop, view: JobView, which: str) -> None:
    items = {"received": "edges", "final": "studs"}
    left = [i.key for i in view.checklist if i.key not in view.progress.ticked]
    shop.tick(view, left[0] if left else items[which])


ACTS: dict[Event, Callable[[Shop, JobView], object]] = {
    "read": lambda s, v: s.take_reading(v, v.lines[0], Typed("2.45", "in", 62.23)),
    "read locked": lambda s, v: s.take_locked(v, v.lines[0], Typed("2.45", "in", 62.23)),
    "seat": lambda s, v: s.seat_studs(v),
    "aim": lambda s, v: s.aim(v, v.lines[0], "2.45", "in"),
    "accept target": lambda s, v: s.accept_target(v),
    "step": lambda s, v: s.step_done(v),
    "accept": lambda s, v: s.accept(v),
    "set wing": lambda s, v: s.set_wing(v, "7.5"),
    "enough": lambda s, v: s.enough(v),
    "second eyes": lambda s, v: s.second_eyes(v, "OT"),
    "sign off": lambda s, v: s.sign_off(v, "KV"),
    "set aside": lambda s, v: s.set_aside(v, "lunch"),
    "take up": lambda s, v: s.take_up(v),
    "strike": lambda s, v: s.strike_reading(v, v.lines[0], "slipped"),
    "finest": lambda s, v: s.set_finest(v, 0.25),
}


def test_the_table_names_every_stage_and_only_known_events() -> None:
    """No stage is without a row and a sign, no row names an event that is not one."""
    assert set(ALLOWED) == set(STAGES) == set(STAGE_GLYPHS)
    assert set().union(*ALLOWED.values()) == set(EVENTS) == set(EVENT_WORDS)
    assert len(set(STAGE_GLYPHS.values())) == len(STAGES)
    untried = {"tick received", "tick final", "note", "temperature", "mark"}
    assert set(EVENTS) - untried == set(ACTS)


@pytest.mark.parametrize("stage", STAGES)
def test_an_event_outside_the_table_is_refused_with_what_would_do(stage: Stage) -> None:
    """Each event is allowed or refused just as the table says, and the refusal names the rest."""
    for event in EVENTS:
        if event in ALLOWED[stage]:
            check_allowed(stage, event)
            continue
        with pytest.raises(InputError) as caught:
            check_allowed(stage, event)
        assert stage in str(caught.value)
        said = str(caught.value)
        assert said.startswith(EVENT_WORDS[event])
        own = [e for e in ALLOWED[stage] if e not in ALLOWED["waiting"] or "tick" in e]
        assert all(EVENT_WORDS[e] in said for e in own)
        assert "now you can" in said
        assert "one of" not in said


def _at(shop: Shop, stage: Stage) -> JobView:
    view = ski(shop, "Heron 67" if stage == "wing" else "Heron 66")
    if stage == "wing":
        return walk_to(shop, view, Fin(view, 0.690, -1.012, -0.10), stage, ("+.008", "+.012", ""))
    if stage == "set aside":
        return shop.set_aside(view, "waiting for a bolt")
    return walk_to(shop, view, heron(view), stage)


@pytest.mark.parametrize("stage", STAGES)
def test_the_use_cases_obey_the_table_and_a_refused_one_keeps_nothing(
    shop: Shop, stage: Stage
) -> None:
    """At every stage each use case that the table refuses raises and leaves the book as it was."""
    view = _at(shop, stage)
    assert view.stage == stage
    before = shop.book.facts(view.job.id)
    for event, act in ACTS.items():
        if event not in ALLOWED[stage]:
            with pytest.raises(InputError):
                act(shop, view)
    for which in ("received", "final"):
        if f"tick {which}" not in ALLOWED[stage] and not view.checklist:
            with pytest.raises(InputError):
                _tick(shop, view, which)
    assert shop.book.facts(view.job.id) == before


def _key(view: JobView) -> tuple[str, int, int, frozenset[str]]:
    at = view.progress
    return (at.stage, at.pass_number, at.step, at.ticked)


def test_taking_back_goes_through_the_walk_in_reverse(shop: Shop) -> None:
    """Each take back leads to just where the entry was made, from signed off to waiting."""
    view = ski(shop, "Heron 66")
    fin, trail = heron(view), [_key(view)]
    while view.stage != "signed off":
        view = advance(shop, view, fin, ("+.010", "", "-.015"))
        trail.append(_key(view))
    assert [s for s in IN_ORDER if s != "wing"] == list(dict.fromkeys(
        sorted((k[0] for k in trail), key=IN_ORDER.index)))  # fmt: skip
    kept = {f.id for f in shop.book.facts(view.job.id)}
    for earlier in reversed(trail[:-1]):
        view, fact = take_back(shop, view)
        assert fact is not None
        assert _key(view) == earlier
    assert shop.take_back(view)[1] is None
    left = [f for f in shop.book.facts(view.job.id) if getattr(f, "kind", "") != "turned_back"]
    assert {f.id for f in left} == kept
    assert all(f.struck is not None and f.struck.reason == "taken back" for f in left)


@settings(max_examples=12)
@given(st.lists(st.sampled_from(["on", "on", "on", "back", "aside", "finer", "note"]), max_size=45))
def test_whatever_was_done_taking_everything_back_is_waiting(
    tmp_path_factory: pytest.TempPathFactory, moves: list[str]
) -> None:
    """After any row of acts, taking all back is 'waiting', and the book has lost nothing."""
    path = demo_file(tmp_path_factory.mktemp("walk"))
    with open_shop(path) as shop:
        view = ski(shop, "Heron 66")
        fin, count = heron(view), 0
        for move in moves:
            try:
                if move == "on":
                    view = advance(shop, view, fin, ("+.010", "", ""))
                elif move == "back":
                    view, _ = take_back(shop, view)
                elif move == "aside":
                    view = shop.set_aside(view, "later")
                elif move == "finer":
                    view = shop.set_finest(view, 0.0625)
                else:
                    view = shop.note(view, "note", "a word")
            except InputError:
                continue
            now = len(shop.book.facts(view.job.id))
            assert now >= count
            count = now
        while (last := take_back(shop, view))[1] is not None:
            view = last[0]
        assert view.stage == "waiting"
        assert len(shop.book.facts(view.job.id)) == count
