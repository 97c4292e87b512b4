"""What helps most: more wall of a tube, or a place moved along the tube that it is on.

Both from one case as it stands: the multipliers of its collapse and the displacements under its
loads tell the gain of any small change, so that nothing is run again (adjoint).
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from cagekit.cage.cage import Cage, Joint
from cagekit.geometry.arrays import Ints
from cagekit.geometry.centre_line import Vec
from cagekit.materials.steels import steel
from cagekit.materials.tubes import Tube
from cagekit.structure.collapse import Collapse, end_forces
from cagekit.structure.elements import Beams, beam_stiffness
from cagekit.structure.frame import Frame, shear_area
from cagekit.structure.model import Model
from cagekit.structure.solve import Loads, Response, Solver
from cagekit.units.tolerance import NOISE

STEP = 0.01
"""Change of a wall, or movement of a place, by which gains are taken, mm."""
MOVED = 10.0
"""Movement of a place for which gains are told, mm."""
LEAST = 0.001
"""A moved place that gains less, as a share of factor or stiffness, is not told."""
WAYS = (("forward", "back"), ("left", "right"), ("up", "down"))


class GainCase(Struct, frozen=True, kw_only=True, eq=False):
    """A case with what its gains are taken from.

    Args:
        model: the frame.
        coarse: the frame that is folded.
        solver: of the frame.
        loads: on the frame.
        response: first order.
        collapse: how it folds; None when nothing folds it.
    """

    model: Model
    coarse: Model
    solver: Solver
    loads: Loads
    response: Response
    collapse: Collapse | None

    @property
    def work(self) -> float:
        """Twice the work that the loads do, N mm: what falls as the frame gets stiffer."""
        f, moved = self.model.frame, self.response.moved
        total = float(np.sum(self.loads.at_nodes * moved))
        middle = moved[f.ends, :3].mean(axis=1)
        total += float(np.sum(middle * self.loads.on_beams * f.lengths[:, None]))
        return max(total, NOISE)


class Help(Struct, frozen=True, kw_only=True):
    """What more wall of one tube brings, for each kg.

    Args:
        member: its id.
        collapse: gain of the lowest collapse factor for each kg.
        stiffness: share by which its loaded places move less in that case, for each kg.
    """

    member: str
    collapse: float
    stiffness: float


class Shift(Struct, frozen=True, kw_only=True):
    """What it brings to move a place by ``MOVED`` along the tube that it is on.

    Args:
        place: ends of the tubes that meet there, e.g. ``hoop_diagonal end b``.
        parent: the tube along which it moves.
        way: which way along it gains: forward, back, left, right, up or down.
        collapse: gain of the lowest collapse factor.
        stiffness: share by which its loaded places move less in that case.
        mass: what the tubes that end there gain, kg.
    """

    place: str
    parent: str
    way: str
    collapse: float
    stiffness: float
    mass: float


def helps_of(case: GainCase, cage: Cage) -> tuple[Help, ...]:
    """What more wall of each tube brings, the best first."""
    out = []
    f = case.model.frame
    own = np.einsum(
        "mij,mj->mi",
        case.solver.beams.turn,
        case.response.moved.ravel()[case.solver.freedoms],
    )
    for m in cage.members.values():
        wall = min(m.tube.wall + STEP, m.tube.od / 2.001)
        more = Tube(od=m.tube.od, wall=wall, material=m.tube.material)
        step = more.wall - m.tube.wall
        heavier = m.path.length * (more.area - m.tube.area) * steel(m.tube.material).density
        if step <= 0 or heavier <= 0:
            continue
        stronger = more.plastic_modulus / m.tube.plastic_modulus - 1
        gain = 0.0
        if case.collapse is not None:
            gain = float(case.collapse.by_beam[list(case.coarse.beams_of(m.id))].sum()) * stronger
        beams = list(case.model.beams_of(m.id))
        saved = _saved(f, beams, more, own[beams]) / case.work if beams else 0.0
        out.append(Help(member=m.id, collapse=gain / heavier, stiffness=saved / heavier))
    return tuple(
        sorted(out, key=lambda h: (-round(h.collapse, 9), -round(h.stiffness, 9), h.member))
    )


def _saved(f: Frame, beams: list[int], more: Tube, own: Vec) -> float:
    """By how much the work of the loads falls when a tube's wall grows (adjoint), N mm."""
    e, g = f.young[beams], f.shear[beams]
    poisson = float(e[0] / (2 * g[0]) - 1)
    one = np.ones(len(beams))
    new = beam_stiffness(
        f.lengths[beams], e * more.area, e * more.second_moment, g * more.torsion_constant,
        g * shear_area(more, poisson) * one,
    )  # fmt: skip
    old = beam_stiffness(
        f.lengths[beams], e * f.area[beams], e * f.inertia[beams], g * f.torsion[beams],
        g * f.shear_area[beams],
    )  # fmt: skip
    return float(np.einsum("mi,mij,mj->", own, new - old, own))


# --- places -------------------------------------------------------------------------------------


