"""A job in full: as plain lines, one fact a line, for screen readers, scripts and bare terminals;
and with the day's queue as plain values for machines.

Pure text from a view; nothing here needs a sign that a letter cannot stand for.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from workbench.advice.checklists import STEPS, WING_SOURCE
from workbench.fin.plan.plan import StudTurn
from workbench.measure.display import change_between, fine_text, length_text
from workbench.measure.units import MM_PER, Unit
from workbench.work.job.coarse_marks import mark_place, off_words
from workbench.work.job.job_view import CoarseMark, JobView, RosterLine
from workbench.work.job.temperature import in_force_words
from workbench.work.job_text.budget_explained import (
    budget_lines,
    budget_report,
    doubtful_words,
    improve_words,
    meaning_words,
    origins_of,
    trust_of,
)
from workbench.work.job_text.setting_words import hold_words, moved_words, place_words
from workbench.work.job_text.tasks import caution_words, task_of
from workbench.work.job_text.view_words import (
    Importance,
    Said,
    act_due,
    eyes_words,
    in_order,
    said_before_turns,
    said_of,
    stage_words,
)
from workbench.work.text.words import clean, step_words, turn_words
from workbench.work.trust.job_reading import WITHIN, Line
from workbench.work.trust.wing_setup import setting_words

NOT_YET = "not read yet"


def job_lines(view: JobView, unit: Unit, number: int, line: RosterLine, ski: str) -> list[str]:
    """Return where a ski is, what to do now, readings, targets, turns and cautions.

    ``number`` is its place in the queue, ``line`` its line there; ``ski`` the option that names it
    in the commands shown, blank where it is in hand.
    """
    return [
        *ski_lines(view, number, line, not ski),
        *next_lines(view, ski),
        *job_reading_lines(view, unit),
        *mark_lines(view, unit),
        *turn_lines(view, unit),
        *wing_lines(view),
        *warning_lines(view, unit),
    ]


def ski_lines(view: JobView, number: int, line: RosterLine, in_hand: bool) -> list[str]:
    """Return which ski it is and the stage it is at."""
    who = [clean(x) for x in (line.ski_name, line.rider) if x]
    serial = [f"serial {clean(line.serial)}"] if line.serial else []
    due = f", due {clean(line.due)}" if line.due else ""
    kind = ", re-check after the ride" if line.kind == "recheck" else ""
    held = ", in hand" if in_hand else ""
    out = [
        f"Ski: {', '.join([*who, *serial])}.",
        f"Queue: number {number}{due}{kind}{held}.",
        f"Stage: {stage_words(view)}.",
    ]
    notes = ("Note", line.note), ("Ski note", line.ski_note)
    return [*out, *(f"{name}: {clean(text)}" for name, text in notes if text)]


def next_lines(view: JobView, ski: str) -> list[str]:
    """Return what to do now, how, and the caution that belongs there."""
    task = task_of(view)
    out = [f"Next: {task.words}"]
    for i, command in enumerate(task.commands):
        out.append(f"{'Or' if i else 'Command'}: {typed(command, ski)}")
    caution = caution_words(view, at_check=view.check_due is not None)
    return [*out, *([f"Caution: {caution}"] if caution != task.words else [])]


def typed(command: str, ski: str) -> str:
    """Return a command as it is typed; ``ski`` names a ski that is not in hand."""
    name, _, rest = command.partition(" ")
    words = ("quarterturn", name, "" if name == "queue" else ski, rest)
    return " ".join(word for word in words if word)


def refused_words(view: JobView, ski: str) -> str:
    """Return what to do instead of what is not allowed now, and by which command."""
    task = task_of(view)
    return f"do this first: {task.words} {typed(task.commands[0], ski)}"


def job_reading_lines(view: JobView, unit: Unit) -> list[str]:
    """Return each reading: its method, as received, now, its target, and how it compares."""
    numbered = enumerate(view.lines, 1)
    if view.job.kind == "recheck":
        return [_locked(n, line, unit) for n, line in numbered if line.locked_mm is not None]
    return [said for n, line in numbered for said in _reading(n, line, unit)]


def _reading(number: int, line: Line, unit: Unit) -> Iterator[str]:
    name = f"Reading {number}"
    yield f"{name}: {clean(line.method.name)}"
    if line.received_mm is not None and line.received_mm != line.now_mm:
        yield f"{name} as received: {length_text(line.received_mm, unit)} {unit}"
    yield f"{name} now: {now_words(line, unit)}"
    if line.target_mm is not None:
        held = "" if line.target is not None else ", kept as received"
        yield (
            f"{name} target: {length_text(line.target_mm, unit)} {unit}, "
            f"within {fine_text(line.tolerance_mm, unit)} {unit}{held}"
        )
    if line.target_mm is not None and line.now_mm is not None and line.nearness is not None:
        off = change_between(line.target_mm, line.now_mm, unit)
        yield f"{name} off: {off} {unit}, {WITHIN[line.nearness]}"
    if line.target is not None and line.change_wanted is not None and line.off_mm:
        yield f"{name} change wanted: {line.change_wanted.words(unit)}"
    if line.locked_mm is not None:
        yield _locked(number, line, unit)


def _locked(number: int, line: Line, unit: Unit) -> str:
    moved, text = moved_words(line, unit), length_text(line.locked_mm or 0.0, unit)
    said = f"Reading {number} with the bolts tight: {text} {unit}"
    return f"{said}; {moved}" if moved else said


def now_words(line: Line, unit: Unit) -> str:
    """Return what a reading says now, its standard uncertainty and how many repeats there are."""
    if line.now_mm is None or line.u_mm is None:
        return NOT_YET
    count = len(line.latest)
    repeats = "" if count == 1 else f", mean of {count}"
    u = fine_text(line.u_mm, unit)
    return f"{length_text(line.now_mm, unit)} {unit}, u {u} {unit}{repeats}"


def mark_lines(view: JobView, unit: Unit) -> list[str]:
    """Return each coarse mark read in this round, and how it compares with the readings."""
    read = ((i, m, _mark_read(m, unit)) for i, m in enumerate(view.marks, 1))
    return [f"Mark {i}: {clean(mark.method.name)}: {words}" for i, mark, words in read if words]


def _mark_read(mark: CoarseMark, unit: Unit) -> str:
    if mark.reading is None:
        return ""
    return f"{length_text(mark.reading.value_mm, unit)} {unit}, {off_words(mark, unit)}"


def _has_turns(view: JobView) -> bool:
    """Whether turns are to be shown: there is a plan, and something is aimed at."""
    if view.plan is None or not view.progress.targets:
        return False
    return view.stage in ("target", "turning", "within")


def turn_lines(view: JobView, unit: Unit) -> list[str]:
    """Return the stud turns with their exact figures, the steps, and the readings to expect."""
    if not _has_turns(view) or view.plan is None:
        by_hand = view.stage == "turning" and view.rig.missing
        return [*_step_lines(view)] if by_hand else []
    out = [
        f"Stud {clean(t.stud.said)}: {turn_words(t, view.rules.dial)}; "
        f"exact {_signed(t.exact)} turns, u {t.u_turns:.3f} turns"
        for t in view.plan.turns
    ]
    if view.stage == "turning" and view.has_round:
        out += [*_step_lines(view), *_expect_lines(view, unit)]
    return out + [
        f"After these turns: {clean(p.method.name)} {length_text(p.after_mm, unit)} {unit}, "
        f"{'within' if p.within else 'outside'}"
        for p in view.plan.predictions
    ]


def _signed(turns: float) -> str:
    return f"{'+' if turns >= 0 else '−'}{abs(turns):.3f}"


def _step_lines(view: JobView) -> Iterator[str]:
    steps, at = view.steps, view.progress.step
    for i, step in enumerate(steps):
        state = "done" if i < at else "now" if i == at else "later"
        yield f"Step {i + 1} of {len(steps)}, {state}: {step_words(step, view.rules.dial)}"


def _expect_lines(view: JobView, unit: Unit) -> list[str]:
    """Return what to expect after the turn that is due."""
    return [
        f"Expect after this turn, seated: {clean(method.name)} {length_text(mm, unit)} {unit}"
        for method, mm in act_due(view).expect
    ]


def wing_lines(view: JobView) -> list[str]:
    """Return the wing as it was set, or its screws' order where it is to be set."""
    if not view.ski.has_wing:
        return []
    if view.stage == "wing":
        steps = [f"Wing {i}: {s.name}: {s.words}" for i, s in enumerate(STEPS, 1)]
        return [*steps, f"Wing: {WING_SOURCE}."]
    return [f"Wing: {setting_words(view.wing_set)}"] if view.wing_set is not None else []


