"""What blade and caliper are at, so that readings are brought to 20 degrees; off by default."""

from __future__ import annotations

from time import monotonic
from typing import TYPE_CHECKING

from textual.containers import Vertical
from textual.widgets import Static

from workbench.bench.bases.form_lines import LONGEST_MESSAGE
from workbench.bench.bases.forms import Field, Form, by_view
from workbench.bench.draw.text import literal
from workbench.measure.units import Unit
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job.temperature import (
    effect_words,
    fields_now,
    in_force_words,
    materials_words,
    state_temperature,
)

if TYPE_CHECKING:
    from workbench.bench.app import Bench

_TITLE = "Temperature: readings at 20 °C"


class TemperatureScreen(Form):
    """A form of the two temperatures and materials; its result is the job's new view."""

    def __init__(self, shop: Shop, view: JobView, unit: Unit) -> None:
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
        super().__init__(_TITLE, fields, save)
        self._said = (in_force_words(view), *effect_words(view, unit))

    def on_mount(self) -> None:
        """Begin in the first field, with what is in force said under the title."""
        super().on_mount()
        said = [Static(literal(words, LONGEST_MESSAGE), classes="said") for words in self._said]
        self.query_one(Vertical).mount(*said, after=0)


def open_on(bench: Bench) -> None:
    """Ask for the temperatures of the ski in hand."""
    view = bench.hands.state.view
    if view is None:
        return
    screen = TemperatureScreen(bench.shop, view, bench.hands.state.unit)
    bench.push_screen(screen, lambda new: _after(bench, new))


def _after(bench: Bench, new: object) -> None:
    bench.hands.ignore_enter(monotonic())
    if new is not None:
        bench.hands.look_again()
        view = bench.hands.state.view
        bench.hands.say(in_force_words(view) if view is not None else "", "done")
