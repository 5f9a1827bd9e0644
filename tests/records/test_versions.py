"""A ski's versions and the pairs read on it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from tests.shop import demo_file, open_shop, ski
from workbench.records.store.rows import Pair


def test_every_version_of_a_ski_is_kept_with_who_wrote_it(tmp_path: Path) -> None:
    """Oldest first, each under an id of its own, the ski's the same."""
    with open_shop(demo_file(tmp_path)) as shop:
        row = ski(shop, "Heron 66").ski
        shop.book.correct_ski(replace(row, rider="A", methods=row.methods[:2]), who="AB")
        shop.book.correct_ski(replace(row, rider="B"), who="CD")
        versions = shop.book.ski_versions(row.id)
    assert [v.ski for v in versions] == [
        row,
        replace(row, rider="A", methods=row.methods[:2]),
        replace(row, rider="B"),
    ]
    assert [v.who for v in versions] == ["KV", "AB", "CD"]
    assert versions[0].id == row.id
    assert [v.id for v in versions] == sorted({v.id for v in versions})


def test_pairs_of_a_ski_are_its_own_alone(tmp_path: Path) -> None:
    with open_shop(demo_file(tmp_path)) as shop:
        one, two = ski(shop, "Heron 66").ski, ski(shop, "Heron 67").ski
        made = [
            shop.book.add_entry(
                "KV",
                Pair(
                    ski_id=row.id, method_id=row.methods[0], text="2.45", unit="in", mm=62.23,
                    other_method_id=row.methods[1], other_text="0.78", other_unit="in",
                    other_mm=19.812,
                ),
            )
            for row in (one, two, one)
        ]  # fmt: skip
        shop.book.strike(made[2].id, "wrong fin", "KV")
        found = shop.book.pairs_of(one.id)
    assert [p.id for p in found] == [made[0].id, made[2].id]
    assert [p.struck is not None for p in found] == [False, True]
