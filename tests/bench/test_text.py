"""The door from data to the screen, and the themes it is shown in."""

from __future__ import annotations

import itertools
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len
from rich.console import Console
from rich.text import Text
from textual.app import App, ComposeResult
from textual.color import Color
from textual.content import Content
from textual.theme import BUILTIN_THEMES
from textual.widgets import Button, DataTable, Label

from tests.strategies import HOSTILE_NAMES, hostile_names
from workbench.bench.draw.text import (
    LIMIT,
    lines,
    literal,
    padded,
    styled,
    visible,
    wrapped,
)
from workbench.bench.draw.themes import (
    CONTRAST,
    NAMES,
    THEMES,
    VARIABLE_DEFAULTS,
    pick,
    register,
)

MARKUP = ("[b]X[/b]", "a[/nope]b", "[Q1]", "[ x]", "[$primary]", "[@click=app.quit]go[/]", "a\\")


@pytest.mark.parametrize("name", MARKUP)
def test_markup_is_shown_and_not_obeyed(name: str) -> None:
    """Brackets and backslashes come through letter by letter, without a style."""
    assert literal(name).plain == name
    assert not literal(name).spans
    assert styled(("name ", "bold"), name).plain == "name " + name


@pytest.mark.parametrize(
    ("raw", "shown"),
    [
        ("\x1b[31mred", "\\x1b[31mred"),
        ("\x9b31m", "\\x9b31m"),
        ("a\x00b", "a\\x00b"),
        ("\u202eabc", "\\u202eabc"),
        ("\u2066x\u2069", "\\u2066x\\u2069"),
        ("zero\u200bwidth\ufeff", "zero\\u200bwidth\\ufeff"),
        ("\u3164", "\\u3164"),
        ("heart\ufe0f", "heart\\ufe0f"),
        ("tag\U000e0041", "tag\\U000e0041"),
        ("lone\ud800", "lone\\ud800"),
        ("one\ntwo", "one⏎two"),
        ("one\r\ntwo\rthree", "one⏎two⏎three"),
        ("tab\there", "tab\\there"),
        ("sep\u2028", "sep\\u2028"),
        ("Zoë", "Zoë"),
        ("Zoe\u0308", "Zoe\u0308"),
        ("滑雪板", "滑雪板"),
        ("", ""),
    ],
)
def test_what_hides_is_written_out(raw: str, shown: str) -> None:
    """Controls, direction marks and blanks become visible; ordinary letters stay as they are."""
    assert visible(raw) == shown


def test_a_tower_of_marks_is_levelled() -> None:
    """No letter carries more than two combining marks."""
    assert visible("o" + "\u0301" * 5, 200) == "o\u0301\u0301" + "\\u0301" * 3


def test_long_names_end_in_an_ellipsis() -> None:
    """Ten thousand characters become the limit's worth of cells."""
    assert visible("x" * 10_000) == "x" * (LIMIT - 1) + "…"
    assert visible("x" * LIMIT) == "x" * LIMIT
    assert visible("滑" * 10_000, 6) == "滑滑…"
    assert visible("ab\x1b", 5) == "ab…"
    assert visible("anything", 0) == ""


@given(hostile_names(), st.integers(1, 90))
def test_every_name_fits_its_cells_and_hides_nothing(name: str, limit: int) -> None:
    """Whatever the name, it stays on one line within its limit and holds no hidden character."""
    shown = visible(name, limit)
    assert cell_len(shown) <= limit
    assert not any(unicodedata.category(c) in ("Cc", "Cf", "Cs", "Zl", "Zp") for c in shown)
    assert literal(name, limit).plain == shown
    assert literal(name, limit).cell_length <= limit
    console = Console(width=200)
    assert console.render_str(shown, markup=False).plain == shown


@given(hostile_names(), st.integers(1, 40), st.booleans())
def test_a_padded_name_takes_just_its_cells(name: str, width: int, right: bool) -> None:
    assert cell_len(padded(name, width, right)) == width


def test_strings_beside_styles_are_guarded_too() -> None:
    """Both a plain part and a styled part of a line are written out, a content is kept."""
    line = styled("a\x1b", ("b\u202e", "bold"), Content("c"))
    assert line.plain == "a\\x1bb\\u202ec"
    assert [line.plain[s.start : s.end] for s in line.spans] == ["b\\u202e"]
    assert styled("x" * 10_000).cell_length == 500


