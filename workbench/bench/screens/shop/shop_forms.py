"""The forms of what is written down of skis, blades, blocks and baselines: added, or put right.

What is corrected is a new version: the old one stays readable. Only what is typed otherwise is
kept, so that what another bench corrected meanwhile stays.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import TYPE_CHECKING

from workbench.bench.bases.forms import Form, drafts_of
from workbench.bench.draw import themes
from workbench.bench.draw.text import on_one_line
from workbench.bench.hand.state import BenchState
from workbench.errors import BenchError, RecordsError
from workbench.fin.studs import said
from workbench.measure.display import length_text
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.work.job.shop import Shop
from workbench.work.learn.what_learnt import learnt_page
from workbench.work.roster import settings
from workbench.work.roster.adding import (
    BLADE,
    BLOCK,
    KNOWN_SKI,
    SKI,
    Part,
    add_blade,
    add_block,
    add_ski,
    only_real,
    parts_listed,
    queue_known,
)
from workbench.work.roster.baselines import correct_baseline
from workbench.work.roster.corrections import CORRECTED, Mended, correct_studs, stud_fields
from workbench.work.roster.ski_sheet import SHEET, changed_words, correct_ski, sheet_of
from workbench.work.text.fields import REASON, Field, Texts, some

if TYPE_CHECKING:
    from workbench.bench.app import Bench

_STEP: dict[Unit, str] = {"in": "0.0001", "mm": "0.001"}
_LABEL = 13
_LEAVE = "; then leave the rest"


class AddSki(Form):
    """Adds a ski to today's queue; its result is the job's id."""

    def __init__(self, shop: Shop, state: BenchState) -> None:
        blades, blocks = _known(shop)
        super().__init__(
            "Add a ski", SKI, partial(add_ski, shop),
            now={"unit": "in", "blade": _only(shop.book.blades), "block": _only(shop.book.blocks)},
            more={"blade": f": {blades}", "block": f": {blocks}"},
        )  # fmt: skip


class QueueSki(Form):
    """Queues a ski that the book knows; its result is the job's id."""

    def __init__(self, shop: Shop, state: BenchState) -> None:
        super().__init__("Queue a ski again", KNOWN_SKI, partial(queue_known, shop))


class SheetForm(Form):
    """Corrects the sheet of the ski in hand; its result is the ski corrected."""

    def __init__(self, shop: Shop, state: BenchState) -> None:
        assert state.view is not None
        ski = state.view.ski
        now = {key: on_one_line(text) for key, text in sheet_of(ski).items()}
        super().__init__(
            f"Correct the ski's sheet: {ski.name} {ski.serial}".rstrip(),
            some(SHEET, "name rider serial model size note wing"),
            lambda texts: correct_ski(shop, ski.id, self.changed(texts)),
            lambda new: f"sheet corrected: {changed_words(ski, new)}; the old one stays",
            now=now,
        )


class AddBlade(Form):
    """Adds a blade; its result is the blade's id."""

    def __init__(self, shop: Shop, state: BenchState) -> None:
        more = {"name": f"; known: {_known(shop)[0]}", "file": _LEAVE}
        keep = partial(add_blade, shop)
        super().__init__("Add a blade", BLADE, keep, now={"unit": "in"}, more=more)


class AddBlock(Form):
    """Adds a block with its studs; its result is the block's id."""

    def __init__(self, shop: Shop, state: BenchState) -> None:
        more = {"name": f"; known: {_known(shop)[1]}", "file": _LEAVE}
        keep = partial(add_block, shop)
        super().__init__("Add a block", BLOCK, keep, now={"unit": "in"}, more=more)


def _only(parts: Callable[[], Sequence[Part]]) -> str:
    """Return the only part there is, to start with; nothing where one must choose or it is not
    real."""
    try:
        return only_real(parts())
    except RecordsError:
        return ""


def _known(shop: Shop) -> tuple[str, str]:
    try:
        return parts_listed(shop.book.blades()), parts_listed(shop.book.blocks())
    except RecordsError as why:
        return str(why), str(why)


