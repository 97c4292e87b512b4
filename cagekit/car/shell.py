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

from math import dist
from typing import Protocol

import numpy as np
from msgspec import Struct

from cagekit.car.floor import Floor, floor_of, steepest
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


class SurfaceFunction(Protocol):
    """A surface as the zero of ``side``, which is positive on the cabin's side.

    It is a record of all that its functions hang on, so that two of equal fields are one surface.
    """

    def side(self, points: Vec) -> Vec:
        """The function at points ``(..., 3)``, ``(...)`` mm."""
        ...

    def where(self, points: Vec) -> Vec:
        """For which points the surface exists, ``(...)`` bool."""
        ...


class Skin(Struct, frozen=True, eq=False):
    """A surface by the function of its sheet.

    Distances are the function over its slope: exact for planes, to first order else. ``steep`` is
    no less than the slope anywhere.
    """

    sheet: SurfaceFunction
    steep: float = np.inf

    @property
    def box(self) -> Corners:
        """Everywhere: where it is only its sheet knows."""
        return np.full(3, -np.inf), np.full(3, np.inf)

    def _with_slope(self, points: Points) -> tuple[Vec, Vec]:
        """The function at ``points`` and its slope ``(3, n)``, all spots in one call."""
        # each of the coordinates lies together
        shifts = _AROUND.T.reshape(3, -1, *(1,) * (points.ndim - 1))
        columns = points.transpose(-1, *range(points.ndim - 1))[:, None] + shifts
        around = self.sheet.side(columns.transpose(*range(1, columns.ndim), 0))
        return around[0], (around[1:4] - around[4:]) / (2 * _STEP)

    def gap(self, points: Points) -> Vec:
        """Distance to the surface, ``(n,)`` mm, negative beyond it."""
        here = self.sheet.where(points)
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
        return np.asarray(self.sheet.side(points) / self.steep)

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
    roles = ("outrigger", "rocker_brace")  # they end on the sill
    out = [ShellSurface(name=f"{side} side at the hoop", solid=wall, exempt=roles, at_hoop=True)]
    if own.pillar is not None and dist(own.pillar.top, own.pillar.base) > NEAR:
        top, base = (vec((x, sign * y, z)) for x, y, z in (own.pillar.top, own.pillar.base))
        out.append(
            ShellSurface(name=f"{side} pillar", solid=strip(top, base, own.pillar.width, sign))
        )
    if own.door is None:
        return out
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


class _FloorSheet(Struct, frozen=True, eq=False):
    floor: Floor

    def side(self, points: Vec) -> Vec:
        return np.asarray(points[..., 2] - self.floor.height(points))

    def where(self, points: Vec) -> Vec:
        return self.floor.holds(points)


def floor(car: Car, side: str) -> Skin:
    """The upper face of the cabin floor, one side."""
    return skin_of(floor_of(car, side))


def skin_of(found: Floor) -> Skin:
    """The upper face of a floor."""
    return Skin(_FloorSheet(found), float(np.hypot(1.0, found.steep)))


class _RoofSheet(Struct, frozen=True, kw_only=True, eq=False):
    """Heights at the hoop and the header, where that is, and an arch ``sag`` deep at ``half``."""

    at_hoop: float
    at_header: float
    header_x: float
    sag: float
    half: float

    def side(self, points: Vec) -> Vec:
        t = np.clip(points[..., 0] / self.header_x, 0.0, None)
        z = self.at_hoop + t * (self.at_header - self.at_hoop)
        arch = t * self.sag * np.minimum(np.abs(points[..., 1]) / self.half, WIDE) ** 2
        return np.asarray(z - arch - points[..., 2])

    def where(self, points: Vec) -> Vec:
        return np.asarray((points[..., 0] > -BEHIND_HOOP) & (points[..., 0] < self.header_x))


