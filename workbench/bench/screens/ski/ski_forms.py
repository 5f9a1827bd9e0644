"""Forms of the ski in hand: another blade or block, what it is read by, its temperature."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import TYPE_CHECKING, Literal

from textual.containers import Vertical
from textual.content import Content
from textual.widgets import Static

from workbench.bench.bases.forms import LONGEST_MESSAGE, NOTHING, Form, by_view
from workbench.bench.bases.view_only import TableScreen
from workbench.bench.draw.text import lines, literal, on_one_line, styled, wrapped
from workbench.bench.hand.state import BenchState
from workbench.errors import InputError
from workbench.frozen import dataclass
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.work.job.shop import Shop
from workbench.work.job.temperature import (
    HEAT,
    MADE_OF,
    effect_words,
    fields_now,
    in_force_words,
    state_temperature,
)
from workbench.work.order.carried import CarriedSetting, carried_lines
from workbench.work.roster.adding import blade_meant, parts_listed
from workbench.work.roster.ski_sheet import (
    FOLLOWS,
    METHODS,
    WORN,
    change_worn,
    last_carried,
    methods_text,
)

if TYPE_CHECKING:
    from workbench.bench.app import Bench


@dataclass(frozen=True, slots=True)
class Saved:
    """What was changed, and the setting carried to a new blade where there is one."""

    words: str
    refitted: bool
    carried: CarriedSetting | None = None


class WearForm(Form):
    """What the ski in hand wears and is read by; its result is :class:`Saved`.

    ``given`` is what its fields hold at first where that is not what is so now.
    """

    def __init__(self, shop: Shop, state: BenchState, given: Mapping[str, str] = NOTHING) -> None:
        assert state.view is not None
        ski, unit = state.view.ski, state.unit
        now = {
            "blade": on_one_line(shop.book.blade(ski.blade_id).name),
            "block": on_one_line(shop.book.block(ski.block_id).name),
            METHODS: on_one_line(methods_text(shop, ski)),
        }
        fine = [m for m in shop.book.methods_of(ski.blade_id) if m.scribe is None]
        known = " · ".join(f"{n} {on_one_line(m.name)}" for n, m in enumerate(fine, 1))
        more = {
            "blade": f": {parts_listed(shop.book.blades())}",
            "block": f": {parts_listed(shop.book.blocks())}",
            METHODS: f": {known}",
        }

        def save(texts: dict[str, str]) -> Saved:
            parts = {key: texts[key] for key in ("blade", "block") if texts[key] != now[key]}
            if not parts and texts[METHODS] == now[METHODS]:
                raise InputError("blade", now["blade"], "another blade, block or way to read it")
            carried = _carried(shop, ski, parts, unit)
            methods = texts[METHODS] if texts[METHODS] != now[METHODS] else None
            changes = change_worn(shop, ski.id, parts, texts["reason"], methods)
            return Saved(", ".join(changes), bool(parts), carried)

        title = f"What it wears: {on_one_line(ski.name)} {on_one_line(ski.serial)}".rstrip()
        super().__init__(title, WORN, save, now={**now, **given}, more=more)

    def after(self, bench: Bench, result: object) -> None:
        """Say what was changed, and show the setting carried to a new blade."""
        super().after(bench, result)
        if isinstance(result, Saved):
            follows = f". {FOLLOWS}" if result.refitted else ""
            bench.hands.say(f"{result.words}{follows}", "done")
            if result.carried is not None:
                bench.show(CarriedScreen(result.carried, bench.hands.state.unit))


def _carried(shop: Shop, ski: rows.Ski, parts: dict[str, str], unit: Unit) -> CarriedSetting | None:
    """Return the last setting carried to the blade that was typed; told before it is changed."""
    if "blade" not in parts:
        return None
    return last_carried(shop, ski, blade_meant(shop, parts["blade"]), unit)


class CarriedScreen(TableScreen):
    """The setting before, carried to the new blade: a starting point."""

    TITLE_WORDS = "The setting on the new blade"

    def __init__(self, found: CarriedSetting, unit: Unit) -> None:
        super().__init__(unit=unit)
        self._found = found

    def table(self, width: int) -> Content:
        """Return the readings to begin with, and what stays different."""
        said = carried_lines(self._found, self.unit)
        return lines(styled(part) for line in said for part in (wrapped(line, width) or [""]))


def offer(bench: Bench, part: Literal["blade", "block"], name: str, reason: str) -> None:
    """Ask to give the ski in hand a part that is known now, where it has none yet."""
    state = bench.hands.state
    if state.view is not None and part in state.view.rig.missing and not state.view.progress.step:
        bench.show(WearForm(bench.shop, state, {part: on_one_line(name), "reason": reason}))


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
