"""Repeatability studies: planned, read blind, taken back, struck out, and what they say."""

from __future__ import annotations

import json
import random
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.measure.figures import figure
from tests.shop import empty_shop
from workbench import cli
from workbench.errors import InputError
from workbench.measure.gauge_study import by_anova
from workbench.measure.units import MM_PER
from workbench.records.book import Book
from workbench.records.store import rows
from workbench.work.demo import add_demo_study
from workbench.work.job.shop import Shop
from workbench.work.roster import calipers
from workbench.work.study import studies, study_words
from workbench.work.study.studies import plan_study, reading_order
from workbench.work.trust.study_results import (
    StudyResult,
    StudyView,
    Turn,
    bars,
    result_of,
    still_to_read,
)

PLAN = {
    "name": "slow hour", "what": "depth", "unit": "in", "near": "",
    "parts": "Heron 66; Tern 67", "people": "KV JT", "trials": "2",
}  # fmt: skip


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with empty_shop(tmp_path) as opened:
        yield opened


def planned(shop: Shop, **more: str) -> StudyView:
    return studies.view_of(shop, plan_study(shop, PLAN | more, random.Random(5).shuffle))


def typed(shop: Shop, view: StudyView, text: str) -> StudyView:
    found = studies.understood(view, text)
    assert found.is_clear, found.question
    return studies.keep_reading(shop, view, text, found.placings[0].mm)


def drawn(shop: Shop, view: StudyView, seed: int = 1, until: int = 0) -> StudyView:
    """Read a study as people with a little scatter would, leaving ``until`` turns."""
    rng = random.Random(seed)
    while len(view.missing) > until:
        assert view.due is not None
        at = 2.45 + 0.02 * view.study.parts.index(view.due.part)
        at += 0.0008 * view.study.people.index(view.due.person)
        view = typed(shop, view, f"{at + rng.gauss(0, 0.0012):.4f}")
    return view


def struck_in(view: StudyView) -> list[rows.StudyReading]:
    return [r for r in view.readings if r.struck is not None]


def finished(result: StudyResult) -> StudyResult:
    assert result.analysis is not None, result.trouble
    return result


# -- the order -------------------------------------------------------------------------------------


@given(st.integers(1, 9), st.integers(1, 7), st.integers(1, 6), st.integers(0, 2**32))
def test_the_order_holds_each_cell_once_and_keeps_its_rule(
    parts: int, people: int, trials: int, seed: int
) -> None:
    """Rounds of whole trials; people alternate; nobody reads a part twice in a row."""
    order = reading_order(parts, people, trials, random.Random(seed).shuffle)
    cells = {(i, j, k) for i in range(parts) for j in range(people) for k in range(trials)}
    assert len(order) == len(cells)
    assert set(order) == cells
    assert [cell[2] for cell in order] == sorted(cell[2] for cell in order)
    if people > 1:
        assert all(a[1] != b[1] for a, b in pairwise(order))
    if parts > 1:
        for person in range(people):
            own = [cell[0] for cell in order if cell[1] == person]
            assert all(a != b for a, b in pairwise(own))


def test_the_order_is_shuffled_and_reaches_every_beginning() -> None:
    orders = [reading_order(3, 2, 2, random.Random(seed).shuffle) for seed in range(80)]
    assert len(set(orders)) > 60
    assert len({order[0] for order in orders}) == 6


def test_a_plan_is_kept_with_its_order(shop: Shop) -> None:
    """By chance when nothing else is asked; the book gives it back as planned."""
    view = studies.view_of(shop, plan_study(shop, PLAN | {"people": "KV, JT; AB"}))
    study = view.study
    assert (study.name, study.what, study.unit, study.trials) == ("slow hour", "depth", "in", 2)
    assert study.parts == ("Heron 66", "Tern 67")
    assert study.people == ("KV", "JT", "AB")
    assert sorted(study.sequence) == [(i, j, k) for i in (0, 1) for j in (0, 1, 2) for k in (0, 1)]
    assert (view.state, view.done, view.total) == ("planned", 0, 12)
    assert view.due == view.missing[0]


