"""The way out: what door bars, sill bar, hoop and pillar bar leave of the door opening.

Seen from the side, the opening is the door's outline on the car sheet less every tube that lies
between the person and the door, and less what is below the door bars. The person goes through it
head or feet first: a stadium as wide as the shoulders and as deep as the chest, turned and placed
as it fits best.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from functools import partial
from itertools import pairwise
from math import ceil, cos, pi, sin
from typing import cast

import numpy as np
from msgspec import Struct

from cagekit.cage.kept import Kept, Same
from cagekit.cage.member import EndKind, Member
from cagekit.fit.cockpit import Cockpit
from cagekit.geometry.arrays import Bools, Ints, even
from cagekit.geometry.centre_line import Arc, CentreLine, Vec
from cagekit.inputs.car import DoorOpening
from cagekit.people.posture import Occupant
from cagekit.units.tolerance import MICRON, NOISE, ROUNDING, SAME_POINT

GRID = 15.0
"""Spacing of the places tried, mm."""
CELLS = 150
"""Most places tried along one side: a larger opening is looked at more coarsely."""
TURNS = 12
"""Directions tried over half a turn."""
CLOTHES = 20.0
"""Overalls add this to breadth and depth, mm. Source: common practice, from memory."""
_OUTBOARD = 100.0
_FIRST = 64
"""Places with the most room, which are tried first."""
DOWN = 2000.0
"""Below a door bar the opening is shut this far down, mm."""

Point2 = tuple[float, float]


class Opening(Struct, frozen=True, kw_only=True, eq=False):
    """The largest way out on one side, in side view; x and z, mm.

    Args:
        side: side of the car.
        outline: the door opening on the car sheet.
        polygon: border of the free part that the person would use.
        area: of that part, mm2.
        place: middle of the person's section where it fits best, ``(x, z)``.
        turn: direction of its long side, rad up from forward.
        width: long side of the section, mm.
        depth: short side, mm.
        margin: room left all around it; negative by how much it is too large.
        tightest: members that limit it there.
        members: members that stand in the opening.
    """

    side: str
    outline: tuple[Point2, ...]
    polygon: tuple[Point2, ...]
    area: float
    place: Point2
    turn: float
    width: float
    depth: float
    margin: float
    tightest: tuple[str, ...]
    members: tuple[str, ...]


class _Bars(Struct, frozen=True, eq=False):
    """Straight stretches in side view: ends ``(n, 2)``, radii ``(n,)``, owners, door bars."""

    start: Vec
    end: Vec
    radius: Vec
    owner: tuple[str, ...]
    door: tuple[bool, ...]

    @classmethod
    def together(cls, parts: Sequence[_Bars]) -> _Bars:
        """Those of all tubes."""
        return cls(
            np.concatenate([np.zeros((0, 2)), *(p.start for p in parts)]),
            np.concatenate([np.zeros((0, 2)), *(p.end for p in parts)]),
            np.concatenate([np.zeros(0), *(p.radius for p in parts)]),
            tuple(name for p in parts for name in p.owner),
            tuple(flag for p in parts for flag in p.door),
        )


def way_out(cockpit: Cockpit, who: Occupant, *, swung: bool = False) -> Opening | None:
    """Measure the way out on the person's side.

    Args:
        cockpit: car, people, tubes.
        who: the person.
        swung: with the bars that swing out swung out.

    Returns:
        None when the car sheet has no door outline on that side, or the car is open and people
        climb out over the side.
    """
    door = cockpit.car.side(who.door_side).door
    if cockpit.car.body == "open" or door is None or len(door.outline) < 3:
        return None
    hole = cockpit.kept.once(("door opening", Same(door)), partial(_Hole.of, door))
    members = list(cockpit.members.values())
    thick = [cockpit.padding.get(m.id, 0.0) for m in members]
    moved = [swung and m.swing is not None for m in members]
    keys = [
        ("side view", Same(door), Same(who), m, pad, s)
        for m, pad, s in zip(members, thick, moved, strict=True)
    ]

    def seen(missing: Sequence[int]) -> list[_SideView]:
        kept = cockpit.kept
        beside = _beside(hole, who, [members[i] for i in missing], [thick[i] for i in missing])
        return [
            _SideView.of(hole, _bars(kept, members[i], thick[i], who, swung=moved[i]))
            if near
            else NOTHING
            for i, near in zip(missing, beside, strict=True)
        ]

    views = [v for v in cockpit.kept.each(keys, seen) if v.bars.owner]
    key = ("way out", Same(door), Same(who), tuple(map(Same, views)))
    return cockpit.kept.once(key, partial(_measured, hole, who, views))


class _Hole(Struct, frozen=True, eq=False):
    """A door's outline ``(n, 2)``, a grid of places over it, and how far each is inside, mm."""

    outline: Vec
    step: float
    xs: Vec
    zs: Vec
    grid: Vec
    inside: Vec

    @classmethod
    def of(cls, door: DoorOpening) -> _Hole:
        outline = np.array(door.outline, dtype=float)
        step = max(GRID, float(np.ptp(outline, axis=0).max()) / CELLS)
        xs, zs = _axis(outline[:, 0], step), _axis(outline[:, 1], step)
        grid = np.stack(np.meshgrid(xs, zs, indexing="ij"), axis=-1)
        return cls(outline, step, xs, zs, grid, _inside(grid, outline))


