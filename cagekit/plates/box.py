"""Boxes of plates that lock together with tabs and slots: plinths and plate outriggers.

Frame: the foot's, z up from the top's face. The front and rear walls run the whole width, the
side walls stand between them; every wall has tabs up into the top and down into the base, the
side walls also into the front and rear walls.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from msgspec import Struct

from cagekit.cage.plate import Hole, HolePurpose, Mark, Plate, PlateWeld
from cagekit.errors import GeometryError
from cagekit.geometry.centre_line import Vec
from cagekit.geometry.outline import Outline, Vec2

SLOT_GAP = 0.2
"""Clearance of a slot round its tab on each side, mm (common practice for laser and plasma)."""


class BoxSpec(Struct, frozen=True, kw_only=True):
    """Sizes of a box, mm.

    Args:
        length, width: of the top, x and y.
        centre: middle of the top from the foot, x and y.
        height: top's face to the base's back.
        top, wall, base: thicknesses.
        lip: how far the top stands out over the front and rear walls.
        end_lip: how far it stands out over their ends; 0 where they are welded to the car.
        foot_lip: how far the base stands out over the walls.
        radius: corner rounding of top and base.
        sides: what the side walls are called, that on the left of the car first.
    """

    length: float
    width: float
    height: float
    top: float
    wall: float
    base: float
    material: str
    centre: tuple[float, float] = (0.0, 0.0)
    lip: float = 6.0
    end_lip: float = 6.0
    foot_lip: float = 6.0
    radius: float = 6.0
    weld_leg: float = 3.0
    sides: tuple[str, str] = ("left", "right")

    @property
    def high(self) -> float:
        """Height of the walls between top and base, mm."""
        return self.height - self.top - self.base


class _Wall(Struct, frozen=True, kw_only=True, eq=False):
    """A wall standing in the box: where it is, how long, and where its tabs are.

    One that stands ``across`` is a side wall, between the front and the rear one.
    """

    name: str
    across: bool
    outward: Vec2
    distance: float
    length: float
    tabs: tuple[float, ...]
    tab: float

    @property
    def along(self) -> Vec2:
        """Unit vector along the wall as seen from outside, to the right, ``(2,)``."""
        return np.array([-self.outward[1], self.outward[0]])


def box(prefix: str, frame: Vec, spec: BoxSpec, marks: Sequence[Mark] = ()) -> tuple[Plate, ...]:
    """Make the plates of a box: top, front, rear, the two sides, base.

    Args:
        prefix: ids are ``<prefix>_top``, ``<prefix>_front`` and so on.
        frame: ``(4, 4)`` frame of the top's face in car axes, x forward.
        spec: sizes.
        marks: what is scribed on the top.

    Raises:
        GeometryError: too low or too small for its walls.
    """
    high = spec.high
    long, wide = spec.length - 2 * spec.lip, spec.width - 2 * spec.end_lip
    if high < 15.0 or min(long, wide) < 10 * spec.wall + 10.0:
        raise GeometryError(
            prefix,
            f"a box of {long:.0f} x {wide:.0f} mm with walls {high:.0f} mm high is too small "
            f"(walls 15 mm high at least, sides {10 * spec.wall + 10.0:.0f} mm).",
            "Make it larger or higher, or use a plain floor plate.",
        )
    walls = _walls(spec, long, wide)
    out = [_lid(f"{prefix}_top", frame, spec, walls, marks, high, top=True)]
    out += [_wall(f"{prefix}_{w.name}", frame, spec, w, walls, high) for w in walls]
    out.append(_lid(f"{prefix}_base", frame, spec, walls, (), high, top=False))
    return with_details(out, box=prefix)


def _walls(spec: BoxSpec, long: float, wide: float) -> tuple[_Wall, ...]:
    inner = long - 2 * spec.wall
    # the side walls stand in from the ends of the front and rear walls, which hold their slots
    inset = max(2 * spec.wall, 6.0)
    out = []
    for name, outward, distance, length in (
        ("front", (1.0, 0.0), long / 2, wide),
        ("rear", (-1.0, 0.0), long / 2, wide),
        (spec.sides[0], (0.0, 1.0), wide / 2 - inset, inner),
        (spec.sides[1], (0.0, -1.0), wide / 2 - inset, inner),
    ):
        tab = min(24.0, length / 4)
        spots = (-length / 4, length / 4) if length > 3.5 * tab else (0.0,)
        out.append(
            _Wall(
                name=name,
                across=name in spec.sides,
                outward=np.array(outward),
                distance=distance,
                length=length,
                tabs=spots,
                tab=tab,
            )
        )
    return tuple(out)


def _wall(
    plate_id: str, frame: Vec, spec: BoxSpec, w: _Wall, walls: Sequence[_Wall], high: float
) -> Plate:
    """One wall, drawn from outside: x to the right, y up from the under side of the top."""
    across = w.across
    half = w.length / 2
    side_tab = high / 3 if across else 0.0
    points: list[tuple[float, float]] = []

    def edge(y: float, out: float, order: Sequence[float], sign: float) -> None:
        for s in order:
            a, b = s - sign * w.tab / 2, s + sign * w.tab / 2
            points.extend([(a, y), (a, y + out), (b, y + out), (b, y)])

    points.append((-half, -high))
    edge(-high, -spec.base, w.tabs, 1.0)
    points.append((half, -high))
    if across:
        points += _side_tab(half, -high / 2, side_tab, spec.wall)
    points.append((half, 0.0))
    edge(0.0, spec.top, w.tabs[::-1], -1.0)
    points.append((-half, 0.0))
    if across:
        points += [(-x, -high - y) for x, y in _side_tab(half, -high / 2, side_tab, spec.wall)]
    holes = () if across else _side_slots(spec, walls, high, w)
    # to top and base, a side wall's ends also to the front and rear walls that it stands between
    seams = 2 * w.length + (2 * high if across else 0.0)
    turn = np.eye(4)
    along = np.array([*w.along, 0.0])
    turn[:3, 0], turn[:3, 1], turn[:3, 2] = along, (0.0, 0.0, 1.0), [*w.outward, 0.0]
    turn[:3, 3] = [*(np.asarray(spec.centre) + w.distance * w.outward), -spec.top]
    return Plate(
        id=plate_id,
        kind="box_wall",
        thickness=spec.wall,
        material=spec.material,
        outline=Outline.polygon(points, owner=plate_id),
        holes=holes,
        base=np.array([0.0, -high / 2]) if across else np.array([0.0, -0.1 * high]),
        placement=frame @ turn,
        welds=(PlateWeld(to="box", length=seams, leg=spec.weld_leg),),
    )


def _side_tab(x: float, y: float, length: float, out: float) -> list[tuple[float, float]]:
    a, b = y - length / 2, y + length / 2
    return [(x, a), (x + out, a), (x + out, b), (x, b)]


def _slot(centre: Vec2, along: Vec2, length: float, width: float) -> Hole:
    """A square slot for a tab ``length`` x ``width`` with clearance all round."""
    a = along * (length / 2 + SLOT_GAP)
    n = np.array([-along[1], along[0]]) * (width / 2 + SLOT_GAP)
    return Hole.free(
        Outline.polygon([centre - a - n, centre + a - n, centre + a + n, centre - a + n]),
        HolePurpose.TAB,
    )


def _side_slots(spec: BoxSpec, walls: Sequence[_Wall], high: float, w: _Wall) -> tuple[Hole, ...]:
    """Slots in a front or rear wall for the tabs of the side walls."""
    out = []
    for side in walls:
        if side.across:
            x = float((side.distance - spec.wall / 2) * side.outward @ w.along)
            out.append(_slot(np.array([x, -high / 2]), np.array([0.0, 1.0]), high / 3, spec.wall))
    return tuple(out)


def _lid(
    plate_id: str,
    frame: Vec,
    spec: BoxSpec,
    walls: Sequence[_Wall],
    marks: Sequence[Mark],
    high: float,
    *,
    top: bool,
) -> Plate:
    """Top or base with the slots for the walls' tabs."""
    lip = spec.lip if top else spec.foot_lip
    grow = 2 * (lip - spec.lip)
    centre = np.asarray(spec.centre)
    outline = Outline.rectangle(
        spec.length + grow, spec.width + grow, min(spec.radius, lip + 1.0), centre
    )
    holes = []
    for w in walls:
        middle = centre + (w.distance - spec.wall / 2) * w.outward
        holes += [_slot(middle + s * w.along, w.along, w.tab, spec.wall) for s in w.tabs]
    sink = np.eye(4)
    if not top:
        sink[2, 3] = -spec.top - high
    return Plate(
        id=plate_id,
        kind="box_top" if top else "box_base",
        thickness=spec.top if top else spec.base,
        material=spec.material,
        outline=outline,
        holes=tuple(holes),
        marks=tuple(marks),
        base=centre,
        placement=frame @ sink,
    )


def with_details(plates: Sequence[Plate], **changes: object) -> tuple[Plate, ...]:
    """The same plates with some fields changed on all of them."""
    return tuple(replace(p, **changes) for p in plates)  # type: ignore[arg-type]
