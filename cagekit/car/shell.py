"""The shell of the car as surfaces that a tube must stay inside of.

The car sheet holds a few measured points; between them the surfaces are filled in:

roof
    in the hoop plane flat across at the measured height, at the header an arch through the
    middle of the header and the roof's front corners, straight between the two;
side at the hoop
    floor, belt line and roof rail joined by straights, in the plane of the main hoop only;
pillar
    a strip as wide as the pillar, 40 mm deep, its inner face on the measured line;
windscreen
    from header to cowl, bowed forward to the centre plane, at the sides the pillar's depth outside
    its inner face;
sill, door
    the inner face of the sill, and of the trim or glass that moves, within the door opening;
tunnel
    a box from behind the hoop to the front feet;
floor
    from foot to foot, see ``floor.py``;
panels
    flat sheets, see ``panel.py``.
"""

from __future__ import annotations

from collections.abc import Callable
from math import dist
from typing import Protocol

import numpy as np
from msgspec import Struct

from cagekit.car.floor import floor_of, steepest
from cagekit.geometry.arrays import Array, Bools, Points, Points2, dot_columns, rows_along
from cagekit.geometry.centre_line import Vec, unit, vec
from cagekit.geometry.shapes import Capsule, Corners, Prism, Slab, Solid, in_polygon
from cagekit.inputs.car import Car, PillarLine
from cagekit.inputs.keepouts import KeepOut
from cagekit.units.tolerance import NEGLIGIBLE, NO_LENGTH, SAME_POINT

FAR = 1e5
"""Distance (mm) given to points where a surface does not exist."""
PILLAR_DEPTH = 40.0
NEAR = 20.0
"""Points of the car sheet nearer to each other than this (mm) do not make a surface."""
HOOP_PLANE = 120.0
"""The hoop's side section holds this far ahead of and behind the plane it was measured in, mm."""
BEHIND_HOOP = 300.0
"""Roof and tunnel are carried on this far behind the hoop, mm."""
DOOR_DEPTH = 150.0
WIDE = 1.2
"""How far aside the roof's arch goes on, of where its corners are."""
AHEAD = 1000.0
"""As far ahead of the header (mm) the steepest slope of its arch is known: farther than a torch
reaches."""


_STEP = 0.5
"""Half the distance (mm) over which the slope of a surface is taken."""
_AROUND = np.concatenate([np.zeros((1, 3)), _STEP * np.eye(3), -_STEP * np.eye(3)])


class Skin(Struct, frozen=True, eq=False):
    """A surface as the zero of a function that is positive on the cabin's side.

    Distances are the function over its slope: exact for planes, to first order else. ``where``
    tells for which points the surface exists. ``steep`` is no less than the slope anywhere.
    """

    side: Callable[[Vec], Vec]
    where: Callable[[Vec], Vec]
    steep: float = np.inf

    @property
    def box(self) -> Corners:
        """Everywhere: where it is only ``where`` knows."""
        return np.full(3, -np.inf), np.full(3, np.inf)

    def _with_slope(self, points: Points) -> tuple[Vec, Vec]:
        """The function at ``points`` and its slope ``(3, n)``, all spots in one call."""
        # each of the coordinates lies together
        shifts = _AROUND.T.reshape(3, -1, *(1,) * (points.ndim - 1))
        columns = points.transpose(-1, *range(points.ndim - 1))[:, None] + shifts
        around = self.side(columns.transpose(*range(1, columns.ndim), 0))
        return around[0], (around[1:4] - around[4:]) / (2 * _STEP)

    def gap(self, points: Points) -> Vec:
        """Distance to the surface, ``(n,)`` mm, negative beyond it."""
        here = self.where(points)
        out = np.full(points.shape[:-1], FAR)
        if here.any():
            value, slope = self._with_slope(points[here])
            out[here] = value / np.maximum(np.sqrt(dot_columns(slope, slope)), NEGLIGIBLE)
        return out

    def at_least(self, points: Points) -> Vec:
        """What ``gap`` is at least where it is positive, ``(n,)`` mm; negative where that is.

        From point to point it changes by no more than they are apart, beyond where the surface
        exists too.
        """
        return np.asarray(self.side(points) / self.steep)

    def gap_below(self, points: Points, reach: float) -> Vec:
        """``gap`` where it is less than ``reach``, no less than that elsewhere, ``(n,)`` mm."""
        near = self.at_least(points) < reach
        out = np.full(points.shape[:-1], FAR)
        out[near] = self.gap(points[near])
        return out

    def nearest(self, points: Points) -> Vec:
        """Surface points nearest to ``points``, ``(n, 3)``."""
        value, slope = self._with_slope(points)
        size = np.maximum(np.sqrt(dot_columns(slope, slope)), NEGLIGIBLE)
        step = value / size**2 * slope
        return np.asarray(points - step.transpose(*range(1, step.ndim), 0))


