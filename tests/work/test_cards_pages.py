"""Cards as pages: text from people stays text in HTML, SVG and PDF, and each keeps to one page."""

from __future__ import annotations

import io
import sys
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.shop import DAY, demo_file, open_shop, ski
from workbench.errors import InputError
from workbench.fin.frame import Point
from workbench.records.store import rows
from workbench.work.drawing.layout import (
    Dot,
    Stroke,
    Words,
    picture_of,
    svg_file,
)
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job_text.setting_words import NAME
from workbench.work.paper.cards import Card, card_of, code_rows, has_codes
from workbench.work.paper.day_sheet import DaySheet, day_sheet
from workbench.work.paper.html_pages import POLICY, card_html, day_html
from workbench.work.paper.pdf_page import (
    MARGIN_MM,
    STRANGE,
    PdfPage,
    has_pdf,
)
from workbench.work.paper.pdf_pages import card_pdf, day_pdf
from workbench.work.paper.text_pages import card_text, day_text
from workbench.work.text.safe_text import cells_of, visible

HOSTILE = (
    "<script>alert(1)</script>", "</style><b>x", "&lt;i&gt; \"'", "=1+1", "@SUM(A1)", "../../x",
    "\x1b[31mred\x07\x00", "\u202eabc\u2066", "z\u200bw\ufeff", "L" * 1_000_000, "\ud800",
    "💥é\u0301\u0301\u0301", "漢字 Жα ą", "a\nb\r\nc\td", "]]> <!-- -->", "\u3164", "\ufdd0",
)  # fmt: skip
BAD_SIGNS = "\x00\x07\x1b\t\u200b\u202e\u2066\ufeff\ufdd0\ud800"

names = st.one_of(
    st.text(max_size=80),
    st.text(st.characters(categories=["Cc", "Cf", "Cs", "Zl", "Zp", "Mn", "Lo"]), max_size=40),
    st.text("<>&\"'/=;!-[]\\ab \n\u202e\x1b", max_size=80),
)
needs_pdf = pytest.mark.skipif(not has_pdf(), reason="reportlab is not installed")


@cache
def parts() -> tuple[Card, JobView, DaySheet]:
    """A released card, its view, and the day's sheet, made once."""
    with TemporaryDirectory() as folder, open_shop(demo_file(Path(folder))) as shop:
        view = ski(shop, "Stilt 65")
        return card_of(shop, view), view, day_sheet(shop)


def named(text: str) -> Card:
    """A card whose every text from people is ``text``, shown as cards show it."""
    card, _, _ = parts()
    shown = visible(text, NAME) or "—"
    numbers = tuple(replace(n, method=shown) for n in card.numbers)
    facts = tuple((label, shown) for label, _ in card.facts)
    return replace(
        card, shop=shown, ski=shown, facts=facts, numbers=numbers, wing=shown,
        notes=(shown,) * 4, initials=visible(text, 12), status=shown,
    )  # fmt: skip


class Page(HTMLParser):
    """Reads a page: its tags, and the text of each bdi; complains where tags do not nest."""

    VOID = ("meta", "col", "br", "rect", "circle", "polygon", "polyline", "path")

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[str] = []
        self.attributes: list[str] = []
        self.said: list[str] = []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [name for name, _ in attrs]
        if tag not in self.VOID:
            self.open.append(tag)
        if tag == "bdi":
            self.said.append("")

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] == "bdi":
            self.said[-1] += data


TAGS = {
    "html", "head", "meta", "title", "style", "body", "header", "h1", "h2", "div", "p", "section",
    "table", "tr", "th", "td", "figure", "figcaption", "ul", "li", "span", "b", "bdi", "br", "svg",
    "rect", "circle", "polygon", "polyline", "path", "text", "thead", "tbody", "colgroup", "col",
}  # fmt: skip


def text_of(pdf: bytes) -> tuple[int, str]:
    """Return how many pages a PDF has and what stands on them."""
    from pypdf import PdfReader

    reader = PdfReader(io.BytesIO(pdf))
    return len(reader.pages), "\n".join(page.extract_text() for page in reader.pages)


