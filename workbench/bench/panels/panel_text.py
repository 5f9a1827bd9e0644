"""What each panel says, as text made from the bench's state; nothing here computes."""

from __future__ import annotations

from functools import lru_cache

from rich.cells import cell_len
from textual.content import Content

from workbench.bench.draw.canvas import Area, color_of
from workbench.bench.draw.side_view import side_view
from workbench.bench.draw.text import (
    first_seen,
    lines,
    look_of,
    padded,
    paragraph,
    paragraphs,
    styled,
    visible,
    wrapped,
)
from workbench.bench.hand.state import CHANGE_SUCH_AS, BenchState
from workbench.bench.panels.one_thing import fitted_name
from workbench.bench.panels.turns_panel import rows_of, warned, warnings
from workbench.fin.frame import Pose
from workbench.fin.reading.rig import Rig
from workbench.measure.display import change_between, fine_text, length_text
from workbench.measure.units import Unit
from workbench.work.drawing.scene import LIT
from workbench.work.job.job_view import JobView, RosterLine
from workbench.work.job_text.view_words import Importance, Said, act_due, dangers_of, stage_words
from workbench.work.order.order_answers import exposed_short, exposure_at
from workbench.work.text.words import LOOSE_SHORT
from workbench.work.trust.job_reading import NEARNESS_SIGNS, Line

BLANK = Content("")
INKS = {LIT: "bold $ink-wanted"}
"""Styles of inks that are more than a colour."""

WARNED_ROWS = 5
"""Rows that warnings may take below the side view."""

LEAST_PICTURE = 5
"""Rows that stay for the side view itself."""

LONGEST_DUE = 12
"""Cells for when a ski is due, which people write in words of their own."""


def top_line(state: BenchState, width: int) -> Content:
    """Return the line at the top: the ski, its stage, whose hands, and the unit."""
    view = state.view
    left = f" {visible(state.shop_name or 'Quarterturn', max(width // 4, 12))} "
    share = state.sharing if width >= WIDE_FROM else state.sharing_short
    who = visible(state.who, 12) or f"no initials ({state.keys.of('initials') or '/'})"
    right = f" {who}  {state.day}  [{state.unit}] "
    if share:
        right = f" {share} {right}"
    middle = ""
    if view is not None:
        rider = f" · {view.ski.rider}" if view.ski.rider else ""
        middle = f" {visible(view.ski.name, 24)} · {stage_words(view)}{rider}"
    if len(left) + len(middle) + len(right) > width:
        left = ""  # ski, stage and rider matter more than whose bench this is
    room = max(width - len(left) - len(right), 0)
    return styled((left, "bold"), padded(middle, room), (right, "bold"))


def danger_rows(state: BenchState, width: int) -> list[Content]:
    """Return what is dangerous about the ski in hand, which is above everything else, then that
    another bench has it or set it too."""
    if state.view is None:
        return []
    others = [state.clash, state.elsewhere]
    said = [*dangers_of(state.view), *(Said(Importance.WRONG, words) for words in others if words)]
    rows = []
    for each in said:  # what is dangerous is told whole, the rest in two rows: help has it in full
        most = None if each.importance is Importance.DANGER else 2
        look = look_of(each.importance)
        rows += [(part, look) for part in wrapped(each.signed, width - 2)[:most]]
    return [styled((f" {padded(part, width - 2)} ", look)) for part, look in rows]


def roster(state: BenchState, width: int, height: int) -> Content:
    """Return the day's queue: the ski in hand marked, each with its stage in a sign and a word."""
    if not state.roster:
        words = ("No ski in today's queue.", "", "Enter adds a ski; then it is listed here.")
        return lines(paragraphs(words, width))
    here, count = state.position or 0, len(state.roster)
    first, room = _roster_rows(state, height)
    out: list[Content] = []
    for i, line in enumerate(state.roster[first : first + room], first):
        at = f"{i + 1:>{len(str(count))}}"
        out += _queued(at, line, i == here and state.view is not None, width)
    if count > room:
        more = f"   {first} above, {max(count - first - room, 0)} below"
        out.append(styled((visible(more, width), "$ink-faint")))
    return lines(out)


WIDE_FROM = 110
"""Cells from which the top line says more of how the book is shared."""

SKI_ROWS = 2
"""Rows that a ski of the queue takes."""


