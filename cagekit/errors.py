"""Errors that carry fields, each also the built-in a caller would expect."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any


class CagekitError(Exception):
    """Base of every error that cagekit raises on purpose.

    ``exit_code`` is what the command line returns for it (see the contract: 2 wrong usage or
    input, 3 geometry or kernel could not make it).
    """

    exit_code = 2
    about: object = None
    """The entry of a file that it is about, where the one who raised it does not know its line."""


@contextmanager
def about(entry: object) -> Iterator[None]:
    """Have errors raised inside know the entry that they are about."""
    try:
        yield
    except CagekitError as error:
        if error.about is None:
            error.about = entry
        raise


class InputError(CagekitError, ValueError):
    """What a person typed, or a file says, cannot be used.

    Args:
        where: file, table or option that holds the value, e.g. ``"my-build.toml:12 [tube]"``.
        field: name of the field.
        value: the offending value, as typed.
        problem: what is wrong with it.
        hint: what would do.
    """

    exit_code = 2

    def __init__(
        self, where: str, field: str = "", value: Any = None, *, problem: str, hint: str = ""
    ) -> None:
        self.where, self.field, self.value = where, field, value
        self.problem, self.hint = problem, hint
        shown = f" = {value!r}" if value is not None else ""
        name = f"{field}{shown}: " if field else ""
        super().__init__(f"{where}: {name}{problem}" + (f" {hint}" if hint else ""))


class GeometryError(CagekitError, ValueError):
    """A shape that cannot be made as asked.

    Args:
        owner: member, plate or joint that cannot be made.
        problem: what is wrong, with numbers.
        hint: what would do.
    """

    exit_code = 3

    def __init__(self, owner: str, problem: str, hint: str = "") -> None:
        self.owner, self.problem, self.hint = owner, problem, hint
        super().__init__(f"{owner}: {problem}" + (f" {hint}" if hint else ""))

    def within(self, owner: str) -> GeometryError:
        """Return the same error told about ``owner``."""
        return type(self)(owner, self.problem, self.hint)


class CopeError(GeometryError):
    """A tube end that cannot be coped to its parents."""


class StandError(CopeError):
    """A tube end that leans too far to stand on its plate.

    Args:
        owner: the end.
        problem: what is wrong, with numbers.
        hint: what would do.
        foot: place of the car sheet that it stands on, ``left.rear_foot``, where it is one.
    """

    def __init__(self, owner: str, problem: str, hint: str = "", foot: str = "") -> None:
        super().__init__(owner, problem, hint)
        self.foot = foot

    def within(self, owner: str) -> StandError:
        """Return the same error told about ``owner``."""
        return StandError(owner, self.problem, self.hint, self.foot)

    def on(self, foot: str) -> StandError:
        """Return the same error about an end that stands on a place of the car sheet."""
        hint = (
            f"Turn the sheet of {foot} towards the tube (`normal` in the car sheet), or check on "
            "which side of it the tube lies."
        )
        return StandError(self.owner, self.problem, hint, foot)


class NoHolderError(GeometryError):
    """A member that hangs on one of several kinds, of which the cage has none."""


class KernelError(CagekitError, RuntimeError):
    """The CAD kernel could not make, write or verify a shape."""

    exit_code = 3


class NotFoundError(CagekitError, LookupError):
    """A preset, member or place that does not exist under that name."""


class OutputError(CagekitError, OSError):
    """A file or folder could not be written; nothing was left half done."""
