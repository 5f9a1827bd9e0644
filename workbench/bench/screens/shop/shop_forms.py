"""The forms of what is written down of skis, blades, blocks and baselines: added, or put right.

What is corrected is a new version: the old one stays readable. Only what is typed otherwise is
kept, so that what another bench corrected meanwhile stays.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from workbench.bench.bases.form_lines import Texts, clean, drafts_of
from workbench.bench.bases.forms import Field, Form
from workbench.bench.draw import themes
from workbench.bench.hand.state import BenchState
from workbench.errors import BenchError, RecordsError
from workbench.fin.parts.studs import said
from workbench.measure.display import length_text
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.work.job.shop import Shop
from workbench.work.learn.what_learnt import learnt_page
from workbench.work.roster import settings
from workbench.work.roster.adding import (
    Part,
    add_blade,
    add_block,
    add_ski,
    only_real,
    parts_listed,
    queue_known,
)
from workbench.work.roster.correction_words import Mended
from workbench.work.roster.corrections import correct_baseline, correct_studs
from workbench.work.roster.ski_sheet import changed_words, correct_ski, sheet_of

if TYPE_CHECKING:
    from workbench.bench.app import Bench

_SHEET = (
    Field("name", "Ski", "as written on the ski, such as Heron 66"),
    Field("rider", "Rider", "whose ski it is; may stay blank"),
    Field("serial", "Serial", "may stay blank"),
    Field("model", "Model", "may stay blank"),
    Field("size", "Size", "may stay blank; baselines are found by model and size"),
)
_NOTE = Field("note", "Note", "about the ski, may stay blank; the queue finds it by this too")
_WING = Field("wing", "Wing", "yes or no: has the blade a wing to set?", "no")
_REASON = Field("reason", "Reason", "why it is corrected: stays in the history with what it said")
_UNIT = Field("unit", "Unit", "in or mm: what the lengths below are in", "in")
_STEP: dict[Unit, str] = {"in": "0.0001", "mm": "0.001"}
_LABEL = 13
_LEAD = "a thread such as M5x0.8, or a lead: 0.8 mm"
_DUE = Field("due", "Due", "when it is wanted, in your own words, such as 14:00")


class AddSki(Form):
    """Adds a ski to today's queue; its result is the job's id."""

    def __init__(self, shop: Shop, state: BenchState) -> None:
        blades, blocks = _known(shop)
        which = "by name or number, none where it is not known yet:"
        apex = "from tail end to its top, in the unit above; blank: flat"
        radius = "of the bulge, in the unit above, such as 160; blank: flat"
        fields = (
            *_SHEET,
            Field("unit", "Unit", "in or mm: what this ski is read in, and typed in below", "in"),
            Field("blade", "Blade", f"{which} {blades}", _only(shop.book.blades)),
            Field("block", "Block", f"{which} {blocks}", _only(shop.book.blocks)),
            Field("base_radius", "Base radius", radius),
            Field("base_apex", "Base apex", apex),
            _WING,
            replace(_NOTE, key="ski_note"),
            _DUE,
        )
        super().__init__("Add a ski", fields, lambda texts: add_ski(shop, texts))


class QueueSki(Form):
    """Queues a ski that the book knows; its result is the job's id."""

    def __init__(self, shop: Shop, state: BenchState) -> None:
        fields = (Field("ski", "Ski", "serial or name of a ski that was here before"), _DUE)
        super().__init__("Queue a ski again", fields, lambda texts: queue_known(shop, texts))


class SheetForm(Form):
    """Corrects the sheet of the ski in hand; its result is the ski corrected."""

    def __init__(self, shop: Shop, state: BenchState) -> None:
        assert state.view is not None
        ski = state.view.ski
        now = {key: clean(text) for key, text in sheet_of(ski).items()}
        fields = [replace(field, value=now[field.key]) for field in (*_SHEET, _NOTE, _WING)]
        super().__init__(
            f"Correct the ski's sheet: {ski.name} {ski.serial}".rstrip(),
            fields,
            lambda texts: correct_ski(shop, ski.id, self.changed(texts)),
            lambda new: f"sheet corrected: {changed_words(ski, new)}; the old one stays",
        )


