"""Adding to the shop what a form or a command line collected as texts: skis, blades, blocks.

Fields come as a dict of texts; what is left out counts as blank. Every wrong one is an InputError
that names the field, the value and what would be accepted, and then nothing is kept.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TypeVar

from workbench.errors import InputError
from workbench.fin.blade import Blade
from workbench.fin.reading.method import NEEDED, Method
from workbench.places import shipped
from workbench.records.book import Book, whole
from workbench.records.store import rows
from workbench.records.store.row_checks import keepable
from workbench.records.tables.roster import row_of_blade, row_of_method, row_of_stud
from workbench.work.files.table_files import read_table_file
from workbench.work.job.shop import Shop
from workbench.work.order.order_file import DEFAULT_FINEST_TURN
from workbench.work.roster.parts_typed import (
    base_of,
    blade_in,
    blade_typed,
    finest_in,
    finest_of,
    open_parts,
    stock_shop,
    studs_in,
    studs_typed,
    usual_methods,
    yes_or_no,
)
from workbench.work.roster.queue import DUE, queue_again
from workbench.work.roster.settings import tolerance_mm
from workbench.work.text.fields import Field, filled

LONGEST_TEXT = 1000
_STAND_IN = "stand-in"
"""What is typed where the invented blade or block is meant, turns being approximate then."""

NONE_YET = "none"
"""What is typed where the blade or block is not known yet: turns then say what they need."""

NO_BLADE, NO_BLOCK = "No blade yet", "No block yet"
"""How such a part is called in the book."""

_PART = f"by name or number, {_STAND_IN}, or {NONE_YET} where it is not known yet"
_FILE = "a TOML or JSON file with its {}, such as a work order"
_UNIT = Field("unit", "Unit", "in or mm: what lengths here are in", "UNIT", "the bench's")

SKI = (
    Field("name", "Ski", "as written on the ski, such as Heron 66", "NAME"),
    Field("rider", "Rider", "whose ski it is", "NAME", ""),
    Field("serial", "Serial", "its serial number", "TEXT", ""),
    Field("model", "Model", "its model", "TEXT", ""),
    Field("size", "Size", "its size; baselines are found by model and size", "TEXT", ""),
    replace(_UNIT, words="in or mm: what this ski is read in, and what lengths here are in"),
    Field("blade", "Blade", _PART, "BLADE"),
    Field("block", "Block", _PART, "BLOCK"),
    Field("base_radius", "Base radius", "of a base that bulges out, such as 160", "LENGTH", "flat"),
    Field("base_apex", "Base apex", "where it is highest, from the tail end", "LENGTH", "flat"),
    Field("wing", "Wing", "yes or no: has the blade a wing to set?", "YES/NO", None, "no"),
    Field("ski_note", "Note", "about the ski; the queue finds it by this too", "WORDS", ""),
    DUE,
)
"""What is asked of a new ski."""

KNOWN_SKI = (Field("ski", "Ski", "serial or name of a ski that was here before", "SKI"), DUE)
"""What is asked of a ski that is queued again."""

BLADE = (
    Field("name", "Blade", "a name of its own", "NAME"),
    Field("file", "File", _FILE.format("[blade]"), "FILE"),
    _UNIT,
    Field(
        "outline",
        "Outline",
        "forward and outward from the rear end of the top edge: "
        "0 0; 7.3 0; 7.3 0.75; 1.6 3.48; 0 0.9",
        "POINTS",
    ),
    Field("top_edge", "Top edge", "its two ends, where two studs press: 0 0; 7.3 0", "POINTS"),
    Field(
        "back_edge", "Back edge", "its two ends, where the tail stud presses: 0 0; 0 0.9", "POINTS"
    ),
    Field(
        "holes",
        "Holes",
        "name, forward, outward, diameter: 2 1.6 3.0 0.3; 1 0.9 2.7 0.25",
        "HOLES",
        "",
    ),
)
"""What is asked of a new blade: either its file, or what follows that."""

_STUD = "name, top or back, x y, axis x y, thread, hand, tip radius"
BLOCK = (
    Field("name", "Block", "a name of its own", "NAME"),
    Field("finest_turn", "Finest turn", "1/4, 1/8, 1/16 ...; 0 is exact", "TURN", "1/8"),
    Field("file", "File", _FILE.format("[[studs]]"), "FILE"),
    _UNIT,
    Field("stud_1", "Stud 1", f"{_STUD}: front top 6.9 -1.6 0 1 10-32UNF right 0.05", "STUD"),
    Field("stud_2", "Stud 2", f"{_STUD}: rear top 1.5 -1.6 0 1 10-32UNF right 0.05", "STUD"),
    Field("stud_3", "Stud 3", f"{_STUD}: tail back 0.1 -0.6 1 0 M5x0.8 right 0", "STUD"),
)
"""What is asked of a new block: either its file, or its studs."""

_MOST_SHOWN = 12
"""So many names are listed in a message; the rest are counted."""

Part = TypeVar("Part", rows.Blade, rows.Block)


@whole
def add_ski(shop: Shop, fields: Mapping[str, str]) -> str:
    """Keep a new ski of the fields ``SKI`` and put it in today's queue; return the job's id."""
    return _keep_ski(shop, ski_typed(shop, fields), checked_text(fields, "due"))


def ski_typed(shop: Shop, fields: Mapping[str, str]) -> rows.Ski:
    """Return the ski that was typed, not kept yet; ``fields`` are those of ``SKI``."""
    typed = filled(SKI, fields)
    name = checked_name(typed)
    words = ("rider", "serial", "model", "size", "ski_note")
    texts = {key: checked_text(typed, key) for key in words}
    unit = shop.unit_typed(typed["unit"])
    base = base_of(typed["base_radius"], typed["base_apex"], unit)
    wing = yes_or_no(typed["wing"], "wing")
    blade = blade_meant(shop, typed["blade"])
    block = block_meant(shop, typed["block"])
    methods = tuple(m.id for m in first_three(shop.book.methods_of(blade.id)))
    if len(methods) < len(NEEDED):
        raise InputError("blade", blade.name, "a blade with three reading methods")
    apex = None if base.radius_mm is None else base.apex_mm
    return rows.Ski(
        "", name, texts["model"], texts["serial"], texts["rider"], unit, blade.id, block.id,
        base.radius_mm, apex, wing, methods, texts["ski_note"], size=texts["size"],
    )  # fmt: skip


def _keep_ski(shop: Shop, ski: rows.Ski, due: str) -> str:
    same = (ski.name, ski.rider, ski.serial)
    if any((s.name, s.rider, s.serial) == same for s in shop.book.skis()):
        accepted = "a ski that is new: this name, rider and serial are known; queue it instead"
        raise InputError("name", ski.name, accepted)
    kept = shop.book.add_ski(ski, who=shop.who)
    return shop.queue(kept.id, due).id


def queue_known(shop: Shop, fields: Mapping[str, str]) -> str:
    """Put a ski the book knows in today's queue, of ``KNOWN_SKI``; return the job's id.

    Raises:
        InputError: no ski or more than one of that name, or it is in the queue already.
    """
    ski = known_ski(shop, fields.get("ski", ""))
    return queue_again(shop, ski.id, fields.get("due", ""))


def known_ski(shop: Shop, text: str) -> rows.Ski:
    """Return the ski of the book that a person means by its serial or its name.

    Raises:
        InputError: no ski or more than one of that name.
    """
    wanted = text.strip().casefold()
    skis = shop.book.skis()
    found = [s for s in skis if wanted and s.serial.casefold() == wanted] or [
        s for s in skis if s.name.casefold() == wanted
    ]
    if len(found) != 1:
        many = f"{len(found)} skis are called so: give the serial" if found else _known_names(skis)
        raise InputError("ski", text, many)
    return found[0]


def _known_names(skis: Sequence[rows.Ski]) -> str:
    if not skis:
        return "a ski of this book: there is none yet, add one"
    few = " · ".join(s.name[:40] for s in skis[-_MOST_SHOWN:])
    return f"a ski's serial or name, such as {few}"


def add_blade(shop: Shop, fields: Mapping[str, str]) -> str:
    """Keep a new blade of the fields ``BLADE`` with its reading methods; return its id.

    A file may have [[methods]] too. A kind of reading for which there is none gets the usual one.
    """
    methods: tuple[Method, ...] = ()
    typed = filled(BLADE, fields)
    if typed["file"].strip():
        _either_or(typed, ("outline", "top_edge", "back_edge", "holes"))
        blade, methods = blade_in(open_parts(typed["file"]), typed["name"])
        source = typed["file"]
        checked_name({"name": blade.name})
    else:
        checked_name(typed)
        blade = blade_typed(typed, shop.unit_typed(typed["unit"]))
        source = typed["outline"]
    blade = replace(blade, name=blade.name.strip())
    keepable("file", source)
    return keep_blade(shop, row_of_blade(blade, source), _completed(methods, blade))


@whole
def keep_blade(shop: Shop, blade: rows.Blade, methods: Iterable[Method]) -> str:
    """Keep a new blade with its reading methods; return its id.

    Raises:
        InputError: another blade has its name.
    """
    _new_name(blade.name, shop.book.blades(), "blade")
    kept = shop.book.add_blade(blade, who=shop.who)
    for method in methods:
        tolerance = tolerance_mm(shop.book, method)
        shop.book.add_method(row_of_method(method, kept.id, tolerance), who=shop.who)
    return kept.id


def _completed(methods: tuple[Method, ...], blade: Blade) -> tuple[Method, ...]:
    """Add the usual methods of each quantity that is missing, so that any ski can be read."""
    have = {m.quantity for m in methods if not m.is_coarse}
    taken = {m.name for m in methods}
    added = []
    for method in usual_methods(blade):
        if method.quantity not in have:
            while method.name in taken:
                method = replace(method, name=f"{method.name}, usual")
            added.append(method)
    return (*methods, *added)


def first_three(methods: Sequence[rows.Method]) -> tuple[rows.Method, ...]:
    """Return the first method of each of depth, tail and length, in that order, where there is one.

    One of each fixes a pose; two lengths and a tail distance, say, may not. Coarse marks are none
    of them: they are optional.
    """
    fine = [m for m in methods if m.scribe is None]
    out = []
    for quantity in NEEDED:
        out.extend([m for m in fine if m.quantity == quantity][:1])
    return tuple(out)


def add_block(shop: Shop, fields: Mapping[str, str]) -> str:
    """Keep a new block of the fields ``BLOCK`` with its three studs; return its id."""
    typed = filled(BLOCK, fields)
    name, finest = typed["name"], typed["finest_turn"]
    if typed["file"].strip():
        _either_or(typed, ("stud_1", "stud_2", "stud_3"))
        file = open_parts(typed["file"])
        name = name if name.strip() else file.top.text("name", default="")
        studs = studs_in(file)
        finest = finest if finest.strip() else finest_in(file)
        name = checked_name({"name": name})
    else:
        name = checked_name(typed)
        studs = studs_typed(typed, shop.unit_typed(typed["unit"]))
    kept = tuple(row_of_stud(s.stud, s.thread) for s in studs)
    return _keep_block(shop, rows.Block("", name, kept, finest_of(finest)))


@whole
def _keep_block(shop: Shop, block: rows.Block) -> str:
    _new_name(block.name, shop.book.blocks(), "block")
    return shop.book.add_block(block, who=shop.who).id


def ensure_starter(book: Book, who: str) -> bool:
    """Put the starter blade, its methods and the starter block in a book that has no blade.

    Returns whether it did; nobody is left before an empty room.
    """
    if book.blades():
        return False
    data = read_table_file(shipped("fixtures") / "starter.toml")
    book.batch(stock_shop, book, data, who)
    return True


def blade_meant(shop: Shop, text: str, field: str = "blade") -> rows.Blade:
    """Return the blade that is typed; for ``none`` the book's one without an outline.

    That one is kept where there is none yet, with the usual methods: what they read is judged as
    plain numbers, and nothing of a blade is made up for it.
    """
    if not _is_none_yet(text, NO_BLADE):
        return pick(text, shop.book.blades(), field)
    return next((b for b in shop.book.blades() if not b.outline_mm), None) or _begin_blade(shop)


def _begin_blade(shop: Shop) -> rows.Blade:
    untraced = Blade.untraced(NO_BLADE)
    row = rows.Blade("", NO_BLADE, (), (), ())
    return shop.book.blade(keep_blade(shop, row, usual_methods(untraced)))


def block_meant(shop: Shop, text: str, field: str = "block") -> rows.Block:
    """Return the block that is typed; for ``none`` the book's one without studs, kept if new."""
    if not _is_none_yet(text, NO_BLOCK):
        return pick(text, shop.book.blocks(), field)
    known = next((b for b in shop.book.blocks() if not b.studs), None)
    new = rows.Block("", NO_BLOCK, (), DEFAULT_FINEST_TURN)
    return known or shop.book.block(_keep_block(shop, new))


