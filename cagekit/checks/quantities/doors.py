"""Quantities of the door: bars, their height over the opening, the door-aperture figure."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property, partial
from itertools import pairwise

import numpy as np
from msgspec import Struct

from cagekit.cage.kept import Kept, Same
from cagekit.cage.member import Member
from cagekit.checks.finding import Evidence
from cagekit.checks.quantities.bars import WholeBar, cross
from cagekit.checks.quantities.quantity import Measure, Pick, quantity
from cagekit.checks.quantities.survey import SIDES, HandSide, Survey, other_side
from cagekit.geometry.arrays import Points, Points2, even
from cagekit.geometry.centre_line import Vec, unit
from cagekit.inputs.car import DoorOpening
from cagekit.units.tolerance import MICRON, ROUNDING, SAME_POINT

ACROSS = unit((0.0, 1.0, 0.0))
NEAR_DOOR = 260.0
"""A tube within this distance of the inner sill's plane is seen in the door aperture, mm (common
practice: a cage stands within a hand's breadth of the door)."""
STEP = 4.0
"""Spacing of points along a tube when it is looked at through the door, mm."""
IDENTICAL = 3.0
"""Two door bars are alike when their corners mirror within this, mm (common practice)."""


class Door(Struct, frozen=True, dict=True):
    """The door opening of one side in side view, as the car sheet has it."""

    side: HandSide
    sheet: DoorOpening

    @cached_property
    def corners(self) -> Points2:
        """Corners of the opening ``(n, 2)``, x and z, mm."""
        return np.asarray(self.sheet.outline, float)

    @property
    def y_inner(self) -> float:
        """The sill's inner face from the centre plane, mm."""
        return self.sheet.y_inner

    @cached_property
    def base(self) -> float:
        """Lowest point of the opening, mm above the sill plane."""
        return float(self.corners[:, 1].min())

    @cached_property
    def height(self) -> float:
        """Height of the opening, mm."""
        return float(self.corners[:, 1].max()) - self.base

    @cached_property
    def span(self) -> tuple[float, float]:
        """Rear and front edge, x."""
        return float(self.corners[:, 0].min()), float(self.corners[:, 0].max())

    def roof_at(self, x: float) -> float:
        """Height of the opening's upper edge at ``x``, mm."""
        p = np.vstack([self.corners, self.corners[:1]])
        hits = []
        for (x0, z0), (x1, z1) in pairwise(p):
            if min(x0, x1) - ROUNDING <= x <= max(x0, x1) + ROUNDING:
                t = 0.0 if abs(x1 - x0) < ROUNDING else (x - x0) / (x1 - x0)
                hits.append(float(z0 + t * (z1 - z0)))
        return max(hits, default=self.base + self.height)

    def seen(self, kept: Kept, member: Member) -> Points:
        """Points of a tube's centre line seen through this door, ``(n, 3)``; may be empty.

        Args:
            kept: of the cage.
            member: the tube.
        """
        if not self._may_show(member):
            return np.zeros((0, 3))
        key = ("seen through a door", Same(self.sheet), self.side, member)
        return kept.once(key, partial(self._seen, member))

    def _may_show(self, member: Member) -> bool:
        """Whether the box of a tube's centre line comes so near the opening at all."""
        (behind, right, _), (ahead, left, _) = (corner.tolist() for corner in member.path.box)
        rear, front = self.span
        if ahead <= rear - MICRON or behind >= front + MICRON:
            return False
        outboard = left if self.side == "left" else -right
        return bool(outboard > self.y_inner - NEAR_DOOR - MICRON)

    def _seen(self, member: Member) -> Points:
        n = max(int(member.path.length / STEP), 8)
        p = member.path.points(even(member.path.length, n + 1))
        sign = 1.0 if self.side == "left" else -1.0
        low, high = self.span
        keep = (
            (sign * p[:, 1] > self.y_inner - NEAR_DOOR)
            & (p[:, 0] >= low - SAME_POINT)
            & (p[:, 0] <= high + SAME_POINT)
            & (p[:, 2] >= self.base - SAME_POINT)
            & (p[:, 2] <= self.base + self.height + SAME_POINT)
        )
        return p[keep]


