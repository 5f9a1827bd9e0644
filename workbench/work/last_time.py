"""What a ski was last set to, as the target of the job on the bench."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from workbench.errors import InputError
from workbench.measure.display import fine_text
from workbench.measure.lengths import parse_length
from workbench.work.jobs import JobView, Line
from workbench.work.shop import Shop


def last_setting(shop: Shop, view: JobView) -> JobView | None:
    """Return the ski's last setting that was signed off before this job, or None."""
    job_id = shop.book.last_setting(view.job.ski_id, view.job.id)
    return shop.view(job_id) if job_id is not None else None


def aim_at_last(shop: Shop, view: JobView) -> JobView:
    """Make what the ski was last set to the target; what was held then is aimed at too.

    A target that was typed as a value is copied as typed; a change, or a reading that was held, is
    written out as the value that it came to.

    Raises:
        InputError: the ski was never signed off here, or by none of today's methods.
    """
    last = last_setting(shop, view)
    then = {t.method_id: t for t in last.lines if t.target_mm is not None} if last else {}
    known = [(line, then[line.method_id]) for line in view.lines if line.method_id in then]
    if not known:
        raise InputError("last setting", "(none)", "a ski that was signed off here before")
    return shop.act(view, "aim", partial(_aim, shop, known))


def _aim(shop: Shop, known: Sequence[tuple[Line, Line]], now: JobView) -> JobView:
    unit = now.ski.unit
    for line, then in known:
        typed = then.target
        if typed is not None and typed.kind != "change":
            text, in_unit, mm = typed.text, typed.unit, typed.mm
        else:
            text, in_unit = fine_text(then.target_mm or 0.0, unit), unit
            mm = parse_length(text, unit).mm
        now = shop.aim_at(now, line, text, in_unit, "value", mm, then.tolerance_mm)
    return now
