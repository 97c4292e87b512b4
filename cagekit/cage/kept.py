"""Results kept by the content of what went in, so that a change works out only what it touches.

A result that is kept is as right as its key. Keys are therefore made from every field of every
argument, never by hand: a field that is added later is in the key at once.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import fields, is_dataclass
from enum import Enum
from functools import lru_cache
from pathlib import Path
from threading import Lock
from typing import Any, ParamSpec, TypeVar, cast

import numpy as np

P = ParamSpec("P")
T = TypeVar("T")
H = TypeVar("H", bound=Hashable)

LIMIT = 12000
"""Results kept at most: some fifteen versions of a large cage."""
OWN_CONTENT = "_content"
"""Where a frozen object with room for it keeps its own content."""


def content(value: object) -> Hashable:
    """Everything that a value is made of, as something to look up by.

    Two values of equal content are alike in every bit: 1 and 1.0, 0.0 and -0.0 are not.

    Raises:
        TypeError: the value, or something in it, is of a type whose content is not known.
    """
    kind = value.__class__
    if kind is str or kind is bytes or value is None:
        return value
    if kind is float:
        return cast(float, value).hex()
    if kind is int or kind is bool or isinstance(value, Enum | Path | type):
        return kind, value
    if isinstance(value, np.ndarray):
        if value.dtype.hasobject:
            raise TypeError("an array of objects has no content to look up by")
        return "array", value.dtype.str, value.shape, value.tobytes()
    if isinstance(value, np.generic):
        return kind, value.tobytes()
    if isinstance(value, tuple | list):
        return kind, tuple(map(content, value))
    if isinstance(value, Mapping):
        return kind, tuple((content(k), content(v)) for k, v in value.items())
    if isinstance(value, frozenset):
        return kind, frozenset(map(content, value))
    if is_dataclass(value):
        return _of_dataclass(value)
    if hasattr(kind, "model_fields"):  # a model of a file
        return kind, tuple(content(v) for v in vars(value).values())
    if callable(value) and hasattr(value, "__qualname__"):
        return value
    raise TypeError(f"{kind.__name__} has no content to look up by")


def _of_dataclass(value: Any) -> Hashable:
    own = getattr(value, "__dict__", None)
    if own is not None and OWN_CONTENT in own:
        return cast(Hashable, own[OWN_CONTENT])
    kind = value.__class__
    found = _Content((kind, *(content(getattr(value, n)) for n in _fields(kind))))
    if own is not None and kind.__dataclass_params__.frozen:
        own[OWN_CONTENT] = found
    return found


@lru_cache(maxsize=256)
def _fields(kind: Any) -> tuple[str, ...]:
    return tuple(f.name for f in fields(kind))


class _Content(tuple[Hashable, ...]):
    """A tuple that works out its hash once."""

    def __hash__(self) -> int:
        """The hash of the tuple."""
        try:
            return self._hash
        except AttributeError:
            self._hash = super().__hash__()
            return self._hash

    def __reduce__(self) -> tuple[object, ...]:
        """As a plain tuple: in another process the hash is another."""
        return _Content, (tuple(self),)

    _hash: int


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


class Kept:
    """Results of functions without side effects; the oldest go first when there are too many.

    ``pause`` is called before something is worked out: whoever has to let others go first waits
    there, or leaves by an error of its own.
    """

    def __init__(self, limit: int = LIMIT) -> None:
        self._results: OrderedDict[Hashable, Any] = OrderedDict()
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
        with self._lock:
            if key in self._results:
                self._results.move_to_end(key)
                return cast(T, self._results[key])
        self.pause()
        made = make()
        with self._lock:
            made = self._results.setdefault(key, made)
            if len(self._results) > self._limit:
                self._results.popitem(last=False)
        return made

    def find(self, key: Hashable) -> Any:
        """What is kept under this key; None when nothing is."""
        with self._lock:
            if key not in self._results:
                return None
            self._results.move_to_end(key)
            return self._results[key]

    def holds(self, key: Hashable) -> bool:
        """Whether a result is kept under this key."""
        with self._lock:
            return key in self._results

    def each(self, keys: Sequence[Hashable], make: Callable[[list[int]], Sequence[T]]) -> list[T]:
        """One result for each key; ``make`` is asked, at one go, for the places not kept yet."""
        with self._lock:
            found = {i: self._results[k] for i, k in enumerate(keys) if k in self._results}
            for i in found:
                self._results.move_to_end(keys[i])
        missing = [i for i in range(len(keys)) if i not in found]
        if missing:
            self.pause()
        made = make(missing) if missing else ()
        with self._lock:
            for i, one in zip(missing, made, strict=True):
                found[i] = self._results.setdefault(keys[i], one)
                if len(self._results) > self._limit:
                    self._results.popitem(last=False)
        return [cast(T, found[i]) for i in range(len(keys))]

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
