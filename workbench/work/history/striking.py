"""Striking any row of a ski's history out, with what it would bring about said before."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

from workbench.errors import InputError
from workbench.records.book import whole
from workbench.records.store import rows
from workbench.work.history.timeline import Entry
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job.stages import MidPassError, Stage
from workbench.work.order.round_records import WING_AIM, live
from workbench.work.roster.ski_sheet import NEVER_DONE, strike_change
from workbench.work.text.local_time import day_and_time
from workbench.work.text.words import clean

_BESIDE = ("note", "held", "advice", WING_AIM, "set_aside", "taken_up")
"""Marks that no turn rests on."""


class _RehearsedError(Exception):
    """Carries what a rehearsed strike showed out of the transaction, which is then undone."""

    def __init__(self, view: JobView, uncounted: int) -> None:
        super().__init__()
        self.stage, self.uncounted = view.stage, uncounted
        self.unreleased = view.unreleased


def check_can_strike(entry: Entry) -> None:
    """Raise an InputError for a row that is struck out already, or is not struck out alone."""
    if entry.struck is not None and not entry.struck.is_damage:
        by = f"{clean(entry.struck.who) or 'nobody named'}, {day_and_time(entry.struck.at)}"
        raise InputError(
            "strike out", f"a row struck out already by {by}", "a row that is not struck out"
        )
    if not entry.can_be_struck:
        raise InputError(
            "strike out", "a ski's own sheet", "its reading, target, round, check, wing, sign-off, "
            "ride note or note; the sheet itself is corrected",
        )  # fmt: skip


def _check_pass(shop: Shop, row: object) -> None:
    """Raise a MidPassError where a stud is turned and the turns may rest on this row."""
    if not isinstance(row, rows.Fact) or isinstance(row, rows.RideNote):
        return
    if isinstance(row, rows.Mark) and row.kind in _BESIDE:
        return
    if shop.view(row.job_id).progress.mid_pass:
        raise MidPassError("strike out")


def consequences(shop: Shop, entry: Entry) -> tuple[str, ...]:
    """Return in sentences what striking this row out would bring about; nothing is changed.

    Raises:
        InputError: it cannot be struck out, or not in the middle of its job's round.
        RecordsError: the book cannot be written.
    """
    check_can_strike(entry)
    row = entry.row
    _check_pass(shop, row)
    if isinstance(row, rows.SkiVersion):
        return (NEVER_DONE, "Its blade and block are then those of before; this stays readable.")
    if not isinstance(row, rows.Fact):
        return ("It stays readable and no longer counts.",)
    before = shop.view(row.job_id).stage
    try:
        _rehearse(shop, row)
    except _RehearsedError as seen:
        return _said(row, before, seen)
    raise AssertionError("a rehearsal always ends by undoing itself")


@whole
def _rehearse(shop: Shop, row: rows.Fact) -> None:
    shop.book.strike(row.id, "rehearsed", shop.who)
    view = shop.view(row.job_id)
    last = view.progress.pass_number
    raise _RehearsedError(view, sum(f.pass_number > last for f in live(view.facts, rows.Reading)))


def _said(row: rows.Fact, before: Stage, seen: _RehearsedError) -> tuple[str, ...]:
    out = []
    if isinstance(row, rows.SignOff):
        out.append(f"The job opens again, at the stage '{seen.stage}', and is in the queue.")
    elif seen.stage != before:
        out.append(f"Its job goes from '{before}' to '{seen.stage}'.")
    elif before == "signed off":
        out.append("Its job stays signed off.")
        if seen.unreleased:
            out.append(
                "But its card then says NOT RELEASED: strike the sign-off out as well, and go on "
                "from where the job opens."
            )
    if isinstance(row, rows.PassRow) and seen.uncounted:
        s = "s" if seen.uncounted > 1 else ""
        out.append(
            f"{seen.uncounted} reading{s} taken after this round no longer count{'' if s else 's'}."
        )
    if isinstance(row, rows.Reading):
        out.append("Means and settings are worked out without it.")
    if isinstance(row, rows.RideNote) and row.rating is not None:
        out.append("Its rating leaves the plots.")
    return (*out, "It stays readable, with your reason beside it.")


def strike_row(shop: Shop, entry: Entry, reason: str) -> rows.Strike:
    """Strike a row out; it stays readable with the reason beside it.

    Raises:
        InputError: no reason, or a row that cannot be struck out, or not in the middle of a round.
        ChangedError: something of the ski was added since the history was read.
        RecordsError: another bench struck it out first, or the book cannot be written.
    """
    check_can_strike(entry)
    row = entry.row
    if isinstance(row, rows.SkiVersion):
        return strike_change(shop, row.ski.id, row.id, reason)
    if not isinstance(
        row, rows.Fact
    ):  # the book lets it be struck out once, and no job rests on it
        return shop.book.strike(row.id, reason, shop.who)
    return shop.act(_seen_with(shop, entry, row), None, partial(_strike, shop, row, reason))


def _strike(shop: Shop, row: rows.Fact, reason: str, _: JobView) -> rows.Strike:
    _check_pass(shop, row)
    return shop.book.strike(row.id, reason, shop.who)


def _seen_with(shop: Shop, entry: Entry, row: rows.Fact) -> JobView:
    """Return the row's job as it was when its line of the history was read."""
    view, history = shop.view(row.job_id), entry.history
    if history is None:
        return view
    return replace(view, facts=history.job(row.job_id).facts, seen=history.seen)
