"""How versions of a cage that a copy of this process made come back: packed.

Most of a version is as it was before there were two: that goes over as a number alone, so that
versions of both halves have it in common as those of one have.
"""

from __future__ import annotations

import io
import pickle
from collections.abc import Callable, Sequence
from dataclasses import fields
from functools import lru_cache
from types import FunctionType
from typing import Any

import numpy as np

from cagekit.cage.cage import Cage
from cagekit.cage.kept import OWN_CONTENT, Kept
from cagekit.cage.member import Member
from cagekit.errors import CagekitError
from cagekit.geometry.arrays import Array
from cagekit.geometry.centre_line import Arc, CentreLine, Line
from cagekit.geometry.contact import CylinderPiece
from cagekit.geometry.end_cut import EndCut
from cagekit.process import Packing

CageOrError = Cage | CagekitError

SHARED = 64
"""So many versions pay for a second process."""


def packing(kept: Kept, first: Sequence[CageOrError]) -> Packing[CageOrError, list[bytes]]:
    """What packs cages and errors in a copy of this process, and what unpacks them here.

    Args:
        kept: what cages are worked out with; those of the copy are handed the one of this process.
        first: what was made before there were two.
    """
    known = known_by_number(kept, first)
    return (lambda made: packed(made, known)), (lambda lots: unpacked(lots, known))


def known_by_number(kept: Kept, made: Sequence[CageOrError]) -> list[object]:
    """All that cages are made of, as a list that is the same in both processes."""
    noting = _Noting(kept)
    noting.dump(made)
    return noting.known


def packed(made: Sequence[CageOrError], known: Sequence[object]) -> list[bytes]:
    """Cages and errors as bytes, some at a time.

    Args:
        made: what is packed.
        known: what goes over by its number.
    """
    numbers = {id(value): n for n, value in enumerate(known)}
    out = []
    for n in range(0, len(made), _LOT):
        stream = io.BytesIO()
        _Packer(stream, numbers).dump(made[n : n + _LOT])
        out.append(stream.getvalue())
    return out


def unpacked(lots: Sequence[bytes], known: Sequence[object]) -> list[CageOrError]:
    """Cages and errors that were packed by a process that has the same list."""
    return [made for lot in lots for made in _Unpacker(io.BytesIO(lot), known).load()]


_LOT = 32
"""Versions packed at one go: they have cuts in common that are scanned together."""


class _Packer(pickle.Pickler):
    """Writes what is known by its number, and of the rest what it is made from."""

    def __init__(self, stream: io.BytesIO, numbers: dict[int, int]) -> None:
        super().__init__(stream, pickle.HIGHEST_PROTOCOL)
        self._numbers = numbers

    def reducer_override(self, value: Any) -> Any:
        """How to write a value; plain ones never come here."""
        number = self._numbers.get(id(value))
        if number is not None:
            return _from_before, (number,)
        way = _WAYS.get(type(value))
        if way is not None:
            return way(value)
        if isinstance(value, type | FunctionType):
            return NotImplemented
        if isinstance(value, CagekitError):
            return _error, (type(value), value.args), vars(value)
        own: dict[str, Any] = getattr(value, "__dict__", {})
        if OWN_CONTENT in own:  # only to be found by, and told anew when that is asked
            how = value.__reduce_ex__(pickle.HIGHEST_PROTOCOL)
            return (*how[:2], {k: v for k, v in own.items() if k != OWN_CONTENT})
        return NotImplemented


class _Noting(_Packer):
    """Notes all that it comes by."""

    def __init__(self, kept: Kept) -> None:
        super().__init__(io.BytesIO(), {id(kept): 0})
        self.known: list[object] = [kept]

    def reducer_override(self, value: Any) -> Any:
        """As of what it is made from."""
        if value is not self.known[0] and not isinstance(value, type | FunctionType):
            self.known.append(value)
        return super().reducer_override(value)


class _Unpacker(pickle.Unpickler):
    def __init__(self, stream: io.BytesIO, known: Sequence[object]) -> None:
        super().__init__(stream)
        self._known = known

    def find_class(self, module: str, name: str) -> Any:
        """What a name stands for; what is known is found here."""
        if name == _from_before.__name__ and module == __name__:
            return self._known.__getitem__
        return super().find_class(module, name)


def _from_before(number: int) -> object:
    raise AssertionError(f"{number} is looked up by who unpacks it")


def _error(kind: type[CagekitError], args: tuple[Any, ...]) -> CagekitError:
    """An error that says the same; what it knows is filled in."""
    return kind.__new__(kind, *args)


def _array(data: bytes, kind: str, shape: tuple[int, ...]) -> Array:
    """An array that nobody writes in."""
    return np.frombuffer(data, kind).reshape(shape)


def _record(kind: Any, values: Sequence[object]) -> object:
    """One of a frozen dataclass, of the values of its fields in order."""
    new: object = object.__new__(kind)
    vars(new).update(zip(_names(kind), values, strict=True))
    return new


@lru_cache(maxsize=16)
def _names(kind: Any) -> tuple[str, ...]:
    return tuple(f.name for f in fields(kind))


def _values(value: Any) -> tuple[object, ...]:
    own, kind = vars(value), value.__class__
    return tuple([own[name] for name in _names(kind)])


def _packed_path(path: CentreLine) -> tuple[Any, ...]:
    first = path.pieces[0]
    if len(path.pieces) == 1 and isinstance(first, Line):
        return _straight, (first.start.tobytes() + first.end.tobytes(),)
    return CentreLine, (path.pieces,)


def _straight(data: bytes) -> CentreLine:
    start, end = np.frombuffer(data).reshape(2, 3)
    return CentreLine((Line(start, end),))


def _packed_cylinder(q: CylinderPiece) -> tuple[Any, ...]:
    data = q.start.tobytes() + q.axis.tobytes()
    return _cylinder, (q.owner, q.piece, data, q.radius, q.low, q.high)


def _cylinder(
    owner: str, piece: int, data: bytes, radius: float, low: float, high: float
) -> CylinderPiece:
    start, axis = np.frombuffer(data).reshape(2, 3)
    return CylinderPiece(
        owner=owner, piece=piece, start=start, axis=axis, radius=radius, low=low, high=high
    )


def _packed_cut(cut: EndCut) -> tuple[Any, ...]:
    """What it is made from, and what its scan tells; or with which others it is to be scanned."""
    names = ("_beside",) if cut.put_off else _SCANNED
    state = {name: vars(cut)[name] for name in names if name in vars(cut)}
    return _record, (EndCut, _values(cut)), state


_SCANNED = ("on", "windows", "tangents", "grid", "_scan", "steepest", "deepest", "sits")
"""What a scan tells of a cut; what else is worked out of it is so again."""

_WAYS: dict[type, Callable[[Any], tuple[Any, ...]]] = {
    np.ndarray: lambda a: (_array, (a.tobytes(), a.dtype.char, a.shape)),
    Line: lambda q: (Line, (q.start, q.end)),
    Arc: lambda q: (Arc, (q.start, q.centre, q.axis, q.angle)),
    CentreLine: _packed_path,
    CylinderPiece: _packed_cylinder,
    Member: lambda m: (_record, (Member, _values(m))),
    EndCut: _packed_cut,
    Cage: lambda cage: cage.packed(),
}
