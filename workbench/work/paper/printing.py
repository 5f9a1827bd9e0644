"""Cards, day sheets and outlines in their formats, and written to the shop's folder."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Literal

from workbench.errors import InputError
from workbench.records.store import rows
from workbench.records.tables.roster import blade_of
from workbench.work.drawing.layout import svg_file
from workbench.work.files.safe_write import slug, write_set
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.paper.cards import card_of
from workbench.work.paper.day_sheet import day_sheet
from workbench.work.paper.html_pages import card_html, day_html, label_html
from workbench.work.paper.pdf_page import PDF_EXTRA, Paper, has_pdf
from workbench.work.paper.pdf_pages import card_pdf, day_pdf, outline_pdf
from workbench.work.paper.text_pages import card_text, day_text
from workbench.work.roster.adding import known_ski
from workbench.work.text.safe_text import visible
from workbench.work.text.words import clean
from workbench.work.trace.outline import outline_svg

Format = Literal["text", "html", "svg", "pdf", "label"]

EXTENSIONS: dict[Format, str] = {
    "text": "txt", "html": "html", "svg": "svg", "pdf": "pdf", "label": "label.html",
}  # fmt: skip

FOLDER_SETTING, PAPER_SETTING = "card_folder", "paper"
"""The book's settings: where cards go, and ``a4`` or ``letter``."""

TITLE = 40
"""Columns that a ski's name may take above its side view."""

DEFAULT_FOLDER = "cards"
"""Beside the book, where the shop names no other."""


@dataclass(frozen=True, slots=True)
class Written:
    """The files that were written, and in words what was not and why.

    ``unfit`` has a line for each ski of a day sheet that cannot be worked out.
    """

    paths: tuple[Path, ...]
    left_out: str = ""
    unfit: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """Return what was written and where, on one line."""
        first = self.paths[0]
        kinds = ", ".join(path.suffix for path in self.paths)
        left = "".join(f". {words}" for words in (self.left_out, *self.unfit) if words)
        return f"written: {first.stem} ({kinds}) in {first.parent}{left}"


def find_view(shop: Shop, text: str, day: str | None = None) -> JobView:
    """Return the job of a ski named by serial or name: that of ``day``, else its latest by today.

    Raises:
        InputError: no such ski, several, or no job of it (on that day).
    """
    ski = known_ski(shop, text)
    jobs = [h.job for h in shop.book.history_of_ski(ski.id) if h.job.struck is None]
    if day is not None:
        jobs = [job for job in jobs if job.day == day]
    if not jobs:
        raise InputError("ski", text, f"a ski that was on the bench{f' on {day}' if day else ''}")
    due = [job for job in jobs if job.day <= shop.day] or jobs
    return shop.view(max(due, key=lambda job: (job.day, job.id)).id)


def paper_of(shop: Shop) -> Paper:
    """Return the shop's paper: as set, else letter where it works in inches."""
    kept = (shop.book.setting(PAPER_SETTING, "") or "").strip().casefold()
    if kept in ("a4", "letter"):
        return "a4" if kept == "a4" else "letter"
    return "a4" if shop.book.setting("unit", "in") == "mm" else "letter"


def card_folder(shop: Shop) -> Path:
    """Return the folder that cards and day sheets go to."""
    kept = (shop.book.setting(FOLDER_SETTING, "") or "").strip()
    try:
        named = Path(kept or DEFAULT_FOLDER).expanduser()
    except RuntimeError:
        raise InputError("card folder", kept, "a folder of somebody known here") from None
    return shop.book.path.parent / named


# -- the documents -----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Document:
    """A card or a sheet in each format that it has; ``stem`` begins the names of its files.

    ``unfit`` has a line for each ski of a day sheet that cannot be worked out.
    """

    stem: str
    makers: Mapping[Format, Callable[[], str | bytes]]
    unfit: tuple[str, ...] = ()

    def made(self, form: Format) -> bytes:
        """Return the file in one format.

        Raises:
            InputError: a format that it has not, or one whose extra is not installed.
        """
        if form not in self.makers:
            raise InputError("format", form, ", ".join(self.makers))
        page = self.makers[form]()
        return page.encode("utf-8") if isinstance(page, str) else page

    def write(
        self, shop: Shop, formats: Sequence[Format] | None = None, folder: Path | None = None
    ) -> Written:
        """Write it to a folder (the shop's) in the formats given, else in all there are.

        Every format is made first, then all of them are written or none.

        Raises:
            InputError: the folder cannot be written, or a format that was asked for cannot be made.
        """
        # A label is for another printer, so only where it is asked for.
        wanted = [f for f in self.makers if f != "label"] if formats is None else list(formats)
        left_out = ""
        if formats is None and not has_pdf():
            wanted.remove("pdf")
            left_out = f"No PDF: it needs {PDF_EXTRA}"
        made = {EXTENSIONS[form]: self.made(form) for form in wanted}
        paths = write_set(folder or card_folder(shop), self.stem, made)
        return Written(paths, left_out, self.unfit)


def card_document(
    shop: Shop, view: JobView, paper: Paper | None = None, *, drawing: bool = True
) -> Document:
    """Return a job's card; without ``drawing`` its text is words alone."""
    card = card_of(shop, view)
    title = f"{visible(card.ski, TITLE)}, {card.day}"
    makers: Mapping[Format, Callable[[], str | bytes]] = {
        "text": partial(card_text, card, drawing=drawing),
        "html": partial(card_html, card),
        "svg": partial(svg_file, card.side, title, (card.status, card.side_caption)),
        "pdf": partial(card_pdf, card, paper or paper_of(shop)),
        "label": partial(label_html, card),
    }
    return Document(f"{slug(card.ski)}-{slug(card.day)}-{card.key}", makers)


def sheet_document(shop: Shop, paper: Paper | None = None) -> Document:
    """Return the day sheet of the shop's day."""
    sheet = day_sheet(shop)
    makers: Mapping[Format, Callable[[], str | bytes]] = {
        "text": partial(day_text, sheet),
        "html": partial(day_html, sheet),
        "pdf": partial(day_pdf, sheet, paper or paper_of(shop)),
    }
    return Document(f"day-{slug(sheet.day)}", makers, sheet.unfit)


def outline_document(shop: Shop, row: rows.Blade, paper: Paper | None = None) -> Document:
    """Return a blade's outline at 1:1."""
    blade, title = blade_of(row), f"Blade {clean(row.name)}"
    how = clean(row.traced) or "typed or from a file"
    makers: Mapping[Format, Callable[[], str | bytes]] = {
        "svg": partial(outline_svg, blade, title),
        "pdf": partial(outline_pdf, blade, title, how, paper or paper_of(shop)),
    }
    return Document(f"outline-{slug(row.name)}", makers)