def _is_none_yet(text: str, name: str) -> bool:
    return text.strip().casefold() in (NONE_YET, name.casefold())


def is_known(part: rows.Blade | rows.Block) -> bool:
    """Whether a blade has its outline, or a block its studs."""
    return bool(part.outline_mm if isinstance(part, rows.Blade) else part.studs)


def known_parts(parts: Sequence[Part]) -> tuple[Part, ...]:
    """Return those that have an outline or studs, as they are numbered in lists."""
    return tuple(p for p in parts if is_known(p))


def pick(text: str, known: Sequence[Part], field: str) -> Part:
    """Return the part of that name, else of that number in the list (the first is 1).

    ``stand-in`` is the invented one, where there is one.
    """
    wanted, known = text.strip(), known_parts(known)
    invented = [p for p in known if p.stand_in]
    if wanted.casefold() == _STAND_IN and len(invented) == 1:
        return invented[0]
    named = [p for p in known if p.name == wanted] or [
        p for p in known if p.name.casefold() == wanted.casefold()
    ]
    if len(named) == 1:
        return named[0]
    if not named and wanted.isdecimal() and len(wanted) < 7 and 1 <= int(wanted) <= len(known):
        return known[int(wanted) - 1]
    raise InputError(field, text, f"one of these by name or number: {parts_listed(known)}")


