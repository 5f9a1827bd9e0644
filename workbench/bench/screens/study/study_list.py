"""The studies of the shop: plan one, go on with it, see what it says, strike it out.

Digits and Enter choose nothing here: what a caliper sends is held.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from textual.content import Content

from workbench.bench.bases.forms import Field, Form
from workbench.bench.bases.lists import ListScreen
from workbench.bench.draw.text import styled, visible, wrapped
from workbench.bench.hand.state import BenchState
from workbench.bench.screens.study.study_readings import ReadingsScreen
from workbench.bench.screens.study.study_result import ResultScreen
from workbench.bench.screens.study.study_take import TakeScreen
from workbench.errors import InputError
from workbench.measure.display import length_text
from workbench.work.job.shop import Shop
from workbench.work.study import studies
from workbench.work.study.study_order import RULE
from workbench.work.study.study_plans import plan_study
from workbench.work.study.study_words import state_words
from workbench.work.text.local_time import local_day
from workbench.work.trust.study_results import result_of
from workbench.work.trust.study_view import State, StudyView

if TYPE_CHECKING:
    from workbench.bench.app import Bench

ABOUT = (
    "Several skis, or one re-seated again and again; several people; several trials. It tells how "
    "far two readings here differ by chance, and so which change of setting is one."
)
_COLOURS: dict[State, str] = {
    "planned": "$state-waiting",
    "under way": "$state-caution",
    "complete": "$state-within",
    "struck out": "$ink-faint",
}


class StudyList(ListScreen):
    """All studies; the plan's form starts from the ski in hand."""

    TITLE_WORDS = "Repeatability tests"
    KEYS = (
        "↑ ↓ choose · + goes on · n plans · t reads · r result · s strikes a reading · x the test "
        "· Esc closes"
    )

    def __init__(self, shop: Shop) -> None:
        super().__init__()
        self.shop = shop
        self._views: tuple[StudyView, ...] = ()

    def on_mount(self) -> None:
        """Show the studies, the newest that is not finished marked."""
        self._try(self._load)
        open_ones = [i for i, v in enumerate(self._views) if v.due is not None]
        self.at = (open_ones or [len(self._views) - 1])[-1] if self._views else 0

    def on_screen_resume(self) -> None:
        """Read the studies again: what lay on top may have added readings."""
        self._try(self._load)
        self.draw()

    # -- what is shown ---------------------------------------------------------------------------

    def _load(self) -> None:
        self._views = studies.studies_of(self.shop)

    @property
    def chosen(self) -> StudyView:
        """The study that the mark is at; without one an :class:`InputError`."""
        if not self._views:
            raise InputError("study", "(none)", "no test yet: n plans one")
        return self._views[min(self.at, len(self._views) - 1)]

    def rows(self, width: int) -> Sequence[Content]:
        """The studies, each with how far it is."""
        if not self._views:
            about = [styled(part) for part in wrapped(ABOUT, width)]
            return [styled(("no test yet: n plans one", "bold")), *about]
        return [self._line(view, i == self.at, width) for i, view in enumerate(self._views)]

    @staticmethod
    def _line(view: StudyView, marked: bool, width: int) -> Content:
        name_room = max(min(30, width // 3), 8)
        name = visible(view.study.name, name_room)
        pad = " " * (name_room - styled(name).cell_length)
        head = f"{'▸' if marked else ' '}{view.number:>3} {name}{pad} "
        glyph = studies.GLYPHS[view.state]
        state = visible(f"{glyph} {state_words(view)}", width - styled(head).cell_length)
        return styled((head, "bold" if marked else ""), (state, _COLOURS[view.state]))

    def foot(self, width: int) -> Sequence[Content]:
        """What the study chosen reads, and the rule that all are read by."""
        rule = [styled((part, "$ink-faint")) for part in wrapped(RULE, width)]
        if not self._views:
            return rule
        view, s = self.chosen, self.chosen.study
        count = f"{len(s.parts)} x {len(s.people)} x {s.trials} = {view.total} readings"
        said = (
            f"{self.at + 1} of {len(self._views)}: {s.what}, "
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

    def letter(self, char: str) -> None:
        """Plan a study; read the one chosen, show its result, strike a reading or all of it."""
        if char == "n":
            self.app.push_screen(plan_form(self.shop, self.bench.hands.state), self._planned)
        elif char in "trsx":
            {"t": self._read, "r": self._show_result, "s": self._readings, "x": self._strike}[char](
                self.chosen
            )

    def _read(self, view: StudyView) -> None:
        if view.study.struck is not None:
            self.say(f"✗ {state_words(view)}: nothing more is read", "warn")
            return
        self.say("")

        def after(show_result: bool | None) -> None:
            self._try(self._load)
            if show_result:
                self._try(lambda: self._show_result(self.chosen))

        mode = self.bench.hands.state.drawing
        self.app.push_screen(TakeScreen(self.shop, view, mode), after)

    def _show_result(self, view: StudyView) -> None:
        result, state = result_of(view), self.bench.hands.state
        self.say("")
        self.app.push_screen(ResultScreen(result, state.unit, state.drawing))

    def _readings(self, view: StudyView) -> None:
        if not view.readings:
            raise InputError("readings", "none yet", "t or + takes them")
        self.say("")
        self.app.push_screen(ReadingsScreen(self.shop, view))

    def _strike(self, view: StudyView) -> None:
        if view.study.struck is not None:
            self.say(f"✗ it is {state_words(view)} already", "warn")
            return

        title = f"Strike out the test '{visible(view.study.name, 30)}'"
        self._ask_why(title, lambda why: studies.strike_study(self.shop, view, why))

    def _planned(self, study_id: object) -> None:
        self._try(self._load)
        for i, view in enumerate(self._views):
            if view.study.id == study_id:
                self.at = i
                self.say(f"planned: {view.total} readings; + begins them", "done")


def open_on(bench: Bench) -> None:
    """Show the studies of the shop."""
    bench.push_screen(StudyList(bench.shop))


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
    fields = (
        Field("name", "Study", "a name of its own, such as slow hour in May"),
        Field("what", "What is read", "one quantity: a method's name, or your own words", what),
        Field("unit", "Unit", "in or mm: every reading of the test is in it", unit),
        Field("near", "Near", "about what it reads, to place points by; may stay blank", near),
        Field("parts", "Parts", _parts_hint(skis)),
        Field("people", "People", "initials, with a blank between: KV JT", shop.who),
        Field("trials", "Trials", "how often everyone reads every part: 2 to 10", "3"),
    )
    return Form("Plan a repeatability test", fields, lambda texts: plan_study(shop, texts))


def _parts_hint(skis: str) -> str:
    today = f"{skis}; or one" if skis else "one"
    return f"2 or more with ';' between: {today} ski re-seated: seat 1; seat 2; seat 3"
