"""Frozen dataclasses that are quick to define: their methods are written when they pay.

``dataclasses.dataclass`` compiles half a dozen methods for every class, which is more than half of
what loading this program takes. This one makes the same of ``@dataclass(frozen=True, slots=True)``:
fields, ``replace`` and ``asdict``, ``==``, ``hash`` and ``repr``, copies and pickles are as there,
only that an ``__init__`` is compiled once many values are made and the rest is shared.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from operator import attrgetter
from typing import TYPE_CHECKING, Any

FEW = 12
"""To fill so many values field by field takes less than to compile an ``__init__``."""

if TYPE_CHECKING:
    from dataclasses import dataclass as dataclass
else:

    def dataclass(*, frozen: bool, slots: bool, kw_only: bool = False) -> Callable[[type], type]:
        """Make a frozen dataclass with slots of a class; there is no other kind here."""
        if not (frozen and slots):
            raise TypeError("only frozen dataclasses with slots are made here")
        bare = dataclasses.dataclass(init=False, repr=False, eq=False, slots=True, kw_only=kw_only)

        def made(cls: type) -> type:
            own = frozenset(vars(cls))
            new = bare(cls)
            for name, method in _methods(new).items():
                if name not in own:
                    setattr(new, name, method)
            return new

        return made


def _methods(cls: type) -> dict[str, Callable[..., Any]]:
    fields = dataclasses.fields(cls)
    compared = _values([f.name for f in fields if f.compare])
    kept = _values([f.name for f in fields])

    made = 0

    def __init__(self: Any, *args: Any, **kwargs: Any) -> None:
        nonlocal made
        made += 1
        if made <= FEW and _filled(self, cls, args, kwargs):
            return
        written = _written_init(cls)
        setattr(cls, "__init__", written)  # noqa: B010
        written(self, *args, **kwargs)

    def __eq__(self: Any, other: object) -> bool:
        if other.__class__ is not self.__class__:
            return NotImplemented
        return compared(self) == compared(other)

    def __hash__(self: Any) -> int:
        return hash(compared(self))

    def __getstate__(self: Any) -> list[Any]:
        return list(kept(self))

    return {
        "__init__": __init__, "__eq__": __eq__, "__hash__": __hash__, "__repr__": _repr,
        "__setattr__": _refuse_set, "__delattr__": _refuse_del,
        "__getstate__": __getstate__, "__setstate__": _set_state,
    }  # fmt: skip


def _values(names: list[str]) -> Callable[[Any], tuple[Any, ...]]:
    """Return what gives the values of these fields as a tuple."""
    if len(names) > 1:
        return attrgetter(*names)
    return lambda self: tuple(getattr(self, name) for name in names)


def _filled(self: Any, cls: type, args: tuple[Any, ...], kwargs: dict[str, Any]) -> bool:
    """Fill a new value's fields as its ``__init__`` would; False where that had to complain."""
    fields = [f for f in dataclasses.fields(cls) if f.init]
    given = dict(zip((f.name for f in fields if not f.kw_only), args, strict=False)) | kwargs
    if len(given) < len(args) + len(kwargs):
        return False
    values: list[tuple[str, Any]] = []
    for field in fields:
        if field.name in given:
            values.append((field.name, given.pop(field.name)))
        elif field.default_factory is not dataclasses.MISSING:
            values.append((field.name, field.default_factory()))
        elif field.default is not dataclasses.MISSING:
            values.append((field.name, field.default))
        else:
            return False
    if given:
        return False
    for name, value in values:
        object.__setattr__(self, name, value)
    if hasattr(cls, "__post_init__"):
        self.__post_init__()
    return True


def _written_init(cls: type) -> Callable[..., None]:
    """Write a class's ``__init__`` with its parameters, defaults and what comes after it."""
    known: dict[str, Any] = {"_set": object.__setattr__, "_left_out": dataclasses.MISSING}
    plain: list[str] = ["self"]
    named: list[str] = []
    body: list[str] = []
    for field in dataclasses.fields(cls):
        name, value = field.name, field.name
        if not field.init:
            continue
        parameter = name
        if field.default_factory is not dataclasses.MISSING:
            known[f"_made_{name}"] = field.default_factory
            parameter = f"{name}=_left_out"
            value = f"_made_{name}() if {name} is _left_out else {name}"
        elif field.default is not dataclasses.MISSING:
            known[f"_default_{name}"] = field.default
            parameter = f"{name}=_default_{name}"
        (named if field.kw_only else plain).append(parameter)
        body.append(f" _set(self, '{name}', {value})")
    if hasattr(cls, "__post_init__"):
        body.append(" self.__post_init__()")
    given = ", ".join([*plain, *(["*", *named] if named else [])])
    exec(f"def __init__({given}):\n" + "\n".join(body or [" pass"]), known)
    written: Callable[..., None] = known["__init__"]
    written.__qualname__ = f"{cls.__qualname__}.__init__"
    return written


def _repr(self: Any) -> str:
    shown = (f"{f.name}={getattr(self, f.name)!r}" for f in dataclasses.fields(self) if f.repr)
    return f"{type(self).__qualname__}({', '.join(shown)})"


def _refuse_set(self: Any, name: str, value: object) -> None:
    raise dataclasses.FrozenInstanceError(f"cannot assign to field {name!r}")


def _refuse_del(self: Any, name: str) -> None:
    raise dataclasses.FrozenInstanceError(f"cannot delete field {name!r}")


def _set_state(self: Any, state: list[Any]) -> None:
    for field, value in zip(dataclasses.fields(self), state, strict=True):
        object.__setattr__(self, field.name, value)
