"""A day in the shop with the keyboard alone: from the CSV's intake to the day sheet."""

from __future__ import annotations

import json
import re
from datetime import timedelta
from pathlib import Path

import pytest

from tests.bench.screens import Screen, bench
from tests.shop import DAY, TODAY, Fin, at_stage, heron
from workbench.bench.bases.forms import Form
from workbench.bench.hand.state import BenchState
from workbench.bench.panels.panel_text import roster
from workbench.bench.screens.help_screens import entries, matching
from workbench.errors import InputError
from workbench.measure.lengths import parse_length
from workbench.records.store import rows
from workbench.work.history.rides import complaints_in, ride_rules_of
from workbench.work.job.job_view import RosterLine
from workbench.work.job.shop import Shop

CSV = """Ski,Rider,Serial,Model,Size,Unit,Blade,Block,Wing,Due,Note
Plover 67,Nadia Brum,QT-9101,Plover,67,in,1,1,yes,09:30,first set of the year
Dunlin 68,Bo Tarrant,QT-9104,Dunlin,68,in,2,1,no,10:15,
Ruff 66,Sela Quist,QT-9105,Ruff,66,mm,1,1,no,15:00,edge nicked
"""
TOMORROW = (TODAY + timedelta(days=1)).isoformat()


OFF_S = 0.08
"""So long a hand is off the keys before an Enter that is no burst's."""


class Keys:
    """A hand at the keyboard of a bench."""

    def __init__(self, screen: Screen) -> None:
        self.screen = screen

    @property
    def top(self) -> str:
        """The name of the screen that lies on top."""
        return type(self.screen.app.screen).__name__

    @property
    def said(self) -> str:
        """What the bench says."""
        return self.screen.app.hands.state.message

    async def hit(self, *keys: str) -> None:
        """Press keys that have names, each settled before the next."""
        for key in keys:
            await self.screen.pilot.press(key)

    async def type(self, text: str) -> None:
        """Type text into a line, and take the hand off the keys."""
        self.screen.burst(text)
        await self.screen.pilot.pause(OFF_S)

    async def enter(self, text: str) -> None:
        """Type text and press Enter on purpose."""
        await self.type(text)
        await self.screen.by_hand("\n")

    async def do(self, words: str, opens: str = "") -> None:
        """Find an action in the palette and do it."""
        await self.screen.by_hand(":")
        await self.until("Palette")
        await self.enter(words)
        if opens:
            await self.until(opens)

    async def until(self, name: str) -> None:
        """Wait until a screen of this name lies on top; a "Form" is a form of any kind."""
        for _ in range(100):
            if self.top == name or (name == "Form" and isinstance(self.screen.app.screen, Form)):
                await self.screen.pilot.pause(0.05)  # its line has the focus only now
                return
            await self.screen.pilot.pause(0.03)
        raise AssertionError(f"{name} never came, there is {self.top}: {self.screen.shown()}")

    async def home(self) -> None:
        """Press Esc until nothing lies over the bench."""
        for _ in range(4):
            if len(self.screen.app.screen_stack) == 1:
                return
            await self.hit("escape")
        raise AssertionError(f"Esc does not close {self.top}")


async def _step(keys: Keys, fin: Fin) -> None:
    """Do what the next-step line asks for, as a careful technician."""
    screen, view = keys.screen, keys.screen.view
    if view.checklist or view.stage == "sign-off":
        asked = view.stage == "sign-off" and view.rules.second_eyes and not view.progress.eyes
        begun = screen.app.hands.state.hands_on
        await screen.by_hand("+" if begun else "\n")
        if asked and begun:
            await keys.until("Prompt")
            await keys.enter("AB")
    elif view.stage in ("as received", "measuring"):
        screen.burst(fin.text(view.lines[view.due or 0]) + "\n")
        await screen.pilot.pause(0.05)
    elif view.stage == "target" and not view.progress.targets and not view.offers_last:
        await screen.by_hand("+.010\n")
    elif view.stage == "wing":
        await screen.by_hand("7.5\n")
    else:
        await screen.by_hand("\n")
        if screen.view.stage == "measuring" and view.stage == "turning":
            fin.follow(view)


async def _walk(keys: Keys, fin: Fin, until: str) -> None:
    for _ in range(60):
        if keys.screen.view.stage == until:
            return
        await _step(keys, fin)
    raise AssertionError(f"never reached {until}: stands at {keys.screen.view.stage}")


