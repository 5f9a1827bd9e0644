"""A ski's history: its settings and what they are worth, its timeline, and striking rows out."""

from __future__ import annotations

import random
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import get_args

import pytest

from tests.shop import DAY, demo_file, heron, open_shop, read, ski, take_back, walk_to
from workbench.errors import InputError
from workbench.fin.pose.equations import Reading
from workbench.fin.pose.fit import fit_pose
from workbench.records.store import rows
from workbench.work.exchange import exchange
from workbench.work.exchange.csv_files import CsvWanted, csv_of
from workbench.work.history.history import (
    Setting,
    Slopes,
    load_history,
    readings_in,
    settings_in,
)
from workbench.work.history.rides import ride_rules_of
from workbench.work.history.series import series_of, span_of
from workbench.work.history.striking import consequences, strike_row
from workbench.work.history.timeline import (
    KIND_SIGNS,
    KINDS,
    Entry,
    EntryKind,
    Timeline,
    row_words,
    strikes_of,
    timeline_of,
    times_struck,
)
from workbench.work.job.entry import Typed
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.order.round_records import TAKEN_BACK
from workbench.work.trust.reading_budget import Taken, readings_of


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return demo_file(tmp_path)


@pytest.fixture
def shop(path: Path) -> Iterator[Shop]:
    with open_shop(path) as opened:
        yield opened


def settings_of(shop: Shop, ski_id: str) -> tuple[Setting, ...]:
    return settings_in(load_history(shop, ski_id))


def of(shop: Shop, name: str = "Heron 67") -> tuple[JobView, Timeline, tuple[Setting, ...]]:
    view = ski(shop, name)
    history = load_history(shop, view.ski.id)
    return view, timeline_of(history), settings_in(history)


def done(shop: Shop) -> JobView:
    """Return the job of the demo's first ski, signed off."""
    view = ski(shop, "Heron 66")
    return walk_to(shop, view, heron(view), "signed off")


def entry_of(timeline: Timeline, kind: type, last: bool = True) -> Entry:
    found = [e for e in timeline.entries if isinstance(e.row, kind) and e.struck is None]
    return found[-1 if last else 0]


# -- settings ----------------------------------------------------------------------------------


