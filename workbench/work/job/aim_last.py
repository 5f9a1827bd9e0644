"""What a ski was last set to, as the target of the job on the bench."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from workbench.errors import InputError
from workbench.measure.display import fine_text
from workbench.measure.lengths import parse_length
from workbench.work.job.job_view import WING_AIM, JobView
from workbench.work.job.shop import Shop
from workbench.work.trust.job_reading import Line


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
    wing_deg = last.wing_set_deg if last is not None else None
    return shop.act(view, "aim", partial(_aim, shop, known, wing_deg))


def aim_one_step_more(shop: Shop, view: JobView) -> JobView:
    """Aim at the last setting and once more what it changed from the one before, wing included.

    Raises:
        InputError: the ski was signed off here fewer than two times, or nothing was changed.
    """
    last, before = _last_two(shop, view)
    return _aim_beyond(shop, view, last, before, 1.0)


def aim_before_last(shop: Shop, view: JobView) -> JobView:
    """Aim at the setting before the last, wing included: the last ride's change undone.

    Raises:
        InputError: the ski was signed off here fewer than two times, or nothing was changed.
    """
    last, before = _last_two(shop, view)
    return _aim_beyond(shop, view, last, before, -1.0)


def _last_two(shop: Shop, view: JobView) -> tuple[JobView, JobView]:
    """Return the last two settings that were signed off before this job, the last one first."""
    last = last_setting(shop, view)
    before = last_setting(shop, last) if last is not None else None
    if last is None or before is None:
        raise InputError("last change", "(none)", "a ski that was signed off here twice before")
    return last, before


def _aim_beyond(shop: Shop, view: JobView, last: JobView, before: JobView, by: float) -> JobView:
    """Aim at the last setting and ``by`` times its change; backward is the one before itself."""
    now = {x.method_id: x.target_mm for x in last.lines if x.target_mm is not None}
    then = {x.method_id: x.target_mm for x in before.lines if x.target_mm is not None}
    both = [x for x in view.lines if x.method_id in now and x.method_id in then]
    wings = (last.wing_set_deg, before.wing_set_deg)
    turned = None not in wings and wings[0] != wings[1]
    changed = any(now[x.method_id] != then[x.method_id] for x in both)
    if not both or not (changed or turned):
        raise InputError("last change", "(none)", "two settings by today's methods that differ")
    tolerances = {x.method_id: x.tolerance_mm for x in last.lines}
    aims = [
        (x, now[i] + by * (now[i] - then[i]), tolerances[i]) for x in both for i in (x.method_id,)
    ]
    wing_deg = wings[0]
    if wings[0] is not None and wings[1] is not None:
        wing_deg = wings[0] + by * (wings[0] - wings[1])
    return shop.act(view, "aim", partial(_aim_at, shop, aims, wing_deg))


def _aim_at(
    shop: Shop,
    aims: Sequence[tuple[Line, float, float]],
    wing_deg: float | None,
    now: JobView,
) -> JobView:
    unit = now.ski.unit
    for line, wanted_mm, tolerance_mm in aims:
        text = fine_text(wanted_mm, unit)
        mm = parse_length(text, unit).mm
        now = shop.aim_at(now, line, text, unit, "value", mm, tolerance_mm)
    return _aim_wing(shop, now, wing_deg)


def _aim_wing(shop: Shop, now: JobView, wing_deg: float | None) -> JobView:
    if wing_deg is None or not now.ski.has_wing:
        return now
    return shop.note(now, WING_AIM, f"{wing_deg:g}")


def _aim(
    shop: Shop, known: Sequence[tuple[Line, Line]], wing_deg: float | None, now: JobView
) -> JobView:
    unit = now.ski.unit
    for line, then in known:
        typed = then.target
        if typed is not None and typed.kind != "change":
            text, in_unit, mm = typed.text, typed.unit, typed.mm
        else:
            text, in_unit = fine_text(then.target_mm or 0.0, unit), unit
            mm = parse_length(text, unit).mm
        now = shop.aim_at(now, line, text, in_unit, "value", mm, then.tolerance_mm)
    return _aim_wing(shop, now, wing_deg)
