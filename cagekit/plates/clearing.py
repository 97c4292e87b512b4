"""Which plate a foot gets so that it lies on the floor and runs into nothing.

Tried in this order, what the files say themselves left as it is: the plate as asked for, shifted
across or along the car by the least that clears it, folded to the floor's section, the same area
narrower or shorter, and smaller down to the area that the build's rulebooks ask for.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace as with_fields
from functools import partial
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from msgspec import Struct, field
from msgspec.structs import replace

from cagekit.cage.cage import Cage
from cagekit.cage.kept import Same, content
from cagekit.cage.member import Member
from cagekit.cage.plate import Plate
from cagekit.errors import GeometryError, InputError, NotFoundError
from cagekit.geometry.centre_line import Vec
from cagekit.plates.floor_plate import FloorPlateSpec, floor_plate
from cagekit.plates.foot import Foot
from cagekit.plates.foot_size import FootSize
from cagekit.plates.in_car import (
    LaidPlate,
    PlateGround,
    apart,
    least_rooms,
    lying_area,
    room_in_car,
)
from cagekit.plates.near_tubes import tube_gaps
from cagekit.units import INCH, LengthUnit, format_length
from cagekit.units.tolerance import ROUNDING

INTO = 1.3
"""A plate may reach this far (mm) into a surface of the car: sheet metal gives."""
WELD_ROOM = 6.0
"""Plate left beside the tube's foot for its weld, mm (common practice)."""
EDGE_STEP = 10.0
"""Distance of the points looked at along the plate's edge, mm."""
CLOSE = 0.25
"""How near (mm) a shift is found."""
OWN_SHARE = 0.9
"""Share of a plate's length times width that is wanted on the shell where books ask for more than
the plate has: corners are rounded."""
STEPS: Mapping[LengthUnit, float] = {"mm": 1.0, "in": INCH / 16}
"""Sizes and shifts that are chosen are whole ones of these, mm."""
NARROWER = (0.9, 0.8, 0.7, 0.6, 0.5)
"""Widths tried at the same area, as shares of the asked one."""
SMALLER = (0.9, 0.8, 0.7, 0.6, 0.5, 0.4)
"""Areas tried, as shares of the asked one."""
CHOSEN = "to fit here "
NONE = "No shift, fold or size"
WAYS = {(0, 1): "outboard", (0, -1): "inboard", (1, 0): "forward", (-1, 0): "back"}


class Wish(Struct, frozen=True, kw_only=True):
    """The plate that a foot is to have, and what may be chosen otherwise.

    Args:
        spec: as the files and the default have it.
        folded: makes the same folded to the floor's section; None when it must not be.
        sized: its length and width are somebody's own.
        asked: what rulebooks ask of it.
        surface: what the foot stands on.
        units: of the build.
    """

    spec: FloorPlateSpec
    folded: Callable[[], FloorPlateSpec] | None = None
    sized: bool = True
    asked: FootSize = field(default_factory=FootSize)
    surface: str = "floor"
    units: LengthUnit = "mm"


class Misfit(NamedTuple):
    """Why a plate does not fit, as half a sentence, and what would do."""

    why: str
    cure: str


def fitted(
    plate_id: str,
    foot: Foot,
    wish: Wish,
    cage: Cage,
    ground: PlateGround,
    others: Sequence[Plate] = (),
    tubes: Sequence[Member] = (),
) -> tuple[Plate, ...]:
    """The plates of a foot: the first of those tried that fits; else as asked for, with the reason.

    Args:
        plate_id: id of the plate.
        foot: the foot that stands on it.
        wish: the plate asked for.
        cage: the cage.
        ground: of the car.
        others: plates of other feet near by.
        tubes: tubes near by, of the cage and of the car's own frame.
    """
    judge = _Judge(cage=cage, ground=ground, foot=foot, wish=wish, others=others, tubes=tubes)
    faults: list[Misfit] = []
    found = _first_that_fits(plate_id, wish, judge, faults)
    if found is not None:
        return found[1]
    plates = _made(plate_id, foot, wish.spec, cage)
    first = judge.fault(plates) or faults[0]
    open_ = " that the files leave free makes it fit" if wish.sized else " of the plate fits here"
    other = Counter(f.why for f in faults if f.why != first.why).most_common(1)
    why = f"{first.why}; otherwise {other[0][0]}" if other else first.why
    cure = _typed(plate_id, wish, judge) if wish.sized else ""
    return (_noted(plates[0], f"{NONE}{open_}: {why}. {cure or first.cure}"), *plates[1:])