def test_each_job_gives_its_setting_as_received_and_as_left(shop: Shop) -> None:
    """Past jobs of the season give two, today's job, which has no round yet, gives one."""
    _, _, settings = of(shop)
    moments = [s.moment for s in settings]
    assert moments == ["received", "left"] * (len(moments) // 2) + ["received"]
    assert [s.at for s in settings] == sorted(s.at for s in settings)
    assert all(s.rating is None and s.wing is None for s in settings if s.moment == "received")
    assert [s.rating for s in settings if s.moment == "left"][:6] == [3, 3, 5, 2, 4, 3]


def test_a_setting_is_worth_what_the_bench_says_of_the_same_readings(shop: Shop) -> None:
    """Value and standard uncertainty, for every reading of every job in the day's queue."""
    seen = 0
    for job in shop.roster():
        view = shop.view(job.job_id)
        settings = [s for s in settings_of(shop, view.ski.id) if s.job_id == job.job_id]
        if not settings or settings[-1].pass_number != view.progress.pass_number:
            continue
        for line in (x for x in view.lines if x.latest):
            value = settings[-1].value(line.method_id)
            assert value is not None
            assert value.mm == pytest.approx(line.now_mm, rel=1e-12)
            assert value.u_mm == pytest.approx(line.u_mm, rel=1e-5)
            seen += 1
    assert seen >= 9


def test_slopes_by_one_step_are_those_of_a_fit_of_their_own(shop: Shop) -> None:
    """Random settings within a millimetre of each other, each also fitted alone."""
    view = ski(shop, "Heron 67")
    rig, rng = view.rig, random.Random(3)
    slopes = Slopes({line.method_id: rig for line in view.lines})
    for _ in range(40):
        taken = {
            line.method_id: Taken(line.method, (line.now_mm + rng.uniform(-1.0, 1.0),))
            for line in view.lines
            if line.now_mm is not None
        }
        alone = fit_pose(rig.blade, rig.base, readings_of(list(taken.values()), rig))
        assert list(slopes.of(taken).values()) == pytest.approx(
            [o.height_slope for o in alone.observations], abs=2e-3
        )


def test_struck_rows_and_jobs_do_not_count(shop: Shop) -> None:
    """A struck repeat leaves the mean; a struck job leaves no setting."""
    view = done(shop)
    before = settings_of(shop, view.ski.id)
    value = before[-1].values[0]
    extra = shop.book.add_fact(
        view.job.id,
        "KV",
        rows.Reading(
            method_id=value.method_id,
            pass_number=before[-1].pass_number,
            text="2.6",
            unit="in",
            mm=66.04,
        ),
    )
    assert settings_of(shop, view.ski.id)[-1].values[0].mm > value.mm
    shop.book.strike(extra.id, "jaw slipped", "KV")
    assert settings_of(shop, view.ski.id) == before
    shop.book.strike(view.job.id, "another ski", "KV")
    assert {s.job_id for s in settings_of(shop, view.ski.id)}.isdisjoint({view.job.id})


def test_readings_of_a_struck_pass_do_not_count(shop: Shop) -> None:
    """As on the bench: without its round, what was read after it belongs nowhere."""
    view = done(shop)
    passes = [f for f in view.facts if isinstance(f, rows.PassRow)]
    shop.book.strike(passes[-1].id, "never turned", "KV")
    left = settings_of(shop, view.ski.id)[-1]
    assert left.pass_number == len(passes) - 1 == shop.view(view.job.id).progress.pass_number


@pytest.mark.parametrize("mm", [-3.0, 0.0, 5000.0, 1e300])
def test_a_reading_no_caliper_gives_is_shown_and_not_reckoned_with(shop: Shop, mm: float) -> None:
    """Such as an import may bring: the timeline has it, the settings do not."""
    view = done(shop)
    before = settings_of(shop, view.ski.id)
    taken = rows.Reading(
        method_id=view.lines[0].method_id, pass_number=0, text="?", unit="mm", mm=mm
    )
    odd = shop.book.add_fact(view.job.id, "KV", taken)
    assert settings_of(shop, view.ski.id) == before
    history = load_history(shop, view.ski.id)
    entry = timeline_of(history).by_id(odd.id)
    assert entry is not None
    assert row_words(entry.row, history, "mm").startswith("depth, hole 2 back edge  ")


def test_a_pass_measured_in_part_does_not_stand_for_the_ski(shop: Shop) -> None:
    """While round 1 is being measured the setting in hand is still the one as received."""
    view = walk_to(shop, (v := ski(shop, "Heron 66")), fin := heron(v), "measuring")
    view = read(shop, view, view.lines[0], fin.text(view.lines[0]))
    last = settings_of(shop, view.ski.id)[-1]
    assert (last.job_id, last.moment, last.pass_number) == (view.job.id, "received", 0)
    for line in view.lines[1:]:
        view = read(shop, view, line, fin.text(line))
    last = settings_of(shop, view.ski.id)[-1]
    assert (last.moment, last.pass_number) == ("in hand", 1)


def test_a_ski_never_read_has_no_setting(shop: Shop) -> None:
    ski_row = replace(ski(shop, "Heron 66").ski, id="", name="New", serial="N1")
    new = shop.book.add_ski(ski_row)
    assert settings_of(shop, new.id) == ()
    history = load_history(shop, new.id)
    assert series_of(history, ()) == ()
    assert [e.kind for e in timeline_of(history).entries] == ["ski"]


def test_readings_zoomed_into_carry_the_uncertainty_of_one_reading(shop: Shop) -> None:
    """With one repeat a method that is the very u of the setting."""
    view, _, settings = of(shop)
    history = load_history(shop, view.ski.id)
    left = settings[1]
    by_id = {r.id: (mm, u) for r, mm, u in readings_in(history, left.job_id)}
    for value in left.values:
        assert by_id[value.readings[0].id] == pytest.approx((value.mm, value.u_mm), rel=1e-4)


# -- series ------------------------------------------------------------------------------------


def test_series_hold_settings_struck_readings_targets_and_ratings(shop: Shop) -> None:
    """One for each method and one for the wing; the struck reading is marked and has no bar."""
    view, _, settings = of(shop)
    history = load_history(shop, view.ski.id)
    series = series_of(history, settings)
    assert [s.title for s in series] == [x.method.name for x in view.lines] + ["wing"]
    struck = [p for s in series for p in s.points if p.mark == "struck"]
    assert [(p.expanded, round(p.value / 25.4, 4)) for p in struck] == [(0.0, 0.628)]
    depth = series[0]
    assert len(depth.live) == len(settings)
    assert all(p.expanded > 0 for p in depth.live)
    assert [p.rating for p in depth.points if p.rating is not None] == [3, 3, 5, 2, 4, 3]
    assert all(b.high > b.low for b in depth.bands)
    assert depth.bands[-1].end is None
    first, last = span_of(series)
    assert first == min(p.when for p in depth.points)
    assert last == max(p.when for s in series for p in s.points)
    assert {p.value for p in series[-1].points} == {7.5, 8.0}


def test_a_job_zoomed_into_shows_every_reading(shop: Shop) -> None:
    view, _, settings = of(shop)
    history = load_history(shop, view.ski.id)
    job = next(j for j in history.jobs if any(f.struck for f in j.facts))
    tail = next(s for s in series_of(history, settings, job.job.id) if "tail" in s.title)
    method = view.lines[1].method_id
    taken = [f for f in job.facts if isinstance(f, rows.Reading) and f.method_id == method]
    marks = ["struck" if f.struck else "reading" for f in taken]
    assert [p.mark for p in tail.points] == marks
    assert marks.count("struck") == 1


# -- timeline ----------------------------------------------------------------------------------


def test_everything_done_to_a_ski_is_in_its_timeline_in_order(shop: Shop) -> None:
    """Every fact of every job, the sheet, its correction, a curve and a pair, by their ids."""
    view = done(shop)
    book, methods = shop.book, [line.method_id for line in view.lines]
    book.correct_ski(replace(view.ski, rider="Somebody Else"), who="AB")
    book.add_entry(
        "KV",
        rows.Curve(
            ski_id=view.ski.id,
            kind="sagitta",
            text="0.031",
            unit="in",
            from_x_mm=0.0,
            to_x_mm=150.0,
            sagitta_mm=0.79,
            radius_mm=3560.0,
            apex_mm=75.0,
        ),
    )
    book.add_entry(
        "KV",
        rows.Pair(
            ski_id=view.ski.id,
            method_id=methods[0],
            text="2.45",
            unit="in",
            mm=62.23,
            other_method_id=methods[1],
            other_text="20 mm",
            other_unit="mm",
            other_mm=20.0,
        ),
    )
    _, timeline, _ = of(shop, "Heron 66")
    ids = [e.row.id for e in timeline.entries]
    facts = [f.id for h in book.history_of_ski(view.ski.id) for f in h.facts]
    assert ids == sorted(ids)
    assert set(facts) <= set(ids)
    assert len(ids) == len(facts) + 4
    said = [row_words(e.row, timeline.history, "in") for e in timeline.entries[-3:]]
    assert said[0] == "ski's sheet corrected: rider 'Ines Tavary' to 'Somebody Else'"
    assert said[1].startswith("the base measured by sagitta: radius 140.1575 in")
    assert said[2].endswith("and tail, upper line  0.7875 in (typed 20 mm)")


def test_filters_part_the_timeline_by_kind(shop: Shop) -> None:
    """No entry is in two kinds but for the struck ones, and each has a sign and a word."""
    _, timeline, _ = of(shop)
    parts = [timeline.shown(kind) for kind in KINDS if kind not in ("all", "struck")]
    assert sum(map(len, parts)) == len(timeline.entries) == len(timeline.shown("all"))
    struck = timeline.shown("struck")
    assert [e.row.struck.reason for e in struck if e.row.struck] == ["jaw stood on the bevel"]
    assert set(KIND_SIGNS) == {*get_args(EntryKind), "struck"}
    assert "".join(plain for _, plain in KIND_SIGNS.values()).isascii()
    assert len(set(KIND_SIGNS.values())) == len(KIND_SIGNS)


def test_find_looks_through_words_who_reason_and_both_units(shop: Shop) -> None:
    """Every word must be there, in any order and any case."""
    _, timeline, _ = of(shop)
    assert len(timeline.shown("all", "BEVEL jaw")) == 1
    assert timeline.shown("all", "bevel nowhere") == ()
    value = next(e.row for e in timeline.entries if isinstance(e.row, rows.Reading))
    for text in (value.text, f"{value.mm:.2f}"):
        assert value.id in {e.row.id for e in timeline.shown("readings", text)}
    assert timeline.shown("all")[::-1] == timeline.shown("all", newest_first=False)


def test_what_was_typed_stays_visible_beside_the_bench_s_unit(shop: Shop) -> None:
    """The bench's unit first; typed text where it reads differently; never without its method."""
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "as received")
    shop.take_reading(view, view.lines[0], Typed("62.4", "mm", 62.4))
    _, timeline, _ = of(shop, "Heron 66")
    row = entry_of(timeline, rows.Reading).row
    said = row_words(row, timeline.history, "in")
    assert said == "depth, hole 2 back edge  2.4565 in (typed 62.4 mm) · as received"
    assert "62.40 mm (typed 62.4 mm)" in row_words(row, timeline.history, "mm")


