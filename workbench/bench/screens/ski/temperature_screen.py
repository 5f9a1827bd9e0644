"""What blade and caliper are at, so that readings are brought to 20 degrees; off by default."""

from __future__ import annotations

from textual.containers import Vertical
from textual.widgets import Static

from workbench.bench.bases.form_lines import LONGEST_MESSAGE
from workbench.bench.bases.forms import Field, Form, by_view
from workbench.bench.draw.text import literal
from workbench.bench.hand.state import BenchState
from workbench.work.job.shop import Shop
from workbench.work.job.temperature import (
    effect_words,
    fields_now,
    in_force_words,
    materials_words,
    state_temperature,
)

_TITLE = "Temperature: readings at 20 °C"


class TemperatureScreen(Form):
    """A form of the two temperatures and materials; its result is the job's new view."""

    def __init__(self, shop: Shop, state: BenchState) -> None:
        assert state.view is not None
        view, unit = state.view, state.unit
        now = fields_now(view, unit)
        known = f"{materials_words()}; blank: "
        fields = (
            Field("blade", "Blade", "degrees, such as 23 C or 73 F; blank: off", now["blade"]),
            Field("caliper", "Caliper", "degrees; blank: as the blade", now["caliper"]),
            Field("scale", "Scale", "C or F: what bare numbers above are in", now["scale"]),
            Field("blade_material", "Blade of", f"{known}aluminium", now["blade_material"]),
            Field("caliper_material", "Caliper of", f"{known}steel", now["caliper_material"]),
        )
        save = by_view(view, lambda v, texts: state_temperature(shop, v, texts))
        super().__init__(_TITLE, fields, save, in_force_words)
        self._told = (in_force_words(view), *effect_words(view, unit))

    def on_mount(self) -> None:
        """Begin in the first field, with what is in force said under the title."""
        super().on_mount()
        said = [Static(literal(words, LONGEST_MESSAGE), classes="said") for words in self._told]
        self.query_one(Vertical).mount(*said, after=0)
