"""Material list: what to buy for a cage, what it weighs, how much weld there is."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import ceil
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from cagekit.inputs.padding import padding_by_member
from cagekit.inputs.tooling import Tooling
from cagekit.materials.steels import steel
from cagekit.shop.bending.bends import BendSchedule
from cagekit.shop.papers.mass import CageMass, weigh
from cagekit.shop.sawing.plan import CutPlan
from cagekit.shop.welding.weld_rows import bolted_parts, part_weld

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage
    from cagekit.cage.door import SmallPart
    from cagekit.cage.member import Member
    from cagekit.geometry.shapes import Solid
    from cagekit.inputs.build import Build

PAD_WITHIN = 150.0
"""A bar this near to a helmet is padded, mm. Source: Motorsport UK yearbook, appendix 3, 16.2
(2026 ed. 1)."""
BODY_WITHIN = 300.0
"""A bar that the build pads is padded where it is this near to a body, mm (common practice: what
a belted person still reaches when thrown about)."""
PAD_STEP = 5.0
"""Spacing of the points a bar is looked at, mm."""
FILLET = (
    "fillets of equal legs, leg over wall {leg:g}, {eff:.0%} of the filler deposited; sleeves and "
    "half cups of swing-out bars not counted"
)


class TubeOrder(Struct, frozen=True, kw_only=True):
    """One size of tube: what the parts need and what is bought, the spare margin in it.

    Lengths in mm. ``sticks`` are pairs of stick length and how many; ``own`` is the length taken
    from the shop's off-cuts; ``left`` the off-cuts to keep, which hold the ``spare`` margin.
    """

    name: str
    od: float
    wall: float
    material: str
    pieces: int
    needed: float
    sticks: tuple[tuple[float, int], ...]
    spare: float
    own: float
    left: float
    mass: float


class PlateOrder(Struct, frozen=True, kw_only=True):
    """One thickness of plate: ``area`` the parts have, ``order`` with the spare margin, mm2."""

    thickness: float
    material: str
    pieces: int
    area: float
    order: float
    mass: float


class FastenerOrder(Struct, frozen=True, kw_only=True):
    """One size of bolt: bolts, as many nuts, two washers each."""

    size: str
    grade: str
    bolts: int
    plates: tuple[str, ...]


class HardwareOrder(Struct, frozen=True, kw_only=True):
    """Small parts of one kind and size: bolts, pins, nuts, washers, sleeves, half cups.

    ``size`` tells its lengths in mm, ``size_inches`` in inches; ``length`` along the axis of one
    (mm), ``mass`` of all (kg), ``parts`` their ids.
    """

    kind: str
    size: str
    size_inches: str
    material: str
    count: int
    length: float
    mass: float
    parts: tuple[str, ...]


class PaddingOrder(Struct, frozen=True, kw_only=True):
    """Padding of one bar, mm: where it is near a helmet, or near a body when the build pads it."""

    member: str
    od: float
    length: float
    thickness: float
    asked: bool
    standard: str = ""


class WeldMetal(Struct, frozen=True, kw_only=True):
    """Weld of the cage: lengths by what is welded (mm), filler to buy (kg), how it is got."""

    joints: float
    plates: float
    bolted: float
    filler: float
    assumption: str

    @property
    def length(self) -> float:
        """Length of all welds, mm."""
        return self.joints + self.plates + self.bolted


class Takeoff(Struct, frozen=True, kw_only=True, eq=False):
    """Everything a cage is made of."""

    tubes: tuple[TubeOrder, ...]
    plates: tuple[PlateOrder, ...]
    fasteners: tuple[FastenerOrder, ...]
    hardware: tuple[HardwareOrder, ...]
    padding: tuple[PaddingOrder, ...]
    weld: WeldMetal
    mass: CageMass
    spare: float


def take_off(
    build: Build,
    cage: Cage,
    fitted: Cage,
    sheets: Sequence[BendSchedule],
    plans: Sequence[CutPlan],
) -> Takeoff:
    """List what a cage is made of.

    Args:
        build: resolved input: car, drivers, tooling, padding.
        cage: the finished cage.
        fitted: the cage as it is made, swing-out bars still whole.
        sheets: its bend schedules.
        plans: its cutting plans.
    """
    tooling = build.tooling
    return Takeoff(
        tubes=tuple(_tube_order(p, sheets, tooling) for p in plans if p.tube is not None),
        plates=tuple(_plate_orders(cage, tooling.order.spare)),
        fasteners=tuple(_fasteners(cage)),
        hardware=tuple(_hardware(cage)),
        padding=tuple(_padding(build, cage)),
        weld=weld_metal(fitted, tooling),
        mass=weigh(cage),
        spare=tooling.order.spare,
    )


def _tube_order(plan: CutPlan, sheets: Sequence[BendSchedule], tooling: Tooling) -> TubeOrder:
    """What is bought of one tube; the plan leaves the spare margin on the off-cuts."""
    tube = plan.tube
    assert tube is not None
    mine = [s for s in sheets if s.tube == tube]
    bought: dict[float, int] = {}
    for b in plan.bought:
        bought[b.bar.length] = bought.get(b.bar.length, 0) + 1
    per_mm = np.pi * (tube.outer_radius**2 - tube.inner_radius**2) * steel(tube.material).density
    return TubeOrder(
        name=tube.name,
        od=tube.od,
        wall=tube.wall,
        material=tube.material,
        pieces=len(mine),
        needed=plan.pieces_length,
        sticks=tuple(sorted(bought.items())),
        spare=tooling.order.spare * plan.pieces_length,
        own=sum(b.bar.length for b in plan.bars if b.bar.owned),
        left=sum(plan.remnants),
        mass=float(per_mm) * sum(length * n for length, n in bought.items()),
    )


def _plate_orders(cage: Cage, spare: float) -> Iterator[PlateOrder]:
    groups: dict[tuple[float, str], list[tuple[float, int]]] = {}
    for p in cage.plates:
        key = (round(p.thickness, 4), p.material)
        groups.setdefault(key, []).append((p.outline.area, p.quantity))
    for (thickness, material), rows in sorted(groups.items()):
        # holes are cut out of metal that is bought
        area = sum(a * n for a, n in rows)
        yield PlateOrder(
            thickness=thickness,
            material=material,
            pieces=sum(n for _, n in rows),
            area=area,
            order=area * (1 + spare),
            mass=area * (1 + spare) * thickness * steel(material).density,
        )


def _fasteners(cage: Cage) -> Iterator[FastenerOrder]:
    """Bolts by size; a bolt through a floor plate and its backing plate is counted once."""
    groups: dict[tuple[str, str], tuple[int, list[str]]] = {}
    for p in cage.plates:
        if not p.bolts or p.kind == "backing_plate":
            continue
        for b in p.bolts:
            n, plates = groups.get((b.size, b.grade), (0, []))
            groups[b.size, b.grade] = n + p.quantity, [*plates, p.id]
    for (size, grade), (n, plates) in sorted(groups.items()):
        yield FastenerOrder(size=size, grade=grade, bolts=n, plates=tuple(dict.fromkeys(plates)))


def _hardware(cage: Cage) -> Iterator[HardwareOrder]:
    groups: dict[tuple[str, str, str, float], list[SmallPart]] = {}
    for p in cage.hardware:
        groups.setdefault((p.kind, p.size, p.material, round(p.length, 4)), []).append(p)
    for (kind, size, material, length), parts in sorted(groups.items()):
        yield HardwareOrder(
            kind=kind,
            size=size,
            size_inches=parts[0].size_in("in"),
            material=material,
            count=len(parts),
            length=length,
            mass=sum(p.mass for p in parts),
            parts=tuple(p.id for p in parts),
        )


def _padding(build: Build, cage: Cage) -> Iterator[PaddingOrder]:
    """Bars near a helmet, those of the car's frame too, and every bar that the build pads."""
    from cagekit.people.posture import seated

    tubes = (*cage.members.values(), *cage.chassis.values())
    asked = padding_by_member(build.file.padding, {m.id: m.names for m in tubes})
    people = seated(build.car, build.drivers)
    helmets = [who.parts()["helmet"] for who in people]
    bodies = [part for who in people for part in who.parts().values()]
    for m in tubes:
        length = _length_near(m, helmets, PAD_WITHIN)
        if m.id in asked:
            length = max(length, _length_near(m, bodies, BODY_WITHIN)) or cage.cut_length(m.id)
        if m.id in cage.members:
            # the path goes on to the parents' axes, the tube does not
            length = min(length, cage.cut_length(m.id))
        if length > 0:
            yield PaddingOrder(
                member=m.id,
                od=m.tube.od,
                length=length,
                thickness=asked[m.id].thickness if m.id in asked else 0.0,
                asked=m.id in asked,
                standard=asked[m.id].standard if m.id in asked else "",
            )