def test_text_from_people_is_written_out_in_the_words(shop: Shop) -> None:
    """An escape sequence in a note acts on nothing."""
    view = ski(shop, "Heron 66")
    shop.note(view, "note", "\x1b[2J[red]x")
    _, timeline, _ = of(shop, "Heron 66")
    assert row_words(timeline.entries[-1].row, timeline.history, "in") == "note: \\x1b[2J[red]x"


def test_what_replaced_a_struck_reading_is_named(shop: Shop) -> None:
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "as received")
    view = read(shop, view, view.lines[0], "2.4")
    wrong = view.lines[0].latest[0]
    taken = rows.Reading(method_id=wrong.method_id, pass_number=0, text="2.45", unit="in", mm=62.23)
    shop.book.correct_reading(wrong.id, "AB", "misread", taken)
    _, timeline, _ = of(shop, "Heron 66")
    entry = timeline.by_id(wrong.id)
    assert entry is not None
    said = "; ".join(strikes_of(entry, timeline, "in"))
    assert said.startswith("struck out by AB 20")
    assert "misread; in its place: depth, hole 2 back edge  2.4500 in (typed 2.45 in)" in said


# -- striking ----------------------------------------------------------------------------------


def test_a_row_struck_on_two_benches_says_so_with_both_reasons(shop: Shop, tmp_path: Path) -> None:
    """In the timeline, in a search, as CSV; this bench's own strike stands first."""
    (tmp_path / "b").mkdir()
    reading = ski(shop, "Stilt 65").facts[3]
    assert isinstance(reading, rows.Reading)
    with open_shop(demo_file(tmp_path / "b"), who="ML") as other:
        shop.book.strike(reading.id, "jaw tilted", "KV")
        other.book.strike(reading.id, "wrong caliper", "ML")
        exchange.export_book(other, str(tmp_path / "theirs.json"))
    exchange.take_in(shop, str(tmp_path / "theirs.json"))
    _, timeline, _ = of(shop, "Stilt 65")
    entry = timeline.by_id(reading.id)
    assert entry is not None
    assert entry.struck is not None
    assert times_struck(entry.struck) == "struck twice"
    said = "; ".join(strikes_of(entry, timeline, "in"))
    assert re.fullmatch(
        r"struck out by KV [-0-9]+ [0-9:]+: jaw tilted; "
        r"on another bench too by ML [-0-9]+ [0-9:]+: wrong caliper", said,
    )  # fmt: skip
    assert timeline.shown("all", "twice caliper ML") == (entry,)
    for kind in ("readings", "history"):
        text = b"".join(csv_of(shop, CsvWanted(kind, "S-65-101"))).decode()
        assert "jaw tilted; on another bench by ML: wrong caliper" in text