def shifts_of(case: GainCase, cage: Cage) -> tuple[Shift, ...]:
    """What each free place brings when it is moved along its tube, the best first."""
    out = []
    for joints, along in _free_places(case.model, cage):
        move, coarse = (_field(m, cage, joints, along) for m in (case.model, case.coarse))
        gain = share = 0.0
        if case.collapse is not None:
            gain = _folds_later(case.coarse, case.collapse, coarse) * MOVED
            share = gain / case.collapse.factor
        stiffer = -_softer(case, move) / case.work * MOVED
        if max(abs(share), abs(stiffer)) < LEAST:
            continue
        sign = float(np.sign(share if abs(share) > LEAST else stiffer))
        axis = int(np.argmax(np.abs(along)))
        out.append(
            Shift(
                place=", ".join(f"{j.branch} end {j.branch_end}" for j in joints),
                parent=joints[0].parents[0],
                way=WAYS[axis][int(along[axis] * sign < 0)],
                collapse=gain * sign,
                stiffness=stiffer * sign,
                mass=sum(_heavier(cage, j, along) for j in joints) * MOVED * sign,
            )
        )
    return tuple(
        sorted(out, key=lambda s: (-round(s.collapse, 4), -round(s.stiffness, 9), s.place))
    )


def _free_places(model: Model, cage: Cage) -> Iterator[tuple[list[Joint], Vec]]:
    """Joints that can be moved along one parent, and its direction there, ``(3,)``.

    Straight tubes whose axes meet that of one parent, away from its ends and from pins.
    """
    at_node: dict[int, list[Joint]] = {}
    for j in cage.joints:
        at_node.setdefault(model.joints[j.id], []).append(j)
    ends = {n for m in cage.members for n in _end_nodes(model, m)}
    pinned = {n for p in model.pins for n in model.frame.ends[p.beam].tolist()}
    for node, joints in at_node.items():
        parents = {p for j in joints for p in j.parents}
        branches = [cage.member(j.branch) for j in joints]
        if (
            len(parents) != 1
            or not all(j.concentric for j in joints)
            or any(
                len(b.path.pieces) > 1 or pinned & set(_end_nodes(model, b.id)) for b in branches
            )
        ):
            continue
        (parent,) = parents
        others = {m for m in cage.members if any(n == node for _, n in model.nodes_of[m])}
        if others != {parent, *(b.id for b in branches)} or node in _end_nodes(model, parent):
            continue
        if node in ends:
            yield joints, np.asarray(cage.member(parent).path.nearest(joints[0].point).tangent)


def _end_nodes(model: Model, member: str) -> tuple[int, ...]:
    nodes = model.nodes_of[member]
    return nodes[0][1], nodes[-1][1]


def _field(model: Model, cage: Cage, joints: list[Joint], along: Vec) -> Vec:
    """How the nodes move as a place moves by 1 mm, ``(n, 3)``: its straight tubes stay straight."""
    out = np.zeros((len(model.frame.nodes), 3))
    for j in joints:
        length = cage.member(j.branch).path.length
        for station, node in model.nodes_of[j.branch]:
            far = station if j.branch_end == "a" else length - station
            out[node] = (1 - far / length) * along
    for other in (k for k in cage.joints if k.parents[0] in {j.branch for j in joints}):
        member, nodes = cage.member(other.branch), model.nodes_of[other.branch]
        if len(member.path.pieces) == 1:
            first, last = out[nodes[0][1]].copy(), out[nodes[-1][1]].copy()
            for station, node in nodes[1:-1]:
                share = station / member.path.length
                out[node] = (1 - share) * first + share * last
    return out


def _changed(model: Model, move: Vec) -> Iterator[tuple[Frame, float]]:
    """The beams that a movement of nodes changes, a little after and before, axes kept along."""
    frame = model.frame
    beams = np.flatnonzero(np.abs(move[frame.ends]).max(axis=(1, 2)) > 0)
    kept = {
        n: getattr(frame, n)[beams]
        for n in ("ends", "area", "inertia", "torsion", "shear_area", "young", "shear", "released")
    }
    for sign in (1.0, -1.0):
        nodes = frame.nodes + sign * STEP * move
        yield replace(frame, nodes=nodes, across=model.axes[beams, 1], **kept), sign / (2 * STEP)


def _of_nodes(values: Vec, ends: Ints) -> Vec:
    """Values ``(n, 6)`` at both ends of beams, ``(m, 12)``."""
    return np.asarray(values[ends].reshape(len(ends), 12))


def _softer(case: GainCase, move: Vec) -> float:
    """By how much the work of the loads grows for each mm, N: displacements kept (adjoint)."""
    out = 0.0
    for frame, share in _changed(case.model, move):
        moved = _of_nodes(case.response.moved, frame.ends)
        out -= share * float(np.einsum("mi,mij,mj->", moved, Beams(frame).in_car, moved))
    return out


def _folds_later(model: Model, collapse: Collapse, move: Vec) -> float:
    """By how much the collapse factor grows for each mm: forces and motion kept (adjoint)."""
    out = 0.0
    f = model.frame
    beams = np.flatnonzero(np.abs(move[f.ends]).max(axis=(1, 2)) > 0)
    for frame, share in _changed(model, move):
        ends = np.einsum("mij,mj->mi", end_forces(frame.lengths), collapse.forces[beams])
        in_car = np.einsum("mji,mj->mi", Beams(frame).turn, ends)
        out += share * float(np.sum(in_car * _of_nodes(collapse.rates, frame.ends)))
        # a longer beam is sheared less by the same moments
        out += share * float(np.sum(collapse.sheared[beams] * np.log(frame.lengths)))
    return out


def _heavier(cage: Cage, joint: Joint, along: Vec) -> float:
    """What a straight tube gains as its end moves by 1 mm, kg."""
    branch = cage.member(joint.branch)
    longer = float(along @ branch.path.out_direction(joint.branch_end))
    return longer * branch.tube.area * steel(branch.tube.material).density
