"""The settings of the shop as one form; nothing is kept before F2."""

from __future__ import annotations

from time import monotonic
from typing import TYPE_CHECKING

from workbench.bench.bases.form_lines import drafts_of
from workbench.bench.bases.forms import Field, Form
from workbench.bench.draw import themes
from workbench.errors import BenchError
from workbench.work.job.shop import Shop
from workbench.work.roster import settings

if TYPE_CHECKING:
    from workbench.bench.app import Bench

_TITLE = "Settings of the shop"
ON_THE_BENCH = ("who", "unit", "theme", "drawing", "caliper")
"""What a key on the bench changes too: of these a draft would be out of date."""


def open_on(bench: Bench) -> None:
    """Open the form; what it keeps shows on the bench at once."""
    for name in ON_THE_BENCH:
        drafts_of(bench).get(_TITLE, {}).pop(name, None)
    try:
        form = settings_form(bench.shop)
    except BenchError as why:
        bench.hands.say(str(why), "warn")
        return
    for line in settings.misfit_lines(bench.shop.book.settings()):
        bench.hands.say(line, "warn")
    bench.push_screen(form, lambda changed: _take_over(bench, changed))


def settings_form(shop: Shop) -> Form:
    """Return the form of all settings; its result is the names of those that changed."""
    now = settings.in_force(shop)
    fields = [Field(s.name, s.label, s.words, now[s.name]) for s in settings.SETTINGS]
    return Form(_TITLE, fields, lambda texts: settings.change(shop, texts))


def _take_over(bench: Bench, changed: object) -> None:
    hands = bench.hands
    if isinstance(changed, tuple):
        kept = bench.shop.book.settings()
        hands.take_settings(kept)
        if "theme" in changed:
            bench.theme = themes.pick(bench._no_color, kept.get("theme", ""))
        said = f"settings kept: {len(changed)} changed" if changed else "no setting was changed"
        hands.look_again()
        hands.say(said, "done")
    hands.ignore_enter(monotonic())
