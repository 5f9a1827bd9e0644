"""Every act goes by what was seen of the ski: what came in since refuses it, nothing is kept."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from tests.shop import DAY, demo_file, heron, open_shop, read, ski, take_back, walk_to
from workbench.errors import InputError
from workbench.records.backup.copies import copy_book
from workbench.records.book import Book
from workbench.records.store import rows
from workbench.work.exchange import exchange
from workbench.work.exchange.backup import restore
from workbench.work.history.compare import go_back
from workbench.work.history.history import load_history, settings_in
from workbench.work.history.rides import keep_ride
from workbench.work.history.striking import strike_row
from workbench.work.history.timeline import timeline_of
from workbench.work.job.aim_last import aim_at_last
from workbench.work.job.base_curve import use_curve
from workbench.work.job.entry import Typed
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import ChangedError, Shop
from workbench.work.job.temperature import state_temperature
from workbench.work.roster import baselines, corrections, queue
from workbench.work.study import offsets
from workbench.work.trust import shop_policy

Act = Callable[[Shop, JobView], object]


@pytest.fixture
def both(tmp_path: Path) -> Iterator[tuple[Shop, Shop]]:
    """One book, open at two benches."""
    path = demo_file(tmp_path)
    with open_shop(path, "KV") as one, open_shop(path, "ADA") as two:
        yield one, two


def at(shop: Shop, stage: str, changes: tuple[str, ...] = ("+.010", "", "")) -> JobView:
    view = ski(shop, "Heron 66")
    return walk_to(shop, view, heron(view), stage, changes)


def every_fact(shop: Shop, view: JobView) -> object:
    """All that the book has of a ski."""
    return shop.book.history_of_ski(view.ski.id), shop.book.baselines_of(view.ski.id)


def _tick(shop: Shop, view: JobView) -> JobView:
    due = view.check_due
    assert due is not None
    return shop.tick(view, due.key)


def _by_row(shop: Shop, view: JobView) -> object:
    timeline = timeline_of(SEEN[view.ski.id])
    row = next(f for f in view.facts if isinstance(f, rows.Reading) and f.struck is None)
    entry = timeline.by_id(row.id)
    assert entry is not None
    return strike_row(shop, entry, "slipped")


SEEN: dict[str, object] = {}
"""Histories read before something came in, by ski."""

ACTS: dict[str, tuple[str, Act]] = {
    "a tick of the received check": ("received check", _tick),
    "a tick of the final check": ("final check", _tick),
    "a reading": ("measuring", lambda s, v: read(s, v, v.lines[0], "2.4600")),
    "a reading on within": ("within", lambda s, v: read(s, v, v.lines[0], "2.4600")),
    "fewer repeats": ("studs", lambda s, v: s.enough(v)),
    "studs seated": ("studs", lambda s, v: s.seat_studs(v)),
    "a value": (
        "target",
        lambda s, v: s.aim_at(v, v.lines[0], Typed("2.45", "in", 62.23), "value"),
    ),
    "a change": ("target", lambda s, v: s.aim(v, v.lines[0], "+.010", "in")),
    "the baseline": ("target", lambda s, v: s.aim_at_baseline(v)),
    "a baseline of the list": (
        "target", lambda s, v: baselines.aim_at(s, v, baselines.fitting(s, v)[0].baseline)
    ),
    "the last setting": ("target", aim_at_last),
    "a setting gone back to": (
        "target", lambda s, v: go_back(s, v, settings_in(load_history(s, v.ski.id))[0])
    ),
    "the wing's angle wanted": ("target", lambda s, v: s.aim_wing(v, 8.0)),
    "the target accepted": ("target", lambda s, v: s.accept_target(v)),
    "the target opened": ("turning", lambda s, v: s.reopen_target(v)),
    "a step of the round": ("turning", lambda s, v: s.step_done(v)),
    "a finer turn": ("turning", lambda s, v: s.set_finest(v, 0.0625)),
    "kept as it is": ("turning", lambda s, v: s.accept(v)),
    "accepted": ("within", lambda s, v: s.accept(v)),
    "a second pair of eyes": ("sign-off", lambda s, v: s.second_eyes(v, "ZZ")),
    "signed off": ("sign-off", lambda s, v: s.sign_off(v, "KV")),
    "set aside": ("turning", lambda s, v: s.set_aside(v, "lunch")),
    "taken back": ("target", lambda s, v: s.take_back(v)),
    "a turn taken back": ("measuring", take_back),
    "a reading struck out": ("within", lambda s, v: s.strike_reading(v, v.lines[0], "slipped")),
    "a row struck out": ("within", _by_row),
    "a temperature": (
        "within", lambda s, v: state_temperature(s, v, {"blade": "31 C", "scale": "C"})
    ),
    "a ride note": ("within", lambda s, v: keep_ride(s, v, {"text": "slides"})),
    "a baseline of now": ("within", lambda s, v: baselines.keep_now(s, v, "spring", "ski")),
    "the measured base": ("within", use_curve),
    "a pair": (
        "within",
        lambda s, v: offsets.add_pair(
            s, v, offsets.choices(s, v)[0], {"first": "6.95", "second": "6.99"}, "in"
        ),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", ACTS)
def test_an_act_on_a_view_that_is_no_longer_true_is_refused(
    both: tuple[Shop, Shop], name: str
) -> None:
    """Another bench entered something: told by whom, when and what, and the book is as it was."""
    shop, other = both
    stage, act = ACTS[name]
    view = at(shop, stage)
    SEEN[view.ski.id] = load_history(shop, view.ski.id)
    other.set_aside(other.view(view.job.id), "a cracked bolt")
    before = every_fact(shop, view)
    with pytest.raises(ChangedError, match=r"ADA set it aside: a cracked bolt at \d\d:\d\d") as why:
        act(shop, view)
    assert "look at it again" in str(why.value)
    assert every_fact(shop, view) == before
    assert why.value.now == shop.view(view.job.id)


def test_a_ski_taken_up_at_another_bench_is_not_taken_up_twice(both: tuple[Shop, Shop]) -> None:
    shop, other = both
    view = shop.set_aside(at(shop, "turning"), "lunch")
    other.take_up(other.view(view.job.id))
    with pytest.raises(ChangedError, match="ADA took it up again"):
        shop.take_up(view)


def test_a_note_is_kept_whatever_came_in(both: tuple[Shop, Shop]) -> None:
    """Nothing is concluded from it, and what came in off a caliper must not be lost."""
    shop, other = both
    view = at(shop, "sign-off")
    other.set_aside(other.view(view.job.id), "a cracked bolt")
    kept = shop.note(view, "held", "2.4505").facts[-1]
    assert isinstance(kept, rows.Mark)
    assert kept.text == "2.4505"


CHANGES: dict[str, Callable[[Shop, JobView], object]] = {
    "a note": lambda s, v: s.note(v, "note", "look at bolt 2"),
    "a reading struck out": lambda s, v: s.book.strike(v.lines[0].latest[0].id, "slip", "ADA"),
    "another job of the ski": lambda s, v: s.queue(v.ski.id),
    "an entry of another job": lambda s, v: s.book.add_mark(
        s.book.last_setting(v.ski.id, v.job.id) or "", "ADA", "note", text="late"
    ),
    "a strike in another job": lambda s, v: s.book.strike(
        s.book.facts(s.book.last_setting(v.ski.id, v.job.id) or "")[-1].id, "slip", "ADA"
    ),
    "carried": lambda s, v: s.book.carry_job(v.job.id, queue.day_after(DAY), who="ADA"),
    "its base corrected": lambda s, v: s.book.correct_ski(replace(v.ski, base_radius_mm=4000.0)),
    "its block corrected": lambda s, v: corrections.correct_studs(
        s, v.ski.block_id, {"lead_1": "0.4 mm"}, "in", "measured"
    ),
}


@pytest.mark.parametrize("name", CHANGES)
def test_whatever_of_the_ski_came_in_refuses_the_sign_off(
    both: tuple[Shop, Shop], name: str
) -> None:
    """Strikes, other jobs of the ski, its sheet and parts too; the next look signs off or not."""
    shop, other = both
    view = at(shop, "sign-off")
    CHANGES[name](other, other.view(view.job.id))
    with pytest.raises(ChangedError) as why:
        shop.sign_off(view, "KV")
    assert not any(isinstance(f, rows.SignOff) for f in shop.view(view.job.id).facts)
    assert view.job.id not in str(why.value)


def test_what_others_do_to_other_skis_and_to_the_order_refuses_nothing(
    both: tuple[Shop, Shop],
) -> None:
    shop, other = both
    view = at(shop, "sign-off")
    other.set_aside(ski(other, "Gannet 68"), "lunch")
    lines = other.roster()
    at_line = next(i for i, x in enumerate(lines) if x.job_id == view.job.id)
    queue.move(other, lines, view.job.id, 1 if at_line == 0 else -1)
    other.remember("job", view.job.id)
    assert shop.sign_off(view, "KV").stage == "signed off"


def test_a_rule_changed_meanwhile_is_the_rule_of_the_act(both: tuple[Shop, Shop]) -> None:
    """It is none of the ski's facts: the act is judged by it, and refused where it asks more."""
    shop, other = both
    view = at(shop, "sign-off")
    other.remember(shop_policy.EYES.name, "on")
    with pytest.raises(InputError, match="somebody else"):
        shop.sign_off(view, "KV")
    assert shop.sign_off(shop.second_eyes(view, "ADA"), "KV").stage == "signed off"


