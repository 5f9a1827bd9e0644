"""Blocks, blades and baselines put right: what follows for the skis under way and those done."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tests.shop import demo_file, heron, open_shop, ski, take_back, walk_to
from workbench.errors import InputError
from workbench.records.store import rows
from workbench.records.store.database import StruckTwiceError
from workbench.records.tables.roster import stud_of
from workbench.work.exchange import exchange
from workbench.work.history.history import load_history
from workbench.work.history.timeline import row_words, timeline_of
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job_text.view_words import corrected_words
from workbench.work.order.round_records import turned_other_way
from workbench.work.roster.baselines import baseline_named, correct_baseline, strike_baseline
from workbench.work.roster.corrections import correct_block, correct_studs, lead_typed


def block_of(shop: Shop, view: JobView) -> rows.Block:
    return shop.book.block(view.ski.block_id)


def in_stage(shop: Shop, *stages: str) -> JobView:
    """The first job of the queue at one of these stages."""
    return next(shop.view(x.job_id) for x in shop.roster() if x.stage in stages)


def mend(shop: Shop, view: JobView, **fields: str) -> None:
    correct_studs(shop, view.ski.block_id, fields, "mm", "read off the stud")


def test_a_version_has_who_when_and_why(shop: Shop) -> None:
    view = in_stage(shop, "target")
    old = block_of(shop, view)
    mend(shop, view, lead_1="0.9 mm")
    first, later = shop.book.block_versions(old.id)
    assert first.part == old
    assert (first.reason, later.reason, later.who) == ("", "read off the stud", shop.who)
    assert later.part == shop.book.block(old.id)
    assert later.part.studs[0].lead_mm == pytest.approx(0.9, abs=1e-12)  # type: ignore[union-attr]
    assert later.part.studs[0].thread == ""  # type: ignore[union-attr]


def test_turns_made_are_counts_of_the_real_stud(shop: Shop) -> None:
    """A lead written down too small by half: the same turns move the blade twice as far."""
    view = in_stage(shop, "measuring")
    made = [f for f in view.facts if isinstance(f, rows.PassRow)][-1]
    before = view.expected
    studs = block_of(shop, view).studs
    fields = {f"lead_{n}": f"{2 * s.lead_mm!r} mm" for n, s in enumerate(studs, 1)}
    mend(shop, view, **fields)
    after = shop.view(view.job.id)
    assert [f for f in after.facts if isinstance(f, rows.PassRow)][-1] == made
    assert [x.latest for x in after.lines] == [x.latest for x in view.lines]
    moved = False
    for line, was, now in zip(view.lines, before, after.expected, strict=False):
        if line.received_mm is None or was.method.name != line.method.name:
            continue
        small, large = was.value_mm - line.received_mm, now.value_mm - line.received_mm
        moved = moved or abs(small) > 0.05
        assert large == pytest.approx(2 * small, abs=0.03 + 0.05 * abs(small))
    assert moved


def test_a_hand_written_down_wrong_moved_the_stud_the_other_way(shop: Shop) -> None:
    """Told clockwise as in, a left-hand stud went out: the reading to expect is mirrored."""
    view = in_stage(shop, "measuring")
    before = view.expected
    studs = block_of(shop, view).studs
    other = {"right": "left", "left": "right"}
    mend(shop, view, **{f"hand_{n}": other[s.hand] for n, s in enumerate(studs, 1)})
    after = shop.view(view.job.id).expected
    by_name = {x.method.name: x.received_mm for x in view.lines}
    pairs = [
        (was.value_mm - by_name[was.method.name], now.value_mm - by_name[was.method.name])
        for was, now in zip(before, after, strict=True)
        if by_name.get(was.method.name) is not None
    ]
    assert any(abs(was) > 0.05 for was, _ in pairs)
    for was, now in pairs:
        assert now == pytest.approx(-was, abs=0.03 + 0.05 * abs(was))


def finished_as_begun(shop: Shop, now: JobView, told: list[tuple[str, float]]) -> JobView:
    """Finish a round with the turns that were told when it was begun, and look at the job after."""
    assert now.plan is not None
    assert [(t.stud.name, t.turns) for t in now.plan.turns] == told
    assert "this round is finished as it was begun" in corrected_words(now)[0]
    while now.stage == "turning":
        now = shop.step_done(now)
    made = [f for f in now.facts if isinstance(f, rows.PassRow)][-1]
    assert [(t.stud, t.turns) for t in made.turns] == told
    assert now.corrected == ()
    return now


def test_an_open_pass_is_finished_as_begun(shop: Shop) -> None:
    view = in_stage(shop, "turning")
    while not view.progress.mid_pass:
        view = shop.step_done(view)
    told = [(t.stud.name, t.turns) for t in view.plan.turns]  # type: ignore[union-attr]
    mend(shop, view, lead_1="0.4 mm", lead_2="0.4 mm")
    now = shop.view(view.job.id)
    now = finished_as_begun(shop, now, told)
    assert now.rig.studs[0].lead_mm == pytest.approx(0.4, abs=1e-12)


@pytest.fixture
def corrected_elsewhere(shop: Shop, tmp_path: Path) -> str:
    """A file of another bench that has corrected its blocks, before what follows here is done."""
    (tmp_path / "b").mkdir()
    with open_shop(demo_file(tmp_path / "b"), who="ML") as other:
        for block in other.book.blocks():
            fields = {"hand_1": "left", "lead_2": "1.3 mm"}
            correct_studs(other, block.id, fields, "mm", "read off the stud")
        path = str(tmp_path / "theirs.json")
        exchange.export_book(other, path)
    return path


def test_a_pass_turned_here_stays_as_turned_when_an_earlier_correction_comes_in(
    shop: Shop, corrected_elsewhere: str
) -> None:
    """Made before on the other bench, the correction was not known here when studs were turned."""
    view = in_stage(shop, "turning")
    while view.progress.step:
        view, _ = take_back(shop, view)
    while not view.progress.mid_pass:
        view = shop.step_done(view)
    assert view.plan is not None
    told = [(t.stud.name, t.turns) for t in view.plan.turns]
    exchange.take_in(shop, corrected_elsewhere)
    now = shop.view(view.job.id)
    now = finished_as_begun(shop, now, told)
    assert turned_other_way(shop.book, block_of(shop, now), now.facts) == {
        block_of(shop, now).studs[0].name
    }


def test_a_job_signed_off_here_shows_what_it_showed_when_an_earlier_correction_comes_in(
    shop: Shop, corrected_elsewhere: str
) -> None:
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "signed off")
    exchange.take_in(shop, corrected_elsewhere)
    now = shop.view(view.job.id)
    assert (now.rig, now.plan, now.pose) == (view.rig, view.plan, view.pose)
    assert "what was signed off is shown as it was" in corrected_words(now)[0]


def test_the_note_of_versions_is_no_word_of_the_history(shop: Shop) -> None:
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "signed off", ("+.020", "", ""))
    timeline = timeline_of(load_history(shop, view.ski.id))
    said = [row_words(e.row, timeline.history, "in") for e in timeline.entries]
    assert "signed off" in said
    assert "step 1 of the round done" in said
    assert not any("parts" in words for words in said)


def test_steps_not_begun_follow_the_correction(shop: Shop) -> None:
    view = in_stage(shop, "turning")
    while view.progress.mid_pass:
        view, _ = take_back(shop, view)
    mend(shop, view, lead_1="0.4 mm")
    now = shop.view(view.job.id)
    assert now.rig.studs[0].lead_mm == pytest.approx(0.4, abs=1e-12)
    assert now.corrected == ()


def test_a_signed_off_job_shows_what_it_showed_and_says_so(shop: Shop) -> None:
    view = in_stage(shop, "signed off")
    mend(shop, view, lead_1="0.4 mm", tip_2="1 mm")
    now = shop.view(view.job.id)
    assert (now.rig, now.plan, now.pose) == (view.rig, view.plan, view.pose)
    assert "what was signed off is shown as it was" in corrected_words(now)[0]
    assert shop.who in corrected_words(now)[0]


def test_the_history_tells_before_after_and_why(shop: Shop) -> None:
    view = in_stage(shop, "target")
    mend(shop, view, hand_1="left")
    timeline = timeline_of(load_history(shop, view.ski.id))
    entry = next(e for e in timeline.entries if isinstance(e.row, rows.PartVersion))
    said = row_words(entry.row, timeline.history, "in")
    assert "corrected (read off the stud): top front: hand right -> left" in said
    assert not entry.can_be_struck


@pytest.mark.parametrize(
    ("fields", "field", "accepted"),
    [
        ({"lead_1": "10-33 UNF"}, "lead_1", "a thread such as"),
        ({"lead_1": "32"}, "lead_1", "a thread such as"),
        ({"lead_1": "-1 mm"}, "lead_1", "a thread such as"),
        ({"lead_1": "0 mm"}, "lead_1", ""),
        ({"hand_2": "up"}, "hand_2", "right or left"),
        ({"tip_3": "wide"}, "tip_3", ""),
        ({}, "correction", "written down otherwise"),
    ],
)
def test_what_cannot_be_kept_names_its_field_and_keeps_nothing(
    shop: Shop, fields: dict[str, str], field: str, accepted: str
) -> None:
    view = in_stage(shop, "target")
    with pytest.raises(InputError) as why:
        mend(shop, view, **fields)
    assert why.value.field.startswith(field)
    assert accepted in why.value.accepted
    assert len(shop.book.block_versions(view.ski.block_id)) == 1


def test_a_reason_is_asked_for(shop: Shop) -> None:
    view = in_stage(shop, "target")
    with pytest.raises(InputError) as why:
        correct_studs(shop, view.ski.block_id, {"hand_1": "left"}, "mm", " ")
    assert why.value.field == "reason"
    assert len(shop.book.block_versions(view.ski.block_id)) == 1


def test_a_lead_is_a_thread_or_a_length() -> None:
    """0.8 mm is the pitch of M5 in the coarse series of ISO 261."""
    assert lead_typed("M5x0.8", "x") == ("M5x0.8", 0.8)
    assert lead_typed(" 0.8 mm", "x") == ("", 0.8)


def test_two_benches_on_one_book_keep_each_others_corrections(shop: Shop) -> None:
    """What was typed otherwise is laid over the newest version, whatever the form showed."""
    view = in_stage(shop, "target")
    mend(shop, view, hand_1="left")
    mend(shop, view, lead_2="0.9 mm")
    studs = block_of(shop, view).studs
    assert (studs[0].hand, studs[1].lead_mm) == ("left", pytest.approx(0.9, abs=1e-12))


def test_a_correction_travels_and_two_of_one_block_clash(tmp_path: Path) -> None:
    from workbench.work.exchange.exchange import export_book, take_in

    (tmp_path / "a").mkdir()
    with open_shop(demo_file(tmp_path)) as one:
        export_book(one, str(tmp_path / "first.json"))
        with open_shop(tmp_path / "a" / "other.db") as two:
            take_in(two, str(tmp_path / "first.json"))
            block = one.book.blocks()[0]
            for shop, hand in ((one, "left"), (two, "left")):
                fields = {"hand_1": hand, "lead_2": "0.9 mm" if shop is one else "0.7 mm"}
                correct_studs(shop, block.id, fields, "mm", f"seen at {hand}")
            export_book(one, str(tmp_path / "second.json"))
            taken = take_in(two, str(tmp_path / "second.json"))
            versions = two.book.block_versions(block.id)
            now = two.book.block(block.id)
    assert [(c.kind, c.subject) for c in taken.clashes] == [("corrected", block.name)]
    assert [v.reason for v in versions] == ["", "seen at left", "seen at left"]
    assert now == versions[-1].part


def block_file(path: Path, front: str = "front") -> str:
    text = "".join(
        f'[[studs]]\nname = "{name}"\ntouches = "{edge}"\nat = {at}\naxis = {axis}\n'
        'thread = "M5x0.8"\n'
        for name, edge, at, axis in (
            ("back", "back", "[0.1, -0.6]", "[1, 0]"), (front, "top", "[6.9, -1.6]", "[0, 1]"),
            ("rear", "top", "[1.5, -1.6]", "[0, 1]"),
        )
    )  # fmt: skip
    path.write_text(text)
    return str(path)


def test_a_file_that_renames_a_stud_is_refused(shop: Shop, tmp_path: Path) -> None:
    path = block_file(tmp_path / "b.toml", "forward")
    with pytest.raises(InputError) as why:
        correct_block(shop, "1", path, "measured again")
    assert (why.value.field, why.value.value) == ("studs", "forward")
    assert "cannot rename or drop" in why.value.accepted
    assert len(shop.book.block_versions(shop.book.blocks()[0].id)) == 1


def test_a_file_corrects_a_block_in_the_order_its_studs_had(shop: Shop, tmp_path: Path) -> None:
    path = block_file(tmp_path / "b.toml")
    old = shop.book.blocks()[0]
    tried = correct_block(shop, "1", path, "measured again", dry_run=True)
    assert shop.book.block(old.id) == old
    done = correct_block(shop, "1", path, "measured again")
    assert done.changes == tried.changes
    assert "lead 0.79375 mm -> 0.8 mm" in done.changes[0]
    now = shop.book.block(old.id)
    assert [s.name for s in now.studs] == [s.name for s in old.studs]
    assert (now.name, now.finest_turn) == (old.name, old.finest_turn)
    assert done.skis
    assert done.under_way


def test_a_baselines_number_is_corrected_and_a_struck_one_stays_readable(shop: Shop) -> None:
    sheet = ski(shop, "Heron 66").ski
    old = shop.book.baselines_of(sheet.id)[-1]
    method = old.entries[0].method_name
    done = correct_baseline(shop, old.id, {method: "2.4870"}, "digits swapped")
    assert done.changes == (f"{method} {old.entries[0].text} in -> 2.4870 in",)
    assert done.part.entries[0].mm == pytest.approx(2.487 * 25.4, abs=1e-9)
    assert done.part == replace(old, entries=(done.part.entries[0], *old.entries[1:]))
    strike_baseline(shop, old, "another ski")
    assert old.id not in [b.id for b in shop.book.baselines()]
    last = shop.book.baseline_versions(old.id)[-1]
    assert last.struck is not None
    assert (last.reason, last.struck.reason) == ("digits swapped", "another ski")
    told = timeline_of(load_history(shop, sheet.id)).shown("struck")
    assert last.id in [e.row.id for e in told]
    with pytest.raises(StruckTwiceError):
        strike_baseline(shop, old, "again")
    with pytest.raises(InputError):
        correct_baseline(shop, old.id, {method: "2.5"}, "again")


@pytest.mark.parametrize("name", ["as first received", "0", "999", "x", ""])
def test_a_baseline_that_is_not_the_only_one_asks_for_its_number(shop: Shop, name: str) -> None:
    with pytest.raises(InputError, match="its number in 'baselines'"):
        baseline_named(shop, name)


def test_a_book_that_calls_the_tail_stud_back_reads_and_means_the_same(
    shop: Shop, tmp_path: Path
) -> None:
    """Its stud is shown as the tail stud; a file of today corrects it under the name it has."""
    new = shop.book.blocks()[0]
    studs = tuple(replace(s, name="back") if s.name == "tail" else s for s in new.studs)
    old = shop.book.add_block(rows.Block("", "Block of before", studs, 0.125), who=shop.who)
    path = Path(block_file(tmp_path / "b.toml"))
    path.write_text(path.read_text().replace('name = "back"', 'name = "tail"'))
    done = correct_block(shop, old.name, str(path), "measured again")
    assert [s.name for s in shop.book.block(old.id).studs] == ["front", "rear", "back"]
    assert [line.partition(":")[0] for line in done.changes] == ["top front", "top rear", "tail"]
    assert [stud_of(s).said for s in studs] == ["top front", "top rear", "tail"]