class Cylinder(Struct, frozen=True, eq=False):
    """A round keep-out with flat ends: axis ``start`` to ``end``, ``radius`` mm."""

    start: Vec
    end: Vec
    radius: float

    @property
    def box(self) -> Corners:
        """A box round it, along the car's axes."""
        ends = np.array([self.start, self.end])
        return ends.min(0) - self.radius, ends.max(0) + self.radius

    def _local(self, points: Points) -> tuple[Vec, Vec, Vec]:
        axis = unit(self.end - self.start)
        w = points - self.start
        along = rows_along(w, axis)
        out = w - np.multiply.outer(along, axis)
        return along, np.linalg.norm(out, axis=-1), out

    def gap(self, points: Points) -> Vec:
        """Distance to the surface, ``(n,)`` mm, negative inside."""
        length = float(np.linalg.norm(self.end - self.start))
        along, off, _ = self._local(points)
        over = np.stack([np.abs(along - length / 2) - length / 2, off - self.radius])
        outside = np.linalg.norm(np.maximum(over, 0.0), axis=0)
        return np.asarray(outside + np.minimum(over.max(axis=0), 0.0))

    def nearest(self, points: Points) -> Vec:
        """Surface points nearest to ``points``, ``(n, 3)``."""
        length = float(np.linalg.norm(self.end - self.start))
        axis = unit(self.end - self.start)
        along, off, out = self._local(points)
        held = np.clip(along, 0.0, length)
        inside = (held == along) & (off < self.radius)
        side = inside & (self.radius - off <= np.minimum(along, length - along))
        cap = inside & ~side
        held = np.where(cap, np.where(along < length / 2, 0.0, length), held)
        reach = np.where(side, self.radius, np.minimum(off, self.radius))
        scale = reach / np.maximum(off, NO_LENGTH)
        return np.asarray(self.start + np.multiply.outer(held, axis) + scale[..., None] * out)


AXES = {"xy": (0, 1, 2), "xz": (0, 2, 1), "yz": (1, 2, 0)}


def prism(plane: str, outline: Points2, span: tuple[float, float]) -> Prism:
    """A polygon in a plane of the car's axes, drawn out along the third.

    Args:
        plane: ``xy``, ``xz`` or ``yz``.
        outline: corners ``(n, 2)`` mm.
        span: from, to along the third axis, mm.
    """
    return Prism(np.zeros(3), np.eye(3)[list(AXES[plane])], outline, (min(span), max(span)))


class Boxed(Solid, Protocol):
    """A solid that knows where it is."""

    @property
    def box(self) -> Corners:
        """A box round it, along the car's axes."""
        ...


class ShellSurface(Struct, frozen=True, kw_only=True, eq=False):
    """One surface of the shell: name, solid, gap to keep (mm), roles that may touch it.

    ``moves``: a door or a seat that must still move; ``trimmed``: cut where tubes pass;
    ``holed``: a sheet that stays, with a hole for each tube that passes;
    ``stood_on``: tubes end on it; ``at_hoop``: the shell's side in the section of the main hoop;
    ``glass``: fixed glass, which may be out while the cage is welded.
    """

    name: str
    solid: Boxed
    keep: float = 0.0
    exempt: tuple[str, ...] = ()
    moves: bool = False
    trimmed: bool = False
    holed: bool = False
    stood_on: bool = False
    at_hoop: bool = False
    glass: bool = False

    def beside(self, low: Array, high: Array, reach: float) -> Bools:
        """Whether it may come within ``reach`` of a box, or of each of many, mm: told by its own.

        Args:
            low: the low corner of the box, ``(3,)``, or of each, ``(n, 3)`` mm.
            high: the high corners.
            reach: mm.
        """
        first, last = self.solid.box
        return np.asarray(np.all((first <= high + reach) & (last >= low - reach), axis=-1))


