"""Forms and one-line questions: moving, saving, drafts, errors beside their field, and bursts."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from textual import events
from textual.app import App
from textual.widgets import Input, Static

from tests.bench.screens import send, slowly
from workbench.bench.bases.forms import Form, drafts_of
from workbench.bench.bases.prompts import Prompt, PromptInput
from workbench.bench.hand.state import BenchState
from workbench.bench.screens.shop.shop_forms import AddBlade, AddBlock, AddSki
from workbench.errors import InputError
from workbench.records.book import Book
from workbench.work.job.shop import Shop
from workbench.work.roster.adding import ensure_starter
from workbench.work.text.fields import Field

SIZES = [(120, 36), (80, 24)]
HOSTILE = ["[b]X[/b]", "a[/nope]b", "[Q1]", "\x1b[31mred", "long " * 300]


class Bench(App[None]):
    """An app that opens one screen and remembers what it answered and what was held."""

    def __init__(self, make: Callable[[], Any]) -> None:
        super().__init__()
        self.make = make
        self.answers: list[object] = []
        self.held: list[str] = []

    def on_mount(self) -> None:
        self.open()

    def open(self) -> None:
        self.push_screen(self.make(), self.answers.append)

    def hold_burst(self, text: str) -> None:
        self.held.append(text)


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with Book(tmp_path / "shop.db") as book:
        ensure_starter(book, "KV")
        yield Shop(book, "2031-05-06", "KV")


def lines(app: App[Any]) -> list[Input]:
    return list(app.screen.query(Input))


def shown(app: App[Any]) -> str:
    """All text of the screen's statics that are displayed."""
    return "\n".join(
        str(s.render())
        for s in app.screen.query(Static)
        if s.display and s.styles.display != "none"
    )


def refuse_sevens(texts: dict[str, str]) -> object:
    for key, text in texts.items():
        if "7" in text:
            raise InputError(key, text, "a text [b]without[/b] a seven a[/nope]b")
    return dict(texts)


def three(title: str = "Add [b]X[/b]") -> Form:
    fields = [
        Field("name", "Name", "as it stands", "NAME"), Field("base_radius", "Base radius", "", "R"),
        Field("base", "Base", "", "BASE", default="flat"),
    ]  # fmt: skip
    return Form(title, fields, refuse_sevens)