class _SideView(Struct, frozen=True, eq=False):
    """What one tube takes from a door opening.

    Args:
        bars: its stretches.
        where: rows and columns of the grid outside which it takes nothing.
        free: how far the places there are from it, mm, or from the opening's edge if that is less.
        under: places below it, where it is a door bar.
    """

    bars: _Bars
    where: tuple[slice, slice]
    free: Vec
    under: Bools | None

    @classmethod
    def of(cls, hole: _Hole, bars: _Bars) -> _SideView:
        if not bars.owner:
            return cls(bars, (slice(0), slice(0)), np.zeros((0, 0)), None)
        free = _clear(hole, bars)
        takes = free < hole.inside
        where = _extent(np.any(takes, axis=1)), _extent(np.any(takes, axis=0))
        under = _under(hole.grid, bars) if any(bars.door) else None
        return cls(bars, where, free[where].copy(), under)


def _extent(marked: Bools) -> slice:
    """From the first to the last that is marked."""
    at = np.flatnonzero(marked)
    return slice(int(at[0]), int(at[-1]) + 1) if len(at) else slice(0, 0)


def _measured(hole: _Hole, who: Occupant, views: Sequence[_SideView]) -> Opening:
    outline, step, xs, zs, grid = hole.outline, hole.step, hole.xs, hole.zs, hole.grid
    free, under = hole.inside.copy(), np.zeros(hole.inside.shape, dtype=bool)
    for view in views:
        np.minimum(free[view.where], view.free, out=free[view.where])
        if view.under is not None:
            under |= view.under
    free = np.where(under, -np.abs(free), free)
    bars = _Bars.together([view.bars for view in views])
    width = who.body.shoulder_breadth + CLOTHES
    depth = who.body.chest_depth + CLOTHES
    best, at, turn = _fit(free, max(width - depth, 0.0), step)
    place = grid[at]
    part = _connected(free > 0, at)
    contour = _border(free, part, xs, zs)
    return Opening(
        side=who.door_side,
        outline=tuple((float(x), float(z)) for x, z in outline),
        polygon=contour,
        area=float(part.sum()) * step**2 if len(contour) < 3 else polygon_area(contour),
        place=(float(place[0]), float(place[1])),
        turn=turn,
        width=width,
        depth=depth,
        margin=best - depth / 2,
        tightest=_tightest(place, turn, width - depth, best, bars),
        members=_standing(outline, bars),
    )


NOTHING = _SideView(_Bars.together([]), (slice(0), slice(0)), np.zeros((0, 0)), None)
"""What a tube takes that does not come near an opening."""


def _beside(
    hole: _Hole, who: Occupant, members: Sequence[Member], thick: Sequence[float]
) -> Sequence[bool]:
    """Which tubes, with their padding, may stand in an opening or limit who goes through it.

    A door bar shuts what is below it as well. No room is larger than an opening's own, and what
    is that far and a grid's width from its box limits nothing.
    """
    boxes = np.array([m.path.box for m in members])
    low, high = boxes[:, 0], boxes[:, 1]
    outboard = (high[:, 1] if who.door_side == "left" else -low[:, 1]) > _limit(who)
    reach = np.array([m.tube.outer_radius for m in members]) + thick
    reach += float(hole.inside.max()) + 2 * (GRID + hole.step)
    (x0, z0), (x1, z1) = hole.outline.min(axis=0), hole.outline.max(axis=0)
    down = np.where([m.role == "door_bar" for m in members], np.inf, 0.0)
    near = (low[:, 0] < x1 + reach) & (high[:, 0] > x0 - reach)
    near &= (low[:, 2] < z1 + reach + down) & (high[:, 2] > z0 - reach)
    return cast(list[bool], (outboard & near).tolist())