class TestHtml:
    @given(names)
    def test_a_name_is_the_text_it_was_and_brings_no_tag(self, name: str) -> None:
        """The page parses, has only our tags, and says the name letter by letter."""
        card = named(name)
        page = Page(card_html(card))
        assert set(page.tags) <= TAGS
        assert page.said.count(card.ski) >= len(card.facts)
        assert not [a for a in page.attributes if a.startswith("on") or a in ("href", "src")]

    @pytest.mark.parametrize("text", HOSTILE, ids=range(len(HOSTILE)))
    def test_hostile_names_stay_text(self, text: str) -> None:
        card = named(text)
        made = card_html(card)
        page = Page(made)
        assert set(page.tags) <= TAGS
        assert card.ski in page.said
        assert not set(made) & set(BAD_SIGNS)
        assert len(made) < 100_000

    def test_the_page_needs_nothing_else_and_may_do_nothing(self) -> None:
        """A policy without scripts, and nothing that is fetched."""
        made = card_html(parts()[0])
        assert f'http-equiv="Content-Security-Policy" content="{POLICY}"' in made
        assert "default-src 'none'" in POLICY
        for word in ("<script", "http://", "https://", "url(", "@import", "<link", "<img"):
            assert word not in made

    def test_it_has_the_side_view_and_a_drawing_for_each_number(self) -> None:
        card = parts()[0]
        page = Page(card_html(card))
        assert page.tags.count("svg") == 1 + len(card.numbers) + page.tags.count("path")
        assert page.tags.count("path") == has_codes()  # the QR code, where it can be drawn

    def test_a_card_not_released_stands_out(self) -> None:
        card = replace(parts()[0], released=False, status="NOT RELEASED, do not ride: turning")
        made = card_html(card)
        assert 'class="status held"' in made
        assert "NOT RELEASED" in made


class TestSvg:
    @given(names)
    def test_it_is_xml_and_its_title_is_the_name(self, name: str) -> None:
        card = parts()[0]
        title = visible(name, NAME)
        root = ElementTree.fromstring(svg_file(card.side, title, (title, "a note")))
        assert (root.findtext("{http://www.w3.org/2000/svg}title") or "") == title
        tags = {el.tag.rpartition("}")[2] for el in root.iter()}
        assert tags <= {"svg", "title", "rect", "text", "polygon", "polyline", "circle"}

    def test_a_stud_named_by_markup_is_a_letter(self) -> None:
        scene = parts()[0].side
        shapes = tuple(replace(s, text="<") if s.kind == "letter" else s for s in scene.shapes)
        made = svg_file(replace(scene, shapes=shapes), "t", ("n",))
        assert ElementTree.fromstring(made) is not None
        assert "&lt;</text>" in made

    def test_the_blade_is_true_to_scale(self) -> None:
        """Width over height of the outline drawn is that of the outline in mm."""
        scene = parts()[0].side
        drawn = next(
            p for p in picture_of(scene, 180.0, 95.0).parts
            if isinstance(p, Stroke) and p.closed and p.ink == "now"
        )  # fmt: skip
        shape = next(s for s in scene.shapes if s.kind == "outline" and s.ink == "now")
        assert _ratio(drawn.points) == pytest.approx(_ratio(shape.points), rel=1e-9)

    @pytest.mark.parametrize("box", [(60.0, 32.0), (180.0, 95.0), (30.0, 60.0)])
    def test_all_of_it_lies_in_its_box(self, box: tuple[float, float]) -> None:
        card = parts()[0]
        for scene, label in [(card.side, ""), *((n.scene, n.both) for n in card.numbers)]:
            for part in picture_of(scene, *box, label).parts:
                for x, y in _places(part):
                    assert -1e-9 <= x <= box[0] + 1e-9
                    assert -1e-9 <= y <= box[1] + 1e-9


def _ratio(points: tuple[tuple[float, float], ...]) -> float:
    xs, ys = zip(*points, strict=True)
    return (max(xs) - min(xs)) / (max(ys) - min(ys))


def _places(part: Stroke | Dot | Words) -> tuple[tuple[float, float], ...]:
    return part.points if isinstance(part, Stroke) else (part.at,)