@pytest.mark.parametrize(
    ("field", "text", "said"),
    [
        ("name", " ", "1 to 40 characters"),
        ("name", "x" * 41, "1 to 40 characters"),
        ("what", "", "what is read"),
        ("unit", "thou", "'in' or 'mm'"),
        ("near", "about two", "a length such as"),
        ("near", "-1", "about what will be read"),
        ("parts", "Heron 66", "2 or more"),
        ("parts", "Heron 66, Tern 67", "';' between them"),
        ("parts", "Heron 66; heron 66", "each named once"),
        ("parts", "; ".join(map(str, range(21))), "2 to 20"),
        ("parts", "a; " + "b" * 41, "at most 40 characters"),
        ("parts", "a; b\0", "NUL"),
        ("people", " ", "initials"),
        ("people", "KV kv", "each named once"),
        ("trials", "1", "one reading alone shows no scatter"),
        ("trials", "0", "2 to 10"),
        ("trials", "11", "2 to 10"),
        ("trials", "2.5", "a whole number"),
        ("trials", "²", "a whole number"),
        ("trials", "9" * 5000, "a whole number"),
    ],
)
def test_a_bad_plan_names_its_field(shop: Shop, field: str, text: str, said: str) -> None:
    """Nothing is kept of it."""
    with pytest.raises(InputError) as caught:
        plan_study(shop, PLAN | {field: text})
    assert caught.value.field == field
    assert said in str(caught.value)
    assert studies.studies_of(shop) == ()


def test_too_many_readings_are_refused(shop: Shop) -> None:
    parts, people = "; ".join(map(str, range(20))), " ".join("ABCDEFGHIJ")
    with pytest.raises(InputError, match="at most 400 readings"):
        plan_study(shop, PLAN | {"parts": parts, "people": people, "trials": "3"})


def test_a_name_is_taken_until_its_study_is_struck_out(shop: Shop) -> None:
    view = planned(shop)
    with pytest.raises(InputError, match="no other test"):
        planned(shop, name="Slow Hour")
    studies.strike_study(shop, view, "wrong skis")
    assert planned(shop).number == 2
    assert [v.state for v in studies.studies_of(shop)] == ["struck out", "planned"]


# -- reading ---------------------------------------------------------------------------------------


def test_readings_follow_the_order_and_remember_who_and_which_caliper(shop: Shop) -> None:
    caliper = calipers.add_caliper(shop, {"name": "Caliper A", "unit": "in", "resolution": ""})
    calipers.take_in_hand(shop, caliper)
    view = drawn(shop, planned(shop))
    assert (view.state, view.due) == ("complete", None)
    kept = shop.book.study_readings(view.study.id)
    names = [(view.study.parts[i], view.study.people[j], k) for i, j, k in view.study.sequence]
    assert [(r.part, r.person, r.trial) for r in kept] == names
    assert {r.caliper_id for r in kept} == {caliper}
    assert {r.who for r in kept} == {"KV"}
    with pytest.raises(InputError, match="no reading is due: the test is complete"):
        studies.keep_reading(shop, view, "2.45", 62.23)


def test_left_at_any_time_it_goes_on_at_the_same_place(shop: Shop, tmp_path: Path) -> None:
    """Another opening of the book finds the same turn due."""
    view = drawn(shop, planned(shop), until=5)
    shop.book.close()
    with Book(tmp_path / "shop.db") as again:
        found = studies.view_of(Shop(again, "2031-05-07"), view.study.id)
        assert found.due == view.due
        assert (found.state, found.done) == ("under way", 3)


def test_take_back_strikes_the_last_and_its_turn_is_due_again(shop: Shop) -> None:
    view = typed(shop, typed(shop, planned(shop), "2.4500"), "2.4600")
    turn = Turn(view.live[-1].part, view.live[-1].person, view.live[-1].trial + 1)
    view, last = studies.take_back(shop, view)
    assert last is not None
    assert (view.due, view.done, len(struck_in(view))) == (turn, 1, 1)
    view, _ = studies.take_back(shop, view)
    view, nothing = studies.take_back(shop, view)
    assert nothing is None
    assert (view.done, [r.text for r in struck_in(view)]) == (0, ["2.4500", "2.4600"])
    assert {r.struck.reason for r in struck_in(view) if r.struck} == {"taken back"}


