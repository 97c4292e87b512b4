"""The way out: what door bars, sill bar, hoop and pillar bar leave of the door opening.

Seen from the side, the opening is the door's outline on the car sheet less every tube that lies
between the person and the door, and less what is below the door bars. The person goes through it
head or feet first: a stadium as wide as the shoulders and as deep as the chest, turned and placed
as it fits best.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import pairwise
from math import ceil, cos, pi, sin

import numpy as np

from cagekit.cage.kept import Same, content
from cagekit.cage.member import EndKind, Member
from cagekit.fit.cockpit import Cockpit
from cagekit.geometry.arrays import Bools
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
DOWN = 2000.0
"""Below a door bar the opening is shut this far down, mm."""

Point2 = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Opening:
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


@dataclass(frozen=True, slots=True, eq=False)
class _Bars:
    """Straight stretches in side view: ends ``(n, 2)``, radii ``(n,)``, owners, door bars."""

    start: Vec
    end: Vec
    radius: Vec
    owner: tuple[str, ...]
    door: tuple[bool, ...]


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
    bars = _bars(cockpit, who, cockpit.members.values(), swung)
    key = ("way out", Same(door), Same(who), content(bars))
    return cockpit.kept.once(key, partial(_measured, hole, who, bars))


@dataclass(frozen=True, slots=True, eq=False)
class _Hole:
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


def _measured(hole: _Hole, who: Occupant, bars: _Bars) -> Opening:
    outline, step, xs, zs, grid = hole.outline, hole.step, hole.xs, hole.zs, hole.grid
    free = _clear(hole, bars)
    free = np.where(_under(grid, bars), -np.abs(free), free)
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


def _axis(values: Vec, step: float) -> Vec:
    low, high = float(values.min()), float(values.max())
    return np.asarray(low + step * np.arange(ceil((high - low) / step) + 1), dtype=float)


def _bars(cockpit: Cockpit, who: Occupant, members: Iterable[Member], swung: bool) -> _Bars:
    """Side view of what lies outboard of the person's middle."""
    sign = 1.0 if who.door_side == "left" else -1.0
    limit = sign * float(who.hip[1]) + _OUTBOARD
    start, end, radius, owner, door = [], [], [], [], []
    for member in members:
        r = member.tube.outer_radius + cockpit.padding.get(member.id, 0.0)
        key = ("stretches", member, swung)
        for a, b in cockpit.kept.once(key, partial(_stretches, member, swung)):
            cut = _outboard(a, b, sign, limit)
            if cut is not None:
                start.append(cut[0][[0, 2]])
                end.append(cut[1][[0, 2]])
                radius.append(r)
                owner.append(member.id)
                door.append(member.role == "door_bar")
    if not owner:
        return _Bars(np.zeros((0, 2)), np.zeros((0, 2)), np.zeros(0), (), ())
    return _Bars(np.array(start), np.array(end), np.array(radius), tuple(owner), tuple(door))


def _stretches(member: Member, swung: bool) -> list[tuple[Vec, Vec]]:
    out: list[tuple[Vec, Vec]] = []
    for piece in (q for path in _left(member, swung) for q in path.pieces):
        n = max(ceil(piece.angle / 0.1), 1) if isinstance(piece, Arc) else 1
        points = piece.point(np.linspace(0.0, piece.length, n + 1))
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
    """Best place of a segment ``core`` mm long: its clearance, grid index and direction."""
    best, at, turn = -1e9, (0, 0), 0.0
    steps = max(ceil(core / step), 1)
    n, m = free.shape
    # outside the grid nothing fits
    wide = ceil(core / 2 / step) + 1
    padded = np.pad(free, wide, constant_values=-1e6)
    along = np.linspace(-core / 2, core / 2, steps + 1).tolist()
    for k in range(TURNS):
        angle = pi * k / TURNS
        c, s = cos(angle), sin(angle)
        clear = free.copy()
        for i, j in dict.fromkeys((round(t * c / step), round(t * s / step)) for t in along):
            row, col = wide + i, wide + j
            np.minimum(clear, padded[row : row + n, col : col + m], out=clear)
        spot = int(np.argmax(clear))
        value = float(clear.ravel()[spot])
        if value > best + ROUNDING:
            at_row, at_col = divmod(spot, m)
            best, at, turn = value, (at_row, at_col), angle
    return best, at, turn


