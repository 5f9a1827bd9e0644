"""The day's queue: its order, what is carried on, and find as you type among every ski.

Letters and digits are what is looked for, so that commands lie on the keys beside them. A
caliper's burst is taken out of the line again and held.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import Any, TypeAlias

from textual.content import Content
from textual.events import Key, Paste

from workbench.bench.bases.bursts import LONGEST_FIND, FindLine, SignKey
from workbench.bench.bases.forms import Form, by_view
from workbench.bench.bases.lists import ListScreen, Row
from workbench.bench.bases.prompts import ASIDE_REASONS, Prompt
from workbench.bench.draw.text import look_of, padded, styled, visible
from workbench.bench.hand.state import BenchState
from workbench.errors import InputError
from workbench.records.store.rows import QueueItem
from workbench.records.tables.roster import KnownSki
from workbench.work.job.job_view import RosterLine
from workbench.work.job.shop import Shop
from workbench.work.job_text.view_words import Importance, Said, stage_words
from workbench.work.roster import queue
from workbench.work.roster.queue import Finder, ago, queue_finder, ski_finder
from workbench.work.text.fields import REASON
from workbench.work.text.words import LOOSE_SHORT

MOST_SKIS = 200
"""Maximum number of found skis listed; more are only counted."""

SOON_S = 0.05
ALL_KEYS = (
    "letters and digits find by name, rider, serial and note: every word must match; Esc clears",
    "↑ ↓ PgUp PgDn move the mark",
    "Enter or + takes the ski in hand, queues a ski found below, adds the re-check offered",
    "← → the day before, the day after",
    "F2 notes: of this job, of this ski",
    "F3 F4 move the job up, down (Shift with ↑ ↓ does it too)",
    "F5 puts the whole day in the order it is due",
    "F6 sets aside with a reason; takes up again",
    "F7 carries this job to tomorrow; what is of another day, into today",
    "F8 and then + carries all that is unfinished to tomorrow; on another day, into today",
    "F9 as last time: queues this ski with its last setting as the target",
    "Esc goes back to the bench",
)


STAGE_CELLS = 17
DUE_CELLS = 8
_COLOURS = {"signed off": "$state-within", "set aside": "$state-caution"}


@dataclass(frozen=True, slots=True)
class Heading:
    """A line between the lists; nothing is done with it."""

    words: str


Thing: TypeAlias = RosterLine | QueueItem | KnownSki
InQueue: TypeAlias = Thing | Heading


def item_row(item: InQueue, marked: bool, width: int, day: str) -> Content:
    """Return an item on one line of ``width`` cells; ``day`` is the one that is looked at."""
    if isinstance(item, Heading):
        return styled((visible(item.words, width), "bold $accent"))
    if isinstance(item, RosterLine):
        return _job(item, marked, width, day)
    if isinstance(item, QueueItem):
        when = ago(item.job.day, day)
        words = f"re-check offered: {item.ski_name}, signed off {when}: + adds it"
        return styled(_mark(marked), ("? ", "$accent"), (visible(words, width - 4), _bold(marked)))
    name, rider, rest = _rooms(width)
    more = " · ".join(part for part in (item.serial, item.note) if part)
    text = f"{padded(item.name, name)} {padded(item.rider, rider)} "
    return styled(
        _mark(marked), "  ", (text, _bold(marked)),
        (visible(more, rest + STAGE_CELLS + DUE_CELLS), "$ink-faint"),
    )  # fmt: skip


def _job(line: RosterLine, marked: bool, width: int, day: str) -> Content:
    name, rider, rest = _rooms(width)
    stage = f"{line.glyph} {line.stage_words}"
    more = [line.unreleased] if line.unreleased else []
    more += [line.reason] if line.reason else []
    more += ["re-check"] if line.kind == "recheck" and line.stage != "waiting" else []
    more += [ago(line.day, day)] if line.day != day else []
    more += [part for part in (line.note, line.ski_note, line.serial) if part]
    loose = Said(Importance.DANGER, LOOSE_SHORT).signed if line.loose else ""
    # What is dangerous takes the rider's room, and is never cut.
    short = max(len(loose) + 1 - rest, 0) if loose else 0
    rider, rest = max(rider - short, 0), rest + min(short, rider)
    text = f"{padded(line.ski_name, name)} {padded(line.rider, rider)} "
    return styled(
        _mark(marked),
        (padded(stage, STAGE_CELLS + 2), _colour(line) or _bold(marked)),
        (text, _bold(marked)),
        (padded(line.due, DUE_CELLS), "bold"),
        (loose, look_of(Importance.DANGER)),
        " " if loose else "",
        (visible(" · ".join(more), rest - len(loose) - (1 if loose else 0)), "$ink-faint"),
    )


def _colour(line: RosterLine) -> str:
    return "$state-caution" if line.unreleased else _COLOURS.get(line.stage, "")


def _rooms(width: int) -> tuple[int, int, int]:
    """Return the cells for a ski's name, its rider and the rest of a line."""
    left = width - STAGE_CELLS - DUE_CELLS - 6
    name, rider = min(max(left * 3 // 7, 12), 26), min(max(left * 2 // 7, 8), 18)
    return name, rider, max(left - name - rider, 0)


def _mark(marked: bool) -> str:
    return "▸ " if marked else "  "


def _bold(marked: bool) -> str:
    return "bold" if marked else ""


class QueueScreen(ListScreen[InQueue]):
    """The queue of a day, today's first."""

    KEYS = " · ".join(ALL_KEYS)
    OWN_KEYS = ("f9",)
    SHOWN_KEYS = "Enter opens · F3 F4 order · F5 by due · F6 aside · F7 carries · F1 keys"
    TITLE_WORDS = "The day's queue"
    TAKES_TEXT = True

    def __init__(self, shop: Shop, state: BenchState) -> None:
        super().__init__()
        self.find = FindLine()
        self._sign = SignKey(self, self.find.type, lambda sign, time: self._open())
        self.shop = shop
        self.day = ""
        self._lines: tuple[RosterLine, ...] = ()
        self._offers: tuple[QueueItem, ...] = ()
        self._summary = ""
        self._in_day: Finder[RosterLine] = Finder(())
        self._known: Finder[KnownSki] | None = None
        self._asked = False

    def on_mount(self) -> None:
        """Show today's queue, the ski in hand marked; then get ready to find."""
        self.day = self.shop.day
        self.attempt(self._load)
        view = self.bench.hands.state.view
        if view is not None:
            self._mark_job(view.job.id)
        self.set_timer(SOON_S, lambda: self.attempt(self._all_skis))

    # -- what is listed --------------------------------------------------------------------------

    def _load(self) -> None:
        shop = self.shop
        self._lines = shop.lines_of(self.day)
        self._in_day = queue_finder(self._lines)
        self._offers = queue.rechecks_offered(shop) if self.day == shop.day else ()
        self._summary = queue.summary_of(shop, self._lines).words
        self.fill()

    def _all_skis(self) -> Finder[KnownSki]:
        if self._known is None:
            self._known = ski_finder(self.shop)
        return self._known

    def fill(self) -> None:
        """List what the line finds: in the day, and below it among all skis."""
        text = self.find.text
        items: list[InQueue] = list(self._in_day.find(text))
        if text.strip():
            here = {line.ski_id for line in self._lines}
            skis = [ski for ski in self._all_skis().find(text) if ski.id not in here]
            if skis:
                count = f"first {MOST_SKIS} of {len(skis)}" if len(skis) > MOST_SKIS else len(skis)
                items += [Heading(f"known skis, not in this list: {count}"), *skis[:MOST_SKIS]]
        elif self._offers:
            items += [Heading("after the first ride"), *self._offers]
        self.items = items
        self.settle(1)

    def settle(self, by: int) -> None:
        """Keep the mark on something that can be opened."""
        last = len(self.items) - 1
        self.at = min(max(self.at, 0), max(last, 0))
        if self.items and isinstance(self.items[self.at], Heading):
            self.at += by if 0 <= self.at + by <= last else -by

    @property
    def marked(self) -> Thing | None:
        """What the mark is at."""
        found = self.items[self.at] if self.at < len(self.items) else None
        return None if isinstance(found, Heading) else found

    def _mark_job(self, job_id: str) -> None:
        for i, item in enumerate(self.items):
            if isinstance(item, RosterLine) and item.job_id == job_id:
                self.at = i

    def _line(self) -> RosterLine:
        """Return the job that the mark is at; refuse anything else."""
        if not isinstance(self.marked, RosterLine):
            raise InputError("mark", "no job", "a job of the queue: move the mark to it")
        return self.marked

    def _another_day(self) -> bool:
        return self.day != self.shop.day

    # -- drawing ---------------------------------------------------------------------------------

    def head(self, width: int) -> Sequence[Content]:
        """Return the day, its sum and the line that finds."""
        name = date.fromisoformat(self.day).strftime("%A")
        when = "another day: F7 F8 carry into today" if self._another_day() else "today"
        find = self.find.text
        typed = (
            (find, "bold") if find else ("type to find: name, rider, serial, note", "$ink-faint")
        )
        return (
            styled((visible(f"{name} {self.day}, {when}", width), "bold")),
            styled(visible(self._summary, width)),
            styled(("▏", "$accent"), typed, ("▁" if find else "", "$accent")),
        )

    def rows(self, width: int) -> Sequence[Row]:
        """Return the list, or that it is empty."""
        if not self.items:
            words = "nothing found" if self.find.text.strip() else "no ski in this day's queue"
            return [styled((words, "$ink-faint"))]
        return super().rows(width)

    def row(self, item: InQueue, here: bool, width: int) -> Content:
        """Return an item on one line."""
        return item_row(item, here, width, self.day)

    def foot(self, width: int) -> Sequence[Content]:
        """Return what is known of the marked job or ski, in full."""
        item = self.marked
        if item is None or isinstance(item, QueueItem):
            return ()
        name = item.ski_name if isinstance(item, RosterLine) else item.name
        more = [name, item.rider, item.serial, item.note]
        more += [item.ski_note, item.reason] if isinstance(item, RosterLine) else []
        return (styled((visible(" · ".join(part for part in more if part), width), "$ink-faint")),)

    # -- keys ------------------------------------------------------------------------------------

    def take_key(self, event: Key) -> None:
        """Find by what is typed; any key but + leaves the whole day where it is."""
        key, char = event.key, event.character or ""
        asked = self._asked and char != "+"
        self._sign.settle(char)  # a + just before it still counts
        if asked:
            self._leave()
        if self.over or (asked and key in ("enter", "ctrl+j", "escape")):
            return
        if key in ("enter", "ctrl+j"):
            self._entered(event.time)
        elif char == "+":
            self._sign.press(char, event.time)
        elif key == "escape" and not self.find.text:
            self.close_list()
        elif key == "escape":
            self.find.clear()
            self._found()
        elif char == "*":
            self.flip()
        elif key == "backspace":
            self.find.rub_out()
            self._found()
        elif len(char) == 1 and char.isprintable():
            self.find.type(char, event.time)
            self._found()
        else:
            self.do_key(key)

    def _entered(self, time: float) -> None:
        found = self.find.enter(time)
        if found.kind == "burst":
            self.attempt(self.fill)
            self.hold(found.reading)
        elif found.kind == "purpose":
            self._open()

    def _open(self) -> None:
        if not self.over:
            self.attempt(self.open_marked)

    def _found(self) -> None:
        self.at = 0
        self.attempt(self.fill)
        self.say("")

    def on_paste(self, event: Paste) -> None:
        """Look for what was pasted, which is no answer; a reading that was is held."""
        event.stop()
        event.prevent_default()
        self._leave()
        text = event.text.strip()
        if text and not any(c.isalpha() for c in text):
            self.hold(text)
            return
        for char in text[:LONGEST_FIND]:
            if char.isprintable():
                self.find.type(char, 0.0)
        self._found()

    def _leave(self) -> None:
        if self._asked:
            self._asked = False
            self.say("")

    def acts(self) -> dict[str, Callable[[], None]]:
        """Return what the keys beside the letters do."""
        return {
            "f2": self._notes,
            "f3": lambda: self._move(-1), "shift+up": lambda: self._move(-1),
            "f4": lambda: self._move(1), "shift+down": lambda: self._move(1),
            "f5": self._by_due,
            "f6": self._aside,
            "f7": self._carry,
            "f8": self._ask_carry_all,
            "f9": self._as_last_time,
            "left": lambda: self._look_at(-1), "right": lambda: self._look_at(1),
        }  # fmt: skip

    # -- what the keys do ------------------------------------------------------------------------

    def open_marked(self) -> None:
        """Take the ski in hand, queue it, add the re-check offered, or carry all as was asked."""
        if self._asked:
            self._carry_all()
            return
        item = self.marked
        if isinstance(item, RosterLine):
            if self._another_day():
                raise InputError("day", self.day, "today's queue; F7 carries it into today")
            self.bench.hands.open(item.job_id)
            self.close_list()
        elif isinstance(item, QueueItem):
            job_id = queue.add_recheck(self.shop, item.job.ski_id)
            self._again(f"re-check of {item.ski_name} is in the queue", job_id)
        elif isinstance(item, KnownSki):
            self._queue(item.id, item.name, as_last_time=False)

    def _queue(self, ski_id: str, name: str, *, as_last_time: bool) -> None:
        shop = self.shop
        title = f"As last time: {name}" if as_last_time else f"Queue {name}"

        def save(texts: dict[str, str]) -> str:
            return queue.queue_again(shop, ski_id, texts["due"], texts["note"], as_last_time)

        self.app.push_screen(Form(title, queue.AGAIN, save), self._queued)

    def _queued(self, job_id: Any) -> None:
        if job_id:
            self.find.clear()
            self.day = self.shop.day
            self.attempt(lambda: self._again("in today's queue", str(job_id)))

    def _as_last_time(self) -> None:
        item = self.marked
        if isinstance(item, RosterLine):
            self._queue(item.ski_id, item.ski_name, as_last_time=True)
        elif isinstance(item, KnownSki):
            self._queue(item.id, item.name, as_last_time=True)

    def _again(self, words: str, job_id: str = "") -> None:
        """Read the day again, keep the mark on a job, and say what was done."""
        self._load()
        self._mark_job(job_id)
        self.say(words, "done")

    def _move(self, by: int) -> None:
        line = self._line()
        if self.find.text:
            raise InputError("order", self.find.text, "the whole list: Esc clears what is found")
        queue.move(self.shop, self._lines, line.job_id, by)
        self._again(f"{line.ski_name} moved {'up' if by < 0 else 'down'}", line.job_id)

    def _by_due(self) -> None:
        marked = self.marked
        count = queue.sort_by_due(self.shop, self._lines, self.day)
        job_id = marked.job_id if isinstance(marked, RosterLine) else ""
        self._again(f"in the order they are due: {count} moved", job_id)

    def _aside(self) -> None:
        line, shop = self._line(), self.shop
        view = shop.view(line.job_id)
        if (view.stage, view.progress.pass_number) != (line.stage, line.pass_number):
            self._load()
            raise InputError("ski", line.ski_name, f"a look at it again: now {stage_words(view)}")
        if view.stage == "set aside":
            shop.take_up(view)
            self._again(f"{line.ski_name} taken up again where it was left", line.job_id)
            return
        words = f"Set aside: {line.ski_name}"
        put_aside = by_view(view, lambda v, texts: shop.set_aside(v, texts[""]))
        prompt = Prompt(words, REASON.words, "", lambda text: put_aside({"": text}), ASIDE_REASONS)
        self.app.push_screen(prompt, lambda done: self._put_aside(line, done))

    def _put_aside(self, line: RosterLine, done: object) -> None:
        if done is not None:
            self.attempt(lambda: self._again(f"{line.ski_name} set aside", line.job_id))

    def _carry(self) -> None:
        line, shop = self._line(), self.shop
        into_today = line.day != shop.day
        day = shop.day if into_today else queue.day_after(shop.day)
        queue.carry(shop, line, day)
        self._again(f"{line.ski_name} carried to {'today' if into_today else day}", line.job_id)

    def _ask_carry_all(self) -> None:
        day, where = self._other_day()
        count = len(queue.left_for(self._lines, day))
        if not count:
            raise InputError("carry", "nothing", "a day with a ski that is not signed off")
        skis = "1 unfinished ski" if count == 1 else f"all {count} unfinished skis"
        self._asked = True
        self.say(f"Carry {skis} to {where}? Only + does it")

    def _carry_all(self) -> None:
        self._asked = False
        day, where = self._other_day()
        count = queue.carry_all(self.shop, self._lines, day)
        self._again(f"{count} carried to {where}")

    def _other_day(self) -> tuple[str, str]:
        """Return the day that skis are carried to, and in words."""
        today = self.shop.day
        if self._another_day():
            return today, "today"
        return (day := queue.day_after(today)), day

    def _look_at(self, by: int) -> None:
        self.day = queue.day_after(self.day, by)
        self.at = 0
        self._load()
        self.say("")

    def _notes(self) -> None:
        line, shop = self._line(), self.shop
        keep = partial(queue.write_notes, shop, line)
        form = Form(f"Notes: {line.ski_name}", queue.NOTES, keep, now={"ski": line.ski_note})
        self.app.push_screen(form, lambda _: self._noted(line.job_id))

    def _noted(self, job_id: str) -> None:
        self.attempt(lambda: self._again("", job_id))