def doors(s: Survey, pick: Pick) -> Iterator[tuple[HandSide, Door | None]]:
    """The doors a rule looks at; None for a door whose opening nobody measured."""
    for side in SIDES:
        if pick.side in ("", side):
            sheet = s.car.side(side).door
            if sheet is None or len(sheet.outline) < 3:
                yield side, None
            else:
                yield side, Door(side, sheet)


def _missing(side: str) -> str:
    return f"the door opening's `outline` in the car sheet ({side})"


def _bars(s: Survey, side: str) -> tuple[WholeBar, ...]:
    return s.bars("door_bar", side=side)


PATTERNS = ("none", "single", "pair", "x", "several")


@quantity("door_bar_pattern", "text", "pattern of the door bars", words=PATTERNS)
def door_bar_pattern(s: Survey, pick: Pick) -> Iterator[Measure]:
    """How the door bars of each side are laid out: 'none', 'single', 'pair', 'x' or 'several'."""
    for side in SIDES:
        if pick.side in ("", side):
            bars = _bars(s, side)
            ids = [i for b in bars for i in b.ids]
            value = _pattern(bars)
            yield Measure(
                subject=f"door_bar {side}", both="door_bar", value=value, evidence=Evidence.of(*ids)
            )


def _pattern(bars: tuple[WholeBar, ...]) -> str:
    if len(bars) < 2:
        return "single" if bars else "none"
    if len(bars) == 2:
        return "x" if cross(bars[0], bars[1], ACROSS) is not None else "pair"
    return "several"