class TestForm:
    @pytest.mark.parametrize("size", SIZES)
    async def test_enter_and_arrows_move_and_f2_saves(self, size: tuple[int, int]) -> None:
        app = Bench(three)
        async with app.run_test(size=size) as pilot:
            await slowly(pilot, "Ab\r1,5")
            assert app.focused is lines(app)[1]
            await pilot.press("down", "down", "down")
            assert app.focused is lines(app)[2]
            await pilot.press("up")
            assert app.focused is lines(app)[1]
            await pilot.press("shift+tab")
            assert app.focused is lines(app)[0]
            assert app.answers == []
            await pilot.press("f2")
            await pilot.pause()
            assert app.answers == [{"name": "Ab", "base_radius": "1,5", "base": "flat"}]

    async def test_ctrl_s_saves_and_a_second_one_does_not_save_twice(self) -> None:
        app = Bench(three)
        async with app.run_test() as pilot:
            await pilot.press("ctrl+s", "ctrl+s")
            await pilot.pause()
            assert len(app.answers) == 1

    async def test_enter_in_the_last_field_does_not_save(self) -> None:
        app = Bench(three)
        async with app.run_test() as pilot:
            await slowly(pilot, "\r\r\r\r\n\n")
            assert app.focused is lines(app)[2]
            assert app.answers == []

    async def test_esc_keeps_the_draft_and_a_save_ends_it(self) -> None:
        app = Bench(three)
        async with app.run_test() as pilot:
            await slowly(pilot, "half a nam")
            await pilot.press("escape")
            await pilot.pause()
            assert app.answers == [None]
            app.open()
            await pilot.pause()
            assert lines(app)[0].value == "half a nam"
            await pilot.press("f2")
            await pilot.pause()
            assert drafts_of(app) == {}
            app.open()
            await pilot.pause()
            assert [line.value for line in lines(app)] == ["", "", "flat"]

    @pytest.mark.parametrize("size", SIZES)
    async def test_an_error_shows_literally_beside_its_field_and_can_be_corrected(
        self, size: tuple[int, int]
    ) -> None:
        app = Bench(three)
        async with app.run_test(size=size) as pilot:
            await slowly(pilot, "A\r17")
            await pilot.press("up", "f2")
            await pilot.pause()
            assert app.answers == []
            assert app.focused is lines(app)[1]
            wrong = app.screen.query(".-wrong")
            assert len(wrong) == 1
            assert "a text [b]without[/b] a seven a[/nope]b" in shown(app)
            assert wrong.first().query_one(Input).value == "17"
            assert [line.value for line in lines(app)] == ["A", "17", "flat"]
            await pilot.press("backspace")
            await pilot.pause()
            assert not app.screen.query(".-wrong")
            await pilot.press("f2")
            await pilot.pause()
            assert app.answers == [{"name": "A", "base_radius": "1", "base": "flat"}]

    async def test_an_error_of_no_field_shows_in_the_form(self) -> None:
        def fail(_texts: dict[str, str]) -> object:
            raise InputError("weather", "[rain]", "sun")

        app = Bench(lambda: Form("T", [Field("name", "Name", "", "NAME")], fail))
        async with app.run_test() as pilot:
            await pilot.press("f2")
            await pilot.pause()
            assert "weather: '[rain]'" in shown(app)
            assert app.answers == []

    @pytest.mark.parametrize("name", HOSTILE)
    async def test_hostile_texts_are_shown_and_nothing_breaks(self, name: str) -> None:
        fields = [Field("name", name, name, name, default=name)]
        app = Bench(lambda: Form(name, fields, lambda _t: _raise(name)))
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.press("f2")
            await pilot.pause()
            assert shown(app).count(name[:20].replace("\x1b", "\\x1b").strip()) >= 3
            assert "\x1b" not in shown(app)
            assert lines(app)[0].value.isprintable()

    async def test_keys_sent_in_one_write_land_in_their_fields_in_order(self) -> None:
        """A slow line delivers many keys at once: each goes where it was meant to go."""
        app = Bench(three)
        async with app.run_test() as pilot:
            await send(pilot, "alpha\rbeta\r gamma\r", gap_s=0.0)
            assert [line.value for line in lines(app)] == ["alpha", "beta", "flat gamma"]
            assert app.focused is lines(app)[2]

    async def test_every_pasted_line_is_kept(self) -> None:
        app = Bench(three)
        async with app.run_test() as pilot:
            app.post_message(events.Paste("0 0\n7.3 0\r\n\x1b[2J7.3 1\n"))
            await pilot.pause()
            assert lines(app)[0].value == "0 0; 7.3 0; \\x1b[2J7.3 1"

    async def test_marks_piled_up_on_a_letter_are_written_out(self) -> None:
        """Each drawn alone would make a line of them cost a second a key."""
        app = Bench(three)
        async with app.run_test() as pilot:
            app.post_message(events.Paste("a" + "\u0301" * 500 + "e\u0301"))
            await pilot.pause()
            assert lines(app)[0].value == "a" + "\u0301" * 8 + "\\u0301" * 492 + "e\u0301"

    @pytest.mark.parametrize(("field", "end"), [(0, "\r"), (1, "\r\n"), (2, "\n")])
    async def test_a_burst_into_any_field_never_saves_and_loses_nothing(
        self, field: int, end: str
    ) -> None:
        app = Bench(three)
        async with app.run_test(size=(80, 24)) as pilot:
            for _ in range(field):
                await pilot.press("down")
            before = "".join(line.value for line in lines(app))
            await send(pilot, f"2.4505{end}-0.728{end}6.9364{end}")
            assert app.answers == []
            typed = "".join(line.value for line in lines(app))
            assert sorted(typed) == sorted(before + "2.4505-0.7286.9364")
            assert isinstance(app.screen, Form)