def test_what_was_felt_stands_in_the_words_of_the_shops_list(shop: Shop) -> None:
    """Which a search finds too; what the list no longer has stands by its key."""
    view = done(shop)
    first, second = ride_rules_of(shop).complaints[:2]
    felt = (first.key, second.key, "lost-its_bite")
    note = shop.book.add_fact(view.job.id, "KV", rows.RideNote(text="", complaints=felt, rating=2))
    _, timeline, _ = of(shop, "Heron 66")
    said = row_words(note, timeline.history, "in")
    assert said == f"rated 2 of 5 · {first.words}, {second.words}, lost its bite"
    found = timeline.shown("ride notes", first.words)
    assert [e.row.id for e in found] == [note.id]


def test_a_list_that_cannot_be_read_does_not_hide_the_history(shop: Shop) -> None:
    view = done(shop)
    note = shop.book.add_fact(view.job.id, "KV", rows.RideNote(text="", complaints=("slides-out",)))
    shop.book.set_setting("ride_rules", "complaints = 3")
    _, timeline, _ = of(shop, "Heron 66")
    assert row_words(note, timeline.history, "in") == "slides out"


def test_striking_a_sign_off_says_before_that_the_job_opens_again(shop: Shop) -> None:
    """Said before and nothing changed by saying it; then it is so, and both are readable."""
    view = done(shop)
    _, timeline, _ = of(shop, "Heron 66")
    entry = entry_of(timeline, rows.SignOff)
    said = " ".join(consequences(shop, entry))
    assert "opens again, at the stage 'sign-off'" in said
    assert shop.view(view.job.id).stage == "signed off"
    strike_row(shop, entry, "signed the wrong ski")
    assert shop.view(view.job.id).stage == "sign-off"
    _, timeline, _ = of(shop, "Heron 66")
    struck = timeline.by_id(entry.row.id)
    assert struck is not None
    assert "KV" in "; ".join(strikes_of(struck, timeline, "in"))
    assert "signed the wrong ski" in "; ".join(strikes_of(struck, timeline, "in"))


