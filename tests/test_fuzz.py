"""Hostile input by the thousand: never a crash, never a hang, never a wrong number in silence.

Short in the everyday run; ``pytest --long tests/test_fuzz.py`` does 100,000 of them.
"""

from __future__ import annotations

import json
import math
import random
import string
import time
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import pytest

from workbench.errors import BenchError, InputError
from workbench.measure.lengths import parse_length, parse_turn, understand
from workbench.measure.units import MM_PER
from workbench.work.files.table_files import Table, parse_table
from workbench.work.history.rides import read_rules
from workbench.work.order.order_answers import turns_report
from workbench.work.order.order_file import order_from
from workbench.work.roster.baselines import read_baselines

ORDERS = sorted((Path(__file__).parent.parent / "fixtures" / "orders").iterdir())
SHORT, LONG = 1_500, 100_000
SLOWEST_S = 1.0

ODD = (
    "1e400", "nan", "-inf", "NaN", "Infinity", "0x10", "1_000", "٣٫٥", "½", "2 7/16", "7/0", "1/3",
    "9" * 400, "0." + "0" * 400 + "1", "\x00", "\x1b[31m", "\u202e2.45", "2\u200b.45", "\ud7ff",
    "[b]2.45[/b]", "=1+1", "../../x", "'; DROP TABLE skis; --", "2,45", "2.45.6", "2,4,5", "+-2",
    "−2.45", "2.45 furlong", '2.45"', "2.45''", "thou", "²", "1e5", " 2.45 ", "\t2.45", "2.45\n",
    "mm", "in", "2 .45", ". 45", "+", "/", "1/", "/2", "--", "٢٣", "１２", "2.45in mm",
)  # fmt: skip

JSONS: tuple[object, ...] = (
    None, True, False, 0, -1, 1e308, -1e308, 1e-308, "", "in", "mm", [], {}, [[]], [[0, 0]],
    {"name": "x"}, "\x00", "a" * 5000, [1] * 300, 10**30, "1e400", "nan", -0.0, "2 7/16", [{}],
)  # fmt: skip


@pytest.fixture
def count(request: pytest.FixtureRequest) -> int:
    return LONG if request.config.getoption("--long") else SHORT


def hurt(text: str, rnd: random.Random) -> str:
    """Change a text a little: a piece cut, doubled, moved, or something odd put in."""
    for _ in range(rnd.randint(1, 4)):
        at, to = sorted((rnd.randint(0, len(text)), rnd.randint(0, len(text))))
        piece = text[at:to][:40]
        what = rnd.randint(0, 4)
        if what == 0:
            text = text[:at] + text[to:]
        elif what == 1:
            text = text[:to] + piece * rnd.randint(1, 3) + text[to:]
        elif what == 2:
            text = text[:at] + rnd.choice(ODD) + text[at:]
        elif what == 3:
            text = text[:at] + rnd.choice(string.printable) + text[at + 1 :]
        else:
            text = text[:at] + chr(rnd.choice((0x7F, 0x200B, 0x202E, 0x2028, 0x1F600))) + text[at:]
    return text


def timely(call: Callable[[], object], given: object) -> object | None:
    """Call; an error of ours is an answer, any other is not, and neither is a long wait."""
    start = time.process_time()
    try:
        out = call()
    except BenchError:
        out = None
    took = time.process_time() - start
    assert took < SLOWEST_S, f"{took:.1f} s for {given!r:.300}"
    return out


def test_lengths_and_turns(count: int) -> None:
    """What is taken as a length is the number that stands there, and nothing else is taken."""
    rnd = random.Random(1)
    plain = ("2.4505", ".728", "62.23 mm", "2,4505", "2 7/16", "728 thou", '2.45"', "24505", "-.01")
    for _ in range(count):
        text = hurt(rnd.choice((*plain, *ODD)), rnd)
        unit = rnd.choice(("in", "mm"))
        found = timely(lambda: parse_length(text, unit, "x"), text)  # noqa: B023
        if found is not None:
            assert math.isfinite(found.mm), text  # type: ignore[attr-defined]
            assert any(c.isdigit() or c in "¼½¾⅛⅜⅝⅞" for c in text), text
            _agrees(text, found.mm, found.unit)  # type: ignore[attr-defined]
        timely(lambda: parse_turn(text, "x"), text)  # noqa: B023
        placed = timely(lambda: understand(text, unit, (50.0, 70.0), "x"), text)  # noqa: B023
        for placing in placed.placings if placed is not None else ():  # type: ignore[attr-defined]
            assert math.isfinite(placing.mm), text