def surfaces(car: Car) -> tuple[ShellSurface, ...]:
    """Every surface that the car sheet can describe, and the keep-outs, in a fixed order."""
    out: list[ShellSurface] = []
    if car.roof is not None and car.roof.header_x > NEAR:
        out.append(ShellSurface(name="roof", solid=roof(car)))
        glass = windscreen(car)
        if glass is not None:
            out.append(ShellSurface(name="windscreen", solid=glass, glass=True))
    for side, sign in (("left", 1.0), ("right", -1.0)):
        out += _side(car, side, sign)
        roles = ("outrigger", "rocker_brace")
        out.append(
            ShellSurface(name=f"{side} floor", solid=floor(car, side), exempt=roles, stood_on=True)
        )
    if car.tunnel is not None:
        t = car.tunnel
        low = (-BEHIND_HOOP, -t.half("right"), car.floor_z)
        high = (_front(car), t.half("left"), t.top_z)
        out.append(ShellSurface(name="tunnel", solid=box(low, high), exempt=("outrigger",)))
    if car.dash is not None:
        d = car.dash
        half = max(car.side(s).hoop.side_width for s in ("left", "right"))
        high = (max(d.cowl_x, d.face_x + 1.0), half, d.top_z)
        dash = box((d.face_x, -half, d.bottom_z), high)
        out.append(ShellSurface(name="dash", solid=dash, trimmed=True))
    out += [
        ShellSurface(name=k.name, solid=keep_out(k), keep=k.gap, moves=k.moves, glass=k.glass)
        for k in car.keepouts
    ]
    if car.panels:
        from cagekit.car.panel import flat_panel

        out += [
            ShellSurface(name=p.name, solid=flat_panel(p), keep=p.gap, holed=p.holes)
            for p in car.panels
        ]
    return tuple(out)


def _front(car: Car) -> float:
    feet = [car.side(s).front_foot for s in ("left", "right")]
    return max([f.point[0] for f in feet if f is not None], default=1000.0)


def _side(car: Car, side: str, sign: float) -> list[ShellSurface]:
    own = car.side(side)
    wall = hoop_side(car, side, sign)
    out = [ShellSurface(name=f"{side} side at the hoop", solid=wall, at_hoop=True)]
    if own.pillar is not None and dist(own.pillar.top, own.pillar.base) > NEAR:
        top, base = (vec((x, sign * y, z)) for x, y, z in (own.pillar.top, own.pillar.base))
        out.append(
            ShellSurface(name=f"{side} pillar", solid=strip(top, base, own.pillar.width, sign))
        )
    if own.door is None:
        return out
    roles = ("outrigger", "rocker_brace")
    span = (min(x for x, _ in own.door.outline), max(x for x, _ in own.door.outline)) \
        if own.door.outline else (0.0, _front(car))  # fmt: skip
    low, high = sorted((sign * own.door.y_inner, sign * (own.door.y_inner + DOOR_DEPTH)))
    sill = box((span[0], low, car.floor_z), (span[1], high, 0.0))
    out.append(ShellSurface(name=f"{side} sill", solid=sill, exempt=roles))
    if len(own.door.outline) >= 3:
        ends = (sign * own.door.y_trim, sign * (own.door.y_trim + DOOR_DEPTH))
        door = prism("xz", np.array(own.door.outline, dtype=float), ends)
        out.append(ShellSurface(name=f"{side} door", solid=door, exempt=roles, moves=True))
    return out


def box(low: tuple[float, float, float], high: tuple[float, float, float]) -> Slab:
    """A box along the axes."""
    a, b = np.array(low), np.array(high)
    return Slab(vec((a + b) / 2), np.eye(3), vec(np.abs(b - a) / 2))


def keep_out(k: KeepOut) -> Boxed:
    """The solid of a keep-out of the car sheet."""
    if k.shape == "box":
        assert k.low is not None
        assert k.high is not None
        return box(k.low, k.high)
    if k.shape == "cylinder":
        assert k.start is not None
        assert k.end is not None
        assert k.radius is not None
        if dist(k.start, k.end) < SAME_POINT:
            return Capsule(vec(k.start), vec(k.end), k.radius)
        return Cylinder(vec(k.start), vec(k.end), k.radius)
    assert k.plane is not None
    assert k.span is not None
    return prism(k.plane, np.array(k.outline, dtype=float), k.span)


def floor(car: Car, side: str) -> Skin:
    """The upper face of the cabin floor, one side."""
    found = floor_of(car, side)
    steep = float(np.hypot(1.0, found.steep))
    return Skin(lambda p: p[..., 2] - found.height(p), found.holds, steep)


def roof(car: Car) -> Skin:
    """The inside of the roof skin."""
    r = car.roof
    assert r is not None
    corners = [car.side(s).roof_corner for s in ("left", "right")]
    half = max(min((c[1] for c in corners if c is not None), default=450.0), 1.0)
    low = min((c[2] for c in corners if c is not None), default=r.height_at_header)
    sag = max(r.height_at_header - low, 0.0)

    def side(p: Vec) -> Vec:
        t = np.clip(p[..., 0] / r.header_x, 0.0, None)
        z = r.height_at_hoop + t * (r.height_at_header - r.height_at_hoop)
        arch = t * sag * np.minimum(np.abs(p[..., 1]) / half, WIDE) ** 2
        return np.asarray(z - arch - p[..., 2])

    def where(p: Vec) -> Vec:
        return np.asarray((p[..., 0] > -BEHIND_HOOP) & (p[..., 0] < r.header_x))

    along = (abs(r.height_at_header - r.height_at_hoop) + sag * WIDE**2) / r.header_x
    across = (1 + AHEAD / r.header_x) * sag * 2 * WIDE / half
    return Skin(side, where, float(np.hypot(1.0, np.hypot(along, across))))


