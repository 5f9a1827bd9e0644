"""What all facts of a ski say together: a sign-off that does not follow from them releases nothing.

Nor does one whose checks or numbers were struck out since, and everything that shows the ski says
so.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.records.damaging import change
from tests.shop import DAY, demo_file, heron, open_shop, ski, walk_to
from workbench.advice.checklists import CLAMP, CheckItem, final_items
from workbench.bench.hand.state import BenchState
from workbench.bench.panels.next_line import next_words
from workbench.errors import BenchError, InputError
from workbench.records.store import rows
from workbench.work.exchange import exchange
from workbench.work.exchange.exchange_words import taken_in_lines
from workbench.work.history.history import load_history, settings_in
from workbench.work.history.striking import consequences
from workbench.work.history.timeline import row_words, timeline_of
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job.ski_state import conclude
from workbench.work.job.stages import ElsewhereError
from workbench.work.job_text.tasks import task_of
from workbench.work.job_text.view_words import other_job_words, stage_words
from workbench.work.paper.cards import card_of
from workbench.work.paper.day_sheet import day_sheet
from workbench.work.paper.printing import find_view
from workbench.work.roster import queue
from workbench.work.trust.shop_policy import FINAL_SETTING, checklist_text, shop_rules

TOMORROW = queue.day_after(DAY)


def signed(shop: Shop, changes: tuple[str, ...] = ("+.020", "", "")) -> JobView:
    view = ski(shop, "Heron 66")
    return walk_to(shop, view, heron(view), "signed off", changes)


def clamp_tick(view: JobView) -> rows.Tick:
    return next(f for f in view.facts if isinstance(f, rows.Tick) and f.item == CLAMP)


def struck(shop: Shop, view: JobView, row: rows.AnyFact) -> JobView:
    shop.book.strike(row.id, "not true", "KV")
    return shop.view(view.job.id)


def test_a_sign_off_that_rests_on_what_stands_releases_the_ski(shop: Shop) -> None:
    view = signed(shop)
    assert view.unreleased == ""
    assert card_of(shop, view).released


def test_without_its_clamp_bolt_check_nothing_says_released(shop: Shop) -> None:
    """Card, day sheet, next step at the bench and on the command line, and the stage."""
    view = signed(shop)
    view = struck(shop, view, clamp_tick(view))
    assert view.stage == "signed off"
    card = card_of(shop, view)
    assert not card.released
    assert card.status.startswith("NOT RELEASED, do not ride: signed off by KV")
    assert "clamp-bolt check was struck out since" in card.status
    assert "NOT RELEASED" in stage_words(view)
    assert "not to be ridden" in next_words(BenchState(view=view, roster=shop.roster()))
    assert "not to be ridden" in task_of(view).words
    row = next(r for r in day_sheet(shop).rows if r.ski == view.ski.name)
    assert any("clamp-bolt check was struck out since" in point for point in row.points)


@pytest.mark.parametrize(
    ("kind", "told"), [(rows.Reading, "reading"), (rows.PassRow, "round"), (rows.Tick, "check")]
)
def test_a_number_or_a_pass_struck_out_is_told_too(
    shop: Shop, kind: type[rows.AnyFact], told: str
) -> None:
    view = signed(shop)
    row = [f for f in view.facts if isinstance(f, kind) and f.struck is None][-1]
    view = struck(shop, view, row)
    assert told in view.unreleased
    assert not card_of(shop, view).released


def test_what_was_struck_out_and_done_anew_before_the_sign_off_does_not_count(shop: Shop) -> None:
    view = ski(shop, "Heron 66")
    fin = heron(view)
    view = walk_to(shop, view, fin, "final check", ("+.020", "", ""))
    view = shop.tick(view, view.checklist[0].key)
    view, _ = shop.take_back(view)
    view = walk_to(shop, view, fin, "signed off")
    assert any(f.struck is not None for f in view.facts)
    assert view.unreleased == ""


def test_a_reading_of_an_earlier_pass_is_not_what_the_sign_off_rests_on(shop: Shop) -> None:
    view = signed(shop)
    first = next(f for f in view.facts if isinstance(f, rows.Reading) and f.pass_number == 0)
    assert struck(shop, view, first).unreleased == ""


def test_striking_says_before_what_becomes_of_the_card(shop: Shop) -> None:
    view = signed(shop)
    timeline = timeline_of(load_history(shop, view.ski.id))
    entry = next(e for e in timeline.entries if e.row.id == clamp_tick(view).id)
    assert any("NOT RELEASED" in words for words in consequences(shop, entry))
    assert card_of(shop, shop.view(view.job.id)).released


def test_once_the_sign_off_is_struck_out_the_job_goes_on_from_its_check(shop: Shop) -> None:
    view = signed(shop)
    view = struck(shop, view, clamp_tick(view))
    view = struck(shop, view, next(f for f in view.facts if isinstance(f, rows.SignOff)))
    assert view.stage == "final check"
    view = walk_to(shop, view, heron(view), "signed off")
    assert view.unreleased == ""
    assert card_of(shop, view).released


def test_a_check_struck_out_on_another_bench_is_said_as_it_comes_in(
    shop: Shop, tmp_path: Path
) -> None:
    """There it was taken back before anybody knew here; here it was signed off."""
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "sign-off", ("+.020", "", ""))
    (tmp_path / "b").mkdir()
    with open_shop(demo_file(tmp_path / "b"), who="ML") as other:
        exchange.export_book(shop, str(tmp_path / "ours.json"))
        exchange.take_in(other, str(tmp_path / "ours.json"))
        view = walk_to(shop, view, heron(view), "signed off")
        other.take_back(other.view(view.job.id))
        exchange.export_book(other, str(tmp_path / "theirs.json"))
    said = "\n".join(taken_in_lines(exchange.take_in(shop, str(tmp_path / "theirs.json"))))
    assert "! 'Heron 66' (H66-014) is NOT RELEASED: its clamp-bolt check was struck out" in said
    assert "before: released by KV" in said
    assert not card_of(shop, shop.view(view.job.id)).released


# -- a round that is carried on --------------------------------------------------------------------


def signed_before(shop: Shop) -> JobView:
    """A ski that was signed off this morning and is in the queue again, its first stud turned."""
    view = signed(shop)
    again = shop.view(queue.queue_again(shop, view.ski.id))
    again = walk_to(shop, again, heron(again), "turning", ("+.010", "", ""))
    return shop.step_done(shop.step_done(again))


def carried(shop: Shop, view: JobView) -> None:
    lines = [line for line in shop.roster() if line.job_id == view.job.id]
    queue.carry_all(shop, lines, TOMORROW)


def test_a_carried_round_takes_the_release_of_the_old_numbers(shop: Shop) -> None:
    """The card of the last setting, the list, the sums and the history all say so."""
    view = signed_before(shop)
    carried(shop, view)
    old = find_view(shop, view.ski.serial)
    assert old.job.id != view.job.id
    card = card_of(shop, old)
    assert not card.released
    assert card.status.startswith("NOT RELEASED, do not ride: signed off by KV")
    assert f"a stud was turned since, in the job of {TOMORROW}" in card.status
    assert "clamp bolts loose" in card.status
    line = next(x for x in shop.roster() if x.job_id == old.job.id)
    assert (line.stage_words, line.glyph, line.loose) == ("NOT RELEASED", "!", True)
    assert "1 NOT RELEASED" in queue.summary_of(shop, shop.roster()).words


@pytest.mark.parametrize("day", [DAY, TOMORROW])
@pytest.mark.parametrize("add", [queue.queue_again, queue.add_recheck])
def test_a_ski_with_an_open_round_is_taken_up_and_nothing_else(
    shop: Shop, add: Callable[[Shop, str], str], day: str
) -> None:
    view = signed_before(shop)
    if day != DAY:
        carried(shop, view)
    with pytest.raises(InputError, match=f"taken up in its job of {day}: a round is open"):
        add(shop, view.ski.id)


def test_a_job_of_a_later_day_counts_as_queued(shop: Shop) -> None:
    view = ski(shop, "Heron 66")
    carried(shop, view)
    with pytest.raises(InputError, match=f"not in the queue already \\(of {TOMORROW}\\)"):
        queue.queue_again(shop, view.ski.id)


def test_a_recheck_beside_an_open_round_is_held_and_releases_nothing(shop: Shop) -> None:
    """Such a job may have come from another bench, or be in the book from before."""
    view = signed_before(shop)
    check = shop.view(shop.queue(view.ski.id, kind="recheck").id)
    assert f"round is open in the job of {DAY}" in task_of(check).words
    assert "take that job up first" in next_words(BenchState(view=check, roster=shop.roster()))
    with pytest.raises(ElsewhereError, match="take that job up first"):
        shop.tick(check, check.checklist[0].key)
    for item in check.checklist:
        shop.book.add_fact(check.job.id, "KV", rows.Tick(checklist="final", item=item.key))
    assert shop.view(check.job.id).stage == "waiting"
    shop.book.add_fact(check.job.id, "KV", rows.SignOff())
    check = shop.view(check.job.id)
    assert check.unreleased == f"a round was open in the job of {DAY}"
    assert not card_of(shop, check).released


def test_a_recheck_does_not_release_what_was_turned_and_not_measured(shop: Shop) -> None:
    view = signed_before(shop)
    while view.stage == "turning":
        view = shop.step_done(view)
    assert (view.stage, shop.ski_state(view.ski.id).turned) == ("measuring", True)
    check = shop.view(shop.queue(view.ski.id, kind="recheck").id)
    for item in check.checklist:
        shop.book.add_fact(check.job.id, "KV", rows.Tick(checklist="final", item=item.key))
    check = shop.view(check.job.id)
    with pytest.raises(ElsewhereError, match="turned and not measured"):
        shop.sign_off(check, "KV")
    shop.book.add_fact(check.job.id, "KV", rows.SignOff())
    assert shop.view(check.job.id).unreleased == "not measured after the last turn"


def test_a_ski_whose_recheck_waits_for_a_measurement_can_be_queued_to_be_set(shop: Shop) -> None:
    """A stud was turned at another bench in the job that is signed off here: no round is open."""
    view = signed(shop)
    check = shop.view(shop.queue(view.ski.id, kind="recheck").id)
    turns = [rows.Turn("tail", 0.125, 0.125)]
    shop.book.add_fact(
        view.job.id, "ML", rows.PassRow(number=9, turns=tuple(turns), finest_turn=0.125)
    )
    check = shop.view(check.job.id)
    assert "queue the ski to be set" in other_job_words(check)
    with pytest.raises(ElsewhereError, match="queue the ski to be set first"):
        shop.tick(check, check.checklist[0].key)
    again = shop.view(queue.queue_again(shop, view.ski.id))
    with pytest.raises(InputError, match="in the queue already"):
        queue.queue_again(shop, view.ski.id)
    again = walk_to(shop, again, heron(again), "signed off")
    assert card_of(shop, again).released
    check = walk_to(shop, shop.view(check.job.id), heron(again), "signed off")
    assert (check.stage, check.unreleased) == ("signed off", "")


def test_a_recheck_may_bring_the_clamp_check_that_a_setting_lacks(shop: Shop) -> None:
    """What is asked is that the ski was measured and its bolts checked, not in which job."""
    view = signed(shop)
    view = struck(shop, view, clamp_tick(view))
    check = shop.view(queue.add_recheck(shop, view.ski.id))
    check = walk_to(shop, check, heron(view), "signed off")
    assert card_of(shop, check).released
    assert card_of(shop, shop.view(view.job.id)).released


def test_a_later_setting_takes_the_place_of_the_one_before(shop: Shop) -> None:
    """Its old numbers say so; it was released then, and its day still counts it."""
    view = signed(shop)
    fin = heron(view)
    again = shop.view(queue.queue_again(shop, view.ski.id))
    again = walk_to(shop, again, fin, "signed off", ("+.015", "", ""))
    assert card_of(shop, again).released
    card = card_of(shop, shop.view(view.job.id))
    assert not card.released
    assert card.status.startswith("NOT THE PRESENT SETTING")
    line = next(x for x in shop.roster() if x.job_id == view.job.id)
    assert line.is_done
    assert {s.moment for s in settings_in(load_history(shop, view.ski.id))} == {"received", "left"}


def test_a_round_goes_on_from_readings_of_now_where_another_job_measured_since(shop: Shop) -> None:
    """Carried on mid-round, and set meanwhile in another job: it is read again before any turn."""
    view = ski(shop, "Heron 66")
    fin = heron(view)
    view = walk_to(shop, view, fin, "turning")
    view = shop.step_done(shop.step_done(view))
    job = shop.book.add_job(view.ski.id, DAY, who="ML")
    for line in view.lines:
        taken = rows.Reading(
            method_id=line.method_id, pass_number=0, text="2.5", unit="in", mm=63.5
        )
        shop.book.add_fact(job.id, "ML", taken)
    view = shop.view(view.job.id)
    assert (view.stage, view.plan) == ("as received", None)
    assert not view.progress.mid_pass
    with pytest.raises(InputError, match="make the turns"):
        shop.step_done(view)


# -- what was kept by somebody who did not know ----------------------------------------------------


def forged(shop: Shop, view: JobView, *acts: Callable[[str], object]) -> JobView:
    """Keep rows as a file would bring them, past the use cases."""
    for act in acts:
        act(view.job.id)
    return shop.view(view.job.id)


def _final(shop: Shop, view: JobView, *left_out: str) -> Callable[[str], object]:
    items = [i for i in final_items(view.ski.has_wing) if i.key not in left_out]
    return lambda job: [
        shop.book.add_fact(job, "XX", rows.Tick(checklist="final", item=i.key)) for i in items
    ]


def _sign(shop: Shop) -> Callable[[str], object]:
    return lambda job: shop.book.add_fact(job, "XX", rows.SignOff())


def _pass(shop: Shop, number: int = 9) -> Callable[[str], object]:
    turn = rows.Turn("front", 0.25, 0.25)
    return lambda job: shop.book.add_fact(
        job, "XX", rows.PassRow(number=number, turns=(turn,), finest_turn=0.125)
    )


FORGED: dict[str, tuple[Callable[[Shop, JobView], tuple[Callable[[str], object], ...]], str]] = {
    "within": (lambda s, v: (_sign(s),), "clamp bolts not checked after the last turn"),
    "final check": (
        lambda s, v: (
            lambda job: s.book.add_fact(job, "XX", rows.Tick(checklist="received", item=CLAMP)),
            _sign(s),
        ),
        "clamp bolts not checked after the last turn",
    ),
    "sign-off": (
        lambda s, v: (_pass(s), _sign(s)),
        "not measured after the last turn",
    ),
    "waiting": (
        lambda s, v: (_final(s, v), _sign(s)),
        "not measured",
    ),
    "turning": (
        lambda s, v: (_final(s, v, "studs"), _sign(s)),
        "final check not complete",
    ),
}
"""By the stage of the ski: the rows that come in, and why they release nothing."""


@pytest.mark.parametrize("stage", FORGED)
def test_a_sign_off_that_does_not_follow_releases_nothing(shop: Shop, stage: str) -> None:
    """Nor on the card, in the list, on the day sheet, as the next step, in the history."""
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), stage)
    acts, why = FORGED[stage]
    view = forged(shop, view, *acts(shop, view))
    assert view.unreleased == why
    card = card_of(shop, view)
    assert not card.released
    assert "NOT RELEASED" in card.status
    assert why in card.status
    line = next(x for x in shop.roster() if x.job_id == view.job.id)
    assert (line.stage_words, line.unreleased) == ("NOT RELEASED", why)
    row = next(r for r in day_sheet(shop).rows if r.ski == view.ski.name)
    assert any(why in point for point in row.points)
    assert why in task_of(view).words
    history = load_history(shop, view.ski.id)
    moments = [s.moment for s in settings_in(history) if s.job_id == view.job.id]
    assert "left" not in moments
    told = [row_words(e.row, history, "in") for e in timeline_of(history).entries]
    assert any(f"signed off, NOT RELEASED: {why}" in words for words in told)


def test_the_clamp_bolts_ticked_before_the_last_turn_do_not_count(shop: Shop) -> None:
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "sign-off")
    read = [f for f in view.facts if isinstance(f, rows.Reading)][-len(view.lines) :]
    number = view.progress.pass_number + 1
    view = forged(
        shop, view, _pass(shop, number),
        lambda job: [
            shop.book.add_fact(job, "XX", rows.Reading(
                method_id=r.method_id, pass_number=number, text=r.text, unit=r.unit, mm=r.mm,
            ))
            for r in read
        ],
        _sign(shop),
    )  # fmt: skip
    assert view.unreleased == "clamp bolts not checked after the last turn"
    assert "NOT RELEASED" in card_of(shop, view).status


@pytest.mark.parametrize("answer", ["", "turned_back", "not_turned"])
def test_a_struck_record_of_a_turn_turns_no_stud_back(shop: Shop, answer: str) -> None:
    """Until somebody says that it was: then the readings of before say where the blade is."""
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "turning")
    view = shop.step_done(shop.step_done(view))
    for step in [f for f in view.facts if isinstance(f, rows.Mark) and f.kind == "step"]:
        shop.book.strike(step.id, "not true", "XX")
        if answer and step.number == 2:
            shop.book.add_mark(view.job.id, "XX", answer, text=step.id)
    view = shop.view(view.job.id)
    assert view.progress.state.turned == (not answer)
    assert view.stage == ("turning" if answer else "as received")


def test_what_is_kept_in_the_middle_of_a_round_neither_ends_nor_tightens_it(shop: Shop) -> None:
    """A reading, a target, ticks of the final check: of somebody who did not know of the turn."""
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "turning")
    view = before = shop.step_done(shop.step_done(view))
    line = view.lines[0]
    shop.book.add_fact(
        view.job.id,
        "XX",
        rows.Reading(method_id=line.method_id, pass_number=0, text="2.5", unit="in", mm=63.5),
    )
    shop.book.add_fact(
        view.job.id,
        "XX",
        rows.Target(
            method_id=line.method_id,
            text="2.6",
            unit="in",
            kind="value",
            mm=66.04,
            tolerance_mm=0.05,
        ),
    )
    view = forged(shop, view, lambda job: shop.book.add_mark(job, "XX", "accepted"))
    view = forged(shop, view, _final(shop, view))
    assert (view.stage, view.progress.step, view.progress.loose) == ("turning", 2, True)
    assert (view.progress.mid_pass, view.plan) == (True, before.plan)


def test_a_checklist_that_was_made_longer_later_takes_no_release(shop: Shop) -> None:
    view = signed(shop)
    items = (*final_items(False)[:-1], CheckItem("rubber", "Rubber looked at"))
    shop.book.set_setting(FINAL_SETTING, checklist_text(items), who="KV")
    assert card_of(shop, shop.view(view.job.id)).released


def test_a_ski_set_aside_since_is_not_released(shop: Shop) -> None:
    view = signed(shop)
    again = shop.view(queue.queue_again(shop, view.ski.id))
    again = shop.set_aside(again, "a clamp bolt is cracked")
    assert "a clamp bolt is cracked" in shop.view(view.job.id).unreleased
    shop.take_back(again)
    assert card_of(shop, shop.view(view.job.id)).released


def test_a_ski_that_was_set_aside_and_taken_up_is_released_by_a_new_sign_off(shop: Shop) -> None:
    """What it was set aside for may have been worked on: the sign-off before it says nothing."""
    view = signed(shop)
    again = shop.view(queue.queue_again(shop, view.ski.id))
    again = shop.take_up(shop.set_aside(again, "a clamp bolt is cracked"))
    assert "set aside since" in shop.view(view.job.id).unreleased
    again = walk_to(shop, again, heron(again), "signed off")
    assert card_of(shop, again).released


def test_a_ski_set_aside_in_one_job_is_not_released_by_another(shop: Shop) -> None:
    """The other job says where it is set aside; taken up there, the ski can be signed off."""
    view = signed(shop)
    again = shop.view(queue.queue_again(shop, view.ski.id))
    later = shop.view(shop.queue(view.ski.id).id)
    later = walk_to(shop, later, heron(later), "sign-off", ("+.010", "", ""))
    again = shop.set_aside(shop.view(again.job.id), "a clamp bolt is cracked")
    later = shop.view(later.job.id)
    with pytest.raises(InputError, match=f"set aside in the job of {DAY}: a clamp bolt"):
        shop.sign_off(later, "KV")
    shop.book.add_fact(later.job.id, "ML", rows.SignOff(text=""))
    assert "set aside in the job of" in shop.view(later.job.id).unreleased
    shop.take_up(shop.view(again.job.id))
    assert not card_of(shop, shop.view(later.job.id)).released


def test_recent_jobs_tell_the_same_as_the_whole_history(shop: Shop) -> None:
    """Lists read only what still matters of a ski."""
    signed_before(shop)
    skis = [each.id for each in shop.book.skis()]
    rules = shop_rules(shop.book)
    recent, whole = shop.book.ski_facts(skis), shop.book.ski_facts(skis, whole=True)
    assert any(len(recent[i].jobs) < len(whole[i].jobs) for i in skis)
    lists = {item.item.job.id: item for item in shop.book.day_list(DAY)}
    for job_id, item in lists.items():
        then = conclude(whole[item.ski.id], rules)
        assert conclude(item.ski, rules).jobs[job_id] == then.jobs[job_id]
    for ski_id in skis:
        now, then = conclude(recent[ski_id], rules), conclude(whole[ski_id], rules)
        assert now.key == then.key
        assert all(then.jobs[i] == state for i, state in now.jobs.items())


# -- files from another bench ----------------------------------------------------------------------


def test_signed_off_here_and_turned_there_is_told_by_the_import(shop: Shop, tmp_path: Path) -> None:
    """Two honest benches: KV signs off, ML turns a stud of the same ski."""
    ours, theirs = str(tmp_path / "ours.json"), str(tmp_path / "theirs.json")
    view = ski(shop, "Heron 66")
    fin = heron(view)
    view = walk_to(shop, view, fin, "within")
    (tmp_path / "b").mkdir()
    with open_shop(demo_file(tmp_path / "b"), who="ML") as other:
        exchange.export_book(shop, ours)
        exchange.take_in(other, ours)
        view = walk_to(shop, view, fin, "signed off")
        there = other.aim(other.view(view.job.id), view.lines[0], "+.010", "in")
        there = other.accept_target(there)
        while not there.progress.mid_pass:
            there = other.step_done(there)
        exchange.export_book(other, theirs)
    tried = exchange.take_in(shop, theirs, dry_run=True)
    taken = exchange.take_in(shop, theirs)
    assert taken.is_danger
    assert taken.changes == tried.changes
    last = taken_in_lines(taken)[-1]
    assert last.startswith("! 'Heron 66' (H66-014) is NOT RELEASED: ")
    assert "clamp bolts loose" in last
    assert "before: released by KV" in last
    view = shop.view(view.job.id)
    assert not card_of(shop, view).released
    assert "clamp bolts loose" in card_of(shop, view).status
    assert next(x for x in shop.roster() if x.job_id == view.job.id).unreleased
    assert exchange.take_in(shop, theirs).changes == ()


def test_dangers_are_named_before_what_is_only_new(shop: Shop, tmp_path: Path) -> None:
    file = str(tmp_path / "theirs.json")
    (tmp_path / "b").mkdir()
    with open_shop(demo_file(tmp_path / "b"), who="ML") as other:
        view = ski(other, "Heron 66")
        walk_to(other, view, heron(view), "signed off")
        other.book.add_fact(ski(other, "Otter 65").job.id, "XX", rows.SignOff())
        exchange.export_book(other, file)
    taken = exchange.take_in(shop, file)
    assert [(c.name, c.is_danger) for c in taken.changes] == [
        ("Otter 65", True), ("Heron 66", False),
    ]  # fmt: skip
    assert taken_in_lines(taken)[-1].startswith("'Heron 66' (H66-014) is released by KV on ")


def _harmed(folder: Path, kind: type, kept: str, column: str, value: object) -> tuple[Path, str]:
    """A book with a signed-off ski, of which the newest fact of a kind is damaged."""
    path = demo_file(folder)
    with open_shop(path) as shop:
        view = signed(shop)
        assert view.unreleased == ""
        row = [f for f in view.facts if isinstance(f, kind)][-1]
    change(path, kept, row.id, "id", **{column: value})
    return path, row.id


@pytest.mark.parametrize(
    ("kind", "kept", "column", "value"),
    [
        (rows.Reading, "readings", "mm", 62.0),
        (rows.Tick, "ticks", "item", "clamq"),
        (rows.Mark, "marks", "text", "?"),
        (rows.PassRow, "passes", "finest_turn", 0.5),
        (rows.SignOff, "sign_offs", "text", "?"),
    ],
)
def test_a_damaged_record_releases_no_ski_until_it_is_struck_out(
    tmp_path: Path, kind: type, kept: str, column: str, value: object
) -> None:
    """Whatever kind it is; that it is damaged is said where it stands in the history."""
    path, row_id = _harmed(tmp_path, kind, kept, column, value)
    with open_shop(path) as shop:
        view = ski(shop, "Heron 66")
        assert view.unreleased or view.stage != "signed off"
        assert not card_of(shop, view).released
        state = conclude(shop.book.ski_facts([view.ski.id])[view.ski.id], shop_rules(shop.book))
        assert state.release is None
        past = load_history(shop, view.ski.id)
        entry = next(e for e in timeline_of(past).entries if e.row.id == row_id)
        assert entry.struck is not None
        assert entry.struck.reason.startswith("damaged in the book: ")
        assert consequences(shop, entry) is not None
        shop.book.strike(row_id, "damaged", "KV")
        again = shop.view(view.job.id)
        assert "damaged" not in again.unreleased


def test_a_ski_with_a_damaged_record_is_not_signed_off(tmp_path: Path) -> None:
    """It is said what to do; the reading itself is asked for anew."""
    path = demo_file(tmp_path)
    with open_shop(path) as shop:
        view = ski(shop, "Heron 66")
        view = walk_to(shop, view, heron(view), "final check", ("+.020", "", ""))
        row = [f for f in view.facts if isinstance(f, rows.Reading)][-1]
    change(path, "readings", row.id, mm=row.mm + 1.0)
    with open_shop(path) as shop:
        view = ski(shop, "Heron 66")
        (line,) = [x for x in view.lines if x.method_id == row.method_id]
        assert row.id not in [r.id for r in line.latest]
        with pytest.raises(BenchError):
            shop.sign_off(view, "KV")
