"""Results kept by the content of what went in, so that a change works out only what it touches.

A result that is kept is as right as its key. Keys are therefore made from every field of every
argument, never by hand: a field that is added later is in the key at once.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import fields, is_dataclass
from enum import Enum
from operator import attrgetter
from pathlib import Path
from threading import Lock
from typing import Any, ParamSpec, TypeVar, cast

import numpy as np
from msgspec import Struct

P = ParamSpec("P")
T = TypeVar("T")
H = TypeVar("H", bound=Hashable)

LIMIT = 12000
"""Results kept at most: some fifteen versions of a large cage."""
FEW = 4
"""A tuple of no more than this is hashed as quickly as its hash is found."""
OWN_CONTENT = "_content"
"""Where a frozen object with room for it keeps its own content."""


def content(value: object) -> Hashable:
    """Everything that a value is made of, as something to look up by.

    Two values of equal content are alike in every bit: 1 and 1.0, 0.0 and -0.0 are not.

    Raises:
        TypeError: the value, or something in it, is of a type whose content is not known.
    """
    kind = value.__class__
    if kind is str or value is None:
        return value
    way = _WAYS.get(kind)
    if way is None:
        _WAYS[kind] = way = _way_of(value)
    return way(value)


_WAYS: dict[type, Callable[[Any], Hashable]] = {}
"""How the content of a type is told: which of the ways it is hangs on the type alone."""


def _way_of(value: object) -> Callable[[Any], Hashable]:
    kind = value.__class__
    if kind is float:
        return _of_float
    if isinstance(value, Enum):
        return _of_choice
    if kind is int or kind is bool or kind is bytes or isinstance(value, Path | type):
        return _itself
    if isinstance(value, np.ndarray):
        return _of_array
    if isinstance(value, np.generic):
        return _of_scalar
    if isinstance(value, tuple | list):
        return _of_row
    if isinstance(value, Mapping):
        return _of_mapping
    if isinstance(value, frozenset):
        return _of_set
    if isinstance(value, Struct):
        keeps = hasattr(value, "__dict__") and value.__struct_config__.frozen
        return _of_record(kind, value.__struct_fields__, keeps=keeps)
    if is_dataclass(value):
        return _of_dataclass(kind, hasattr(value, "__dict__"))
    return _of_model if hasattr(kind, "model_fields") else _of_function


def _itself(value: Any) -> Hashable:
    return value.__class__, value


def _of_float(value: float) -> Hashable:
    # of what is equal only the two zeros differ in a bit
    return value if value else value.hex()


def _of_choice(value: Any) -> Hashable:
    return value.__class__, value.name


def _of_array(value: Any) -> Hashable:
    kind, told = value.dtype, cast(bytes, value.tobytes())
    if value.size == 3 and value.ndim == 1 and kind == _NUMBERS:
        return told  # a point's: of nothing else the content is bytes alone
    if kind.hasobject:
        raise TypeError("an array of objects has no content to look up by")
    return "array", kind.str, value.shape, told


_NUMBERS = np.dtype(float)


def _of_scalar(value: Any) -> Hashable:
    return value.__class__, value.tobytes()


def _of_row(value: Any) -> Hashable:
    return value.__class__, *map(content, value)


def _of_mapping(value: Any) -> Hashable:
    return value.__class__, tuple([(content(k), content(v)) for k, v in value.items()])


def _of_set(value: Any) -> Hashable:
    return value.__class__, frozenset(map(content, value))


def _of_model(value: Any) -> Hashable:
    """Of a model of a file."""
    return value.__class__, tuple(map(content, vars(value).values()))


def _of_function(value: Any) -> Hashable:
    if callable(value) and hasattr(value, "__qualname__"):
        return cast(Hashable, value)
    raise TypeError(f"{value.__class__.__name__} has no content to look up by")


def _of_dataclass(kind: Any, roomy: bool) -> Callable[[Any], Hashable]:
    """The way of a dataclass; what it works out of its fields at its start tells no more."""
    names = tuple(f.name for f in fields(kind) if f.init)
    return _of_record(kind, names, keeps=roomy and kind.__dataclass_params__.frozen)


def _of_record(
    kind: type, names: Sequence[str], *, keeps: bool = False
) -> Callable[[Any], Hashable]:
    """The way of a record: all that it is made from; a frozen one with room for it keeps it."""
    few = len(names) <= FEW and not keeps
    read: Callable[[Any], tuple[Any, ...]] = (
        attrgetter(*names)
        if len(names) > 1
        else lambda value: tuple(getattr(value, n) for n in names)
    )

    def told(value: Any) -> Hashable:
        parts = (kind, *[v if v.__class__ is str else content(v) for v in read(value)])
        return parts if few else _Content(parts)

    def told_once(value: Any) -> Hashable:
        own = value.__dict__
        found = own.get(OWN_CONTENT)
        if found is None:
            found = own[OWN_CONTENT] = told(value)
        return cast(Hashable, found)

    return told_once if keeps else told


class _Content(tuple[Hashable, ...]):
    """A tuple that works out its hash once."""

    def __hash__(self) -> int:
        """The hash of the tuple."""
        found = self._hash
        if found is None:
            found = self._hash = super().__hash__()
        return found

    def __reduce__(self) -> tuple[object, ...]:
        """As a plain tuple: in another process the hash is another."""
        return _Content, (tuple(self),)

    _hash: int | None = None


def hashed(parts: Iterable[H]) -> tuple[H, ...]:
    """A tuple to look up by more than once."""
    return cast(tuple[H, ...], _Content(parts))


class Same:
    """An object as a key: found again by that very object alone, which is held."""

    __slots__ = ("_held",)

    def __init__(self, held: object) -> None:
        self._held = held

    def __hash__(self) -> int:
        """By its address; it is held, so that no other gets it."""
        return id(self._held)

    def __eq__(self, other: object) -> bool:
        """Whether both hold one object."""
        return isinstance(other, Same) and self._held is other._held


MISSING = object()
"""Stands for a result that is not kept."""


class Kept:
    """Results of functions without side effects; the oldest go first when there are too many.

    One that was asked for again is not old: it waits once more before it goes. Nothing but a
    mark is set when it is asked for, without a lock: most of what is asked for is there.

    ``pause`` is called before something is worked out: whoever has to let others go first waits
    there, or leaves by an error of its own.
    """

    def __init__(self, limit: int = LIMIT) -> None:
        self._results: OrderedDict[Hashable, list[Any]] = OrderedDict()
        # each with whether anybody asked for it since it was last looked at
        self._limit = limit
        self._lock = Lock()
        self.pause: Callable[[], None] = lambda: None

    def __len__(self) -> int:
        """How many results are kept."""
        return len(self._results)

    def once(self, key: Hashable, make: Callable[[], T]) -> T:
        """What ``make`` gives, from before if it was asked for under this key already.

        The key must name everything that goes in: frozen objects by themselves, as equal objects
        of that kind are one and the same, files' tables as :class:`Same` or by :func:`content`.
        """
        found = self._results.get(key)
        if found is None:
            self.pause()
            found = self._keep(key, make())
        else:
            found[1] = True
        result: T = found[0]
        return result

    def _keep(self, key: Hashable, made: Any) -> list[Any]:
        """Keep what was made, unless another thread was quicker: the one that is kept."""
        results = self._results
        with self._lock:
            kept = results.setdefault(key, [made, False])
            while len(results) > self._limit:
                old, result = results.popitem(last=False)
                if result[1]:
                    result[1] = False
                    results[old] = result
            return kept

    def find(self, key: Hashable, missing: object = None) -> Any:
        """What is kept under this key, or what stands for it when nothing is."""
        found = self._results.get(key)
        if found is None:
            return missing
        found[1] = True
        return found[0]

    def holds(self, key: Hashable) -> bool:
        """Whether a result is kept under this key."""
        return key in self._results

    def each(self, keys: Sequence[Hashable], make: Callable[[list[int]], Sequence[T]]) -> list[T]:
        """One result for each key; ``make`` is asked, at one go, for the places not kept yet."""
        there = self._results.get
        found = [there(key) for key in keys]
        missing = [i for i, one in enumerate(found) if one is None]
        if missing:
            self.pause()
            for i, made in zip(missing, make(missing), strict=True):
                found[i] = self._keep(keys[i], made)
        out: list[T] = []
        for one in found:
            assert one is not None
            one[1] = True
            out.append(one[0])
        return out

    def same(self, value: T) -> T:
        """The first value of this content: what is keyed by the object itself is found again."""
        return self.once(("same", content(value)), lambda: value)

    def call(self, function: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> T:
        """What ``function`` gives for these arguments, from before if it was asked for already.

        What is returned is shared: the function must return what nobody changes. An error is not
        kept.
        """
        key = (function, content(args), content(kwargs))
        return self.once(key, lambda: function(*args, **kwargs))
