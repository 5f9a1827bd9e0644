"""A job and the day's queue for machines: plain values in one unit, full precision."""

from __future__ import annotations

from collections.abc import Sequence

from workbench.fin.plan.plan import StudTurn
from workbench.measure.units import MM_PER, Unit
from workbench.work.job.job_view import JobView
from workbench.work.job.queue_line import RosterLine
from workbench.work.job_text.job_text import warning_lines
from workbench.work.job_text.tasks import caution_words, task_of
from workbench.work.trust.job_reading import Line

Json = dict[str, object]


def queue_report(day: str, lines: Sequence[RosterLine]) -> Json:
    """Return a day's queue."""
    return {"day": day, "queue": [ski_report(i, line) for i, line in enumerate(lines, 1)]}


def ski_report(number: int, line: RosterLine) -> Json:
    """Return a line of the queue."""
    return {
        "number": number,
        "job": line.job_id,
        "ski": line.ski_name,
        "rider": line.rider,
        "serial": line.serial,
        "due": line.due,
        "kind": line.kind,
        "day": line.day,
        "stage": line.stage,
        "round": line.pass_number,
        "note": line.note,
        "set_aside": line.reason,
        "clamp_bolts_loose": line.loose,
        "not_released": line.unreleased,
    }


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
        "readings": [_reading(i, each, unit) for i, each in enumerate(view.lines, 1)],
        "finest_turn": view.finest_turn,
        "studs": [_stud(t) for t in plan.turns] if plan is not None else [],
        "predicted": [
            {
                "method": p.method.name,
                "after": p.after_mm / MM_PER[unit],
                "within": p.within,
            }
            for p in (plan.predictions if plan is not None else ())
        ],
        "warnings": [words.removeprefix("Warning: ") for words in warning_lines(view, unit)],
    }


def _reading(number: int, line: Line, unit: Unit) -> Json:
    per = MM_PER[unit]

    def shown(mm: float | None) -> float | None:
        return None if mm is None else mm / per

    return {
        "number": number,
        "method": line.method.name,
        "quantity": line.method.quantity,
        "received": shown(line.received_mm),
        "now": shown(line.now_mm),
        "u": shown(line.u_mm),
        "repeats": len(line.latest),
        "target": shown(line.target_mm),
        "tolerance": line.tolerance_mm / per,
        "off": shown(line.off_mm),
        "state": line.nearness,
    }


def _stud(turn: StudTurn) -> Json:
    return {
        "name": turn.stud.name,
        "turns_exact": turn.exact,
        "u_turns": turn.u_turns,
        "turns": turn.turns,
        "direction": turn.direction,
        "clockwise": turn.stud.clockwise(turn.turns) if turn.turns else None,
    }