def test_a_struck_reread_turned_ski_is_not_signed_off(both: tuple[Shop, Shop]) -> None:
    """One bench at the sign-off; the other strikes, reads, loosens and turns meanwhile."""
    shop, other = both
    view = at(shop, "sign-off")
    theirs = other.view(view.job.id)
    while theirs.stage != "turning":
        theirs, _ = take_back(other, theirs)
        if theirs.stage == "within":
            theirs = other.accept_target(
                other.aim(other.reopen_target(theirs), theirs.lines[0], "+.020", "in")
            )
    theirs = other.step_done(other.step_done(theirs))
    assert theirs.progress.mid_pass
    with pytest.raises(ChangedError, match=r"ADA turned the \w+ stud"):
        shop.sign_off(view, "KV")
    after = shop.view(view.job.id)
    assert (after.stage, after.progress.loose) == ("turning", True)


def test_a_reading_on_within_does_not_pass_over_a_turn(both: tuple[Shop, Shop]) -> None:
    shop, other = both
    view = at(shop, "within")
    theirs = other.reopen_target(other.view(view.job.id))
    theirs = other.accept_target(other.aim(theirs, theirs.lines[0], "+.020", "in"))
    theirs = other.step_done(other.step_done(theirs))
    with pytest.raises(ChangedError):
        read(shop, view, view.lines[0], "2.4600")
    after = shop.view(view.job.id)
    assert (after.progress.step, after.progress.loose) == (2, True)