def test_any_reading_can_be_struck_with_a_reason(shop: Shop) -> None:
    """Its own turn is due next, then the order goes on."""
    view = drawn(shop, planned(shop), until=3)
    first = view.live[0]
    with pytest.raises(InputError, match="reason"):
        studies.strike_reading(shop, view, first.id, " ")
    with pytest.raises(InputError, match="a reading of this test"):
        studies.strike_reading(shop, view, view.study.id, "no")
    after = studies.strike_reading(shop, view, first.id, "jaw on the hole")
    assert after.due == Turn(first.part, first.person, first.trial + 1)
    assert after.missing[1:] == view.missing


def test_a_study_struck_out_takes_nothing_more(shop: Shop) -> None:
    view = typed(shop, planned(shop), "2.45")
    with pytest.raises(InputError, match="reason"):
        studies.strike_study(shop, view, "")
    view = studies.strike_study(shop, view, "wrong skis")
    assert (view.state, view.due) == ("struck out", None)
    with pytest.raises(InputError, match="struck out"):
        studies.keep_reading(shop, view, "2.45", 62.23)
    with pytest.raises(InputError, match="not struck out yet"):
        studies.strike_study(shop, view, "again")
    assert studies.take_back(shop, view)[1] is None


def test_two_benches_never_take_one_turn_twice(shop: Shop) -> None:
    """The second is told whose turn it is now, and nothing is kept of it."""
    view = planned(shop)
    typed(shop, view, "2.4500")
    with pytest.raises(InputError, match="another bench took this one"):
        studies.keep_reading(shop, view, "2.4600", 62.484)
    assert studies.view_of(shop, view.study.id).done == 1


def test_entries_are_understood_by_what_was_read_or_typed_as_near(shop: Shop) -> None:
    near = planned(shop, near="2.5")
    assert studies.understood(near, "2450").placings[0].number == "2.450"
    bare = planned(shop, name="bare")
    assert studies.understood(bare, "2.4500").is_clear
    asked = studies.understood(bare, "2450")
    assert "nothing read yet to place one by" in asked.question
    bare = typed(shop, bare, "2.4500")
    assert studies.understood(bare, "24600").placings[0].number == "2.4600"
    assert "outside the usual" in studies.understood(bare, "6.95").question


@pytest.mark.parametrize("unit", ["in", "mm"])
@pytest.mark.parametrize("first", [True, False])
def test_the_other_unit_is_refused_with_its_sign_and_without(
    shop: Shop, unit: str, first: bool
) -> None:
    """Signed with it at any time; without, where only the other unit makes sense."""
    inch, mm = "2.4500", "62.23"
    own, other = (inch, mm) if unit == "in" else (mm, inch)
    view = planned(shop, unit=unit)
    if not first:
        view = typed(shop, view, own)
        with pytest.raises(InputError, match="this test takes no other"):
            studies.understood(view, other)
    sign = "mm" if unit == "in" else '"'
    with pytest.raises(InputError, match="this test takes no other"):
        studies.understood(view, other + sign)
    with pytest.raises(InputError, match="never negative"):
        studies.understood(view, "-1.5")
    with pytest.raises(InputError, match="a length such as"):
        studies.understood(view, "2.4.5")


# -- what they say ---------------------------------------------------------------------------------


def reference(shop: Shop) -> StudyResult:
    """The AIAG reference study typed turn by turn; its deviations counted from 10 mm."""
    data = figure("aiag-anova").inputs["data"]
    parts = "; ".join(f"part {i}" for i in range(1, 11))
    plan = {"what": "deviation", "unit": "mm", "parts": parts, "people": "A B C", "trials": "3"}
    view = planned(shop, **plan)
    while view.due is not None:
        column = "ABC".index(view.due.person) * 3 + view.due.trial - 1
        value = data[int(view.due.part.removeprefix("part ")) - 1][column]
        view = typed(shop, view, f"{10 + value:.2f}")
    return finished(result_of(view))


