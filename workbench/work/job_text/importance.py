"""How much each thing that is said matters: one ladder, for screen, paper and command line alike.

What belongs to a lower step never displaces or shrinks what belongs to a higher one.
"""

from __future__ import annotations

from collections.abc import Iterable
from enum import IntEnum
from typing import assert_never

from workbench.fin.plan.guidance import StudLimitError
from workbench.fin.plan.plan import Remark
from workbench.frozen import dataclass
from workbench.measure.units import Unit
from workbench.work.job.coarse_marks import suspect_words
from workbench.work.job.job_view import JobView
from workbench.work.job_text.view_words import (
    corrected_words,
    stand_in_words,
    trouble_words,
    unreleased_words,
)
from workbench.work.text.words import BOLTS_LOOSE, REFITTED_LOOSE, remark_words
from workbench.work.trust.plausibility import made_words


class Importance(IntEnum):
    """The steps of the ladder, the highest first."""

    DANGER = 0
    WRONG = 1
    DOUBT = 2
    FIGURES = 3

    @property
    def sign(self) -> str:
        """The sign that goes before what is said."""
        return ("!!", "!", "?", "·")[self]


@dataclass(frozen=True, slots=True)
class Said:
    """Something to be said, and how much it matters."""

    importance: Importance
    words: str

    @property
    def signed(self) -> str:
        """The words behind the sign of their step."""
        return f"{self.importance.sign} {self.words}"


def of_remark(remark: Remark) -> Importance:
    """Return how much a remark on a plan matters."""
    match remark.code:
        case "off_edge" | "travel_limit":
            return Importance.DANGER
        case "near_limit" | "apart" | "still_off":
            return Importance.WRONG
        case "tilt" | "ambiguous" | "no_tail":
            return Importance.DOUBT
        case "rough" | "coarse" | "insignificant" | "within":
            return Importance.FIGURES
        case _:
            assert_never(remark.code)


def in_order(said: Iterable[Said]) -> tuple[Said, ...]:
    """Return what is said, the most important first; what matters alike stays in its order."""
    return tuple(sorted(said, key=lambda each: each.importance))


def dangers_of(view: JobView) -> tuple[Said, ...]:
    """Return what is dangerous about a ski as it is now, whatever is being done to it."""
    words = [unreleased_words(view), stand_in_words(view)]
    if view.progress.loose and view.stage != "turning":  # there the act due says so
        words.insert(0, REFITTED_LOOSE if view.progress.state.refitted else BOLTS_LOOSE)
    return tuple(Said(Importance.DANGER, text) for text in words if text)


def said_before_turns(view: JobView, unit: Unit) -> tuple[Said, ...]:
    """Return what is to be said whether there are turns or not."""
    out = list(dangers_of(view))
    if view.why is not None:
        danger = isinstance(view.why, StudLimitError)  # a stud out of its travel
        step = Importance.DANGER if danger else Importance.WRONG
        out.append(Said(step, trouble_words(view, unit)))
    out += [Said(Importance.WRONG, words) for words in corrected_words(view)]
    made = made_words(view.made, unit)
    out += [Said(Importance.WRONG, made)] if made else []
    out += [Said(Importance.DOUBT, words) for words in suspect_words(view, unit)]
    if view.learnt is not None and view.learnt.thread_asked:
        out.append(Said(Importance.DOUBT, view.learnt.thread_asked))
    return in_order(out)


def said_of(view: JobView, unit: Unit) -> tuple[Said, ...]:
    """Return all that is to be said of a ski's readings, target and turns, dangers first."""
    out = list(said_before_turns(view, unit))
    if view.why is not None or view.plan is None or not view.progress.targets:
        return in_order(out)
    for remark in view.plan.remarks:
        if remark.code == "within" and view.stage != "target":
            continue
        if remark.code == "insignificant" and view.plan.within:
            continue
        out.append(Said(of_remark(remark), remark_words(remark, unit, view.finer)))
    return in_order(out)
