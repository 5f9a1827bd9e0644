"""The bench's errands with files, one table: what each is called, asks for and gives back in words.

Each is done beside the screen, so nothing here knows one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from workbench.errors import InputError
from workbench.places import is_plain_file
from workbench.records.backup.backups import backups_of
from workbench.work.exchange.backup import back_up, copied_lines
from workbench.work.exchange.csv_out import CsvWanted, write_csv
from workbench.work.exchange.exchange import export_book, export_ski_of_id, take_in
from workbench.work.exchange.exchange_words import exported_lines, size_words, taken_in_lines
from workbench.work.exchange.intake import intake_lines, take_in_skis
from workbench.work.files.safe_write import path_of, slug
from workbench.work.job.shop import Shop
from workbench.work.text.words import clean

MOST_BACKUPS = 3

Name = Literal[
    "book", "ski", "import", "intake", "queue", "skis", "readings", "history", "this history",
    "backup",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Outcome:
    """What an errand did, in lines; ``ready`` says that it was a trial which may now be done."""

    lines: tuple[str, ...]
    ready: bool = False


@dataclass(frozen=True, slots=True)
class Errand:
    """One errand: its letter, words, what it does in a sentence, and the file's name proposed.

    ``tried_first``: a dry run shows what would come of it. ``asks``: a path is asked for.
    """

    name: Name
    key: str
    words: str
    hint: str
    proposed: str = ""
    tried_first: bool = False
    needs_ski: bool = False
    asks: bool = True


ERRANDS: tuple[Errand, ...] = (
    Errand("book", "b", "export the book", "everything, for another bench",
           "quarterturn-{day}.json"),
    Errand("ski", "s", "export this ski", "the ski in hand and all it needs, for a bench",
           "quarterturn-{ski}-{day}.json", needs_ski=True),
    Errand("import", "i", "import a file", "of another bench: a look first, then F2",
           tried_first=True),
    Errand("intake", "c", "skis from a CSV", "a day's skis: their problems first, then F2",
           tried_first=True),
    Errand("queue", "q", "queue to a CSV", "today's skis, for a spreadsheet or a bench",
           "queue-{day}.csv"),
    Errand("readings", "r", "readings to a CSV", "every reading kept, for a spreadsheet",
           "readings-{day}.csv"),
    Errand("skis", "l", "skis to a CSV", "every ski, for a spreadsheet or a bench",
           "skis-{day}.csv"),
    Errand("history", "h", "history to a CSV", "all done to every ski, struck out or not",
           "history-{day}.csv"),
    Errand("this history", "o", "this ski's history", "the ski in hand alone, to a CSV",
           "history-{ski}-{day}.csv", needs_ski=True),
    Errand("backup", "k", "back up now", "today's copy in 'backups' beside the book",
           asks=False),
)  # fmt: skip


def proposed(errand: Errand, shop: Shop, ski_name: str) -> str:
    """Return the path that is proposed: in the home folder, by day and ski."""
    if not errand.proposed:
        return ""
    return "~/" + errand.proposed.format(day=shop.day, ski=slug(ski_name))


def backup_words(shop: Shop) -> tuple[str, ...]:
    """Return the newest daily copies of the book, a line each, and how one is put back."""
    found = backups_of(shop.book.path)
    if not found:
        return ("No daily backup yet: one is made when the shop's own book is open.",)
    days = [f"  {each.label}  {each.size / 1e6:.1f} MB" for each in found[:MOST_BACKUPS]]
    more = f", {len(found) - MOST_BACKUPS} older ones" if len(found) > MOST_BACKUPS else ""
    back = "To put one back close the bench, then: quarterturn restore DAY"
    return (f"Daily backups{more}:", *days, back)


def check_path(path: str) -> str:
    """Return a path that is not blank, trimmed."""
    path_of(path)
    return path.strip()


def run(errand: Errand, shop: Shop, path: str, ski_id: str = "", *, trial: bool = False) -> Outcome:
    """Do an errand, or with ``trial`` try it; raises ``BenchError`` where it cannot be done."""
    if errand.tried_first and not is_plain_file(path_of(path)):
        raise InputError("file", path, "a file that is there")
    match errand.name:
        case "book":
            return Outcome(tuple(exported_lines(export_book(shop, path))))
        case "ski":
            return Outcome(tuple(exported_lines(export_ski_of_id(shop, ski_id, path))))
        case "import":
            taken = take_in(shop, path, dry_run=trial)
            return Outcome(tuple(taken_in_lines(taken)), trial and bool(taken.brought.new))
        case "intake":
            intake = take_in_skis(shop, path, dry_run=trial)
            return Outcome(tuple(intake_lines(intake)), trial and not intake.problems)
        case "backup":
            return Outcome(tuple(copied_lines(back_up(shop.book))))
        case "queue" | "skis" | "readings" | "history":
            return _csv(shop, CsvWanted(errand.name), path)
        case "this history":
            return _csv(shop, CsvWanted("history", ski_id=ski_id), path)


def _csv(shop: Shop, wanted: CsvWanted, path: str) -> Outcome:
    unfit: list[str] = []
    size = write_csv(shop, wanted, path, unfit)
    written = f"Written: {clean(path)} ({size_words(size)})"
    return Outcome((written, *(f"! {clean(line)}" for line in unfit)))
