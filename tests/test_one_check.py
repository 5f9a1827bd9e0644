"""Checked in one place, so refused alike wherever it comes in: finest turn, angle, initials."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from tests.shop import ski
from workbench.errors import InputError
from workbench.fin.wing import angle_of
from workbench.measure.lengths import check_finest
from workbench.records.store.row_checks import check_kept_finest
from workbench.work.files.table_files import Table
from workbench.work.job.shop import Shop, check_other_eyes, initials_of
from workbench.work.order.order_file import _finest_turn as order_finest
from workbench.work.roster.parts_typed import finest_of
from workbench.work.roster.settings import change
from workbench.work.trust.shop_policy import FINEST
from workbench.work.trust.wing_setup import gauges_of

TOO_FINE, TOO_COARSE = 1 / 128, 2.0


@pytest.mark.parametrize("turn", [TOO_FINE, TOO_COARSE, -1 / 8])
def test_a_finest_turn_is_refused_alike_by_every_way_in(shop: Shop, turn: float) -> None:
    """At the bench, typed, in an order, as a setting: from 1/64 to 1, or 0."""
    view, text = ski(shop, "Heron 66"), f"{turn}"
    ways: list[Callable[[], object]] = [
        lambda: shop.set_finest(view, turn),
        lambda: finest_of(text),
        lambda: order_finest(Table({"finest_turn": turn}, "")),
        lambda: FINEST.read("finest_turn", text),
        lambda: change(shop, {"finest_turn": text}),
    ]
    for way in ways:
        with pytest.raises(InputError):
            way()


def test_what_books_of_old_hold_still_travels_and_no_more() -> None:
    """Their finer turns were kept once; what is no turn at all was never."""
    check_kept_finest("blocks[0].finest_turn", 1 / 500)
    for turn in (1e-5, 1.5, float("nan")):
        with pytest.raises(InputError, match="finest_turn"):
            check_kept_finest("blocks[0].finest_turn", turn)
    assert [check_finest(turn) for turn in (0.0, 1 / 64, 1.0)] == [0.0, 1 / 64, 1.0]


@pytest.mark.parametrize("text", ["1.9", "20.5", "nan", "steep", ""])
def test_an_angle_is_refused_alike_by_every_way_in(shop: Shop, text: str) -> None:
    for way in (angle_of, gauges_of) if text else (angle_of,):
        with pytest.raises(InputError, match="degrees from 2 to 20"):
            way(text)


@pytest.mark.parametrize("text", ["", "   ", "thirteen char", "K\x1bV"])
def test_initials_are_refused_alike_by_every_way_in(shop: Shop, text: str) -> None:
    """A sign-off, a second pair of eyes and the setting take the same ones."""
    view: Any = ski(shop, "Heron 66")
    with pytest.raises(InputError, match="1 to 12 characters"):
        initials_of(text)
    with pytest.raises(InputError, match="1 to 12 characters"):
        shop.sign_off(view, text)
    with pytest.raises(InputError, match="1 to 12 characters"):
        shop.second_eyes(view, text)
    if text.strip():
        with pytest.raises(InputError, match="1 to 12 characters"):
            change(shop, {"who": text})


@pytest.mark.parametrize("eyes", ["", "KV", "kv "])
def test_nobody_is_the_second_pair_of_eyes_of_himself(eyes: str) -> None:
    with pytest.raises(InputError, match="somebody else"):
        check_other_eyes(eyes.strip(), "KV")