def warning_lines(view: JobView, unit: Unit) -> list[str]:
    """Return what speaks against going on, dangers first: limits, readings that do not fit."""
    out = list(said_of(view, unit) if _has_turns(view) else said_before_turns(view, unit))
    for number, line in enumerate(view.lines, 1):
        doubtful = doubtful_words(line, unit, f"quarterturn strike {number} strikes one out")
        if doubtful:
            out.append(Said(Importance.DOUBT, f"{clean(line.method.name)}: {doubtful}"))
    eyes = [eyes_words(view)] if view.stage == "sign-off" and eyes_words(view) else []
    at = in_force_words(view)
    stated = [] if at.startswith("Off") else [f"Temperature: {at}"]
    return [*(f"{_head(each)}: {each.words}" for each in in_order(out)), *eyes, *stated]


def _head(said: Said) -> str:
    return "Danger" if said.importance is Importance.DANGER else "Warning"


def after_lines(
    view: JobView, unit: Unit, ski: str, said: str, warned: Iterable[str] = ()
) -> list[str]:
    """Return what an act did, what warns, the stage it led to, and what to do next."""
    expect = _expect_lines(view, unit) if view.stage == "turning" and view.steps else []
    return [
        f"Done: {clean(said)}.",
        *(f"Warning: {clean(words)}" for words in warned if words),
        *warning_lines(view, unit),
        f"Stage: {stage_words(view)}.",
        *next_lines(view, ski),
        *expect,
    ]


