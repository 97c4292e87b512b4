"""The ways to the same STEP file; each is run in a process of its own.

``python -m cagekit.benchmarks.ways WAY CAGE OUT`` with pickled name, members and plates; prints
the seconds since the process started its work. Each writes ``cage.step`` and a file for every part.
"""

from __future__ import annotations

import gc
import os
import pickle
import sys
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from cagekit.cage.cage import Cage
from cagekit.cage.member import Member
from cagekit.cage.plate import Plate
from cagekit.geometry.centre_line import CentreLine, Line
from cagekit.units.tolerance import VOLUME

MEMORY = 5 * 2**30
"""Address space of a process, bytes: the plain way has been seen to fill 24 GB."""
CORNER = 10.0
"""Corner radius of a frame's plates, mm."""
BEYOND = 40.0
"""How far (mm) the plain way lets a tube stand over before it is cut."""


def cagekit(cage: Cage, out: Path) -> None:
    """Write the solids down and read them back."""
    from cagekit.writers.step import write_files

    write_files(cage, out, kernel=False)


def checked(cage: Cage, out: Path) -> None:
    """The same as ``make`` does it: the kernel reads them back as well."""
    from cagekit.writers.step import write_files

    write_files(cage, out)


def plain(cage: Cage, out: Path) -> None:
    """Sweep rings and cut them, the way it is written by hand."""
    rods: dict[str, Any] = {}
    made = {i: by_hand(cage, member, rods) for i, member in cage.members.items()}
    made.update((p.id, _plate_by_hand(p)) for p in cage.plates)
    _save(made, out)


def _save(made: Mapping[str, Any], out: Path) -> None:
    """Save the whole, and every part in a file of its own, with CadQuery's own writers."""
    import cadquery as cq

    assembly = cq.Assembly(name="cage")
    for id_, shape in made.items():
        assembly.add(shape, name=id_, color=cq.Color(0.6, 0.6, 0.65))
        cq.exporters.export(cq.Workplane(obj=shape), str(out / f"{id_}.step"))
    assembly.save(str(out / "cage.step"))


def _plate_by_hand(plate: Plate) -> Any:
    """A flat plate with round holes, the way it is written by hand.

    Raises:
        ValueError: it is folded, or a hole is not round.
    """
    import cadquery as cq

    if plate.folds or not all(h.round_ for h in plate.holes):
        raise ValueError(plate.id)
    low, high = plate.outline.vertices.min(axis=0), plate.outline.vertices.max(axis=0)
    x, _, z, origin = (tuple(v) for v in plate.placement[:3].T)
    work = cq.Workplane(cq.Plane(origin=origin, xDir=x, normal=z))
    work = work.center(*(low + high) / 2).rect(*(high - low)).extrude(-plate.thickness)
    work = work.edges(cq.selectors.ParallelDirSelector(cq.Vector(*z))).fillet(CORNER)
    spots = [tuple(h.centre - (low + high) / 2) for h in plate.holes]
    return work.faces(cq.selectors.DirectionMinMaxSelector(cq.Vector(*z), True)).workplane(
        origin=origin
    ).pushPoints(spots).hole(plate.holes[0].diameter).val()  # fmt: skip


def by_hand(cage: Cage, member: Member, rods: dict[str, Any]) -> Any:
    """One tube as a CadQuery user makes it: a ring swept, cut by its parents' rods and by planes.

    Args:
        cage: where its parents are.
        member: the tube.
        rods: parents as solid rods by id, made when they are missing.
    """
    import cadquery as cq

    tube = _swept(member, _with_feet_longer(member), solid=False)
    for _, end in member.ends:
        for parent in end.parents:
            if parent not in rods:
                p = cage.members[parent]
                rods[parent] = _swept(p, _with_feet_longer(p), solid=True)
            tube = tube.cut(rods[parent])
        if end.plane is not None:
            plane = cq.Plane(origin=tuple(end.plane.point), normal=tuple(end.plane.normal))
            tube = tube.cut(cq.Workplane(plane).rect(400, 400).extrude(-100))
    return tube


def _swept(member: Member, path: CentreLine, *, solid: bool) -> Any:
    import cadquery as cq

    first = path.pieces[0]
    work = cq.Workplane(cq.Plane(origin=tuple(first.start), normal=tuple(first.direction)))
    work = work.circle(member.tube.outer_radius)
    if not solid:
        work = work.circle(member.tube.inner_radius)
    edges = []
    for piece in path.pieces:
        ends = [cq.Vector(*p) for p in (piece.start, piece.end)]
        if isinstance(piece, Line):
            edges.append(cq.Edge.makeLine(*ends))
        else:
            middle = cq.Vector(*piece.point(np.array(piece.length / 2)))
            edges.append(cq.Edge.makeThreePointArc(ends[0], middle, ends[1]))
    return work.sweep(cq.Workplane(cq.Wire.assembleEdges(edges)))


def _with_feet_longer(member: Member) -> CentreLine:
    """The path, standing over where it is cut by a plane."""
    corners = member.path.corners()
    for k, (name, end) in zip((0, -1), member.ends, strict=True):
        if end.plane is not None:
            corners[k] = corners[k] + BEYOND * member.path.out_direction(name)
    radii = [b.radius for b in member.path.bends]
    return CentreLine.from_polyline(corners, radii)


def floor(cage: Cage, out: Path) -> None:
    """Save shapes that another process finished and left beside the output."""
    from cagekit.solids.kernel import as_cadquery, from_bytes

    finished = pickle.loads((out / "finished").read_bytes())
    _save({i: as_cadquery(from_bytes(data)) for i, data in finished.items()}, out)


def finish(cage: Cage, out: Path) -> None:
    """Leave finished shapes for :func:`floor`."""
    from cagekit.solids.bodies import build_records
    from cagekit.solids.brep import Record
    from cagekit.solids.kernel import to_bytes, to_shape

    done = {
        i: to_bytes(to_shape(body)) if isinstance(body, Record) else body.data
        for i, body in build_records(cage).items()
    }
    (out / "finished").write_bytes(pickle.dumps(done))


def volumes(cage: Cage, out: Path) -> None:
    """Count the solids of a written file whose volume is off by more than 1e-5, or are unsound."""
    from cagekit.solids.bodies import expected_volumes
    from cagekit.solids.kernel_step import read_step

    wanted = expected_volumes(cage)
    wrong = 0
    for part in read_step(out / "cage.step"):
        size = part.volume or 0.0
        near = abs(size / wanted[part.name] - 1) <= VOLUME if part.name in wanted else False
        wrong += not (near and part.valid and part.solids == 1)
    print(wrong, file=sys.stderr)


WAYS = {
    "cagekit": cagekit,
    "checked": checked,
    "plain": plain,
    "floor": floor,
    "finish": finish,
    "volumes": volumes,
}


def main(way: str, cage_file: str, out: str) -> None:
    """Go one way and leave.

    Args:
        way: which one.
        cage_file: file with the cage.
        out: folder to write to.
    """
    start = time.perf_counter()
    _limit()
    name, members, plates = pickle.loads(Path(cage_file).read_bytes())
    cage = Cage(name, members, plates=plates)
    gc.collect()
    WAYS[way](cage, Path(out))
    print(f"{time.perf_counter() - start:.3f}", flush=True)
    # taking the kernel down again costs a fifth of a second and proves nothing
    sys.stderr.flush()
    os._exit(0)


def _limit() -> None:
    try:
        import resource
    except ImportError:
        return
    _, hard = resource.getrlimit(resource.RLIMIT_AS)
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, hard))


if __name__ == "__main__":
    main(*sys.argv[1:4])