async def _intake(keys: Keys, file: Path) -> None:
    """Take the day's CSV in: first its trial, then for good."""
    await keys.do("files", "ExchangeScreen")
    await keys.hit("c")
    await keys.until("Form")
    await keys.type(str(file))
    await keys.hit("f2")
    await keys.until("TrialScreen")
    assert "3 skis would be queued: 3 new" in keys.screen.shown()
    assert len(keys.screen.app.shop.roster()) == 10
    await keys.hit("f2")
    await keys.until("ReportScreen")
    assert "3 skis were queued" in keys.screen.shown()
    await keys.home()


async def _queue(keys: Keys) -> None:
    """Put the queue in order, set a ski aside and take it up, and open the one wanted."""
    await keys.screen.by_hand("z")
    await keys.until("QueueScreen")
    await keys.hit("f5", "f4", "f6")
    await keys.until("Prompt")
    await keys.enter("no screw")
    await keys.until("QueueScreen")
    assert "set aside" in keys.screen.shown()
    await keys.hit("f6")
    await keys.enter("plov")
    assert len(keys.screen.app.screen_stack) == 1
    assert keys.screen.view.ski.name == "Plover 67"


async def _settings(keys: Keys) -> None:
    """Want two repeats, and a second pair of eyes."""
    await keys.do("settings of", "Form")
    await keys.hit("down", "down", "down", "down", "end", "backspace")
    await keys.type("2")
    await keys.hit(*["down"] * 6, "end", *["backspace"] * 3)
    await keys.type("on")
    await keys.hit("f2")
    assert len(keys.screen.app.screen_stack) == 1, keys.screen.shown()


async def _strike(keys: Keys, fin: Fin) -> None:
    """Answer yes to a reading with two digits exchanged, and strike it out again."""
    view = keys.screen.view
    line = view.lines[view.due or 0]
    good = parse_length(fin.text(line), "in").mm / 25.4
    await keys.screen.by_hand(f"{good + 0.03:.4f}\n")
    assert keys.screen.app.hands.state.question is not None
    await keys.screen.by_hand("+")
    await keys.screen.by_hand("x")
    await keys.until("StrikeScreen")
    await keys.enter("digits exchanged")
    assert len(keys.screen.app.screen_stack) == 1
    struck = [f for f in keys.screen.view.facts if isinstance(f, rows.Reading) and f.struck]
    assert [f.struck.reason for f in struck if f.struck] == ["digits exchanged"]


async def _whole_ski(keys: Keys) -> None:
    """From received to signed off: repeats, one struck out, the wing, second eyes."""
    fin = heron(keys.screen.view)
    await _walk(keys, fin, "turning")
    await _walk(keys, fin, "measuring")
    await _strike(keys, fin)
    await _walk(keys, fin, "wing")
    keys.screen.burst("2.4750\n")
    await keys.screen.settle()
    assert keys.screen.view.stage == "wing", "a caliper's number is no angle"
    await keys.do("wing", "WingScreen")
    await keys.hit("down")
    await keys.screen.by_hand("+")
    await keys.home()
    await _walk(keys, fin, "signed off")


async def _afterwards(keys: Keys) -> None:
    """Write the card, keep the baseline, and note what the rider said."""
    await keys.screen.by_hand("a")
    await keys.until("CardScreen")
    await keys.hit("f2")
    await keys.home()
    await keys.do("baselines", "BaselineScreen")
    await keys.hit("n")
    await keys.type("autumn")
    await keys.hit("f2")
    await keys.home()
    await keys.do("after the ride", "RideScreen")
    await keys.hit("n", "down")
    await keys.type("North bay")
    await keys.hit("down", "down", "down", "down")
    await keys.type("tail slides")
    await keys.hit("down", "down")
    await keys.type("3")
    await keys.hit("f2")
    assert keys.top == "RideScreen", keys.screen.shown()
    await keys.home()