def test_the_published_study_typed_at_the_bench_gives_the_published_digits(shop: Shop) -> None:
    """AIAG MSA 4th ed. 2010, Tables A 3 to A 5; sums and mean squares from memory (aiag-anova)."""
    example, result = figure("aiag-anova"), reference(shop)
    assert result.analysis is not None
    table, gauge = result.analysis.table, result.analysis.gauge
    assert gauge.pooled
    example.check(
        ss_appraiser=table.person.ss,
        ss_part=table.part.ss,
        ss_interaction=table.interaction.ss,
        ss_equipment=table.equipment.ss,
        ss_total=table.total.ss,
        p_interaction=result.analysis.p_interaction,
        EV=gauge.ev,
        AV=gauge.av,
        GRR=gauge.grr,
        PV=gauge.pv,
        TV=gauge.tv,
        pct_GRR=gauge.percent(gauge.grr),
        ndc_truncated=gauge.ndc,
    )
    shares = {s.key: 100 * s.share for s in result.sources()}
    example.check(
        contrib_EV=shares["ev"],
        contrib_AV=shares["av"],
        contrib_GRR=shares["grr"],
        contrib_PV=shares["pv"],
    )
    text = study_words.result_text(result, "mm")
    assert "0.1999" in text
    assert "1.0423" in text
    assert "pooled into repeatability: p = 0.974 >= 0.25" in text
    assert "Distinct categories: 4" in text


@given(
    st.integers(2, 4), st.integers(1, 3), st.integers(2, 3), st.integers(0, 2**20),
    st.sampled_from(["in", "mm"]),
)  # fmt: skip
def test_a_result_is_what_the_kernel_says_of_the_same_numbers(
    parts: int, people: int, trials: int, seed: int, unit: str
) -> None:
    """Whatever the order of reading: equal to the kernel's own functions on the typed numbers."""
    rng = random.Random(seed)
    names = tuple(f"ski {i}" for i in range(parts))
    hands = tuple("ABC"[:people])
    order = reading_order(parts, people, trials, rng.shuffle)
    study = rows.Study(
        id="s", at="", who="", name="", what="depth", unit=unit, parts=names, people=hands,
        trials=trials, sequence=order,
    )  # fmt: skip
    texts = {cell: f"{rng.uniform(2, 3):.4f}" for cell in order}
    readings = tuple(
        rows.StudyReading(
            id=f"{n:03}", at="", who="", study_id="s", part=names[i], person=hands[j], trial=k,
            text=texts[i, j, k], unit=unit, mm=float(texts[i, j, k]) * MM_PER[unit],
        )
        for n, (i, j, k) in enumerate(order)
    )  # fmt: skip
    result = finished(result_of(StudyView(1, study, readings, ())))
    direct = by_anova(
        [
            [[float(texts[i, j, k]) * MM_PER[unit] for k in range(trials)] for j in range(people)]
            for i in range(parts)
        ]
    )
    assert result.analysis == direct
    report = study_words.result_report(result)
    assert report["result"]["sources"]["ev"]["s"] * MM_PER[unit] == pytest.approx(direct.gauge.ev)


def test_an_incomplete_study_names_what_is_missing(shop: Shop) -> None:
    """Its cells show, its missing ones are told with how much of them is there."""
    view = drawn(shop, planned(shop), until=2)
    result = result_of(view)
    assert result.analysis is None
    assert "6 of 8 readings" in result.trouble
    for turn in view.missing:
        assert f"{turn.person} on {turn.part}" in result.trouble
    assert result.sources() == ()
    assert study_words.notes(result) == ()
    assert study_words.sentence(result, "in").startswith(
        "No answer yet, 6 of 8 readings; still to read: "
    )
    report = json.loads(json.dumps(study_words.result_report(result)))
    assert report["result"] is None
    assert len(report["missing"]) == 2