# -- for machines: in one unit, full precision ----------------------------------------------------

Json = dict[str, object]


def queue_report(day: str, lines: Sequence[RosterLine]) -> Json:
    """Return a day's queue."""
    return {"day": day, "queue": [ski_report(i, line) for i, line in enumerate(lines, 1)]}


def ski_report(number: int, line: RosterLine) -> Json:
    """Return a line of the queue."""
    return {
        "number": number, "job": line.job_id, "ski": line.ski_name, "rider": line.rider,
        "serial": line.serial, "due": line.due, "kind": line.kind, "day": line.day,
        "stage": line.stage, "round": line.pass_number, "note": line.note,
        "set_aside": line.reason, "clamp_bolts_loose": line.loose, "not_released": line.unreleased,
    }  # fmt: skip


def job_report(view: JobView, unit: Unit, number: int, line: RosterLine) -> Json:
    """Return where a ski is: lengths in ``unit``, turns positive in."""
    task = task_of(view)
    plan = view.plan if view.progress.targets else None
    return {
        "unit": unit,
        **ski_report(number, line),
        "stage": view.stage,
        "next": {"words": task.words, "commands": [f"quarterturn {c}" for c in task.commands]},
        "caution": caution_words(view, at_check=view.check_due is not None),
        "check": [
            {"item": item.key, "words": item.words, "ticked": item.key in view.progress.ticked}
            for item in view.checklist
        ],
        "readings": [_reading_report(i, each, unit) for i, each in enumerate(view.lines, 1)],
        "finest_turn": view.finest_turn,
        "studs": [_stud_report(t) for t in plan.turns] if plan is not None else [],
        "predicted": [
            {"method": p.method.name, "after": p.after_mm / MM_PER[unit], "within": p.within}
            for p in (plan.predictions if plan is not None else ())
        ],
        "warnings": [words.removeprefix("Warning: ") for words in warning_lines(view, unit)],
    }