@quantity("door_x_one_piece_legs", "count", "legs of the X in one piece")
def door_x_one_piece_legs(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Of the two legs of each X of door bars, how many are one piece of tube."""
    for side in SIDES:
        bars = _bars(s, side)
        if pick.side in ("", side) and _pattern(bars) == "x":
            ids = [i for b in bars for i in b.ids]
            whole = sum(len(b.pieces) == 1 for b in bars)
            yield Measure(
                subject=f"door_bar {side}", both="door_bar", value=whole, evidence=Evidence.of(*ids)
            )


@quantity("door_bar_height_ratio", "ratio", "height over the opening's height")
def door_bar_height_ratio(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Height of each side's door bars over the height of the door opening.

    Their highest attachment or crossing with the edge of the opening (axis) counts; both are
    measured from the opening's base.
    """
    yield from _heights(s, pick, surface=False)


@quantity("door_figure_e", "ratio", "E over H of the door figure")
def door_figure_e(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Dimension E of the door-aperture figure over its height H.

    E is the highest point of the door bars' surface within the opening, measured from the
    opening's base (reading of the figure from memory).
    """
    yield from _heights(s, pick, surface=True)


def _heights(s: Survey, pick: Pick, *, surface: bool) -> Iterator[Measure]:
    for side, door in doors(s, pick):
        bars = _bars(s, side)
        if not bars:
            continue
        name = f"door_bar {side}"
        ids = [i for b in bars for i in b.ids]
        if door is None:
            yield Measure(
                subject=name, both="door_bar", evidence=Evidence.of(*ids), missing=_missing(side)
            )
            continue
        best: tuple[float, Vec] | None = None
        for m in (m for b in bars for m in b.pieces):
            seen = door.seen(s.cage.kept, m)
            if not len(seen):
                continue
            p = seen[int(np.argmax(seen[:, 2]))]
            z = float(p[2]) + (m.tube.outer_radius if surface else 0.0)
            if best is None or z > best[0]:
                best = z, p
        if best is not None:
            value = (best[0] - door.base) / door.height
            yield Measure(
                subject=name,
                both="door_bar",
                value=value,
                evidence=Evidence.of(*ids, points=[best[1]]),
            )


@quantity("door_figure_a", "mm", "A of the door figure")
def door_figure_a(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Dimension A of the door-aperture figure: free height over the door bars.

    Measured in the middle of the opening's length, up to the next tube or the opening's upper
    edge (reading of the figure from memory).
    """
    for side, door in doors(s, pick):
        name = f"door {side}"
        if door is None:
            yield Measure(subject=name, both="door", missing=_missing(side))
            continue
        x = sum(door.span) / 2
        low, high = door.base, door.roof_at(x)
        ids: list[str] = []
        for m in s.members:
            seen = door.seen(s.cage.kept, m)
            near = np.flatnonzero(np.abs(seen[:, 0] - x) <= STEP)
            if not len(near):
                continue
            ids.append(m.id)
            z = float(seen[near[0], 2])
            if m.role in ("door_bar", "sill_bar"):
                low = max(low, z + m.tube.outer_radius)
            elif z > low:
                high = min(high, z - m.tube.outer_radius)
        y = door.y_inner if side == "left" else -door.y_inner
        points = [(x, y, low), (x, y, high)]
        yield Measure(
            subject=name, both="door", value=high - low, evidence=Evidence.of(*ids, points=points)
        )


@quantity("door_figure_b", "mm", "B of the door figure")
def door_figure_b(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Dimension B of the door-aperture figure: length of the upper corner's strut along X.

    It is what the strut takes of the opening (reading of the figure from memory).
    """
    yield from _corner(s, pick, axis=0)


@quantity("door_figure_c", "mm", "C of the door figure")
def door_figure_c(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Dimension C of the door-aperture figure: height of the upper corner's strut.

    It is what the strut takes of the opening (reading of the figure from memory).
    """
    yield from _corner(s, pick, axis=2)


def _corner(s: Survey, pick: Pick, *, axis: int) -> Iterator[Measure]:
    """Extent of the corner struts: tube gussets seen in the upper half of the opening."""
    for side, door in doors(s, pick):
        struts = [m for m in s.of_role("tube_gusset", "door_strut") if m.side == side]
        for m in struts:
            if door is None:
                yield Measure(subject=m.id, evidence=Evidence.of(m.id), missing=_missing(side))
                continue
            p = door.seen(s.cage.kept, m)
            if len(p) < 2 or float(p[:, 2].max()) < door.base + door.height / 2:
                continue
            value = float(np.ptp(p[:, axis]))
            evidence = Evidence.of(m.id, points=[p[0], p[-1]])
            yield Measure(subject=m.id, value=value, evidence=evidence)


@quantity("door_bars_identical", "flag", "both sides alike")
def door_bars_identical(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Whether the door bars of both sides mirror each other within 3 mm and have the same tube.

    Corners of bends count like ends.
    """
    left, right = (_bars(s, side) for side in SIDES)
    if not left and not right:
        return
    ids = [i for b in (*left, *right) for i in b.ids]
    value = _alike(left, right)
    yield Measure(subject="door_bar", value=value, evidence=Evidence.of(*ids))


def _alike(left: tuple[WholeBar, ...], right: tuple[WholeBar, ...]) -> bool:
    if len(left) != len(right):
        return False
    flip = np.array([1.0, -1.0, 1.0])
    rest = list(right)
    for bar in left:
        mirror = _turns(bar) * flip
        for other in rest:
            apart = np.linalg.norm(mirror[:, None] - _turns(other), axis=2)
            gap = float(max(apart.min(axis=0).max(), apart.min(axis=1).max()))
            one, two = bar.pieces[0].tube, other.pieces[0].tube
            if gap <= IDENTICAL and (one.od, one.wall) == (two.od, two.wall):
                rest.remove(other)
                break
        else:
            return False
    return True


def _turns(bar: WholeBar) -> Points:
    """Where a bar starts, turns and ends, ``(n, 3)`` mm; where it is divided does not count."""
    return np.vstack([bar.start, *(m.path.corners()[1:-1] for m in bar.pieces), bar.end])


@quantity("door_bars_on_driver_side", "count", "door bars on the driver's side")
def door_bars_on_driver_side(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Door bars on the driver's side, pieces joined; 0 counts."""
    bars = _bars(s, s.driver_side)
    ids = [i for b in bars for i in b.ids]
    yield Measure(subject="door_bar", value=len(bars), evidence=Evidence.of(*ids))


@quantity("door_bars_on_passenger_side", "count", "door bars on the other side")
def door_bars_on_passenger_side(s: Survey, pick: Pick) -> Iterator[Measure]:
    """Door bars on the side away from the driver, pieces joined; 0 counts."""
    side = other_side(s.driver_side)
    bars = _bars(s, side)
    ids = [i for b in bars for i in b.ids]
    yield Measure(subject="door_bar", value=len(bars), evidence=Evidence.of(*ids))