def test_striking_a_pass_says_which_readings_no_longer_count(shop: Shop) -> None:
    done(shop)
    _, timeline, _ = of(shop, "Heron 66")
    said = " ".join(consequences(shop, entry_of(timeline, rows.PassRow)))
    assert "3 readings taken after this round no longer count" in said


def test_striking_a_reading_says_what_stage_its_job_goes_back_to(shop: Shop) -> None:
    view = ski(shop, "Heron 67")
    _, timeline, _ = of(shop)
    said = " ".join(consequences(shop, entry_of(timeline, rows.Reading)))
    assert f"Its job goes from '{view.stage}' to 'as received'." in said


def test_a_struck_row_and_a_ski_s_own_sheet_are_not_struck_out(shop: Shop) -> None:
    _, timeline, _ = of(shop)
    for entry in (timeline.shown("struck")[0], entry_of(timeline, rows.SkiVersion)):
        with pytest.raises(InputError, match="strike out"):
            consequences(shop, entry)
        with pytest.raises(InputError, match="strike out"):
            strike_row(shop, entry, "because")


def test_a_strike_needs_a_reason(shop: Shop) -> None:
    _, timeline, _ = of(shop)
    entry = entry_of(timeline, rows.Reading)
    with pytest.raises(InputError, match="reason"):
        strike_row(shop, entry, "  ")
    assert of(shop)[1].by_id(entry.row.id) == entry