@pytest.mark.parametrize("steps", [0, 1, 5])
def test_two_acts_at_once_are_one(tmp_path: Path, steps: int) -> None:
    """Both have seen the same: whichever comes second is refused, and no step is counted twice."""
    path = demo_file(tmp_path)
    with open_shop(path) as shop:
        view = at(shop, "turning", ("+.010", "", "-.015"))
        assert view.plan is not None
        acts = len([s for s in view.plan.steps if s.do != "measure"])
        for _ in range(min(steps, acts - 1)):
            view = shop.step_done(view)
        before = len(view.facts)
    start, said = threading.Barrier(2), []

    def done(who: str) -> None:
        with open_shop(path, who) as own:
            seen = own.view(view.job.id)
            start.wait(60)
            try:
                own.step_done(seen)
                said.append("kept")
            except ChangedError:
                said.append("refused")

    hands = [threading.Thread(target=done, args=(who,)) for who in ("KV", "ADA")]
    for each in hands:
        each.start()
    for each in hands:
        each.join(120)
    assert sorted(said) == ["kept", "refused"]
    with open_shop(path) as shop:
        assert len(shop.view(view.job.id).facts) == before + 1


def test_a_target_of_many_numbers_is_set_whole_or_not_at_all(both: tuple[Shop, Shop]) -> None:
    """Between the numbers nobody else's write comes, and a refusal of one keeps none."""
    shop, _ = both
    view = at(shop, "target")
    base = shop.book.baselines_of(view.ski.id)[-1]
    wrong = replace(base.entries[-1], mm=-5.0, text="-5")
    with pytest.raises(InputError):
        shop.aim_at_baseline(view, replace(base, entries=(*base.entries[:-1], wrong)))
    assert shop.view(view.job.id).facts == view.facts


