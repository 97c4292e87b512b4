"""What of a build can be made: a design without the entries that cannot, and why they cannot.

One tube that cannot be coped must not hide what is wrong elsewhere: the check goes on without it
and without what hangs on it, and says so.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import TYPE_CHECKING, TypeVar

from msgspec import Struct
from msgspec.structs import replace

from cagekit.assembly.assemble import assemble, members_only
from cagekit.cage.cage import Cage
from cagekit.cage.kept import Kept
from cagekit.errors import GeometryError, InputError
from cagekit.inputs.build import Build
from cagekit.inputs.plate import PlateEntry

if TYPE_CHECKING:
    from cagekit.design.design import Design

MakingError = GeometryError | InputError
Assembler = Callable[[Build, Kept], Cage]
OneDesign = TypeVar("OneDesign", bound="Design")

ALL_PLATES = "plates"
"""Name of what is left out when a plate that no entry asks for, or too many, cannot be made."""
MOST_LEFT_OUT = 6
"""Tubes, and plates, that a check goes on without, not counting what hangs on them: each costs
another look at the whole cage, and more are one mistake of the build."""


class LeftOut(Struct, frozen=True, kw_only=True):
    """A member or plate entry that a check goes on without.

    ``error`` is what it met; ``hangs`` tells that it would do but for what it hangs on.
    """

    id: str
    error: MakingError
    hangs: bool = False


def makeable(design: OneDesign) -> tuple[OneDesign, tuple[LeftOut, ...]]:
    """The design without the entries that cannot be made, and these; itself when all can.

    Args:
        design: of a whole build.

    Raises:
        InputError: a file says something that cannot be meant.
        GeometryError: less than half of the members could be made, or too many could not.
    """
    try:
        design.cage.require_cuts()
    except (GeometryError, InputError) as error:
        # before anything is left out, a place that does not exist is the file's fault
        if not isinstance(error, GeometryError):
            raise
        whole = error
    else:
        return design, ()
    from cagekit.inputs.written import entry_named, with_place

    build, out = design.build, list[LeftOut]()
    ids = {entry.id for entry in build.entries}

    def leave_out(name: str, fault: MakingError) -> None:
        told = with_place(fault, design.build)
        assert isinstance(told, GeometryError | InputError)
        if isinstance(told, GeometryError) and name in ids:
            told = _of_the_one_left_out(told, name)
        out.append(LeftOut(id=name, error=told, hangs=isinstance(fault, InputError)))

    while (fault := _fault(members_only, build, design.kept)) is not None:
        entry = entry_named(fault, build)
        if entry is None:
            raise whole
        leave_out(entry.id, fault)
        left = tuple(e for e in build.entries if e is not entry)
        build = replace(build, entries=left, as_written=False)
        few = 2 * len(build.entries) < len(design.build.entries)
        if few or sum(not row.hangs for row in out) > MOST_LEFT_OUT:
            raise whole
    tubes_out = len(out)
    while (fault := _fault(assemble, build, design.kept)) is not None:
        many = len(out) - tubes_out >= MOST_LEFT_OUT
        plate = None if many else _plate_at_fault(build, design.kept, fault)
        if plate is None:
            leave_out(ALL_PLATES, fault)
            try:
                tubes = members_only(build, design.kept)
            except InputError:
                # a foot stood on what was left out: that is at fault, not the foot
                raise whole from None
            return design.of_build(build, cage=tubes), tuple(out)
        at = getattr(plate, "at", "")
        leave_out(plate.id or f"{plate.kind} {'feet' if at is None else at}".strip(), fault)
        build = _without(build, plate)
    return design.of_build(build), tuple(out)


def _of_the_one_left_out(fault: GeometryError, name: str) -> GeometryError:
    """The fault told about the member that is left out, though another be the one it needs."""
    if fault.owner.startswith(name):
        return fault
    return type(fault)(name, f"{fault.owner} {fault.problem}", fault.hint)


def _fault(put_together: Assembler, build: Build, kept: Kept) -> MakingError | None:
    """What keeps a build from being put together and cut, the first of it; None when nothing."""
    try:
        put_together(build, kept).require_cuts()
    except (GeometryError, InputError) as error:
        return error
    return None


def _plate_at_fault(build: Build, kept: Kept, fault: MakingError) -> PlateEntry | None:
    """The plate entry without which this fault is gone; None when no single one is.

    Those that the message names are tried first: putting a cage together takes its time.
    """
    for plate in build.plates:
        if plate is fault.about:
            return plate
    said = str(fault)

    def unnamed(plate: PlateEntry) -> bool:
        return not re.search(rf"\b{re.escape(plate.id or plate.kind)}(_left|_right)?\b", said)

    for plate in sorted(build.plates, key=unnamed):
        other = _fault(assemble, _without(build, plate), kept)
        if other is None or _about(other) != _about(fault):
            return plate
    return None


def _about(fault: MakingError) -> tuple[object, ...]:
    """What a fault is about; its numbers may change with what else is left out."""
    if isinstance(fault, GeometryError):
        return (fault.owner,)
    return fault.where, fault.field, fault.value


def _without(build: Build, plate: PlateEntry) -> Build:
    left = tuple(p for p in build.plates if p is not plate)
    return replace(build, plates=left, as_written=False)
