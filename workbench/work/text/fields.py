"""What is typed at a line of a form or as an option of a command, each declared once.

A use case declares its fields beside itself; the bench makes the lines of a form of them, the
command line the options of a command. What was typed reaches the use case as texts by ``key``.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from workbench.frozen import dataclass

Texts = dict[str, str]


@dataclass(frozen=True, slots=True)
class Field:
    """One thing to be typed.

    ``key`` names it in texts and errors, and as an option; ``label`` is shown before its line;
    ``words`` say what it is; ``typed`` is the word for its value in a command's usage.
    ``default`` is the text that a blank one means, ``blank`` says the same in words where it is no
    text: "" that it may stay blank, None that it may not. ``option`` is its name as an option where
    that is not the key.
    """

    key: str
    label: str
    words: str
    typed: str
    blank: str | None = None
    default: str = ""
    option: str = ""

    @property
    def name(self) -> str:
        """The key as a command line keeps it."""
        return self.option or self.key

    def said(self, more: str = "") -> str:
        """Return what it is, with what is to be known of it now, for a form's line."""
        words = f"{self.words}{more}"
        otherwise = self.default or self.blank
        if otherwise:
            return f"{words}; blank: {otherwise}"
        return words if otherwise is None else f"{words}; may stay blank"

    @property
    def help(self) -> str:
        """What it is, for a command's page."""
        otherwise = self.default or self.blank
        return f"{self.words}; left out: {otherwise}" if otherwise else self.words


REASON = Field("reason", "Reason", "why: a word or two", "WORDS")
"""Why something is struck out, put right or set aside; it stays readable."""

WHO = "whose hands: 1 to 12 characters"
SECOND = "initials of somebody else, who looked at every item too"
NOTE = "kept with this job"
"""What is said where one thing alone is asked for: initials, a second pair of eyes, a note."""


def some(fields: Iterable[Field], keys: str) -> tuple[Field, ...]:
    """Return those of the fields that are named, in the order of ``keys``."""
    known = {field.key: field for field in fields}
    return tuple(known[key] for key in keys.split())


def filled(fields: Iterable[Field], texts: Mapping[str, str]) -> Texts:
    """Return the text of each field; a blank one is its default."""
    return {f.key: _or(texts.get(f.key, ""), f.default) for f in fields}


def _or(text: str, default: str) -> str:
    return text if text.strip() else default