def test_take_back_goes_on_entry_by_entry_across_restarts(path: Path) -> None:
    """Each take back strikes the entry before, also in a book opened anew, down to the first."""
    with open_shop(path) as shop:
        view = ski(shop, "Heron 66")
        view = walk_to(shop, view, heron(view), "turning")
        facts = [f.id for f in view.facts if f.struck is None]
    taken = []
    while True:
        with open_shop(path) as shop:
            view, fact = take_back(shop, shop.view(view.job.id))
        if fact is None:
            break
        taken.append(fact.id)
    assert taken == facts[::-1]
    assert view.stage == "waiting"
    with open_shop(path) as shop:
        _, timeline, _ = of(shop, "Heron 66")
    found = {e.row.id: e for e in timeline.shown("struck")}
    assert set(facts) <= set(found)
    strikes = [found[i].row.struck for i in facts]
    assert all(s is not None and (s.reason, s.who) == (TAKEN_BACK, "KV") for s in strikes)


def test_order_is_kept_where_the_clock_was_set_back(shop: Shop) -> None:
    """Entries stand in the order they were made, whatever their times say."""
    view = ski(shop, "Heron 66")
    before = shop.book.add_mark(view.job.id, "KV", "note", text="first")
    after = shop.book.add_mark(view.job.id, "KV", "note", text="second")
    history = load_history(shop, view.ski.id)
    job = history.job(view.job.id)
    early = replace(after, at="2020-01-01T00:00:00.000000+00:00")
    facts = tuple(early if f.id == after.id else f for f in job.facts)
    jobs = tuple(replace(job, facts=facts) if j is job else j for j in history.jobs)
    shown = timeline_of(replace(history, jobs=jobs)).shown("notes")
    assert [e.row.id for e in shown][:2] == [after.id, before.id]


def test_the_demo_s_season_ended_before_today(shop: Shop) -> None:
    """Two skis have a summer behind them, with ride notes, a struck reading and no open job."""
    for name, jobs in (("Heron 67", 8), ("Lark 64", 4)):
        view, timeline, _ = of(shop, name)
        history = timeline.history
        assert len(history.jobs) == jobs
        assert [j.job.day for j in history.jobs if j.job.id == view.job.id] == [DAY]
        assert len(timeline.shown("ride notes")) == jobs - 2


def test_a_reading_of_another_blade_has_no_share_in_the_pose(shop: Shop) -> None:
    """A job read by methods of two blades: no slope is reckoned, and nothing fails."""
    view, _, _ = of(shop)
    other = ski(shop, "Lark 64")
    history = load_history(shop, view.ski.id)
    rigs = {view.lines[0].method_id: view.rig, other.lines[1].method_id: other.rig}
    taken = {
        view.lines[0].method_id: Taken(view.lines[0].method, (62.0,)),
        other.lines[1].method_id: Taken(other.lines[1].method, (20.0,)),
    }
    assert set(Slopes(rigs).of(taken).values()) == {0.0}
    assert history.method_name("none") == "a method that is not in the book"


def test_readings_that_fix_no_pose_still_have_a_worth(shop: Shop) -> None:
    """Two of three readings: no slope, the default budget."""
    view, _, _ = of(shop)
    line = view.lines[1]
    slopes = Slopes({line.method_id: view.rig}).of({line.method_id: Taken(line.method, (20.0,))})
    assert slopes == {line.method_id: 0.0}
    with pytest.raises(Exception, match="three"):
        fit_pose(view.rig.blade, view.rig.base, [Reading(line.method, 20.0, 0.02)])