class AddBlade(Form):
    """Adds a blade; its result is the blade's id."""

    def __init__(self, shop: Shop, state: BenchState) -> None:
        known = f"a name of its own; known: {_known(shop)[0]}"
        file = "path of a TOML or JSON file with a [blade]; then leave the rest"
        points = "forward and outward from the rear end of the top edge"
        ends = "its two ends, where"
        holes = "name, forward, outward, diameter: 2 1.6 3.0 0.3; 1 0.9 2.7 0.25"
        fields = (
            Field("name", "Blade", known),
            Field("file", "File", file),
            _UNIT,
            Field("outline", "Outline", f"{points}: 0 0; 7.3 0; 7.3 0.75; 1.6 3.48; 0 0.9"),
            Field("top_edge", "Top edge", f"{ends} two studs press: 0 0; 7.3 0"),
            Field("back_edge", "Back edge", f"{ends} the tail stud presses: 0 0; 0 0.9"),
            Field("holes", "Holes", holes),
        )
        super().__init__("Add a blade", fields, lambda texts: add_blade(shop, texts))


class AddBlock(Form):
    """Adds a block with its studs; its result is the block's id."""

    def __init__(self, shop: Shop, state: BenchState) -> None:
        known = f"a name of its own; known: {_known(shop)[1]}"
        file = "path of a TOML or JSON file with [[studs]]; then leave the rest"
        shape = "name, top or back, x y, axis x y, thread, hand, tip radius"
        fields = (
            Field("name", "Block", known),
            Field("finest_turn", "Finest turn", "1/4, 1/8, 1/16 ...; 0 is exact; blank: 1/8"),
            Field("file", "File", file),
            _UNIT,
            Field("stud_1", "Stud 1", f"{shape}: front top 6.9 -1.6 0 1 10-32UNF right 0.05"),
            Field("stud_2", "Stud 2", f"{shape}: rear top 1.5 -1.6 0 1 10-32UNF right 0.05"),
            Field("stud_3", "Stud 3", f"{shape}: tail back 0.1 -0.6 1 0 M5x0.8 right 0"),
        )
        super().__init__("Add a block", fields, lambda texts: add_block(shop, texts))


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
        fields = [
            field
            for n, stud in enumerate(block.studs, 1)
            for field in _stud(n, stud, unit, learned.get(stud.name, ""))
        ]

        def save(texts: Texts) -> Mended[rows.Block]:
            changed = self.changed(texts)
            return correct_studs(shop, block.id, changed, unit, changed.pop(_REASON.key, ""))

        used = sum(ski.block_id == block.id for ski in shop.book.skis())
        super().__init__(
            f"Correct the block: {clean(block.name)}, used by {used} ski{'' if used == 1 else 's'}",
            [*fields, _REASON],
            save,
            _done_words,
        )


def _stud(n: int, stud: rows.Stud, unit: Unit, learned: str) -> tuple[Field, ...]:
    name = clean(said(stud.name, stud.touches))[: _LABEL - 5]
    lead = clean(stud.thread) or f"{stud.lead_mm!r} mm"
    tip = f"{length_text(stud.tip_radius_mm, unit, _STEP[unit])} {unit}"
    return (
        Field(
            f"lead_{n}", f"{name} lead", f"{_LEAD}. Learned: {learned}" if learned else _LEAD, lead
        ),
        Field(f"hand_{n}", f"{name} hand", "right or left: which way it is threaded", stud.hand),
        Field(f"tip_{n}", f"{name} tip", "the radius of its tip; 0 is a point", tip),
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
        fields = [
            Field(
                f"value_{n}",
                clean(e.method_name)[:_LABEL],
                clean(e.method_name),
                f"{clean(e.text)} {e.unit}",
            )
            for n, e in enumerate(baseline.entries, 1)
        ]
        names = {f"value_{n}": e.method_name for n, e in enumerate(baseline.entries, 1)}

        def save(texts: Texts) -> Mended[rows.Baseline]:
            changed = self.changed(texts)
            reason = changed.pop(_REASON.key, "")
            values = {names[key]: text for key, text in changed.items()}
            return correct_baseline(shop, baseline.id, values, reason)

        super().__init__(f"Correct the baseline: {clean(baseline.name)}", [*fields, _REASON], save)


_TITLE = "Settings of the shop"
ON_THE_BENCH = ("who", "unit", "theme", "drawing", "caliper")
"""What a key on the bench changes too: of these a draft would be out of date."""


class SettingsForm(Form):
    """The form of all settings; its result is the names of those that changed."""

    def __init__(self, shop: Shop, state: BenchState) -> None:
        now = settings.in_force(shop)
        fields = [Field(s.name, s.label, s.words, now[s.name]) for s in settings.SETTINGS]
        super().__init__(_TITLE, fields, lambda texts: settings.change(shop, texts))

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
