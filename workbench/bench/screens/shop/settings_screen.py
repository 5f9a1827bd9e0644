"""The settings of the shop as one form; nothing is kept before F2."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from workbench.bench.bases.form_lines import drafts_of
from workbench.bench.bases.forms import Form
from workbench.bench.draw import themes
from workbench.bench.hand.state import BenchState
from workbench.work.job.shop import Shop
from workbench.work.roster import settings

if TYPE_CHECKING:
    from workbench.bench.app import Bench

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
