"""What a person reads is in plain words of the trade: none of those given up comes back."""

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

import workbench

GIVEN_UP = {
    r"reckon\w*": "worked out, counted, converted",
    r"mend(s|ed|ing)?": "corrects",
    r"came in": "arrived, as received",
    r"(is|are|was|were|be|nothing) worth|worth (doing|it)": "how sure a reading is",
    r"stands?(?!-in)": "is",
    r"thereof|therein|whilst|whence|hence": "plain words",
    r"drops (it|this)": "cancels",
    r"learnt": "learned",
    r"(this|that|a|the|last|next|each|every|of|in|from|\d) pass(es)?": "round; a pass is a run",
    r"not clear of": "within caliper doubt",
    r"surely within": "on target",
    r"without a place": "unplaced",
    r"study|studies": "repeatability test",
    r"restate[sd]?": "convert between methods",
    r"how well do we agree": "repeatability test",
}
"""Pattern of what is said neither on screen nor on paper nor by a command, and what is instead."""

COMMANDS = re.compile(r"(Command: )?(quarterturn )?(study|restate|pairs) ")
"""Command lines keep the names of their commands."""


def texts(path: Path) -> Iterator[tuple[int, str]]:
    """Yield the strings of a module that are sentences: no docstring, no single word, no SQL."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    unseen = set()
    for node in ast.walk(tree):
        body = getattr(node, "body", None)
        for each in body if isinstance(body, list) else ():
            if isinstance(each, ast.Expr) and isinstance(each.value, ast.Constant):
                unseen.add(id(each.value))
        if isinstance(node, ast.keyword) and node.arg in ("also", "see"):
            unseen.add(id(node.value))
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Opening":
            unseen |= {id(node.args[5])} if len(node.args) > 5 else set()
    for node in ast.walk(tree):
        if not isinstance(node, ast.Constant) or not isinstance(node.value, str):
            continue
        if id(node) not in unseen and " " in node.value.strip() and not COMMANDS.match(node.value):
            yield node.lineno, node.value


ROOT = Path(workbench.__file__).parent
OWN_WORDS = {"tables", "stats"}
"""Folders of SQL, and of statistics in the terms of their standards."""

MODULES = sorted(
    p for p in ROOT.rglob("*.py") if not OWN_WORDS & set(p.parts) and p.stem != "schema"
)


@cache
def said() -> tuple[tuple[str, str], ...]:
    """Return every text of every module, each with its place."""
    return tuple(
        (f"{path.relative_to(ROOT)}:{line}", text) for path in MODULES for line, text in texts(path)
    )


@pytest.mark.parametrize("word", GIVEN_UP)
def test_no_word_that_was_given_up_is_said(word: str) -> None:
    """No module says it, and where one does the place is named."""
    pattern = re.compile(rf"\b({word})\b", re.IGNORECASE)
    found = [f"{place}: {text}" for place, text in said() if pattern.search(text)]
    assert not found, f"say {GIVEN_UP[word]}"


def test_docstrings_and_comments_say_it_plainly() -> None:
    """The verbs given up are not used among ourselves either."""
    pattern = re.compile(r"reckon|mends|\bworth\b|\bstands\b|came in\b", re.IGNORECASE)
    found = [
        f"{path.relative_to(ROOT)}:{number}: {line.strip()}"
        for path in ROOT.rglob("*.py")
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
        if pattern.search(line)
    ]
    assert not found


def test_the_search_finds_a_word_that_is_said() -> None:
    """It does not pass because it reads nothing."""
    every = [text for _, text in said()]
    assert len(every) > 2000
    assert any("leave it" in text for text in every)
    assert not any(text.startswith("Yield the strings") for text in every)