async def _again(keys: Keys) -> None:
    """Queue the ski again, take a suggestion as the target, then go back to a setting."""
    await keys.screen.by_hand("z")
    await keys.until("QueueScreen")
    await keys.hit("f9")
    await keys.type("16:00")
    await keys.hit("f2")
    await keys.screen.by_hand("\n")
    assert keys.screen.view.job.note == "as last time"
    await _walk(keys, heron(keys.screen.view), "target")
    await keys.do("after the ride", "RideScreen")
    await keys.screen.by_hand("+")
    await keys.home()
    assert [t.kind for t in keys.screen.view.progress.targets.values()] == ["change"]
    await keys.screen.by_hand("o")
    await keys.until("HistoryScreen")
    await keys.hit("p", "p", "c")
    await keys.until("CompareScreen")
    await keys.hit("up", "g")
    await keys.home()
    assert len(keys.screen.view.progress.targets) == 3


async def _evening(keys: Keys, folder: Path) -> None:
    """Write the day sheet, keep a backup and an export, carry what is open to tomorrow."""
    await keys.do("day sheet", "DaySheetScreen")
    await keys.hit("f2")
    await keys.home()
    await keys.do("files", "ExchangeScreen")
    await keys.hit("k")
    for _ in range(60):
        if "Backup:" in keys.screen.shown():
            break
        await keys.screen.pilot.pause(0.03)
    await keys.hit("b")
    await keys.until("Form")
    await keys.hit("home", "ctrl+k")
    await keys.type(str(folder / "out.json"))
    await keys.hit("f2")
    for _ in range(60):
        if "Written:" in keys.screen.shown():
            break
        await keys.screen.pilot.pause(0.03)
    await keys.home()
    await keys.screen.by_hand("z")
    await keys.until("QueueScreen")
    await keys.hit("f8")
    assert "Only + does it" in keys.screen.shown()
    await keys.screen.by_hand("+")
    assert "carried to" in keys.screen.shown()
    await keys.home()


async def test_a_day_by_the_keyboard_alone(shop: Shop, tmp_path: Path) -> None:
    """Intake, queue, one ski in full, its card, ride, history and again, sheet, backup, export."""
    file = tmp_path / "skis.csv"
    file.write_text(CSV, encoding="utf-8")
    async with bench(shop, (80, 24)) as screen:
        keys = Keys(screen)
        await _intake(keys, file)
        await _queue(keys)
        await _settings(keys)
        await _whole_ski(keys)
        done = screen.view.job.id
        await _afterwards(keys)
        await _again(keys)
        await _evening(keys, tmp_path)
    _check_ski(shop, done)
    _check_ride_and_again(shop)
    _check_files(shop, tmp_path)
    await _tomorrow(shop)


def _check_ski(shop: Shop, job_id: str) -> None:
    facts = shop.book.facts(job_id)
    ticked = [f.checklist for f in facts if isinstance(f, rows.Tick)]
    assert ticked == ["received"] * 3 + ["final"] * 4
    assert [f.who for f in facts if isinstance(f, rows.SignOff)] == ["KV"]
    assert [f.text for f in facts if isinstance(f, rows.Mark) and f.kind == "second_eyes"] == ["AB"]
    wings = [(f.angle_deg, f.hold) for f in facts if isinstance(f, rows.WingSetting)]
    assert wings == [(7.5, "rear")]
    readings = [f for f in facts if isinstance(f, rows.Reading)]
    passes = [f for f in facts if isinstance(f, rows.PassRow)]
    assert len([r for r in readings if r.struck is None]) == 6 * (len(passes) + 1)
    assert len([r for r in readings if r.struck is not None]) == 1
    assert [f.text for f in facts if isinstance(f, rows.Mark) and f.kind == "held"] == ["2.4750"]


def _check_ride_and_again(shop: Shop) -> None:
    plover = next(x for x in shop.book.skis() if x.name == "Plover 67")
    first, second = shop.book.history_of_ski(plover.id)
    rides = [f for f in first.facts if isinstance(f, rows.RideNote)]
    assert [(r.place, r.rating, len(r.complaints)) for r in rides] == [("North bay", 3, 1)]
    assert [b.name for b in shop.book.baselines() if b.ski_id == plover.id] == ["autumn"]
    view = shop.view(second.job.id)
    assert (view.stage, view.job.due, view.job.day) == ("target", "16:00", TOMORROW)
    named = [t for t in second.facts if isinstance(t, rows.Target)]
    assert len([t for t in named if t.struck is None]) >= 3
    left = {line.stage for line in shop.lines_of(DAY)}
    assert left == {"signed off"}
    assert len(shop.lines_of(TOMORROW)) == 12


