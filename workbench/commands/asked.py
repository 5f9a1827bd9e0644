"""Which one act of a command is asked for, where its options are acts that exclude each other.

argparse's own groups would do, but it sets their usage on one line however long.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Mapping

from workbench.errors import InputError


def act_asked(
    args: argparse.Namespace, acts: Iterable[str], belongs: Mapping[str, tuple[str, ...]]
) -> str:
    """Return the name of the act that is asked for, blank where none is.

    ``belongs`` gives for each other option the acts that it belongs to.

    Raises:
        InputError: two acts at once, or an option without its act.
    """

    ways = tuple(acts)
    asked = [name for name in ways if _is_given(args, name)]
    if len(asked) > 1:
        accepted = f"one of {', '.join(map(option, ways))} at a time"
        raise InputError(" ".join(map(option, asked)), "together", accepted)
    name = asked[0] if asked else ""
    for other, of in belongs.items():
        if _is_given(args, other) and name not in of:
            value = getattr(args, other)
            given = value if isinstance(value, str) else "(given)"
            raise InputError(option(other), given, f"{_listed(of)} with it")
    return name


def option(name: str) -> str:
    """Return an option as it is typed."""
    return f"--{name.replace('_', '-')}"


def _is_given(args: argparse.Namespace, name: str) -> bool:
    return getattr(args, name) not in (None, False)


def _listed(names: tuple[str, ...]) -> str:
    return " or ".join(map(option, names))
