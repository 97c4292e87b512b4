"""Members, plates and small parts as solids: written down where that goes, else by the kernel."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from contextlib import ExitStack
from functools import partial
from typing import TYPE_CHECKING

from cagekit.cage.colours import PART, PLATE, Colour, member_colour
from cagekit.errors import KernelError
from cagekit.solids.brep import Record
from cagekit.solids.creases import Refused
from cagekit.solids.fallback import KernelSolid
from cagekit.solids.measure import RecordMeasures, measure, measures
from cagekit.solids.sheet import plate_record
from cagekit.solids.tube import TubeToWrite, tube_records
from cagekit.solids.turned import small_part_record
from cagekit.solids.worker import KernelWorker
from cagekit.units.tolerance import MICRON, VOLUME

if TYPE_CHECKING:
    import cadquery

    from cagekit.cage.cage import Cage
    from cagekit.cage.door import SmallPart
    from cagekit.cage.plate import Plate

SolidBody = Record | KernelSolid

VOLUME_TOL = VOLUME
"""Relative difference of volumes above which a solid is wrong."""
SURFACE_TOL = MICRON
"""Distance (mm) of an edge from its surfaces above which a solid is wrong."""

GetWorker = Callable[[], KernelWorker]


def build_records(
    cage: Cage,
    *,
    worker: KernelWorker | None = None,
    by_kernel: Collection[str] = (),
    left_out: dict[str, str] | None = None,
) -> Mapping[str, SolidBody]:
    """Solids of all members, plates and small parts, by id, members first.

    Args:
        cage: the cage.
        worker: kernel process for what cannot be written down; one is started when needed.
        by_kernel: members that are left to the kernel in any case.
        left_out: what to leave out, with why; what cannot be made is added to it. Without it the
            first that cannot be made raises.

    Raises:
        KernelError: a solid cannot be made, or not with the volume it must have.
        CopeError: an end cannot be coped.
    """
    with ExitStack() as stack:
        started: list[KernelWorker] = [worker] if worker is not None else []

        def kernel() -> KernelWorker:
            if not started:
                started.append(stack.enter_context(KernelWorker()))
            return started[0]

        ways: dict[str, Callable[[], SolidBody]] = {}
        skipped = {*by_kernel, *(left_out or ())}
        written = _written(cage, [i for i in cage.members if i not in skipped])
        for i in cage.members:
            if i in by_kernel:
                ways[i] = partial(kernel_body, cage, i, kernel)
            else:
                ways[i] = partial(member_body, cage, i, kernel, written=written.get(i))
        ways.update((p.id, partial(plate_body, p)) for p in cage.plates)
        ways.update((p.id, partial(small_part_body, p)) for p in cage.hardware)
        return _made(ways, left_out)


def _made(
    ways: Mapping[str, Callable[[], SolidBody]], left_out: dict[str, str] | None
) -> dict[str, SolidBody]:
    """Make solids one after the other; those that fail go into ``left_out``."""
    out = {}
    for id_, way in ways.items():
        if left_out is not None and id_ in left_out:
            continue
        try:
            out[id_] = way()
        except KernelError as error:
            if left_out is None:
                raise
            left_out[id_] = str(error)
    return out


MeasuredRecord = tuple[Record, RecordMeasures]
"""A boundary written down, and what it measures."""


def _written(cage: Cage, ids: Sequence[str]) -> dict[str, MeasuredRecord | Refused]:
    """Members' boundaries written down side by side, or why one cannot be, by id."""
    tubes = [
        TubeToWrite(name=i, path=(m := cage.member(i)).path, cut_a=a, cut_b=b, drills=m.drills)
        for i, (a, b) in zip(ids, cage.cuts(ids), strict=True)
    ]
    made = dict(zip(ids, tube_records(tubes), strict=True))
    out: dict[str, MeasuredRecord | Refused] = {
        i: q for i, q in made.items() if isinstance(q, Refused)
    }
    records = {i: q for i, q in made.items() if isinstance(q, Record)}
    sizes = measures(list(records.values()))
    out.update(zip(records, zip(records.values(), sizes, strict=True), strict=True))
    return out


def member_body(
    cage: Cage,
    id_: str,
    kernel: GetWorker | None = None,
    *,
    written: MeasuredRecord | Refused | None = None,
) -> SolidBody:
    """One member's solid; arguments and errors as :func:`build_records`.

    Args:
        cage: the whole cage.
        id_: id of the member.
        kernel: gives the process that the kernel works in; one of its own when None.
        written: its boundary and measures, or why there is none, when that is known.
    """
    known = written if written is not None else _written(cage, [id_])[id_]
    if not isinstance(known, Refused):
        try:
            return _sound(*known, cage.volume(id_))
        except Refused as reason:
            known = reason
    return kernel_body(cage, id_, kernel, why=str(known))