def only_real(known: Sequence[Part]) -> str:
    """Return the number of the only part there is; nothing where one must choose.

    A stand-in is never taken unasked: whoever means it says so. Where there is no other there is
    none yet.
    """
    known = known_parts(known)
    if all(p.stand_in for p in known):
        return NONE_YET
    return "1" if len(known) == 1 else ""


def first_real(known: Sequence[Part]) -> str:
    """Return the number of the first part that is no stand-in; without one there is none yet."""
    numbered = enumerate(known_parts(known), 1)
    return next((str(i) for i, p in numbered if not p.stand_in), NONE_YET)


def parts_listed(known: Sequence[Part]) -> str:
    """Return the names of parts with their numbers, on one line."""
    known = known_parts(known)
    if not known:
        return "none yet: add one first"
    names = [
        f"{i} {p.name[:40]}{' (a stand-in)' if p.stand_in else ''}"
        for i, p in enumerate(known[:_MOST_SHOWN], start=1)
    ]
    more = len(known) - _MOST_SHOWN
    return " · ".join(names) + (f" · and {more} more" if more > 0 else "")


def checked_name(fields: Mapping[str, str]) -> str:
    """Return the field ``name``; an :class:`InputError` where it is blank."""
    name = checked_text(fields, "name")
    if not name:
        raise InputError("name", fields.get("name", ""), "a name that is not empty")
    return name


def checked_text(fields: Mapping[str, str], key: str) -> str:
    """Return a field's text without the blanks around it, where a book can keep it."""
    text = fields.get(key, "").strip()
    keepable(key, text)
    if len(text) > LONGEST_TEXT:
        raise InputError(key, text, f"at most {LONGEST_TEXT} characters")
    return text


def _new_name(name: str, known: Sequence[Part], what: str) -> None:
    if name.casefold() == NONE_YET:
        raise InputError("name", name, f"another name: {NONE_YET} says that there is no {what} yet")
    if any(p.name.casefold() == name.casefold() for p in known):
        raise InputError("name", name, f"a name that no other {what} has")


def _either_or(fields: Mapping[str, str], typed: Iterable[str]) -> None:
    for key in typed:
        if fields.get(key, "").strip():
            words = key.replace("_", " ")
            raise InputError(words, fields[key], f"blank where a file is given, or {words} alone")
