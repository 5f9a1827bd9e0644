"""Somebody else's numbers become a target in this shop's own methods."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.shop import Fin, demo_file, heron, open_shop, ski, walk_to
from workbench.errors import InputError, PoseError
from workbench.fin.reading.method import Method
from workbench.measure.display import length_text
from workbench.measure.units import MM_PER_INCH
from workbench.records.store import rows
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.study.restating import (
    OFFSET_U_MM,
    Theirs,
    aim_as_read,
    how_meant,
    in_our_methods,
    ours_words,
    shown_how,
    theirs_typed,
    ways,
)

IN = MM_PER_INCH


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with open_shop(demo_file(tmp_path)) as opened:
        yield opened


@pytest.fixture
def view(shop: Shop) -> JobView:
    view = ski(shop, "Heron 66")
    return walk_to(shop, view, heron(view), "target")


def elsewhere(view: JobView) -> Fin:
    """The fin as it is set in another shop."""
    return Fin(view, 0.657, -1.001, 0.08)


def there(view: JobView, method: Method) -> float:
    fin = elsewhere(view)
    return fin.rig.observe(method, fin.pose).value_mm


def given(shop: Shop, view: JobView, *hows: str) -> list[Theirs]:
    out = []
    for text in hows:
        how = how_meant(shop, view, text, "in")
        number = length_text(there(view, how.method) + how.offset_mm, "in", "0.0001")
        out.append(theirs_typed(view, how, number, "in"))
    return out


THEIRS = ("depth deepest", "tail flat", "length 0.15..0.3")


def test_numbers_by_other_methods_become_ours(shop: Shop, view: JobView) -> None:
    """What our methods read where theirs put the blade, to what four figures leave of it."""
    found = in_our_methods(shop, view, given(shop, view, *THEIRS))
    assert [o.line.method_id for o in found] == [x.method_id for x in view.lines]
    for ours in found:
        assert abs(ours.mm - there(view, ours.line.method)) < 0.0005 * IN
        assert 0.0 < ours.u_mm < 0.01 * IN


def test_a_number_by_our_own_method_is_taken_as_it_is(shop: Shop, view: JobView) -> None:
    theirs = given(shop, view, "1", "2", "3")
    found = in_our_methods(shop, view, theirs)
    assert [o.mm for o in found] == [t.mm for t in theirs]
    assert all(o.rests == "their number" for o in found)


def test_an_offset_is_taken_off_and_widens_the_uncertainty(shop: Shop, view: JobView) -> None:
    plain = in_our_methods(shop, view, given(shop, view, "1", "2", "3"))
    more = given(shop, view, "1", "2", "3 +0.010")
    assert more[2].how.offset_mm == pytest.approx(0.254)
    found = in_our_methods(shop, view, more)
    assert found[2].mm == pytest.approx(plain[2].mm, abs=1e-9)
    assert found[2].u_mm >= OFFSET_U_MM
    assert "offset" in found[2].rests
    words = ours_words(found[2], "in")
    assert "known less well than the tolerance" in words


def test_they_are_the_target_and_a_note_keeps_what_was_said(shop: Shop, view: JobView) -> None:
    theirs = given(shop, view, *THEIRS)
    found = in_our_methods(shop, view, theirs)
    new = aim_as_read(shop, view, theirs, found)
    for line, ours in zip(new.lines, found, strict=True):
        assert line.target_mm == pytest.approx(ours.mm, abs=0.00005 * IN)
    assert new.plan is not None
    notes = [f.text for f in new.facts if isinstance(f, rows.Mark) and f.kind == "note"]
    assert any("as read by others" in text and theirs[0].number in text for text in notes)


def test_every_way_is_shown_how_it_is_taken(shop: Shop, view: JobView) -> None:
    for quantity in ("depth", "tail", "length"):
        known = ways(shop, view, quantity)
        assert known
        for how in known:
            assert len(shown_how(how, "in")) >= 2
    assert any(h.method.station is None for h in ways(shop, view, "depth"))


@pytest.mark.parametrize(
    "how",
    ["", "nonsense", "depth 0.1..0.3", "depth hole 99 back", "length 0.3..0.1", "length tips +x",
     "99", "tail 0.1..much"],
)  # fmt: skip
def test_a_way_that_is_none_is_told(shop: Shop, view: JobView, how: str) -> None:
    with pytest.raises(InputError):
        how_meant(shop, view, how, "in")


def test_wrong_numbers_keep_nothing(shop: Shop, view: JobView) -> None:
    how = how_meant(shop, view, "length tips", "in")
    for text in ("", "abc", "-6.9", "1.2"):
        with pytest.raises(InputError):
            theirs_typed(view, how, text, "in")
    two = given(shop, view, "depth deepest", "tail flat")
    with pytest.raises(PoseError):
        in_our_methods(shop, view, two)
    with pytest.raises(InputError, match="once"):
        in_our_methods(shop, view, [*two, two[0]])
    assert shop.view(view.job.id).progress.targets == {}
