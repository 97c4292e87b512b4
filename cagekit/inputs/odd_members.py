"""Numbers of members that are not usual: told, or refused, with the lines that say them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from cagekit.errors import InputError
from cagekit.inputs.build import Build
from cagekit.inputs.entries import MemberEntry
from cagekit.inputs.messages import FileInputError
from cagekit.inputs.usual import odd_numbers


def require_possible_numbers(build: Build, entries: Iterable[MemberEntry]) -> None:
    """Refuse a number of a member that lies beyond what there can be.

    Args:
        build: that they are of, for its name and units.
        entries: new ones, which no file need say.

    Raises:
        InputError: the first, with its usual range.
    """
    for error in _odd(build, entries, refused=True):
        raise error


def require_possible_members(build: Build) -> None:
    """Refuse every number in a build's files that no member can have.

    Raises:
        InputError: tells file, line, field and the usual range of each.
    """
    found = list(_odd(build, build.entries, refused=True))
    if not found:
        return
    from cagekit.inputs.written import with_place

    placed = [with_place(error, build) for error in found]
    problems = [p for error in placed if isinstance(error, FileInputError) for p in error.problems]
    raise FileInputError(list(dict.fromkeys(problems))) if problems else found[0]


def unusual_members(build: Build) -> tuple[str, ...]:
    """Return a remark on every number of a member that is possible and not usual."""
    found = list(_odd(build, build.entries, refused=False))
    if not found:
        return ()
    from cagekit.inputs.written import with_place

    return tuple(dict.fromkeys(str(with_place(error, build)) for error in found))


def _odd(build: Build, entries: Iterable[MemberEntry], *, refused: bool) -> Iterator[InputError]:
    for entry in entries:
        for key, problem, hint, _ in odd_numbers("member", entry, build.units, refused=refused):
            where = f"{build.name} [members.{entry.id}]"
            yield InputError(where, str(key[0]).rstrip("_"), problem=problem, hint=hint)