def _limit(who: Occupant) -> float:
    """How far outboard (mm) of the car's middle lies what stands in the way out."""
    sign = 1.0 if who.door_side == "left" else -1.0
    return sign * float(who.hip[1]) + _OUTBOARD


def _axis(values: Vec, step: float) -> Vec:
    low, high = float(values.min()), float(values.max())
    return np.asarray(low + step * np.arange(ceil((high - low) / step) + 1), dtype=float)


def _bars(kept: Kept, member: Member, thick: float, who: Occupant, *, swung: bool) -> _Bars:
    """Side view of what of a tube and its padding lies outboard of the person's middle."""
    sign = 1.0 if who.door_side == "left" else -1.0
    limit = _limit(who)
    stretches = kept.once(("stretches", member, swung), partial(_stretches, member, swung))
    cuts = [_outboard(a, b, sign, limit) for a, b in stretches]
    rows = np.array([cut for cut in cuts if cut is not None]).reshape(-1, 2, 3)[..., [0, 2]]
    n = len(rows)
    radius = np.full(n, member.tube.outer_radius + thick)
    door = (member.role == "door_bar",) * n
    return _Bars(rows[:, 0], rows[:, 1], radius, (member.id,) * n, door)


def _stretches(member: Member, swung: bool) -> list[tuple[Vec, Vec]]:
    out: list[tuple[Vec, Vec]] = []
    for piece in (q for path in _left(member, swung) for q in path.pieces):
        n = max(ceil(piece.angle / 0.1), 1) if isinstance(piece, Arc) else 1
        points = piece.point(even(piece.length, n + 1))
        out += list(pairwise(points))
    return out


def _left(member: Member, swung: bool) -> tuple[CentreLine, ...]:
    """What stays in place: all of a member, or the stubs of a bar that is swung out."""
    if member.swing is None or not swung:
        return (member.path,)
    if member.a.kind is EndKind.PINNED and member.b.kind is EndKind.PINNED:
        return ()  # divided: the stubs are members of their own
    cuts = sorted((member.swing.hinge_cut, member.swing.latch_cut))
    first, _, last = member.path.split(*cuts)
    return first, last


def _outboard(a: Vec, b: Vec, sign: float, limit: float) -> tuple[Vec, Vec] | None:
    """The part of a stretch that lies outboard of ``limit``."""
    ya, yb = sign * a[1] - limit, sign * b[1] - limit
    if ya <= 0 and yb <= 0:
        return None
    if ya > 0 and yb > 0:
        return a, b
    mid = a + ya / (ya - yb) * (b - a)
    return (a, mid) if ya > 0 else (mid, b)


def _clear(hole: _Hole, bars: _Bars) -> Vec:
    """Distance from every grid place to the opening's edge or the nearest tube's outline, mm."""
    door = np.array(bars.door, dtype=bool)
    # what lies below a door bar is shut: the sides of that part
    ends = np.concatenate([bars.start[door], bars.end[door]])
    start, end = np.concatenate([bars.start, ends]), np.concatenate([bars.end, ends - (0.0, DOWN)])
    radius = np.concatenate([bars.radius, np.zeros(len(ends))])
    out = hole.inside.copy()
    xs, zs = hole.xs.tolist(), hole.zs.tolist()
    for a, b, r in zip(start.tolist(), end.tolist(), radius.tolist(), strict=True):
        # a place further from the tube than any is free takes nothing from it
        reach = float(out.max()) + r + MICRON
        across, up = _span(xs, a[0], b[0], reach), _span(zs, a[1], b[1], reach)
        these = out[across, up]
        if these.size:
            apart = _to_stretch(hole.xs[across], hole.zs[up], a, b)
            np.subtract(apart, r, out=apart)
            np.minimum(these, apart, out=these)
    return out


def _span(values: Sequence[float], a: float, b: float, reach: float) -> slice:
    """Where rising values lie between two others, ``reach`` beyond them."""
    low, high = min(a, b) - reach, max(a, b) + reach
    return slice(bisect_left(values, low), bisect_right(values, high))


