"""Thread designations and what one turn of them moves.

Pitches from the published tables: ISO 261 coarse and fine series (pitch in mm) and ASME B1.1 UNC
and UNF series (threads per inch). Studs are single-start, so that the lead is the pitch.
"""

from __future__ import annotations

import re
from functools import lru_cache

from workbench.errors import InputError
from workbench.measure.units import MM_PER_INCH

ISO_COARSE_MM = {
    "1.6": 0.35, "2": 0.4, "2.5": 0.45, "3": 0.5, "3.5": 0.6, "4": 0.7, "5": 0.8, "6": 1.0,
    "8": 1.25, "10": 1.5, "12": 1.75, "14": 2.0, "16": 2.0,
}  # fmt: skip

ISO_FINE_MM = {"8": (1.0, 0.75), "10": (1.25, 1.0), "12": (1.5, 1.25)}

UNIFIED_TPI = {
    "0": {"UNF": 80}, "1": {"UNC": 64, "UNF": 72}, "2": {"UNC": 56, "UNF": 64},
    "3": {"UNC": 48, "UNF": 56}, "4": {"UNC": 40, "UNF": 48}, "5": {"UNC": 40, "UNF": 44},
    "6": {"UNC": 32, "UNF": 40}, "8": {"UNC": 32, "UNF": 36}, "10": {"UNC": 24, "UNF": 32},
    "12": {"UNC": 24, "UNF": 28}, "1/4": {"UNC": 20, "UNF": 28}, "5/16": {"UNC": 18, "UNF": 24},
    "3/8": {"UNC": 16, "UNF": 24}, "7/16": {"UNC": 14, "UNF": 20}, "1/2": {"UNC": 13, "UNF": 20},
}  # fmt: skip

_ACCEPTED = "a thread such as M5x0.8, M5, 10-32 UNF or 1/4-28, or give the lead, pitch or tpi"

_METRIC = re.compile(
    r"M\s*(\d{1,3}(?:[.,]\d{1,3})?)(?:\s*[x×*]\s*(\d{0,2}[.,]?\d{1,4}))?"
    r"(?:\s*-\s*\d[egh](?:\d[egh])?)?",
    re.IGNORECASE | re.ASCII,
)
_UNIFIED = re.compile(
    r"(?:#|No\.?\s*)?(\d{1,2}(?:/\d{1,2})?)\s*-\s*(\d{1,3})\s*(?:(UN[CF]?)(?:-?\d?[AB])?)?",
    re.IGNORECASE | re.ASCII,
)
_SERIES_ONLY = re.compile(
    r"(?:#|No\.?\s*)?(\d{1,2}(?:/\d{1,2})?)\s*(UN[CF])", re.IGNORECASE | re.ASCII
)


def lead_of_thread(designation: str, field: str = "thread") -> float:
    """Return the lead in mm of a thread designation.

    Metric with its pitch (``M5x0.8``) or coarse without (``M5``), with a tolerance class (``-6g``)
    or not; unified with its threads per inch (``10-32``, ``#10-32 UNF``, ``1/4-28``) or its series
    (``10 UNF``).

    Raises:
        InputError: not a designation, not in the table, or a series that contradicts the pitch.
    """
    text = designation.strip()
    if match := _METRIC.fullmatch(text):
        return _metric_lead(designation, field, match[1].replace(",", "."), match[2])
    if match := _UNIFIED.fullmatch(text):
        return _unified_lead(designation, field, match[1], int(match[2]), match[3])
    if match := _SERIES_ONLY.fullmatch(text):
        table = UNIFIED_TPI.get(match[1], {})
        tpi = table.get(match[2].upper())
        if tpi is None:
            raise InputError(field, designation, _known_unified(match[1]))
        return MM_PER_INCH / tpi
    raise InputError(field, designation, _ACCEPTED)


def lead_of_tpi(tpi: float, field: str = "tpi") -> float:
    """Return the lead in mm for this many threads per inch (ASME B1.1: pitch = 1/tpi)."""
    if not 4.0 <= tpi <= 200.0:
        raise InputError(field, tpi, "4 to 200 threads per inch")
    return MM_PER_INCH / tpi


@lru_cache(maxsize=1)
def known_leads() -> tuple[tuple[str, float], ...]:
    """Return the designations of the tables with their leads in mm."""
    metric = {f"M{size}x{pitch:g}": pitch for size, pitch in ISO_COARSE_MM.items()}
    metric |= {f"M{size}x{p:g}": p for size, pitches in ISO_FINE_MM.items() for p in pitches}
    unified = {
        f"{size}-{tpi} {series}": MM_PER_INCH / tpi
        for size, table in UNIFIED_TPI.items()
        for series, tpi in table.items()
    }
    return (*metric.items(), *unified.items())


def _metric_lead(designation: str, field: str, size: str, pitch: str | None) -> float:
    key = f"{float(size):g}"
    coarse = ISO_COARSE_MM.get(key)
    if coarse is None:
        raise InputError(field, designation, f"a size among M{', M'.join(ISO_COARSE_MM)}")
    if pitch is None:
        return coarse
    value = float(pitch.replace(",", "."))
    # A special pitch is a real thing on a stud, so it is taken when it is sane for the size.
    if not 0.1 <= value <= coarse * 1.0001 and value not in ISO_FINE_MM.get(key, ()):
        raise InputError(field, designation, f"a pitch from 0.1 to {coarse:g} mm for M{key}")
    return value


def _unified_lead(designation: str, field: str, size: str, tpi: int, series: str | None) -> float:
    table = UNIFIED_TPI.get(size)
    if table is None:
        raise InputError(field, designation, f"a size among {', '.join(UNIFIED_TPI)}")
    name = (series or "").upper()
    if name in table and table[name] != tpi:
        raise InputError(field, designation, f"{size}-{table[name]} {name}, or another series")
    if name in ("UNC", "UNF") and name not in table:
        raise InputError(field, designation, _known_unified(size))
    if name != "UN" and tpi not in table.values():
        raise InputError(field, designation, _known_unified(size))
    if not 4 <= tpi <= 200:
        raise InputError(field, designation, "4 to 200 threads per inch")
    return MM_PER_INCH / tpi


def _known_unified(size: str) -> str:
    table = UNIFIED_TPI.get(size)
    if not table:
        return f"a size among {', '.join(UNIFIED_TPI)}"
    known = " or ".join(f"{size}-{tpi} {name}" for name, tpi in table.items())
    return f"{known}; for a special pitch give tpi"
