"""What a ski was last set to, as the target of the job on the bench."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import TypeAlias

from workbench.errors import InputError
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.work.job.entry import Typed, copied
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.trust.job_reading import Line

Wing: TypeAlias = "tuple[float, rows.WingHold]"
"""A wing's angle (degrees) and the hold that it was read by."""


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
    unit = view.ski.unit
    aims = [
        (line, _again(then[line.method_id], unit), then[line.method_id].tolerance_mm)
        for line in view.lines
        if line.method_id in then
    ]
    if not aims:
        raise InputError("last setting", "(none)", "a ski that was signed off here before")
    wing = wing_as_set(last.wing_set) if last is not None else None
    return shop.act(view, "aim", partial(aim_all, shop, aims, wing))


def _again(then: Line, unit: Unit) -> Typed:
    typed = then.target
    if typed is not None and typed.kind != "change":
        return Typed(typed.text, typed.unit, typed.mm)
    return copied(then.target_mm or 0.0, unit)


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
    wing = _wing_beyond(last.wing_set, before.wing_set, by)
    turned = wing is not None and wing != wing_as_set(last.wing_set)
    changed = any(now[x.method_id] != then[x.method_id] for x in both)
    if not both or not (changed or turned):
        raise InputError("last change", "(none)", "two settings by today's methods that differ")
    tolerances = {x.method_id: x.tolerance_mm for x in last.lines}
    aims = []
    for line in both:
        mm, mm_then = now[line.method_id], then[line.method_id]
        wanted = copied(mm + by * (mm - mm_then), view.ski.unit)
        aims.append((line, wanted, tolerances[line.method_id]))
    return shop.act(view, "aim", partial(aim_all, shop, aims, wing))


def _wing_beyond(
    last: rows.WingSetting | None, before: rows.WingSetting | None, by: float
) -> Wing | None:
    """Return the wing at the last setting and ``by`` times its change; backward as it was before.

    Raises:
        InputError: the two angles were read with the straightedge at two places, so that their
            difference is no change of the wing.
    """
    if last is None or before is None:
        return wing_as_set(last)
    if by < 0.0:
        return wing_as_set(before)
    if last.hold and before.hold and last.hold != before.hold:
        were = f"held at the {before.hold}, then at the {last.hold}"
        raise InputError("last change of the wing", were, "two angles read by one hold")
    return last.angle_deg + by * (last.angle_deg - before.angle_deg), last.hold


def wing_as_set(setting: rows.WingSetting | None) -> Wing | None:
    """Return the angle (degrees) and the hold of a wing that was set; None without one."""
    return (setting.angle_deg, setting.hold) if setting is not None else None


def aim_all(
    shop: Shop, aims: Sequence[tuple[Line, Typed, float]], wing: Wing | None, now: JobView
) -> JobView:
    """Aim each reading at a value within its tolerance (mm), and the wing too, where there is one
    and the ski has a wing."""
    for line, wanted, tolerance_mm in aims:
        now = shop.aim_at(now, line, wanted, "value", tolerance_mm)
    return now if wing is None or not now.ski.has_wing else shop.aim_wing(now, *wing)