def _check_files(shop: Shop, folder: Path) -> None:
    written = sorted(p.name for p in (folder / "cards").iterdir())
    assert [n.rsplit(".")[-1] for n in written if n.startswith("plover-67")] == [
        "html", "pdf", "svg", "txt",
    ]  # fmt: skip
    sheet = (folder / "cards" / f"day-{DAY}.txt").read_text(encoding="utf-8")
    assert "14 skis: 2 signed off, 1 set aside, 11 open" in sheet
    assert "Plover 67" in sheet
    backups = [p.name for p in (folder / "backups").iterdir()]
    assert re.fullmatch(r"demo\.\d{4}-\d\d-\d\d\.db", *backups)  # by this machine's clock
    assert json.loads((folder / "out.json").read_text(encoding="utf-8"))


async def _tomorrow(shop: Shop) -> None:
    """The ski released today is offered again for its re-check, at a key."""
    later = Shop(shop.book, day=TOMORROW, who="KV")
    async with bench(later, (80, 24)) as screen:
        keys = Keys(screen)
        await screen.by_hand("z")
        await keys.until("QueueScreen")
        await keys.hit("end")
        assert "re-check offered: Stilt 65" in screen.shown()
        await screen.by_hand("+")
        await screen.settle()
        assert "re-check of Stilt 65 is in the queue" in screen.shown()
    assert [x.ski_name for x in later.roster() if x.kind == "recheck"] == ["Stilt 65"]


async def test_one_plus_too_many_leaves_the_ski_in_hand(shop: Shop) -> None:
    """The + behind the last tick answers nothing: the next reading must not go to another ski."""
    async with bench(shop) as screen:
        job = screen.view.job.id
        await screen.by_hand("\n+++")
        assert screen.view.stage == "as received"
        await screen.by_hand("+")
        assert screen.view.job.id == job
        assert "nothing more to answer" in screen.shown()
        assert screen.app.hands.state.entry == ""
        await screen.by_hand("+")
        assert (screen.view.job.id, screen.app.hands.state.entry) == (job, "+")


async def test_one_plus_too_many_signs_nothing_off(shop: Shop) -> None:
    """Behind the last tick of the final check the hand is off: Enter comes before the sign-off."""
    async with bench(shop) as screen:
        screen.app.hands.open(at_stage(shop, "final check").job.id)
        await screen.by_hand("\n")
        while screen.view.checklist:
            await screen.by_hand("+")
        await screen.by_hand("+")
        assert screen.view.stage == "sign-off"
        await screen.by_hand("\n+")
        assert screen.view.stage == "signed off"


@pytest.mark.parametrize("due", ["11:00", "", "once the new bolts are here, not before noon"])
def test_the_roster_shows_when_a_ski_is_due(due: str) -> None:
    """Beside the ski's name, however long the rider's; at the end it says what is not seen."""
    lines = tuple(
        RosterLine(f"j{i}", "Heron 66", "Ines Tavary-Halloran of Bay", "in", due, "waiting", 0)
        for i in range(20)
    )
    shown = roster(BenchState(roster=lines), 30, 12).plain.split("\n")
    assert shown[0].startswith("  1 Heron 66" if not due else "  1 Heron 66  ")
    assert shown[0].endswith("…" if len(due) > 12 else due)
    assert "Ines" in shown[1]
    assert all(len(line) <= 30 for line in shown)
    assert shown[-1].strip() == "0 above, 15 below"


def test_what_begins_with_the_words_typed_comes_first_in_the_palette() -> None:
    """'setti' is the setting card or the settings, then the last setting: a word within."""
    found = [e.answer for e in matching(entries(BenchState()), "setti")]
    assert set(found[:2]) == {"card", "settings"}
    assert "last_setting" in found[2:]
    assert matching(entries(BenchState()), "settings")[0].answer == "settings"


def test_complaints_are_known_by_their_words(shop: Shop) -> None:
    """Part of a complaint's words will do where no other has them."""
    rules = ride_rules_of(shop)
    first = rules.complaints[0]
    assert complaints_in(rules, f"{first.words[:11]}, 2") == rules.complaints[:2]
    with pytest.raises(InputError, match="complaints"):
        complaints_in(rules, "the")