def _to_stretch(xs: Vec, zs: Vec, a: Sequence[float], b: Sequence[float]) -> Vec:
    """Distances of the places of a grid ``(n, m)`` from the straight from ``a`` to ``b``, mm.

    What hangs on one coordinate alone is worked out once for its row or column.
    """
    x, z = xs - a[0], zs - a[1]
    dx, dz = b[0] - a[0], b[1] - a[1]
    size = dx * dx + dz * dz
    if size <= NOISE:
        return np.sqrt(np.add.outer(x * x, z * z))
    if dx == 0.0:
        # straight down: how far along it is hangs on the height alone
        z = z - np.minimum(np.maximum(z * dz / size, 0.0), 1.0) * dz
        return np.sqrt(np.add.outer(x * x, z * z))
    t = np.add.outer(x * dx, z * dz)
    t /= size
    np.maximum(t, 0.0, out=t)
    np.minimum(t, 1.0, out=t)
    aside, over = t * dx, t
    over *= dz
    np.subtract(x[:, None], aside, out=aside)
    np.subtract(z, over, out=over)
    aside *= aside
    over *= over
    aside += over
    return np.sqrt(aside, out=aside)


def _under(grid: Vec, bars: _Bars) -> Bools:
    """Places below a door bar: nobody gets out of the seat that way."""
    out = np.zeros(grid.shape[:-1], dtype=bool)
    x, z = grid[..., 0], grid[..., 1]
    for a, b, door in zip(bars.start, bars.end, bars.door, strict=True):
        if not door or abs(b[0] - a[0]) < ROUNDING:
            continue
        t = (x - a[0]) / (b[0] - a[0])
        out |= (t >= 0) & (t <= 1) & (z < a[1] + t * (b[1] - a[1]))
    return out


def _to_segment(points: Vec, a: Vec, b: Vec) -> Vec:
    # by coordinates: twice as fast as rows of two
    x, z = points[:, 0] - a[0], points[:, 1] - a[1]
    dx, dz = float(b[0] - a[0]), float(b[1] - a[1])
    size = dx * dx + dz * dz
    if size > NOISE:
        t = np.minimum(np.maximum((x * dx + z * dz) / size, 0.0), 1.0)
        x, z = x - t * dx, z - t * dz
    return np.asarray(np.sqrt(x * x + z * z))


def _inside(grid: Vec, outline: Vec) -> Vec:
    """Distance from every grid place to the outline, positive inside, mm."""
    flat = grid.reshape(-1, 2)
    far = np.full(len(flat), 1e6)
    odd = np.zeros(len(flat), dtype=bool)
    for a, b in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        far = np.minimum(far, _to_segment(flat, a, b))
        cross = (a[1] > flat[:, 1]) != (b[1] > flat[:, 1])
        rise = b[1] - a[1]
        if abs(rise) > NOISE:
            x = a[0] + (flat[:, 1] - a[1]) / rise * (b[0] - a[0])
            odd ^= cross & (flat[:, 0] < x)
    return np.where(odd, far, -far).reshape(grid.shape[:-1])


def _fit(free: Vec, core: float, step: float) -> tuple[float, tuple[int, int], float]:
    """Best place of a segment ``core`` mm long: its clearance, grid index and direction.

    A segment has no more room than its middle: only places that alone have more than the best so
    far are tried. Those that have most show early how much that is.
    """
    best, at, turn = -1e9, (0, 0), 0.0
    steps = max(ceil(core / step), 1)
    m = free.shape[1]
    # outside the grid nothing fits
    wide = ceil(core / 2 / step) + 1
    padded = np.pad(free, wide, constant_values=-1e6)
    along = np.linspace(-core / 2, core / 2, steps + 1)
    angles = [pi * k / TURNS for k in range(TURNS)]
    ahead, up = (np.outer([f(a) for a in angles], along) / step for f in (cos, sin))
    shifts = (np.rint(ahead) * padded.shape[1] + np.rint(up)).astype(np.intp)
    alone, values = free.ravel(), padded.ravel()
    rows, cols = np.indices(free.shape).reshape(2, -1)
    middle = (rows + wide) * padded.shape[1] + cols + wide

    def room(places: Ints, shift: Ints) -> Vec:
        spread = values[middle[places][:, None] + shift].min(axis=1)
        return np.asarray(np.minimum(alone[places], spread))

    roomy = np.argpartition(-alone, min(_FIRST, len(alone) - 1))[:_FIRST]
    for angle, shift in zip(angles, shifts, strict=True):
        least = max(float(room(roomy, shift).max()), best + ROUNDING)
        places = np.flatnonzero(alone >= least)
        if not len(places):
            continue
        clear = room(places, shift)
        first = int(np.argmax(clear))
        if float(clear[first]) > best + ROUNDING:
            row, col = divmod(int(places[first]), m)
            best, at, turn = float(clear[first]), (row, col), angle
    return best, at, turn