def _first_that_fits(
    plate_id: str, wish: Wish, judge: _Judge, faults: list[Misfit]
) -> tuple[FloorPlateSpec, tuple[Plate, ...]] | None:
    """The first of the plates tried that fits; why those before it do not is put in ``faults``."""
    for spec, words in _tries(wish, judge):
        try:
            plates = _made(plate_id, judge.foot, spec, judge.cage, words)
        except (GeometryError, InputError):
            continue
        fault = judge.fault(plates)
        if fault is None:
            return spec, plates
        faults.append(fault)
    return None


def _typed(plate_id: str, wish: Wish, judge: _Judge) -> str:
    """What to type for a plate that fits, of a size that the files do not say; empty for none."""
    free = replace(wish, spec=replace(wish.spec, shift=(0.0, 0.0)), sized=False)
    found = _first_that_fits(plate_id, free, judge, [])
    if found is None:
        return ""
    spec, units = found[0], wish.units
    said = [f'{n} = "{_length(getattr(spec, n), units)}"' for n in ("length", "width")]
    if spec.shift != (0.0, 0.0):
        ahead, out = (_length(v, units) for v in spec.shift)
        said.append(f'shift = ["{ahead}", "{out}"]')
    if spec.style != wish.spec.style:
        said.append(f'style = "{spec.style}"')
    return f"It fits with {', '.join(said[:-1])} and {said[-1]}."


def _made(
    plate_id: str, foot: Foot, spec: FloorPlateSpec, cage: Cage, words: str = ""
) -> tuple[Plate, ...]:
    plates = cage.kept.call(floor_plate, plate_id, foot, spec)
    return (_noted(plates[0], CHOSEN + words), *plates[1:]) if words else plates


def chosen(plate: Plate) -> str:
    """How a plate differs from the one asked for so that it fits; empty when it does not."""
    return next((n.removeprefix(CHOSEN) for n in plate.notes if n.startswith(CHOSEN)), "")


def why_none(plate: Plate) -> str:
    """Why no choice of plate fits this foot; empty when one does or none was looked for."""
    return next((n for n in plate.notes if n.startswith(NONE)), "")


def by_section(plates: Iterable[Plate]) -> tuple[str, ...]:
    """What the floor's section made of floor plates otherwise than was asked for."""
    return tuple(
        f"{p.id}: {n}"
        for p in plates
        if p.kind == "floor_plate"
        for n in p.notes
        if not n.startswith((CHOSEN, NONE))
    )


def _noted(plate: Plate, words: str) -> Plate:
    return with_fields(plate, notes=(*plate.notes, words))


class _Judge(Struct, frozen=True, kw_only=True, eq=False):
    """What a foot's plates are held against: the same as in the checks."""

    cage: Cage
    ground: PlateGround
    foot: Foot
    wish: Wish
    others: Sequence[Plate]
    tubes: Sequence[Member]

    @property
    def area(self) -> float:
        """Least area that must lie on the shell, mm2: what was asked for, up to the rulebooks'."""
        spec = self.wish.spec
        return min(OWN_SHARE * spec.length * spec.width, self.wish.asked.area)

    def large_enough(self, length: float, width: float) -> bool:
        """Whether a flat plate of this size (mm) could do at all."""
        sides = zip(sorted((length, width)), self.wish.asked.sides, strict=True)
        return length * width >= self.area and all(own >= asked for own, asked in sides)

    def clear(self, spec: FloorPlateSpec) -> bool:
        """Whether the edge of a flat plate clears the car."""
        lies = content((spec, self.foot.side, self.foot.frame))
        key = ("plate's edge clears", lies, Same(self.ground))
        return self.cage.kept.once(key, partial(self._clear, spec))

    def _clear(self, spec: FloorPlateSpec) -> bool:
        points = _edge(spec, self.foot.side) @ self.foot.frame[:3, :3].T + self.foot.frame[:3, 3]
        (least,) = least_rooms(self.ground.shell, [LaidPlate(points, spec.thickness)])
        return least is None or least[0] >= -INTO

    def fault(self, plates: Sequence[Plate]) -> Misfit | None:
        """Why plates do not fit here, and what would do; None when they do."""
        for p in plates:
            least = room_in_car(self.cage, p, self.ground)
            if least is not None and least[0] < -INTO:
                return Misfit(f"it runs into the {least[1].name}", "Move the foot away from it.")
            for gap, tube, _ in tube_gaps(self.cage, p, self.tubes):
                if gap < 0:
                    return Misfit(f"it runs into {tube}", "Move the foot or that tube.")
            for o in self.others:
                if apart(self.cage, p, o)[0] < 0:
                    return Misfit(f"it lies on {o.id}", "Move one foot, or join the plates.")
        lies = lying_area(self.cage, plates[0], self.ground, self.wish.surface)
        if lies >= self.area:
            return None
        own, wanted = (_area(v, self.wish.units) for v in (lies, self.area))
        return Misfit(
            f"{own} lie on the floor, {wanted} are wanted ({self.wish.asked.book})",
            "Move the foot to where the floor is wider, or give its `profile` in the car sheet.",
        )


