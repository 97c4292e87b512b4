"""Bolted joints of tubes that come apart, under a case: bolts, sleeves, forks, eyes, collars.

Each stands in the frame as a node between two stiff beams; what passes through it is read there
and shared out by statics. Partial factors as in `structure.joints`.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import hypot, pi
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from cagekit.cage.bolted import BoltedJoint, ClevisJoint, PlugJoint, SleeveJoint
from cagekit.cage.plate import PinEar
from cagekit.geometry.arrays import Vec, cross3
from cagekit.materials.fasteners import Fastener, fastener
from cagekit.materials.steels import steel
from cagekit.structure.joints import (
    AISC_PIN,
    EN_BOLT,
    EN_PIN,
    EN_WELD,
    GAMMA_M2,
    Attachment,
    bolt_shear,
    correlation,
    fillet_strength,
    pin_plate,
    pin_use,
    ring_weld,
)
from cagekit.structure.sections import yield_of

if TYPE_CHECKING:
    from cagekit.structure.cases import LoadScene
    from cagekit.structure.model import BoltNode, Model
    from cagekit.structure.solve import Response

EN_SECTION = "EN 1993-1-1, 6.2.1 (5), elastic"


class Passed(Struct, frozen=True, kw_only=True):
    """What passes through a joint at its middle, in its own axes.

    N: ``along`` the tube, ``bolt`` along the bolts, ``side`` square to both; N mm: ``torsion``
    about the tube, ``about_side`` about the way square to tube and bolts, ``about_bolt``.
    """

    along: float
    bolt: float
    side: float
    torsion: float
    about_side: float
    about_bolt: float


def plane_shear(bolt: Fastener, *, threads: bool) -> float:
    """Shear strength of a bolt in one plane, N; with the shank in it when not ``threads``.

    Source: EN 1993-1-8, Table 3.4.
    """
    return bolt_shear(bolt) if threads else 0.6 * bolt.fu * pi / 4 * bolt.diameter**2 / GAMMA_M2


def bearing(fu: float, bolt: Fastener, *, hole: float, end: float, thickness: float) -> float:
    """Strength of a wall that a bolt bears on towards an end, N.

    Args:
        fu: tensile strength of the wall, MPa.
        bolt: what bears on it.
        hole: diameter, mm.
        end: from the hole's middle to the end of the wall along the load, mm.
        thickness: of the wall, mm.

    Source: EN 1993-1-8, Table 3.4, metal to the sides as wide as counts (k1 = 2.5).
    """
    share = min(end / (3 * hole), bolt.fu / fu, 1.0)
    return 2.5 * share * fu * bolt.diameter * thickness / GAMMA_M2


def lug_stress(
    thickness: float, width: float, arm: float, *, pull: float, out: float, inside: float,
    moment: float,
) -> float:  # fmt: skip
    """Largest stress at the foot of a flat with a bolt through its end, MPa.

    Args:
        thickness: of the flat, mm.
        width: of the flat, mm.
        arm: bolt to foot, mm.
        pull: along the flat, N.
        out: square to its faces, N.
        inside: across its width, N.
        moment: that bends it out of its plane at the bolt, N mm.

    Source: EN 1993-1-1, 6.2.1 (5): elastic stresses added.
    """
    bent_out = abs(moment) + abs(out) * arm
    bent_in = abs(inside) * arm
    return (
        abs(pull) / (width * thickness)
        + 6 * bent_out / (width * thickness**2)
        + 6 * bent_in / (thickness * width**2)
    )


def bolted_joints(scene: LoadScene, model: Model, response: Response) -> Iterator[Attachment]:
    """Every bolted joint under one case."""
    for node in model.bolted:
        passed = _passed(model, response, node)
        if isinstance(node.joint, ClevisJoint):
            yield from _clevis(node, node.joint, passed)
        elif isinstance(node.joint, SleeveJoint):
            yield from _sleeve(scene, node, node.joint, passed)
        elif isinstance(node.joint, PlugJoint):
            yield from _plug(node, node.joint, passed)
        if node.joint.welded:
            yield from _collars(scene, model, response, node)


def _passed(model: Model, response: Response, node: BoltNode) -> Passed:
    """Forces on the joint from end a of the tube."""
    local = response.forces[node.beam, 6:]
    axes = model.axes[node.beam]
    force, moment = local[:3] @ axes, local[3:] @ axes
    j = node.joint
    side = cross3(j.along, j.across)
    return Passed(
        along=float(force @ j.along),
        bolt=float(force @ j.across),
        side=float(force @ side),
        torsion=float(moment @ j.along),
        about_side=float(moment @ side),
        about_bolt=float(moment @ j.across),
    )


def _told(
    node: BoltNode, kind: str, use: float, source: str, text: str, subject: str = ""
) -> Attachment:
    x, y, z = (float(v) for v in node.joint.origin)
    return Attachment(
        kind=kind, subject=subject or node.joint.id, use=use, source=source, text=text,
        members=node.pieces, point=(x, y, z),
    )  # fmt: skip


def _threads(joint: BoltedJoint) -> str:
    return ", thread in a shear plane" if joint.in_thread else ""


def _clevis(node: BoltNode, j: ClevisJoint, p: Passed) -> Iterator[Attachment]:
    """The bolt in double shear and bending, then eye and cheeks round and behind it."""
    bolt, metal = fastener(j.size.thread, j.grade), steel(j.material)
    fy = yield_of(j.material).fy
    force, moment = hypot(p.along, p.side), hypot(p.torsion, p.about_side)
    use, text = pin_use(
        j.size.diameter, (bolt.fy, bolt.fu), force, moment, cheek=j.cheek,
        gap=(j.slot - j.eye) / 2, middle=j.eye, thread=bolt_shear(bolt) if j.in_thread else None,
    )  # fmt: skip
    yield _told(node, "joint_bolt", use, EN_PIN, f"{text} of the bolt{_threads(j)}")
    lever = j.slot + j.cheek
    flats = (
        ("eye", j.eye, force, (p.along, p.side, p.about_side)),
        (
            "cheek",
            j.cheek,
            force / 2 + moment / lever,
            (abs(p.along) / 2 + abs(p.about_side) / lever,
             abs(p.side) / 2 + abs(p.torsion) / lever, 0.0),
        ),
    )  # fmt: skip
    for name, thick, on_bolt, (pull, inside, bent) in flats:
        ear = PinEar(
            a=(j.width - j.hole) / 2, width=j.width, side=(j.width - j.hole) / 2, hole=j.hole,
            pin=j.size.diameter, thickness=thick,
        )  # fmt: skip
        round_ = on_bolt / pin_plate(ear, fy, metal.fu).least
        foot = lug_stress(
            thick, j.width, j.stand, pull=pull, out=p.bolt, inside=inside, moment=bent
        ) / fy  # fmt: skip
        worst, source = (round_, AISC_PIN) if round_ >= foot else (foot, EN_SECTION)
        where = "round the bolt" if round_ >= foot else "at its foot"
        yield _told(node, "joint_part", worst, source, f"{name}, {where}", f"{j.id} {name}")


def _sleeve(scene: LoadScene, node: BoltNode, j: SleeveJoint, p: Passed) -> Iterator[Attachment]:
    """Bolts share pull and torsion alike; the sleeve alone carries all of it over the cut."""
    bolt, metal = fastener(j.size.thread, j.grade), steel(j.material)
    tube = scene.cage.member(node.pieces[0]).tube
    n = len(j.bolts) // 2
    plane = hypot(abs(p.along) / (2 * n), abs(p.torsion) / (n * tube.od))
    use = plane / plane_shear(bolt, threads=j.in_thread)
    yield _told(
        node, "joint_bolt", use, EN_BOLT,
        f"shear of {n} bolts on each side, load shared alike{_threads(j)}",
    )  # fmt: skip
    end = j.length / 2 - max(abs(x) for x in j.bolts)
    holds = bearing(metal.fu, bolt, hole=j.size.sleeve_bore, end=end, thickness=j.wall)
    bears = plane / holds
    section = _ring_stress(p, j.od, j.bore, j.size.sleeve_bore) / yield_of(j.material).fy
    worst, source = (bears, EN_BOLT) if bears >= section else (section, EN_SECTION)
    text = "sleeve, bearing of its bolts" if bears >= section else "sleeve over the cut"
    yield _told(node, "joint_part", worst, source, text, f"{j.id} wall")


def _plug(node: BoltNode, j: PlugJoint, p: Passed) -> Iterator[Attachment]:
    """The bolt holds against pull and torsion, the taper against pressing and bending."""
    bolt, metal = fastener(j.size.thread, j.grade), steel(j.material)
    pull = max(p.along, 0.0)
    plane = hypot(pull / 2, p.torsion / j.od)
    use = plane / plane_shear(bolt, threads=j.in_thread)
    text = f"shear of the bolt under pull and torsion{_threads(j)}"
    yield _told(node, "joint_bolt", use, EN_BOLT, text)
    holds = bearing(metal.fu, bolt, hole=j.hole, end=j.nose / 2, thickness=j.nose_od)
    bears = 2 * plane / holds
    section = _ring_stress(p, j.od, j.nose_od, j.hole) / yield_of(j.material).fy
    worst, source = (bears, EN_BOLT) if bears >= section else (section, EN_SECTION)
    text = "nose, bearing of the bolt" if bears >= section else "socket at the bolt's hole"
    yield _told(node, "joint_part", worst, source, text, f"{j.id} socket")


def _ring_stress(p: Passed, od: float, bore: float, hole: float) -> float:
    """Stress in a ring with a bolt's hole right across it, MPa, elastic, von Mises.

    Args:
        p: what passes through it.
        od: outside diameter, mm.
        bore: inside diameter, mm.
        hole: diameter of the hole, mm.
    """
    ro, ri = od / 2, bore / 2
    area, inertia = pi * (ro**2 - ri**2), pi / 4 * (ro**4 - ri**4)
    net = area - 2 * hole * (ro - ri)
    bent = hypot(p.about_side, p.about_bolt)
    straight = abs(p.along) / net + bent * ro / inertia
    sheared = abs(p.torsion) * ro / (2 * inertia) + 2 * hypot(p.bolt, p.side) / area
    return hypot(straight, 3**0.5 * sheared)


def _collars(
    scene: LoadScene, model: Model, response: Response, node: BoltNode
) -> Iterator[Attachment]:
    """The weld of each tube's end round its collar."""
    ends = ((node.beam, 0, "b"), (node.beam + 1, 1, "a"))
    for piece, (beam, end, name) in zip(node.pieces, ends, strict=True):
        tube = scene.cage.member(piece).tube
        forces: Vec = np.asarray(response.forces[beam, 6 * end : 6 * end + 6])
        throat = tube.wall * (scene.file.weld_throat or 1.0)
        fu = steel(tube.material).fu
        strength = fillet_strength(fu, correlation(fu), throat)
        length = pi * tube.od
        yield _told(
            node, "weld", ring_weld(tube, length, forces) / strength, EN_WELD,
            f"throat {throat:.1f} mm round the collar", f"{piece} end {name}",
        )  # fmt: skip
