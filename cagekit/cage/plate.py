"""What a plate is: a flat pattern with holes and folds, and its place on the car.

Frame of the flat pattern: x, y, mm, seen from the face; z = 0 on the face, the metal below it
down to z = -thickness. The part of the plate that holds `Plate.base` stays in that frame when the
plate is folded; `Plate.placement` takes the frame to the car's axes.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable
from dataclasses import dataclass, field, fields
from dataclasses import replace as with_fields
from enum import StrEnum
from functools import cached_property, lru_cache
from math import degrees, hypot, pi

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from numpy.typing import ArrayLike

from cagekit.cage.kept import content, hashed
from cagekit.errors import GeometryError
from cagekit.geometry.arrays import Points, as_rotation, cross3
from cagekit.geometry.centre_line import Vec
from cagekit.geometry.fold import Bend, Facet, Fold, FoldedSheet
from cagekit.geometry.outline import Outline, Segment, Vec2, vec2
from cagekit.materials.steels import steel
from cagekit.units.tolerance import (
    MICRON,
    NO_AREA,
    NOISE,
    SAME_ANGLE,
    SAME_POINT,
    SHOP_ANGLE,
)

PATTERNS = 256
"""Patterns of plates that are known to be possible."""
NO_METAL = frozenset({
    "id", "kind", "material", "marks", "bolts", "pins", "welds", "quantity", "members", "ends",
    "box", "outrigger", "bar", "joint", "notes",
})  # fmt: skip
"""Fields that say nothing of where there is metal; one that is new counts as metal."""


class HolePurpose(StrEnum):
    """What a hole is there for."""

    BOLT = "bolt"
    PIN = "pin"
    PLUG = "plug"
    LIGHTENING = "lightening"
    TAB = "tab"
    SLEEVE = "sleeve"


class Hole(Struct, frozen=True, kw_only=True, eq=False):
    """A cut-out: a round hole, a slot with round ends or a free loop.

    Args:
        loop: its edge, anticlockwise.
        purpose: what it is there for.
        diameter: of a round hole, or width of a slot, mm; 0 for a free loop.
        round_: a plain round hole.
    """

    loop: Outline
    purpose: HolePurpose
    diameter: float = 0.0
    round_: bool = False

    @classmethod
    def circle(
        cls, centre: ArrayLike, diameter: float, purpose: HolePurpose = HolePurpose.BOLT
    ) -> Hole:
        """A round hole.

        Args:
            centre: ``(2,)`` mm.
            diameter: mm.
            purpose: what goes through it.
        """
        return cls(
            loop=Outline.circle(centre, diameter), purpose=purpose, diameter=diameter, round_=True
        )

    @classmethod
    def slot(
        cls, a: ArrayLike, b: ArrayLike, width: float, purpose: HolePurpose = HolePurpose.BOLT
    ) -> Hole:
        """A slot with round ends about the centres ``a`` and ``b``.

        Args:
            a: centre of one end, ``(2,)`` mm.
            b: of the other.
            width: mm.
            purpose: what goes through it.
        """
        return cls(loop=Outline.slot(a, b, width), purpose=purpose, diameter=width)

    def pilot(self, ream: float) -> float:
        """Diameter or width (mm) on the table: of a pin hole ``ream`` mm are left to the reamer."""
        pin = self.purpose is HolePurpose.PIN and self.round_
        return max(self.diameter - ream, 0.0) if pin else self.diameter

    @classmethod
    def free(cls, loop: Outline, purpose: HolePurpose = HolePurpose.LIGHTENING) -> Hole:
        """A cut-out of any shape."""
        return cls(loop=loop.anticlockwise(), purpose=purpose)

    @property
    def centre(self) -> Vec2:
        """Middle of the hole in the flat pattern, ``(2,)`` mm."""
        return self.loop.centroid

    @property
    def area(self) -> float:
        """Area, mm2."""
        return abs(self.loop.area)

    def mapped(self, matrix: ArrayLike, shift: ArrayLike = (0.0, 0.0)) -> Hole:
        """Apply a rotation or mirror ``(2, 2)``, then a shift ``(2,)`` mm."""
        return replace(self, loop=self.loop.mapped(matrix, shift).anticlockwise())


class Mark(Struct, frozen=True, kw_only=True, eq=False):
    """A line that is scribed, not cut: foot of a tube, datum, centre."""

    kind: str
    line: Outline
    text: str = ""


class Bolt(Struct, frozen=True, kw_only=True):
    """A bolt and the hole it goes through.

    Args:
        hole: index into the plate's holes.
        size: thread, as in the fastener table, e.g. ``"3/8-16"`` or ``"M10"``.
        grade: e.g. ``"SAE J429 grade 5"``.
        diameter: nominal, mm.
        shear_planes: planes in which the load shears it.
    """

    hole: int
    size: str
    grade: str
    diameter: float
    shear_planes: int = 1


class Pin(Struct, frozen=True, kw_only=True):
    """A pin or bolt that carries load through this plate as an ear.

    ``load`` is the direction of the pull on the plate in its flat pattern, ``(x, y)``.
    """

    hole: int
    diameter: float
    shear_planes: int
    load: tuple[float, float]
    grade: str = ""
    grip: float = 0.0


class PlateWeld(Struct, frozen=True, kw_only=True):
    """A weld on the plate: ``length`` mm of ``kind`` with ``leg`` mm to ``to``."""

    to: str
    length: float
    kind: str = "fillet"
    leg: float = 0.0


class PinEar(Struct, frozen=True, kw_only=True):
    """Distances round a pin hole, mm, in the letters of AISC 360 D5.

    ``a`` end of the hole to the edge along the pull, ``width`` of the ear across the pull at the
    hole, ``side`` the smaller edge-of-hole to edge distance across, ``hole`` and ``pin``
    diameter, ``thickness``.
    """

    a: float
    width: float
    side: float
    hole: float
    pin: float
    thickness: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Plate:
    """A flat or folded plate.

    Args:
        id: unique in the cage (letters, digits, ``_``).
        kind: ``floor_plate``, ``backing_plate``, ``gusset``, ``folded_gusset``, ``tab``, ...
        thickness: mm.
        material: key of a steel.
        outline: edge of the flat pattern.
        holes: cut-outs.
        folds: bends of the flat pattern.
        marks: scribed lines.
        bolts, pins, welds: what the strength checks need.
        base: a point ``(2,)`` of the flat pattern on the part that stays put when folding.
        placement: ``(4, 4)`` rigid map of the folded part's base frame to car axes.
        quantity: pieces of this shape at this place.
        members: tubes that the plate touches.
        ends: tube ends that stand on it, e.g. ``"main_hoop.a"``.
        box: the box that it is a wall, the top or the base of.
        outrigger: the box reaches from frame or tunnel to the sill, in an opening of the floor, and
            is welded to the car by its ends.
        bar, joint: the swing-out bar and the joint of it (hinge, latch) that it is a bracket of.

    Raises:
        GeometryError: a hole outside the plate, holes that overlap, a fold through a hole and the
            like; each with numbers and what would do.
    """

    id: str
    kind: str
    thickness: float
    material: str
    outline: Outline
    holes: tuple[Hole, ...] = ()
    folds: tuple[Fold, ...] = ()
    marks: tuple[Mark, ...] = ()
    bolts: tuple[Bolt, ...] = ()
    pins: tuple[Pin, ...] = ()
    welds: tuple[PlateWeld, ...] = ()
    base: Vec2 = field(default_factory=lambda: vec2((0.0, 0.0)))
    placement: Vec = field(default_factory=lambda: np.eye(4))
    quantity: int = 1
    members: tuple[str, ...] = ()
    ends: tuple[str, ...] = ()
    box: str = ""
    outrigger: bool = False
    bar: str = ""
    joint: str = ""
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "outline", self.outline.anticlockwise())
        object.__setattr__(self, "base", vec2(self.base))
        object.__setattr__(self, "placement", self._rigid())
        # the same pattern elsewhere, as of a bracket that moves with its bar, is not judged again,
        # nor the plate of a foot that stays where it is while its tube leans
        self.__dict__["folded"] = _judged(_Pattern(self, ("id",)))
        if self.marks:
            _scribed(_Pattern(self, ("id", "marks")))

    def __repr__(self) -> str:
        """The id, what it is, and how much is in it."""
        has = f"{len(self.holes)} holes, {len(self.folds)} folds"
        return f"<Plate {self.id}: {self.kind}, {self.thickness:.4g} mm, {has}>"

    def on(
        self,
        members: tuple[str, ...],
        *,
        ends: tuple[str, ...] | None = None,
        welds: tuple[PlateWeld, ...] | None = None,
    ) -> Plate:
        """The same plate on members of other ids; its shape is not judged again.

        Args:
            members: their ids.
            ends: tube ends that stand on it, when not the same.
            welds: its welds, when not to the same.
        """
        new = object.__new__(Plate)
        own = {f.name: getattr(self, f.name) for f in fields(self)}
        own["ends"], own["welds"] = (
            self.ends if ends is None else ends,
            self.welds if welds is None else welds,
        )
        new.__dict__.update({**own, "members": members, "folded": self.folded})
        return new

    # -- refusing ----------------------------------------------------------------------------

    def require_sheet(self) -> None:
        """Refuse a pattern that cannot be cut or folded, whatever is scribed on it.

        Raises:
            GeometryError: what is wrong with it.
        """
        self._require_sizes()
        self._require_holes()
        self._require_folds()

    def _require_sizes(self) -> None:
        if not (np.isfinite(self.thickness) and self.thickness > 0):
            raise GeometryError(self.id, f"thickness {self.thickness:g} mm must be above zero.")
        if len(self.outline) < 2 or self.outline.area < NO_AREA:
            raise GeometryError(self.id, "the outline encloses no area.")
        if not self.outline.is_simple():
            raise GeometryError(
                self.id, "the outline crosses itself.", "Enlarge the plate or its legs."
            )

    def _rigid(self) -> Vec:
        """The placement as a rigid motion to the last digits, read only."""
        m = np.array(self.placement, float)
        if m.shape != (4, 4) or m[3].tolist() != [0.0, 0.0, 0.0, 1.0]:
            raise GeometryError(
                self.id,
                "the placement is no rigid motion: it wants a 4x4 matrix, last row 0 0 0 1.",
            )
        if not np.isfinite(m).all():
            raise GeometryError(self.id, "the placement has a number that is not finite.")
        try:
            m[:3, :3] = r = as_rotation(m[:3, :3])
        except ValueError as error:
            raise GeometryError(self.id, f"the placement is no rigid motion: {error}.") from None
        if float(cross3(r[0], r[1]) @ r[2]) < 0:
            raise GeometryError(
                self.id,
                "the placement mirrors the plate.",
                "Use Plate.mirrored() instead.",
            )
        m.setflags(write=False)
        return m

    def _require_holes(self) -> None:
        if not self.holes or self._holes_clear():
            return
        for i, h in enumerate(self.holes, 1):
            edge = h.loop.sampled(1.0)
            inside = self.outline.contains(edge)
            gaps = self.outline.distance(edge)
            if not inside.all() or float(gaps.min()) < SAME_POINT:
                over = float(gaps[~inside].max()) if not inside.all() else 0.0
                raise GeometryError(
                    self.id,
                    f"{h.purpose.value} hole {i} at ({h.centre[0]:.1f}, {h.centre[1]:.1f}) mm lies "
                    f"outside the plate by {over:.1f} mm.",
                    "Move it inward, make it smaller or enlarge the plate.",
                )
            for j, other in enumerate(self.holes[: i - 1], 1):
                gap = float(other.loop.distance(edge).min())
                crossed = (
                    other.loop.contains(edge).any() or h.loop.contains(other.loop.vertices).any()
                )
                if crossed or gap < SAME_POINT:
                    raise GeometryError(
                        self.id,
                        f"holes {j} and {i} run into each other.",
                        "Space them further apart.",
                    )

    def _holes_clear(self) -> bool:
        """Whether all holes are round, and by their middles clear of the edge and each other."""
        if not all(h.round_ for h in self.holes):
            return False
        middles = np.array([h.centre for h in self.holes]).reshape(-1, 2)
        reach = np.array([h.diameter / 2 for h in self.holes]) + SAME_POINT + MICRON
        if not (self.outline.distance(middles) > reach).all():
            return False
        x, y = middles.T
        apart = np.hypot(x[:, None] - x, y[:, None] - y) > reach[:, None] + reach
        apart |= np.eye(len(x), dtype=bool)
        return bool(apart.all() and self.outline.contains(middles).all())

    def _require_folds(self) -> None:
        for n, f in enumerate(self.folds, 1):
            if not SAME_ANGLE < abs(f.angle) < pi - SHOP_ANGLE:
                raise GeometryError(
                    self.id, f"fold {n} turns {degrees(f.angle):.1f} degrees (allowed: 0 to 180)."
                )
            if f.inside_radius < 0 or not 0 < f.k <= 0.5 + NOISE:
                raise GeometryError(
                    self.id,
                    f"fold {n}: inside radius {f.inside_radius:g} mm, k {f.k:g}"
                    " (allowed: radius from 0, k above 0 up to 0.5).",
                )
        if not self.folds:
            return
        for b in self.folded.bends:
            for i, h in enumerate(self.holes, 1):
                edge = h.loop.sampled(0.5)
                if b.loop.contains(edge).any() or h.loop.contains(b.loop.sampled(0.5)).any():
                    raise GeometryError(
                        self.id,
                        f"fold {b.fold + 1} runs through {h.purpose.value} hole {i} at "
                        f"({h.centre[0]:.1f}, {h.centre[1]:.1f}) mm: its bend zone is "
                        f"{b.width:.1f} mm wide.",
                        "Move the hole or the fold apart.",
                    )

    def require_marks(self) -> None:
        """Refuse a foot that does not stand on the plate.

        Raises:
            GeometryError: how far it hangs over the edge.
        """
        for m in self.marks:
            if m.kind != "foot" or not m.line.chords or self._holds(m.line):
                continue
            edge = m.line.sampled(1.0)
            inside = self.outline.contains(edge)
            if not inside.all():
                over = float(self.outline.distance(edge[~inside]).max())
                raise GeometryError(
                    self.id,
                    f"the foot of {m.text or 'the tube'} hangs {over:.1f} mm over the edge.",
                    "Enlarge the plate or move it under the tube.",
                )

    def _holds(self, line: Outline) -> bool:
        """Whether a line is so far within the outline that the box round it tells."""
        low, high = line.box
        middle = (low + high) / 2
        reach = hypot(*(high - middle)) + MICRON
        return bool(self.outline.contains(middle)[0] and self.outline.distance(middle)[0] > reach)

    # -- flat --------------------------------------------------------------------------------

    @property
    def area(self) -> float:
        """Area of the flat pattern less its holes, mm2; exact with arcs."""
        return self.outline.area - sum(h.area for h in self.holes)

    @property
    def centroid(self) -> Vec2:
        """Centre of area of the flat pattern, holes taken off, ``(2,)`` mm."""
        total = self.outline.centroid * self.outline.area
        for h in self.holes:
            total = total - h.centre * h.area
        return vec2(total / self.area)

    @property
    def size(self) -> Vec2:
        """Width and height of the flat pattern, ``(2,)`` mm."""
        return self.outline.size

    @property
    def flat_volume(self) -> float:
        """Area times thickness, mm3: the metal that is cut."""
        return self.area * self.thickness

    @property
    def mass(self) -> float:
        """Mass of one piece as folded, kg: of the body that ``volume`` and the solid describe."""
        return self.volume * steel(self.material).density

    def edge_distance(self, hole: int) -> float:
        """Centre of a hole to the nearest edge of the outline, mm."""
        return float(self.outline.distance(self.holes[hole].centre)[0])

    def hole_spacing(self, hole: int) -> float:
        """Centre of a hole to the nearest other hole's centre, mm; infinite when alone."""
        c = self.holes[hole].centre
        return min(
            (float(hypot(*(h.centre - c))) for i, h in enumerate(self.holes) if i != hole),
            default=float("inf"),
        )

    def fold_distance(self, hole: int) -> float:
        """Edge of a hole to the nearest bend zone, mm; infinite without folds."""
        return self.folded.hole_rooms[hole]

    def reach(self, point: ArrayLike, direction: ArrayLike) -> float:
        """Distance from a point of the flat pattern to the outline along ``direction``, mm."""
        return self._reach(self.outline, point, direction)

    def _reach(self, loop: Outline, point: ArrayLike, direction: ArrayLike) -> float:
        hit = loop.chord_through(point, direction)
        if hit is None:
            raise GeometryError(self.id, "the point lies off the plate.")
        return hit[1][0]

    def ear(self, pin: Pin) -> PinEar:
        """Distances round a pin's hole that the pin-plate check needs, mm.

        On a folded plate they end at the flat part that holds the hole.
        """
        h = self.holes[pin.hole]
        flat = next((f.loop for f in self.facets if pin.hole in f.holes), self.outline)
        pull = np.asarray(pin.load, float)
        across = np.array([-pull[1], pull[0]])
        ahead, *sides = (self._reach(flat, h.centre, d) for d in (pull, across, -across))
        return PinEar(
            a=ahead - h.diameter / 2,
            width=sum(sides),
            side=min(sides) - h.diameter / 2,
            hole=h.diameter,
            pin=pin.diameter,
            thickness=self.thickness,
        )

    # -- folded ------------------------------------------------------------------------------

    @cached_property
    def body(self) -> Hashable:
        """The metal and its place as something to look up by.

        What hangs on these alone stays when nothing else of a plate changes: its welds, the foot
        that is scribed on it.
        """
        return hashed((*self.sheet, content(self.placement)))

    @cached_property
    def sheet(self) -> tuple[Hashable, ...]:
        """The flat pattern with its folds, wherever it is, as something to look up by."""
        names = (f.name for f in fields(self) if f.name != "placement")
        return tuple(content(getattr(self, n)) for n in names if n not in NO_METAL)

    @cached_property
    def folded(self) -> FoldedSheet:
        """The pattern cut into flats and bend zones, with their places when folded."""
        return FoldedSheet(
            self.outline,
            self.thickness,
            self.folds,
            self.base,
            self.id,
            tuple(h.loop for h in self.holes),
        )

    @property
    def facets(self) -> tuple[Facet, ...]:
        """The flat parts of the plate."""
        return self.folded.facets

    @property
    def foot_bolts(self) -> tuple[Bolt, ...]:
        """The bolts in the face that the foot stands on, without those in folded faces."""
        if not self.folds:
            return self.bolts
        held = self.facets[self.foot_face].holes
        return tuple(b for b in self.bolts if b.hole in held)

    @property
    def foot_face(self) -> int:
        """Which of the facets holds the base point, and stays where it is."""
        return self.folded.base_facet

    @property
    def bends(self) -> tuple[Bend, ...]:
        """The bend zones, in the order of the folds."""
        return self.folded.bends if self.folds else ()

    @property
    def volume(self) -> float:
        """Volume of the part as folded, mm3; equals `flat_volume` when there is no fold.

        Folding keeps the metal; the model's bend zones hold (r + t/2) / (r + k t) of their flat
        volume, because the neutral axis is not in the middle of the thickness.
        """
        if not self.folds:
            return self.flat_volume
        return self.folded.volume - sum(h.area for h in self.holes) * self.thickness

    def car_points(self, xy: ArrayLike, z: ArrayLike = 0.0) -> Points:
        """Where flat points ``(n, 2)`` lie on the car once folded and placed, ``(n, 3)`` mm."""
        return self.to_car(self.folded.place(xy, z))

    def car_point(self, xy: ArrayLike) -> Vec:
        """Where one flat point ``(2,)`` of the face lies on the car, ``(3,)`` mm."""
        return np.asarray(self.to_car(self.folded.spot(xy)))

    def faces(self, xy: ArrayLike) -> tuple[Points, Points]:
        """Where flat points ``(n, 2)`` lie on the car, on the face and on the back, ``(n, 3)``."""
        face, back = self.folded.layers(xy, (0.0, -self.thickness))
        return self.to_car(face), self.to_car(back)

    def folded_faces(self, xy: ArrayLike) -> Points:
        """Flat points ``(n, 2)`` on the face, then on the back, in the folded sheet's own frame.

        ``(2n, 3)`` mm, the same wherever the plate is placed.
        """
        return np.concatenate(self.folded.layers(xy, (0.0, -self.thickness)))

    def to_car(self, points: ArrayLike) -> Points:
        """Take points ``(n, 3)`` of the folded base frame to car axes."""
        return np.asarray(points, float) @ self.placement[:3, :3].T + self.placement[:3, 3]

    @property
    def normal(self) -> Vec:
        """Unit normal of the base facet's face in car axes, ``(3,)``."""
        return np.asarray(self.placement[:3, 2])

    # -- changing ----------------------------------------------------------------------------

    def placed(self, placement: ArrayLike) -> Plate:
        """The same plate at another ``(4, 4)`` placement."""
        return with_fields(self, placement=np.asarray(placement, float))

    def mirrored(self, new_id: str = "", *, swap: tuple[str, str] = ("left", "right")) -> Plate:
        """The plate for the other side of the car: its own shape, not the same one turned over.

        The pattern is mirrored in its x, so that the face stays the face and an up fold stays up.
        """
        flip = np.diag([-1.0, 1.0])
        car, flat = np.diag([1.0, -1.0, 1.0, 1.0]), np.diag([-1.0, 1.0, 1.0, 1.0])
        return with_fields(
            self,
            id=new_id or _swapped(self.id, swap),
            outline=self.outline.mapped(flip),
            holes=tuple(h.mapped(flip) for h in self.holes),
            folds=tuple(
                replace(f, start=vec2(flip @ f.start), end=vec2(flip @ f.end)) for f in self.folds
            ),
            marks=tuple(
                replace(m, line=m.line.mapped(flip), text=_swapped(m.text, swap))
                for m in self.marks
            ),
            pins=tuple(replace(p, load=(-p.load[0], p.load[1])) for p in self.pins),
            welds=tuple(replace(w, to=_swapped(w.to, swap)) for w in self.welds),
            base=vec2(flip @ self.base),
            placement=car @ self.placement @ flat,
            members=tuple(_swapped(m, swap) for m in self.members),
            ends=tuple(_swapped(e, swap) for e in self.ends),
        )