class BlockForm(Form):
    """Corrects the studs of the block of the ski in hand; its result is what was corrected.

    Raises:
        BenchError: it has no block yet.
    """

    def __init__(self, shop: Shop, state: BenchState) -> None:
        assert state.view is not None
        block, unit = shop.book.block(state.view.ski.block_id), state.unit
        if not block.studs:
            raise BenchError("no block yet: measure one, or choose one")
        learned = {stud.name: stud.words for stud in learnt_page(shop.book, state.view.ski).studs}
        fields: list[Field] = []
        now: Texts = {}
        more: Texts = {}
        for n, stud in enumerate(block.studs, 1):
            name = on_one_line(said(stud.name, stud.touches))[: _LABEL - 5]
            fields += stud_fields(n, name)
            tip = length_text(stud.tip_radius_mm, unit, _STEP[unit])
            now[f"lead_{n}"] = on_one_line(stud.thread) or f"{stud.lead_mm!r} mm"
            now |= {f"hand_{n}": stud.hand, f"tip_{n}": f"{tip} {unit}"}
            if stud.name in learned:
                more[f"lead_{n}"] = f". Learned: {learned[stud.name]}"

        def save(texts: Texts) -> Mended[rows.Block]:
            changed = self.changed(texts)
            return correct_studs(shop, block.id, changed, unit, changed.pop(REASON.key, ""))

        used = sum(ski.block_id == block.id for ski in shop.book.skis())
        by = f"used by {used} ski{'' if used == 1 else 's'}"
        super().__init__(
            f"Correct the block: {on_one_line(block.name)}, {by}",
            [*fields, CORRECTED],
            save,
            _done_words,
            now=now,
            more=more,
        )


def _done_words(done: Mended[rows.Block]) -> str:
    """Return what was corrected and what follows from it, in one line."""
    follows = "readings stay, turns worked out anew"
    if any(mid_pass for *_, mid_pass in done.under_way):
        follows += "; a round begun is finished as begun"
    return f"block corrected: {follows}; {'; '.join(done.changes)}"


class BaselineForm(Form):
    """Corrects a baseline's numbers; its result is what was corrected."""

    def __init__(self, shop: Shop, baseline: rows.Baseline) -> None:
        names = {f"value_{n}": e.method_name for n, e in enumerate(baseline.entries, 1)}
        fields = [
            Field(k, on_one_line(m)[:_LABEL], on_one_line(m), "VALUE") for k, m in names.items()
        ]

        def save(texts: Texts) -> Mended[rows.Baseline]:
            changed = self.changed(texts)
            reason = changed.pop(REASON.key, "")
            values = {names[key]: text for key, text in changed.items()}
            return correct_baseline(shop, baseline.id, values, reason)

        title = f"Correct the baseline: {on_one_line(baseline.name)}"
        now = [f"{on_one_line(e.text)} {e.unit}" for e in baseline.entries]
        super().__init__(title, [*fields, CORRECTED], save, now=dict(zip(names, now, strict=True)))


_TITLE = "Settings of the shop"
ON_THE_BENCH = ("who", "unit", "theme", "drawing", "caliper")
"""What a key on the bench changes too: of these a draft would be out of date."""


class SettingsForm(Form):
    """The form of all settings; its result is the names of those that changed."""

    def __init__(self, shop: Shop, state: BenchState) -> None:
        now = settings.in_force(shop)
        super().__init__(_TITLE, settings.LINES, partial(settings.change, shop), now=now)

    @classmethod
    def open_on(cls, bench: Bench) -> None:
        """Open the form; what is wrong with the settings as kept is said on the bench."""
        for name in ON_THE_BENCH:
            drafts_of(bench).get(_TITLE, {}).pop(name, None)
        super().open_on(bench)
        for line in settings.misfit_lines(bench.shop.book.settings()):
            bench.hands.say(line, "warn")

    def after(self, bench: Bench, result: object) -> None:
        """Let what was kept show on the bench at once."""
        super().after(bench, result)
        if isinstance(result, tuple):
            kept = bench.shop.book.settings()
            bench.hands.take_settings(kept)
            if "theme" in result:
                bench.theme = themes.pick(bench._no_color, kept.get("theme", ""))
            said = f"settings kept: {len(result)} changed" if result else "no setting was changed"
            bench.hands.say(said, "done")
