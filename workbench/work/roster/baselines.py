"""Starting numbers: of a ski, of a rider on a model, of a model and size; as a file, in and out."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

from workbench.errors import InputError
from workbench.fin.plan.plan import DEFAULT_TOLERANCE_MM
from workbench.fin.wing import angle_of
from workbench.measure.display import FINE, length_text
from workbench.measure.lengths import parse_length
from workbench.measure.units import Unit
from workbench.records.book import whole
from workbench.records.store import rows
from workbench.work.files.table_files import Table
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.roster.corrections import Mended, checked_changes, reason_of
from workbench.work.text.fields import Field
from workbench.work.trust.job_reading import Line

BASELINES_FORMAT = "quarterturn-baselines"
_VERSION = 1
MOST = 10_000

BASELINE_OF = ("ski", "rider", "model")
KEEP = (
    Field("name", "Name", "such as spring, or cold water", "NAME"),
    Field(
        "of", "Of", "ski: this very ski; rider: its rider on this model; model: all of it", "OF",
        default="ski",
    ),
)  # fmt: skip
"""What is asked where the numbers of now are kept as a baseline."""
_PLAIN = re.compile(r"([0-9.,]+)\s*(?:in|mm)")


@dataclass(frozen=True, slots=True)
class Compared:
    """One number of a baseline beside the ski's own (mm); ``now_mm`` is None where not read."""

    entry: rows.BaselineEntry
    line: Line | None
    now_mm: float | None

    @property
    def off_mm(self) -> float | None:
        """Now minus the baseline."""
        return None if self.now_mm is None else self.now_mm - self.entry.mm


@dataclass(frozen=True, slots=True)
class Fitting:
    """A baseline that fits a ski: why it fits, and its numbers beside the ski's own."""

    baseline: rows.Baseline
    of: str
    numbers: tuple[Compared, ...]


def fitting(shop: Shop, view: JobView) -> tuple[Fitting, ...]:
    """Return the baselines that fit the ski in hand, the nearest first.

    Its own come first, then its rider's on this model, then those of model and size, then those of
    the model alone; among equals the newest.
    """
    found = []
    for baseline in shop.book.baselines():
        kind = _fits(baseline, view.ski)
        if kind is not None:
            found.append((kind, baseline))
    # Stable sorts: newest first within each kind.
    found.sort(key=lambda each: each[1].id, reverse=True)
    found.sort(key=lambda each: each[0])
    names = ("this ski's own", "this rider on this model", "this model and size", "this model")
    return tuple(Fitting(b, names[kind], _compared(b, view)) for kind, b in found)


def _fits(baseline: rows.Baseline, ski: rows.Ski) -> int | None:
    if baseline.ski_id is not None:
        return 0 if baseline.ski_id == ski.id else None
    if not baseline.model or not _same(baseline.model, ski.model):
        return None
    if baseline.size and not _same(baseline.size, ski.size):
        return None
    if baseline.rider:
        return 1 if _same(baseline.rider, ski.rider) else None
    return 2 if baseline.size else 3


def _same(a: str, b: str) -> bool:
    return " ".join(a.casefold().split()) == " ".join(b.casefold().split())


def _compared(baseline: rows.Baseline, view: JobView) -> tuple[Compared, ...]:
    by_name = {line.method.name: line for line in view.lines}
    out = []
    for entry in baseline.entries:
        line = by_name.get(entry.method_name)
        out.append(Compared(entry, line, line.now_mm if line is not None else None))
    return tuple(out)


def baseline_meant(shop: Shop, view: JobView, name: str) -> rows.Baseline:
    """Return the fitting baseline of this name; blank is the ski's own.

    Raises:
        InputError: no baseline of this name fits the ski, or it has none of its own.
    """
    found = [each.baseline for each in fitting(shop, view)]
    if not name.strip() and view.baseline is not None:
        return view.baseline
    for baseline in found:
        if name.strip() and _same(baseline.name, name):
            return baseline
    few = " · ".join(dict.fromkeys(b.name[:40] for b in found[:12]))
    raise InputError("baseline", name or "(none)", f"one that fits this ski: {few or 'none yet'}")


def aim_at(shop: Shop, view: JobView, baseline: rows.Baseline) -> JobView:
    """Make a baseline the target of the ski in hand, all of its numbers or none.

    Raises:
        InputError: none of its numbers is by this ski's own methods, or no target can be set now.
    """

    def aim(now: JobView) -> JobView:
        now = shop.aim_at_baseline(now, baseline)
        if baseline.wing_deg is not None and now.ski.has_wing:
            now = shop.aim_wing(now, baseline.wing_deg)
        return now

    return shop.act(view, "aim", aim)


