"""Joints and attachments under a case: welds, chord walls, pins, bolts, plates on sheet.

Partial factors: gamma_M0 = gamma_M5 = 1, gamma_M2 = 1.25 as EN 1993 recommends.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import pi, sin, sqrt
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from cagekit.geometry.arrays import cross3
from cagekit.geometry.centre_line import Vec
from cagekit.materials.fasteners import Fastener, fastener
from cagekit.materials.steels import steel
from cagekit.units.tolerance import ANGLE_ROUNDING, NO_LENGTH

if TYPE_CHECKING:
    from cagekit.cage.cage import Joint
    from cagekit.cage.door import SwingJoint
    from cagekit.cage.plate import PinEar, Plate
    from cagekit.materials.tubes import Tube
    from cagekit.structure.cases import LoadScene
    from cagekit.structure.model import Footing, Model, PinNode
    from cagekit.structure.solve import Response

GAMMA_M2 = 1.25
"""Source: EN 1993-1-8, 2.2, recommended value."""
EN_WELD = "EN 1993-1-8, 4.5.3.3"
EN_CHORD = "EN 1993-1-8, Table 7.2 and 7.5, from memory"
EN_BOLT = "EN 1993-1-8, Table 3.4"
EN_PIN = "EN 1993-1-8, 3.13, from memory"
AISC_PIN = "AISC 360-16, D5 and J7"


class Attachment(Struct, frozen=True, kw_only=True):
    """What one weld, wall, pin, bolt or plate bears in one case.

    Args:
        kind: ``weld``, ``chord``, ``pin``, ``cheek``, ``sleeve``, ``bolt``, ``plate``,
            ``joint_bolt`` or ``joint_part``.
        subject: joint, pin or plate.
        use: load over strength; None where no formula covers it.
        source: of the formula.
        text: which part governs, or why nothing covers it.
        members: tubes it belongs to.
        point: where it is, mm.
    """

    kind: str
    subject: str
    use: float | None
    source: str
    text: str = ""
    members: tuple[str, ...] = ()
    point: tuple[float, float, float] = (0.0, 0.0, 0.0)


def attachments(scene: LoadScene, model: Model, response: Response) -> Iterator[Attachment]:
    """Everything that joins the tubes to each other and to the car, under one case."""
    for joint in scene.cage.joints:
        if joint.id in model.joint_beams:
            yield from _welded(scene, model, response, joint)
    doors: dict[tuple[str, str], SwingJoint] = {
        (d.bar, j.name): j for d in scene.cage.doors for j in d.joints
    }
    for pin in model.pins:
        yield from _pinned(scene, model, response, pin, doors[pin.bar, pin.joint])
    for foot in model.feet:
        yield from _footed(scene, model, response, foot)


# --- welds and chord walls ----------------------------------------------------------------------


def fillet_strength(fu: float, beta: float, throat: float) -> float:
    """Strength of a fillet weld for each mm, N/mm.

    Args:
        fu: tensile strength of the weaker part, MPa.
        beta: correlation factor of its steel.
        throat: mm.

    Source: EN 1993-1-8, 4.5.3.3.
    """
    return fu / (sqrt(3) * beta * GAMMA_M2) * throat


def correlation(fu: float) -> float:
    """Factor beta_w of a steel by its tensile strength. Source: EN 1993-1-8, Table 4.1."""
    return next((b for limit, b in ((360, 0.8), (430, 0.85), (510, 0.9)) if fu <= limit), 1.0)


def ring_weld(tube: Tube, length: float, forces: Vec) -> float:
    """Largest force on each mm of a weld round a tube, N/mm.

    Args:
        tube: the tube that is coped.
        length: true length of the weld, mm.
        forces: ``(6,)`` N, Vy, Vz, T, My, Mz at the joint.

    The weld is taken as a ring of the tube's radius whose every mm of circumference holds
    ``length`` / circumference of weld.
    """
    n, vy, vz, t, my, mz = (float(v) for v in forces)
    r = tube.outer_radius
    more = length / (2 * pi * r)
    along = (abs(n) / (2 * pi * r) + np.hypot(my, mz) / (pi * r**2)) / more
    across = (np.hypot(vy, vz) / (pi * r) + abs(t) / (2 * pi * r**2)) / more
    return float(np.hypot(along, across))


def _welded(
    scene: LoadScene, model: Model, response: Response, joint: Joint
) -> Iterator[Attachment]:
    beam, end = model.joint_beams[joint.id]
    forces = response.forces[beam, 6 * end : 6 * end + 6] * (1 if end else -1)
    branch, chord = scene.cage.member(joint.branch), scene.cage.member(joint.parents[0])
    fu = min(steel(m.tube.material).fu for m in (branch, chord))
    throat = scene.throat_over_wall * branch.tube.wall
    strength = fillet_strength(fu, correlation(fu), throat)
    subject = f"{joint.branch} end {joint.branch_end}"
    where = (float(joint.point[0]), float(joint.point[1]), float(joint.point[2]))
    names = (joint.branch, *joint.parents)
    yield Attachment(
        kind="weld",
        subject=subject,
        use=ring_weld(branch.tube, joint.weld_length, forces) / strength,
        source=EN_WELD,
        members=names,
        point=where,
        text=f"throat {throat:.1f} mm on {joint.weld_length:.0f} mm of saddle",
    )
    use, text = _chord(scene, model, response, joint, beam, forces)
    yield Attachment(
        kind="chord",
        subject=subject,
        use=use,
        source=EN_CHORD,
        text=text,
        members=names,
        point=where,
    )


class ChordStrength(Struct, frozen=True, kw_only=True):
    """What the wall of a chord bears of one branch: N, and N mm in and out of their plane."""

    normal: float
    in_plane: float
    out_of_plane: float


def chord_strength(
    chord: Tube, branch_od: float, angle: float, fy: float, pressed: float
) -> ChordStrength:
    """Strength of a chord's wall under one branch.

    Args:
        chord: the tube that runs through.
        branch_od: outside diameter of the branch, mm.
        angle: between the axes, rad.
        fy: of the chord, MPa.
        pressed: compression stress in the chord over ``fy``; 0 in tension.

    Source: EN 1993-1-8, Tables 7.2 (T, Y) and 7.5, from memory.
    """
    beta, gamma, s = branch_od / chord.od, chord.od / (2 * chord.wall), sin(angle)
    kp = 1.0 if pressed <= 0 else max(1 - 0.3 * pressed * (1 + pressed), 0.0)
    base = fy * chord.wall**2 / s * kp
    normal = gamma**0.2 * base * (2.8 + 14.2 * beta**2)
    inside = 4.85 * base * branch_od * sqrt(gamma) * beta
    out = base * branch_od * 2.7 / (1 - 0.81 * beta)
    if branch_od <= chord.od - 2 * chord.wall:
        punch = fy / sqrt(3) * chord.wall
        normal = min(normal, punch * pi * branch_od * (1 + s) / (2 * s**2))
        inside = min(inside, punch * branch_od**2 * (1 + 3 * s) / (4 * s**2))
        out = min(out, punch * branch_od**2 * (3 + s) / (4 * s**2))
    return ChordStrength(normal=normal, in_plane=inside, out_of_plane=out)


def outside_range(chord: Tube, branch: Tube, angle: float) -> str:
    """Why the chord formulas do not cover a joint; empty when they do. EN 1993-1-8, Table 7.1."""
    if not 0.2 <= branch.od / chord.od <= 1.0:
        return f"not covered: diameters {branch.od:.0f} on {chord.od:.0f} mm"
    for t in (chord, branch):
        if not 10 <= t.od / t.wall <= 50:
            return f"not covered: {t.od:.0f} x {t.wall:.1f} mm, diameter over wall outside 10 to 50"
    return "" if angle >= pi / 6 - ANGLE_ROUNDING else "not covered: sharper than 30 degrees"


def _chord(
    scene: LoadScene, model: Model, response: Response, joint: Joint, beam: int, forces: Vec
) -> tuple[float | None, str]:
    from cagekit.structure.sections import yield_of

    branch, chord = scene.cage.member(joint.branch), scene.cage.member(joint.parents[0])
    why = outside_range(chord.tube, branch.tube, joint.angle)
    if len(joint.parents) > 1:
        why = "not covered: coped to two tubes"
    elif not joint.concentric:
        why = "not covered: axes pass each other"
    elif sum(1 for j in model.joints.values() if j == model.joints[joint.id]) > 1:
        why = "not covered: several tubes meet in the node"
    if why:
        return None, why
    spot = chord.path.nearest(joint.point)
    fy = yield_of(chord.tube.material).beside_weld
    node, pressed = model.joints[joint.id], 0.0
    for b in model.beams_of(chord.id):
        ends = model.frame.ends[b].tolist()
        if node not in ends:
            continue
        end = ends.index(node)
        f = response.forces[b, 6 * end : 6 * end + 6] * (1 if end else -1)
        bent = float(np.hypot(f[4], f[5])) / chord.tube.section_modulus
        pressed = max(pressed, (-f[0] / chord.tube.area + bent) / fy)
    bears = chord_strength(chord.tube, branch.tube.od, joint.angle, fy, min(pressed, 1.0))
    if bears.normal <= 0:
        return None, "not covered: the chord itself is used up"
    axes = model.axes[beam]
    across = cross3(axes[0], spot.tangent)
    across /= max(float(np.linalg.norm(across)), NO_LENGTH)
    moment = forces[4] * axes[1] + forces[5] * axes[2]
    inside = abs(float(moment @ across))
    out = abs(float(moment @ cross3(across, axes[0])))
    use = (
        abs(float(forces[0])) / bears.normal
        + (inside / bears.in_plane) ** 2
        + out / bears.out_of_plane
    )
    return use, f"wall of {chord.id}"


# --- pins ---------------------------------------------------------------------------------------


class PinPlate(Struct, frozen=True, kw_only=True):
    """Strengths of a plate pulled by a pin, N. Source: AISC 360-16, D5.1, J7."""

    rupture: float
    shear_out: float
    bearing: float
    gross: float

    @property
    def least(self) -> float:
        """The lowest of all."""
        return min(self.rupture, self.shear_out, self.bearing, self.gross)


def pin_plate(ear: PinEar, fy: float, fu: float) -> PinPlate:
    """Strengths of a cheek round its pin, N.

    Args:
        ear: distances round the hole, mm.
        fy: yield strength of the plate, MPa.
        fu: its tensile strength, MPa.
    """
    side = (ear.width - ear.hole) / 2
    wide = min(2 * ear.thickness + 16.0, side)
    return PinPlate(
        rupture=fu * 2 * ear.thickness * wide,
        shear_out=0.6 * fu * 2 * ear.thickness * (ear.a + ear.pin / 2),
        bearing=1.8 * fy * ear.thickness * ear.pin,
        gross=fy * ear.width * ear.thickness,
    )


def pin_use(
    diameter: float,
    bolt: tuple[float, float],
    force: float,
    moment: float,
    *,
    cheek: float,
    gap: float,
    middle: float,
    thread: float | None = None,
) -> tuple[float, str]:
    """Use of a pin in two shear planes, and what governs.

    Args:
        diameter: of the pin, mm.
        bolt: its yield and tensile strength, MPa.
        force: that it carries across, N.
        moment: that it carries as a couple between the cheeks, N mm.
        cheek: thickness of each cheek, mm.
        gap: between cheek and what the pin goes through, mm.
        middle: thickness of what it goes through, mm.
        thread: shear strength of the bolt in its thread, N, where a shear plane lies in that.

    Cheeks and middle press evenly along the pin, of a couple the middle's halves in opposite ways;
    both moments are added as if they stood in one plane.

    Source: EN 1993-1-8, 3.13.2, Table 3.10; from memory. The couple's moment: statics.
    """
    fy, fu = bolt
    bears = 0.6 * pi / 4 * diameter**2 * fu / GAMMA_M2 if thread is None else thread
    lever = middle + 2 * gap + cheek
    couple = moment / lever
    plane = force / 2 + couple
    shear = plane / bears
    bend = force / 8 * (middle + 4 * gap + 2 * cheek)
    bend += couple * (cheek / 2 + gap + middle**2 / (8 * lever))
    bending = bend / (1.5 * pi / 32 * diameter**3 * fy)
    both = shear**2 + bending**2
    name, use = max((("shear", shear), ("bending", bending), ("both", both)), key=lambda x: x[1])
    return use, name


def _pinned(
    scene: LoadScene, model: Model, response: Response, pin: PinNode, joint: SwingJoint
) -> Iterator[Attachment]:
    spec = joint.spec
    forces = response.forces[pin.beam, 6:]
    axes = model.axes[pin.beam]
    pull = forces[0] * axes[0] + forces[1] * axes[1]
    along_pin = abs(float(forces[2]))
    force = float(np.linalg.norm(pull))
    moment = float(np.hypot(forces[3], forces[4]))
    bar = scene.cage.member(pin.bar)
    bolt = fastener(spec.pin.thread, spec.grade) if spec.pin_kind == "bolt" else None
    where = (float(joint.origin[0]), float(joint.origin[1]), float(joint.origin[2]))
    names = (pin.bar, joint.stub)
    subject = f"{pin.bar} {pin.joint}"
    if bolt is None:
        yield Attachment(
            kind="pin",
            subject=subject,
            use=None,
            source="",
            text="not covered: strength of a quick-release pin is its maker's",
            members=names,
            point=where,
        )
    else:
        in_thread = joint.shank < spec.grip(bar.tube.outer_radius) - spec.thickness
        use, text = pin_use(
            spec.pin.diameter,
            (bolt.fy, bolt.fu),
            force,
            moment,
            cheek=spec.thickness,
            gap=spec.spacer,
            middle=spec.sleeve_length(bar.tube.outer_radius),
            thread=bolt_shear(bolt) if in_thread else None,
        )
        yield Attachment(
            kind="pin",
            subject=subject,
            use=use,
            source=EN_PIN,
            text=text + (", thread in the shear plane" if in_thread else ""),
            members=names,
            point=where,
        )
    lever = spec.inside_width(bar.tube.outer_radius) + spec.thickness
    cheek = force / 2 + moment / lever
    metal = steel(spec.material)
    plates = [p for p in scene.cage.plates if p.pins and (p.bar, p.joint) == (pin.bar, pin.joint)]
    for plate in plates:
        for one in plate.pins:
            bears = pin_plate(plate.ear(one), metal.fy or metal.fu, metal.fu)
            parts = {
                bears.rupture: "rupture",
                bears.shear_out: "tear-out",
                bears.bearing: "bearing",
            }
            yield Attachment(
                kind="cheek",
                subject=f"{plate.id} hole {one.hole + 1}",
                use=cheek / bears.least,
                source=AISC_PIN,
                text=parts.get(bears.least, "gross section"),
                members=names,
                point=where,
            )
    tube = steel(bar.tube.material)
    length = 2 * pi * spec.sleeve_od
    weld = fillet_strength(tube.fu, correlation(tube.fu), 0.7 * spec.weld_leg)
    load = (force + along_pin) / length + moment / (lever * length / 2)
    yield Attachment(
        kind="sleeve",
        subject=subject,
        use=load / weld,
        source=EN_WELD,
        text=f"leg {spec.weld_leg:.1f} mm round the sleeve, both sides",
        members=names,
        point=where,
    )


# --- bolts and plates ---------------------------------------------------------------------------


def bolt_shear(bolt: Fastener, *, reduced: bool = False) -> float:
    """Shear strength of a bolt with the thread in the plane, N.

    Args:
        bolt: size and grade.
        reduced: M12 or M14 in a hole 2 mm larger (3.6.1 (5)).

    Source: EN 1993-1-8, Table 3.4.
    """
    share = 0.5 if bolt.grade in ("10.9", "grade-8") else 0.6
    return share * bolt.fu * bolt.stress_area / GAMMA_M2 * (0.85 if reduced else 1.0)


def bolt_tension(bolt: Fastener) -> float:
    """Strength of a bolt in tension, N. Source: EN 1993-1-8, Table 3.4."""
    return 0.9 * bolt.fu * bolt.stress_area / GAMMA_M2


def _footed(
    scene: LoadScene, model: Model, response: Response, foot: Footing
) -> Iterator[Attachment]:
    end = f"{foot.member}.{foot.end}"
    plate = next((p for p in scene.cage.plates if end in p.ends), None)
    if plate is None:
        return
    force = -response.reactions[foot.node, :3]  # what the foot does to the car
    plane = scene.cage.member(foot.member).end(foot.end).plane
    assert plane is not None
    lift = float(force @ plane.normal)
    slide = float(np.linalg.norm(force - lift * plane.normal))
    point = tuple(float(v) for v in plane.point)
    if plate.bolts:
        yield _bolted(plate, lift, slide, foot.member, point)
    sheet = _sheet(scene, foot)
    if sheet > 0:
        yield _on_sheet(scene, plate, lift, sheet, foot, point)


def _sheet(scene: LoadScene, foot: Footing) -> float:
    """Thickness of the metal under a foot on sheet, mm; 0 on anything stiffer."""
    found = scene.car.foot(foot.spot) if foot.surface == "floor" else None
    return found.sheet if found else 0.0


def _bolted(
    plate: Plate, lift: float, slide: float, member: str, point: tuple[float, ...]
) -> Attachment:
    bolt = fastener(plate.bolts[0].size, plate.bolts[0].grade)
    # bolts in folded faces stand otherwise to the load: they are left out
    n = len(plate.foot_bolts)
    shear = slide / n / bolt_shear(bolt)
    pull = max(lift, 0.0) / n / bolt_tension(bolt)
    return Attachment(
        kind="bolt",
        subject=plate.id,
        use=max(shear + pull / 1.4, pull),
        source=EN_BOLT,
        text=f"{n} bolts {bolt.size} {bolt.grade}, load shared alike",
        members=(member,),
        point=(point[0], point[1], point[2]),
    )


def _on_sheet(
    scene: LoadScene,
    plate: Plate,
    lift: float,
    sheet: float,
    foot: Footing,
    point: tuple[float, ...],
) -> Attachment:
    """The sheet cut through along the edge of the plate."""
    holds = plate.outline.length * sheet * scene.file.sheet_fy / sqrt(3)
    return Attachment(
        kind="plate",
        subject=plate.id,
        use=abs(lift) / holds,
        source=f"shear of the sheet along the plate's edge; fy {scene.file.sheet_fy:.0f} MPa taken",
        text=f"{sheet:.1f} mm sheet, edge {plate.outline.length:.0f} mm",
        members=(foot.member,),
        point=(point[0], point[1], point[2]),
    )
