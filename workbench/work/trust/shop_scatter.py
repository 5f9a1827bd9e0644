"""The shop's own scatter of a reading, as its finished repeatability studies measured it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from workbench.fin.reading.method import TRAITS, Method
from workbench.frozen import dataclass
from workbench.measure.budget import REPEATABILITY_MM
from workbench.measure.repeats import Repeats, Scatter, scatter_of
from workbench.work.text.words import clean

if TYPE_CHECKING:  # a work order knows no book
    from workbench.records.book import Book


@dataclass(frozen=True, slots=True)
class StudyScatter:
    """What a finished study found: the scatter (mm) of one reading by one person of one part.

    ``of`` is what it read, in small letters, ``source`` names it in words, and ``done`` is the id
    of its last reading: it says nothing about what was read before.
    """

    of: str
    scatter: Scatter
    source: str
    done: str


def scatter_for(
    known: Sequence[StudyScatter], method: Method, until: str = ""
) -> StudyScatter | None:
    """Return what the newest study says of readings by this method; None where there is none.

    A study of the method itself goes before one of its quantity, which says nothing of marks read
    by eye. ``until`` is the id of the reading: a study finished after it does not count, so that
    the uncertainty of a reading never changes later. Blank is a reading taken now.
    """
    if not known:  # as in most books: nothing to look through for a million readings
        return None
    before = [s for s in known if not until or s.done < until]
    exact = [s for s in before if s.of == method.name.casefold()]
    if not exact and not method.is_coarse:
        whole = (method.quantity, TRAITS[method.quantity].words)  # of all its methods
        exact = [s for s in before if s.of in whole]
    return max(exact, key=lambda s: s.done, default=None)


def origin_words(measured: StudyScatter | None, repeats: Repeats) -> str:
    """Return where the scatter of these repeats comes from."""
    found = scatter_of(repeats, None if measured is None else measured.scatter)
    these = f"these {repeats.n} repeats"
    if found is None:
        return f"default: {REPEATABILITY_MM:g} mm; no repeatability test of this reading before it"
    if measured is None:
        return these
    if found[1] == "unlike":
        return f"{these}: they scatter more than {measured.source} explains"
    return measured.source if found[1] == "study" else f"{measured.source}, with {these}"


# -- from the book -----------------------------------------------------------------------------

_KEPT = 1024
_found: dict[tuple[str, str], StudyScatter | None] = {}


def scatters_of(book: Book) -> tuple[StudyScatter, ...]:
    """Return what every finished study of the book says, those struck out left aside.

    One that shows no scatter at all says nothing: the display hides it. What was worked out is kept
    by the study and its readings, since every look at a job asks.
    """
    out = []
    for each in book.studies_read():
        if each not in _found:
            while len(_found) >= _KEPT:
                del _found[next(iter(_found))]
            _found[each] = _computed(book, each[0])
        out.append(_found[each])
    return tuple(s for s in out if s is not None)


def _computed(book: Book, study_id: str) -> StudyScatter | None:
    # A book without a study never needs these.
    # The store and the studies: loaded where a book is open, never for an order alone.
    from workbench.work.text.local_time import local
    from workbench.work.trust.study_results import result_of, study_as_is

    view = study_as_is(book, 0, book.study(study_id))
    if view.missing or view.study.struck is not None:
        return None
    result = result_of(view)
    if result.analysis is None or result.without_scatter:
        return None
    last = max(view.live, key=lambda r: r.id)
    when = f"{local(last.at):%Y-%m-%d}, {len(view.live)} readings"
    source = f"repeatability test '{clean(view.study.name)}' ({when})"
    of = view.study.what.strip().casefold()
    return StudyScatter(of, result.analysis.one_person, source, last.id)
