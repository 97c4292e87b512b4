"""Door bars: single, pair or X between main hoop and front member; single ones may swing out."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from math import sqrt

import numpy as np

from cagekit.cage.member import Member, Swing
from cagekit.errors import GeometryError
from cagekit.geometry.arrays import size3
from cagekit.geometry.centre_line import CentreLine, Vec, unit, vec
from cagekit.geometry.chords import Chord, chords, segment_gap
from cagekit.inputs.entries import DoorBarEntry
from cagekit.inputs.places import OnTube
from cagekit.members.site import Site, crossing
from cagekit.members.strut import (
    above_foot,
    between,
    crossed,
    crossed_bent,
    front_leg,
    hoop,
    second,
)
from cagekit.units.tolerance import SAME_POINT

LOW = (150.0, 120.0)
"""Lower nodes on hoop and front member above the sill plane, mm (common practice)."""
PAST, STEP, RAISED = 3.0, 5.0, 250.0
"""Room between an X's lower bar and the pillar brace, and how its node is raised to find it, mm
(common practice)."""
CUT_FROM_NODE = 2.75
"""Proposed cut of a swing-out bar from its node, in tube diameters: clear of the cope and its weld,
long enough for the standing half of a bracket, and no longer, so that at the main hoop the cut lies
behind the driver's back (common practice)."""
QUARTER_GAP = 12.0
"""A latch's cut lies this far inside the door opening, mm, so that the bar comes out past the
quarter panel (or the opening's front edge when the hinge is behind)."""
EDGE_GAP = 2.5
"""A hinge's cut lies this far inside the door opening, mm: the pin is more than the tube's radius
further in, so that the bar can stand square out of the car."""


def make(site: Site, entry: DoorBarEntry) -> list[Member]:
    """Make the door bars of one side; end a is on the main hoop, end b on the front member.

    Raises:
        GeometryError: more than a single bar is to swing out.
    """
    side = str(entry.side)
    front = entry.front_member or front_leg(site, entry, side)

    def ends(rear: float, ahead: float) -> tuple[OnTube, OnTube]:
        return hoop(site, side).spot("height", rear), front.spot("height", ahead)

    if _bent(entry) and entry.style != "x":
        field = "bend_out" if entry.bend_out else "bend_up"
        raise GeometryError(
            entry.id,
            f"`{field}` bends an X at its crossing, and this is style = {entry.style!r}.",
            "Set style = 'x', or give the corners of this bar in `via`.",
        )
    if entry.style == "single":
        made = between(site, entry, "door_bar", *ends(entry.height_rear, entry.height_front))
        return [_swinging(site, entry, m) for m in made] if entry.swing_out else made
    if entry.swing_out:
        raise GeometryError(
            entry.id,
            "only a single door bar can swing out.",
            "Set style = 'single'; a second bar is a strut of role = 'door_bar'.",
        )
    if entry.style == "pair":
        upper = between(site, entry, "door_bar", *ends(entry.height_rear, entry.height_front))
        low = ends(*_low(site, entry, side, hoop(site, side), front))
        return upper + second(site, entry, "door_bar", "lower", low)
    if entry.via:
        raise GeometryError(
            entry.id,
            "the corners of `via` would be those of one bar of the X, and it does not say which.",
            "Bend the X at its crossing (`bend_out`, `bend_up`), or make it of two [[strut]].",
        )
    low_rear, low_front = _low(site, entry, side, hoop(site, side), front)
    first = ends(entry.height_rear, low_front)
    other = ends(low_rear, entry.height_front)
    if not _bent(entry):
        return crossed(site, entry, "door_bar", first, other)
    out = entry.bend_out if side == "left" else -entry.bend_out
    move = vec((0.0, out, entry.bend_up))
    return crossed_bent(site, entry, "door_bar", first, other, move)


def _low(
    site: Site, entry: DoorBarEntry, side: str, rear: OnTube, front: OnTube
) -> tuple[float, float]:
    """Heights of the lower nodes on hoop and front member, mm, the usual ones where not typed.

    Those of an X are as low as the legs allow: its upper ones are held down by the door opening,
    and bars that cross at less than 30 degrees leave no room for the torch.
    """
    low = [entry.low_rear, entry.low_front]
    measured = site.car.side(side).feet()
    for n, foot in enumerate(("main_foot", "front_foot")):
        if low[n] is None and entry.style == "x" and foot in measured:
            low[n] = above_foot(site, entry, side, foot)
    if entry.low_front is None and low[1] is not None:
        low[1] = _past_brace(site, entry, side, (rear, front), low[1])
    return (LOW[0] if low[0] is None else low[0], LOW[1] if low[1] is None else low[1])


def _past_brace(
    site: Site, entry: DoorBarEntry, side: str, tubes: tuple[OnTube, OnTube], low: float
) -> float:
    """The lower front node of an X, raised until its bar goes past the pillar brace, mm.

    Where none such lies within ``RAISED`` both stay in one node at the foot.
    """
    brace = site.of_kind("windscreen_brace", side)
    if brace is None:
        return low
    start = site.place(entry, tubes[0].spot("height", entry.height_rear), "from").point
    wide = brace.tube.outer_radius + site.tube(entry, "door_bar").outer_radius + PAST
    heights = np.arange(low, low + RAISED, STEP)
    n = _first_past(site, entry, brace.path, start, tubes[1], heights, wide)
    while n < len(heights):
        end = site.place(entry, tubes[1].spot("height", float(heights[n])), "to").point
        spot = crossing(brace.path, start, end)
        way = unit(end - start)
        off = spot - start
        off = off - min(max(float(off @ way), 0.0), float((end - start) @ way)) * way
        if sqrt(off @ off) >= wide:
            return float(heights[n])
        n += 1
    return low


