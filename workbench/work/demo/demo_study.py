"""The demo's repeatability study: three people, three skis, three rounds, all invented."""

from __future__ import annotations

import random

from workbench.measure.display import length_text
from workbench.measure.lengths import parse_length
from workbench.work.job.shop import Shop
from workbench.work.study.studies import take, view_of
from workbench.work.study.study_plans import plan_study

DEPTHS_MM = {"Heron 66": 62.82, "Heron 67": 62.55, "Lark 64": 62.31}
HANDS_MM = {"KV": 0.0, "JT": 0.006, "AB": -0.008}
"""What each pair of hands reads on top of the ski."""

_SCATTER_MM = 0.012


def add_demo_study(shop: Shop, what: str) -> None:
    """Keep a finished study of the reading method ``what``, the same at every run."""
    chance = random.Random(66)
    fields = {
        "name": "a slow hour", "what": what, "unit": "in", "near": "2.5",
        "parts": "; ".join(DEPTHS_MM), "people": " ".join(HANDS_MM), "trials": "3",
    }  # fmt: skip
    view = view_of(shop, plan_study(shop, fields, chance.shuffle))
    while view.due is not None:
        true = DEPTHS_MM[view.due.part] + HANDS_MM[view.due.person]
        text = length_text(true + chance.gauss(0.0, _SCATTER_MM), "in")
        view = take(shop, view, text, parse_length(text, "in").mm)
