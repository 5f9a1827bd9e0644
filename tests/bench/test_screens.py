"""Pictures of every stage at both sizes, so that a lost line or a cut word is seen."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import Any

import pytest
from textual.pilot import Pilot

from tests.bench.screens import before
from tests.shop import Fin, heron, ski, walk_to
from workbench.bench.app import Bench
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop

WIDE, NARROW, SMALL = (120, 36), (80, 24), (50, 15)
Before = Callable[[Pilot[Any]], Awaitable[None]]


def _at(shop: Shop, stage: str) -> JobView:
    if stage == "wing":
        view = ski(shop, "Heron 67")
        fin = Fin(view, 0.690, -1.012, -0.10)
        return walk_to(shop, view, fin, stage, ("+.008", "+.012", ""))
    view = ski(shop, "Heron 66")
    return walk_to(shop, view, heron(view), stage, ("+.010", "", "-.015"))


def _app(shop: Shop, job_id: str) -> Bench:
    app = Bench(shop)
    app.hands.look_again()
    app.hands.open(job_id)
    return app


CASES: dict[str, tuple[str, str, tuple[int, int]]] = {
    "waiting": ("waiting", "", WIDE),
    "waiting-narrow": ("waiting", "", NARROW),
    "received-check-narrow": ("received check", "\n", NARROW),
    "an-entry": ("as received", "2450", WIDE),
    "an-entry-narrow": ("as received", "2450", NARROW),
    "a-question-narrow": ("as received", "62.23\n", NARROW),
    "studs-narrow": ("studs", "", NARROW),
    "target": ("target", "+.01", WIDE),
    "target-narrow": ("target", "+.01", NARROW),
    "turning": ("turning", "\n", WIDE),
    "turning-narrow": ("turning", "\n", NARROW),
    "measuring-narrow": ("measuring", "", NARROW),
    "within": ("within", "", WIDE),
    "within-narrow": ("within", "", NARROW),
    "wing-narrow": ("wing", "7.5", NARROW),
    "final-check": ("final check", "\n+", WIDE),
    "sign-off-narrow": ("sign-off", "\n", NARROW),
    "signed-off-narrow": ("signed off", "", NARROW),
    "sheet-narrow": ("turning", "/12", NARROW),
    "help-narrow": ("turning", "h", NARROW),
    "ascii": ("turning", "dd", WIDE),
    "day": ("turning", "y", WIDE),
    "too-small": ("turning", "", SMALL),
}


@pytest.mark.parametrize("case", CASES)
def test_the_screen_looks_as_it_did(shop: Shop, snap_compare: Any, case: str) -> None:
    """The picture is the one that was looked at and found good."""
    stage, keys, size = CASES[case]
    app = _app(shop, _at(shop, stage).job.id)
    assert snap_compare(app, terminal_size=size, run_before=before(keys))


def test_a_ski_set_aside_looks_as_it_did(shop: Shop, snap_compare: Any) -> None:
    """With its reason and the way on."""
    view = next(x for x in shop.roster() if x.stage == "set aside")
    app = _app(shop, view.job_id)
    assert snap_compare(app, terminal_size=NARROW, run_before=before())