def _raise(name: str) -> object:
    raise InputError("name", name, "another")


def accept(text: str) -> object:
    if "z" in text:
        raise InputError("reason", text, "a reason [b]without[/b] z")
    return text


def question(value: str = "") -> Callable[[], Prompt]:
    return lambda: Prompt("Why set [b]X[/b] aside?", "a word or two a[/nope]b", value, accept)


class TestPrompt:
    @pytest.mark.parametrize("size", SIZES)
    async def test_a_typed_text_and_a_pressed_enter_answer(self, size: tuple[int, int]) -> None:
        app = Bench(question())
        async with app.run_test(size=size) as pilot:
            assert "[b]X[/b]" in shown(app)
            assert "a[/nope]b" in shown(app)
            await slowly(pilot, "bolt 2\r")
            assert app.answers == ["bolt 2"]

    async def test_the_keypads_enter_answers_too(self) -> None:
        app = Bench(question("KV"))
        async with app.run_test() as pilot:
            await slowly(pilot, "\n")
            assert app.answers == ["KV"]

    @pytest.mark.parametrize(("end", "gap_s"), [("\r", 0.0), ("\n", 0.02), ("\r\n", 0.059)])
    async def test_bursts_are_held_in_order_and_leave_the_text_alone(
        self, end: str, gap_s: float
    ) -> None:
        app = Bench(question("KV"))
        async with app.run_test() as pilot:
            await send(pilot, f"2.4505{end}-0,728{end}6.9364in{end}", gap_s)
            assert app.held == ["2.4505", "-0,728", "6.9364in"]
            assert app.answers == []
            assert app.screen.query_one(PromptInput).value == "KV"
            assert "6.9364in" in shown(app)
            await slowly(pilot, "\r")
            assert app.answers == ["KV"]

    async def test_a_burst_in_the_middle_of_a_word_is_taken_out_again(self) -> None:
        app = Bench(question("bolt"))
        async with app.run_test() as pilot:
            await pilot.press("left", "left")
            await send(pilot, "2.4505\r")
            assert app.held == ["2.4505"]
            await slowly(pilot, "x")
            assert app.screen.query_one(PromptInput).value == "boxlt"

    async def test_a_burst_hard_on_a_typed_letter_is_told_apart(self) -> None:
        app = Bench(question())
        async with app.run_test() as pilot:
            await send(pilot, "K2.4505\r")
            assert (app.held, app.answers) == (["2.4505"], [])
            assert app.screen.query_one(PromptInput).value == "K"

    @pytest.mark.parametrize("text", ["", "12", "2.45", "+", "½"])
    async def test_a_text_without_a_letter_is_no_answer(self, text: str) -> None:
        app = Bench(question())
        async with app.run_test() as pilot:
            await slowly(pilot, f"{text}\r")
            assert (app.answers, app.held) == ([], [])
            assert app.screen.query_one(PromptInput).value == text
            assert "letter" in shown(app)

    async def test_a_word_that_comes_with_its_enter_waits_for_another(self) -> None:
        app = Bench(question())
        async with app.run_test() as pilot:
            await send(pilot, "broken 12\r")
            assert app.answers == []
            assert app.screen.query_one(PromptInput).value == "broken 12"
            await slowly(pilot, "\r")
            assert app.answers == ["broken 12"]

    async def test_a_refused_text_stays_and_says_why(self) -> None:
        app = Bench(question())
        async with app.run_test() as pilot:
            await slowly(pilot, "zip\r")
            assert "a reason [b]without[/b] z" in shown(app)
            assert app.screen.query_one(PromptInput).value == "zip"
            await pilot.press("escape")
            await pilot.pause()
            app.open()
            await pilot.pause()
            assert app.screen.query_one(PromptInput).value == "zip"

    async def test_without_a_place_to_hold_a_reading_it_is_at_least_named(self) -> None:
        app = Bench(question("KV"))
        app.hold_burst = None  # type: ignore[assignment,method-assign]
        async with app.run_test() as pilot:
            await send(pilot, "2.4505\r")
            assert "2.4505 arrived here and was not taken" in shown(app)
            assert app.answers == []