def _length_near(member: Member, solids: Sequence[Solid], room: float) -> float:
    """Length of a tube whose surface is within ``room`` mm of any of the solids, mm."""
    if not solids:
        return 0.0
    n = max(ceil(member.path.length / PAD_STEP), 1)
    points = member.path.points((np.arange(n) + 0.5) * member.path.length / n)
    gap = np.min([s.gap(points) for s in solids], axis=0) - member.tube.outer_radius
    return float(np.count_nonzero(gap <= room)) * member.path.length / n


def weld_metal(cage: Cage, tooling: Tooling) -> WeldMetal:
    """Add up all welds and estimate the filler for them.

    The weld is taken as a fillet of equal legs all along, the leg a multiple of the branch's wall
    (`Torch.leg_over_wall`) or that of the plate's weld. Real saddles vary round the tube: acute
    sides take more, obtuse ones less.
    """
    torch = tooling.torch
    joints, mass = 0.0, 0.0
    for j in cage.joints:
        tube = cage.members[j.branch].tube
        joints += j.weld_length
        section = (torch.leg_over_wall * tube.wall) ** 2 / 2
        mass += j.weld_length * section * steel(tube.material).density
    plates = 0.0
    for p in cage.plates:
        for w in p.welds:
            leg = w.leg or torch.leg_over_wall * p.thickness
            plates += w.length * p.quantity
            mass += w.length * p.quantity * leg**2 / 2 * steel(p.material).density
    bolted = 0.0
    for part in bolted_parts(cage):
        weld = part_weld(part)
        bolted += weld.length * weld.count
        mass += weld.length * weld.count * weld.leg**2 / 2 * steel(part.material).density
    return WeldMetal(
        joints=joints,
        plates=plates,
        bolted=bolted,
        filler=mass / torch.deposit_efficiency,
        assumption=FILLET.format(leg=torch.leg_over_wall, eff=torch.deposit_efficiency),
    )
