"""By command what could be done on the screen alone: base, offsets, studies, checks, sheets."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from pathlib import Path

import pytest

from tests.by_command import Commands, Refused, Run, fact
from tests.shop import heron, open_shop, ski, walk_to
from workbench.work.exchange.csv_files import HISTORY_COLUMNS, cell_text
from workbench.work.job.base_curve import latest_curve
from workbench.work.job.job_view import JobView
from workbench.work.job_text.view_words import trouble_words
from workbench.work.roster.ski_sheet import correct_ski
from workbench.work.study import offsets, studies


def view_of(book: Path, name: str) -> JobView:
    with open_shop(book) as shop:
        return ski(shop, name)


# -- a target out of reach -------------------------------------------------------------------------


@pytest.mark.parametrize(("value", "unit"), [("+1.0", "in"), ("+25.4", "mm")])
def test_a_target_out_of_reach_is_kept_and_told_with_status_3(
    run: Run, book: Path, commands: Commands, value: str, unit: str
) -> None:
    """What was done stays on standard output; the reason, in the unit asked for, on the other."""
    status, out, err = commands.all_of(
        "aim", "--ski", "LK64/22", "depth", value, "--unit", unit, "--yes"
    )
    assert status == 3
    lines = out.splitlines()
    assert fact(lines, "Done").startswith("target kept: depth")
    assert fact(lines, "Next").startswith("The target is out of reach")
    assert fact(lines, "Command") == "quarterturn aim --ski LK64/22 METHOD VALUE"
    limit = {"in": "3.4410 in; it could be ", "mm": "87.40 mm; it could be "}[unit]
    assert err.startswith("quarterturn: the target is out of the blade's reach: ")
    assert limit in err
    assert limit in fact(lines, "Warning")
    assert err.count("\n") == 1
    view = view_of(book, "Lark 64")
    assert view.unreachable is not None
    assert trouble_words(view) == trouble_words(view, "mm")
    assert fact(run("next", "LK64/22"), "Next").startswith("The target is out of reach")


def accepted_once(book: Path, name: str) -> None:
    """Accept a target as benches did that looked at no reach."""
    with open_shop(book) as shop:
        shop.book.add_mark(ski(shop, name).job.id, "KV", "aimed")


def test_a_target_out_of_reach_is_not_accepted(
    run: Run, refused: Refused, commands: Commands, book: Path
) -> None:
    """Refused with its reason and status 3; the target stays, and another one is accepted."""
    assert commands.all_of("aim", "--ski", "LK64/22", "1", "+1.0", "--yes")[0] == 3
    before = view_of(book, "Lark 64").facts
    err = refused("accept", "--ski", "LK64/22", status=3)
    assert "the target is out of the blade's reach" in err
    assert "3.4410 in; it could be" in err
    assert view_of(book, "Lark 64").facts == before
    run("aim", "--ski", "LK64/22", "1", "+.010")
    assert fact(run("accept", "--ski", "LK64/22"), "Done") == "target accepted."


def test_done_is_refused_with_status_3_until_a_target_in_reach_is_given(
    run: Run, refused: Refused, commands: Commands, book: Path
) -> None:
    """As 'turns' says it; opening the target again is no target yet, and so done with status 0."""
    assert commands.all_of("aim", "--ski", "LK64/22", "1", "+1.0", "--yes")[0] == 3
    accepted_once(book, "Lark 64")
    err = refused("done", "--ski", "LK64/22", status=3)
    assert "the target is out of the blade's reach" in err
    assert "3.4410 in; it could be" in err
    assert fact(run("next", "LK64/22"), "Command").startswith("quarterturn aim --ski LK64/22 --a")
    run("aim", "--ski", "LK64/22", "--again")
    run("aim", "--ski", "LK64/22", "1", "+.010")
    run("accept", "--ski", "LK64/22")
    assert fact(run("done", "--ski", "LK64/22"), "Done").startswith("Loosen")


def test_kept_as_it_stands_a_target_out_of_reach_is_no_longer_aimed_at(
    run: Run, commands: Commands, book: Path
) -> None:
    """The job goes on to its wing and checks by their own commands."""
    assert commands.all_of("aim", "--ski", "Lark 64", "1", "+1.0", "--yes")[0] == 3
    accepted_once(book, "Lark 64")
    said = run("accept", "--as-is", "--ski", "Lark 64")
    assert "out of reach" not in fact(said, "Next")


# -- the way back, and every method ----------------------------------------------------------------


def test_a_setting_of_the_history_becomes_the_target(
    run: Run, refused: Refused, book: Path
) -> None:
    """Every number of it, as 'history --settings' names it; a wrong one changes nothing."""
    at = ("aim", "--ski", "Heron 67", "--setting")
    assert "first, last, a number" in refused(*at, "99")
    said = run(*at, "first")
    assert fact(said, "Done").startswith("target: the setting 2026-")
    first = json.loads(run("history", "H67-003", "--settings", "--json")[0])["settings"][0]
    wanted = {line.method.name: line.target_mm for line in view_of(book, "Heron 67").lines}
    for value in first["values"]:
        assert wanted[value["method"]] == pytest.approx(value["mm"], abs=0.007)
    assert "one of --baseline" in refused(*at, "first", "--last")
    assert "at the stage 'target'" in refused("aim", "--ski", "Heron 66", "--setting", "1")


@pytest.mark.parametrize(("unit", "less"), [("in", "−0.1730 in"), ("mm", "−4.394 mm")])
def test_a_fin_is_said_by_every_method(run: Run, unit: str, less: str) -> None:
    """Both units; two methods of one quantity with their difference; pairs beside the outline."""
    run("pairs", "--ski", "2", "1", "--add", "6.936", "6.7635")
    run("pairs", "--ski", "2", "1", "--add", "7.001", "6.8280")
    lines = run("methods", "--ski", "Heron 67", "--unit", unit)
    assert fact(lines, "Method 1 reads").startswith("2.4835 in = 63.08 mm, u 0.0")
    assert fact(lines, "Method 1 reads").endswith("read in this round")
    assert fact(lines, "Method 4") == "length, flat"
    assert fact(lines, "Method 4 less length, tips") == less
    assert "rests on 2 pairs" in fact(lines, "Method 4 learned")


def test_a_fin_that_was_not_read_is_said_by_no_method(refused: Refused) -> None:
    assert "0 of 3 readings are taken" in refused("methods", "--ski", "Heron 66")


# -- the base's curve ------------------------------------------------------------------------------


def test_a_base_is_measured_used_and_struck_out(run: Run, refused: Refused, book: Path) -> None:
    """Measured is not used: readings are worked out by it on purpose alone; radius c^2/(8 h) + h/2
    (Machinery's Handbook, 31st edition, page 83)."""
    at = ("curve", "--ski", "1")
    said = run(*at, "--chord", "6", "--gap", ".028", "--from", "1")
    radius = 6**2 / (8 * 0.028) + 0.028 / 2
    assert f"radius {radius:.1f} " in fact(said, "Done")
    assert fact(said, "Warning").startswith("not the ski's base yet: quarterturn curve --ski H66")
    shown = run(*at)
    assert "apex at 4.0000 in" in fact(shown, "Base")
    assert fact(shown, "Worked out by").startswith("radius 160.0 in")
    assert fact(run(*at, "--unit", "mm"), "Worked out by").startswith("radius 4064 mm")
    before = view_of(book, "Heron 66").ski.base_radius_mm
    run(*at, "--use")
    after = view_of(book, "Heron 66").ski.base_radius_mm
    assert before != after == pytest.approx(radius * 25.4)
    assert len(run(*at)) == 1
    assert "a word or two" in refused(*at, "--strike")
    run(*at, "--strike", "--reason", "straightedge rocked")
    with open_shop(book) as shop:
        kept = shop.book.curves_of(after_ski := ski(shop, "Heron 66").ski.id)
        assert [c.struck.reason for c in kept if c.struck] == ["straightedge rocked"]
        assert latest_curve(shop, after_ski) is None
    assert "a curve measured first" in refused(*at, "--use")
    assert "a curve that was measured" in refused(*at, "--strike", "--reason", "x")


def test_three_depths_in_mm_and_a_hollow_base(run: Run, refused: Refused) -> None:
    """The same arc by either way; a hollow one is kept, and never the base of a reckoning."""
    at = ("curve", "--ski", "1", "--unit", "mm")
    depths = ("--depth", "0", "19.05", "--depth", "76.2", "18.3388", "--depth", "152.4", "19.05")
    assert fact(run(*at, *depths), "Done").startswith("measured: bulges, radius 408")
    hollow = run(*at, "--shape", "hollow", "--chord", "152 mm", "--gap", "0.7")
    assert "hollow, radius 4126 " in fact(hollow, "Done")
    assert "hollow" in refused(*at, "--use")


@pytest.mark.parametrize(
    ("words", "accepted"),
    [
        (("--gap", "x", "--chord", "6"), "gap: 'x'"),
        (("--gap", ".03"), "chord"),
        (("--chord", "6"), "--gap with it"),
        (("--from", "1"), "--gap with it"),
        (("--reason", "x"), "--strike with it"),
        (("--gap", "0", "--chord", "6", "--shape", "flat"), "bulge"),
        (("--depth", "0", ".7"), "three depths"),
        (("--use", "--strike"), "at a time"),
    ],
)
def test_a_curve_that_cannot_be_used_names_what_would(
    refused: Refused, book: Path, words: tuple[str, ...], accepted: str
) -> None:
    assert accepted in refused("curve", "--ski", "1", *words)
    with open_shop(book) as shop:
        assert latest_curve(shop, ski(shop, "Heron 66").ski.id) is None


# -- method offsets --------------------------------------------------------------------------------


def test_pairs_are_kept_shown_restated_and_struck_out(
    run: Run, refused: Refused, book: Path
) -> None:
    at = ("pairs", "--ski", "Heron 67")
    assert run(*at) == ["Two 1: length, tips to length, flat: 0 pairs"]
    run(*at, "1", "--add", "6.936", "6.7635")
    assert fact(run(*at, "1"), "Pairs").startswith("1 pair, difference −0.1725 in")
    said = run(*at, "1", "--add", "177.8254", "173.4312", "--unit", "mm")
    assert fact(said, "Learned").startswith("2 pairs, mean difference −4.38")
    assert fact(run(*at, "1"), "Learned").startswith("2 pairs, mean difference −0.172")
    back = run(*at, "1", "--turned", "--restate", "171.4mm", "--unit", "mm")
    assert fact(back, "Methods") == "length, flat to length, tips"
    assert fact(back, "Converted").startswith("171.40 mm by 'length, flat' is 175.79 by")
    struck = run(*at, "1", "--strike", "1", "--reason", "jaw in the slot")
    assert fact(struck, "Pair 1").endswith("struck: jaw in the slot")
    assert "2 or more" in refused(*at, "1", "--restate", "6.9")
    assert "not struck out" in refused(*at, "1", "--strike", "1", "--reason", "again")
    with open_shop(book) as shop:
        (two,) = offsets.choices(shop, ski(shop, "Heron 67"))
        assert [line.counts for line in offsets.pairs_of(shop, two)] == [False, True]


def test_pairs_offered_out_of_passes_are_taken_once(run: Run, refused: Refused, book: Path) -> None:
    """By number or all of them; what was taken is not offered again."""
    with open_shop(book) as shop:
        view = ski(shop, "Heron 66")
        (two,) = offsets.choices(shop, view)
        both = replace(view.ski, methods=(*view.ski.methods, two.second.id))
        shop.book.correct_ski(both, who="KV")
        view = shop.view(view.job.id)
        walk_to(shop, view, heron(view), "studs", ("", "", "", ""))
    run("pairs", "--ski", "2", "1", "--add", "6.936", "6.7635")
    at = ("pairs", "--ski", "1", "1")
    offered = [line for line in run(*at) if "; offered: " in line]
    assert len(offered) == 1
    number = offered[0].split(":")[0].removeprefix("Pair ")
    assert "its number, 1 to" in refused(*at, "--take", "77")
    assert "one that is offered" in refused(*at, "--take", "1")
    said = run(*at, "--take", number)
    assert fact(said, "Done") == "1 kept from rounds."
    assert "; counts, " in fact(said, f"Pair {number}")
    assert "both methods were read" in refused(*at, "--take", "all")


@pytest.mark.parametrize(
    ("words", "accepted"),
    [
        (("9",), "1 length, tips to length, flat"),
        (("--add", "6.9", "6.7"), "1 length, tips to length, flat"),
        (("1", "--add", "6.9", "flat"), "second: 'flat'"),
        (("1", "--strike", "4", "--reason", "x"), "none is kept"),
        (("1", "--reason", "x"), "--strike with it"),
        (("1", "--take", "all", "--strike", "1"), "at a time"),
    ],
)
def test_pairs_that_cannot_be_meant_name_what_can(
    refused: Refused, words: tuple[str, ...], accepted: str
) -> None:
    assert accepted in refused("pairs", "--ski", "Heron 67", *words)


# -- repeatability studies -------------------------------------------------------------------------

PLAN = (
    "study", "slow hour in May", "--plan", "--what", "depth, hole 2 back edge", "--near", "2.45",
    "--parts", "Heron 66; Tern 67", "--people", "KV JT", "--trials", "2",
)  # fmt: skip
OURS = ("study", "slow hour in May")


def test_a_study_is_planned_read_blind_and_answers(run: Run, book: Path) -> None:
    """Every turn by the command that the line before named; no earlier number is said."""
    said = run(*PLAN)
    assert fact(said, "Done") == "planned: 8 readings."
    number = fact(said, "Command").split()[2]
    for i in range(8):
        due = fact(said, "Next").removesuffix(" of 2.")
        said = run("study", number, "--read", f"245{i}0")
        assert fact(said, "Done") == f"kept: {due}."
        assert not any("245" in line for line in said)
    assert fact(said, "State") == "complete, 8 readings"
    assert run(*OURS)[1].startswith("This shop can honestly tell a change of ")
    with open_shop(book) as shop:
        view = studies.find_study(shop, "slow hour in May")
        assert [r.text for r in view.live] == [f"245{i}0" for i in range(8)]
        assert view.live[7].mm == pytest.approx(2.457 * 25.4)


def test_a_turn_is_said_plainly_and_for_a_script(run: Run) -> None:
    run(*PLAN)
    lines = run(*OURS, "--due")
    due = json.loads(run(*OURS, "--due", "--json")[0])["due"]
    assert fact(lines, "Next") == f"{due['person']} on {due['part']}, trial {due['trial']} of 2."
    assert fact(lines, "Command").endswith(" --read VALUE")


def test_any_reading_of_a_study_is_struck_out_unseen_and_its_turn_comes_again(
    run: Run, refused: Refused, book: Path
) -> None:
    """Numbers are listed once nobody has to read blind any more."""
    run(*PLAN)
    for i in range(3):
        run(*OURS, "--read", f"2.45{i}0")
    first = fact(run(*OURS, "--readings"), "Reading 1")
    assert first.endswith(": not shown while the test is read")
    taken = json.loads(run(*OURS, "--readings", "--json")[0])["taken"]
    assert [r["text"] for r in taken] == [None] * 3
    assert "a word or two" in refused(*OURS, "--strike-reading", "1")
    said = run(*OURS, "--strike-reading", "1", "--reason", "jaw on the bevel")
    assert fact(said, "Next").removesuffix(" of 2.") == first.split(":")[0]
    assert "not struck out yet" in refused(*OURS, "--strike-reading", "1", "--reason", "x")
    assert "1 to 3" in refused(*OURS, "--strike-reading", "4", "--reason", "x")
    back = run(*OURS, "--take-back")
    assert fact(back, "Done").endswith("; read it again.")
    for i in range(7):
        run(*OURS, "--read", f"2.45{i}5")
    lines = run(*OURS, "--readings")
    assert fact(lines, "Reading 1").endswith("2.4500 in; struck out: jaw on the bevel")
    assert fact(lines, "Reading 2").endswith(": 2.4510 in")
    with open_shop(book) as shop:
        view = studies.find_study(shop, OURS[1])
        assert (len(view.live), len(view.readings)) == (8, 10)


def test_a_study_takes_its_own_unit_and_asks_about_what_is_odd(run: Run, refused: Refused) -> None:
    run("study", "in mm", *PLAN[2:6], "62.3", *PLAN[7:], "--unit", "mm")
    ours = ("study", "in mm")
    assert "read in millimetres" in fact(run(*ours, "--due"), "Repeatability test 2")
    assert "a reading in millimetres" in refused(*ours, "--read", "2.45in")
    assert "--yes takes 8.2 mm" in refused(*ours, "--read", "8.2")
    assert fact(run(*ours, "--read", "8.2", "--yes"), "State").startswith("under way, 1")


def test_a_study_is_struck_out_and_takes_nothing_more(run: Run, refused: Refused) -> None:
    run(*PLAN)
    run(*OURS, "--strike-study", "--reason", "the wrong caliper")
    assert "struck out: the wrong caliper" in run("study")[1]
    assert "no reading is due" in refused(*OURS, "--read", "2.45")
    assert "not struck out yet" in refused(*OURS, "--strike-study", "--reason", "again")


@pytest.mark.parametrize(
    ("words", "accepted"),
    [
        (("study", "--due"), "its name before the option"),
        (("study", "nobody's", "--due"), "a test's name, or its number 1 to 1"),
        (("study", "1", "--what", "depth"), "--plan with it"),
        (("study", "1", "--yes"), "--read with it"),
        (("study", "1", "--due", "--take-back"), "at a time"),
        ((*PLAN[:-1], "1"), "trials"),
        ((*PLAN, "--unit", "mm", "--near", "wide"), "near: 'wide'"),
    ],
)
def test_a_study_that_cannot_be_meant_names_what_can(
    refused: Refused, words: tuple[str, ...], accepted: str
) -> None:
    assert accepted in refused(*words)


# -- checklists and torque notes -------------------------------------------------------------------


def test_checklists_are_shown_and_changed(run: Run, refused: Refused, book: Path) -> None:
    """By key or number; the clamp bolts stay last, whatever is asked."""
    lines = run("checks")
    assert fact(lines, "Received 1").startswith("edges: Blade edges looked at")
    assert fact(lines, "Final 3").endswith("; with a wing only")
    said = run("checks", "final", "--add", "Wing is straight", "--after", "block")
    assert fact(said, "Final 3") == "wing-is-straight: Wing is straight"
    assert fact(run("checks", "final", "--add", "Tags off"), "Final 5") == "tags-off: Tags off"
    assert fact(run("checks", "final"), "Final 6").startswith("clamp: ")
    moved = run("checks", "received", "--move", "3", "up")
    assert fact(moved, "Received 2").startswith("hardware: ")
    worded = run("checks", "received", "--reword", "EDGES", "Edges looked at")
    assert fact(worded, "Received 1") == "edges: Edges looked at"
    run("checks", "final", "--remove", "tags-off")
    assert "clamp bolts stay" in refused("checks", "final", "--remove", "clamp")
    assert "clamp bolts stay" in refused("checks", "final", "--move", "clamp", "up")
    run("take", "Heron 66")
    assert fact(run("next"), "Next").startswith("Received check, 1 of 3: Edges looked at")
    assert [i.key for i in view_of(book, "Heron 66").checklist] == ["edges", "hardware", "cracks"]


def test_torque_notes_are_the_shops_to_word_and_go_back(run: Run, refused: Refused) -> None:
    shipped = fact(run("checks", "torque"), "Torque 2")
    said = run("checks", "torque", "--reword", "block", "crosswise, in three rounds")
    assert (
        fact(said, "Torque 2")
        == "block: block screws: crosswise, in three rounds (the shop's words)"
    )
    assert fact(run("checks", "torque", "--remove", "2"), "Torque 2") == shipped
    assert "1 clamp · 2 block" in refused("checks", "torque", "--reword", "bolts", "x")


@pytest.mark.parametrize(
    ("words", "accepted"),
    [
        (("--add", "x"), "received, final, torque"),
        (("torque", "--add", "x"), "received or final"),
        (("final", "--reword", "1", ""), "1 to 120 characters"),
        (("final", "--remove", "bolts"), "1 studs · 2 block"),
        (("final", "--move", "1", "sideways"), "up or down"),
        (("received", "--move", "1", "up"), "a place within the list"),
        (("received", "--remove", "1", "--after", "2"), "--add with it"),
        (("received", "--add", "x", "--remove", "2"), "at a time"),
    ],
)
def test_a_change_of_the_checks_that_cannot_be_names_what_can(
    run: Run, refused: Refused, words: tuple[str, ...], accepted: str
) -> None:
    before = run("checks")
    assert accepted in refused("checks", *words)
    assert run("checks") == before


# -- a ski's sheet ---------------------------------------------------------------------------------


def test_a_sheet_is_corrected_and_every_old_version_stays(
    run: Run, refused: Refused, book: Path
) -> None:
    said = run("correct-ski", "H66-014", "--rider", "Ines Tavary-Holm", "--size", "66")
    assert fact(said, "Done") == "sheet corrected: rider, size."
    assert fact(said, "Rider") == "Ines Tavary-Holm"
    run("correct-ski", "h66-014", "--serial", "H66-041", "--wing", "yes", "--name", "Heron 66 b")
    run("correct-ski", "H66-041", "--serial", "")
    with open_shop(book) as shop:
        now = ski(shop, "Heron 66 b").ski
        assert (now.rider, now.size, now.serial, now.has_wing) == (
            "Ines Tavary-Holm", "66", "", True,
        )  # fmt: skip
        assert [v.ski.serial for v in shop.book.ski_versions(now.id)] == [
            "H66-014", "H66-014", "H66-041", "",
        ]  # fmt: skip
    history = "\n".join(run("history", "Heron 66 b", "--kind", "notes"))
    assert "rider 'Ines Tavary' to 'Ines Tavary-Holm', size '' to '66'" in history
    assert "serial 'H66-041' to ''" in history


@pytest.mark.parametrize(
    ("words", "accepted"),
    [
        (("H66-014",), "written down otherwise"),
        (("H66-014", "--name", "Heron 66"), "written down otherwise"),
        (("H66-014", "--name", " "), "a name that is not empty"),
        (("H66-014", "--wing", "maybe"), "yes or no"),
        (("Gull 99", "--rider", "x"), "a ski's serial or name"),
        (("H66-014", "--note", "x" * 1001), "at most 1000"),
    ],
)
def test_a_correction_that_cannot_be_kept_names_what_can(
    refused: Refused, book: Path, words: tuple[str, ...], accepted: str
) -> None:
    assert accepted in refused("correct-ski", *words)
    with open_shop(book) as shop:
        assert len(shop.book.ski_versions(ski(shop, "Heron 66").ski.id)) == 1


def test_no_ski_takes_the_name_rider_and_serial_of_another(refused: Refused, book: Path) -> None:
    with open_shop(book) as shop:
        other = ski(shop, "Heron 67").ski
    err = refused(
        "correct-ski", "H66-014", "--name", other.name, "--rider", other.rider, "--serial",
        other.serial,
    )  # fmt: skip
    assert "are known" in err


def test_a_correction_keeps_what_another_bench_corrected_meanwhile(book: Path) -> None:
    """Each field by itself: the base of the one and the rider of the other are both in force."""
    with open_shop(book) as shop:
        seen = ski(shop, "Heron 66").ski
        correct_ski(shop, seen.id, {"model": "Heron II"})
        now = correct_ski(shop, seen.id, {"rider": "Somebody Else"})
        assert (now.model, now.rider) == ("Heron II", "Somebody Else")


# -- history as CSV --------------------------------------------------------------------------------


def test_a_skis_history_goes_out_as_csv(
    run: Run, refused: Refused, book: Path, tmp_path: Path
) -> None:
    """One row for each entry of the timeline, the struck one with its reason; no formula."""
    run("take", "Heron 67")
    run("note", "=1+1 on the base")
    file = tmp_path / "heron.csv"
    run("export-csv", "history", "--ski", "H67-003", "--to", str(file))
    header, *body = csv.reader(io.StringIO(file.read_bytes().decode("utf-8-sig"), newline=""))
    assert tuple(header) == HISTORY_COLUMNS
    found = [dict(zip(header, row, strict=True)) for row in body]
    entries = json.loads(run("history", "H67-003", "--json")[0])["entries"]
    assert [row["id"] for row in found] == [entry["id"] for entry in entries]
    assert [cell_text(row["words"]) for row in found] == [entry["words"] for entry in entries]
    (struck,) = [row for row in found if row["struck_out"] == "yes"]
    assert struck["reason"] == "jaw stood on the bevel"
    assert struck["struck_by"]
    assert {row["ski"] for row in found} == {"Heron 67"}
    assert not any(cell.startswith(("=", "+", "@")) for row in body for cell in row)
    assert "one ski alone" in refused("export-csv", "queue", "--ski", "H67-003")
    assert "a ski's serial" in refused("export-csv", "history", "--ski", "Gull 99")


def test_history_words_stand_in_the_shops_unit(run: Run, tmp_path: Path) -> None:
    run("settings", "unit", "mm")
    file = tmp_path / "heron.csv"
    run("export-csv", "history", "--ski", "H67-003", "--to", str(file))
    text = file.read_text("utf-8-sig")
    assert "depth, hole 2 back edge  62.84 mm (typed 2.4740 in)" in text
    assert len(text.splitlines()) > 5


# -- how far a number may be from the usual --------------------------------------------------------


def test_a_change_outside_the_usual_is_asked_about_like_a_value(
    run: Run, refused: Refused, commands: Commands, book: Path
) -> None:
    """Without --yes nothing is kept; one that this blade cannot read is refused with it too."""
    at = ("aim", "--ski", "Heron 67", "tail")
    run("aim", "--ski", "Heron 67", "--again")
    before = view_of(book, "Heron 67").facts
    said = refused(*at, "+2.0")
    assert "outside the usual" in said
    assert "--yes takes 2." in said
    assert "this blade can read" in refused(*at, "+9.0", "--yes")
    assert view_of(book, "Heron 67").facts == before
    commands.all_of(*at, "+2.0", "--yes")
    line = view_of(book, "Heron 67").lines[1]
    assert line.target is not None
    assert (line.target.text, line.target.kind) == ("+2.0", "change")