class TestText:
    @given(names)
    def test_no_line_is_too_wide_and_nothing_acts_on_the_terminal(self, name: str) -> None:
        made = card_text(named(name))
        assert all(cells_of(line) <= 80 for line in made.splitlines())
        assert all(c in "\n\xa0" or c.isprintable() for c in made)

    def test_a_megabyte_is_cut_and_the_cut_is_seen(self) -> None:
        made = card_text(named("L" * 1_000_000))
        assert len(made) < 10_000
        assert "L…" in made


@needs_pdf
class TestPdf:
    @pytest.mark.parametrize("paper", ["a4", "letter"])
    def test_one_page_of_the_right_size_says_what_the_card_says(self, paper: str) -> None:
        from pypdf import PdfReader

        card = parts()[0]
        made = card_pdf(card, "a4" if paper == "a4" else "letter")
        count, text = text_of(made)
        box = PdfReader(io.BytesIO(made)).pages[0].mediabox
        want = (595.3, 841.9) if paper == "a4" else (612.0, 792.0)
        assert (float(box.width), float(box.height)) == pytest.approx(want, abs=0.1)
        assert count == 1
        for words in (card.ski, card.status, *(n.both for n in card.numbers), "qualified"):
            assert words in text

    @pytest.mark.parametrize("text", HOSTILE, ids=range(len(HOSTILE)))
    def test_hostile_names_keep_to_one_page(self, text: str) -> None:
        for paper in ("a4", "letter"):
            count, said = text_of(card_pdf(named(text), "a4" if paper == "a4" else "letter"))
            assert count == 1
            assert not set(said) & set(BAD_SIGNS)

    def test_the_widest_names_do_not_run_off_the_page(self) -> None:
        """The last line is on the page too: the smallest letters are small enough."""
        count, said = text_of(card_pdf(replace(named("W" * 900), notes=("W" * 199 + "…",) * 4)))
        assert count == 1
        assert said.count("W…") >= 4

    def test_letters_that_the_font_lacks_are_written_out_and_it_says_so(self) -> None:
        _, said = text_of(card_pdf(named("Жö漢")))
        assert "\\u0416ö\\u6f22" in said
        assert STRANGE in said

    def test_plain_letters_need_no_such_words(self) -> None:
        _, said = text_of(card_pdf(named("Ærø Åse Žižka")))
        assert STRANGE not in said
        assert "Ærø Åse Žižka" in said

    def test_the_same_card_gives_the_same_bytes(self) -> None:
        assert card_pdf(parts()[0]) == card_pdf(parts()[0])

    @pytest.mark.skipif(not has_codes(), reason="segno is not installed")
    def test_the_code_is_drawn_module_by_module_inside_the_page(self) -> None:
        """Read back off the page: 24 mm wide, each dark module where the code has it."""
        from pypdf import PdfReader

        card = parts()[0]
        page = PdfReader(io.BytesIO(card_pdf(card))).pages[0]
        code = code_rows(card.code)
        side = 24.0 * 72.0 / 25.4 / len(code)
        found = []
        for values, operator in page.get_contents().operations:  # type: ignore[union-attr]
            if operator == b"re" and float(values[2]) == pytest.approx(side, abs=0.001):
                found.append((float(values[0]), float(values[1])))
        left = min(x for x, _ in found) - 4 * side
        top = max(y for _, y in found) + 5 * side
        seen = {(round((top - y) / side) - 1, round((x - left) / side)) for x, y in found}
        assert seen == {(i, j) for i, row in enumerate(code) for j, dark in enumerate(row) if dark}
        assert left + 24.0 * 72.0 / 25.4 == pytest.approx(595.3 - MARGIN_MM * 72.0 / 25.4, abs=0.1)
        assert all(y > MARGIN_MM * 72.0 / 25.4 for _, y in found)

    def test_without_segno_there_is_no_code(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr("workbench.work.paper.pdf_pages.has_codes", lambda: False)
        count, said = text_of(card_pdf(parts()[0]))
        assert count == 1
        assert "Check again" in said

    @settings(max_examples=15)
    @given(names)
    def test_any_name_can_be_drawn(self, name: str) -> None:
        count, _ = text_of(card_pdf(named(name)))
        assert count == 1


def test_without_reportlab_the_error_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in [n for n in sys.modules if n.split(".")[0] == "reportlab"]:
        monkeypatch.setitem(sys.modules, name, None)
    monkeypatch.setitem(sys.modules, "reportlab", None)
    assert not has_pdf()
    with pytest.raises(InputError, match=r"pip install '\.\[pdf\]'"):
        card_pdf(parts()[0])


class TestDaySheet:
    @pytest.mark.parametrize("width", [56, 60, 70, 74, 80])
    def test_text_keeps_to_its_width_with_both_units(self, width: int) -> None:
        made = day_text(parts()[2], width)
        assert all(cells_of(line) <= width for line in made.splitlines())
        assert "2.4835 / 63.08" in made

    def test_html_has_a_row_for_each_ski(self) -> None:
        sheet = parts()[2]
        page = Page(day_html(sheet))
        assert page.tags.count("tr") == 1 + len(sheet.rows)
        assert set(page.tags) <= TAGS

    @needs_pdf
    def test_pdf_is_one_page_with_every_ski(self) -> None:
        sheet = parts()[2]
        for paper in ("a4", "letter"):
            count, said = text_of(day_pdf(sheet, "a4" if paper == "a4" else "letter"))
            assert count == 1
            assert all(row.ski in said for row in sheet.rows)

    @needs_pdf
    @pytest.mark.parametrize(
        "stage", ["within tolerance", "re-check, measuring, round 12", "W" * 60]
    )
    def test_no_text_reaches_into_the_next_column(
        self, monkeypatch: pytest.MonkeyPatch, stage: str
    ) -> None:
        """A millimetre and a half stays free behind every line of every cell, heads included."""
        sheet = parts()[2]
        rows_ = tuple(replace(r, stage=stage, ski=stage, rider=stage) for r in sheet.rows)
        ends: list[tuple[float, float]] = []
        write = PdfPage.words

        def watched(page: PdfPage, at: Point, text: str, **how: Any) -> None:
            x, y = at
            if how.get("anchor", "start") == "start" and y > MARGIN_MM + 8.0:
                ends.append((x, x + page.measure(text, 1.0, how.get("strong", False))))
            write(page, at, text, **how)

        monkeypatch.setattr(PdfPage, "words", watched)
        day_pdf(replace(sheet, rows=rows_))
        starts = sorted({x for x, _ in ends})
        for x, end in ends:
            following = [s for s in starts if s > x]
            assert not following or end <= following[0] - 1.5

    @needs_pdf
    def test_a_day_too_long_for_a_page_goes_on_on_the_next(self) -> None:
        """No ski is lost, and the second page has its heads."""
        sheet = parts()[2]
        many = tuple(replace(sheet.rows[1], order=i, ski=f"Ski {i:03}") for i in range(120))
        count, said = text_of(day_pdf(replace(sheet, rows=many)))
        assert count > 1
        assert all(row.ski in said for row in many)
        assert "page 2" in said

    def test_hostile_names_stay_text(self, shop: Shop) -> None:
        """From the book to the three pages."""
        old = ski(shop, "Heron 66").ski
        for text in HOSTILE:
            if "\ud800" in text or "\x00" in text:
                continue  # the book cannot keep it
            made = shop.book.add_ski(
                rows.Ski(
                    "", text, text, text, text, "in", old.blade_id, old.block_id, None, None,
                    False, old.methods,
                )
            )  # fmt: skip
            shop.book.add_job(made.id, DAY, text)
        sheet = day_sheet(shop)
        page = Page(day_html(sheet))
        assert set(page.tags) <= TAGS
        assert all(row.ski in page.said for row in sheet.rows)
        text = day_text(sheet)
        assert all(cells_of(line) <= 80 for line in text.splitlines())
        assert all(c == "\n" or c.isprintable() for c in text)
        if has_pdf():
            assert text_of(day_pdf(sheet))[0] >= 1