def _roster_rows(state: BenchState, height: int) -> tuple[int, int]:
    """Return the first ski of the queue that is seen, and how many there is room for."""
    count = len(state.roster)
    room = max((height - (count > height // SKI_ROWS)) // SKI_ROWS, 1)
    first = first_seen(state.position or 0, count, room) + state.scrolled
    return min(max(first, 0), max(count - room, 0)), room


def scrolled(state: BenchState, height: int, by: int) -> int:
    """Return how far the list of the queue is moved, ``by`` skis further; the ends stop it."""
    first, room = _roster_rows(state, height)
    count = len(state.roster)
    moved = min(max(first + by, 0), max(count - room, 0))
    return moved - first_seen(state.position or 0, count, room)


def ski_at(state: BenchState, height: int, y: int) -> RosterLine | None:
    """Return the ski of the queue that is in a row of its panel, None where none does."""
    first, room = _roster_rows(state, height)
    seen = state.roster[first : first + room]
    return seen[y // SKI_ROWS] if 0 <= y < SKI_ROWS * len(seen) else None


@lru_cache(maxsize=256)
def _queued(at: str, line: RosterLine, marked: bool, width: int) -> tuple[Content, Content]:
    """Return one ski of the queue on its two lines; kept, since each key draws them again.

    ``at`` is its number in the queue, the one that ``take`` wants; its stage is a sign and a word.
    """
    stage, due = f"{line.glyph} {line.stage_words}", visible(line.due, LONGEST_DUE)
    mark = f"{'▸' if marked else ' '}{at} "
    name = visible(line.ski_name, max(width - len(mark) - 1 - len(due), 8))
    gap = " " * max(width - len(mark) - len(due) - styled(name).cell_length, 1)
    room = max(width - 3 - len(stage), 4)
    rider = padded(line.rider, room, right=True)
    first = styled((f"{mark}{name}", "bold" if marked else ""), (gap + due, "$ink-faint"))
    if line.loose:  # louder than the stage and the rider, whose place it takes
        loose = Said(Importance.DANGER, LOOSE_SHORT).signed
        left = visible(f"  {stage}", max(width - 2 - len(loose), 0))
        return first, styled("  ", (loose, look_of(Importance.DANGER)), left)
    return first, styled(f"  {stage} ", (rider, "$ink-faint"))


def has_target(state: BenchState) -> bool:
    """Whether there is a target to show or to set."""
    view = state.view
    return view is not None and bool(view.progress.targets or view.stage == "target")


def target(state: BenchState, width: int, height: int) -> Content:
    """Return target, tolerance and miss of each reading, in signs and words."""
    view = state.view
    if view is None:
        return BLANK
    if not has_target(state):
        nothing = "A re-check looks and sets nothing."
        later = "Set once the readings are taken and the studs touch."
        words = nothing if view.job.kind == "recheck" else later
        return lines(paragraph(words, width, "$ink-faint"))
    roomy = _is_roomy(view, height)
    fits = all(cell_len(x.method.name) + len(_aim_words(x, state.unit)) < width for x in view.lines)
    out: list[Content] = []
    for line in view.lines:
        out += (
            _aim(line, state.unit, width)
            if roomy
            else [_aim_in_one(view, line, state.unit, width, fits)]
        )
    if view.stage == "target":
        change = CHANGE_SUCH_AS[state.unit]
        hint = f"a sign starts a change: {change}"
        if view.baseline is not None:
            hint = f"{state.keys.of('baseline') or '/'}: the baseline; {change}: a change"
        rows = paragraph(hint, width, "$ink-faint")
        if len(out) + len(rows) <= height:  # half a hint is none
            out += rows
    if view.ski.has_wing and len(out) < height:
        out.append(styled(_wing_words(view)))
    return lines(out)


def _is_roomy(view: JobView, height: int) -> bool:
    return height >= 2 * len(view.lines)


def target_at(state: BenchState, height: int, y: int) -> int | None:
    """Return the index of the reading whose target is drawn in a row; None where none is."""
    view = state.view
    if view is None or not has_target(state):
        return None
    index = y // (2 if _is_roomy(view, height) else 1)
    return index if 0 <= index < len(view.lines) else None


def _wing_words(view: JobView) -> str:
    """Return the wing's angle as set, else as wanted."""
    if view.wing_set_deg is not None:
        return f"wing {view.wing_set_deg:g}° set"
    wanted = view.wing_wanted_deg
    if wanted is None:
        return "wing not set yet"
    return f"wing {wanted:g}° wanted{f', {view.wing_wanted_hold}' if view.wing_wanted_hold else ''}"


def _aim(line: Line, unit: Unit, width: int) -> list[Content]:
    """Return one target on two lines: what is aimed at and why, then how far off it is."""
    if line.target_mm is None:
        word = "   none yet: stays where it is"
        word = word if len(word) <= width else "   none yet: stays"
        return [styled(visible(line.method.name, width)), styled((word, "$ink-faint"))]
    aim = f"   {length_text(line.target_mm, unit)} ±{fine_text(line.tolerance_mm, unit)}"
    kind = "held" if line.target is None else line.target.kind
    words, style = _standing(line)
    if words and line.now_mm is not None:
        words += f" {change_between(line.target_mm, line.now_mm, unit)}"
    if cell_len(aim) + 2 + cell_len(words) > width:
        aim = f" {length_text(line.target_mm, unit)}"
    return [
        styled(visible(line.method.name, width - 10), (f"  {kind}", "$ink-faint")),
        styled((aim, "bold"), "  ", (words, style)),
    ]


def _aim_words(line: Line, unit: Unit) -> str:
    if line.target_mm is None:
        return "none yet"
    return f"{length_text(line.target_mm, unit)} ±{fine_text(line.tolerance_mm, unit)}"


def _aim_in_one(view: JobView, line: Line, unit: Unit, width: int, fits: bool) -> Content:
    """Return one target on a single line, where an entry takes the room.

    Where the names would not fit beside it, the tolerance is left out; once the reading is taken,
    how it compares with the target takes that place.
    """
    words, style = _standing(line)
    sign = f" {words}" if words else ""
    aim = _aim_words(line, unit)
    aim = aim if fits and not sign else aim.partition(" ±")[0]
    room = max(width - len(aim) - cell_len(sign) - 1, 4)
    name = padded(fitted_name(view, line.method, room), room)
    return styled(f"{name} ", (aim, "bold"), (sign, style))


def _standing(line: Line) -> tuple[str, str]:
    """Return in a sign and a word how a reading meets its tolerance, and their style.

    It is surely within, within but not clear, or out; nothing without a target or a reading.
    """
    if line.off_mm is None or line.nearness is None:
        return "", ""
    sign, word = NEARNESS_SIGNS[line.nearness]
    if line.nearness == "out":
        sign, word = ("▲", "over") if line.off_mm > 0 else ("▼", "under")
        return f"{sign} {word}", "bold $state-outside"
    state = "$state-within" if line.nearness == "sure" else "$state-caution"
    return f"{sign} {word}", f"bold {state}"


def picture(state: BenchState, width: int, height: int) -> Content:
    """Return the side view: now against wanted, the difference enlarged and the factor stated."""
    view = state.view
    if view is None or width < 10 or height < 4:
        return BLANK
    wanted = view.plan.wanted if view.plan is not None and view.progress.targets else None
    misfit = (
        view.pose is None
        and not view.rig.missing
        and all(line.now_mm is not None for line in view.lines)
    )
    said = "no place of the blade gives these" if misfit else ""
    due = act_due(view).turn if view.stage == "turning" and view.plan is not None else None
    lit = due.stud.name if due is not None else ""
    out = ""
    if view.pose is not None and height >= EXPOSED_FROM:
        out = exposed_at(view.rig, view.pose, state.unit)
        height -= 1
    area = Area(width, height - 1, state.drawing)
    drawn = _drawn(view.rig, view.pose, wanted, area, said, lit)
    return lines([drawn, styled((_figures_that_fit(out, width), "$ink-faint"))]) if out else drawn


def _figures_that_fit(words: str, width: int) -> str:
    """Return the first of the figures between commas, as many as fit whole."""
    parts = words.split(", ")
    while len(parts) > 1 and len(", ".join(parts)) > width:
        parts.pop()
    return visible(", ".join(parts), width)


EXPOSED_FROM = 12
"""Rows from which the side view says what is exposed."""


@lru_cache(maxsize=8)
def exposed_at(rig: Rig, pose: Pose, unit: Unit) -> str:
    """Return what is exposed there in little room, or nothing where nothing is."""
    found = exposure_at(rig, pose)
    return exposed_short(found.seen, unit) if found is not None else ""


def warned_picture(state: BenchState, width: int, height: int) -> Content:
    """Return the side view with the warnings below it, for use in place of the turns."""
    said = warnings(state)
    room = min(rows_of(said, width), WARNED_ROWS, max(height - LEAST_PICTURE, 1))
    if not room:
        return picture(state, width, height)
    told = warned(said, width, room)
    drawn = picture(state, width, height - room)
    rows = drawn.split("\n", allow_blank=True) if drawn.plain else []
    return lines([*rows, *told])


@lru_cache(maxsize=8)
def _drawn(
    rig: Rig, pose: Pose | None, wanted: Pose | None, area: Area, said: str = "", lit: str = ""
) -> Content:
    shown = side_view(rig, pose, wanted, area, lit=lit)
    rows = shown.canvas.contents(lambda ink: INKS.get(str(ink)) or color_of(ink))
    caption = said or shown.caption
    if cell_len(caption) > area.width:  # the factor is what must not be cut
        caption = caption.replace("difference ", "")
    rows.append(styled((visible(caption, area.width), "$ink-faint")))
    return lines(rows)
