"""Blocks, blades and baselines put right line by line."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.by_command import Refused, Run, fact
from tests.shop import open_shop, ski
from tests.work.test_mending import block_file
from workbench.records.store import rows

WHY = ("--reason", "measured again")


def test_a_block_is_corrected_and_every_ski_under_way_is_named(
    run: Run, refused: Refused, book: Path, tmp_path: Path
) -> None:
    file = block_file(tmp_path / "b.toml")
    tried = run("correct-block", "1", file, *WHY, "--dry-run")
    assert fact(tried, "Trial").startswith("block would be corrected: Block one")
    said = run("correct-block", "1", file, *WHY)
    assert said[1:] == tried[1:]
    assert "lead 0.79375 mm -> 0.8 mm" in fact(said, "Changed")
    assert "Otter 65 OT-65-771" in fact(said, "Used by")
    assert any(x.startswith("Under way: Otter 65 OT-65-771, measuring, round 1: ") for x in said)
    assert not any(x.startswith("Under way: Heron 66 H66-014") for x in said)  # still waiting
    history = "\n".join(run("history", "OT-65-771", "--kind", "notes"))
    assert "corrected (measured again): top front: thread 10-32 UNF -> M5x0.8" in history
    assert "written down otherwise" in refused("correct-block", "1", file, *WHY)


def test_a_pass_begun_is_told_as_such(run: Run, book: Path, tmp_path: Path) -> None:
    for _ in ("loosened", "turned"):
        run("done", "--ski", "H67-003")
    said = run("correct-block", "1", block_file(tmp_path / "b.toml"), *WHY)
    mine = next(x for x in said if x.startswith("Under way: Heron 67"))
    assert "finished as it was begun" in mine
    assert any("finished as it was begun" in x for x in run("next", "--ski", "H67-003"))


@pytest.mark.parametrize(
    ("text", "accepted"),
    [
        ('name = "front"', "cannot rename or drop"),
        ('touches = "top"', "'top' or 'back'"),
        ('thread = "M5x0.8"', "a thread such as"),
    ],
)
def test_a_file_that_will_not_do_names_what_will(
    refused: Refused, book: Path, tmp_path: Path, text: str, accepted: str
) -> None:
    file = tmp_path / "b.toml"
    block_file(file)
    key = text.split(" = ")[0]
    file.write_text(file.read_text().replace(text, f'{key} = "x"', 1))
    assert accepted in refused("correct-block", "1", str(file), *WHY)
    with open_shop(book) as shop:
        assert all(len(shop.book.block_versions(b.id)) == 1 for b in shop.book.blocks())


def test_a_reason_of_blanks_is_no_reason(refused: Refused, book: Path, tmp_path: Path) -> None:
    file = block_file(tmp_path / "b.toml")
    assert "a few words on why" in refused("correct-block", "1", file, "--reason", " ")


def blade_file(path: Path, book: Path, hole: str) -> str:
    with open_shop(book) as shop:
        blade = shop.book.blade(ski(shop, "Heron 66").ski.blade_id)
    points = [list(p) for p in blade.outline_mm]
    path.write_text(
        f'unit = "mm"\n[blade]\nname = "x"\noutline = {points}\n'
        f"top_edge = {[list(p) for p in blade.top_edge_mm]}\n"
        f"back_edge = {[list(p) for p in blade.back_edge_mm]}\n"
        f'holes = [{{ name = "{hole}", at = [44.0, 76.2], diameter = 7.0 }}]\n'
    )
    return str(path)


def test_a_blade_is_corrected_and_keeps_its_name_and_methods(
    run: Run, book: Path, tmp_path: Path
) -> None:
    said = run("correct-blade", "1", blade_file(tmp_path / "b.toml", book, "2"), *WHY)
    assert "diameter 7.62 mm -> (44, 76.2) mm, diameter 7 mm" in "\n".join(said)
    with open_shop(book) as shop:
        first, later = shop.book.blade_versions(shop.book.blades()[0].id)
        assert isinstance(later.part, rows.Blade)
        assert (later.part.name, later.reason) == (first.part.name, "measured again")
        assert later.part.holes[0].diameter_mm == 7.0
        assert ski(shop, "Heron 66").lines


def test_a_blade_without_a_hole_that_it_is_read_by_is_refused(
    refused: Refused, book: Path, tmp_path: Path
) -> None:
    said = refused("correct-blade", "1", blade_file(tmp_path / "b.toml", book, "7"), *WHY)
    assert "method depth, hole 2 back edge" in said
    with open_shop(book) as shop:
        assert len(shop.book.blade_versions(shop.book.blades()[0].id)) == 1


def test_a_baseline_is_corrected_then_struck_out_and_stays_readable(
    run: Run, refused: Refused, book: Path
) -> None:
    said = run("correct-baseline", "1", "tail, upper line", "0.790 in", "--reason", "swapped")
    assert fact(said, "Changed") == "tail, upper line 0.7480 in -> 0.790 in"
    assert "tail, upper line 0.790 in" in run("baselines")[0]
    assert "one of this baseline" in refused("correct-baseline", "1", "tail", "0.79", *WHY)
    assert "baseline" in refused("correct-baseline", "99", "tail, upper line", "0.79", *WHY)
    assert "a length" in refused("correct-baseline", "1", "tail, upper line", "-0.79", *WHY)
    count = len(run("baselines"))
    run("strike-baseline", "1", "--reason", "another ski")
    assert len(run("baselines")) == count - 1
    (gone,) = run("baselines", "struck")
    assert "tail, upper line 0.790 in" in gone
    assert gone.endswith(": another ski")
    assert "why" in refused("strike-baseline", "1", "--reason", " ")
