"""The studs of the block in hand and the numbers of a baseline, put right in a form."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from time import monotonic
from typing import TYPE_CHECKING

from workbench.bench.bases.form_lines import clean
from workbench.bench.bases.forms import Field, Form
from workbench.fin.parts.studs import said
from workbench.measure.display import length_text
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.work.job.shop import Shop
from workbench.work.learn.what_learnt import learnt_page
from workbench.work.roster.correction_words import Mended
from workbench.work.roster.corrections import correct_baseline, correct_studs

if TYPE_CHECKING:
    from workbench.bench.app import Bench

_LABEL = 13
_LEAD = "a thread such as M5x0.8, or a lead: 0.8 mm"
REASON = Field("reason", "Reason", "why it is corrected: stays in the history with what it said")


def _block_form(shop: Shop, block: rows.Block, unit: Unit, learned: Mapping[str, str]) -> Form:
    """Return the form of a block's studs as they stand; its result is what was corrected.

    Only what is typed otherwise is kept, so that what another bench corrected meanwhile stays.
    ``learned`` is what the bench has learnt of a stud, in words by its name; it is told beside its
    lead.
    """
    fields = [
        field
        for n, stud in enumerate(block.studs, 1)
        for field in _stud(n, stud, unit, learned.get(stud.name, ""))
    ]
    used = sum(ski.block_id == block.id for ski in shop.book.skis())
    title = f"Correct the block: {clean(block.name)}, used by {used} ski{'' if used == 1 else 's'}"

    def save(texts: dict[str, str], reason: str) -> Mended[rows.Block]:
        return correct_studs(shop, block.id, texts, unit, reason)

    return _form(title, fields, save)


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


_STEP: dict[Unit, str] = {"in": "0.0001", "mm": "0.001"}


def baseline_form(shop: Shop, baseline: rows.Baseline) -> Form:
    """Return the form of a baseline's numbers as they stand; its result is what was corrected."""
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

    def save(texts: dict[str, str], reason: str) -> Mended[rows.Baseline]:
        values = {names[key]: text for key, text in texts.items()}
        return correct_baseline(shop, baseline.id, values, reason)

    return _form(f"Correct the baseline: {clean(baseline.name)}", fields, save)


def _form(title: str, fields: list[Field], save: Callable[[dict[str, str], str], object]) -> Form:
    now = {field.key: field.value for field in fields}

    def on_save(texts: dict[str, str]) -> object:
        changed = {key: texts[key] for key in now if texts[key] != now[key]}
        return save(changed, texts["reason"])

    return Form(title, [*fields, REASON], on_save)


def open_on(bench: Bench) -> None:
    """Ask what is to be written down of the studs of the block that the ski in hand has."""
    view = bench.hands.state.view
    if view is not None:
        block = bench.shop.book.block(view.ski.block_id)
        if not block.studs:
            bench.hands.say("no block yet: measure one, or choose one", "warn")
            return
        learned = {s.name: s.words for s in learnt_page(bench.shop.book, view.ski).studs}
        form = _block_form(bench.shop, block, bench.hands.state.unit, learned)
        bench.push_screen(form, lambda done: _after(bench, done))


def _after(bench: Bench, done: object) -> None:
    bench.hands.ignore_enter(monotonic())
    if isinstance(done, Mended):
        bench.hands.look_again()
        bench.hands.say(done_words(done), "done")


def done_words(done: Mended[rows.Block]) -> str:
    """Return what was corrected and what follows from it, in one line."""
    follows = "readings stay, turns worked out anew"
    if any(mid_pass for *_, mid_pass in done.under_way):
        follows += "; a round begun is finished as begun"
    return f"block corrected: {follows}; {'; '.join(done.changes)}"