def test_lines_stand_below_each_other() -> None:
    """Only the joiner of lines makes a line end."""
    assert lines([literal("a\nb"), literal("c")]).plain == "a⏎b\nc"


class Names(App[None]):
    """Shows hostile names in widgets of both markup engines, using every variable of ours."""

    CSS = "\n".join(f".{name} {{ color: ${name}; }}" for name in VARIABLE_DEFAULTS)

    def get_theme_variable_defaults(self) -> dict[str, str]:
        return dict(VARIABLE_DEFAULTS)

    def compose(self) -> ComposeResult:
        for name in (*MARKUP, *HOSTILE_NAMES):
            yield Label(literal(name), classes=" ".join(VARIABLE_DEFAULTS))
        yield Button(literal(MARKUP[1]))
        yield DataTable()

    def on_mount(self) -> None:
        register(self)
        table = self.query_one(DataTable)
        table.add_column(Text(visible("a[/nope]b")))
        for name in (*MARKUP, *HOSTILE_NAMES):
            table.add_row(Text(visible(name)))
            self.notify(visible(name), title=visible(name), markup=False)


async def test_hostile_names_stand_in_widgets_under_every_theme() -> None:
    """Labels, buttons, tables and toasts take every hostile name, under our themes and others."""
    app = Names()
    async with app.run_test(size=(80, 60), notifications=True, tooltips=True) as pilot:
        for theme in (*NAMES, pick(True), "textual-light"):
            app.theme = theme
            await pilot.pause()
            assert app.theme == theme
        shown = [str(label.visual) for label in app.query(Label)]
        assert "a[/nope]b" in shown
        assert "\\x1b[31mred" in shown


def test_no_color_leaves_the_colours_to_the_terminal() -> None:
    """NO_COLOR picks a theme of the terminal's own colours that Textual really has."""
    assert BUILTIN_THEMES[pick(True)].ansi
    assert pick(True, "bench-day") == pick(True)
    assert pick(False) == "bench-night"
    assert pick(False, "bench-day") == "bench-day"
    assert pick(False, "gone") == "bench-night"


@pytest.mark.parametrize("theme", THEMES, ids=NAMES)
def test_every_ink_can_be_read(theme) -> None:
    """WCAG 2.2, 1.4.3 and 1.4.6: contrast 4.5 for text, 7 in the high-contrast theme."""
    least = 7.0 if theme is CONTRAST else 4.5
    v = theme.variables
    ours = {name for name in v if name.split("-")[0] in ("ink", "state", "due", "big")}
    assert ours == set(VARIABLE_DEFAULTS)
    inks = [v[name] for name in VARIABLE_DEFAULTS if not name.startswith("due-")]
    inks += [theme.foreground, theme.primary, theme.accent, theme.warning, theme.error]
    for ink, ground in itertools.product(inks, (theme.background, theme.surface, theme.panel)):
        assert contrast(ink, ground) >= least, (ink, ground)
    assert contrast(v["due-foreground"], v["due-background"]) >= least


@pytest.mark.parametrize("theme", THEMES, ids=NAMES)
def test_states_differ_as_blue_from_orange(theme) -> None:
    """Within is bluer than red and outside redder than blue: no pair rests on red against green."""
    within, outside = (Color.parse(theme.variables[f"state-{s}"]) for s in ("within", "outside"))
    assert within.b > within.r
    assert outside.r > outside.b


def contrast(one: str, two: str) -> float:
    """Contrast ratio as WCAG 2.2 defines it."""
    a, b = sorted((luminance(one), luminance(two)))
    return (b + 0.05) / (a + 0.05)


def luminance(colour: str) -> float:
    parts = [c / 255 for c in Color.parse(colour).rgb]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return sum(w * c for w, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


@given(text=hostile_names(), width=st.integers(8, 60))
def test_wrapped_lines_are_never_wider_than_their_room(text: str, width: int) -> None:
    """Wide letters count as two cells, and none is lost."""
    found = wrapped(text, width)
    assert all(cell_len(line) <= width for line in found)
    assert "".join("".join(found).split()) == "".join(visible(text, 2000).split())


def test_wide_letters_are_broken_where_they_reach_the_edge() -> None:
    assert wrapped("漢字" * 6, 10) == ["漢字漢字漢", "字漢字漢字", "漢字"]