class _Pattern:
    """A plate by its flat pattern and what else of it is named."""

    __slots__ = ("_key", "plate")

    def __init__(self, plate: Plate, names: Iterable[str]) -> None:
        own = [content(getattr(plate, n)) for n in names]
        self.plate, self._key = plate, hashed((*own, *plate.sheet))

    def __hash__(self) -> int:
        """By content."""
        return hash(self._key)

    def __eq__(self, other: object) -> bool:
        """Whether both are alike in every bit."""
        return isinstance(other, _Pattern) and self._key == other._key


@lru_cache(maxsize=PATTERNS)
def _judged(pattern: _Pattern) -> FoldedSheet:
    """The folded sheet of a plate that can be made; errors as its own."""
    pattern.plate.require_sheet()
    return pattern.plate.folded


@lru_cache(maxsize=PATTERNS)
def _scribed(pattern: _Pattern) -> None:
    """Refuse marks of a plate; errors as its own."""
    pattern.plate.require_marks()


def _swapped(text: str, swap: tuple[str, str]) -> str:
    a, b = swap
    if a in text:
        return text.replace(a, b)
    return text.replace(b, a)


def circle_segment(centre: ArrayLike, radius: float, start: float, end: float) -> Segment:
    """An arc about ``centre`` from angle ``start`` to ``end`` rad, either way round.

    Args:
        centre: ``(2,)`` mm.
        radius: mm.
        start: rad.
        end: rad.
    """
    c = np.asarray(centre, float)
    ends = [c + radius * np.array([np.cos(a), np.sin(a)]) for a in (start, end)]
    return Segment(vec2(ends[0]), vec2(ends[1]), float(np.tan((end - start) / 4)))
