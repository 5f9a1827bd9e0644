"""The rows of a ski's history: the filters, the timeline, what an entry says in full, the plots."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from textual.content import Content

from workbench.bench.draw import plots as drawn
from workbench.bench.draw.canvas import Area, Mode
from workbench.bench.draw.text import in_sight, lines, padded, styled, visible, wrapped
from workbench.fin.plan.guidance import COVERAGE
from workbench.measure.display import fine_text, length_text
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.work.history.history import History, Setting, Value, load_history, settings_in
from workbench.work.history.series import Series, seconds, series_of, span_of
from workbench.work.history.timeline import (
    KIND_SIGNS,
    KINDS,
    Entry,
    Shown,
    Timeline,
    job_words,
    row_words,
    strikes_of,
    timeline_of,
    times_struck,
)
from workbench.work.job.shop import Shop
from workbench.work.text.local_time import day_and_time, local

DETAIL_LINES = 3
ROOMY = 100
"""Width from which a row has its year."""

GRID_WIDTH, GRID_HEIGHT = 100, 24
"""Room from which plots stand beside each other."""

WHO_CELLS, KIND_CELLS, REASON_CELLS = 4, 9, 24


class Past:
    """A ski's history as loaded; its settings and series are computed when first looked at."""

    def __init__(self, history: History) -> None:
        self.history = history
        self.timeline: Timeline = timeline_of(history)
        self._series: dict[str, tuple[Series, ...]] = {}

    @cached_property
    def settings(self) -> tuple[Setting, ...]:
        """Every setting of the ski, oldest first."""
        return settings_in(self.history)

    def series(self, job_id: str = "") -> tuple[Series, ...]:
        """The series over all jobs, or every reading of one."""
        if job_id not in self._series:
            made = series_of(self.history, self.settings, job_id)
            self._series[job_id] = made or series_of(self.history, self.settings)
        return self._series[job_id]


def past_of(shop: Shop, ski_id: str) -> Past:
    """Read a ski's history from the book."""
    return Past(load_history(shop, ski_id))


@dataclass(frozen=True, slots=True)
class Looking:
    """What is looked at: a kind, a search, an order, the row marked; or the plots.

    ``series`` is the plot chosen, ``setting`` the setting pointed at (from the end where negative),
    ``zoom`` the job looked into.
    """

    kind: Shown = "all"
    find: str = ""
    newest_first: bool = True
    at: int = 0
    plotted: bool = False
    series: int = 0
    setting: int = -1
    zoom: str = ""


def filters(look: Looking, count: int, past: Past, width: int) -> Content:
    """Return the kinds with the one shown marked, and how many entries that are."""
    parts: list[str | tuple[str, str]] = []
    for kind in KINDS:
        here = kind == look.kind
        parts.append((f"▸{kind}" if here else kind, "bold reverse" if here else "$ink-faint"))
        parts.append(" ")
    order = "newest first" if look.newest_first else "oldest first"
    said = f"{count} of {len(past.timeline.entries)}, {order}"
    used = styled(*parts).cell_length
    if used + len(said) <= width:
        parts += [" " * (width - used - len(said)), (said, "$ink-faint")]
    return styled(*parts)


def timeline_rows(
    entries: Sequence[Entry], at: int, past: Past, unit: Unit, area: Area
) -> list[Content]:
    """Return the rows around the one marked, as many as there is room for."""
    if not entries:
        return [styled(("nothing of this kind; ←→ another kind, Esc ends a search", "$ink-faint"))]
    year = local(past.timeline.entries[-1].row.at).year
    seen = in_sight(entries, at, area.height)
    return [_row(entry, here, past, unit, area, year) for here, entry in seen]