def _connected(mask: Bools, at: tuple[int, int]) -> Bools:
    """The part of ``mask`` that hangs together with ``at``: run by run, along x and z in turn."""
    part = np.zeros_like(mask, dtype=bool)
    if not mask[at]:
        return part
    part[at] = True
    along, up = _runs(mask.T).T, _runs(mask)
    while True:
        before = np.count_nonzero(part)
        for runs in (along, up):
            met = np.zeros(int(runs.max()) + 1, dtype=bool)
            met[runs[part]] = True
            part = met[runs] & mask
        if np.count_nonzero(part) == before:
            return part


def _runs(mask: Bools) -> Ints:
    """The number of the run of true places that each true one belongs to, row by row."""
    begins = mask.copy()
    begins[:, 1:] &= ~mask[:, :-1]
    return np.asarray(np.cumsum(begins), dtype=np.intp).reshape(mask.shape)


def _border(free: Vec, part: Bools, xs: Vec, zs: Vec) -> tuple[Point2, ...]:
    """The outer border of ``part`` where ``free`` passes zero, as a polygon.

    Walks the cells' corners (marching squares) with the crossing placed linearly on each side.
    """
    if not part.any():
        return ()
    field = np.where(part, np.maximum(free, SAME_POINT), np.minimum(free, -SAME_POINT))
    n, m = field.shape
    padded = np.full((n + 2, m + 2), -SAME_POINT)
    padded[1:-1, 1:-1] = field
    xe = np.concatenate([[2 * xs[0] - xs[1]], xs, [2 * xs[-1] - xs[-2]]])
    ze = np.concatenate([[2 * zs[0] - zs[1]], zs, [2 * zs[-1] - zs[-2]]])
    free_at = padded > 0
    loops = _loops(_links(padded, free_at))
    best, most = np.zeros((0, 2)), 0.0
    for loop in loops:
        points = _crossings(np.array(loop), padded, xe, ze)
        area = polygon_area(points)
        if area > most:
            best, most = points, area
    return _simple(best)


def _mixed(inside: Bools) -> Bools:
    total = inside[:-1, :-1].astype(int) + inside[1:, :-1] + inside[:-1, 1:] + inside[1:, 1:]
    return np.asarray((total > 0) & (total < 4))


_WEIGHTS = np.array([1, 2, 4, 8])
"""What each corner of a cell counts, round it, in the number of those that are free."""
_CUT = tuple(
    tuple(k for k in range(4) if (n >> k & 1) != (n >> (k + 1) % 4 & 1)) for n in range(16)
)
"""Which edges of a cell the border cuts, by that number."""


_FROM, _TO = (np.array([cut[k] if len(cut) == 2 else 0 for cut in _CUT]) for k in (0, 1))
"""Between which edges of a cell the border runs, where it cuts two."""
_SADDLE = np.isin(np.arange(16), (5, 10))
"""Of which cells, by that number, two opposite corners are free: the border runs through twice."""


def _links(field: Vec, free: Bools) -> dict[int, list[int]]:
    """Which edges of cells the border runs on to from each edge that it cuts.

    The edge from the place ``(i, j)`` on along x has the number ``2 (i m + j)``, that along z the
    next.

    Args:
        field: how far each place is free, ``(n, m)``.
        free: whether it is.
    """
    i, j = np.argwhere(_mixed(free)).T
    which = _WEIGHTS @ [free[i, j], free[i + 1, j], free[i + 1, j + 1], free[i, j + 1]]
    corner, row = 2 * (i * field.shape[1] + j), 2 * field.shape[1]
    # round the cell, as the corners in _WEIGHTS
    edges = np.stack([corner, corner + row + 1, corner + 2, corner + 1])
    cells = np.arange(len(i))
    pairs = np.stack([edges[_FROM[which], cells], edges[_TO[which], cells]])
    saddle = _SADDLE[which]
    if saddle.any():
        i, j, four, own = i[saddle], j[saddle], edges[:, saddle], which[saddle]
        middle = field[i, j] + field[i + 1, j] + field[i + 1, j + 1] + field[i, j + 1] > 0
        a, b, c, d = np.where(((own & 1) == 1) == middle, four, four[[3, 0, 1, 2]])
        pairs = np.concatenate([pairs[:, ~saddle], [a, b], [c, d]], axis=1)
        # one edge after the other meets its cells as they stand
        cells = np.concatenate([cells[~saddle], *[np.flatnonzero(saddle)] * 2])
        pairs = pairs[:, np.argsort(cells, kind="stable")]
    links: dict[int, list[int]] = {}
    for a, b in zip(*pairs.tolist(), strict=True):
        links.setdefault(a, []).append(b)
        links.setdefault(b, []).append(a)
    return links