def roof(car: Car) -> Skin:
    """The inside of the roof skin."""
    r = car.roof
    assert r is not None
    corners = [car.side(s).roof_corner for s in ("left", "right")]
    half = max(min((c[1] for c in corners if c is not None), default=450.0), 1.0)
    low = min((c[2] for c in corners if c is not None), default=r.height_at_header)
    sag = max(r.height_at_header - low, 0.0)
    sheet = _RoofSheet(
        at_hoop=r.height_at_hoop, at_header=r.height_at_header, header_x=r.header_x,
        sag=sag, half=half,
    )  # fmt: skip
    along = (abs(r.height_at_header - r.height_at_hoop) + sag * WIDE**2) / r.header_x
    across = (1 + AHEAD / r.header_x) * sag * 2 * WIDE / half
    return Skin(sheet, float(np.hypot(1.0, np.hypot(along, across))))


class _Glass(Struct, frozen=True, kw_only=True, eq=False):
    """From ``base`` to ``top`` (x, z) on the centre plane, and the pillars beside it."""

    base: tuple[float, float]
    top: tuple[float, float]
    pillars: tuple[PillarLine, ...]

    def side(self, points: Vec) -> Vec:
        y, z = np.abs(points[..., 1]), points[..., 2]
        middle = _on_line(z, self.base, self.top)
        known = self.pillars
        if not known:
            return np.asarray(middle - points[..., 0])
        # between both pillars; numpy's own mean takes five times as long
        edge_x = sum(_at_edge(z, q, 0) + _ahead(q) for q in known) / len(known)
        edge_y = sum(_at_edge(z, q, 1) for q in known) / len(known)
        bow = np.minimum(y / np.maximum(edge_y, 1.0), 1.0) ** 2
        return np.asarray(middle + bow * (edge_x - middle) - points[..., 0])

    def where(self, points: Vec) -> Vec:
        x, z = points[..., 0], points[..., 2]
        return np.asarray((z > self.base[1]) & (z < self.top[1]) & (x > 0.3 * self.base[0]))


def _on_line(z: Vec, a: tuple[float, float], b: tuple[float, float]) -> Vec:
    return np.asarray(a[0] + (z - a[1]) / (b[1] - a[1]) * (b[0] - a[0]))


def _at_edge(z: Vec, pillar: PillarLine, k: int) -> Vec:
    base, top = pillar.base, pillar.top
    return _on_line(z, (base[k], base[2]), (top[k], top[2]))


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
    return Skin(_Glass(base=(base_x, base_z), top=(top_x, top_z), pillars=tuple(known)))


def _ahead(pillar: PillarLine) -> float:
    """How far the glass lies ahead of the pillar's inner face, level, mm."""
    run, rise = (pillar.base[k] - pillar.top[k] for k in (0, 2))
    return PILLAR_DEPTH * float(np.hypot(run, rise)) / max(abs(rise), 1.0)


class _Wall(Struct, frozen=True, kw_only=True, eq=False):
    """Distances ``y`` from the centre plane at heights ``z``, leaning on by ``slope`` above.

    Within the corners of the ``door``, (x, z), there is none, nor below ``low`` or above ``high``.
    """

    sign: float
    y: Vec
    z: Vec
    slope: float
    low: float
    high: float
    door: Points2 | None

    def side(self, points: Vec) -> Vec:
        inner = np.interp(points[..., 2], self.z, self.y)
        over = np.maximum(points[..., 2] - self.z[-1], 0.0)
        return np.asarray(inner + self.slope * over - self.sign * points[..., 1])

    def where(self, points: Vec) -> Vec:
        z = points[..., 2]
        here = (np.abs(points[..., 0]) < HOOP_PLANE) & (z > self.low) & (z < self.high)
        if self.door is not None and here.any():
            # within the door opening there is no metal: a torch or an arm reaches through
            here[here] = ~in_polygon(points[here][:, [0, 2]], self.door)
        return np.asarray(here)


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
    sheet = _Wall(
        sign=sign, y=y, z=z, slope=float(slope), low=car.floor_z,
        high=float(z[-1]) if car.body == "open" else np.inf,
        door=np.array(own.outline, dtype=float) if own and len(own.outline) >= 3 else None,
    )  # fmt: skip
    lean = max(abs(slope), steepest(z, y))
    return Skin(sheet, float(np.hypot(1.0, lean)))


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