def _connected(mask: Bools, at: tuple[int, int]) -> Bools:
    """The part of ``mask`` that hangs together with ``at``."""
    part = np.zeros_like(mask, dtype=bool)
    if not mask[at]:
        return part
    part[at] = True
    while True:
        grown = part.copy()
        grown[1:] |= part[:-1]
        grown[:-1] |= part[1:]
        grown[:, 1:] |= part[:, :-1]
        grown[:, :-1] |= part[:, 1:]
        grown &= mask
        if (grown == part).all():
            return part
        part = grown


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
    links: dict[tuple[int, int, int], list[tuple[int, int, int]]] = {}
    rows, across, up = padded.tolist(), xe.tolist(), ze.tolist()
    free_at = padded > 0
    mixed = np.argwhere(_mixed(free_at))
    x, z = mixed.T
    which = _WEIGHTS @ [free_at[x, z], free_at[x + 1, z], free_at[x + 1, z + 1], free_at[x, z + 1]]
    for (i, j), corners in zip(mixed.tolist(), which.tolist(), strict=True):
        for a, b in _cell(rows, i, j, corners):
            links.setdefault(a, []).append(b)
            links.setdefault(b, []).append(a)
    loops = _loops(links)
    best: tuple[Point2, ...] = ()
    for loop in loops:
        points = tuple(_cross(edge, rows, across, up) for edge in loop)
        if polygon_area(points) > polygon_area(best):
            best = points
    return _simple(best)


def _mixed(inside: Bools) -> Bools:
    total = inside[:-1, :-1].astype(int) + inside[1:, :-1] + inside[:-1, 1:] + inside[1:, 1:]
    return np.asarray((total > 0) & (total < 4))


GridEdge = tuple[int, int, int]
GridRows = Sequence[Sequence[float]]
"""Values of a grid as plain numbers: quicker than an array where cells are looked at one by one."""


_WEIGHTS = np.array([1, 2, 4, 8])
"""What each corner of a cell counts, round it, in the number of those that are free."""
_CUT = tuple(
    tuple(k for k in range(4) if (n >> k & 1) != (n >> (k + 1) % 4 & 1)) for n in range(16)
)
"""Which edges of a cell the border cuts, by that number."""


def _cell(field: GridRows, i: int, j: int, free: int) -> list[tuple[GridEdge, GridEdge]]:
    """The border's links through one cell; an edge is ``(i, j, 0 along x | 1 along z)``.

    Args:
        field: how far each place is free.
        i: number of the cell along x.
        j: along z.
        free: which of its corners are, as ``_WEIGHTS`` counts them.
    """
    edges: list[GridEdge] = [(i, j, 0), (i + 1, j, 1), (i, j + 1, 0), (i, j, 1)]
    cut = [edges[k] for k in _CUT[free]]
    if len(cut) == 2:
        return [(cut[0], cut[1])]
    middle = sum((field[i][j], field[i + 1][j], field[i + 1][j + 1], field[i][j + 1])) > 0
    first = bool(free & 1) == middle
    return [(cut[0], cut[1]), (cut[2], cut[3])] if first else [(cut[3], cut[0]), (cut[1], cut[2])]


def _loops(links: dict[GridEdge, list[GridEdge]]) -> list[list[GridEdge]]:
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


def _cross(edge: GridEdge, field: GridRows, xs: Sequence[float], zs: Sequence[float]) -> Point2:
    i, j, along = edge
    a = field[i][j]
    b = field[i + 1][j] if along == 0 else field[i][j + 1]
    t = a / (a - b)
    if along == 0:
        return xs[i] + t * (xs[i + 1] - xs[i]), zs[j]
    return xs[i], zs[j] + t * (zs[j + 1] - zs[j])


def _simple(points: tuple[Point2, ...], tolerance: float = 1.5) -> tuple[Point2, ...]:
    """Drop corners that lie within ``tolerance`` mm of the line of their neighbours."""
    if len(points) < 4:
        return points
    p = np.array(points)
    keep = _thinned(p, tolerance)
    return tuple((float(x), float(z)) for x, z in p[keep])


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


def polygon_area(points: Iterable[Point2]) -> float:
    """Area of a polygon, without sign, mm2."""
    p = np.array(list(points), dtype=float).reshape(-1, 2)
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
