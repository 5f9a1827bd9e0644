"""Our quick dataclasses are what the standard library makes: every law holds for both."""

from __future__ import annotations

import copy
import dataclasses
import itertools
import pickle
from typing import Any

import pytest

from workbench import frozen
from workbench.frozen import dataclass as quick
from workbench.records.store import rows

Make = Any
MAKERS = (quick, dataclasses.dataclass)


@pytest.fixture(autouse=True, params=[0, frozen.FEW], ids=["compiled", "filled"])
def few(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> int:
    """Every law holds for the first values of a class and for those after them."""
    monkeypatch.setattr(frozen, "FEW", request.param)
    return int(request.param)


def kinds(make: Make) -> tuple[type, type, type]:
    """A plain class with defaults, one with keywords only that has a heir, and one that checks."""

    @make(frozen=True, slots=True)
    class Plain:
        """Values, one of them made anew and one left out of comparisons."""

        a: int
        b: str = "b"
        c: list[int] = dataclasses.field(default_factory=list)
        d: float = dataclasses.field(default=1.5, compare=False, repr=False)

        @property
        def twice(self) -> int:
            """Twice a."""
            return 2 * self.a

    @make(frozen=True, slots=True, kw_only=True)
    class Parent:
        """A parent."""

        x: int
        y: int = 2

    @make(frozen=True, slots=True, kw_only=True)
    class Heir(Parent):
        """An heir whose own field has no default."""

        z: str

    @make(frozen=True, slots=True)
    class Checked:
        """Checks at birth and reckons a field."""

        a: float
        half: float = dataclasses.field(init=False)

        def __post_init__(self) -> None:
            if self.a < 0:
                raise ValueError("a: 0 or more")
            object.__setattr__(self, "half", self.a / 2)

        def __repr__(self) -> str:
            return f"<{self.a}>"

    return Plain, Heir, Checked


@pytest.mark.parametrize("make", MAKERS)
def test_values_compare_hash_and_read_by_their_fields(make: Make) -> None:
    """Equal fields are equal values; what is left out of comparison counts for nothing."""
    plain, heir, checked = kinds(make)
    assert plain(1, d=2.0) == plain(a=1, b="b", c=[], d=9.0)
    assert plain(1) != plain(2)
    assert plain(1) != (1, "b", [], 1.5)
    assert hash(heir(x=1, z="z")) == hash(heir(z="z", y=2, x=1))
    assert hash(checked(3.0)) == hash(checked(3.0))
    assert repr(plain(1)).endswith("Plain(a=1, b='b', c=[])")
    assert repr(checked(3.0)) == "<3.0>"
    assert plain(4).twice == 8
    assert plain(1).c is not plain(1).c


@pytest.mark.parametrize("make", MAKERS)
def test_values_stay_as_they_are(make: Make) -> None:
    """Nothing can be set or deleted, and nothing added."""
    plain, _, checked = kinds(make)
    value = plain(1)
    with pytest.raises(dataclasses.FrozenInstanceError):
        value.a = 2
    with pytest.raises(dataclasses.FrozenInstanceError):
        del value.a
    with pytest.raises((AttributeError, TypeError)):
        checked(1.0).other = 2
    assert not hasattr(value, "__dict__")


@pytest.mark.parametrize("make", MAKERS)
def test_what_is_left_out_or_too_much_is_refused(make: Make) -> None:
    """The parameters are those of the fields, also at the first call."""
    for args, words in (((), {}), ((1, "b", [], 1.0, 5), {}), ((1,), {"e": 2}), ((1,), {"a": 2})):
        with pytest.raises(TypeError):
            kinds(make)[0](*args, **words)
    with pytest.raises(TypeError):
        kinds(make)[1](1, z="z")
    with pytest.raises(ValueError, match="0 or more"):
        kinds(make)[2](-1.0)


@pytest.mark.parametrize("make", MAKERS)
def test_the_tools_of_dataclasses_work(make: Make) -> None:
    """fields, replace, asdict, astuple, matching and copies."""
    plain, heir, checked = kinds(make)
    assert [f.name for f in dataclasses.fields(heir)] == ["x", "y", "z"]
    assert dataclasses.replace(plain(1, c=[3]), b="c") == plain(1, "c", [3])
    assert dataclasses.replace(checked(2.0), a=8.0).half == 4.0
    assert dataclasses.asdict(heir(x=1, z="z")) == {"x": 1, "y": 2, "z": "z"}
    assert plain.__match_args__ == ("a", "b", "c", "d")
    assert copy.deepcopy(plain(1, c=[3])) == copy.copy(plain(1, c=[3])) == plain(1, c=[3])


def test_an_init_is_compiled_once_it_pays(few: int) -> None:
    """The values before and after are alike, also where one was refused in between."""
    plain, _, _ = kinds(quick)
    with pytest.raises(TypeError, match=r"__init__\(\) missing 1 required"):
        plain()
    plain, heir, checked = kinds(quick)
    first = plain.__init__
    values = [plain(1, d=2.0) for _ in range(few + 2)]
    assert plain.__init__ is not first
    assert all(value == values[0] for value in values)
    assert all(a.c is not b.c for a, b in itertools.pairwise(values))
    assert len({heir(z="z", x=1) for _ in range(few + 2)}) == 1
    assert {checked(3.0).half for _ in range(few + 2)} == {1.5}


def test_rows_are_pickled_as_they_are() -> None:
    """A value of the book survives a pickle, a struck one included."""
    mark = rows.Mark(
        id="1", at="2031", who="kl", job_id="j", kind="note",
        struck=rows.Strike("2031", "kl", "slip"),
    )  # fmt: skip
    assert pickle.loads(pickle.dumps(mark)) == mark


def test_another_kind_is_not_made_here() -> None:
    """A dataclass that can change is the standard library's."""
    with pytest.raises(TypeError, match="frozen"):
        quick(frozen=False, slots=True)