def test_many_missing_cells_are_counted(shop: Shop) -> None:
    view = planned(shop, parts="a; b; c; d")
    assert "KV on a (0 of 2)" in still_to_read(view)
    assert "and 4 more" in still_to_read(view)
    assert "no reading yet" in result_of(view).trouble
    assert {c.repeats for c in result_of(view).cells} == {None}


def by_other_hands(shop: Shop, view: StudyView, unit: rows.Unit = "in") -> StudyView:
    text = "2.5" if unit == "in" else "63.5"
    shop.book.add_entry(
        "KV",
        rows.StudyReading(
            study_id=view.study.id,
            part="Heron 66",
            person="JT",
            trial=0,
            text=text,
            unit=unit,
            mm=63.5,
        ),
    )
    return studies.view_of(shop, view.study.id)


def test_a_reading_too_many_is_refused_by_its_cell(shop: Shop) -> None:
    """Unbalanced numbers, as another program may leave them, are told and not counted."""
    view = by_other_hands(shop, drawn(shop, planned(shop)))
    result = result_of(view)
    assert result.analysis is None
    assert "JT on Heron 66: '3 of 2 trials'" in result.trouble


def test_mixed_units_in_the_book_are_told_apart(shop: Shop) -> None:
    view = by_other_hands(shop, drawn(shop, planned(shop)), "mm")
    assert "units of the test: 'JT on Heron 66, 63.5 mm'" in result_of(view).trouble


def test_struck_readings_do_not_count_and_are_listed(shop: Shop) -> None:
    clean = finished(result_of(drawn(shop, planned(shop))))
    view = drawn(shop, planned(shop, name="with a slip"), until=4)
    first = view.live[0]
    view = studies.take_back(shop, typed(shop, view, "2.5100"))[0]
    view = studies.strike_reading(shop, view, first.id, "jaw on the hole")
    view = typed(shop, view, first.text)
    # The generator begins anew, so the rest is typed as the first study had it.
    rest = {(r.part, r.person, r.trial): r.text for r in clean.view.live}
    while view.due is not None:
        view = typed(shop, view, rest[view.due.part, view.due.person, view.due.trial - 1])
    result = finished(result_of(view))
    assert result.analysis == clean.analysis
    (one, other) = study_words.struck_words(view)
    assert "jaw on the hole" in one + other
    assert "2.5100 in (taken back)" in one + other
    assert "Struck out, not counted:" in study_words.result_text(result, "in")


def test_no_scatter_at_all_is_told_plainly(shop: Shop) -> None:
    """Equal readings name no change: the display hides the scatter."""
    view = planned(shop)
    while view.due is not None:
        view = typed(shop, view, "2.45" if view.due.part == "Heron 66" else "2.47")
    result = finished(result_of(view))
    assert result.without_scatter
    assert "the display hides your scatter" in study_words.sentence(result, "in")
    assert "none to count without scatter" in " ".join(study_words.notes(result))
    assert json.dumps(study_words.result_report(result), allow_nan=False)
    assert study_words.result_text(result, "in")


def test_people_who_differ_without_any_scatter_of_their_own_are_suspicious(shop: Shop) -> None:
    view = planned(shop)
    while view.due is not None:
        view = typed(shop, view, "2.4500" if view.due.person == "KV" else "2.4600")
    result = finished(result_of(view))
    assert "own readings agreed to the last digit" in study_words.sentence(result, "in")
    assert "not taken blind" in " ".join(study_words.notes(result))
    assert json.dumps(study_words.result_report(result), allow_nan=False)


def test_one_person_alone_learns_their_own_scatter(shop: Shop) -> None:
    result = finished(result_of(drawn(shop, planned(shop, people="KV"))))
    words = study_words.sentence(result, "mm")
    assert words.startswith("KV alone can honestly tell a change of 0.")
    assert "how people differ was not studied" in words
    assert "with one person" in " ".join(study_words.notes(result))


def test_the_sentence_names_the_change_in_either_unit(shop: Shop) -> None:
    result = finished(result_of(drawn(shop, planned(shop, trials="4"))))
    assert result.analysis is not None
    for unit in ("in", "mm"):
        words = study_words.sentence(result, unit)
        named = float(words.split("a change of ")[1].split()[0])
        change = result.analysis.anyone.change / MM_PER[unit]
        assert change * 0.99 <= named <= change * 1.1
        assert f" {unit} or more, whoever reads" in words


