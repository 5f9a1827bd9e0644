"""Cards and day sheets in their formats, and written to the shop's folder."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Literal

from workbench.errors import InputError
from workbench.work.files.safe_write import slug, write_set
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.paper.cards import Card, card_of
from workbench.work.paper.day_sheet import DaySheet, day_sheet
from workbench.work.paper.html_page import Paper
from workbench.work.paper.pdf_page import EXTRA, has_pdf
from workbench.work.roster.adding import known_ski
from workbench.work.text.safe_text import visible

Format = Literal["text", "html", "svg", "pdf", "label"]

EXTENSIONS: dict[Format, str] = {
    "text": "txt",
    "html": "html",
    "svg": "svg",
    "pdf": "pdf",
    "label": "label.html",
}

FOLDER_SETTING, PAPER_SETTING = "card_folder", "paper"
"""The book's settings: where cards go, and ``a4`` or ``letter``."""

TITLE = 40
"""Columns that a ski's name may take above its side view."""

DEFAULT_FOLDER = "cards"
"""Beside the book, where the shop names no other."""

Writers = Mapping[Format, Callable[[], str | bytes]]


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


def card_in(card: Card, form: Format, paper: Paper, *, drawing: bool = True) -> str | bytes:
    """Return a card in one format; without ``drawing`` its text is words alone.

    Raises:
        InputError: PDF without reportlab; says how to get it.
    """
    return _card_writers(card, paper, drawing)[form]()


def sheet_in(sheet: DaySheet, form: Format, paper: Paper) -> str | bytes:
    """Return a day sheet in one format.

    Raises:
        InputError: a format that it has not, or PDF without reportlab.
    """
    writers = _sheet_writers(sheet, paper)
    if form not in writers:
        raise InputError("format", form, ", ".join(writers))
    return writers[form]()


def write_card(
    shop: Shop,
    view: JobView,
    formats: Sequence[Format] | None = None,
    folder: Path | None = None,
    paper: Paper | None = None,
    *,
    drawing: bool = True,
) -> Written:
    """Write a job's card to a folder (the shop's) in the formats given, else in all there are.

    Raises:
        InputError: the folder cannot be written, or a format that was asked for cannot be made.
    """
    card = card_of(shop, view)
    stem = f"{slug(card.ski)}-{slug(card.day)}-{card.key}"
    writers = _card_writers(card, paper or paper_of(shop), drawing)
    return write_formats(writers, formats, folder or card_folder(shop), stem)


def write_sheet(
    shop: Shop,
    formats: Sequence[Format] | None = None,
    folder: Path | None = None,
    paper: Paper | None = None,
) -> Written:
    """Write the day sheet of the shop's day to a folder; see :func:`write_card`."""
    sheet = day_sheet(shop)
    writers = _sheet_writers(sheet, paper or paper_of(shop))
    done = write_formats(writers, formats, folder or card_folder(shop), f"day-{slug(sheet.day)}")
    return replace(done, unfit=sheet.unfit)


def _card_writers(card: Card, paper: Paper, drawing: bool) -> Writers:
    from workbench.work.drawing.layout import svg_file
    from workbench.work.paper.card_html import card_html
    from workbench.work.paper.card_pdf import card_pdf
    from workbench.work.paper.card_text import card_text
    from workbench.work.paper.label import label_html

    title = f"{visible(card.ski, TITLE)}, {card.day}"
    return {
        "text": partial(card_text, card, drawing=drawing),
        "html": partial(card_html, card),
        "svg": partial(svg_file, card.side, title, (card.status, card.side_caption)),
        "pdf": partial(card_pdf, card, paper),
        "label": partial(label_html, card),
    }


def _sheet_writers(sheet: DaySheet, paper: Paper) -> Writers:
    from workbench.work.paper.day_pages import day_html, day_pdf, day_text

    return {
        "text": partial(day_text, sheet),
        "html": partial(day_html, sheet),
        "pdf": partial(day_pdf, sheet, paper),
    }


def write_formats(
    writers: Writers, formats: Sequence[Format] | None, folder: Path, stem: str
) -> Written:
    """Make every format first, then write all of them or none."""
    wanted = list(writers) if formats is None else list(formats)
    left_out = ""
    if formats is None and "label" in wanted:
        wanted.remove("label")  # for another printer, so only where it is asked for
    if formats is None and not has_pdf():
        wanted.remove("pdf")
        left_out = f"No PDF: it needs {EXTRA}"
    made = {EXTENSIONS[form]: in_bytes(writers[form]()) for form in wanted}
    return Written(write_set(folder, stem, made), left_out)


def in_bytes(made: str | bytes) -> bytes:
    """Return a page as the bytes of its file."""
    return made.encode("utf-8") if isinstance(made, str) else made