def _first_past(
    site: Site, entry: DoorBarEntry, brace: CentreLine, start: Vec, tube: OnTube,
    heights: np.ndarray, wide: float,
) -> int:  # fmt: skip
    """The first of these heights at which an X's bar may go past the brace.

    Told in a few leaps where leg and brace are straight, 0 elsewhere: whoever asks looks closer.
    """
    try:
        low, high = (
            site.place(entry, tube.spot("height", float(h)), "to") for h in heights[[0, -1]]
        )
    except GeometryError:
        return 0
    a, b = low.spot, high.spot
    if a is None or b is None or (low.members, a.piece) != (high.members, b.piece):
        return 0
    if len(brace.pieces) > 1 or not np.array_equal(a.tangent, b.tangent):
        return 0
    (other,) = chords(brace)
    way = (high.point - low.point) / (len(heights) - 1)
    n, step = 0, size3(way)
    while n < len(heights):
        gap = segment_gap(Chord.between(start, low.point + n * way), other)
        if gap > wide - SAME_POINT:
            break
        # a bar comes no farther from the brace than its end moves
        n += max(int((wide - SAME_POINT - gap) / step), 1)
    return min(n, len(heights))


def _bent(entry: DoorBarEntry) -> bool:
    """Whether an X is to have a bend at its crossing."""
    return bool(entry.bend_out or entry.bend_up)


def _swinging(site: Site, entry: DoorBarEntry, bar: Member) -> Member:
    """Note on the bar where it is cut; proposes a cut at each end when the entry names none."""
    length = bar.path.length
    rear = _cut(entry, bar, "rear", _edges(site, bar, "a"))
    front = _cut(entry, bar, "front", _edges(site, bar, "b"))
    if not 0 < rear < front < length:
        raise GeometryError(
            bar.id,
            f"its cuts at {rear:.0f} mm and {front:.0f} mm leave no bar between them.",
            f"Keep both within {length:.0f} mm.",
        )
    _check_straight(bar, rear, front)
    hinge_front = entry.hinge_end == "front"
    return replace(
        bar,
        swing=Swing(
            hinge_end="b" if hinge_front else "a",
            hinge_cut=front if hinge_front else rear,
            latch_cut=rear if hinge_front else front,
        ),
    )


def _edges(site: Site, bar: Member, end: str) -> tuple[float, float] | None:
    """Rear and front edge of the door opening at the height of an end, x mm, if measured."""
    door = site.car.side(bar.side).door if bar.side in ("left", "right") else None
    if door is None or len(door.outline) < 3:
        return None
    z = float(bar.path.end_point(end)[2])
    hits = []
    for (x0, z0), (x1, z1) in pairwise((*door.outline, door.outline[0])):
        if min(z0, z1) <= z <= max(z0, z1) and z0 != z1:
            hits.append(x0 + (z - z0) / (z1 - z0) * (x1 - x0))
    return (min(hits), max(hits)) if hits else None


def _cut(entry: DoorBarEntry, bar: Member, end: str, edges: tuple[float, float] | None) -> float:
    """Station of one cut: typed along the bar or by its height, else the usual one."""
    along, height = (
        (entry.cut_rear, entry.cut_rear_height)
        if end == "rear"
        else (entry.cut_front, entry.cut_front_height)
    )
    if along is not None and height is not None:
        raise GeometryError(
            bar.id,
            f"its {end} cut is given twice, {along:.0f} mm along the bar and at height "
            f"{height:.0f} mm.",
            f"Give cut_{end} or cut_{end}_height.",
        )
    length = bar.path.length
    if height is not None:
        spots = [s.station for s in bar.path.at_height(height)]
        if not spots:
            ends = sorted(float(bar.path.end_point(e)[2]) for e in "ab")
            raise GeometryError(
                bar.id,
                f"never passes the height of its {end} cut, {height:.0f} mm "
                f"(it runs from {ends[0]:.0f} to {ends[1]:.0f} mm).",
                f"Use cut_{end}, mm along the bar.",
            )
        return spots[0] if end == "rear" else spots[-1]
    if along is not None:
        return along if end == "rear" else length - along
    usual = CUT_FROM_NODE * bar.tube.od
    low, high = usual, length - usual
    if edges is not None:
        front_hinge = entry.hinge_end == "front"
        gaps = (QUARTER_GAP, EDGE_GAP) if front_hinge else (EDGE_GAP, QUARTER_GAP)
        for spot in _at_x(bar, edges[0] + gaps[0]):
            low = max(low, spot) if spot < length / 2 else low
        for spot in _at_x(bar, edges[1] - gaps[1]):
            high = min(high, spot) if spot > length / 2 else high
    return low if end == "rear" else high


def _at_x(bar: Member, x: float) -> list[float]:
    return [s.station for s in bar.path.crossings((x, 0.0, 0.0), (1.0, 0.0, 0.0))]


def _check_straight(bar: Member, *cuts: float) -> None:
    path: CentreLine = bar.path
    for cut in cuts:
        spot = path.spot(cut)
        piece = path.pieces[spot.piece]
        if piece in path.bends:
            raise GeometryError(
                bar.id, f"its cut at {cut:.0f} mm lies in a bend.", "Cut on a straight."
            )