def keep_now(shop: Shop, view: JobView, name: str, of: str) -> rows.Baseline:
    """Keep the ski's numbers of now as a baseline.

    ``of`` says of what: ``ski``, ``rider`` (on this model) or ``model`` (and size).

    Raises:
        InputError: a number is missing, no name, or the ski has no model where one is needed.
    """
    return shop.act(view, None, partial(_keep_now, shop, name, of))


def _keep_now(shop: Shop, name: str, of: str, view: JobView) -> rows.Baseline:
    missing = [line.method.name for line in view.lines if line.now_mm is None]
    if missing:
        raise InputError("baseline", "not read yet", f"a reading of {', '.join(missing)} first")
    if not name.strip():
        raise InputError("name", name, "a name, such as spring or cold water")
    ski = view.ski
    if of not in BASELINE_OF:
        raise InputError("of", of, "ski, rider or model")
    if of != "ski" and not ski.model.strip():
        raise InputError("of", of, "a ski whose model is known; this one has none: give 'ski'")
    if of == "rider" and not ski.rider.strip():
        raise InputError("of", of, "a ski whose rider is known; this one has none")
    entries = tuple(_entry_of(line, ski.unit) for line in view.lines)
    wing = [f for f in view.facts if isinstance(f, rows.WingSetting) and f.struck is None]
    baseline = rows.Baseline(
        "", ski.id if of == "ski" else None, name.strip(), entries,
        f"read on {ski.name} by {shop.who or 'unknown'}, {view.job.day}",
        model="" if of == "ski" else ski.model,
        size="" if of == "ski" else ski.size,
        rider=ski.rider if of == "rider" else "",
        wing=wing[-1].text if wing else "",
        wing_deg=wing[-1].angle_deg if wing else None,
    )  # fmt: skip
    return shop.book.add_baseline(baseline, who=shop.who)


def _entry_of(line: Line, unit: Unit) -> rows.BaselineEntry:
    assert line.now_mm is not None
    text = length_text(line.now_mm, unit, FINE[unit])
    # What is written is what is kept: the text's own value, not digits that nobody sees.
    mm = parse_length(text, unit).mm
    return rows.BaselineEntry(line.method.name, text, unit, mm, line.tolerance_mm)


# -- as a file -----------------------------------------------------------------------------------


def export_text(shop: Shop) -> str:
    """Return all baselines of the book as the text of a file, JSON."""
    serials = {s.id: s.serial or s.name for s in shop.book.skis()}
    out = [
        {
            "name": b.name,
            "ski": serials.get(b.ski_id, "") if b.ski_id is not None else "",
            "model": b.model,
            "size": b.size,
            "rider": b.rider,
            "source": b.source,
            "wing": b.wing,
            "numbers": [
                {
                    "method": e.method_name,
                    "value": f"{e.text} {e.unit}",
                    "tolerance": f"{e.tolerance_mm!r} mm",
                }
                for e in b.entries
            ],
        }
        for b in shop.book.baselines()
    ]
    return (
        json.dumps({"format": BASELINES_FORMAT, "version": _VERSION, "baselines": out}, indent=2)
        + "\n"
    )


def read_baselines(data: object, skis: Sequence[rows.Ski]) -> tuple[rows.Baseline, ...]:
    """Return the baselines of a file's table.

    Raises:
        InputError: names the key, the value and what would be accepted.
    """
    top = Table(data, "")
    made_by, version = top.text("format", BASELINES_FORMAT), top.raw("version", str(_VERSION))
    if made_by != BASELINES_FORMAT:
        raise InputError("format", made_by, BASELINES_FORMAT)
    if version != _VERSION or isinstance(version, bool):
        raise InputError("version", version, f"{_VERSION}: a newer file needs a newer Quarterturn")
    found = tuple(_baseline(t, skis) for t in top.tables("baselines"))
    top.done()
    if len(found) > MOST:
        raise InputError("baselines", len(found), f"at most {MOST} in one file")
    return found


def _baseline(table: Table, skis: Sequence[rows.Ski]) -> rows.Baseline:
    name = table.name()
    ski = table.text("ski", "a serial", "")
    texts = {key: table.text(key, "a text", "") for key in ("model", "size", "rider", "source")}
    wing = table.text("wing", "degrees such as 7.5", "")
    entries = tuple(_entry(t) for t in table.tables("numbers"))
    table.done()
    if not entries:
        raise InputError(table.where("numbers"), "(none)", "at least one number")
    if not ski.strip() and not texts["model"].strip():
        raise InputError(table.where("model"), "", "a model, or the serial of a ski")
    return rows.Baseline(
        "", _ski_id(ski, skis, table.where("ski")), name, entries, texts["source"],
        model=texts["model"], size=texts["size"], rider=texts["rider"],
        wing=wing, wing_deg=angle_of(wing, table.where("wing")) if wing.strip() else None,
    )  # fmt: skip


