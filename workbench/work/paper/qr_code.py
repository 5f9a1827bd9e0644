"""The QR code of a setting (ISO/IEC 18004, error correction M); it needs segno, an extra."""

from __future__ import annotations

from importlib import import_module
from importlib.util import find_spec
from typing import Any

from workbench.errors import InputError

BORDER = 4
"""Light modules that stay free around a code."""

_EXTRA = "segno, which is not installed: pip install '.[qr]'"


def has_codes() -> bool:
    """Tell whether QR codes can be drawn here."""
    try:
        return find_spec("segno") is not None
    except (ImportError, ValueError):
        return False


def _code(text: str) -> Any:
    try:
        segno = import_module("segno")
    except ImportError:
        raise InputError("format", "label", _EXTRA) from None
    return segno.make(text, error="m", micro=False, boost_error=False)


def code_svg(text: str) -> str:
    """Return the code of a text as SVG for a page.

    Raises:
        InputError: segno is not installed; says how to get it.
    """
    drawn = _code(text).svg_inline(omitsize=True, border=BORDER, title="QR code of the setting")
    return str(drawn)


def code_rows(text: str) -> list[list[bool]]:
    """Return the code of a text as rows of modules, dark ones true, the border included.

    Raises:
        InputError: segno is not installed; says how to get it.
    """
    return [[bool(dark) for dark in row] for row in _code(text).matrix_iter(border=BORDER)]