def _agrees(text: str, mm: float, unit: str) -> None:
    """Where the text is a plain decimal with at most a unit, its value is the decimal's own."""
    for ending, per in (("mm", 1.0), ("in", 25.4), ("", MM_PER[unit])):  # type: ignore[index]
        number = text.strip().removesuffix(ending).strip() if ending else text.strip()
        if (ending and not text.strip().endswith(ending)) or not number.isascii():
            continue
        bare = number.replace(",", ".", 1)
        if bare.replace(".", "", 1).isdigit():
            assert mm == pytest.approx(float(Fraction(bare)) * per, rel=1e-12, abs=1e-12), text
            return


def test_work_orders_as_text(count: int) -> None:
    """Orders cut, doubled and mixed up, in TOML and JSON: an order or an error of ours."""
    rnd = random.Random(2)
    texts = [p.read_text(encoding="utf-8") for p in ORDERS]
    for _ in range(count // 15):
        text = hurt(rnd.choice(texts), rnd)
        timely(lambda: turns_report(order_from(parse_table(text))), text)  # noqa: B023


def test_work_orders_as_data(count: int) -> None:
    """Any value in place of any other: an error names a key, or the figures are finite."""
    rnd = random.Random(3)
    datas = [parse_table(p.read_text(encoding="utf-8")) for p in ORDERS]
    for _ in range(count // 15):
        data = json.loads(json.dumps(rnd.choice(datas)))
        for _ in range(rnd.randint(1, 3)):
            _swap(data, rnd)
        report = timely(lambda: turns_report(order_from(data)), data)  # noqa: B023
        if report is not None:
            json.dumps(report, allow_nan=False)


def _swap(data: object, rnd: random.Random) -> None:
    """Put something odd in a random place of nested data."""
    while True:
        keys = list(data) if isinstance(data, dict) else list(range(len(data)))  # type: ignore[arg-type]
        if not keys:
            return
        key = rnd.choice(keys)
        inner = data[key]  # type: ignore[index]
        if isinstance(inner, dict | list) and inner and rnd.random() < 0.75:
            data = inner
            continue
        data[key] = rnd.choice(JSONS)  # type: ignore[index]
        return


@pytest.mark.parametrize("read", [read_rules, lambda t: read_baselines(parse_table(t), ())])
def test_lists_of_a_shop(count: int, read: Callable[[str], object]) -> None:
    """Rules of thumb and baselines: taken whole or refused with a key."""
    rnd = random.Random(4)
    good = (
        '[[complaints]]\nkey = "a"\nwords = "b"\n[[tries]]\nfor = "a"\nchange = "depth"\n'
        'step = "+0.003 in"\nwhy = "w"\ncost = "c"\nsure = "often"\n',
        '{"version": 1, "baselines": [{"name": "a", "model": "m", "numbers": '
        '[{"method": "d", "value": "2.5 in"}]}]}',
    )
    for _ in range(count // 4):
        text = hurt(rnd.choice(good), rnd)
        timely(lambda: read(text), text)  # noqa: B023


@pytest.mark.parametrize("depth", [10, 1_000, 100_000])
@pytest.mark.parametrize("pair", ["[]", "{}"])
def test_deep_nesting_is_told(depth: int, pair: str) -> None:
    """No recursion limit of the machine shows through."""
    text = (pair[0] if pair == "[]" else '{"a":') * depth + "1" + pair[1] * depth
    with pytest.raises(InputError):
        Table(parse_table(text if pair == "{}" else f'{{"a": {text}}}'), "").done()
