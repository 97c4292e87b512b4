"""Which plate a foot gets so that it lies on the floor and runs into nothing.

Tried in this order, what the files say themselves left as it is: the plate as asked for, shifted
across or along the car by the least that clears it, folded to the floor's section, the same area
narrower or shorter, and smaller down to the area that rulebooks ask for.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from cagekit.cage.cage import Cage
from cagekit.cage.plate import Plate
from cagekit.car.shell import ShellSurface
from cagekit.errors import GeometryError, InputError, NotFoundError
from cagekit.geometry.centre_line import Vec
from cagekit.inputs.car import Car
from cagekit.plates.floor_plate import FloorPlateSpec, floor_plate
from cagekit.plates.foot import Foot
from cagekit.plates.in_car import apart, least_room, lying_area, room_in_car, shell_of

INTO = 1.3
"""A plate may reach this far (mm) into a surface of the car: sheet metal gives."""
WELD_ROOM = 6.0
"""Plate left beside the tube's foot for its weld, mm (common practice)."""
EDGE_STEP = 10.0
"""Distance of the points looked at along the plate's edge, mm."""
CLOSE = 0.25
"""How near (mm) a shift is found."""
HOOP_AREA = 12000.0
OTHER_AREA = 6000.0
"""Least area on the shell of a hoop's foot and of others, mm2. Source: FIA Appendix J article 253,
8.3.2.6, the largest that the rulebooks shipped here ask for."""
NARROWER = (0.9, 0.8, 0.7, 0.6, 0.5)
"""Widths tried at the same area, as shares of the asked one."""
SMALLER = (0.9, 0.8, 0.7, 0.6, 0.5, 0.4)
"""Areas tried, as shares of the asked one."""
NONE = "No shift, fold or size"
WAYS = {(0, 1): "outboard", (0, -1): "inboard", (1, 0): "forward", (-1, 0): "back"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """The plate that a foot is to have, and what may be chosen otherwise.

    Args:
        spec: as the files and the default have it.
        folded: makes the same folded to the floor's section; None when it must not be.
        sized: its length and width are somebody's own.
        hoop: it carries a hoop.
        surface: what the foot stands on.
    """

    spec: FloorPlateSpec
    folded: Callable[[], FloorPlateSpec] | None = None
    sized: bool = True
    hoop: bool = False
    surface: str = "floor"


def fitted(
    plate_id: str, foot: Foot, wish: Wish, cage: Cage, car: Car, others: Sequence[Plate] = ()
) -> tuple[Plate, ...]:
    """The plates of a foot: the first of those tried that fits; else as asked for, with the reason.

    Args:
        plate_id: id of the plate.
        foot: the foot that stands on it.
        wish: the plate asked for.
        cage: the cage.
        car: the car sheet.
        others: plates of other feet near by.
    """
    judge = _Judge(cage=cage, car=car, foot=foot, wish=wish, others=tuple(others))
    for spec, words in _tries(wish, judge):
        try:
            plates = _made(plate_id, foot, spec, cage, words)
        except (GeometryError, InputError):
            continue
        if judge.takes(plates):
            return plates
    plates = _made(plate_id, foot, wish.spec, cage)
    return (_noted(plates[0], judge.reason(plates)), *plates[1:])


def _made(
    plate_id: str, foot: Foot, spec: FloorPlateSpec, cage: Cage, words: str = ""
) -> tuple[Plate, ...]:
    plates = cage.kept.call(floor_plate, plate_id, foot, spec)
    return (_noted(plates[0], words), *plates[1:]) if words else plates


def why_none(plate: Plate) -> str:
    """Why no choice of plate fits this foot; empty when one does or none was looked for."""
    return next((n for n in plate.notes if n.startswith(NONE)), "")


def _noted(plate: Plate, words: str) -> Plate:
    return replace(plate, notes=(*plate.notes, words))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Judge:
    """What a foot's plates are held against: the same as in the checks."""

    cage: Cage
    car: Car
    foot: Foot
    wish: Wish
    others: tuple[Plate, ...]

    @property
    def shell(self) -> tuple[ShellSurface, ...]:
        return shell_of(self.cage, self.car)

    @property
    def area(self) -> float:
        """Least area that must lie on the shell, mm2: what was asked for, up to the rulebooks'."""
        spec = self.wish.spec
        own = 0.9 * spec.length * spec.width
        return min(own, HOOP_AREA if self.wish.hoop else OTHER_AREA)

    def clear(self, spec: FloorPlateSpec) -> bool:
        """Whether the edge of a flat plate clears the car."""
        points = _edge(spec, self.foot.side) @ self.foot.frame[:3, :3].T + self.foot.frame[:3, 3]
        least = least_room(self.shell, points, spec.thickness, folded=False, below=False)
        return least is None or least[0] >= -INTO

    def takes(self, plates: Sequence[Plate]) -> bool:
        rooms = [room_in_car(self.cage, p, self.car) for p in plates]
        if any(r is not None and r[0] < -INTO for r in rooms):
            return False
        if any(apart(self.cage, p, o)[0] < 0 for p in plates for o in self.others):
            return False
        return lying_area(self.cage, plates[0], self.car, self.wish.surface) >= self.area

    def reason(self, plates: Sequence[Plate]) -> str:
        """Why nothing fits, by the plate as asked for."""
        tried = f"{NONE} of the plate fits here"
        if self.wish.sized:
            tried = f"{NONE} left open by the files makes it fit"
        for p in plates:
            least = room_in_car(self.cage, p, self.car)
            if least is not None and least[0] < -INTO:
                return f"{tried}: it runs into the {least[1].name}. Move the foot away from it."
            for o in self.others:
                if apart(self.cage, p, o)[0] < 0:
                    return f"{tried}: it lies on {o.id}. Move one foot, or make one plate for both."
        lies = lying_area(self.cage, plates[0], self.car, self.wish.surface)
        return (
            f"{tried}: {lies / 100:.0f} cm2 lie on the floor, {self.area / 100:.0f} cm2 are "
            "wanted. Move the foot to where the floor is wider, or give its `profile` in the car "
            "sheet."
        )


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
            yield wish.folded(), "folded to the floor, as a flat plate does not fit here"
    if wish.sized:
        return
    for share in (1.0, *SMALLER):
        for length, width in _sizes(spec, share):
            if length * width < judge.area:
                continue
            size = replace(spec, length=length, width=width)
            word = f"{length:.0f} x {width:.0f} mm, as the usual plate does not fit here"
            if judge.clear(size):
                yield size, word
            yield from _shifted(size, judge, f"{word}, ")


def _sizes(spec: FloorPlateSpec, share: float) -> Iterator[tuple[float, float]]:
    """Lengths and widths (whole mm) of a share of the area, from square to slender."""
    length, width = spec.length * share**0.5, spec.width * share**0.5
    if share < 1.0:
        yield float(np.ceil(length)), float(np.ceil(width))
    for thin in NARROWER:
        yield float(np.ceil(length / thin)), float(np.ceil(width * thin))
        yield float(np.ceil(length * thin)), float(np.ceil(width / thin))


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
        least = min(float(np.ceil(high)), most)
        yield at(least), f"{word}moved {least:.0f} mm {WAYS[way]} of the foot to clear the car"


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
