"""The readings of a study one by one, so that any of them can be struck out with a reason.

While the study is read the numbers are not shown: whoever still has to read must not know them.
"""

from __future__ import annotations

from collections.abc import Sequence

from textual.content import Content

from workbench.bench.bases.lists import ListScreen
from workbench.bench.draw.text import styled, visible, wrapped
from workbench.errors import InputError
from workbench.work.job.shop import Shop
from workbench.work.study import studies
from workbench.work.study.study_lines import shows_readings, value_words, whose_words
from workbench.work.study.study_words import state_words
from workbench.work.trust.study_view import StudyView

MOST_WHO = 44
"""Cells that person, part and trial may take."""

BLIND = "The numbers are not shown while the test is read: whoever knows the last reads it again."


class ReadingsScreen(ListScreen):
    """Every reading in the order it was taken, struck ones too; ``x`` strikes the marked one."""

    TITLE_WORDS = "Readings of a repeatability test"
    KEYS = "↑ ↓ choose · x strikes this reading out, with a reason · Esc closes"

    def __init__(self, shop: Shop, view: StudyView) -> None:
        super().__init__()
        self.shop = shop
        self.view = view
        self.at = len(view.readings) - 1

    # -- what is shown ---------------------------------------------------------------------------

    def head(self, width: int) -> Sequence[Content]:
        """The study and where it is."""
        study = self.view.study
        text = f"{study.name} · {study.what} · {state_words(self.view)}"
        return [styled((visible(text, width), "bold $accent")), Content("")]

    def rows(self, width: int) -> Sequence[Content]:
        """The readings: who read what, the number where it may be seen, and whether it counts."""
        most = max(min(MOST_WHO, width - 36), 12)
        whose = [visible(whose_words(reading), most) for reading in self.view.readings]
        room = max((styled(who).cell_length for who in whose), default=0)
        return [self._row(i, who, room, width) for i, who in enumerate(whose)]

    def _row(self, i: int, who: str, room: int, width: int) -> Content:
        reading, here = self.view.readings[i], i == self.at
        glyph, word = ("✓", "counts") if reading.struck is None else ("✗", "struck out")
        if reading.struck is not None:
            word += f": {reading.struck.reason}"
        value = visible(value_words(self.view, reading), 14) if shows_readings(self.view) else "·"
        pad = " " * (room - styled(who).cell_length)
        text = f"{'▸' if here else ' '}{i + 1:>4} {glyph} {who}{pad} {value:>14}  {word}"
        style = "bold" if here else "$ink-faint" if reading.struck is not None else ""
        return styled((visible(text, width), style))

    def foot(self, width: int) -> Sequence[Content]:
        """What striking one means, and why no number is in sight."""
        words = ["A reading struck out stays readable and counts no more; its turn comes again."]
        words += [] if shows_readings(self.view) else [BLIND]
        faint = [styled((part, "$ink-faint")) for text in words for part in wrapped(text, width)]
        return [Content(""), *faint]

    # -- keys ------------------------------------------------------------------------------------

    def letter(self, char: str) -> None:
        """Strike the marked reading out."""
        if char != "x":
            return
        reading = self.view.readings[self.at]
        if self.view.study.struck is not None or reading.struck is not None:
            raise InputError("reading", whose_words(reading), "one that counts, marked ✓")
        title = f"Strike out {visible(whose_words(reading), 50)}"

        def strike(reason: str) -> None:
            self.view = studies.strike_reading(self.shop, self.view, reading.id, reason)

        self._ask_why(title, strike, "struck out; its turn is due again")
