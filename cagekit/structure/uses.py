"""How hard each tube works in a case: section forces, stress, plastic and buckling use."""

from __future__ import annotations

from collections.abc import Sequence
from collections.abc import Set as AbstractSet

import numpy as np
from msgspec import Struct

from cagekit.cage.cage import Cage
from cagekit.geometry.arrays import Ints
from cagekit.geometry.centre_line import Vec
from cagekit.materials.tubes import Tube
from cagekit.structure import sections
from cagekit.structure.model import Model
from cagekit.structure.solve import Loads, Response


class MemberUse(Struct, frozen=True, kw_only=True):
    """How hard one tube works in one case.

    Args:
        member: its id.
        normal: largest normal force, N, tension positive.
        shear: largest shear, N.
        torsion: largest torsion, N mm.
        moment: largest bending moment, N mm.
        stress: largest equivalent stress (von Mises), MPa.
        yielding: that stress over the yield strength there.
        plastic: how far the section is towards its fully plastic state, elastic forces.
        buckling: use in compression and bending between two nodes; 0 in tension.
        at: station of the largest ``plastic``, mm from end a.
    """

    member: str
    normal: float
    shear: float
    torsion: float
    moment: float
    stress: float
    yielding: float
    plastic: float
    buckling: float
    at: float

    @property
    def use(self) -> float:
        """The larger of section and buckling: what the picture colours by."""
        return max(self.plastic, self.buckling)


def inside(model: Model, response: Response, loads: Loads, beams: Sequence[int]) -> Vec:
    """Section forces of beams at first end, middle and second end, ``(b, 3, 6)`` N and N mm.

    N, Vy, Vz, T, My, Mz in the beam's own axes, as they act on the part before the section.
    """
    i = list(beams)
    f = response.forces[i]
    w = np.einsum("mij,mj->mi", model.axes[i], loads.on_beams[i])
    first, last = -f[:, :6], f[:, 6:]
    middle = (first + last) / 2
    bow = model.frame.lengths[i] ** 2 / 8
    middle[:, 4] += w[:, 2] * bow
    middle[:, 5] -= w[:, 1] * bow
    return np.stack([first, middle, last], axis=1)


class _Alike(Struct, frozen=True, kw_only=True, eq=False):
    """Beams of one tube: which, and their yield strength at both ends and in the middle."""

    tube: Tube
    beams: Ints
    fy: Vec


class _Struts(Struct, frozen=True, kw_only=True, eq=False):
    """The stretches of one tube between joints, feet and pins: first beam of each, length, mm."""

    tube: Tube
    fy: float
    beams: Ints
    starts: Ints
    spans: Vec


