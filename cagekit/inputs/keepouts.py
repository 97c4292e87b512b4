"""What tubes keep clear of beside the shell: volumes, and flat sheets that they may pass.

A part of the car sheet (`cagekit.inputs.car`); its frame, y signed.
"""

from collections.abc import Sequence
from math import hypot
from typing import Literal, Self

from pydantic import Field, model_validator

from cagekit.inputs.fields import FileModel, Length, LengthPair, Name, Point

SMALLEST_OPENING = 10_000.0
"""A door opening, or a panel, is larger than this, mm2."""
PANEL_FLAT = 15.0
"""Corners of a flat panel lie within this of one plane, mm: the tape's part and some."""


class KeepOut(FileModel):
    """A volume no tube may enter: box, cylinder or an upright polygon."""

    name: Name = Field(description="your word for it, e.g. `battery box`")
    shape: Literal["box", "cylinder", "polygon"]
    low: Point | None = Field(None, description="box: lowest corner")
    high: Point | None = Field(None, description="box: highest corner")
    start: Point | None = Field(None, description="cylinder: one end of the axis")
    end: Point | None = Field(None, description="cylinder: other end of the axis")
    radius: Length | None = Field(None, description="cylinder: radius")
    plane: Literal["xy", "xz", "yz"] | None = Field(
        None, description="polygon: plane it is drawn in"
    )
    outline: tuple[LengthPair, ...] = Field((), description="polygon: corners in that plane")
    span: LengthPair | None = Field(None, description="polygon: from, to along the third axis")
    gap: Length = Field(0.0, ge=0, description="distance to keep from it")
    moves: bool = Field(False, description="something that moves: door, window, seat")
    glass: bool = Field(
        False, description="fixed glass: it may be out while the cage is welded, and goes back in"
    )

    @model_validator(mode="after")
    def _complete(self) -> Self:
        needs = {
            "box": ("low", "high"),
            "cylinder": ("start", "end", "radius"),
            "polygon": ("plane", "outline", "span"),
        }
        for name in needs[self.shape]:
            if getattr(self, name) in (None, ()):
                raise ValueError(f"a {self.shape} keep-out needs {name!r}")
        for shape, names in needs.items():
            said = [n for n in names if getattr(self, n) not in (None, ())]
            other = next((n for n in said if n not in needs[self.shape]), "")
            if other:
                raise ValueError(
                    f"{other!r} is of a {shape} keep-out; a {self.shape} has "
                    f"{', '.join(needs[self.shape])}"
                )
        self._require_size()
        return self

    def _require_size(self) -> None:
        """Refuse a volume that is none: every tube would pass it."""
        if self.low is not None and self.high is not None and self.shape == "box":
            for axis, low, high in zip("xyz", self.low, self.high, strict=True):
                if low >= high:
                    raise ValueError(
                        f"a box keep-out has no size along {axis}: low is not below high"
                    )
        if self.shape == "cylinder":
            if self.radius is not None and self.radius <= 0:
                raise ValueError("the radius of a cylinder keep-out must be above 0")
            if self.start == self.end:
                raise ValueError("a cylinder keep-out has no length: start and end are one point")
        if self.shape == "polygon":
            if len(set(self.outline)) < 3 or abs(polygon_area(self.outline)) < 1.0:
                raise ValueError(
                    "the outline of a polygon keep-out needs three corners and an area"
                )
            if crosses_itself(self.outline):
                raise ValueError(
                    "the outline of a polygon keep-out crosses itself; give its corners in order"
                )
            if self.span is not None and self.span[0] >= self.span[1]:
                raise ValueError("the span of a polygon keep-out goes from the lower to the higher")


class CarPanel(FileModel):
    """A flat sheet of the car: bulkhead, firewall, rear window, bonnet."""

    name: Name = Field(description="your word for it, e.g. `rear bulkhead`")
    corners: tuple[Point, ...] = Field(
        description="corners in order round its edge: x, y (left positive), z of the cabin's face"
    )
    gap: Length = Field(0.0, ge=0, description="distance to keep from it")
    holes: bool = Field(
        False, description="tubes may pass: a hole is cut for each and listed in the papers"
    )
    clearance: Length = Field(
        3.0, ge=0, description="room left all round a tube that passes, for a grommet or sealant"
    )

    @model_validator(mode="after")
    def _flat(self) -> Self:
        if len(self.corners) < 3:
            raise ValueError("the corners of a panel: three or more, in order round its edge")
        if hypot(*_twice_area(self.corners)) / 2 < SMALLEST_OPENING:
            raise ValueError("the corners of a panel need an area; give them in order")
        normal, middle = self.plane
        off = max(
            abs(sum(n * (c - m) for n, c, m in zip(normal, corner, middle, strict=True)))
            for corner in self.corners
        )
        if off > PANEL_FLAT:
            raise ValueError(
                "the corners of a panel lie in one plane; where it bends, make two panels of it"
            )
        flat = max(range(3), key=lambda k: abs(normal[k]))
        if crosses_itself([c[:flat] + c[flat + 1 :] for c in self.corners]):
            raise ValueError("the panel's edge crosses itself; give its corners in order round it")
        return self

    @property
    def plane(self) -> tuple[Point, Point]:
        """Unit normal of the sheet, and the middle of its corners, mm."""
        area = _twice_area(self.corners)
        x, y, z = (n / hypot(*area) for n in area)
        a, b, c = (sum(axis) / len(self.corners) for axis in zip(*self.corners, strict=True))
        return (x, y, z), (a, b, c)


def polygon_area(corners: Sequence[tuple[float, float]]) -> float:
    """Signed area of a polygon, mm2."""
    following = (*corners[1:], *corners[:1])
    return sum(a * d - b * c for (a, b), (c, d) in zip(corners, following, strict=True)) / 2


def crosses_itself(corners: Sequence[tuple[float, ...]]) -> bool:
    """Whether two edges of a polygon in a plane cross between their ends."""
    edges = list(zip(corners, (*corners[1:], *corners[:1]), strict=True))

    def beside(edge: tuple[tuple[float, ...], tuple[float, ...]], p: tuple[float, ...]) -> float:
        (a, b), (c, d) = edge
        return (c - a) * (p[1] - b) - (d - b) * (p[0] - a)

    return any(
        beside(one, other[0]) * beside(one, other[1]) < 0
        and beside(other, one[0]) * beside(other, one[1]) < 0
        for n, one in enumerate(edges)
        for other in edges[:n]
    )


def _twice_area(corners: Sequence[tuple[float, float, float]]) -> tuple[float, float, float]:
    """Vector square to a polygon in space, twice its area long, mm2."""
    out = [0.0, 0.0, 0.0]
    for p, q in zip(corners, (*corners[1:], *corners[:1]), strict=True):
        for k in range(3):
            i, j = (k + 1) % 3, (k + 2) % 3
            out[k] += p[i] * q[j] - p[j] * q[i]
    return out[0], out[1], out[2]
