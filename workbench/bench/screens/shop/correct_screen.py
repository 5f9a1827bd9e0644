"""What is written down of the ski in hand, put right in a form; the old sheet stays readable."""

from __future__ import annotations

from time import monotonic
from typing import TYPE_CHECKING

from workbench.bench.bases.form_lines import clean
from workbench.bench.bases.forms import Field, Form
from workbench.records.store import rows
from workbench.work.job.shop import Shop
from workbench.work.roster.ski_sheet import changed_words, correct_ski, sheet_of

if TYPE_CHECKING:
    from workbench.bench.app import Bench

_TITLE = "Correct the ski's sheet"
LABELS = (
    ("name", "Ski", "as written on the ski, such as Heron 66"),
    ("rider", "Rider", "whose ski it is; may stay blank"),
    ("serial", "Serial", "may stay blank"),
    ("model", "Model", "may stay blank"),
    ("size", "Size", "may stay blank; baselines are found by model and size"),
    ("note", "Note", "about the ski, may stay blank; the queue finds it by this too"),
    ("wing", "Wing", "yes or no: has the blade a wing to set?"),
)


def sheet_form(shop: Shop, ski: rows.Ski) -> Form:
    """Return the form of a ski's sheet as it is; its result is the ski corrected.

    Only what is typed otherwise is kept, so that what another bench corrected meanwhile stays.
    """
    now = {key: clean(text) for key, text in sheet_of(ski).items()}
    fields = [Field(key, label, hint, now[key]) for key, label, hint in LABELS]

    def save(texts: dict[str, str]) -> rows.Ski:
        changed = {key: text for key, text in texts.items() if text != now[key]}
        return correct_ski(shop, ski.id, changed)

    return Form(f"{_TITLE}: {ski.name} {ski.serial}".rstrip(), fields, save)


def open_on(bench: Bench) -> None:
    """Ask what is to be written down of the ski in hand."""
    view = bench.hands.state.view
    if view is None:
        return
    ski = view.ski
    bench.push_screen(sheet_form(bench.shop, ski), lambda new: _after(bench, ski, new))


def _after(bench: Bench, old: rows.Ski, new: object) -> None:
    bench.hands.ignore_enter(monotonic())
    if isinstance(new, rows.Ski):
        bench.hands.look_again()
        bench.hands.say(f"sheet corrected: {changed_words(old, new)}; the old one stays", "done")
