"""The book: everything a shop keeps, behind one door, with no SQL outside this room."""

from __future__ import annotations

from workbench.records.pages.day_pages import DayPages
from workbench.records.pages.entry_pages import EntryPages
from workbench.records.pages.exchange_pages import ExchangePages
from workbench.records.pages.job_pages import JobPages
from workbench.records.pages.roster_pages import RosterPages
from workbench.records.pages.sharing_pages import SharingPages


class Book(RosterPages, JobPages, EntryPages, DayPages, ExchangePages, SharingPages):
    """One book, open. Every method blocks until it is done; ``aio`` is the way from a screen.

    A method that has returned has kept what it was given: written through to the disk. Every
    method raises ``RecordsError`` when the book cannot be read or written, ``InputError`` when a
    value cannot be kept, ``UnknownRowError`` for an id that is not in the book.
    """
