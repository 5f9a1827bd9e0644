"""The shop's checklists and torque notes, and what changes them.

The clamp bolts end the final check, always. A number from a caliper is held and changes nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

from textual.content import Content

from workbench.advice.checklists import MAKER_WINS, WING, CheckItem
from workbench.bench.bases.lists import ListScreen
from workbench.bench.bases.prompts import Prompt
from workbench.bench.draw.text import styled, visible
from workbench.bench.hand.state import BenchState
from workbench.errors import InputError
from workbench.records.store.rows import Checklist
from workbench.work.job.shop import Shop
from workbench.work.roster import check_lists
from workbench.work.roster.check_lists import Torque
from workbench.work.trust.shop_policy import Rules, shop_rules

TITLES: dict[Checklist, str] = {"received": "Received check", "final": "Final check"}


@dataclass(frozen=True, slots=True)
class CheckRow:
    """A line of the screen: an item of a checklist, a torque note, or a heading."""

    which: Checklist | None = None
    item: CheckItem | None = None
    torque: Torque | None = None
    heading: str = ""


class ChecksScreen(ListScreen[CheckRow]):
    """Both checklists, then how each fastener is brought up."""

    TITLE_WORDS = "Checks and torque notes"
    KEYS = "↑ ↓ choose · n adds · e rewords · x takes off · F3 F4 order · u takes back · Esc closes"

    def __init__(self, shop: Shop, state: BenchState) -> None:
        super().__init__()
        self.shop = shop
        self._before: list[Rules] = []

    def on_mount(self) -> None:
        """Show the lists as they stand."""
        self.attempt(self._load)
        self.at = 1

    def _load(self) -> None:
        rules = shop_rules(self.shop.book)
        out: list[CheckRow] = []
        for which, title in TITLES.items():
            out.append(CheckRow(heading=title))
            out += [CheckRow(which, item) for item in check_lists.items_now(rules, which)]
        out.append(CheckRow(heading=f"Torque notes: {MAKER_WINS}"))
        out += [CheckRow(torque=note) for note in check_lists.torque_notes(rules)]
        self.items = out

    def _item(self) -> tuple[Checklist, CheckItem]:
        marked = self.marked
        if marked is None or marked.which is None or marked.item is None:
            raise InputError("mark", "no item", "an item of a checklist: move the mark to it")
        return marked.which, marked.item

    # -- drawing ---------------------------------------------------------------------------------

    def row(self, each: CheckRow, here: bool, width: int) -> Content:
        """Return an item of a list, a note, or a heading."""
        if each.heading:
            return styled((visible(each.heading, width), "bold $accent"))
        mark, bold = ("▸ ", "bold") if here else ("  ", "")
        if each.torque is not None:
            name = f"{each.torque.note.name:<13}"
            own = "  (the shop's words)" if each.torque.own else ""
            words = visible(each.torque.words, max(width - 15 - len(own), 8))
            return styled(mark, (name, "bold"), (words, bold), (own, "$ink-faint"))
        assert each.item is not None
        more = "  with a wing only" if (each.which, each.item.key) == ("final", WING) else ""
        words = visible(each.item.words, max(width - 6 - len(more), 8))
        return styled(mark, "[ ] ", (words, bold), (more, "$ink-faint"))

    def foot(self, width: int) -> Sequence[Content]:
        """Return what a change means."""
        words = "A change counts from now on; what was passed stays passed."
        return (styled((visible(words, width), "$ink-faint")),)

    # -- keys ------------------------------------------------------------------------------------

    def settle(self, by: int) -> None:
        """Keep the mark in the list, off the headings."""
        self.at = min(max(self.at, 0), len(self.items) - 1)
        if self.items[self.at].heading:
            self.at += -1 if by < 0 and self.at > 0 else 1

    def acts(self) -> dict[str, Callable[[], None]]:
        """Change what is marked, or move it with the mark."""
        return {
            "n": self._new, "e": self._reword, "x": self._remove, "u": self._undo,
            "f3": lambda: self._move(-1), "shift+up": lambda: self._move(-1),
            "f4": lambda: self._move(1), "shift+down": lambda: self._move(1),
        }  # fmt: skip

    def _change(self, act: Callable[[], object], words: str) -> None:
        before = shop_rules(self.shop.book)
        act()
        self._before.append(before)
        self._load()
        self.settle(1)
        self.say(words, "done")

    def _move(self, by: int) -> None:
        which, item = self._item()
        self._change(lambda: check_lists.move_item(self.shop, which, item.key, by), "order changed")
        self.at += by
        self.draw()

    def _ask(
        self, title: str, hint: str, value: str, change: Callable[[str], object], said: str
    ) -> None:
        """Ask for words, and change what is marked by them."""
        self.app.push_screen(
            Prompt(title, hint, value, lambda words: self._change(partial(change, words), said))
        )

    def _new(self) -> None:
        which, item = self._item()
        self._ask(
            f"{TITLES[which]}: new item", "what is looked at", "",
            lambda words: check_lists.add_item(self.shop, which, words, item.key), "item added",
        )  # fmt: skip

    def _reword(self) -> None:
        torque = self.marked.torque if self.marked is not None else None
        if torque is not None:
            key, title = torque.note.key, f"How {torque.note.name} are brought up"
            self._ask(
                title, f"the shop's own words; {MAKER_WINS}", torque.words,
                lambda words: check_lists.reword_torque(self.shop, key, words), "note kept",
            )  # fmt: skip
            return
        which, item = self._item()
        check_lists.check_changeable(which, item.key)
        self._ask(
            "Other words", "what is looked at", item.words,
            lambda words: check_lists.reword_item(self.shop, which, item.key, words),
            "words changed",
        )  # fmt: skip

    def _remove(self) -> None:
        torque = self.marked.torque if self.marked is not None else None
        if torque is not None:
            reword = partial(check_lists.reword_torque, self.shop, torque.note.key, "")
            self._change(reword, "the words as shipped again")
            return
        which, item = self._item()
        remove = partial(check_lists.remove_item, self.shop, which, item.key)
        self._change(remove, "taken off; u puts it back")

    def _undo(self) -> None:
        if not self._before:
            raise InputError("undo", "nothing", "a change made while this was open")
        check_lists.put_back(self.shop, self._before.pop())
        self._load()
        self.settle(1)
        self.say("as it was before", "done")