def _reading_report(number: int, line: Line, unit: Unit) -> Json:
    per = MM_PER[unit]

    def shown(mm: float | None) -> float | None:
        return None if mm is None else mm / per

    return {
        "number": number, "method": line.method.name, "quantity": line.method.quantity,
        "received": shown(line.received_mm), "now": shown(line.now_mm), "u": shown(line.u_mm),
        "repeats": len(line.latest), "target": shown(line.target_mm),
        "tolerance": line.tolerance_mm / per, "off": shown(line.off_mm), "state": line.nearness,
    }  # fmt: skip


def _stud_report(turn: StudTurn) -> Json:
    return {
        "name": turn.stud.name, "turns_exact": turn.exact, "u_turns": turn.u_turns,
        "turns": turn.turns, "direction": turn.direction,
        "clockwise": turn.stud.clockwise(turn.turns) if turn.turns else None,
    }  # fmt: skip


def how_taken_lines(view: JobView, unit: Unit, one: Line | None = None) -> list[str]:
    """Return how each reading is taken, or one of them, and how sure it is once it is taken."""
    out: list[str] = []
    for number, line in _numbered(view, one):
        name = f"Reading {number}"
        out += [f"{name}: {clean(line.method.name)}", clean(place_words(line.method, unit))]
        out += list(hold_words(line.method))
        out += [f"{name}: {clean(words)}" for words in trust_lines(view, line, unit)]
    return out


def _numbered(view: JobView, one: Line | None) -> list[tuple[int, Line]]:
    """Return each reading with its number, or one of them."""
    wanted = None if one is None else one.method_id
    return [x for x in enumerate(view.lines, 1) if wanted in (None, x[1].method_id)]


def trust_lines(view: JobView, line: Line, unit: Unit) -> list[str]:
    """Return what a reading of this round means and how sure it is; nothing before it is taken."""
    if line.taken is None:
        return []
    trust = trust_of(view, line)
    origins = [f"{what}: {whence}" for what, whence in origins_of(trust)]
    budget = budget_lines(trust, unit)
    return [*meaning_words(trust, unit), *origins, *budget, improve_words(trust, unit)]


def how_taken_report(view: JobView, unit: Unit, one: Line | None = None) -> dict[str, object]:
    """Return how each reading is taken, or one of them, and its budget once it is taken."""
    return {
        "unit": unit,
        "ski": view.ski.name,
        "readings": [
            {
                "number": number,
                "method": line.method.name,
                "place": place_words(line.method, unit),
                "hold": list(hold_words(line.method)),
                "budget": budget_report(trust_of(view, line), unit) if line.taken else None,
            }
            for number, line in _numbered(view, one)
        ],
    }


def all_mark_lines(view: JobView, unit: Unit) -> list[str]:
    """Return every coarse mark of the blade: where it is read, what it should read, and reads."""
    out: list[str] = []
    for number, mark in enumerate(view.marks, 1):
        name = f"Mark {number}"
        out += [f"{name}: {clean(mark.method.name)}", mark_place(mark.method, unit)]
        if mark.expected_mm is not None:
            out.append(f"{name} by the readings: {length_text(mark.expected_mm, unit)} {unit}")
        if read := _mark_read(mark, unit):
            out.append(f"{name} read: {read}")
    return out or ["No coarse mark on this blade yet: quarterturn add-mark NAME"]