def _area(mm2: float, units: LengthUnit) -> str:
    """An area in words, whole cm2 or tenths of a square inch."""
    return f"{mm2 / 100:.0f} cm2" if units == "mm" else f"{mm2 / INCH**2:.1f} sq in"


def _length(mm: float, units: LengthUnit) -> str:
    """A length that was chosen, in words."""
    if units == "mm":
        return format_length(mm, decimals=0)
    return format_length(mm, units, denominator=16)


def _whole(mm: float, units: LengthUnit) -> float:
    """A length rounded up to what a shop marks out, mm."""
    step = STEPS[units]
    return float(np.ceil(mm / step - ROUNDING) * step)


def _tries(wish: Wish, judge: _Judge) -> Iterator[tuple[FloorPlateSpec, str]]:
    """Plates to try in order, each with a word on what was chosen."""
    spec = wish.spec
    if spec.style != "flat" or spec.shift != (0.0, 0.0):
        yield spec, ""
        return
    if judge.clear(spec):
        yield spec, ""
    yield from _shifted(spec, judge, "")
    if wish.folded is not None and len(judge.foot.profile) > 1:
        # a shop whose brake does not fold this thickness has one way less
        with suppress(NotFoundError):
            yield wish.folded(), "folded to the floor, as a flat plate does not fit"
    if wish.sized:
        return
    for share in (1.0, *SMALLER):
        for length, width in _sizes(spec, share, wish.units):
            if not judge.large_enough(length, width):
                continue
            size = replace(spec, length=length, width=width)
            sides = " x ".join(_length(v, wish.units) for v in (length, width))
            word = f"made {sides}, as the usual plate does not fit"
            if judge.clear(size):
                yield size, word
            yield from _shifted(size, judge, f"{word}, ")


def _sizes(spec: FloorPlateSpec, share: float, units: LengthUnit) -> Iterator[tuple[float, float]]:
    """Lengths and widths (mm) of a share of the area, from square to slender."""
    length, width = spec.length * share**0.5, spec.width * share**0.5
    if share < 1.0:
        yield _whole(length, units), _whole(width, units)
    for thin in NARROWER:
        yield _whole(length / thin, units), _whole(width * thin, units)
        yield _whole(length * thin, units), _whole(width / thin, units)


def _shifted(
    spec: FloorPlateSpec, judge: _Judge, word: str
) -> Iterator[tuple[FloorPlateSpec, str]]:
    """A plate shifted each way by the least that clears the car, where one does."""
    room = {
        0: spec.length / 2 - judge.foot.od / 2 - WELD_ROOM,
        1: spec.width / 2 - judge.foot.od / 2 - WELD_ROOM,
    }
    for way in ((0, -1), (0, 1), (-1, 0), (1, 0)):
        most = room[1 if way[1] else 0]

        def at(d: float, way: tuple[int, int] = way) -> FloorPlateSpec:
            return replace(spec, shift=(d * way[0], d * way[1]))

        if most <= 0 or not judge.clear(at(most)):
            continue
        low, high = 0.0, most
        if judge.clear(spec):
            low = high
        while high - low > CLOSE:
            middle = (low + high) / 2
            low, high = (low, middle) if judge.clear(at(middle)) else (middle, high)
        units = judge.wish.units
        least = min(_whole(high, units), most)
        moved = _length(least, units)
        yield at(least), f"{word}moved {moved} {WAYS[way]} of the foot to clear the car"


def _edge(spec: FloorPlateSpec, side: float) -> Vec:
    """Points round the plate on its face and its back in the foot's frame, ``(n, 3)`` mm."""
    x, y = spec.length / 2, spec.width / 2
    corners = np.array([(x, y), (-x, y), (-x, -y), (x, -y), (x, y)])
    corners += (spec.shift[0], spec.shift[1] * side)
    rows = [
        a + np.outer(np.linspace(0, 1, int(np.hypot(*(b - a)) / EDGE_STEP) + 2)[:-1], b - a)
        for a, b in pairwise(corners)
    ]
    flat = np.concatenate(rows)
    sheets = [np.column_stack([flat, np.full(len(flat), z)]) for z in (0.0, -spec.thickness)]
    return np.concatenate(sheets)
