"""A ski's history and settings for the command line: plain lines, and values for JSON."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from workbench.fin.plan.remarks import COVERAGE
from workbench.measure.display import fine_text, length_text
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.work.history.compare import Comparison
from workbench.work.history.compare_words import rating_words, wing_words
from workbench.work.history.history import Setting, Value
from workbench.work.history.timeline import Entry, Timeline, struck_words
from workbench.work.history.timeline_words import row_words
from workbench.work.order.exposed_words import Exposure, exposed_report
from workbench.work.text.local_time import day_and_time
from workbench.work.text.words import clean


def timeline_lines(entries: Iterable[Entry], timeline: Timeline, unit: Unit) -> list[str]:
    """Return one line for each entry; a struck one says so first, and why at its end."""
    out = []
    for entry in entries:
        row = entry.row
        words = row_words(row, timeline.history, unit)
        who = clean(row.who) or "-"
        if entry.struck is not None:
            words = f"STRUCK {words} [{struck_words(entry, timeline, unit)}]"
        out.append(f"{day_and_time(row.at)}  {who}  {entry.kind}  {words}")
    return out or ["nothing of this kind"]


def timeline_report(entries: Iterable[Entry], timeline: Timeline, unit: Unit) -> dict[str, object]:
    """Return the entries as plain values; lengths in mm beside the text as typed."""
    return {"unit": unit, "entries": [_entry(e, timeline, unit) for e in entries]}


def _entry(entry: Entry, timeline: Timeline, unit: Unit) -> dict[str, object]:
    row = entry.row
    out: dict[str, object] = {
        "id": row.id,
        "at": row.at,
        "who": row.who,
        "kind": entry.kind,
        "words": row_words(row, timeline.history, unit),
        "job": row.job_id if isinstance(row, rows.Fact) else None,
        "struck": None,
    }
    if isinstance(row, rows.Reading | rows.Target):
        out |= {
            "method": timeline.history.method_name(row.method_id),
            "mm": row.mm, "text": row.text, "typed_in": row.unit,
        }  # fmt: skip
    if row.struck is not None:
        others = [_strike(other) for other in row.struck.others]
        out["struck"] = _strike(row.struck) | {"others": others}
    return out


def _strike(strike: rows.Strike) -> dict[str, object]:
    return {
        "at": strike.at, "who": strike.who, "reason": strike.reason,
        "replaced_by": strike.replaced_by,
    }  # fmt: skip


def settings_lines(settings: Sequence[Setting], unit: Unit) -> list[str]:
    """Return one numbered line for each setting, each number by its method."""
    out = []
    for number, setting in enumerate(settings, 1):
        numbers = [f"{clean(v.method.name)} {_value(v, unit)}" for v in setting.values]
        more = [words for words in (wing_words(setting), rating_words(setting)) if words]
        name = ", ".join(x for x in (setting.name, clean(setting.who)) if x)
        out.append(f"{number}  {name}: {', '.join(numbers + more)}")
    return out or ["this ski was not read yet"]


def _value(value: Value, unit: Unit) -> str:
    return f"{length_text(value.mm, unit)} {unit} ±{fine_text(COVERAGE * value.u_mm, unit)}"


def settings_report(settings: Sequence[Setting]) -> dict[str, object]:
    """Return the settings as plain values, lengths and their standard uncertainties in mm."""
    return {"settings": [_setting(s) for s in settings]}


def _setting(setting: Setting) -> dict[str, object]:
    return {
        "name": setting.name,
        "job": setting.job_id,
        "moment": setting.moment,
        "at": setting.at,
        "who": setting.who,
        "values": [{"method": v.method.name, "mm": v.mm, "u_mm": v.u_mm} for v in setting.values],
        "wing_deg": setting.wing.angle_deg if setting.wing is not None else None,
        "rating": setting.rating,
    }


def comparison_report(found: Comparison) -> dict[str, object]:
    """Return a comparison as plain values: lengths in mm, turns in turns, positive is in."""
    lines = []
    for line in found.lines:
        each: dict[str, object] = {
            "method": line.method.name,
            "a_mm": line.first.mm if line.first is not None else None,
            "b_mm": line.second.mm if line.second is not None else None,
        }
        if line.change is not None:
            each |= {
                "difference_mm": line.change.mm, "expanded_mm": line.change.expanded_mm,
                "clear": line.change.clear,
            }  # fmt: skip
        lines.append(each)
    turns = [
        {"stud": t.stud.name, "turns_exact": t.exact, "u_turns": t.u, "turns": t.turns}
        for t in found.turns
    ]
    return {
        "a": _setting(found.first), "b": _setting(found.second), "differences": lines,
        "studs": turns, "trouble": found.trouble,
        "exposed": [e and exposed_report(Exposure(e), "mm") for e in found.exposed],
    }  # fmt: skip
