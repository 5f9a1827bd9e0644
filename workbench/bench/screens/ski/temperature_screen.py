"""What blade and caliper are at, so that readings are brought to 20 degrees; off by default."""

from __future__ import annotations

from functools import partial

from textual.containers import Vertical
from textual.widgets import Static

from workbench.bench.bases.form_lines import LONGEST_MESSAGE
from workbench.bench.bases.forms import Form, by_view
from workbench.bench.draw.text import literal
from workbench.bench.hand.state import BenchState
from workbench.work.job.shop import Shop
from workbench.work.job.temperature import (
    HEAT,
    MADE_OF,
    effect_words,
    fields_now,
    in_force_words,
    state_temperature,
)

_TITLE = "Temperature: readings at 20 °C"


class TemperatureScreen(Form):
    """A form of the two temperatures and materials; its result is the job's new view."""

    def __init__(self, shop: Shop, state: BenchState) -> None:
        assert state.view is not None
        view, unit = state.view, state.unit
        save = by_view(view, partial(state_temperature, shop))
        more = {"blade_material": MADE_OF, "caliper_material": MADE_OF}
        now = fields_now(view, unit)
        super().__init__(_TITLE, HEAT, save, in_force_words, now=now, more=more)
        self._told = (in_force_words(view), *effect_words(view, unit))

    def on_mount(self) -> None:
        """Begin in the first field, with what is in force said under the title."""
        super().on_mount()
        said = [Static(literal(words, LONGEST_MESSAGE), classes="said") for words in self._told]
        self.query_one(Vertical).mount(*said, after=0)
