"""What the bench shows and where the hand is, as one frozen value."""

from __future__ import annotations

from typing import Literal

from workbench.bench.draw.canvas import Mode
from workbench.bench.draw.text import Tone
from workbench.bench.hand.answers import Question, Waiting
from workbench.errors import BenchError
from workbench.frozen import dataclass
from workbench.measure.lengths import understand
from workbench.measure.units import Unit
from workbench.work.job.entry import CHANGE_SIGNS, changes_meant
from workbench.work.job.job_view import JobView, RosterLine
from workbench.work.roster.keys import AS_SHIPPED, Keys
from workbench.work.trust.job_reading import Line

Side = Literal["turns", "view", "roster"]
SIDES: tuple[Side, ...] = ("turns", "view", "roster")
CHANGE_SUCH_AS: dict[Unit, str] = {"in": "+.005", "mm": "+0.10"}
"""A change of a target as one would type it, for examples."""
DRAWINGS: tuple[Mode, ...] = ("braille", "block", "ascii")


@dataclass(frozen=True, slots=True)
class BenchState:
    """The job in hand, the day's roster, the entry in progress and what was last said.

    ``reads_as``: what the entry in progress is understood as; ``unclear``: it will be asked about.
    ``selected``: a line chosen by hand,
    else None for the one that is due. ``hands_on``: a check or a sign-off was begun on purpose.
    ``question``: an entry that needs an answer; ``offered``: which of its placings is offered.
    ``doubted``: the line that the message calls doubtful, while it is there. ``waiting``: what
    came off the caliper while a question was open, in its order. ``keys``: those in force.
    ``scrolled``: by how many skis the wheel has moved the queue. Where the book is
    shared by a hub: ``sharing`` is how far it is in step, ``elsewhere`` who else has the ski in
    hand, ``clash`` that another bench set it too.
    """

    roster: tuple[RosterLine, ...] = ()
    view: JobView | None = None
    unit: Unit = "in"
    entry: str = ""
    reads_as: str = ""
    unclear: bool = False
    selected: int | None = None
    hands_on: bool = False
    question: Question | None = None
    offered: int = 0
    message: str = ""
    tone: Tone = "say"
    side: Side | None = None
    drawing: Mode = "braille"
    who: str = ""
    shop_name: str = ""
    day: str = ""
    doubted: int | None = None
    waiting: tuple[Waiting, ...] = ()
    keys: Keys = AS_SHIPPED
    scrolled: int = 0
    sharing: str = ""
    sharing_short: str = ""
    elsewhere: str = ""
    clash: str = ""

    @property
    def mending(self) -> bool:
        """Whether an entry is in progress and nothing is asked, so that signs belong to it."""
        return bool(self.entry) and self.question is None

    def understood(self, entry: str) -> dict[str, object]:
        """Return what an entry is understood as now, and whether it will be asked about."""
        view, line = self.view, self.line
        plain: dict[str, object] = {"reads_as": entry, "unclear": False}
        if view is None or line is None or view.stage == "wing" or not entry:
            return plain
        try:
            if entry.startswith(CHANGE_SIGNS):
                return plain | self._understood_change(view, entry)
            found = understand(entry, self.unit, line.usual_mm)
        except BenchError:
            return plain
        if not found.is_clear:
            return plain | {"unclear": True}
        return plain | {"reads_as": f"{found.placings[0].number} {found.placings[0].unit}"}

    def _understood_change(self, view: JobView, entry: str) -> dict[str, object]:
        """Return what a change with a sign is understood as; at a reading it stays as typed."""
        if view.stage != "target":
            return {}
        changes = changes_meant(entry, self.unit)
        if len(changes) > 1:
            return {"unclear": True}
        return {"reads_as": f"{changes[0].text} {self.unit}"} if entry[1:].isdigit() else {}

    @property
    def line_index(self) -> int:
        """The index of the line that an entry goes to."""
        if self.view is None:
            return 0
        if self.selected is not None:
            return min(self.selected, len(self.view.lines) - 1)
        if self.view.due is not None:
            return self.view.due
        if self.view.lock_due is not None:
            return self.view.lock_due
        if self.view.stage == "target":
            for i, line in enumerate(self.view.lines):
                if line.target is None:
                    return i
        return 0

    @property
    def all_aimed(self) -> bool:
        """Whether every target is set and none is marked: what is left is to accept them."""
        view = self.view
        if view is None or view.stage != "target" or self.selected is not None:
            return False
        return bool(view.lines) and all(line.target is not None for line in view.lines)

    @property
    def marked(self) -> int | None:
        """The index of the line that is marked as the one an entry goes to; None where none is."""
        return None if self.all_aimed else self.line_index

    @property
    def line(self) -> Line | None:
        """The line that an entry goes to."""
        if self.view is None or not self.view.lines:
            return None
        return self.view.lines[self.line_index]

    @property
    def line_to_strike(self) -> Line | None:
        """The line of which a repeat is to be struck out: the one just doubted, else the marked."""
        if self.view is not None and self.doubted is not None:
            return self.view.lines[self.doubted]
        return self.line

    @property
    def shown_side(self) -> Side:
        """Which panel is at the side where there is room for one only."""
        if self.side is not None:
            return self.side
        if self.view is None or self.view.stage in ("waiting", "signed off", "set aside"):
            return "roster"
        return "turns" if self.view.stage in ("turning", "within", "wing") else "view"

    @property
    def is_day_done(self) -> bool:
        """Whether every ski of the day is signed off or set aside."""
        return all(line.is_done or line.stage == "set aside" for line in self.roster)

    @property
    def position(self) -> int | None:
        """The index of the job in hand in the roster."""
        if self.view is None:
            return None
        for i, line in enumerate(self.roster):
            if line.job_id == self.view.job.id:
                return i
        return None