def _loops(links: dict[int, list[int]]) -> list[list[int]]:
    """The borders that close, edge by edge."""
    loops, seen = [], set()
    for start in sorted(links):
        if start in seen:
            continue
        loop, here = [start], start
        seen.add(start)
        while True:
            ahead = [e for e in links[here] if e not in seen]
            if not ahead:
                break
            here = ahead[0]
            seen.add(here)
            loop.append(here)
        loops.append(loop)
    return loops


def _crossings(edges: Ints, field: Vec, xs: Vec, zs: Vec) -> Vec:
    """Where a border crosses edges ``(k,)``, linearly between their ends: ``(k, 2)`` mm."""
    place, up = np.divmod(edges, 2)
    i, j = np.divmod(place, field.shape[1])
    k, m = i + (1 - up), j + up
    a, b = field[i, j], field[k, m]
    t = a / (a - b)
    return np.stack([xs[i] + t * (xs[k] - xs[i]), zs[j] + t * (zs[m] - zs[j])], axis=-1)


def _simple(points: Vec, tolerance: float = 1.5) -> tuple[Point2, ...]:
    """Drop corners that lie within ``tolerance`` mm of the line of their neighbours."""
    keep = _thinned(points, tolerance) if len(points) > 3 else slice(None)
    return tuple((x, z) for x, z in points[keep].tolist())


def _thinned(p: Vec, tolerance: float) -> list[int]:
    far = int(np.argmax(np.linalg.norm(p - p[0], axis=1)))
    marks = {0, far}
    stack = [(0, far), (far, len(p))]
    while stack:
        i, j = stack.pop()
        if j - i < 2:
            continue
        end = p[j % len(p)]
        off = _to_segment(p[i + 1 : j], p[i], end)
        k = int(np.argmax(off))
        if off[k] > tolerance:
            marks.add(i + 1 + k)
            stack += [(i, i + 1 + k), (i + 1 + k, j)]
    return sorted(marks)


def polygon_area(points: Sequence[Point2] | Vec) -> float:
    """Area of a polygon, without sign, mm2."""
    p = np.asarray(points, dtype=float).reshape(-1, 2)
    if len(p) < 3:
        return 0.0
    q = np.roll(p, -1, axis=0)
    return abs(float((p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]).sum())) / 2


def _tightest(place: Vec, turn: float, core: float, clear: float, bars: _Bars) -> tuple[str, ...]:
    """Members within a grid's width of the section where it fits best."""
    along = np.array([cos(turn), sin(turn)])
    spine = place + np.multiply.outer(np.linspace(-core / 2, core / 2, 21), along)
    near: dict[str, float] = {}
    if bars.owner:
        gaps = _to_segments(spine, bars.start, bars.end).min(axis=1) - bars.radius
        for name, gap in zip(bars.owner, gaps.tolist(), strict=True):
            near[name] = min(near.get(name, 1e9), gap)
    return tuple(name for name, gap in near.items() if gap < clear + 2 * GRID)


def _to_segments(points: Vec, start: Vec, end: Vec) -> Vec:
    """Distances of points ``(m, 2)`` from straights ``(n, 2)``, a row for each, mm."""
    (x0, z0), (dx, dz) = start.T[:, :, None], (end - start).T[:, :, None]
    x, z = points[:, 0] - x0, points[:, 1] - z0
    size = dx * dx + dz * dz
    t = np.minimum(np.maximum((x * dx + z * dz) / np.maximum(size, NOISE), 0.0), 1.0)
    t = np.where(size > NOISE, t, 0.0)
    x, z = x - t * dx, z - t * dz
    return np.asarray(np.sqrt(x * x + z * z))


def _standing(outline: Vec, bars: _Bars) -> tuple[str, ...]:
    """Members of which some part lies within the outline."""
    share = np.linspace(0.0, 1.0, 9)[:, None]
    spots = bars.start[:, None] + share * (bars.end - bars.start)[:, None]
    inside = (_inside(spots, outline) > 0).any(axis=1)
    return tuple(dict.fromkeys(bars.owner[i] for i in np.flatnonzero(inside)))
