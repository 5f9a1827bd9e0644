"""What stands on the bench where there is little room: nothing broken, nothing that matters cut."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from rich.cells import cell_len

from tests.bench.screens import SIZES, bench
from tests.bench.test_hands import begin
from tests.shop import Fin, advance, demo_file, heron, open_shop, ski, walk_to
from workbench.bench.action_menu import CHOICES
from workbench.bench.draw.canvas import Area
from workbench.bench.draw.side_view import side_view
from workbench.bench.panels.next_line import (
    caution,
    keys_line,
    next_rows,
    next_words,
)
from workbench.bench.panels.panel_text import picture, target, warned_picture
from workbench.bench.panels.readings_panel import readings
from workbench.bench.panels.turns_panel import turns
from workbench.bench.screens.shop.queue_screen import item_row
from workbench.work.job.job_view import RosterLine
from workbench.work.job.shop import Shop
from workbench.work.roster.keys import SHIPPED

LEAST = (60, 18)
STAGES = ("studs", "target", "turning", "measuring", "within", "final check", "sign-off")


@pytest.mark.parametrize("stage", STAGES)
@pytest.mark.parametrize("width", [26, 36])
def test_no_row_of_a_panel_is_wider_than_its_panel(shop: Shop, stage: str, width: int) -> None:
    """A row too wide would be broken in the middle of a number and push the others down."""
    view = ski(shop, "Heron 66")
    walk_to(shop, view, heron(view), stage, ("-.070", "+.160", "-.060"))
    keys = begin(shop, stage)
    if stage == "turning":
        keys.type("\n")
    for unit in ("in", "mm"):
        if keys.hands.state.unit != unit:
            keys.hands.flip_unit()
        for draw in (readings, target, turns, picture):
            drawn = draw(keys.hands.state, width, 9)
            assert all(row.cell_length <= width for row in drawn.split("\n", allow_blank=True))


def test_all_six_keys_fit_the_smallest_bench() -> None:
    """Help, the last, is the one that a beginner needs."""
    assert keys_line(narrow=True).cell_length <= LEAST[0]
    assert keys_line(narrow=True).plain.rstrip().endswith("h help")


@pytest.mark.parametrize("size", [LEAST, (120, 18), (80, 20)])
async def test_readings_target_and_turns_stand_together_in_few_rows(
    tmp_path: Path, size: tuple[int, int]
) -> None:
    """While a stud is turned, every reading and how it stands to the target are in sight."""
    with open_shop(demo_file(tmp_path)) as shop:
        view = ski(shop, "Heron 66")
        view = walk_to(shop, view, heron(view), "turning")
        async with bench(shop, size) as screen:
            screen.app.hands.open(view.job.id)
            await screen.by_hand("\n")
            await screen.settle()
            shown = screen.shown()
            now = [f"{line.now_mm / 25.4:.4f} in" for line in view.lines if line.now_mm]
            assert len(now) == 3
            assert all(value in shown for value in now)
            assert "▼ under" in shown
            assert "= within" in shown
            assert "Turn the top rear stud" in re.sub(r"[\s┃]+", " ", shown)
            assert "clockwise" in shown
            assert "h help" in shown


async def test_digits_that_would_be_cut_are_written_small(tmp_path: Path) -> None:
    """Half a digit cannot be read."""
    with open_shop(demo_file(tmp_path)) as shop:
        view = ski(shop, "Heron 66")
        view = walk_to(shop, view, heron(view), "target")
        async with bench(shop, LEAST) as screen:
            screen.app.hands.open(view.job.id)
            await screen.settle()
            assert "type the target" in screen.shown()
            await screen.by_hand(".01")
            await screen.settle()
            assert "│ .01 " in screen.shown()
            assert "▀" not in screen.shown()


def test_a_narrow_picture_still_tells_how_much_it_enlarges(shop: Shop) -> None:
    """A difference drawn fifty times too large must say so."""
    keys = begin(shop, "turning")
    assert "difference ×" in picture(keys.hands.state, 36, 10).plain
    assert "wanted ╌╌ ×" in picture(keys.hands.state, 26, 10).plain


def test_a_long_caution_takes_a_second_line(shop: Shop) -> None:
    """Where a row is free, the caution is not cut."""
    keys = begin(shop, "target")
    keys.type("+.01")
    shown = " ".join(next_rows(keys.hands.state, 62)[0].plain.split())
    assert "and a qualified technician come first." in shown


FAR = ("+.39", "", "")
"""A change of depth that tilts the blade oddly and runs a stud off its edge."""

TILTED = "the targets ask for a tilt of −5.56°: that is odd, look at them again"
OFF_EDGE = "tail stud: at the target it touches beyond the end of its edge"


def flat(shown: str) -> str:
    """Return the right half of what is shown, as one line."""
    rows = (re.split("[│╮╯]│", row)[-1].strip("│ ") for row in shown.splitlines())
    return re.sub(r"\s+", " ", " ".join(rows))


def test_warnings_have_room_before_what_is_a_figure(shop: Shop) -> None:
    """At 80x24 both are whole, the first turn due and large; what to expect stays where it can."""
    view = ski(shop, "Heron 66")
    walk_to(shop, view, heron(view), "turning", FAR)
    keys = begin(shop, "turning")
    keys.type("\n")
    for height in (18, 15, 14):
        drawn = turns(keys.hands.state, 36, height)
        shown = flat(drawn.plain)
        assert len(drawn.split("\n", allow_blank=True)) <= height
        assert f"? {TILTED}" in shown
        assert f"!! {OFF_EDGE}" in shown
        for name in ("depth, hole 2", "tail, upper line", "length, tips"):
            assert name in shown or height < 16


@pytest.mark.parametrize("width", [26, 36])
@pytest.mark.parametrize("height", range(3, 22))
def test_a_warning_never_vanishes_without_a_word(shop: Shop, width: int, height: int) -> None:
    """What cannot stand is counted, and the key that shows it is named."""
    keys = begin(shop, "target")
    keys.type("+.39\n")
    keys.yes()  # so far from its reading it is asked about
    for _ in range(3):
        for draw in (turns, warned_picture):
            drawn = draw(keys.hands.state, width, height)
            rows = drawn.split("\n", allow_blank=True)
            assert len(rows) <= height
            assert all(row.cell_length <= width for row in rows)
            shown = flat(drawn.plain)
            whole = f"? {TILTED}" in shown, f"!! {OFF_EDGE}" in shown
            if not all(whole):
                assert rows[-1].plain.endswith("more: h")
        keys.type("\n")


@pytest.mark.parametrize("size", [LEAST, (80, 24)])
async def test_help_shows_every_warning(tmp_path: Path, size: tuple[int, int]) -> None:
    """The key that a cut row names shows the rest at once, without scrolling; at the target too."""
    with open_shop(demo_file(tmp_path)) as shop:
        view = ski(shop, "Heron 66")
        view = walk_to(shop, view, heron(view), "target")
        async with bench(shop, size) as screen:
            screen.app.hands.open(view.job.id)
            await screen.by_hand("+.39\n")
            await screen.settle()
            await screen.by_hand("+")
            await screen.settle()
            assert screen.view.stage == "target"
            assert screen.app.hands.state.shown_side == "view"
            told = flat(screen.shown())
            assert f"? {TILTED}" in told or "more: h" in told
            await screen.by_hand("\n\n\n")
            await screen.settle()
            assert screen.view.stage == "turning"
            shown = screen.shown()
            assert f"? {TILTED}" in flat(shown)
            assert "!! tail stud" in shown
            figures = re.findall(r"(depth, h|tail, u|length, t)\S* .*\d\.\d{4} +│$", shown, re.M)
            assert len(figures) == 3 or size == LEAST, "the warnings have room before them"
            await screen.by_hand("h")
            await screen.settle()
            told = re.sub(r"[\s│]+", " ", screen.shown())
            assert TILTED in told
            assert OFF_EDGE in told


SHARP = "A fin is sharp"


@pytest.mark.parametrize("size", [LEAST, (80, 24)])
async def test_the_caution_stays_where_the_hand_is(tmp_path: Path, size: tuple[int, int]) -> None:
    """After the last reading too, beside what was kept and what to do now."""
    with open_shop(demo_file(tmp_path)) as shop:
        view = ski(shop, "Heron 66")
        fin = heron(view)
        view = walk_to(shop, view, fin, "as received")
        async with bench(shop, size) as screen:
            screen.app.hands.open(view.job.id)
            for line in view.lines:
                await screen.by_hand(f"{fin.text(line)}\n")
            await screen.settle()
            shown = screen.shown()
            assert screen.view.stage == "studs"
            assert SHARP in shown
            assert "✓ kept: length, tips 7.0" in shown
            assert "Enter when they do." in re.sub(r"[\s┃]+", " ", shown)


def test_the_wing_stands_beside_a_sharp_edge(shop: Shop) -> None:
    """So the caution there names it."""
    view = ski(shop, "Heron 67")
    fin = Fin(view, 0.690, -1.012, -0.10)
    view = walk_to(shop, view, fin, "wing", ("+.008", "+.012", ""))
    keys = begin(shop, "waiting")
    keys.hands.open(view.job.id)
    assert SHARP in next_rows(keys.hands.state, 58)[0].plain


@pytest.mark.parametrize("size", [LEAST, (80, 24)])
async def test_help_scrolls_to_its_end(tmp_path: Path, size: tuple[int, int]) -> None:
    """By the keys that its frame names; what wraps stays beside its key."""
    with open_shop(demo_file(tmp_path)) as shop:
        async with bench(shop, size) as screen:
            await screen.by_hand("h")
            await screen.settle()
            first = screen.shown()
            assert "Where you are" in first
            assert not re.search(r"^│ [a-z]", first, re.M)
            for _ in range(100):
                await screen.pilot.press("down")
            await screen.settle()
            assert "The maker's instructions come first." in re.sub(r"[\s│]+", " ", screen.shown())
            await screen.by_hand("h")
            assert len(screen.app.screen_stack) == 1


@pytest.mark.parametrize("size", [LEAST, (80, 24)])
async def test_the_wings_screws_can_be_read_to_the_last(
    tmp_path: Path, size: tuple[int, int]
) -> None:
    """Beside the readings, else on the help, which the panel names."""
    with open_shop(demo_file(tmp_path)) as shop:
        view = ski(shop, "Heron 67")
        fin = Fin(view, 0.690, -1.012, -0.10)
        view = walk_to(shop, view, fin, "wing", ("+.008", "+.012", ""))
        async with bench(shop, size) as screen:
            screen.app.hands.open(view.job.id)
            await screen.settle()
            assert "the maker's figure wins" in flat(screen.shown())
            if "read the angle once more." not in flat(screen.shown()):
                assert "… in full: h" in screen.shown()
                await screen.by_hand("h")
                await screen.settle()
                told = re.sub(r"[\s│]+", " ", screen.shown())
                assert "4 tighten: the screws by turns" in told
                assert "read the angle once more." in told


@pytest.mark.parametrize("size", [LEAST, (80, 24)])
async def test_a_warning_in_two_rows_leaves_the_caution(
    tmp_path: Path, size: tuple[int, int]
) -> None:
    """It goes on the frame below, back in its row with the next key, and nothing moves."""
    words = "the gauge block that was put to the caliper does not read what stands on it. " * 3
    with open_shop(demo_file(tmp_path)) as shop:
        view = ski(shop, "Heron 66")
        walk_to(shop, view, heron(view), "as received")
        async with bench(shop, size) as screen:
            screen.app.hands.open(view.job.id)
            await screen.settle()
            high = screen.app.query_one("#next").size.height
            screen.app.hands.say(words, "warn")
            await screen.settle()
            assert SHARP in screen.shown()
            assert "NEXT  Measure and type: depth" in screen.shown()
            assert "! the gauge block" in screen.shown()
            assert "… more: h" in screen.shown()
            assert "h help" in screen.shown()
            assert screen.app.query_one("#next").size.height == high
            assert str(screen.app.query_one("#next").border_subtitle).startswith(SHARP[:20])
            await screen.by_hand("h")
            told = re.sub(r"[\s│]+", " ", screen.shown())
            assert told.count("what stands on it") == 3
            screen.app.screen.dismiss()
            await screen.by_hand("2")
            await screen.settle()
            assert screen.app.query_one("#next").size.height == high
            assert not screen.app.query_one("#next").border_subtitle
            assert SHARP in screen.shown()


def test_no_row_below_is_too_wide(shop: Shop) -> None:
    """At every stage, whatever was said, the caution is there or is the step itself."""
    view = ski(shop, "Heron 66")
    fin = heron(view)
    keys = begin(shop, "waiting")
    for stage in ("waiting", "as received", *STAGES):
        view = walk_to(shop, view, fin, stage)
        keys.hands.open(view.job.id)
        for width in (58, 78, 118):
            for tone in ("warn", "done"):
                for words in ("", "kept", "a word or two " * 4, "a word or two " * 30):
                    keys.hands.say(words, tone)
                    drawn, below = next_rows(keys.hands.state, width)
                    rows = drawn.split("\n", allow_blank=True)
                    assert len(rows) <= 3
                    assert len(below) <= width - 2
                    assert all(row.cell_length <= width for row in rows)
                    careful = caution(keys.hands.state)
                    there = f"{drawn.plain}\n{below}"
                    assert careful[:40] in there or careful in next_words(keys.hands.state)


def test_a_reading_taken_shows_how_it_stands_beside_its_target_in_one_line(shop: Shop) -> None:
    """While the next one is typed there is a line for each: sign and word take the tolerance's."""
    view = ski(shop, "Heron 66")
    fin = heron(view)
    view = walk_to(shop, view, fin, "measuring")
    keys = begin(shop, "measuring")
    first = target(keys.hands.state, 36, 4).plain.splitlines()[0]
    keys.type(f"{fin.text(view.lines[0])}\n")
    after = target(keys.hands.state, 36, 4).plain.splitlines()
    assert "within" not in first
    assert after[0].endswith("unsure"), "a depth's uncertainty reaches past its tolerance"
    assert "within" not in after[1]


