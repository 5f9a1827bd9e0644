"""What a block and blade have taught this bench, in words; forgetting it, and bringing it back."""

from __future__ import annotations

import json
from collections import Counter

from workbench.errors import InputError
from workbench.fin.learn.replay import Learnt
from workbench.fin.parts.studs import said
from workbench.records.book import Book
from workbench.records.store import rows
from workbench.work.learn.teaching import (
    FORGOTTEN,
    Teaching,
    forgotten,
    learnt_from,
    teaching_of,
)
from workbench.work.order.learned_turns import question_words, stud_lines
from workbench.work.order.rigs import blade_of, method_of, rig_of
from workbench.work.text.words import clean

LAST_JOBS = 20
"""Rounds a ski are told of so many jobs, the first and the last."""

ALL = "all"


def learnt_of(book: Book, ski: rows.Ski) -> tuple[Learnt, Teaching]:
    """Return what a ski's block and blade have taught, and what it was learnt from."""
    blade = blade_of(book.blade(ski.blade_id))
    rig = rig_of(ski, blade, book.block(ski.block_id).studs)
    teaching = teaching_of(book, ski)
    own = [method_of(m, blade) for m in book.methods_of(ski.blade_id) if m.id in ski.methods]
    methods = {m.name: m for m in (*teaching.methods, *own)}
    return learnt_from(rig, tuple(methods.values()), teaching), teaching


def learnt_words(book: Book, ski: rows.Ski) -> list[str]:
    """Return what this bench has learnt of a ski's block and blade, one fact a line."""
    learnt, teaching = learnt_of(book, ski)
    block, blade = book.block(ski.block_id), book.blade(ski.blade_id)
    jobs = Counter[str]()
    for chain in teaching.chains:
        jobs[chain.job_id] += len(chain.rounds)
    out = [
        f"Block {clean(block.name)} with blade {clean(blade.name)}: "
        f"{sum(jobs.values())} rounds of {len(jobs)} jobs"
    ]
    out += [f"Stud {line}" for line in stud_lines(learnt)]
    asked = question_words(learnt)
    if asked:
        out.append(f"Asked: {asked} If so, correct the block; nothing is changed until then.")
    counts = [jobs[i] for i in sorted(jobs)]
    if len(counts) > LAST_JOBS:
        first, last = counts[:LAST_JOBS], counts[-LAST_JOBS:]
        out.append(
            f"Rounds a ski: {sum(first) / len(first):.1f} over the first {len(first)} jobs, "
            f"{sum(last) / len(last):.1f} over the last {len(last)}"
        )
    elif counts:
        out.append(f"Rounds a ski: {sum(counts) / len(counts):.1f}")
    if teaching.left_out:
        out.append(f"{teaching.left_out} older jobs are not gone through any longer")
    for each in forgotten(book, block.id):
        stud = "all studs" if not each.stud else f"the {clean(said(each.stud))} stud"
        back = ", brought back" if each.brought_back else ""
        out.append(f"Forgotten of {stud}: {clean(each.reason)} [{clean(each.who)}]{back}")
    return out


def forget(book: Book, ski: rows.Ski, stud: str, reason: str, who: str) -> str:
    """Keep that what was learnt of a stud up to now is to be forgotten; return its name.

    Raises:
        InputError: no such stud, or no reason.
    """
    name = _stud(book, ski, stud)
    if not reason.strip():
        raise InputError("reason", reason, "a few words on why it is to be forgotten")
    _keep(book, ski, {"do": "forget", "stud": name, "reason": reason.strip(), "who": who}, who)
    return name


def bring_back(book: Book, ski: rows.Ski, stud: str, who: str) -> str:
    """Keep that what was forgotten of a stud counts again; return its name.

    Raises:
        InputError: no such stud, or nothing of it was forgotten.
    """
    name = _stud(book, ski, stud)
    known = forgotten(book, ski.block_id)
    if not any(f.stud == name and not f.brought_back for f in known):
        raise InputError("bring back", stud, "a stud of which something was forgotten")
    _keep(book, ski, {"do": "bring back", "stud": name, "reason": "", "who": who}, who)
    return name


def _stud(book: Book, ski: rows.Ski, text: str) -> str:
    """Return the name of the stud meant; nothing is all of them."""
    wanted = " ".join(text.split()).casefold()
    if wanted == ALL:
        return ""
    studs = book.block(ski.block_id).studs
    for stud in studs:
        if wanted in (stud.name.casefold(), said(stud.name, stud.touches).casefold()):
            return stud.name
    accepted = ", ".join([*(said(s.name, s.touches) for s in studs), ALL])
    raise InputError("stud", text, f"one of: {accepted}")


def _keep(book: Book, ski: rows.Ski, what: dict[str, str], who: str) -> None:
    text = json.dumps(what, ensure_ascii=False)
    book.set_setting(f"{FORGOTTEN} {ski.block_id}", text, who=who)
