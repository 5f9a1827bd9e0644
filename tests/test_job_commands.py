"""A ski done by commands alone: what each says, keeps and refuses."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from tests.by_command import Commands, Said, fact
from tests.shop import Fin, as_received, heron, open_shop, ski, walk_to
from workbench.measure.display import length_text
from workbench.records.book import Book
from workbench.work.job.job_view import JobView
from workbench.work.job.open_book import OpenBook
from workbench.work.job.shop import Shop


@pytest.fixture
def run(book: Path, capsys: pytest.CaptureFixture[str]) -> Callable[..., Said]:
    return Commands(book, capsys).run


@pytest.fixture
def refused(book: Path, capsys: pytest.CaptureFixture[str]) -> Callable[..., str]:
    return Commands(book, capsys).refused


def view_of(book: Path, name: str) -> JobView:
    with open_shop(book) as shop:
        return shop.view(next(x.job_id for x in shop.roster() if x.ski_name == name))


def do_next(run: Callable[..., Said], book: Path, fin: Fin, name: str, aims: list[str]) -> Said:
    """Do what 'next' says, as a careful technician would who reads the lines alone."""
    command = fact(run("next"), "Command").split()[1:]
    view = view_of(book, name)
    if command[0] == "read":
        assert view.due is not None
        text = length_text(fin.rig.observe(view.lines[view.due].method, fin.pose).value_mm, "in")
        return run("read", command[1], text)
    if command[0] == "aim":
        return run("aim", command[1], aims.pop(0))
    if command[0] == "set-wing":
        return run("set-wing", "7.5")
    said = run(*command)
    if "measure again" in said[0]:
        fin.follow(view)
    return said


def test_a_whole_ski_by_commands_alone(run: Callable[..., Said], book: Path) -> None:
    """From waiting to signed off, each command the one that the line before named."""
    run("take", "Heron 66")
    fin, stages = heron(view_of(book, "Heron 66")), []
    aims = ["+.010", "0.700"]
    for _ in range(60):
        said = do_next(run, book, fin, "Heron 66", aims)
        stages.append(fact(said, "Stage"))
        if stages[-1] == "signed off.":
            break
    assert list(dict.fromkeys(stages)) == [
        "received check.", "as received.", "studs.", "target.", "turning, round 1.",
        "measuring, round 1.", "on target.", "final check.", "sign-off.", "signed off.",
    ]  # fmt: skip
    kept = view_of_signed(book, "Heron 66")
    assert kept.stage == "signed off"
    assert all(f.who == "KV" for f in kept.facts)


def view_of_signed(book: Path, name: str) -> JobView:
    with Book(book) as kept:
        shop = Shop(kept)
        ski = next(s for s in kept.skis() if s.name == name)
        return shop.view(kept.history_of_ski(ski.id)[-1].job.id)


def names(lines: Said) -> list[str]:
    """Return what stands before the first colon of each line."""
    return [line.split(":")[0] for line in lines]


# -- next and take ---------------------------------------------------------------------------------


def test_next_says_one_fact_a_line(run: Callable[..., Said]) -> None:
    """Ski, place, stage, what to do and how, caution, then each reading; no drawing characters."""
    lines = run("next", "Heron 66")
    assert names(lines)[:6] == ["Ski", "Queue", "Stage", "Next", "Command", "Caution"]
    assert fact(lines, "Ski") == "Heron 66, Ines Tavary, serial H66-014."
    assert fact(lines, "Next").startswith("Received check, 1 of 3: ")
    assert fact(lines, "Reading 3 now") == "not read yet"
    assert "sharp" in fact(lines, "Caution")
    assert all(c.isascii() or c in "±−·°" for line in lines for c in line)


def test_next_gives_turns_exact_and_rounded_with_what_to_expect(run: Callable[..., Said]) -> None:
    lines = run("next", "Heron 67", "--unit", "mm")
    assert fact(lines, "Next") == "Loosen the clamp bolts before any stud is turned."
    assert "Caution" not in names(lines), "the caution is the next step itself"
    assert fact(lines, "Stud top rear").startswith(
        "3/8 turn in, toward the blade (clockwise from the screwdriver's end); exact +0.3"
    )
    assert "u 0.0" in fact(lines, "Stud tail")
    assert fact(lines, "Step 1 of 6, now").startswith("Loosen")
    assert fact(lines, "Reading 1 target").endswith("within 0.051 mm")
    assert sum(name == "After these turns" for name in names(lines)) == 3
    expect = run("done", "--ski", "Heron 67")
    assert names(expect).count("Expect after this turn, seated") == 3


def test_what_is_shown_names_a_ski_that_is_not_in_hand(
    run: Callable[..., Said], book: Path
) -> None:
    """Commands shown can be typed as they stand."""
    run("take", "1")
    assert fact(run("next", "3"), "Command") == "quarterturn read --ski OT-65-771 1 VALUE"
    with open_shop(book) as shop:  # a serial that means two skis names none
        spare = shop.book.ski(shop.roster()[4].ski_id)
        shop.book.correct_ski(replace(spare, serial="ot-65-771"), who="KV")
    assert fact(run("next", "3"), "Command") == "quarterturn read --ski 3 1 VALUE"
    run("take", "3")
    assert fact(run("next"), "Command") == "quarterturn read 1 VALUE"
    assert run("next", "--ski", "3") == run("next")


def test_a_ski_is_meant_by_serial_name_or_number(run: Callable[..., Said]) -> None:
    for text in ("H66-014", "h66-014", "heron 66", "1"):
        assert fact(run("next", text), "Ski").startswith("Heron 66, ")


def test_no_ski_two_skis_and_none_in_hand_are_told_apart(
    run: Callable[..., Said], refused: Callable[..., str], book: Path
) -> None:
    """An unknown name and an ambiguous one list what would do."""
    assert "1 Heron 66 (H66-014)" in refused("next", "Heron 99")
    with Book(book) as kept:
        shop = Shop(kept)
        twin = next(s for s in kept.skis() if s.serial == "OT-66-090")
        kept.correct_ski(replace(twin, name="Heron 66"), who="KV")
        shop.remember("job", "")
    err = refused("next", "Heron 66")
    assert "1 Heron 66 (H66-014)" in err
    assert "Heron 66 (OT-66-090)" in err
    assert "none in hand" in refused("tick", "edges")
    assert fact(run("take", "H66-014"), "Queue").endswith("in hand.")


def test_the_bench_opens_on_the_ski_taken_in_hand(run: Callable[..., Said], book: Path) -> None:
    """One ski in hand, here and there."""
    from workbench.bench.hand.hands import Hands

    run("take", "Otter 65")
    with Book(book) as kept:
        view = Hands(Shop(kept)).state.view
        assert view is not None
        assert view.ski.name == "Otter 65"


def test_json_gives_full_figures_in_the_unit(run: Callable[..., Said], book: Path) -> None:
    found = json.loads(run("next", "Heron 67", "--json")[0])
    view = view_of(book, "Heron 67")
    assert found["stage"] == "turning"
    assert found["next"]["commands"] == ["quarterturn done"]
    assert view.plan is not None
    for stud, turn in zip(found["studs"], view.plan.turns, strict=True):
        assert (stud["turns_exact"], stud["turns"]) == (turn.exact, turn.turns)
    now = view.lines[0].now_mm
    assert now is not None
    assert found["readings"][0]["now"] == pytest.approx(now / 25.4, rel=1e-15)
    queue = json.loads(run("queue", "--json")[0])["queue"]
    assert queue[1]["ski"] == "Heron 67"
    assert queue[1]["job"] == found["job"]
    assert [line["number"] for line in queue] == list(range(1, len(queue) + 1))


# -- ticks and readings ----------------------------------------------------------------------------


def test_ticks_go_in_order_each_on_purpose(
    run: Callable[..., Said], refused: Callable[..., str]
) -> None:
    """By key or number; never one ahead, never one that is not there."""
    run("take", "Heron 66")
    assert "'edges' next" in refused("tick", "hardware")
    assert "1 edges · 2 cracks" in refused("tick", "bolts")
    assert fact(run("tick", "EDGES"), "Done").startswith("ticked: Blade edges")
    assert fact(run("tick", "2"), "Stage") == "received check."


def test_a_reading_is_placed_as_on_the_bench(run: Callable[..., Said], book: Path) -> None:
    """Bare digits, the other unit by name, a repeat; by number, name or quantity."""
    received(run)
    assert "24905 → 2.4905 in; " in fact(run("read", "1", "24905"), "Done"), "with what it left at"
    assert fact(run("read", "tail", "19.45 mm"), "Done").startswith(
        "kept: tail, upper line 19.45 mm → 19.45 mm"
    )
    run("take-back")
    assert fact(run("read", "tail, upper line", "7660"), "Done").startswith(
        "kept: tail, upper line 7660 → 0.7660 in"
    )
    assert [x.latest[0].text for x in view_of(book, "Heron 66").lines[:2]] == ["24905", "7660"]
    again = run("read", "1", "2.4960", "--caliper", "Drawer caliper, mm")
    assert "2.4960 → 2.4960 in, repeat 2" in fact(again, "Done")
    kept = view_of(book, "Heron 66").lines[0].latest
    assert kept[0].caliper_id != kept[1].caliper_id
    assert kept[1].caliper_id is not None


def received(run: Callable[..., Said]) -> None:
    run("take", "Heron 66")
    for number in "123":
        run("tick", number)


def test_a_reading_that_has_to_be_asked_about_is_refused(
    run: Callable[..., Said], refused: Callable[..., str], book: Path
) -> None:
    """The question, what --yes would take; and it takes just that."""
    received(run)
    err = refused("read", "1", "62.25")
    assert "62.25: in or mm?" in err
    assert "--yes takes 62.25 mm" in err
    assert not view_of(book, "Heron 66").lines[0].latest
    run("read", "1", "62.25", "--yes")
    assert view_of(book, "Heron 66").lines[0].latest[0].mm == 62.25
    for wrong in ("two", "-2.45", "2.4.5"):
        assert "depth, hole 2" in refused("read", "1", wrong)
    assert "1 depth, hole 2 back edge · 2 tail" in refused("read", "4", "2.45")
    assert "Drawer caliper" in refused("read", "1", "2.45", "--caliper", "pocket")


def test_a_reading_the_turns_cannot_have_made_is_refused(
    run: Callable[..., Said], refused: Callable[..., str]
) -> None:
    """While measuring after a round, as on the bench."""
    err = refused("read", "--ski", "Otter 65", "1", "2450")
    assert "expected, this is +" in err
    assert "--yes takes 2.450 in" in err
    assert fact(run("read", "--ski", "Otter 65", "1", "2450", "--yes"), "Stage").startswith("meas")


def test_unit_is_the_benchs_own_unless_it_is_given(run: Callable[..., Said], book: Path) -> None:
    received(run)
    run("settings", "unit", "mm")
    run("read", "1", "63.45")
    run("read", "2", "0.7660", "--unit", "in")
    lines = view_of(book, "Heron 66").lines
    assert [line.latest[0].unit for line in lines[:2]] == ["mm", "in"]
    assert fact(run("next"), "Reading 1 now").startswith("63.45 mm")


def test_fewer_repeats_have_to_be_asked_for(
    run: Callable[..., Said], refused: Callable[..., str]
) -> None:
    run("settings", "repeats", "2")
    received(run)
    for number, text in (("1", "2.4505"), ("2", "0.7660"), ("3", "6.9375")):
        run("read", number, text, "--yes")
    lines = run("next")
    assert fact(lines, "Next") == "Measure: depth, hole 2 back edge, 2 of 2."
    assert fact(lines, "Or") == "quarterturn enough"
    assert fact(run("enough"), "Stage") == "studs."
    assert "do this first" in refused("enough")


# -- targets, turns, wing --------------------------------------------------------------------------


def test_what_is_not_due_names_what_is(refused: Callable[..., str]) -> None:
    """A command out of turn is refused with the step that comes first, and its command."""
    err = refused("read", "--ski", "Heron 67", "1", "2.4505")
    assert "do this first: Loosen the clamp bolts" in err
    assert "quarterturn done --ski H67-003" in err
    assert "do this first" in refused("sign-off", "--ski", "Heron 66")


def test_targets_by_value_change_and_baseline(
    run: Callable[..., Said], refused: Callable[..., str], book: Path
) -> None:
    ski = ("--ski", "LK64/22")
    now = view_of(book, "Lark 64").lines[0].now_mm
    assert now is not None
    run("aim", *ski, "depth", "-0.2mm")
    assert view_of(book, "Lark 64").lines[0].target_mm == pytest.approx(now - 0.2)
    run("aim", *ski, "1", "62.5", "--unit", "mm")
    assert view_of(book, "Lark 64").lines[0].target_mm == 62.5
    assert fact(run("aim", *ski, "--baseline"), "Done").startswith("target: the baseline")
    assert "METHOD and VALUE" in refused("aim", *ski, "depth")
    assert "METHOD and VALUE" in refused("aim", *ski, "depth", "+.01", "--last")
    assert "fits this ski" in refused("aim", *ski, "--baseline", "winter")
    assert fact(run("aim", *ski, "--last"), "Done") == "the last setting is the target now."
    assert fact(run("accept", *ski), "Stage").startswith("turning")
    assert fact(run("aim", *ski, "--again"), "Stage") == "target."


def test_readings_out_of_tolerance_are_kept_only_when_said_so(
    run: Callable[..., Said], refused: Callable[..., str]
) -> None:
    assert "--as-is" in refused("accept", "--ski", "Heron 67")
    assert fact(run("accept", "--ski", "Heron 67", "--as-is"), "Stage") == "wing."


def test_the_finest_turn_changes_the_turns(
    run: Callable[..., Said], refused: Callable[..., str]
) -> None:
    before = fact(run("next", "Heron 67"), "Stud top rear")
    run("finest", "--ski", "Heron 67", "1/16")
    assert fact(run("next", "Heron 67"), "Stud top rear") != before
    assert "finest turn" in refused("finest", "--ski", "Heron 67", "3")


def test_a_wing_is_kept_with_hold_and_gauge(
    run: Callable[..., Said], refused: Callable[..., str]
) -> None:
    run("accept", "--ski", "Heron 67", "--as-is")
    lines = run("next", "Heron 67")
    assert next(name for name in names(lines) if name.startswith("Wing ")) == "Wing 1"
    assert "degrees from 2 to 20" in refused("set-wing", "--ski", "Heron 67", "45")
    assert "front, middle or rear" in refused("set-wing", "--ski", "Heron 67", "8", "--hold", "x")
    said = run("set-wing", "--ski", "Heron 67", "8", "--hold", "front", "--gauge", "brass, 8")
    assert "8° held at the front, gauge brass, 8" in fact(said, "Done")
    assert fact(said, "Stage") == "final check."


# -- sign-off --------------------------------------------------------------------------------------


def to_final(run: Callable[..., Said]) -> None:
    run("take", "Heron 67")
    run("accept", "--as-is")
    run("set-wing", "7.5")


def test_no_sign_off_without_the_clamp_bolts(
    run: Callable[..., Said], refused: Callable[..., str]
) -> None:
    """Not before the check, not after all items but the last; then under initials."""
    to_final(run)
    refused("sign-off")
    for item in ("studs", "block", "wing"):
        assert "'" in refused("tick", "clamp")
        run("tick", item)
        refused("sign-off")
    assert "loose fin" in fact(run("next"), "Caution") or "snug" in fact(run("next"), "Next")
    assert fact(run("tick", "clamp"), "Stage") == "sign-off."
    assert fact(run("sign-off"), "Done") == "signed off by KV."


def test_a_sign_off_needs_initials_and_where_asked_a_second_pair_of_eyes(
    run: Callable[..., Said], refused: Callable[..., str], book: Path
) -> None:
    run("settings", "second-eyes", "on")
    run("settings", "who", "")
    to_final(run)
    for item in ("studs", "block", "wing", "clamp"):
        run("tick", item)
    assert "--who" in refused("sign-off", who="")
    assert "somebody else" in refused("sign-off")
    assert "somebody else" in refused("sign-off", "--second", "kv")
    assert fact(run("next"), "Command") == "quarterturn sign-off --second INITIALS"
    assert fact(run("sign-off", "--second", "PM"), "Stage") == "signed off."


# -- mending ---------------------------------------------------------------------------------------


def test_set_aside_and_taken_up_again(
    run: Callable[..., Said], refused: Callable[..., str]
) -> None:
    run("take", "Heron 67")
    lines = run("set-aside", "waits", "for", "a", "clamp", "bolt")
    assert fact(lines, "Next") == "Set aside: waits for a clamp bolt."
    assert "do this first" in refused("done")
    assert fact(run("take-up"), "Stage") == "turning, round 1."


def test_take_back_and_strike_leave_what_they_withdraw_readable(
    run: Callable[..., Said], refused: Callable[..., str], book: Path
) -> None:
    received(run)
    run("read", "1", "2.4955")
    run("read", "1", "2.4405", "--yes")
    run("read", "1", "2.4960")
    assert "1 2.4955 in · 2 2.4405 in" in refused("strike", "1", "--repeat", "4", "--reason", "x")
    said = run("strike", "1", "--repeat", "2", "--reason", "jaw on the hole")
    assert fact(said, "Done") == "struck out: depth, hole 2 back edge 2.4405 in."
    view = view_of(book, "Heron 66")
    assert [r.text for r in view.lines[0].latest] == ["2.4955", "2.4960"]
    assert view.lines[0].struck[0].text == "2.4405"
    assert fact(run("take-back"), "Done") == "taken back: reading 2.4960."
    assert "METHOD" in refused("strike", "--reason", "x")
    row = view.lines[0].latest[0].id
    assert fact(run("strike", "--row", row, "--reason", "wrong ski"), "Done").startswith("struck")
    assert "history --json" in refused("strike", "--row", "nowhere", "--reason", "x")


def test_words_that_would_act_on_a_terminal_are_written_out(run: Callable[..., Said]) -> None:
    run("take", "Heron 67")
    run("set-aside", "\x1b[2Jgone", "[b]bold[/b]")
    said = run("next")
    assert fact(said, "Next") == "Set aside: \\x1b[2Jgone [b]bold[/b]."


def test_names_from_a_book_are_text(run: Callable[..., Said], book: Path) -> None:
    """Escapes, line ends and signs of direction in names are written out, and the ski is found."""
    with open_shop(book) as shop:
        ski = shop.book.ski(shop.roster()[0].ski_id)
        shop.book.correct_ski(replace(ski, name="Evil\x1b[2J\u202e\nx", serial="--help"), who="KV")
    for words in (("next", "1"), ("next", "1", "--json"), ("hold", "--ski", "1"), ("take", "1")):
        assert all(c.isprintable() for line in run(*words) for c in line)
    assert fact(run("tick", "--ski=--help", "edges"), "Done").startswith("ticked")


# -- adding and the order of the day ---------------------------------------------------------------


def test_a_ski_is_added_queued_again_moved_and_carried(
    run: Callable[..., Said], refused: Callable[..., str]
) -> None:
    said = run("add-ski", "Heron 68", "--rider", "Mika Sorrel", "--serial", "H68-021", "--wing")
    number = fact(said, "Command").split()[-1]
    assert fact(run("next", number), "Ski") == "Heron 68, Mika Sorrel, serial H68-021."
    assert "are known" in refused(
        "add-ski", "Heron 68", "--rider", "Mika Sorrel", "--serial", "H68-021"
    )
    assert "not in the queue already" in refused("queue-ski", "H68-021")
    up = run("move", "Heron 68", "up", "--by", "2")
    assert fact(up, "Done") == f"Heron 68 is number {int(number) - 2} now."
    assert "a place" in refused("move", "1", "up")
    assert "all by-due" in refused("move", "1", "by-due")
    assert fact(run("move", "all", "by-due"), "Done").startswith("sorted")
    assert fact(run("carry", "Heron 68"), "Done").startswith("Heron 68 carried to ")
    assert "a ski of today's queue" in refused("next", "Heron 68")


def test_parts_come_from_a_file(run: Callable[..., Said], refused: Callable[..., str]) -> None:
    from workbench.places import shipped

    order = str(shipped("fixtures") / "orders" / "practice-plate.toml")
    assert fact(run("add-blade", order, "--name", "Practice blade"), "Done").endswith("blade.")
    assert fact(run("add-block", order, "--name", "Practice block"), "Done").endswith("block.")
    lines = run("parts")
    assert "Blade 4: Practice blade" in lines
    assert any(line.startswith("Block 3: Practice block") for line in lines)
    assert "no other blade has" in refused("add-blade", order, "--name", "Practice blade")


def test_calipers_are_listed_checked_taken_in_hand_and_added(
    run: Callable[..., Said], refused: Callable[..., str]
) -> None:
    assert "in hand, good" in fact(run("calipers"), "Caliper 1")
    lines = run("calipers", "2", "--take", "--zero", "0.00", "--block", "100mm", "100.01")
    assert names(lines)[:3] == ["Done", "Done", "Done"]
    assert "in hand" in fact(lines, "Caliper 2")
    failed = run("calipers", "--block", "100", "101.2")
    assert "failed" in fact(failed, "Caliper 2")
    assert "near 0" in refused("calipers", "--zero", "5")
    run("add-caliper", "Window caliper", "--unit", "mm", "--resolution", "0.02")
    assert "step 0.020 mm" in fact(run("calipers"), "Caliper 3")
    assert "no other caliper" in refused("add-caliper", "Window caliper")


# -- after the ride, marks, temperature, baselines -------------------------------------------------


def test_a_ride_note_is_kept_and_a_suggestion_becomes_the_target(
    run: Callable[..., Said], refused: Callable[..., str], book: Path
) -> None:
    ski = ("--ski", "LK64/22")
    assert "tail slides" in fact(run("ride", "--list"), "Complaint 1")
    said = run("ride", *ski, "--complaints", "1", "--rating", "2", "--text", "slides at the end")
    assert fact(said, "Ride 1 rating") == "2 of 5"
    assert fact(said, "Ride 1 rider") == "Suvi Orrin"
    assert fact(said, "Try 1").startswith("depth +")
    before = view_of(book, "Lark 64").lines[0].now_mm
    chosen = run("ride", *ski, "--choose", "1")
    after = view_of(book, "Lark 64").lines[0].target_mm
    assert before is not None
    assert after is not None
    assert after > before
    assert fact(chosen, "Done").startswith("target: depth")
    assert "--choose" in refused("ride", *ski, "--choose", "99")
    assert "1 (poor)" in refused("ride", *ski, "--rating", "9")


def test_marks_are_listed_read_once_and_added(
    run: Callable[..., Said], refused: Callable[..., str]
) -> None:
    ski = ("--ski", "Otter 65")
    listed = run("marks", *ski)
    assert fact(listed, "Mark 1") == "scale at the rear scribe"
    expected = fact(listed, "Mark 1 by the readings").split()[0]
    assert fact(run("marks", *ski, "1", expected), "Done").endswith(", agrees.")
    assert fact(run("marks", *ski), "Mark 1 read").startswith(expected)
    assert "VALUE" in refused("marks", *ski, "1")
    assert "mark" in refused("marks", *ski, "9", "0.5")
    run("add-mark", *ski, "second scale", "--kind", "scale", "--at", "2.5 0", "--zero", "1.5")
    assert fact(run("marks", *ski), "Mark 2") == "second scale"


def test_a_temperature_is_stated_shown_and_ended(
    run: Callable[..., Said], refused: Callable[..., str]
) -> None:
    ski = ("--ski", "Otter 65")
    assert run("temperature", *ski)[0].startswith("Off")
    assert "31 °C" in fact(run("temperature", *ski, "31C", "--caliper", "24C"), "Temperature")
    assert "steel" in run("temperature", *ski)[0]
    assert "degrees" in refused("temperature", *ski, "warm")
    run("temperature", *ski, "off")
    assert run("temperature", *ski)[0].startswith("Off")


def test_the_numbers_of_now_become_a_baseline(run: Callable[..., Said]) -> None:
    run("new-baseline", "--ski", "LK64/22", "cold water")
    said = run("aim", "--ski", "LK64/22", "--baseline", "Cold  Water")
    assert fact(said, "Done") == "target: the baseline cold water."


def test_how_to_hold_and_what_a_reading_is_worth(run: Callable[..., Said]) -> None:
    lines = run("hold", "--ski", "Heron 67", "depth")
    assert lines[0] == "Reading 1: depth, hole 2 back edge"
    assert any(line.startswith("Station: back edge of hole '2'") for line in lines)
    assert any("Most comes from" in line for line in lines)
    assert not any("Reading 2" in line for line in lines)
    scatter = (
        "Reading 1: repeat scatter: repeatability test 'a slow hour' (2026-11-22, 27 readings)"
    )
    assert scatter in lines


def test_two_repeats_far_apart_are_warned_about(run: Callable[..., Said], book: Path) -> None:
    with open_shop(book) as shop:
        as_received(shop, "2.4500", "2.4530")
    said = "depth, hole 2 back edge: These two differ by more than 0.0014 in; take a third"
    assert fact(run("next", "Heron 66"), "Warning") == said
    found = json.loads("".join(run("next", "Heron 66", "--json")))
    assert found["warnings"] == [said]


# -- without a screen ------------------------------------------------------------------------------


def shell(book: Path | None, *words: str, **env: str) -> Any:
    """Run the program as a bare terminal does: no screen, nothing to type at."""
    where = ["--book", str(book)] if book is not None else []
    return subprocess.run(
        [sys.executable, "-m", "workbench", *where, "--who", "KV", *words],
        stdin=subprocess.DEVNULL, capture_output=True, timeout=60, check=False,
        env={**os.environ, "TERM": "dumb", **env},
    )  # fmt: skip


def test_a_bare_terminal_is_shown_the_commands(tmp_path: Path) -> None:
    """The bench does not open there and says what does work; a book is begun and worked on."""
    path = tmp_path / "bare.db"
    none = shell(path)
    assert none.returncode == 2
    assert b"quarterturn next" in none.stderr
    assert not path.exists()
    assert shell(path, "begin", "--demo").returncode == 0
    assert shell(path, "begin").returncode == 2, "a book that is there is never touched"
    assert shell(path, "take", "1", PYTHONIOENCODING="ascii").stdout.isascii()
    done = shell(path, "tick", "edges")
    assert done.returncode == 0, done.stderr
    assert done.stderr == b""
    assert done.stdout.decode().splitlines()[0].startswith("Done: ticked: Blade edges")
    assert shell(path, "next", "Heron 67", PYTHONIOENCODING="ascii").stdout.isascii()


def test_a_new_book_begins_with_parts_and_no_ski(tmp_path: Path) -> None:
    path = tmp_path / "new.db"
    assert shell(path, "next").returncode == 1
    assert b"quarterturn begin" in shell(path, "next").stderr
    begun = shell(path, "begin")
    assert begun.returncode == 0, begun.stderr
    assert b"queue is empty" in shell(path, "next").stderr
    assert shell(path, "add-ski", "First").returncode == 0  # never on invented parts unasked
    shell(path, "take", "1")
    assert b"no blade and no block yet" in shell(path, "next").stdout
    parts = ("--blade", "stand-in", "--block", "stand-in")
    assert shell(path, "add-ski", "Second", *parts).returncode == 0
    taken = shell(path, "take", "2").stdout
    assert b"Queue: number 2" in taken
    assert b"Danger: STAND-IN BLADE AND BLOCK: turns are approximate" in shell(path, "next").stdout


def test_a_round_that_is_carried_on_is_in_no_queue_twice_and_on_no_card(commands: Commands) -> None:
    """Its bolts are loose: the card of the setting before does not say released any longer."""
    commands.run("take", "Heron 67")
    commands.run("done")
    commands.run("done")
    commands.run("carry", "all")
    card = "\n".join(commands.run("card", "Heron 67"))
    assert "Released by" not in card
    assert "NOT RELEASED, do not ride" in card
    for words in (("queue-ski", "Heron 67"), ("queue-ski", "Heron 67", "--recheck")):
        assert "a round is open there" in commands.refused(*words)


# -- what came in meanwhile ------------------------------------------------------------------------


def between(
    monkeypatch: pytest.MonkeyPatch, book: Path, act: Callable[[Shop, JobView], object]
) -> None:
    """Let another bench act just after a command has read its ski."""
    read_view, once = OpenBook.view, []

    def view(self: OpenBook, job_id: str) -> JobView:
        found = read_view(self, job_id)
        if not once:
            once.append(job_id)
            with open_shop(book, "ADA") as other:
                act(other, other.view(job_id))
        return found

    monkeypatch.setattr(OpenBook, "view", view)


@pytest.mark.parametrize(
    ("stage", "words"),
    [("turning", ("done",)), ("within", ("read", "1", "2.4600")), ("within", ("accept",)),
     ("sign-off", ("sign-off",)), ("sign-off", ("sign-off", "--second", "ZZ")),
     ("target", ("take-back",)), ("target", ("aim", "1", "+.010")), ("final check", ("tick", "1"))],
)  # fmt: skip
def test_a_command_is_refused_by_what_came_in_meanwhile(
    book: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch,
    stage: str, words: tuple[str, ...],
) -> None:  # fmt: skip
    """Status 2, one line of who did what, and nothing is kept."""
    with open_shop(book) as shop:
        view = walk_to(shop, ski(shop, "Heron 66"), heron(ski(shop, "Heron 66")), stage)
        shop.remember("job", view.job.id)
    between(monkeypatch, book, lambda s, v: s.set_aside(v, "a cracked bolt"))
    said = Commands(book, capsys).refused(*words)
    assert re.search(r"Heron 66: ADA set it aside: a cracked bolt at \d\d:\d\d: look at it", said)
    with open_shop(book) as shop:
        assert [f.id for f in shop.view(view.job.id).facts][:-1] == [f.id for f in view.facts]


def test_two_of_the_same_command_at_once_count_one_step(
    book: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second says what the first did: a stud's turn is not passed over."""
    with open_shop(book) as shop:
        view = walk_to(shop, ski(shop, "Heron 66"), heron(ski(shop, "Heron 66")), "turning")
        shop.remember("job", view.job.id)
    between(monkeypatch, book, lambda s, v: s.step_done(v))
    assert "ADA loosened the clamp bolts at" in Commands(book, capsys).refused("done")
    with open_shop(book) as shop:
        assert shop.view(view.job.id).progress.step == 1


def test_a_turn_is_taken_back_with_a_word_on_the_stud(
    book: Path, run: Callable[..., Said], refused: Callable[..., str]
) -> None:
    """Without one nothing is taken back; the message has words, and the book keeps the answer."""
    with open_shop(book) as shop:
        view = walk_to(shop, ski(shop, "Heron 66"), heron(ski(shop, "Heron 66")), "turning")
        shop.remember("job", view.job.id)
        view = shop.step_done(shop.step_done(view))
    said = refused("take-back")
    assert re.search(r"turned the \w+ stud .*--turned-back .*--not-turned ", said)
    assert view_of(book, "Heron 66").progress.step == 2
    done = fact(run("take-back", "--turned-back"), "Done")
    assert re.match(r"taken back: turned the \w+ stud \S+ turns? (in|out); the stud was", done)
    assert "turned_back" in [getattr(f, "kind", "") for f in view_of(book, "Heron 66").facts]
    assert "no record of a turn" in refused("take-back", "--not-turned")
    assert fact(run("take-back"), "Done") == "taken back: loosened the clamp bolts."
    assert "the stud was turned back by hand" in "\n".join(run("history", "Heron 66"))
