"""The studies of the shop: plan one, go on with it, see what it says, strike it or a reading out.

Digits and Enter choose nothing here: what a caliper sends is held.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

from textual.content import Content

from workbench.bench.bases.forms import Form
from workbench.bench.bases.lists import ListScreen, Row
from workbench.bench.draw.text import padded, styled, visible, wrapped
from workbench.bench.hand.state import BenchState
from workbench.bench.screens.shop.study_result import ResultScreen
from workbench.bench.screens.shop.study_take import TakeScreen
from workbench.errors import InputError
from workbench.measure.display import length_text
from workbench.work.job.shop import Shop
from workbench.work.study import studies
from workbench.work.study.study_words import shows_readings, study_state, value_words, whose_words
from workbench.work.text.local_time import local_day
from workbench.work.trust.study_results import State, StudyView, result_of

ABOUT = (
    "Several skis, or one re-seated again and again; several people; several trials. It tells how "
    "far two readings here differ by chance, and so which change of setting is one."
)
MOST_WHO = 44
"""Cells that person, part and trial may take."""

HIDDEN_WORDS = (
    "The numbers are not shown while the test is read: whoever knows the last reads it again."
)
_COLOURS: dict[State, str] = {
    "planned": "$state-waiting",
    "under way": "$state-caution",
    "complete": "$state-within",
    "struck out": "$ink-faint",
}


class StudyList(ListScreen[StudyView]):
    """All studies; the plan's form starts from the ski in hand."""

    TITLE_WORDS = "Repeatability tests"
    KEYS = (
        "↑ ↓ choose · + goes on · n plans · t reads · r result · s strikes a reading · x the test "
        "· Esc closes"
    )

    def __init__(self, shop: Shop, state: BenchState) -> None:
        super().__init__()
        self.shop = shop

    def on_mount(self) -> None:
        """Show the studies, the newest that is not finished marked."""
        self.attempt(self._load)
        open_ones = [i for i, v in enumerate(self.items) if v.due is not None]
        self.at = (open_ones or [len(self.items) - 1])[-1] if self.items else 0

    def on_screen_resume(self) -> None:
        """Read the studies again: what lay on top may have added readings."""
        self.attempt(self._load)
        self.draw()

    # -- what is shown ---------------------------------------------------------------------------

    def _load(self) -> None:
        self.items = studies.studies_of(self.shop)

    @property
    def chosen(self) -> StudyView:
        """The study that the mark is at; without one an :class:`InputError`."""
        if not self.items:
            raise InputError("study", "(none)", "no test yet: n plans one")
        return self.items[min(self.at, len(self.items) - 1)]

    def rows(self, width: int) -> Sequence[Row]:
        """The studies, or what one is for."""
        if not self.items:
            about = [styled(part) for part in wrapped(ABOUT, width)]
            return [styled(("no test yet: n plans one", "bold")), *about]
        return super().rows(width)

    def row(self, view: StudyView, here: bool, width: int) -> Content:
        """A study with how far it is."""
        name = padded(view.study.name, max(min(30, width // 3), 8))
        head = f"{'▸' if here else ' '}{view.number:>3} {name} "
        glyph = studies.STATE_SIGNS[view.state]
        state = visible(f"{glyph} {study_state(view)}", width - styled(head).cell_length)
        return styled((head, "bold" if here else ""), (state, _COLOURS[view.state]))

    def foot(self, width: int) -> Sequence[Content]:
        """What the study chosen reads, and the rule that all are read by."""
        rule = [styled((part, "$ink-faint")) for part in wrapped(studies.RULE, width)]
        if not self.items:
            return rule
        view, s = self.chosen, self.chosen.study
        count = f"{len(s.parts)} x {len(s.people)} x {s.trials} = {view.total} readings"
        said = (
            f"{self.at + 1} of {len(self.items)}: {s.what}, "
            f"read in {studies.UNIT_WORDS[s.unit]}; {count}",
            f"parts: {'; '.join(s.parts)}",
            f"people: {' '.join(s.people)} · planned {local_day(s.at)} "
            f"by {s.who or 'nobody named'}",
        )
        return [Content(""), *(styled(visible(text, width)) for text in said), Content(""), *rule]

    # -- keys ------------------------------------------------------------------------------------

    def plus(self) -> None:
        """Do what comes next for the study chosen: its readings, or what they say."""
        if self.chosen.due is not None:
            self._read(self.chosen)
        else:
            self._show_result(self.chosen)

    def acts(self) -> dict[str, Callable[[], None]]:
        """Plan a study; read the one chosen, show its result, strike a reading or all of it."""
        return {
            "n": self._plan,
            "t": lambda: self._read(self.chosen),
            "r": lambda: self._show_result(self.chosen),
            "s": lambda: self._readings(self.chosen),
            "x": lambda: self._strike(self.chosen),
        }

    def _plan(self) -> None:
        self.app.push_screen(plan_form(self.shop, self.bench.hands.state), self._planned)

    def _read(self, view: StudyView) -> None:
        if view.study.struck is not None:
            self.say(f"✗ {study_state(view)}: nothing more is read", "warn")
            return
        self.say("")

        def after(show_result: bool | None) -> None:
            self.attempt(self._load)
            if show_result:
                self.attempt(lambda: self._show_result(self.chosen))

        mode = self.bench.hands.state.drawing
        self.app.push_screen(TakeScreen(self.shop, view, mode), after)

    def _show_result(self, view: StudyView) -> None:
        result = result_of(view)
        self.say("")
        self.app.push_screen(ResultScreen(self.bench, result))

    def _readings(self, view: StudyView) -> None:
        if not view.readings:
            raise InputError("readings", "none yet", "t or + takes them")
        self.say("")
        self.app.push_screen(ReadingsScreen(self.shop, view))

    def _strike(self, view: StudyView) -> None:
        if view.study.struck is not None:
            self.say(f"✗ it is {study_state(view)} already", "warn")
            return

        title = f"Strike out the test '{visible(view.study.name, 30)}'"
        self._ask_why(title, lambda why: studies.strike_study(self.shop, view, why))

    def _planned(self, study_id: object) -> None:
        self.attempt(self._load)
        for i, view in enumerate(self.items):
            if view.study.id == study_id:
                self.at = i
                self.say(f"planned: {view.total} readings; + begins them", "done")


def plan_form(shop: Shop, state: BenchState) -> Form:
    """Return the form that plans a study; its result is the study's id.

    It starts from the reading of the ski in hand, where there is one.
    """
    what, near, unit = "", "", state.unit
    if state.line is not None:
        what = state.line.method.name
        about = state.line.now_mm or sum(state.line.usual_mm) / 2
        near = length_text(about, unit, "0.1" if unit == "in" else "1")
    skis = "; ".join(dict.fromkeys(visible(r.ski_name, 20) for r in state.roster[:4]))
    parts = f"; {skis}; or one ski re-seated: seat 1; seat 2" if skis else ""
    return Form(
        "Plan a repeatability test",
        studies.PLAN,
        partial(studies.plan_study, shop),
        now={"what": what, "near": near, "unit": unit, "people": shop.who},
        more={"parts": parts},
    )


# -- the readings of one -----------------------------------------------------------------------


class ReadingsScreen(ListScreen[StudyView]):
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
        text = f"{study.name} · {study.what} · {study_state(self.view)}"
        return [styled((visible(text, width), "bold $accent")), Content("")]

    def rows(self, width: int) -> Sequence[Row]:
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
        text = f"{'▸' if here else ' '}{i + 1:>4} {glyph} {padded(who, room)} {value:>14}  {word}"
        style = "bold" if here else "$ink-faint" if reading.struck is not None else ""
        return styled((visible(text, width), style))

    def foot(self, width: int) -> Sequence[Content]:
        """What striking one means, and why no number is in sight."""
        words = ["A reading struck out stays readable and counts no more; its turn comes again."]
        words += [] if shows_readings(self.view) else [HIDDEN_WORDS]
        faint = [styled((part, "$ink-faint")) for text in words for part in wrapped(text, width)]
        return [Content(""), *faint]

    # -- keys ------------------------------------------------------------------------------------

    def acts(self) -> dict[str, Callable[[], None]]:
        """Strike the marked reading out."""
        return {"x": self._strike}

    def _strike(self) -> None:
        reading = self.view.readings[self.at]
        if self.view.study.struck is not None or reading.struck is not None:
            raise InputError("reading", whose_words(reading), "one that counts, marked ✓")
        title = f"Strike out {visible(whose_words(reading), 50)}"

        def strike(reason: str) -> None:
            self.view = studies.strike_reading(self.shop, self.view, reading.id, reason)

        self._ask_why(title, strike, "struck out; its turn is due again")
