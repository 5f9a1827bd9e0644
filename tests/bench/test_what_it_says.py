"""What the bench says is right: the next step, what an entry counts as, the words around a ski."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

from tests.bench.screens import bench
from tests.bench.test_hands import begin
from tests.shop import demo_file, heron, open_shop, ski, walk_to
from workbench.bench.hand.entry_keys import EntryKeys
from workbench.bench.hand.hands import Hands
from workbench.bench.panels.next_line import next_rows, next_words
from workbench.bench.panels.panel_text import picture, target, top_line
from workbench.bench.panels.readings_panel import readings
from workbench.bench.panels.turns_panel import turns
from workbench.work.job.shop import Shop


def test_the_step_that_is_due_stays_in_sight(shop: Shop) -> None:
    """With all studs to turn the list is longer than its room; it follows the hand."""
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "turning", ("+.010", "-.020", "+.015"))
    hands = Hands(shop)
    hands.open(view.job.id)
    assert view.plan is not None
    acts = [step for step in view.plan.steps if step.do != "measure"]
    assert len(acts) == 6
    for _ in acts[:-1]:
        assert hands.state.view is not None
        shown = turns(hands.state, 39, 20).plain
        assert len(shown.splitlines()) <= 20
        assert re.search(r"^▸ ", shown, re.MULTILINE)
        EntryKeys(hands).enter(hands.state.view.progress.step * 10.0)


async def test_enter_asks_for_initials_before_a_sign_off(tmp_path: Path) -> None:
    """Without initials no sign-off goes: the line says so, and Enter leads there and through."""
    with open_shop(demo_file(tmp_path)) as shop:
        view = ski(shop, "Heron 66")
        walk_to(shop, view, heron(view), "sign-off")
        shop.who = ""
        async with bench(shop) as screen:
            screen.app.hands.open(view.job.id)
            screen.app.hands.take_settings(shop.book.settings())
            await screen.settle()
            assert "Enter asks for your initials" in screen.shown()
            await screen.by_hand("\n")
            assert "Initials" in screen.shown()
            await screen.by_hand("QR")
            await screen.settle()
            await screen.by_hand("\n")
            await screen.settle()
            assert "✓ entries are now kept under QR" in screen.shown()
            await screen.by_hand("\n")
            assert "+ signs off as QR." in screen.shown()
            await screen.by_hand("+")
            await screen.settle()
            assert screen.view.stage == "signed off"


async def test_initials_that_no_sign_off_would_take_are_not_taken(shop: Shop) -> None:
    """The prompt says what would be, and keeps what was typed."""
    async with bench(shop) as screen:
        screen.app.do_("initials")
        await screen.settle()
        await screen.by_hand("\b\bQR-QR-QR-QR-QR")
        await screen.settle()
        await screen.by_hand("\n")
        assert "1 to 12 characters" in screen.shown()
        assert "QR-QR-QR-QR-QR" in screen.shown()
        assert (shop.who, shop.book.setting("who")) == ("KV", "KV")


def test_the_last_ski_signed_off_promises_no_next_one(shop: Shop) -> None:
    """Enter would go nowhere; with one ski left it goes there."""
    keys = begin(shop, "signed off")
    state = keys.hands.state
    assert "Enter goes to the next ski" in next_words(state)
    done = tuple(replace(line, stage="signed off") for line in state.roster[1:])
    aside = (*done, replace(state.roster[0], stage="set aside"))
    assert "no ski is left to do" in next_words(replace(state, roster=aside))


def test_bare_digits_show_what_they_count_as_beside_them(shop: Shop) -> None:
    """The big digits stay as typed; the number with its point stands above them."""
    keys = begin(shop, "as received")
    keys.type("2450")
    assert "→ 2.450 in" in readings(keys.hands.state, 39, 15).plain
    keys.type("\b\b\b\b2.450")
    assert "→" not in readings(keys.hands.state, 39, 15).plain


def test_an_entry_that_will_be_asked_about_says_so(shop: Shop) -> None:
    """Enter does not take it at once, so the line does not say that it does."""
    keys = begin(shop, "as received")
    keys.type("62.23")
    assert next_words(keys.hands.state).startswith("Enter asks what 62.23 means")
    keys.type("mm")
    assert next_words(keys.hands.state).startswith("Enter takes 62.23 mm")


def test_a_half_typed_entry_is_read_anew_in_the_other_unit_and_for_another_line(
    shop: Shop,
) -> None:
    """What the line promises is what Enter does after the flip."""
    keys = begin(shop, "as received")
    keys.type("2450")
    keys.hands.flip_unit()
    assert "2.450 in" not in next_words(keys.hands.state)
    keys.hands.flip_unit()
    assert "Enter takes 2.450 in" in next_words(keys.hands.state)
    keys.hands.select(1)
    assert "Enter takes 0.2450 in" in next_words(keys.hands.state)


def test_a_question_names_the_value_that_plus_takes(shop: Shop) -> None:
    """The value stands in the line too, and changes with the answer that is offered."""
    keys = begin(shop, "as received")
    keys.type("62.23\n")
    assert next_words(keys.hands.state).startswith("+ takes depth 62.23 mm;")


def test_a_hint_of_a_change_stands_in_the_unit_shown(shop: Shop) -> None:
    """In the words of the hand, as at every other stage."""
    keys = begin(shop, "target", "Lark 64")
    keys.hands.flip_unit()
    assert "+0.10: a change" in target(keys.hands.state, 39, 10).plain


def test_what_is_said_carries_no_sign_of_what_was_said_before(shop: Shop) -> None:
    """An entry dropped after a warning is no warning."""
    keys = begin(shop, "as received")
    keys.hands.say("something is wrong", "warn")
    keys.entry.type("2", keys.time)
    keys.entry.escape()
    assert "entry dropped" in next_rows(keys.hands.state, 100)[0].plain
    assert "! entry dropped" not in next_rows(keys.hands.state, 100)[0].plain


def test_no_dot_stands_where_no_rider_is_known(shop: Shop) -> None:
    """The line at the top ends with the stage."""
    hands = Hands(shop)
    hands.open(ski(shop, "Heron 66").job.id)
    view = hands.state.view
    assert view is not None
    assert "· Ines Tavary" in top_line(hands.state, 120).plain
    nobody = replace(hands.state, view=replace(view, ski=replace(view.ski, rider="")))
    assert "· waiting  " in top_line(nobody, 120).plain
    assert "waiting ·" not in top_line(nobody, 120).plain


def test_readings_that_no_blade_gives_are_not_called_missing(shop: Shop) -> None:
    """Every one was taken; the picture says that they do not go together."""
    keys = begin(shop, "as received")
    assert "not all readings yet" in picture(keys.hands.state, 39, 10).plain
    keys = begin(shop, "studs")
    view = keys.hands.state.view
    assert view is not None
    assert picture(keys.hands.state, 39, 10).plain.rstrip().endswith("now ──")
    nowhere = replace(keys.hands.state, view=replace(view, pose=None, plan=None))
    assert picture(nowhere, 39, 10).plain.rstrip().endswith("no place of the blade gives these")
