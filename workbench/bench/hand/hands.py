"""What the hands hold: the bench's state, the ski in hand, the queue, and what is no reading yet.

Knows no widget.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import asdict, replace
from time import monotonic

from workbench.bench.bases.bursts import Pace
from workbench.bench.draw.text import Tone, on_one_line
from workbench.bench.hand.answers import Question
from workbench.bench.hand.state import DRAWINGS, SIDES, BenchState
from workbench.errors import BenchError, shown
from workbench.frozen import dataclass
from workbench.measure.units import other
from workbench.work.job.job_view import JobView, RosterLine
from workbench.work.job.open_book import what_came_in
from workbench.work.job.shop import ChangedError, Shop
from workbench.work.roster.keys import KEYS, keys_in_force
from workbench.work.text.fields import Texts
from workbench.work.text.words import error_words
from workbench.work.trust.shop_policy import UNIT

UNSEEN_S = 2.0
"""For so long what others did may not have been seen: a bench that was stopped goes on with the
keys that were pressed meanwhile."""

LONGEST_HELD = 2000
"""Most characters of an unplaced reading kept as a note: no caliper sends as many."""


ANSWERS = "+ takes it, Backspace corrects it"


def noted_words(text: str) -> str:
    """Return that what was typed was not taken, and where it is."""
    return f"'{text}' was not taken: it is kept as a note"


@dataclass(frozen=True, slots=True)
class Draft:
    """An entry in progress, and what it was begun for: job, stage, reading and round."""

    text: str
    job_id: str
    stage: str
    method_id: str
    pass_number: int


def _text_of(draft: Draft) -> str:
    """Return an entry in progress as the book keeps it."""
    return json.dumps(asdict(draft), ensure_ascii=False)


def draft_in(text: str) -> Draft | None:
    """Return the entry that a text of :func:`text_of` keeps; None where it is none."""
    try:
        found = Draft(**json.loads(text))
    except (ValueError, TypeError, RecursionError):
        return None
    texts = (found.text, found.job_id, found.stage, found.method_id)
    return found if all(isinstance(each, str) for each in texts) and found.text else None


def unfinished_text(heading: str, drafts: Mapping[str, Texts]) -> str:
    """Return what is typed in the form of that heading as one text to be kept."""
    texts = drafts.get(heading)
    return json.dumps({heading: texts}) if texts else ""


def unfinished_form(text: str | None) -> dict[str, Texts]:
    """Return drafts kept by :func:`unfinished_text`; a text that is none of ours gives none."""
    try:
        found = json.loads(text or "{}")
        return {
            str(heading): {str(key): on_one_line(str(value)) for key, value in texts.items()}
            for heading, texts in found.items()
        }
    except (ValueError, AttributeError, RecursionError):
        return {}


class Hands:
    """Holds the bench's state, and tells ``changed`` of every new one."""

    def __init__(self, shop: Shop, changed: Callable[[BenchState], None] | None = None) -> None:
        self.asks: Callable[[str], None] = lambda action: None
        """Opens the screen of an action; set by who has screens."""
        self.shop = shop
        self.changed = changed or (lambda state: None)
        self.alarms: Callable[[], None] = lambda: None
        """Rings and flashes at a doubtful entry; set by who has a terminal."""
        self.pace = Pace()
        self.noted = ""
        self.answered = False
        self._draft = ""
        self.refused = ""
        self._news: tuple[float, str] = (float("-inf"), "")
        self.put_by: Question | None = None
        """The question put by while keys come that may be a burst's."""
        settings = shop.book.settings()
        self.state = BenchState(roster=shop.roster(near=settings.get("job", "")), day=shop.day)
        self.take_settings(settings)
        self._open_first(settings.get("job", ""))
        self._take_up_draft(settings.get("draft", ""))

    # -- state -----------------------------------------------------------------------------------

    def change(self, **changes: object) -> None:
        """Put a new state with these fields in the place of the old, and tell of it."""
        if "message" in changes:  # the tone of what was said before is not this one's
            changes.setdefault("tone", "say")
            changes.setdefault("doubted", None)
        if "view" in changes or "roster" in changes:  # the ski in hand is to be seen again
            changes.setdefault("scrolled", 0)
        self.state = replace(self.state, **changes)  # type: ignore[arg-type]
        self.changed(self.state)

    def say(self, message: str, tone: Tone = "say") -> None:
        """Show a message until the next one."""
        self.change(message=message, tone=tone)

    def shares(self, **changes: str) -> None:
        """Show how the book is in step with its hub, and who else has the ski in hand."""
        if any(getattr(self.state, name) != words for name, words in changes.items()):
            self.change(**changes)

    def take_settings(self, settings: Mapping[str, str]) -> None:
        """Take over the settings that the bench itself shows."""
        unit = UNIT.of(settings.get(UNIT.name))
        drawing = next((d for d in DRAWINGS if d == settings.get("drawing")), DRAWINGS[0])
        name = settings.get("shop", "")
        keys, wrong = keys_in_force(settings.get(KEYS, ""))
        self.change(
            unit=unit, who=self.shop.who, shop_name=name, drawing=drawing, question=None, keys=keys
        )
        if wrong:
            self.say(wrong, "warn")

    def show(self, view: JobView, message: str = "", tone: Tone = "done") -> None:
        """Show a job's new view after something was kept; its row of the roster follows."""
        at = view.progress
        message, self.noted = "; ".join(x for x in (message, self.noted) if x), ""
        stage_changed = self.state.view is None or self.state.view.stage != view.stage
        roster = tuple(
            replace(
                line,
                stage=view.stage,
                pass_number=at.pass_number,
                read=True,
                reason=at.reason,
                loose=at.loose,
                unreleased=at.unreleased,
            )
            if line.job_id == view.job.id
            else line
            for line in self.state.roster
        )
        if sum(line.ski_id == view.ski.id for line in roster) > 1:  # its other job may change too
            roster = self.shop.roster()
        self.change(
            view=view, roster=roster, entry="", question=None, offered=0, selected=None,
            message=message, tone=tone,
            hands_on=self.state.hands_on and (
                not stage_changed or view.stage == "received check" or view.begins_final),
            side=None if stage_changed else self.state.side,
        )  # fmt: skip
        self.pace.clear()
        self._forget_draft()

    def did(self, view: JobView, message: str, tone: Tone = "done") -> None:
        """Show what a command did; an entry that stood there meanwhile is kept as a note."""
        entry = self.state.entry
        if self.put_by is not None and not self.note_by():
            return
        if entry in ("+", "-"):
            entry = ""
        if entry and not self.keep_note(entry):
            return
        if entry:
            self.noted = noted_words(entry)
            view = self.shop.view(view.job.id)
        self.show(view, message, tone)

    def _forget_draft(self) -> None:
        """What was kept must not come back as a draft, should the bench be killed."""
        if self._draft:
            self._draft = ""
            self.remember("draft", "")

    def remember(self, name: str, value: str) -> bool:
        """Keep a setting of the bench; where the book cannot, say so and return False."""
        return self.attempt(lambda: self.shop.remember(name, value))

    def _open_first(self, job_id: str) -> None:
        known = [line.job_id for line in self.state.roster]
        if not known:
            return
        if job_id not in known:
            job_id = next(self._unfinished(self.state.roster), known[0])
        self.attempt(lambda: self.change(view=self.shop.view(job_id)))

    def _take_up_draft(self, kept: str) -> None:
        """Put an entry begun before back on the line that it was begun for; else it is a note.

        What an older bench kept says not of which ski it is: it is told, and not taken.
        """
        self._draft = kept
        begun = draft_in(kept)
        if begun is None and self.state.view is None:
            self.change(entry=kept)
        elif begun is None and kept:
            self._forget_draft()
            self.say(f"'{kept}' was typed before, of which ski is not known: type it again", "warn")
        if begun is None:
            return
        lines = self.state.view.lines if self.state.view is not None else ()
        at = next((i for i, x in enumerate(lines) if x.method_id == begun.method_id), None)
        if at is not None and at != self.state.line_index:
            self.change(selected=at)
        if self.state.view is not None and begun == self._begun(begun.text):
            self.change(entry=begun.text)
            return
        self.change(selected=None)
        self.attempt(lambda: self._note_draft(begun))

    def _note_draft(self, begun: Draft) -> None:
        view = self.shop.note(self.shop.view(begun.job_id), "held", begun.text)
        self._forget_draft()
        here = self.state.view is not None and self.state.view.job.id == begun.job_id
        self.change(view=view if here else self.state.view)
        self.say(f"{noted_words(begun.text)} to {view.ski.name}", "warn")

    def _begun(self, text: str) -> Draft:
        """Return an entry with what it was begun for."""
        view, line = self.state.view, self.state.line
        assert view is not None
        method_id = line.method_id if line is not None else ""
        return Draft(text, view.job.id, view.stage, method_id, view.progress.pass_number)

    def _unfinished(self, roster: Iterable[RosterLine]) -> Iterator[str]:
        """Yield the jobs that are neither released nor set aside, in order."""
        for line in roster:
            seen = line if line.read else self.shop.view(line.job_id)
            if seen.unreleased or seen.stage not in ("signed off", "set aside"):
                yield line.job_id

    def read_all(self) -> None:
        """Read the stages of the whole day, where those around the ski in hand were read first."""
        if not all(line.read for line in self.state.roster):
            self.attempt(lambda: self.change(roster=self.shop.roster()))

    def foresee(self) -> None:
        """Work out ahead what the next reading of the ski in hand needs."""
        view = self.state.view
        if view is not None:
            with suppress(BenchError):
                self.shop.foresee(view)

    def look_ahead(self) -> None:
        """Work out ahead the skis beside this one, which may be opened next."""
        roster, here = self.state.roster, self.state.position
        if here is not None:
            for at in {(here + 1) % len(roster), (here - 1) % len(roster)} - {here}:
                with suppress(BenchError):
                    self.shop.view(roster[at].job_id)

    def open(self, job_id: str) -> None:
        """Take a ski of the roster in hand; an entry in progress is kept as a note, not lost."""
        self.attempt(lambda: self._open(job_id))

    def _open(self, job_id: str) -> None:
        view, left = self.shop.view(job_id), self.state.view
        if self.put_by is not None and not self.note_by():
            return
        entry, message = self.state.entry, ""
        entry = "" if entry in ("+", "-") else entry
        if left is not None and entry:
            if not self.keep_note(entry):
                return
            message, entry = f"{noted_words(entry)} to {left.ski.name}", ""
            view = self.state.view if self.state.view and left.job.id == job_id else view
        self.answered, self.noted, self.refused = False, "", ""
        self._news = (float("-inf"), "")
        self.change(
            view=view,
            entry=entry,
            question=None,
            selected=None,
            hands_on=False,
            side=None,
            message=message,
            tone="warn" if message else "say",
            waiting=(),
        )
        self.remember("job", job_id)

    def begins_serial(self, text: str) -> bool:
        """Tell whether the serial of a ski of the day begins so."""
        return any(line.serial.startswith(text) for line in self.state.roster)

    def scanned(self, serial: str) -> RosterLine | str:
        """Return the day's ski of a serial, else what is to be said of it; nothing of no serial.

        Raises:
            BenchError: the book does not answer.
        """
        from workbench.work.roster.queue import by_serial

        lines, known = by_serial(self.shop, self.state.roster, serial)
        if len({line.ski_id for line in lines}) > 1 or len(known) > 1:
            return f"more than one ski has the serial {serial}: take it by its name"
        if lines:
            return lines[0]
        return f"{known[0].name} is not in today's queue: r queues it again" if known else ""

    def look_again(self, *, by_others: bool = False) -> None:
        """Read roster and job again; what others did to the ski in hand is told.

        What was begun on the ski as it was is then begun anew.
        """
        before = self.state.view
        self.attempt(self._look_again)
        now = self.state.view
        if not by_others or before is None or now is None or now.job.id != before.job.id:
            return
        if (now.seen.facts, now.seen.newest) != (before.seen.facts, before.seen.newest):
            what = what_came_in(before, now, self.shop.book)
            words = f"{now.ski.name}: {what}: look at it again"
            self._news, self.answered = (monotonic(), words), True
            self.change(hands_on=False, question=None, message=words, tone="warn")

    def changed_just_now(self) -> bool:
        """Whether others did something to the ski in hand that may not have been seen yet; say so.

        A key pressed then was meant for the ski as it was.
        """
        (at, words), self._news = self._news, (float("-inf"), "")
        if monotonic() - at > UNSEEN_S:
            return False
        self.refused = self.state.entry
        self.say(words, "warn")
        return True

    def show_anew(self, why: ChangedError) -> None:
        """Show the ski as it is now; an entry that was refused stays on the line."""
        self.change(hands_on=False, question=None)
        self.attempt(self._look_again)
        self.refused, self.answered = self.state.entry, True
        self.say(self._told(why), "warn")

    def _look_again(self) -> None:
        state = self.state
        view = self.shop.view(state.view.job.id) if state.view is not None else None
        self.change(roster=self.shop.roster(), view=view, day=self.shop.day)
        if view is None:
            self._open_first("")

    def leave(self) -> bool:
        """Keep the ski in hand and the entry in progress, for the next time the bench opens.

        False where the book does not take the entry.
        """
        entry = self.state.entry
        begun = self.state.view is not None and entry
        kept = self.remember("draft", _text_of(self._begun(entry)) if begun else entry)
        if self.state.view is not None:
            self.remember("job", self.state.view.job.id)
        return kept

    def attempt(self, act: Callable[[], object]) -> bool:
        """Do something; where it is refused, say why and return False."""
        try:
            act()
        except ChangedError as why:
            self.show_anew(why)
            return False
        except BenchError as why:
            self.say(self._told(why), "warn")
            return False
        return True

    def _told(self, why: BenchError) -> str:
        """Return an error in words; the book's path would push the way on out of the line."""
        words = error_words(why, self.state.unit)
        return words.removeprefix(f"{shown(str(self.shop.book.path), 300)}: ")

    # -- the queue -------------------------------------------------------------------------------

    def step_queue(self, by: int) -> None:
        """Take the next or the previous ski of the queue in hand."""
        roster = self.state.roster
        if not roster:
            self.say("the queue is empty: Enter adds a ski", "warn")
            return
        here = self.state.position
        at = 0 if here is None else (here + by) % len(roster)
        self.attempt(lambda: self.open(roster[at].job_id))

    def next_unfinished(self) -> None:
        """Take the next ski in hand that is neither signed off nor set aside."""
        roster, here = self.state.roster, self.state.position or 0
        self.attempt(lambda: self._next_of((*roster[here + 1 :], *roster[: here + 1])))

    def _next_of(self, roster: tuple[RosterLine, ...]) -> None:
        job_id = next(self._unfinished(roster), None)
        if job_id is None:
            self.say("every ski of the day is signed off or set aside", "done")
        else:
            self.open(job_id)

    def select(self, by: int, **changes: object) -> None:
        """Choose another reading or target by hand; past the last target none is marked."""
        view, at = self.state.view, self.state.marked
        if view is None or not view.lines or self.state.question is not None:
            return
        if at is None:
            at = -1 if by > 0 else 0
        self.change(selected=(at + by) % len(view.lines), doubted=None, **changes)
        self._read_again()

    def _read_again(self) -> None:
        """Read the entry in progress anew, for the unit or the line it would now count for."""
        if self.state.mending:
            self.change(**self.state.understood(self.state.entry))

    def next_side(self) -> None:
        """Let the next panel stand at the side."""
        self.change(side=SIDES[(SIDES.index(self.state.shown_side) + 1) % len(SIDES)])

    def next_drawing(self) -> None:
        """Draw with other signs: braille, blocks, ASCII."""
        at = DRAWINGS[(DRAWINGS.index(self.state.drawing) + 1) % len(DRAWINGS)]
        self.change(drawing=at, message=f"drawing with {at}")
        self.remember("drawing", at)

    def flip_unit(self) -> None:
        """Exchange inch and mm everywhere; what was typed keeps its own unit."""
        unit = other(self.state.unit)
        self.change(unit=unit, question=None)
        self.remember("unit", unit)
        self._read_again()

    # -- what is no reading yet -------------------------------------------------------------

    def hold(self, text: str) -> bool:
        """Keep what a caliper sent while something else was open; never an answer to it.

        Returns whether it is kept; where it is not, the message says why.
        """
        if len(text) > LONGEST_HELD:
            self.say(f"more than {LONGEST_HELD} characters arrived: that is no reading", "warn")
            return False
        if not text or not self.keep_note(text):
            return False
        self.say(f"'{text}' arrived while this was open: kept as a note, not taken", "warn")
        return True

    def note_by(self) -> bool:
        """Keep the entry of the question put by as a note: a hand typed another in its place."""
        asked, self.put_by = self.put_by, None
        if asked is None:
            return True
        if not self.keep_note(asked.text):
            self.put_by = asked
            return False
        self.noted = noted_words(asked.text)
        return True

    def keep_note(self, text: str) -> bool:
        """Keep a text as a note to the ski in hand; where that fails, say so with the text."""
        view = self.state.view
        if view is None:
            self.say(f"no ski in hand: '{text}' is not kept", "warn")
            return False
        try:
            self.change(view=self.shop.note(view, "held", text))
        except BenchError as why:
            self.say(f"'{text}' arrived and is not kept: {self._told(why)}", "warn")
            return False
        return True