def _row(entry: Entry, marked: bool, past: Past, unit: Unit, area: Area, year: int) -> Content:
    row, plain, width = entry.row, area.mode == "ascii", area.width
    pointer = (">" if plain else "▸") if marked else " "
    who = padded(row.who, WHO_CELLS)
    glyph = KIND_SIGNS[entry.kind if row.struck is None else "struck"][plain]
    head = f"{pointer}{_when(row.at, width, year)} {who} {glyph} {entry.kind:<{KIND_CELLS}} "
    words = row_words(row, past.history, unit)
    room = width - styled(head).cell_length
    style = "bold" if marked else ""
    if row.struck is None:
        return styled((head, style), (visible(words, room), style))
    reason = visible(
        f" {times_struck(row.struck)}: {row.struck.reason}",
        min(REASON_CELLS if width < ROOMY else 2 * REASON_CELLS, room // 2),
    )
    left = room - styled(reason).cell_length
    return styled(
        (head, style),
        (visible(words, left), f"{style} strike $ink-faint".strip()),
        (reason, "$state-caution"),
    )


def _when(at: str, width: int, year: int) -> str:
    """Return local day and time; without room the year only where it is not the latest."""
    if width >= ROOMY:
        return day_and_time(at)
    when = local(at)
    return f"{when:%m-%d %H:%M}" if when.year == year else f"{when:%Y-%m-%d} "


def detail(entry: Entry | None, past: Past, unit: Unit, width: int) -> list[Content]:
    """Return all an entry says, always in as many lines, whatever it is."""
    out: list[Content] = []
    if entry is not None:
        row = entry.row
        words = row_words(row, past.history, unit)
        out = [styled((part, "bold")) for part in wrapped(words, width)][:DETAIL_LINES]
        about = [day_and_time(row.at), row.who, job_words(entry, past.history), _tool(row, past)]
        beneath = " · ".join(part for part in about if part)
        struck = strikes_of(entry, past.timeline, unit)
        if struck:
            caution = _caution(struck, width)
            out = [*out[: DETAIL_LINES - len(caution)], *caution]
        out.append(styled((visible(beneath, width), "$ink-faint")))
    return [*out, *[styled("")] * DETAIL_LINES][:DETAIL_LINES]


def _caution(struck: Sequence[str], width: int) -> list[Content]:
    """Return one strike on as many lines as it takes, several on a line each, cut with …"""
    most = DETAIL_LINES - 1
    shown = [f"✗ {words}" for words in struck]
    if len(shown) == 1:
        first, *more = wrapped(shown[0], width)
        shown = [first, " ".join(more)] if more else [first]
    elif len(shown) > most:
        shown[most - 1] = f"✗ and on {len(shown) - most + 1} other benches: quarterturn history"
    return [styled((visible(words, width), "$state-caution")) for words in shown[:most]]


def _tool(row: object, past: Past) -> str:
    if isinstance(row, rows.Reading) and row.caliper_id:
        gauge = past.history.tools.gauges.get(row.caliper_id)
        return f"with {gauge.row.name}" if gauge is not None else ""
    return ""


# -- plots -------------------------------------------------------------------------------------


def plots(past: Past, look: Looking, unit: Unit, mode: Mode, width: int, height: int) -> Content:
    """Return the plots: four where there is room, else the one chosen; below it the setting."""
    found = past.series(look.zoom)
    if not found:
        return styled(("this ski was not read yet: there is nothing to plot", "bold"))
    at = look.series % len(found)
    setting = past.settings[look.setting] if past.settings else None
    marked = seconds(setting.at) if setting is not None and not look.zoom else None
    room = height - 3
    span, area = span_of(found), Area(width, room, mode)
    if width >= GRID_WIDTH and height >= GRID_HEIGHT and len(found) > 1:
        # The chosen one is among the four.
        four, chosen = found, at
        if len(found) > 4:
            four, chosen = tuple(found[(at + i) % len(found)] for i in range(4)), 0
        body = drawn.grid(four, span, unit, area, marked, chosen)
    else:
        body = drawn.plot_rows(found[at], span, unit, area, marked)
    head = f"plot {at + 1} of {len(found)}"
    head += (
        f": every reading of the job of {past.history.job(look.zoom).job.day}" if look.zoom else ""
    )
    body += [styled("")] * (room - len(body))
    legend = drawn.legend(found, mode, width)
    return lines(
        [
            styled((visible(head, width), "$ink-faint")),
            *body,
            legend,
            _standing(setting, found[at].title, unit, width),
        ]
    )


def _standing(setting: Setting | None, title: str, unit: Unit, width: int) -> Content:
    if setting is None:
        return styled("")
    values = sorted(setting.values, key=lambda v: v.method.name != title)
    beside = "".join(f", {words}" for words in setting.beside)
    text = ""
    for sure, count in ((9, len(values)), (1, len(values)), (1, 1)):  # as the room allows
        numbers = ", ".join(_number(v, unit, i < sure) for i, v in enumerate(values[:count]))
        text = f"▸ {setting.name}: {numbers} {unit}{beside}"
        if styled(text).cell_length <= width:
            break
    return styled((visible(text, width), "bold"))


def _number(value: Value, unit: Unit, sure: bool) -> str:
    good_to = f" ±{fine_text(COVERAGE * value.u_mm, unit)}" if sure else ""
    return f"{value.method.name} {length_text(value.mm, unit)}{good_to}"
