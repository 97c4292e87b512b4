"""Keys are made from everything that goes in; what is kept is what the function would give."""

from __future__ import annotations

import pickle
from copy import copy
from dataclasses import dataclass, fields
from enum import Enum
from typing import Any

import demos
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec import Struct
from msgspec.structs import force_setattr

from cagekit.cage.cage import Cage
from cagekit.cage.kept import Kept, content

LEAVES = st.one_of(
    st.none(), st.booleans(), st.integers(), st.text(max_size=3), st.floats(allow_nan=False)
)
VALUES = st.recursive(LEAVES, lambda inner: st.lists(inner, max_size=3).map(tuple), max_leaves=5)


def _alike(a: Any, b: Any) -> bool:
    """Equal in type, sign of zero and all below."""
    if type(a) is not type(b):
        return False
    if isinstance(a, tuple):
        return len(a) == len(b) and all(map(_alike, a, b))
    return repr(a) == repr(b)


@given(VALUES, VALUES)
def test_two_values_share_a_key_when_they_are_alike_in_every_bit_and_only_then(
    a: Any, b: Any
) -> None:
    assert (content(a) == content(b)) == _alike(a, b)


@dataclass(frozen=True, eq=False)
class Thing:
    at: np.ndarray
    name: str = ""
    more: tuple[float, ...] = ()


class Record(Struct, frozen=True, eq=False):
    at: np.ndarray
    name: str = ""
    more: tuple[float, ...] = ()


@pytest.mark.parametrize("kind", [Thing, Record])
def test_a_field_of_any_kind_changes_the_key(kind: type[Thing | Record]) -> None:
    thing = kind(np.zeros(3))
    assert content(thing) == content(kind(np.zeros(3)))
    for other in (
        kind(np.array([0.0, 0.0, 1e-300])),
        kind(np.zeros(2)),
        kind(np.zeros(3, int)),
        kind(np.zeros(3), "x"),
        kind(np.zeros(3), more=(0.0,)),
        (Record if kind is Thing else Thing)(np.zeros(3)),
    ):
        assert content(other) != content(thing)


def test_what_has_no_known_content_is_refused() -> None:
    for value in (object(), np.array([object()]), (1, {"x": object()})):
        with pytest.raises(TypeError, match="content"):
            content(value)


def test_a_result_is_made_once_and_an_error_is_not_kept() -> None:
    calls = []

    def half(x: float, *, of: str) -> float:
        calls.append((x, of))
        if x < 0:
            raise ValueError(of)
        return x / 2

    kept = Kept()
    assert [kept.call(half, 3.0, of="a"), kept.call(half, 3.0, of="a")] == [1.5, 1.5]
    assert kept.call(half, 3.0, of="b") == 1.5
    for _ in range(2):
        with pytest.raises(ValueError, match="c"):
            kept.call(half, -1.0, of="c")
    assert calls == [(3.0, "a"), (3.0, "b"), (-1.0, "c"), (-1.0, "c")]


def test_the_oldest_go_first() -> None:
    made: list[int] = []

    def note(x: int) -> int:
        made.append(x)
        return x

    kept = Kept(limit=2)
    for x in (1, 2, 1, 3, 1, 2):
        assert kept.call(note, x) == x
    assert made == [1, 2, 3, 2]
    assert len(kept) == 2


@pytest.fixture(scope="module")
def cage() -> Cage:
    return demos.cage("sprint-wagon")


def _other(value: Any) -> Any:
    """Something else of the same kind, to put in its place."""
    if isinstance(value, bool):
        return not value
    if isinstance(value, str):
        return f"{value}x"
    if isinstance(value, int | float):
        return value + 1
    if isinstance(value, np.ndarray):
        return value + 1.0
    if isinstance(value, tuple):
        return (*value, *value[:1]) if value else ("x",)
    return "x" if value is None else None


def test_every_field_of_what_a_cage_is_made_of_is_in_its_key(cage: Cage) -> None:
    """Walk members, plates and small parts; change field by field, without knowing any by name."""
    seen = 0
    things: list[Any] = [*cage.members.values(), *cage.plates[:2], *cage.doors[:1]]
    things += [m.tube for m in cage.members.values()][:1]
    assert {isinstance(t, Struct) for t in things} == {True, False}
    for thing in things:
        for name in _names(thing):
            other = copy(thing)
            if isinstance(thing, Struct):
                force_setattr(other, name, _other(getattr(thing, name)))
            else:
                other.__dict__.pop("_content", None)
                object.__setattr__(other, name, _other(getattr(thing, name)))
            assert content(other) != content(thing), f"{type(thing).__name__}.{name}"
            seen += 1
    assert seen > 50


def _names(thing: Any) -> tuple[str, ...]:
    """All fields that a record is made from."""
    if isinstance(thing, Struct):
        return thing.__struct_fields__
    return tuple(f.name for f in fields(thing) if f.init)


class Way(Enum):
    UP = "x"
    DOWN = "y"


class OtherWay(Enum):
    UP = "x"


def test_a_point_is_told_by_its_numbers_alone_and_from_all_that_looks_like_it() -> None:
    point = np.array([1.0, 2.0, -0.0])
    again = pickle.loads(pickle.dumps(point))
    assert content(again) == content(point)
    assert content(point[::-1][::-1]) == content(point)
    for other in (
        point.tobytes(),
        np.array([1.0, 2.0, 0.0]),
        point.reshape(1, 3),
        point.reshape(3, 1),
        point.astype(">f8"),
        point.view(np.int64),
    ):
        assert content(other) != content(point)


def test_choices_are_told_by_what_they_are_of() -> None:
    assert content(Way.UP) == content(Way("x"))
    assert len({content(w) for w in (Way.UP, Way.DOWN, OtherWay.UP, "x", "UP")}) == 5
