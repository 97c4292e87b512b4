"""What a cage is: members that are tubes along paths, their ends, joints and plates.

Frame: ISO 8855 vehicle axes (X forward, Y left, Z up), mm, N, MPa, rad.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, Literal, NamedTuple

from msgspec import Struct
from numpy.typing import ArrayLike

from cagekit.errors import GeometryError
from cagekit.geometry.centre_line import CentreLine, Vec, unit, vec
from cagekit.materials.tubes import Tube

if TYPE_CHECKING:
    from cagekit.geometry.drill import Drill

EndName = Literal["a", "b"]
Side = Literal["left", "right", "centre"]


CHASSIS = "chassis_tube"
"""Role of a tube of the car's own frame: it is there already, nobody makes it."""


class EndKind(StrEnum):
    """How a tube ends."""

    FREE = "free"
    COPE = "cope"
    FLAT = "flat"
    PINNED = "pinned"


class Plane(Struct, frozen=True, eq=False):
    """A plane through ``point`` with unit ``normal``, ``(3,)`` each; the tube is on its side."""

    point: Vec
    normal: Vec

    @classmethod
    def of(cls, point: ArrayLike, normal: ArrayLike) -> Plane:
        """The plane through ``point`` square to ``normal`` (any length), ``(3,)`` each."""
        return cls(vec(point), unit(normal))


@dataclass(frozen=True, kw_only=True, eq=False)
class End:
    """How one end of a member ends.

    ``parents`` are ids of the members it is coped to, the one that holds the node first.
    ``plane`` is the surface it stands on when flat (top of the plate); ``foot`` the place of the
    car sheet under it (``"left.main_foot"``) and ``surface`` what is there.
    """

    kind: EndKind = EndKind.FREE
    parents: tuple[str, ...] = ()
    plane: Plane | None = None
    foot: str = ""
    surface: str = ""

    @classmethod
    @lru_cache(maxsize=1024)
    def coped(cls, *parents: str) -> End:
        """An end coped to the members of these ids, the one that holds the node first."""
        return cls(kind=EndKind.COPE, parents=parents)

    @classmethod
    def flat(cls, point: ArrayLike, normal: ArrayLike, *, foot: str = "", surface: str = "") -> End:
        """An end that stands on the plane through ``point`` square to ``normal``.

        Args:
            point: on the plane, ``(3,)`` mm.
            normal: of the plane, out of the metal, ``(3,)``.
            foot: name of the foot on the car sheet.
            surface: what it stands on.
        """
        return cls(kind=EndKind.FLAT, plane=Plane.of(point, normal), foot=foot, surface=surface)


class Swing(Struct, frozen=True, kw_only=True):
    """How a door bar swings out: which end carries the hinge and where the bar is cut.

    ``hinge_cut`` and ``latch_cut`` are stations on the centre line of the bar as it is fitted, mm
    from its end a: where the standing stubs end.
    """

    hinge_end: EndName
    hinge_cut: float
    latch_cut: float


class Words(NamedTuple):
    """What a tube answers to."""

    id: str
    bar: str
    side: str
    kind: str
    role: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Member:
    """One tube of the cage.

    ``id`` is unique (letters, digits, ``_``); ``role`` is the trade's word for what it does
    (``main_hoop``, ``rear_brace``); the path runs between the theoretical ends.

    ``entry`` is the id of the entry that made it, ``group`` that id without its side and ``kind``
    the entry's kind; all are empty for a tube that no file speaks of. ``bar`` is the whole tube
    it is a piece of, the member itself when it is whole, and ``piece`` which one: a number counted
    from end a of a bar that other tubes divide, or ``hinge stub``, ``swinging``, ``latch stub``.
    ``grind`` are grinding notes: a name of a tube that it runs into, and how much is ground off
    there at most, mm. ``drills`` are holes right through it.
    """

    id: str
    role: str
    tube: Tube
    path: CentreLine
    side: Side = "centre"
    a: End = field(default_factory=End)
    b: End = field(default_factory=End)
    swing: Swing | None = None
    entry: str = ""
    group: str = ""
    kind: str = ""
    bar: str = ""
    piece: str = ""
    grind: tuple[tuple[str, float], ...] = ()
    drills: tuple[Drill, ...] = ()

    def __post_init__(self) -> None:
        """Let a whole tube be its own bar; a tube that runs into itself is none."""
        for n, bend in enumerate(self.path.bends, start=1):
            if bend.radius <= self.tube.outer_radius:
                raise GeometryError(
                    self.id,
                    f"bend {n} of {bend.radius:g} mm radius is tighter than half of the tube's "
                    f"{self.tube.od:g} mm: its inside would run into itself.",
                    "Use the radius of a die, three to four and a half times the diameter.",
                )
        if not self.bar:
            object.__setattr__(self, "bar", self.id)

    def __repr__(self) -> str:
        """The id, the size and where it ends."""
        ends = (", ".join(e.parents) or e.foot or e.kind.value for e in (self.a, self.b))
        size = f"{self.tube.od:.4g} x {self.tube.wall:.4g} mm"
        return f"<Member {self.id}: {size}, {self.path.length:.0f} mm, {' to '.join(ends)}>"

    @cached_property
    def words(self) -> Words:
        """What it answers to, for those who look for a tube."""
        return Words(self.id, self.bar, self.side, self.kind, self.role)

    @property
    def names(self) -> tuple[str, ...]:
        """What it answers to, the narrowest first."""
        names = (self.id, self.bar, self.entry, self.group, self.role, self.kind)
        return tuple(dict.fromkeys(n for n in names if n))

    def ground_for(self, other: Member) -> float:
        """What may be ground off this tube where it runs into another, mm; 0 without a note."""
        return max((depth for name, depth in self.grind if name in other.names), default=0.0)

    def end(self, name: str) -> End:
        """End ``"a"`` or ``"b"``."""
        return self.a if name == "a" else self.b

    @property
    def ends(self) -> tuple[tuple[EndName, End], tuple[EndName, End]]:
        """Both ends with their names."""
        return ("a", self.a), ("b", self.b)
