"""What the ski in hand wears: another blade or block, and what it is read by."""

from __future__ import annotations

from collections.abc import Mapping
from time import monotonic
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal

from textual.content import Content

from workbench.bench.bases.form_lines import clean
from workbench.bench.bases.forms import Field, Form
from workbench.bench.bases.view_only import UnitTable
from workbench.bench.draw.text import lines, styled, wrapped
from workbench.errors import InputError
from workbench.frozen import dataclass
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.order.carried import CarriedSetting, carried_lines
from workbench.work.roster.adding import blade_meant, listed
from workbench.work.roster.ski_sheet import (
    FOLLOWS,
    METHODS,
    change_worn,
    last_carried,
    methods_text,
)

if TYPE_CHECKING:
    from workbench.bench.app import Bench


NOTHING: Mapping[str, str] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Saved:
    """What was changed, and the setting carried to a new blade where there is one."""

    words: str
    refitted: bool
    carried: CarriedSetting | None = None


def wear_form(shop: Shop, view: JobView, unit: Unit, given: Mapping[str, str] = NOTHING) -> Form:
    """Return the form of what a ski wears and is read by; its result is :class:`Saved`.

    ``given`` is what its fields hold at first where that is not what is so now.
    """
    ski = view.ski
    now = {
        "blade": clean(shop.book.blade(ski.blade_id).name),
        "block": clean(shop.book.block(ski.block_id).name),
        METHODS: clean(methods_text(shop, ski)),
    }
    fine = [m for m in shop.book.methods_of(ski.blade_id) if m.scribe_x_mm is None]
    known = " · ".join(f"{n} {clean(m.name)}" for n, m in enumerate(fine, 1))
    hints = (
        ("blade", "Blade", f"by name or number: {listed(shop.book.blades())}"),
        ("block", "Block", f"by name or number: {listed(shop.book.blocks())}"),
        ("reason", "Reason", "why the blade or block is changed, such as new blade"),
        (METHODS, "Read by", f"three or more, in order, parted by ';': {known}"),
    )
    fields = [Field(k, label, hint, given.get(k, now.get(k, ""))) for k, label, hint in hints]

    def save(texts: dict[str, str]) -> Saved:
        parts = {key: texts[key] for key in ("blade", "block") if texts[key] != now[key]}
        if not parts and texts[METHODS] == now[METHODS]:
            raise InputError("blade", now["blade"], "another blade, block or way to read it")
        carried = _carried(shop, ski, parts, unit)
        methods = texts[METHODS] if texts[METHODS] != now[METHODS] else None
        changes = change_worn(shop, ski.id, parts, texts["reason"], methods)
        return Saved(", ".join(changes), bool(parts), carried)

    return Form(f"What it wears: {clean(ski.name)} {clean(ski.serial)}".rstrip(), fields, save)


def _carried(shop: Shop, ski: rows.Ski, parts: dict[str, str], unit: Unit) -> CarriedSetting | None:
    """Return the last setting carried to the blade that was typed; told before it is changed."""
    if "blade" not in parts:
        return None
    return last_carried(shop, ski, blade_meant(shop, parts["blade"]), unit)


class CarriedScreen(UnitTable):
    """The setting before, carried to the new blade: a starting point."""

    TITLE_WORDS = "The setting on the new blade"

    def __init__(self, found: CarriedSetting, unit: Unit) -> None:
        super().__init__("", unit)
        self._found = found

    def table(self, width: int) -> Content:
        """Return the readings to begin with, and what stays different."""
        said = carried_lines(self._found, self.unit)
        return lines(styled(part) for line in said for part in (wrapped(line, width) or [""]))


def offer(bench: Bench, part: Literal["blade", "block"], name: str, reason: str) -> None:
    """Ask to give the ski in hand a part that is known now, where it has none yet."""
    view, unit = bench.hands.state.view, bench.hands.state.unit
    if view is not None and part in view.rig.missing and not view.progress.step:
        form = wear_form(bench.shop, view, unit, {part: clean(name), "reason": reason})
        bench.push_screen(form, lambda done: _after(bench, done))


def open_on(bench: Bench) -> None:
    """Ask what the ski in hand wears from now on."""
    view = bench.hands.state.view
    if view is not None:
        unit = bench.hands.state.unit
        bench.push_screen(wear_form(bench.shop, view, unit), lambda done: _after(bench, done))


def _after(bench: Bench, done: object) -> None:
    bench.hands.ignore_enter(monotonic())
    if not isinstance(done, Saved):
        return
    bench.hands.look_again()
    follows = f". {FOLLOWS}" if done.refitted else ""
    bench.hands.say(f"{done.words}{follows}", "done")
    if done.carried is not None:
        bench.push_screen(CarriedScreen(done.carried, bench.hands.state.unit))