def kernel_body(
    cage: Cage, id_: str, kernel: GetWorker | None = None, *, why: str = "it was asked for"
) -> KernelSolid:
    """One member's solid by the kernel's boolean; ``why`` it is not written down is told.

    Args:
        cage: the whole cage.
        id_: id of the member.
        kernel: gives the process that the kernel works in; one of its own when None.
        why: what the direct way refused, for the message.

    Raises:
        KernelError: the kernel cannot make or read it; names the part.
    """
    wanted = cage.volume(id_)
    member = cage.member(id_)
    cuts = cage.cut(id_, "a"), cage.cut(id_, "b")
    job = "boolean", id_, member.path, *cuts, wanted, member.drills
    cure = "Move its end onto the centre line of its parents."
    try:
        if kernel is not None:
            solid = kernel().call(*job)
        else:
            with KernelWorker() as own:
                solid = own.call(*job)
    except KernelError as error:
        problem = str(error).removeprefix(f"{id_}: ")
        raise KernelError(
            f"{id_}: cannot be written down ({why}), nor cut by the kernel: {problem} {cure}"
        ) from None
    assert isinstance(solid, KernelSolid)
    off = solid.volume / wanted - 1
    if abs(off) > VOLUME_TOL:
        raise KernelError(
            f"{id_}: cannot be written down ({why}), and the kernel's cut is off by {off:.1e} of "
            f"the volume. {cure}"
        )
    return solid


def _sound(record: Record, found: RecordMeasures, wanted: float) -> Record:
    """Pass a record on when it is closed and holds the volume that path and cuts ask for."""
    errors = record.closure_errors(tol=MICRON)
    if errors:
        raise Refused(f"its boundary is not closed ({errors[0]})")
    if found.gap > SURFACE_TOL:
        raise Refused(f"an edge lies {found.gap:.2g} mm off its surface")
    off = found.volume / wanted - 1
    if abs(off) > VOLUME_TOL:
        raise Refused(f"its boundary holds {off:+.1e} of the volume")
    return record


def plate_body(plate: Plate) -> SolidBody:
    """One plate's solid, in car axes; KernelError when it cannot be made.

    Raises:
        KernelError: the kernel cannot make or read it; names the part.
    """
    return _written_body(plate.id, partial(plate_record, plate), plate.volume)


def small_part_body(part: SmallPart) -> SolidBody:
    """One small part's solid, in car axes; KernelError when it cannot be made.

    Raises:
        KernelError: the kernel cannot make or read it; names the part.
    """
    return _written_body(part.id, partial(small_part_record, part), part.volume)


def _written_body(id_: str, write: Callable[[], Record], wanted: float) -> Record:
    """The solid of something that is written down or cannot be made; errors as above."""
    try:
        record = write()
        return _sound(record, measure(record), wanted)
    except Refused as reason:
        raise KernelError(f"{id_}: {reason}.") from None


def expected_volumes(cage: Cage) -> Mapping[str, float]:
    """Volume that every solid must have, mm3, from path, cut and pattern alone."""
    out = {i: cage.volume(i) for i in cage.members}
    out.update((p.id, p.volume) for p in cage.plates)
    out.update((p.id, p.volume) for p in cage.hardware)
    return out


def colours(cage: Cage) -> Mapping[str, Colour]:
    """Colour of every solid, by id."""
    out = {m.id: member_colour(m) for m in cage.members.values()}
    out.update((p.id, PLATE) for p in cage.plates)
    out.update((p.id, PART) for p in cage.hardware)
    return out


def member_solid(cage: Cage, id_: str) -> cadquery.Solid:
    """A member as CadQuery's own solid, in car axes, mm.

    Raises:
        KernelError: the kernel is missing or the solid cannot be made.
    """
    return to_cadquery(member_body(cage, id_))


def plate_solid(plate: Plate) -> cadquery.Solid:
    """A plate, as folded, as CadQuery's own solid, in car axes, mm."""
    return to_cadquery(plate_body(plate))


def to_cadquery(body: SolidBody) -> cadquery.Solid:
    """Wrap a solid for CadQuery."""
    from cagekit.solids import kernel

    if isinstance(body, Record):
        return kernel.as_cadquery(kernel.to_shape(body))
    return kernel.as_cadquery(kernel.from_bytes(body.data))


def cage_assembly(cage: Cage) -> cadquery.Assembly:
    """The whole cage as CadQuery's own assembly: cage / group / part, a colour per role."""
    import cadquery as cq

    bodies, colour = build_records(cage), colours(cage)
    out = cq.Assembly(name=plain_name(cage.name))
    for group, ids in groups(cage).items():
        inner = cq.Assembly(name=group)
        for i in ids:
            inner.add(to_cadquery(bodies[i]), name=i, color=cq.Color(*colour[i]))
        out.add(inner)
    return out


def groups(cage: Cage) -> Mapping[str, tuple[str, ...]]:
    """Ids of members, plates and small parts by the group they stand in."""
    out: dict[str, tuple[str, ...]] = {}
    if cage.members:
        out["tubes"] = tuple(cage.members)
    if cage.plates:
        out["plates"] = tuple(p.id for p in cage.plates)
    if cage.hardware:
        out["parts"] = tuple(p.id for p in cage.hardware)
    return out


def plain_name(name: str) -> str:
    """A name made of letters, digits and ``_`` only, which is what CAD trees take."""
    return "".join(c if c.isascii() and c.isalnum() else "_" for c in name) or "cage"