def windscreen(car: Car) -> Skin | None:
    """The glass from header to cowl; None when the car sheet has it upside down."""
    r, dash = car.roof, car.dash
    assert r is not None
    pillars = [car.side(s).pillar for s in ("left", "right")]
    known = [p for p in pillars if p is not None and p.top[2] - p.base[2] > NEAR]
    top_x, top_z = r.header_x, r.height_at_header
    base_x = dash.cowl_x if dash else max((p.base[0] for p in known), default=top_x + 400)
    base_z = dash.cowl_z if dash else min((p.base[2] for p in known), default=top_z - 400)

    if top_z - base_z < NEAR:
        return None

    def line(z: Vec, a: tuple[float, float], b: tuple[float, float]) -> Vec:
        return np.asarray(a[0] + (z - a[1]) / (b[1] - a[1]) * (b[0] - a[0]))

    def edge(z: Vec, q: PillarLine, k: int) -> Vec:
        return line(z, (q.base[k], q.base[2]), (q.top[k], q.top[2]))

    ahead = [_ahead(q) for q in known]

    def side(p: Vec) -> Vec:
        y, z = np.abs(p[..., 1]), p[..., 2]
        middle = line(z, (base_x, base_z), (top_x, top_z))
        if not known:
            return np.asarray(middle - p[..., 0])
        # between both pillars; numpy's own mean takes five times as long
        edge_x = sum(edge(z, q, 0) + a for q, a in zip(known, ahead, strict=True)) / len(known)
        edge_y = sum(edge(z, q, 1) for q in known) / len(known)
        bow = np.minimum(y / np.maximum(edge_y, 1.0), 1.0) ** 2
        return np.asarray(middle + bow * (edge_x - middle) - p[..., 0])

    def where(p: Vec) -> Vec:
        return np.asarray((p[..., 2] > base_z) & (p[..., 2] < top_z) & (p[..., 0] > 0.3 * base_x))

    return Skin(side, where)


def _ahead(pillar: PillarLine) -> float:
    """How far the glass lies ahead of the pillar's inner face, level, mm."""
    run, rise = (pillar.base[k] - pillar.top[k] for k in (0, 2))
    return PILLAR_DEPTH * float(np.hypot(run, rise)) / max(abs(rise), 1.0)


def hoop_side(car: Car, side: str, sign: float) -> Skin:
    """Floor, belt and rail in the plane of the hoop.

    Args:
        car: the car sheet.
        side: ``left`` or ``right``.
        sign: 1 on the left, -1 on the right.
    """
    y, z = np.array(car.side(side).hoop.wall(car.floor_z)).T
    slope = (y[-1] - y[-2]) / max(z[-1] - z[-2], 1.0) if len(z) > 1 else 0.0
    own = car.side(side).door
    door = np.array(own.outline, dtype=float) if own and len(own.outline) >= 3 else None

    def wall(p: Vec) -> Vec:
        inner = np.interp(p[..., 2], z, y)
        over = np.maximum(p[..., 2] - z[-1], 0.0)
        return np.asarray(inner + slope * over - sign * p[..., 1])

    def where(p: Vec) -> Vec:
        here = (np.abs(p[..., 0]) < HOOP_PLANE) & (p[..., 2] > car.floor_z)
        if car.body == "open":
            here &= p[..., 2] < z[-1]
        if door is not None and here.any():
            # within the door opening there is no metal: a torch or an arm reaches through
            here[here] = ~in_polygon(p[here][:, [0, 2]], door)
        return np.asarray(here)

    lean = max(abs(slope), steepest(z, y))
    return Skin(wall, where, float(np.hypot(1.0, lean)))


def strip(top: Vec, base: Vec, width: float, sign: float) -> Slab:
    """The pillar: a strip along its inner face's line, reaching outwards.

    Args:
        top: upper end of the line, ``(3,)`` mm.
        base: lower end.
        width: of the strip, mm.
        sign: 1 on the left, -1 on the right.
    """
    along = unit(top - base)
    out = np.array([0.0, sign, 0.0])
    out = unit(out - (out @ along) * along)
    across = np.cross(along, out)
    half = np.array([np.linalg.norm(top - base) / 2, PILLAR_DEPTH / 2, width / 2])
    middle = (top + base) / 2 + PILLAR_DEPTH / 2 * out
    return Slab(vec(middle), np.array([along, out, across]), vec(half))
