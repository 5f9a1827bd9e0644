"""The keys of the bench: one table of its actions, each with the key that does it as shipped.

A shop changes keys by one setting, such as ``history=n; add_ski=o``; ``none`` takes a key away.
"""

from __future__ import annotations

import re

from workbench.errors import InputError
from workbench.frozen import dataclass

KEYS = "keys"

SHIPPED: dict[str, str] = {
    "take_back": "u", "retarget": "t", "baseline": "b", "one_step_more": "F7", "undo_change": "F8",
    "finer": "f", "settled": "F5", "without_learned": "F6", "keep": "k", "aside": "s",
    "strike": "x", "note": "w", "hold": "m", "sure": "g",
    "restate": "v", "next_ski": "", "ski_before": "", "unfinished": "j", "add_ski": "n",
    "queue_ski": "r", "large": "=", "initials": "i", "palette": ":", "help": "h", "quit": "q",
    "copy": "F9", "calipers": "l", "add_blade": "e", "add_block": "c", "side": "p", "drawing": "d",
    "theme": "y", "tour": "", "history": "o", "queue": "z", "last_setting": "", "second_eyes": "",
    "checks": "", "settings": "", "ride": "", "baselines": "", "offsets": "", "learned": "",
    "marks": "",
    "wing": "", "temperature": "", "study": "", "card": "a", "day_sheet": "", "correct_ski": "",
    "wear": "", "as_read": "", "correct_block": "", "measure_block": "", "trace": "",
    "trace_file": "", "found_block": "",
    "outline": "",
    "exchange": "", "pad": "",
}  # fmt: skip

TYPED = "0123456789.,+-/"
"""What a caliper types; Enter and Tab come with it too."""

FIXED = {"*": "in/mm", "?": "help", " ": "ticks", ";": "parts two keys here"}
NAMED_FIXED = (
    "enter", "tab", "space", "backspace", "esc", "escape", "f1", "up", "down", "pgup", "pgdn",
    "pageup", "pagedown", "home", "end", "delete", "insert",
)  # fmt: skip
CAN_BE = "a letter a to z, a sign such as = or :, F2 to F12, or none"

_SAID = r"(?<![\w'])({})(?=:| [a-z]+s\b| for a | to )"
"""A key as a sentence names it: ``u takes it back``, ``z: the day's queue``."""


@dataclass(frozen=True, slots=True)
class Keys:
    """The keys in force: pairs of an action and its key, which is empty where it has none."""

    table: tuple[tuple[str, str], ...]

    def of(self, action: str) -> str:
        """Return the key of an action as it is shown; nothing where it has none."""
        return next((key for each, key in self.table if each == action), "")

    def action(self, key: str) -> str:
        """Return the action of a key, whichever way it is shifted; nothing where it has none."""
        wanted = key.casefold()
        return next((a for a, k in self.table if k and k.casefold() == wanted), "")

    def said(self, words: str) -> str:
        """Return a sentence that names keys as shipped with those in force; ``/`` where none is."""
        changed = {SHIPPED[a]: key or "/" for a, key in self.table if SHIPPED[a] not in ("", key)}
        if not changed:
            return words
        found = _SAID.format("|".join(re.escape(key) for key in changed))
        return re.sub(found, lambda match: changed[match[1]], words)


AS_SHIPPED = Keys(tuple(SHIPPED.items()))


def keys_of(text: str) -> Keys:
    """Return the keys that a text such as ``history=n; add_ski=o`` makes of those as shipped.

    Raises:
        InputError: an action that there is none of, a key that cannot be one, or one key for two
            actions, both of which are named.
    """
    changed: dict[str, str] = {}
    for part in (each.strip() for each in text.split(";")):
        if not part:
            continue
        name, is_, key = part.partition("=")
        action = re.sub(r"[\s-]+", "_", name.strip().casefold())
        if not is_:
            raise InputError(KEYS, part, "an action = its key, such as history=o; note=w")
        if action not in SHIPPED:
            raise InputError(KEYS, part, f"one of these before the =: {', '.join(SHIPPED)}")
        if action in changed:
            raise InputError(KEYS, part, f"each action once; {action} has a key before it here")
        changed[action] = _key(action, key.strip())
    table = SHIPPED | changed
    owner: dict[str, str] = {}
    for action, key in sorted(table.items(), key=lambda each: each[0] in changed):
        if key and (other := owner.setdefault(key, action)) != action:
            accepted = f"a key for one action only: {key} would be that of {other} and of {action}"
            raise InputError(KEYS, text, accepted)
    return Keys(tuple(table.items()))


def _key(action: str, text: str) -> str:
    """Return a key as the table has it."""
    plain = text.casefold()
    if text in TYPED and text:
        raise InputError(KEYS, f"{action}={text}", f"{CAN_BE}; a caliper types {text}")
    if plain in NAMED_FIXED or text in FIXED:
        raise InputError(KEYS, f"{action}={text}", f"{CAN_BE}; {text} has a meaning that stays")
    if plain == "none":
        return ""
    if re.fullmatch(r"f([2-9]|1[0-2])", plain):
        return plain.upper()
    if len(text) == 1 and text.isascii() and text.isprintable():
        return plain
    raise InputError(KEYS, f"{action}={text}", CAN_BE)


def kept_keys(text: str) -> str:
    """Return the text as it is kept: what differs from the keys as shipped, in their order."""
    return "; ".join(f"{a}={key or 'none'}" for a, key in keys_of(text).table if SHIPPED[a] != key)


def keys_in_force(text: str) -> tuple[Keys, str]:
    """Return the keys by the kept text, and why they are those as shipped where it is wrong."""
    try:
        return keys_of(text), ""
    except InputError as why:
        return AS_SHIPPED, f"the keys are those as shipped: {why}"