class UseReader:
    """A frame made ready to be read for any number of cases.

    Args:
        model: the frame.
        cage: its tubes.
    """

    def __init__(self, model: Model, cage: Cage) -> None:
        self.model = model
        members = cage.members
        by_tube: dict[Tube, list[int]] = {}
        for i, name in enumerate(model.member):
            if name:
                by_tube.setdefault(members[name].tube, []).append(i)
        self._alike = [_alike(model, tube, np.array(beams)) for tube, beams in by_tube.items()]
        chains = {p: t.pieces for t in cage.bolted for p in t.pieces}
        self._struts = {
            m.id: _struts(model, m.id, m.tube, chains.get(m.id, (m.id,))) for m in members.values()
        }

    def uses(self, response: Response, loads: Loads) -> tuple[MemberUse, ...]:
        """Use of every tube under one case, in build order."""
        count = len(self.model.member)
        forces = np.zeros((count, 3, 6))
        stress, yielding, plastic = np.zeros((3, count, 3))
        for alike in self._alike:
            at = alike.beams
            f = inside(self.model, response, loads, at.tolist())
            forces[at], stress[at] = f, sections.von_mises(alike.tube, f)
            yielding[at], plastic[at] = stress[at] / alike.fy, _plastic(alike, f)
        bent = np.hypot(forces[..., 4], forces[..., 5])
        sheared = np.hypot(forces[..., 1], forces[..., 2])
        out = []
        for name, struts in self._struts.items():
            b = struts.beams
            if not len(b):
                out.append(_unused(name))
                continue
            hardest = int(np.argmax(plastic[b]))
            low, high = self.model.stations[b[hardest // 3]]
            normal = forces[b, :, 0].ravel()
            out.append(
                MemberUse(
                    member=name,
                    normal=float(normal[np.argmax(np.abs(normal))]),
                    shear=float(sheared[b].max()),
                    torsion=float(np.abs(forces[b, :, 3]).max()),
                    moment=float(bent[b].max()),
                    stress=float(stress[b].max()),
                    yielding=float(yielding[b].max()),
                    plastic=float(plastic[b].max()),
                    buckling=_buckling(struts, forces[b, :, 0], bent[b]),
                    at=float(low + (high - low) * (hardest % 3) / 2),
                )
            )
        return tuple(out)


def _unused(name: str) -> MemberUse:
    return MemberUse(
        member=name, normal=0, shear=0, torsion=0, moment=0, stress=0, yielding=0, plastic=0,
        buckling=0, at=0,
    )  # fmt: skip


def _alike(model: Model, tube: Tube, beams: Ints) -> _Alike:
    y = sections.yield_of(tube.material)
    ends = model.welded[model.frame.ends[beams]]
    soft = np.stack([ends[:, 0], np.zeros(len(beams), bool), ends[:, 1]], axis=1)
    return _Alike(tube=tube, beams=beams, fy=np.where(soft, y.beside_weld, y.fy))


def _plastic(alike: _Alike, forces: Vec) -> Vec:
    """How far sections are towards their fully plastic state."""
    cap, fy = sections.capacity(alike.tube, 1.0), alike.fy
    bent = np.hypot(forces[..., 4], forces[..., 5])
    sheared = np.hypot(forces[..., 1], forces[..., 2])
    g = sections.gauge(forces[..., 0] / cap.normal / fy, bent / cap.bending / fy)
    return np.asarray(
        np.sqrt(g**2 + (forces[..., 3] / cap.torsion / fy) ** 2 + (sheared / cap.shear / fy) ** 2)
    )


def _struts(model: Model, member: str, tube: Tube, chain: Sequence[str]) -> _Struts:
    """The stretches of a member; ``chain`` are the pieces that it is bolted together of."""
    beams = list(model.beams_of(member))
    nodes = model.frame.ends[beams]
    held = set(model.joints.values()) | {f.node for f in model.feet} | {p.node for p in model.pins}
    starts, spans, start = [], [], 0
    for k in range(len(beams)):
        if k + 1 == len(beams) or int(nodes[k, 1]) in held or model.welded[nodes[k, 1]]:
            way = model.frame.nodes[nodes[k, 1]] - model.frame.nodes[nodes[start, 0]]
            starts.append(start)
            spans.append(float(np.linalg.norm(way)))
            start = k + 1
    if len(chain) > 1:
        spans = [_unheld(model, chain, held, beams[s]) for s in starts]
    return _Struts(
        tube=tube, fy=sections.yield_of(tube.material).fy, beams=np.array(beams, np.int64),
        starts=np.array(starts, np.int64), spans=np.array(spans),
    )  # fmt: skip


def _unheld(model: Model, chain: Sequence[str], held: AbstractSet[int], beam: int) -> float:
    """Length that nothing holds round a beam of a bolted tube, mm: no joint of it is a prop."""
    beams = [b for p in chain for b in model.beams_of(p)]
    own = [model.beams_of(p) for p in chain]
    cut = {int(model.frame.ends[b[k], k]) for i, b in enumerate(own) for k in (0, -1)
           if (i, k) not in ((0, 0), (len(own) - 1, -1))}  # fmt: skip
    stops = [
        k for k, b in enumerate(beams[:-1])
        if (n := int(model.frame.ends[b, 1])) not in cut and (n in held or model.welded[n])
    ]  # fmt: skip
    at = beams.index(beam)
    low = max((k + 1 for k in stops if k < at), default=0)
    high = min((k for k in stops if k >= at), default=len(beams) - 1)
    ends = model.frame.ends[beams[low], 0], model.frame.ends[beams[high], 1]
    return float(np.linalg.norm(model.frame.nodes[ends[1]] - model.frame.nodes[ends[0]]))


def _buckling(struts: _Struts, normal: Vec, bent: Vec) -> float:
    """Largest use as a strut between two joints, feet or pins."""
    push = np.maximum.reduceat(-normal.min(axis=1), struts.starts)
    bend = np.maximum.reduceat(bent.max(axis=1), struts.starts)
    used = sections.strut_utilisation(struts.tube, struts.fy, struts.spans, push, bend)
    return float(used.max())