class TestReadyForms:
    @pytest.mark.parametrize("size", SIZES)
    async def test_a_ski_is_added_after_a_wrong_blade_was_corrected(
        self, shop: Shop, size: tuple[int, int]
    ) -> None:
        app = Bench(lambda: AddSki(shop, BenchState()))
        async with app.run_test(size=size) as pilot:
            await slowly(pilot, "[b]X[/b]\ra[/nope]b\rS-1\r\r\r\r")
            given = [line.value for line in lines(app)[6:8]]
            assert given == ["none", "none"], "stand-ins are never taken unasked"
            for _ in "none":
                await pilot.press("backspace")
            await slowly(pilot, "9\r")
            await pilot.press("f2")
            await pilot.pause()
            assert (app.answers, shop.roster()) == ([], ())
            assert app.focused is lines(app)[6]
            assert "1 Starter blade" in shown(app)
            assert visible_in_full(app, app.screen.query_one(".-wrong"))
            await pilot.press("backspace")
            await slowly(pilot, "1")
            await pilot.press("f2")
            await pilot.pause()
            (line,) = shop.roster()
            assert app.answers == [line.job_id]
            assert (line.ski_name, line.rider) == ("[b]X[/b]", "a[/nope]b")
            assert shop.view(line.job_id).rig.missing == ("block",)

    async def test_the_blade_and_AddBlocks_keep_what_their_hints_show(self, shop: Shop) -> None:
        """The examples in the hints are good values: typed as they stand they are accepted."""
        texts = ["Plate [Q1]\r", "\r", "\r",
                 "0 0; 7.3 0; 7.3 0.75; 1.6 3.48; 0 0.9\r", "0 0; 7.3 0\r", "0 0; 0 0.9\r",
                 "2 1.6 3.0 0.3; 1 0.9 2.7 0.25"]  # fmt: skip
        app = Bench(lambda: AddBlade(shop, BenchState()))
        async with app.run_test(size=(80, 24)) as pilot:
            for text in texts:
                await slowly(pilot, text)
            await pilot.press("f2")
            await pilot.pause()
            assert app.answers == [shop.book.blades()[-1].id], shown(app)
        app = Bench(lambda: AddBlock(shop, BenchState()))
        async with app.run_test(size=(80, 24)) as pilot:
            await slowly(pilot, "Block [Q1]\r\r\r\r")
            for _ in range(3):
                hint = str(app.screen.query_one(".hint", Static).render())
                await slowly(pilot, hint.partition("radius: ")[2] + "\r")
            await pilot.press("f2")
            await pilot.pause()
            assert app.answers == [shop.book.blocks()[-1].id], shown(app)

    @pytest.mark.parametrize("size", SIZES)
    @pytest.mark.parametrize("make", [AddSki, AddBlade, AddBlock])
    async def test_every_field_comes_into_sight_as_it_is_reached(
        self, shop: Shop, make: Callable[[Shop], Form], size: tuple[int, int]
    ) -> None:
        app = Bench(lambda: make(shop, BenchState()))
        async with app.run_test(size=size) as pilot:
            for line in lines(app):
                assert app.focused is line
                assert visible_in_full(app, line)
                assert visible_in_full(app, app.screen.query_one(".keys"))
                await pilot.press("enter")
                await pilot.pause()

    async def test_bursts_into_every_field_of_the_AddSki_add_nothing(self, shop: Shop) -> None:
        app = Bench(lambda: AddSki(shop, BenchState()))
        async with app.run_test(size=(80, 24)) as pilot:
            for _ in lines(app):
                await send(pilot, "2.4505\r\n")
            assert (app.answers, shop.roster()) == ([], ())


def visible_in_full(app: App[Any], widget: Any) -> bool:
    """Whether a widget lies wholly on the screen and within what scrolls it."""
    region = widget.region
    inside = all(
        box.region.contains_region(region)
        for box in widget.ancestors
        if getattr(box, "is_scrollable", False)
    )
    return bool(region) and inside and app.screen.region.contains_region(region)
