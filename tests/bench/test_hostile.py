"""Text from people is shown letter by letter, whatever a terminal would make of it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from rich.cells import cell_len

from tests.bench.screens import SIZES, bench
from tests.shop import DAY, demo_file, heron, open_shop, ski, walk_to
from workbench.bench.draw.text import visible
from workbench.records.store import rows
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop

HOSTILE = (
    "[b]X[/b]", "a[/nope]b", "[Q1]", "[$primary]", "[@click=app.quit]go[/]", "end\\",
    "\x1b[31mred\x1b]0;t\x07", "\u202eabc\u2066", "z\u200bw\ufeff", "L" * 5000,
    "💥é\u0301\u0301\u0301",
    "%s {x} $name", "a\nb\tc",
)  # fmt: skip
BAD_SIGNS = "\x1b\x07\u202e\u2066\u200b\ufeff\t"


def _hostile_job(shop: Shop, text: str) -> JobView:
    """Return a job whose ski, rider, blade, block, methods and hole are all named by ``text``."""
    old = ski(shop, "Heron 66")
    blade = shop.book.blade(old.ski.blade_id)
    new_blade = shop.book.add_blade(replace(blade, id="", name=text), who=text)
    block = shop.book.block(old.ski.block_id)
    new_block = shop.book.add_block(replace(block, id="", name=text), who=text)
    methods = []
    for n, method_id in enumerate(old.ski.methods):
        row = shop.book.method(method_id)
        name = f"{text}{n}"
        methods.append(
            shop.book.add_method(replace(row, id="", blade_id=new_blade.id, name=name), who=text).id
        )
    made = shop.book.add_ski(
        rows.Ski(
            "", text, text, text, text, "in", new_blade.id, new_block.id,
            old.ski.base_radius_mm, old.ski.base_apex_mm, True, tuple(methods),
        ),
        who=text,
    )  # fmt: skip
    return shop.view(shop.book.add_job(made.id, DAY, text, who=text).id)


@pytest.mark.parametrize("text", HOSTILE, ids=range(len(HOSTILE)))
async def test_names_from_people_are_shown_and_never_obeyed(tmp_path: Path, text: str) -> None:
    """At the stages with the most to show, no panel obeys, hides or overflows a name."""
    with open_shop(demo_file(tmp_path), who=text[:12]) as shop:
        shop.book.set_setting("shop", text, who="")
        view = _hostile_job(shop, text)
        fin = heron(view)
        async with bench(shop, SIZES[0]) as screen:
            for stage in ("waiting", "as received", "target", "turning", "final check"):
                view = walk_to(shop, view, fin, stage, ("+.010", "", "-.015"))
                screen.app.hands.look_again()
                screen.app.hands.open(view.job.id)
                screen.app.hands.say(text, "warn")
                for size in SIZES:
                    await screen.pilot.resize_terminal(*size)
                    await screen.pilot.pause()
                    shown = screen.shown()
                    assert not set(BAD_SIGNS) & set(shown)
                    assert visible(text, 12).rstrip("…")[:6] in shown, (stage, size)
                    assert all(cell_len(row) <= size[0] for row in shown.split("\n")), (stage, size)
                    assert len(shown.split("\n")) == size[1]
                    assert "NEXT" in shown, (stage, size)


@pytest.mark.parametrize("text", ["[b]X[/b]", "a[/nope]b", "\x1b[31m\u202e", "R" * 5000])
async def test_reasons_and_notes_are_shown_and_the_way_on_stays_in_sight(
    shop: Shop, text: str
) -> None:
    """A reason of any length leaves room for what to do next."""
    async with bench(shop, (80, 24)) as screen:
        screen.app.acts.write_note(text + " x")
        screen.app.acts.set_aside(text + " x")
        await screen.pilot.pause()
        shown = screen.shown()
        assert visible(text, 40).rstrip("…")[:8] in shown
        words = " ".join(shown.replace("┃", " ").split())
        assert "Enter takes it up again; PgDn: next ski." in words


@pytest.mark.parametrize("text", ["[b]X[/b]", "a[/nope]b", "[Q1] "])
async def test_prompts_take_and_show_brackets(shop: Shop, text: str) -> None:
    """Typed into a prompt, brackets are letters; the draft and the result have them."""
    async with bench(shop, (80, 24)) as screen:
        await screen.by_hand("s")
        await screen.settle()
        for char in text:
            await screen.pilot.press({"[": "[", "]": "]", "/": "/", " ": "space"}.get(char, char))
        assert text.strip() in screen.shown()
        await screen.pilot.pause(0.2)
        await screen.by_hand("\n")
        assert screen.view.progress.reason == text


@pytest.mark.parametrize("size", [(1, 1), (20, 3), (59, 17), (60, 18), (240, 80)])
async def test_any_size_is_drawn(shop: Shop, size: tuple[int, int]) -> None:
    """Too small says so or at least stands; larger draws."""
    view = ski(shop, "Heron 67")
    async with bench(shop, size) as screen:
        screen.app.hands.open(view.job.id)
        await screen.pilot.pause()
        screen.burst("/")
        await screen.pilot.pause()
        assert screen.app.is_running