def test_error_bars_are_a_cell_s_own_s_or_its_mean_s_u(shop: Shop) -> None:
    """Offsets from a part's mean add up to nothing; U is k s_r / sqrt(n)."""
    result = finished(result_of(drawn(shop, planned(shop))))
    assert result.analysis is not None
    own, pooled = bars(result, "s", True), bars(result, "U", False)
    for bar, cell in zip(own, result.cells, strict=True):
        assert cell.repeats is not None
        assert bar.half_mm == cell.repeats.sd
    for part in (0, 1):
        assert sum(b.mean_mm for b in own if b.part == part) == pytest.approx(0.0, abs=1e-12)
    assert {b.half_mm for b in pooled} == {
        result.analysis.one_person.k * result.analysis.one_person.sd / 2**0.5
    }
    begun = result_of(drawn(shop, planned(shop, name="begun"), until=7))
    assert [b.half_mm for b in bars(begun, "U", True)] == [0.0]


def test_the_demo_s_study_is_complete_and_the_same_at_every_run(shop: Shop, tmp_path: Path) -> None:
    add_demo_study(shop, "depth")
    with Book(tmp_path / "other.db") as book:
        other = Shop(book, "2031-05-06", "KV")
        add_demo_study(other, "depth")
        texts = [[r.text for r in studies.studies_of(s)[0].live] for s in (shop, other)]
    assert texts[0] == texts[1]
    result = finished(result_of(studies.studies_of(shop)[0]))
    assert "This shop can honestly tell a change" in study_words.sentence(result, "in")


def test_a_study_is_found_by_name_or_number(shop: Shop) -> None:
    with pytest.raises(InputError, match="no test is kept"):
        studies.find_study(shop, "1")
    first = planned(shop)
    studies.strike_study(shop, first, "wrong skis")
    second = planned(shop)
    third = planned(shop, name="1")
    assert studies.find_study(shop, "SLOW hour").study.id == second.study.id
    assert studies.find_study(shop, "1").study.id == third.study.id
    assert studies.find_study(shop, " #2 ").study.id == second.study.id
    for odd in ("4", "0", "", "no such"):
        with pytest.raises(InputError, match="a test's name, or its number 1 to 3"):
            studies.find_study(shop, odd)
    with pytest.raises(InputError, match="a repeatability test of this book"):
        studies.view_of(shop, "gone")


def command(shop: Shop, capsys: pytest.CaptureFixture[str], *more: str) -> tuple[int, str, str]:
    status = cli.main(["--book", str(shop.book.path), "study", *more])
    out = capsys.readouterr()
    return status, out.out, out.err


def test_the_command_lists_and_shows(shop: Shop, capsys: pytest.CaptureFixture[str]) -> None:
    assert "No repeatability test is kept" in command(shop, capsys)[1]
    drawn(shop, planned(shop, name="tab\there \x1b[31m"))
    drawn(shop, planned(shop), until=2)
    status, listed, _ = command(shop, capsys, "--plain")
    assert status == 0
    assert "1. tab\\there \\x1b[31m: depth (in); complete, 8 readings" in listed
    assert "2. slow hour: depth (in); under way, 6 of 8 readings" in listed
    assert [s["number"] for s in json.loads(command(shop, capsys, "--json")[1])["studies"]] == [
        1,
        2,
    ]
    assert "can honestly tell a change of" in command(shop, capsys, "1")[1]
    status, text, _ = command(shop, capsys, "slow hour")
    assert status == 0
    assert "No answer yet" in text
    shown = json.loads(command(shop, capsys, "1", "--json")[1])
    assert set(shown["result"]["sources"]) == {"ev", "av", "interaction", "grr", "pv", "tv"}
    assert shown["result"]["change"]["anyone"]["value"] > 0
    status, out, err = command(shop, capsys, "nothing of the kind")
    assert (status, out) == (2, "")
    assert "a test's name, or its number 1 to 2" in err