def _ski_id(text: str, skis: Sequence[rows.Ski], where: str) -> str | None:
    if not text.strip():
        return None
    found = [s for s in skis if _same(s.serial, text)] or [s for s in skis if _same(s.name, text)]
    if len(found) != 1:
        raise InputError(where, text, "the serial of one ski in this book; add it first")
    return found[0].id


def _entry(table: Table) -> rows.BaselineEntry:
    method = table.name("method")
    text = table.text("value", "a length with its unit such as '2.4725 in'")
    shown, unit, mm = length_typed(text, None, table.where("value"))
    tolerance = table.length("tolerance", DEFAULT_TOLERANCE_MM)
    table.done()
    if not 0 < tolerance < 10:
        raise InputError(table.where("tolerance"), tolerance, "more than 0, less than 10 mm")
    return rows.BaselineEntry(method, shown, unit, mm, tolerance)


def length_typed(text: str, bare: Unit | None, where: str) -> tuple[str, Unit, float]:
    """Return a baseline's number as shown, its unit and its mm; without ``bare`` a unit is needed.

    Raises:
        InputError: no length, or none that a fin can have.
    """
    length = parse_length(text, bare or "in", where)
    if not (length.named or bare) or length.signed or not 0 < length.mm < 500:
        accepted = "a length with its unit such as '2.4725 in' or '62.8 mm'"
        raise InputError(where, text, accepted)
    plain = _PLAIN.fullmatch(text.strip())
    shown = plain[1] if plain is not None else text.strip()
    return shown, length.unit, length.mm


@whole
def take_in_baselines(shop: Shop, baselines: Sequence[rows.Baseline]) -> tuple[int, int]:
    """Keep baselines of a file, all or none; return how many were new and how many were there."""
    there = {_said(b) for b in shop.book.baselines()}
    new = 0
    for baseline in baselines:
        if _said(baseline) not in there:
            there.add(_said(baseline))
            shop.book.add_baseline(baseline, who=shop.who)
            new += 1
    return new, len(baselines) - new


def _said(b: rows.Baseline) -> tuple[object, ...]:
    return (b.name, b.ski_id, b.model, b.size, b.rider, b.source, b.wing, b.entries)


def wing_words(baseline: rows.Baseline) -> str:
    """Return a baseline's wing angle in words, or nothing."""
    return "" if baseline.wing_deg is None else f"wing {baseline.wing_deg:g}°"


# -- put right ------------------------------------------------------------------------------------


def baseline_named(shop: Shop, text: str) -> rows.Baseline:
    """Return the baseline of this number in the list, else the only one of this name."""
    known = shop.book.baselines()
    wanted = text.strip()
    found = [b for b in known if b.name.casefold() == wanted.casefold()]
    if len(found) == 1:
        return found[0]
    if wanted.isdecimal() and len(wanted) < 7 and 1 <= int(wanted) <= len(known):
        return known[int(wanted) - 1]
    accepted = "its number in 'baselines'" + (f": {len(found)} are called so" if found else "")
    raise InputError("baseline", text, accepted if found else f"a baseline's name or {accepted}")


@whole
def correct_baseline(
    shop: Shop, baseline_id: str, values: Mapping[str, str], reason: str
) -> Mended[rows.Baseline]:
    """Correct numbers of a baseline: what was typed for each method that is to be changed.

    A bare number is in the unit that the number had. A target that was taken from it stays.

    Raises:
        InputError: names the method; no such method in it; or nothing changed.
    """
    why = reason_of(reason)
    old = shop.book.baseline(baseline_id)
    if old.struck is not None:
        raise InputError("baseline", old.name, "one that is not struck out")
    names = [e.method_name for e in old.entries]
    for name in values:
        if name not in names:
            raise InputError("method", name, f"one of this baseline: {' · '.join(names)}")
    entries = tuple(_corrected(e, values) for e in old.entries)
    new = replace(old, entries=entries)
    found = checked_changes(old, new)
    return Mended(shop.book.correct_baseline(new, who=shop.who, reason=why), found)


def _corrected(entry: rows.BaselineEntry, values: Mapping[str, str]) -> rows.BaselineEntry:
    text = values.get(entry.method_name)
    if text is None:
        return entry
    shown, unit, mm = length_typed(text, entry.unit, entry.method_name)
    return replace(entry, text=shown, unit=unit, mm=mm)


def strike_baseline(shop: Shop, baseline: rows.Baseline, reason: str) -> rows.Strike:
    """Strike a baseline out; it stays readable with its reason.

    Raises:
        InputError: no reason.
        RecordsError: another bench struck it out first.
    """
    return shop.book.strike(baseline.id, reason, shop.who)