# -- restore and import ----------------------------------------------------------------------------


def test_an_import_of_the_ski_refuses_what_was_seen_before(tmp_path: Path) -> None:
    """Rows that come in bear the times they were made at: older ones count too."""
    path = demo_file(tmp_path)
    (tmp_path / "b").mkdir()
    with open_shop(demo_file(tmp_path / "b"), "ML") as other:
        other.note(ski(other, "Heron 66"), "note", "bolt 2 is cracked")
        exchange.export_book(other, str(tmp_path / "theirs.json"))
    with open_shop(path) as shop:
        view = at(shop, "sign-off")
        exchange.take_in(shop, str(tmp_path / "theirs.json"))
        with pytest.raises(ChangedError, match="ML wrote a note: bolt 2 is cracked"):
            shop.sign_off(view, "KV")
        assert shop.view(view.job.id).stage == "sign-off"


def test_a_restored_book_refuses_what_was_seen_in_the_one_before(tmp_path: Path) -> None:
    path = demo_file(tmp_path)
    with open_shop(path) as shop:
        at(shop, "within")
        copy_book(shop.book.path, tmp_path / "copy.db")
        view = at(shop, "sign-off")
    restore(path, str(tmp_path / "copy.db"))
    with open_shop(path) as shop:
        with pytest.raises(ChangedError):
            shop.sign_off(view, "KV")
        assert shop.view(view.job.id).stage == "within"


def test_a_job_that_is_not_in_the_restored_book_is_told(tmp_path: Path) -> None:
    path = demo_file(tmp_path)
    with open_shop(path) as shop:
        copy_book(shop.book.path, tmp_path / "copy.db")
        view = shop.view(shop.queue(ski(shop, "Heron 66").ski.id).id)
    restore(path, str(tmp_path / "copy.db"))
    with open_shop(path) as shop, pytest.raises(ChangedError, match="another book") as why:
        shop.set_aside(view, "lunch")
    assert why.value.now is None


# -- the queue -------------------------------------------------------------------------------------


def test_a_ski_done_meanwhile_is_not_carried_over(both: tuple[Shop, Shop]) -> None:
    """Neither alone nor with all: what the list said of it is no longer so, and nothing moves."""
    shop, other = both
    lines = shop.roster()
    view = at(other, "signed off")
    line = next(x for x in lines if x.job_id == view.job.id)
    days = {x.job_id: x.day for x in shop.roster()}
    for act in (
        lambda: queue.carry(shop, line, queue.day_after(DAY)),
        lambda: queue.carry_all(shop, lines, queue.day_after(DAY)),
    ):
        with pytest.raises(InputError, match="changed since"):
            act()
    assert {x.job_id: x.day for x in shop.roster()} == days


def test_an_order_made_by_another_is_not_ordered_by_the_old_one(both: tuple[Shop, Shop]) -> None:
    shop, other = both
    lines = shop.lines_of(DAY)
    queue.move(other, other.lines_of(DAY), lines[-1].job_id, -1)
    order = [x.job_id for x in shop.lines_of(DAY)]
    for act in (
        lambda: queue.move(shop, lines, lines[-1].job_id, -1),
        lambda: queue.sort_by_due(shop, lines, DAY),
    ):
        with pytest.raises(InputError, match="changed since"):
            act()
    assert [x.job_id for x in shop.lines_of(DAY)] == order


def test_a_ski_note_written_meanwhile_is_not_written_over(both: tuple[Shop, Shop]) -> None:
    """The job's own note is kept with it or not at all; a note left as it was changes nothing."""
    shop, other = both
    line = shop.roster()[0]
    queue.write_notes(other, line, {"job": "", "ski": "bolt 2 runs tight"})
    with pytest.raises(InputError, match="bolt 2 runs tight"):
        queue.write_notes(shop, line, {"job": "a word", "ski": "new shoes"})
    queue.write_notes(shop, line, {"job": "a word", "ski": line.ski_note})
    assert shop.book.ski(line.ski_id).note == "bolt 2 runs tight"


