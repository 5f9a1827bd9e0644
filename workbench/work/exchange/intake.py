"""A day's skis from a CSV file into the queue: all of them or none, and a dry run that says why.

A ski that the book knows (by its serial, else by its name) is queued again, any other is added: in
the bench's own unit where the file names none.
What the file says otherwise than the book is a problem to be settled by a person.
"""

from __future__ import annotations

import difflib
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from workbench.errors import BenchError, InputError, shown
from workbench.measure.units import unit_of
from workbench.records.book import UndoneError
from workbench.records.store import rows
from workbench.records.store.row_checks import keepable
from workbench.work.exchange.csv_files import COLUMNS, cell_text, read_csv
from workbench.work.files.safe_write import path_of
from workbench.work.job.shop import Shop
from workbench.work.roster.adding import NONE_YET, Part, is_known, only_real, pick, ski_typed
from workbench.work.roster.parts_typed import yes_or_no
from workbench.work.roster.queue import check_free
from workbench.work.text.words import clean

OTHER_NAMES = {"name": "ski"}
LONGEST_CELL = 1000
SKI_COLUMNS = ("rider", "model", "size")
"""What a file may leave out or repeat of a ski that is known, letter for letter."""


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong with a row: the line it begins on, and words that name column and value."""

    line: int
    words: str


@dataclass(frozen=True, slots=True)
class Intake:
    """What a file of skis brought, or would bring: names of skis, or the problems with it."""

    file: str
    dry_run: bool
    added: tuple[str, ...]
    queued: tuple[str, ...]
    problems: tuple[Problem, ...]


@dataclass(frozen=True, slots=True)
class _Line:
    number: int
    cells: Mapping[str, str]

    def __getitem__(self, column: str) -> str:
        return self.cells.get(column, "")


def take_in_skis(shop: Shop, path: str, *, dry_run: bool = False) -> Intake:
    """Queue the skis of a file for the shop's day; where it has problems, nothing is kept.

    Raises:
        InputError: it is no CSV file of skis: its header, encoding or marks are wrong.
    """
    try:
        lines, problems = _lines(path)
    except InputError as why:
        place = "" if why.field == "file" else f", {why.field}"
        raise InputError(f"{shown(path, 300)}{place}", why.value, why.accepted) from None
    return shop.book.batch(_take, _Taking(shop), path, lines, problems, dry_run)


def _take(
    taking: _Taking, path: str, lines: Sequence[_Line], problems: list[Problem], dry_run: bool
) -> Intake:
    for line in lines:
        try:
            taking.take(line)
        except BenchError as why:
            problems.append(Problem(line.number, str(why)))
    found = tuple(sorted(problems, key=lambda problem: problem.line))
    intake = Intake(path, dry_run, tuple(taking.added), tuple(taking.queued), found)
    if dry_run or found:
        raise UndoneError(intake)
    return intake


# Reading -----------------------------------------------------------------------------------


def _lines(path: str) -> tuple[list[_Line], list[Problem]]:
    (number, header), *rest = read_csv(path if path == "-" else str(path_of(path)))
    names = _names(number, header)
    lines, problems = [], []
    for number, row in rest:
        if len(row) != len(names):
            accepted = f"{len(names)} cells, as the header has"
            problems.append(Problem(number, f"row: {len(row)} cells — {accepted}"))
            continue
        cells = dict(zip(names, (cell_text(cell.strip()) for cell in row), strict=True))
        try:
            for name, text in cells.items():
                _check_cell(name, text)
        except InputError as why:
            problems.append(Problem(number, str(why)))
            continue
        lines.append(_Line(number, cells))
    if not lines and not problems:
        raise InputError("file", "(a header alone)", "a row for each ski")
    return lines, problems


def _names(number: int, header: Sequence[str]) -> list[str]:
    out: list[str] = []
    for cell in header:
        plain = "_".join(cell.replace("-", " ").replace("_", " ").split()).casefold()
        name = OTHER_NAMES.get(plain, plain)
        if name not in COLUMNS:
            near = difflib.get_close_matches(name, COLUMNS, 1)
            hint = f"did you mean '{near[0]}'? " if near else ""
            known = ", ".join(COLUMNS).replace("_", " ")
            raise InputError(f"line {number}, header", cell, f"{hint}columns known here: {known}")
        if name in out:
            raise InputError(f"line {number}, header", cell, "each column once")
        out.append(name)
    if "ski" not in out:
        raise InputError(f"line {number}, header", ", ".join(header), "a column 'ski' (or 'name')")
    return out


def _check_cell(name: str, text: str) -> None:
    keepable(name, text)
    if len(text) > LONGEST_CELL:
        raise InputError(name, text, f"at most {LONGEST_CELL} characters")


# Row by row --------------------------------------------------------------------------------


@dataclass(slots=True)
class _Taking:
    """What the book holds as rows come in, looked up once."""

    shop: Shop
    added: list[str] = field(default_factory=list)
    queued: list[str] = field(default_factory=list)
    by_serial: dict[str, list[rows.Ski]] = field(init=False)
    by_name: dict[str, list[rows.Ski]] = field(init=False)
    lines: dict[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        book = self.shop.book
        self.by_serial, self.by_name = defaultdict(list), defaultdict(list)
        for ski in book.skis():
            self._know(ski)

    def _know(self, ski: rows.Ski) -> None:
        self.by_name[ski.name.casefold()].append(ski)
        if ski.serial:
            self.by_serial[ski.serial.casefold()].append(ski)

    def take(self, line: _Line) -> None:
        """Queue the ski of a row, added first where it is new."""
        ski = self._known(line)
        if ski is None:
            ski = self.shop.book.add_ski(self._typed(line), who=self.shop.who)
            self._know(ski)
            self.added.append(ski.name)
        else:
            self._check_same(line, ski)
            self._check_free(ski)
            self.queued.append(ski.name)
        self.lines[ski.id] = line.number
        self.shop.queue(ski.id, line["due"], note=line["note"])

    def _known(self, line: _Line) -> rows.Ski | None:
        name, serial = line["ski"], line["serial"]
        if not name:
            raise InputError("ski", name, "a name that is not empty")
        named = self.by_name.get(name.casefold(), [])
        if not serial:
            if len(named) > 1:
                raise InputError("ski", name, f"its serial too: {len(named)} skis are called so")
            return named[0] if named else None
        found = self.by_serial.get(serial.casefold(), [])
        if len(found) > 1:
            raise InputError("serial", serial, f"a serial of one ski; {len(found)} have this one")
        if found and found[0].name.casefold() != name.casefold():
            if found[0].id in self.lines:
                accepted = f"a serial of its own; line {self.lines[found[0].id]} has this one"
                raise InputError("serial", serial, accepted)
            accepted = f"{shown(found[0].name)}, which has this serial in the book"
            raise InputError("ski", name, accepted)
        if not found and any(not ski.serial for ski in named):
            accepted = "blank: the ski of this name has no serial in the book; correct it there"
            raise InputError("serial", serial, accepted)
        return found[0] if found else None

    def _typed(self, line: _Line) -> rows.Ski:
        fields = {**line.cells, "name": line["ski"]}
        book = self.shop.book
        fields["blade"] = line["blade"] or only_real(book.blades())
        fields["block"] = line["block"] or only_real(book.blocks())
        return ski_typed(self.shop, fields)

    def _check_same(self, line: _Line, ski: rows.Ski) -> None:
        """Refuse what the row says otherwise than the book; a blank says nothing."""
        book = self.shop.book
        for column in SKI_COLUMNS:
            _same(column, line[column], getattr(ski, column))
        _same("ski_note", line["ski_note"], ski.note)
        if line["unit"] and unit_of(line["unit"]) != ski.unit:
            _same("unit", line["unit"], ski.unit)
        if line["wing"] and yes_or_no(line["wing"], "wing") != ski.has_wing:
            _same("wing", line["wing"], "yes" if ski.has_wing else "no")
        _same_part(line["blade"], book.blade(ski.blade_id), book.blades(), "blade")
        _same_part(line["block"], book.block(ski.block_id), book.blocks(), "block")

    def _check_free(self, ski: rows.Ski) -> None:
        if ski.id in self.lines:
            accepted = f"each ski once; line {self.lines[ski.id]} has it"
            raise InputError("ski", ski.name, accepted)
        check_free(self.shop, ski.id)


def _same_part(given: str, ours: Part, known: Sequence[Part], column: str) -> None:
    """Take a part's name or its number in the list; two parts may have one name."""
    if given.casefold() == NONE_YET and not is_known(ours):
        return
    if given.casefold() != ours.name.casefold() and given and pick(given, known, column) != ours:
        _same(column, given, ours.name)


def _same(column: str, given: str, ours: str) -> None:
    if given and given.casefold() != ours.strip().casefold():
        raise InputError(column, given, f"blank, or {shown(ours)} as the book has it")


# In words ----------------------------------------------------------------------------------


def intake_lines(intake: Intake) -> list[str]:
    """Return what came of a file of skis: a line for each problem, or what was queued."""
    if intake.problems:
        found = [f"✗ line {each.line}, {clean(each.words)}" for each in intake.problems]
        one = len(found) == 1
        return [*found, f"{len(found)} row{'' if one else 's'} to put right; nothing was taken in"]
    total = len(intake.added) + len(intake.queued)
    verb = "would be" if intake.dry_run else "was" if total == 1 else "were"
    skis = "ski" if total == 1 else "skis"
    first = f"{total} {skis} {verb} queued: {len(intake.added)} new, {len(intake.queued)} known"
    new = [f"+ {clean(name)} (new)" for name in intake.added]
    return [first, *new, *(f"+ {clean(name)}" for name in intake.queued)]