@pytest.mark.parametrize("size", [LEAST, (72, 20), (80, 24), (100, 30), (120, 36)])
async def test_every_row_of_the_sheet_is_whole_and_can_be_reached(
    tmp_path: Path, size: tuple[int, int]
) -> None:
    """One column where there is no room for two; what finds no room is scrolled to."""
    with open_shop(demo_file(tmp_path)) as shop:
        async with bench(shop, size) as screen:
            await screen.by_hand("/")
            await screen.settle()
            assert "then + ; Esc closes" in screen.shown()
            seen = set()
            for number in range(1, len(CHOICES) + 1):
                shown = screen.shown()
                for i, choice in enumerate(CHOICES, 1):
                    row = rf"[▸ ]{i:>2} {re.escape(choice.words)} +{SHIPPED[choice.action]} "
                    seen |= {i} if re.search(row, shown) else set()
                assert f"▸{number:>2} {CHOICES[number - 1].words}" in shown
                await screen.pilot.press("down")
                await screen.pilot.pause()
            assert len(seen) == len(CHOICES)
            screen.burst("2.4505\n")
            await screen.settle()
            assert "! 2.4505 " in screen.shown()
            assert "held as a note" in screen.shown()


async def test_a_comparison_can_be_read_to_its_last_stud(tmp_path: Path) -> None:
    """In one unit, with PgDn to what finds no room, and that key named."""
    with open_shop(demo_file(tmp_path)) as shop:
        for name in ("Heron 66", "Heron 67"):
            view = ski(shop, name)
            if name == "Heron 66":
                walk_to(shop, view, heron(view), "turning")
            async with bench(shop, LEAST) as screen:
                screen.app.hands.open(view.job.id)
                await screen.by_hand("oc")
                await screen.settle()
                first = screen.shown()
                assert " more: PgDn " in first
                assert "…" not in first
                unit = screen.app.hands.state.unit
                assert f"B−A {unit}" in first
                last = first
                while " more: PgDn " in last:
                    await screen.pilot.press("pagedown")
                    await screen.settle()
                    assert screen.shown() != last
                    last = screen.shown()
                    assert "…" not in last
                assert " above: PgUp " in last
                for stud in ("top front", "top rear", "tail"):
                    assert re.search(rf"  {stud}: .*exactly [+−]\d", last)
                await screen.by_hand("*")
                await screen.pilot.press("pageup", "pageup", "pageup")
                await screen.settle()
                assert screen.app.hands.state.unit != unit
                assert f"B−A {screen.app.hands.state.unit}" in screen.shown()


