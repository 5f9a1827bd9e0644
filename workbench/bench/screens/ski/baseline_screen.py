"""The baselines that fit the ski in hand, each number beside what was read."""

from __future__ import annotations

from collections.abc import Sequence

from textual.content import Content

from workbench.bench.bases.forms import Form, by_view
from workbench.bench.bases.lists import UnitList
from workbench.bench.draw.text import styled, visible, wrapped
from workbench.bench.hand.state import BenchState
from workbench.bench.screens.shop.sheet_forms import BaselineForm
from workbench.errors import InputError
from workbench.measure.display import change_between, length_text
from workbench.records.store.rows import Baseline
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.roster import baselines
from workbench.work.roster.correction_words import Mended
from workbench.work.text.fields import Texts


class BaselineScreen(UnitList):
    """The fitting baselines; the marked one is shown number by number."""

    TITLE_WORDS = "Baselines"
    KEYS = (
        "↑ ↓ choose · + is the target · n keeps those of now · c corrects · x strikes out · "
        "* in/mm · Esc closes"
    )

    def __init__(self, shop: Shop, state: BenchState) -> None:
        super().__init__(shop, state)
        self._load()

    def _load(self) -> None:
        self._found = baselines.fitting(self.shop, self.view)

    @property
    def chosen(self) -> baselines.Fitting | None:
        """The baseline that the mark is at."""
        return self._found[min(self.at, len(self._found) - 1)] if self._found else None

    def head(self, width: int) -> Sequence[Content]:
        """Whose baselines these are."""
        ski = self.view.ski
        parts = (ski.name, ski.model, ski.size, ski.rider)
        return [styled((visible(" · ".join(p for p in parts if p), width), "bold")), Content("")]

    def rows(self, width: int) -> Sequence[Content]:
        """The baselines with why each fits."""
        out = []
        for i, each in enumerate(self._found):
            name, source = visible(each.baseline.name, 30), each.baseline.source
            text = f"{name:<30} {each.of:<24}"
            if len(text) + 3 + len(source) <= width:  # below it is in full
                text += f" {source}"
            out.append(self.marked_row(i, text, width))
        return out or [styled("  none fits this ski yet; n keeps the numbers of now")]

    def foot(self, width: int) -> Sequence[Content]:
        """The marked baseline's numbers beside those read."""
        each = self.chosen
        if each is None:
            return ()
        unit = self.unit
        out = [
            Content(""),
            styled(
                (f"  {'method':<30} {'baseline':>10} {'now':>10} {'off':>9} {unit}", "$ink-faint")
            ),
        ]
        for number in each.numbers:
            name = visible(number.entry.method_name, 30)
            base = length_text(number.entry.mm, unit)
            now = length_text(number.now_mm, unit) if number.now_mm is not None else "not read"
            off = ""
            if number.now_mm is not None and number.off_mm is not None:
                off = change_between(number.entry.mm, number.now_mm, unit)
            other = "" if number.line is not None else "  another method than this ski's"
            out.append(styled(f"  {name:<30} {base:>10} {now:>10} {off:>9}", (other, "$ink-faint")))
        wing = baselines.wing_words(each.baseline)
        said = " · ".join(part for part in (wing, each.baseline.source) if part)
        return [*out, *(styled(f"  {part}") for part in wrapped(said, width - 2))]

    def letter(self, char: str) -> None:
        """Keep the numbers of now, or correct or strike out the marked baseline."""
        if char == "n":
            self.app.push_screen(_baseline_form(self.shop, self.view), self._kept)
        elif char == "c" and self.chosen is not None:
            form = BaselineForm(self.shop, self.chosen.baseline)
            self.app.push_screen(form, self._corrected)
        elif char == "x" and self.chosen is not None:
            self._strike(self.chosen.baseline)

    def _corrected(self, done: object) -> None:
        if isinstance(done, Mended):
            self.view = self.shop.view(self.view.job.id)
            self._load()
            self.say(f"baseline corrected: {'; '.join(done.changes)}", "done")

    def _strike(self, baseline: Baseline) -> None:
        title = f"Strike out the baseline {visible(baseline.name, 30)}"
        self._ask_why(title, lambda why: self.shop.book.strike(baseline.id, why, self.shop.who))

    def plus(self) -> None:
        """Make the marked baseline the target."""
        if self.chosen is None:
            raise InputError("baseline", "(none)", "a baseline that fits this ski: n keeps one")
        self.view = baselines.aim_at(self.shop, self.view, self.chosen.baseline)
        self._load()
        self.say(f"target: {self.chosen.baseline.name}", "done")


def _baseline_form(shop: Shop, view: JobView) -> Form:
    """Return the form that keeps the numbers of now as a baseline."""

    def keep(now: JobView, texts: Texts) -> Baseline:
        return baselines.keep_now(shop, now, texts["name"], texts["of"].strip().lower())

    return Form("Keep as a baseline", baselines.KEEP, by_view(view, keep))
