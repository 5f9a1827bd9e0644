"""What a comparison of two settings says, line by line, for screen and command line."""

from __future__ import annotations

from workbench.fin.plan.remarks import COVERAGE
from workbench.measure.display import (
    fine_text,
    length_text,
    turns_text,
)
from workbench.measure.units import UNITS, Unit
from workbench.work.history.compare import Beside, Between, Comparison
from workbench.work.history.history import Setting, Value
from workbench.work.order.exposed_words import exposed_change, exposed_short
from workbench.work.text.words import LEFT_HAND, SEEN_FROM, clean, way_words


def wing_words(setting: Setting) -> str:
    """Return the wing's angle in words, nothing where it was not read."""
    return f"wing {setting.wing.angle_deg:g}°" if setting.wing is not None else ""


def rating_words(setting: Setting) -> str:
    """Return the ride's rating in words, nothing where there is none."""
    return f"ride {setting.rating} of 5" if setting.rating is not None else ""


def between_words(turn: Between) -> str:
    """Return what one stud turns by hand, then exactly with its standard uncertainty."""
    sign = "−" if round(turn.exact, 3) < 0.0 else "+"
    exact = f"{sign}{abs(turn.exact):.3f} (u {turn.u:.3f})"
    name = clean(turn.stud.said)
    if turn.turns is None:
        return f"{name}: exactly {exact} (no round turns get there)"
    if not turn.turns:
        return f"{name}: leave, exactly {exact}"
    sense = "clockwise" if turn.stud.clockwise(turn.turns) else "counter-clockwise"
    way = way_words(turn.turns)
    left = f", {LEFT_HAND}" if turn.stud.hand == "left" else ""
    return f"{name}: {turns_text(turn.turns)} {way}{left} ({sense} {SEEN_FROM}), exactly {exact}"


def between_short(turn: Between) -> str:
    """Return the same in little room: clockwise or not in a sign, the uncertainty left out."""
    sign = "−" if round(turn.exact, 3) < 0.0 else "+"
    exact = f"exactly {sign}{abs(turn.exact):.3f}"
    name = clean(turn.stud.said)
    if turn.turns is None:
        return f"{name}: {exact}"
    if not turn.turns:
        return f"{name}: leave, {exact}"
    sense = "↻" if turn.stud.clockwise(turn.turns) else "↺"
    return f"{name}: {sense} {turns_text(turn.turns)} {'in' if turn.turns > 0 else 'out'}, {exact}"


def _value_words(value: Value) -> str:
    """Return a value in both units with its expanded uncertainty."""
    return " = ".join(
        f"{length_text(value.mm, unit)} {unit} ±{fine_text(COVERAGE * value.u_mm, unit)}"
        for unit in UNITS
    )


def beside_words(line: Beside) -> str:
    """Return one method in both settings and whether the difference means anything."""
    name = clean(line.method.name)
    if line.first is None or line.second is None or line.change is None:
        which, value = ("A", line.first) if line.first is not None else ("B", line.second)
        told = _value_words(value) if value is not None else ""
        return f"{name}: read in {which} only, {told}"
    first, second = _value_words(line.first), _value_words(line.second)
    change = " = ".join(_change(line, unit) for unit in UNITS)
    return f"{name}: A {first}; B {second}; B less A {change}, {line.change.glance}"


def _change(line: Beside, unit: Unit) -> str:
    assert line.change is not None
    return line.change.figures(unit)


def exposed_lines(found: Comparison, unit: Unit) -> list[str]:
    """Return what each setting leaves out of the base, and how the second differs in that."""
    both = [(k, e) for k, e in zip("AB", found.exposed, strict=True) if e is not None]
    out = [f"{k}: {exposed_short(e, unit)}" for k, e in both]
    if len(both) == 2:
        out.append(f"B less A: {exposed_change(both[0][1], both[1][1], unit)}")
    return out


def comparison_lines(found: Comparison, unit: Unit = "in") -> list[str]:
    """Return a comparison in plain lines; areas and centroids in ``unit``."""
    out = [f"A: {found.first.name}", f"B: {found.second.name}"]
    out += [beside_words(line) for line in found.lines]
    for name, setting in (("A", found.first), ("B", found.second)):
        more = ", ".join(w for w in (wing_words(setting), rating_words(setting)) if w)
        out += [f"{name}: {more}"] if more else []
    out += exposed_lines(found, unit)
    if found.trouble:
        return [*out, f"no stud turns: {found.trouble}"]
    return [*out, "stud turns from A to B:", *[f"  {between_words(t)}" for t in found.turns]]