# -- what was turned and taken back ----------------------------------------------------------------


def test_the_record_of_a_turn_is_not_taken_back_without_a_word_on_the_stud(shop: Shop) -> None:
    """The loosening before it is no turn."""
    view = shop.step_done(shop.step_done(at(shop, "turning")))
    before = view.facts
    with pytest.raises(InputError, match="turned back by hand"):
        shop.take_back(view)
    assert shop.view(view.job.id).facts == before
    view, fact = shop.take_back(view, "turned_back")
    assert isinstance(fact, rows.Mark)
    assert fact.text.startswith("turn ")
    said = view.facts[-1]
    assert isinstance(said, rows.Mark)
    assert (said.kind, said.text) == ("turned_back", fact.id)
    assert (view.progress.step, view.progress.mid_pass) == (1, False)
    with pytest.raises(InputError, match="no record of a turn"):
        shop.take_back(view, "turned_back")
    view, fact = shop.take_back(view)
    assert isinstance(fact, rows.Mark)
    assert fact.number == 1, "what was said of a stud is not taken back alone"


def test_two_steps_taken_back_unsaid_release_nothing(shop: Shop) -> None:
    """Loosened, turned, both records taken back: the second asks first, so the turn stays."""
    view = shop.step_done(shop.step_done(at(shop, "turning")))
    for _ in range(2):
        with pytest.raises(InputError):
            shop.take_back(view)
    with pytest.raises(InputError, match="middle of a round"):
        shop.accept(view)


def test_a_pass_kept_by_one_entry_alone_is_the_record_of_its_turns(shop: Shop) -> None:
    """As books from elsewhere may have it: no step was kept, so the round says what was turned."""
    view = at(shop, "turning")
    turns = [rows.Turn("rear", 0.25, 0.25)]
    shop.book.add_fact(
        view.job.id, "KV", rows.PassRow(number=1, turns=tuple(turns), finest_turn=0.125)
    )
    with pytest.raises(InputError, match="turned back by hand"):
        shop.take_back(shop.view(view.job.id))
    view, _ = shop.take_back(shop.view(view.job.id), "not_turned")
    assert view.stage == "turning"


# -- numbers ---------------------------------------------------------------------------------------


def test_a_round_done_anew_never_has_the_number_of_one_that_stands(shop: Shop) -> None:
    """The first of two rounds struck out: the next is the third, and is measured for itself."""
    view = at(shop, "within", ("+.010", "", ""))
    view = shop.accept_target(shop.aim(shop.reopen_target(view), view.lines[0], "+.020", "in"))
    view = walk_to(shop, view, heron(view), "measuring")
    first = next(f for f in view.facts if isinstance(f, rows.PassRow))
    shop.book.strike(first.id, "entered twice", "KV")
    view = shop.view(view.job.id)
    assert (view.stage, view.progress.pass_number, view.progress.next_pass) == ("measuring", 2, 3)


def test_readings_of_a_struck_pass_are_not_those_of_the_next(shop: Shop) -> None:
    """They were taken before its turns: it gets another number, and has to be measured."""
    view = walk_to(shop, ski(shop, "Heron 66"), heron(ski(shop, "Heron 66")), "within")
    last = [f for f in view.facts if isinstance(f, rows.PassRow)][-1]
    shop.book.strike(last.id, "entered twice", "KV")
    view = shop.view(view.job.id)
    while view.stage == "turning":
        view = shop.step_done(view)
    assert view.stage == "measuring"
    assert view.progress.values.get(view.progress.pass_number) is None


def test_a_stopped_bench_that_goes_on_finds_its_view_refused(tmp_path: Path) -> None:
    """The desk keeps its connection; what others wrote meanwhile is seen within the write."""
    path = demo_file(tmp_path)
    with Book(path, bench="one") as first:
        shop = Shop(first, day=DAY, who="KV")
        view = at(shop, "sign-off")
        for n in range(3):
            with Book(path, bench=f"other {n}") as second:
                other = Shop(second, day=DAY, who="ADA")
                other.note(other.view(view.job.id), "note", f"look {n}")
        with pytest.raises(ChangedError, match="and 1 more"):
            shop.sign_off(view, "KV")