@pytest.mark.parametrize("size", SIZES)
async def test_no_stage_of_the_bench_cuts_a_word(shop: Shop, size: tuple[int, int]) -> None:
    """Every ski of the demo's day as it is, and one from received to signed off."""
    view = ski(shop, "Heron 66")
    fin, seen = heron(view), set()
    async with bench(shop, size) as screen:
        for line in shop.roster():
            screen.app.hands.open(line.job_id)
            await screen.pilot.pause(0.02)
            assert "…" not in screen.shown(), screen.shown()
        for _ in range(60):
            at = (view.stage, view.progress.step, len(view.progress.targets), view.due)
            if at not in seen and not view.checklist:
                seen.add(at)
                screen.app.hands.open(view.job.id)
                await screen.pilot.pause(0.02)
                assert "…" not in screen.shown(), screen.shown()
                assert not re.search(r"\b(in|mm) (in|mm)\b", screen.shown()), screen.shown()
            if view.stage == "signed off":
                break
            view = advance(shop, view, fin, ("+.010", "+.004", ""))
    assert len(seen) > 12


@pytest.mark.parametrize("width", [58, 78, 118])
def test_loose_bolts_are_never_cut_in_the_queue(width: int) -> None:
    """Whatever the ski and its rider are called, and whatever else there is to say."""
    line = RosterLine(
        "j1", "Heron 66 of the old hall", "Ines Tavary-Halloran of Bay", "in", "before noon",
        "measuring", 1, day="2026-11-25", loose=True, reason="waits for a bolt",
    )  # fmt: skip
    shown = item_row(line, marked=True, width=width, day="2026-11-25").plain
    assert "!! bolts loose" in shown
    assert cell_len(shown) <= width


@pytest.mark.parametrize("size", [(41, 10), (38, 12)])
def test_the_side_view_names_its_studs_and_the_one_to_turn_in_capitals(
    shop: Shop, size: tuple[int, int]
) -> None:
    """A narrow picture has their letters alone."""
    view = walk_to(shop, ski(shop, "Heron 66"), heron(ski(shop, "Heron 66")), "studs")
    named = side_view(view.rig, view.pose, None, Area(*size), lit="rear").canvas
    shown = named.plain()
    assert all(name in shown for name in ("top front", "TOP REAR", "tail")), shown
    narrow = side_view(view.rig, view.pose, None, Area(14, 8), lit="rear").canvas.plain()
    assert "top front" not in narrow
    assert "R" in narrow
