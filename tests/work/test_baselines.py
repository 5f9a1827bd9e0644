"""Baselines: which fit a ski, compared with it, made its target, and as a file."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from tests.shop import demo_file, heron, open_shop, ski, walk_to
from workbench.errors import InputError
from workbench.measure.lengths import parse_length
from workbench.records.book import Book
from workbench.records.store.rows import Baseline, BaselineEntry
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.roster import baselines


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with open_shop(demo_file(tmp_path)) as shop:
        yield shop


@pytest.fixture
def heron_view(shop: Shop) -> JobView:
    """A ski of a known model and size, read as it came."""
    view = ski(shop, "Heron 66")
    shop.book.correct_ski(replace(view.ski, model="Heron", size="66"))
    return walk_to(shop, shop.view(view.job.id), heron(view), "target")


def entry(view: JobView, text: str = "2.4800") -> BaselineEntry:
    return BaselineEntry(view.lines[0].method.name, text, "in", float(text) * 25.4, 0.05)


def test_the_nearest_baseline_comes_first(shop: Shop, heron_view: JobView) -> None:
    """This ski's own, its rider's on this model, model and size, model; others do not fit."""
    view = heron_view
    before = {f.baseline.id for f in baselines.fitting(shop, view)}
    entries = (entry(view),)
    book = shop.book
    book.add_baseline(Baseline("", None, "model", entries, model=" heron "))
    book.add_baseline(Baseline("", None, "size", entries, model="Heron", size="66"))
    book.add_baseline(Baseline("", None, "other size", entries, model="Heron", size="65"))
    book.add_baseline(Baseline("", None, "rider", entries, model="Heron", rider=view.ski.rider))
    book.add_baseline(Baseline("", None, "other rider", entries, model="Heron", rider="Nobody"))
    book.add_baseline(Baseline("", view.ski.id, "own", entries))
    found = [f for f in baselines.fitting(shop, view) if f.baseline.id not in before]
    assert [f.baseline.name for f in found] == ["own", "rider", "size", "model"]
    assert found[0].of == "this ski's own"


def test_a_baseline_is_compared_number_by_number(shop: Shop, heron_view: JobView) -> None:
    """Now minus baseline; a number by another method has no line."""
    view = heron_view
    strange = BaselineEntry("length, by eye", "6.9", "in", 175.26, 0.05)
    shop.book.add_baseline(Baseline("", view.ski.id, "own", (entry(view), strange)))
    first, second = baselines.fitting(shop, view)[0].numbers
    assert first.now_mm == view.lines[0].now_mm
    assert first.off_mm == pytest.approx(first.now_mm - 2.48 * 25.4)
    assert second.line is None
    assert second.off_mm is None


def test_a_baseline_becomes_the_target(shop: Shop, heron_view: JobView) -> None:
    """By this ski's own methods only."""
    view = heron_view
    book = shop.book
    kept = book.add_baseline(Baseline("", None, "model", (entry(view),), model="Heron"))
    view = baselines.aim_at(shop, view, kept)
    assert view.lines[0].target_mm == pytest.approx(2.48 * 25.4)
    strange = BaselineEntry("length, by eye", "6.9", "in", 175.26, 0.05)
    other = book.add_baseline(Baseline("", None, "odd", (strange,), model="Heron"))
    with pytest.raises(InputError, match="own methods"):
        baselines.aim_at(shop, view, other)


@pytest.mark.parametrize(("of", "kind"), [("ski", 0), ("rider", 1), ("model", 2)])
def test_numbers_of_now_are_kept_as_a_baseline(
    shop: Shop, heron_view: JobView, of: str, kind: int
) -> None:
    """The text is what is kept, to the digit."""
    view = heron_view
    kept = baselines.keep_now(shop, view, "spring", of)
    assert (kept.ski_id is not None, bool(kept.rider), bool(kept.size)) == (
        kind == 0, kind == 1, kind > 0
    )  # fmt: skip
    fit = next(f for f in baselines.fitting(shop, view) if f.baseline.id == kept.id)
    for number in fit.numbers:
        assert number.entry.mm == parse_length(number.entry.text, "in").mm
        assert abs(number.off_mm or 0.0) <= 0.00005 * 25.4 / 2 + 1e-9


def test_numbers_not_read_are_not_kept(shop: Shop) -> None:
    """A reading is missing: said which."""
    view = ski(shop, "Heron 66")
    with pytest.raises(InputError, match="depth"):
        baselines.keep_now(shop, view, "spring", "ski")


def test_a_file_out_and_in_again_doubles_nothing(
    shop: Shop, heron_view: JobView, tmp_path: Path
) -> None:
    """On the same book all are there already; on another the models' come in as they were."""
    view = heron_view
    shop.book.add_baseline(
        Baseline("", None, "größe; =1+1", (entry(view),), "a, b", model="Heron", size="66",
                 wing="7.5", wing_deg=7.5)
    )  # fmt: skip
    data = json.loads(baselines.export_text(shop))
    found = baselines.read_baselines(data, shop.book.skis())
    assert baselines.take_in_baselines(shop, found) == (0, len(found))
    of_models = {**data, "baselines": [b for b in data["baselines"] if not b["ski"]]}
    with Book(tmp_path / "other.db") as other:
        there = Shop(other, day=shop.day)
        found = baselines.read_baselines(of_models, ())
        assert baselines.take_in_baselines(there, found) == (len(found), 0)
        kept = [replace(b, id="") for b in other.baselines()]
        here = [replace(b, id="") for b in shop.book.baselines() if b.ski_id is None]
        assert kept == here


GOOD = {"name": "a", "model": "m", "numbers": [{"method": "d", "value": "2.5 in"}]}


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"numbers": []}, "numbers"),
        ({"numbers": [{"method": "d", "value": "2.5"}]}, "value"),
        ({"numbers": [{"method": "d", "value": "+2.5 in"}]}, "value"),
        ({"numbers": [{"method": "d", "value": "nan in"}]}, "value"),
        ({"numbers": [{"method": "d", "value": 2.5}]}, "value"),
        ({"numbers": [{"method": "", "value": "2.5 in"}]}, "method"),
        ({"numbers": [{"method": "d", "value": "2.5 in", "tolerance": "0 mm"}]}, "tolerance"),
        ({"model": ""}, "model"),
        ({"ski": "not here"}, "ski"),
        ({"wing": "steep"}, "wing"),
        ({"wing": "45"}, "wing"),
        ({"colour": "red"}, "colour"),
        ({"name": " "}, "name"),
    ],
)
def test_a_wrong_file_names_its_key(change: dict[str, object], field: str) -> None:
    """And nothing of it is taken."""
    top = {
        "format": baselines.BASELINES_FORMAT,
        "version": 1,
        "baselines": [GOOD, {**GOOD, **change}],
    }
    with pytest.raises(InputError, match=field):
        baselines.read_baselines(top, ())


@pytest.mark.parametrize(
    ("top", "field"),
    [
        ({"format": "another", "version": 1, "baselines": []}, "format"),
        ({"format": baselines.BASELINES_FORMAT, "version": 2, "baselines": []}, "version"),
        ({"version": 1, "baselines": 3}, "baselines"),
    ],
)
def test_another_programs_or_a_newer_file_is_refused(top: dict[str, object], field: str) -> None:
    """By its format and version."""
    with pytest.raises(InputError, match=field):
        baselines.read_baselines(top, ())
