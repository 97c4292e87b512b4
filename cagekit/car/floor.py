"""The cabin floor between the feet that were measured.

Across the car a section is the sheet's profile at a foot where it was taken, else level at the
foot's height; at the hoop, where nothing stands on the floor, it is ``floor_z`` from side to side.
Along the car it runs straight from one section to the next and level beyond the front feet. Where a
foot's ``normal`` says that the sheet leans, it does so round the foot, across only where no profile
was taken. A hoop that stands on outriggers or a frame has the floor cut open round its feet.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from math import hypot
from typing import NamedTuple

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from cagekit.geometry.centre_line import Vec
from cagekit.inputs.car import Car, FootSpot

NEAR = 20.0
"""Sections nearer to each other along the car than this (mm) are one."""
BEHIND = 100.0
"""The floor is carried on this far behind a hoop that stands on it, mm."""
OPENED = 150.0
"""Ahead of a hoop that stands on something else the floor is open this far, mm (a choice of this
project: room for outriggers and torch)."""
LEANS = 120.0
"""As far round a foot (mm) the sheet leans as its ``normal`` says (a choice of this project: it was
measured there alone, and a foot's plate is no larger)."""
AHEAD = 200.0
"""The floor is carried on this far ahead of the front feet, or of the pedals where they are
farther, mm."""


class Section(Struct, frozen=True, kw_only=True, eq=False):
    """The floor across one side at ``x``: distances from the centre plane and heights, mm."""

    x: float
    y: Vec
    z: Vec


class Floor(Struct, frozen=True, kw_only=True, eq=False):
    """The floor of one side, ``sign`` 1 left and -1 right, for ``low`` to ``high`` along x, mm."""

    sign: float
    sections: tuple[Section, ...]
    low: float
    high: float

    def height(self, points: Vec) -> Vec:
        """Height of the sheet's upper face above or below points ``(..., 3)``, ``(...)`` mm."""
        y = self.sign * points[..., 1]
        rows = [np.interp(y, s.y, s.z) for s in self.sections]
        return self._between(points[..., 0], rows)

    @property
    def steep(self) -> float:
        """No less than the slope of the sheet anywhere."""
        across = max(steepest(s.y, s.z) for s in self.sections)
        along = max(
            (
                max(b.z.max() - a.z.min(), a.z.max() - b.z.min()) / (b.x - a.x)
                for a, b in pairwise(self.sections)
            ),
            default=0.0,
        )
        return float(np.hypot(across, along))

    def edge(self, points: Vec) -> Vec:
        """How far from the centre plane the floor reaches at the points' x, ``(...)`` mm."""
        ones = np.ones_like(points[..., 0])
        return self._between(points[..., 0], [ones * s.y[-1] for s in self.sections])

    def reaches(self, x: float) -> bool:
        """Whether there is floor at ``x`` (mm) at all."""
        return self.low <= x <= self.high

    def holds(self, points: Vec) -> Vec:
        """Whether there is floor above or below the points ``(..., 3)``, ``(...)`` bool."""
        x, y = points[..., 0], self.sign * points[..., 1]
        inside = (x >= self.low) & (x <= self.high) & (y >= 0) & (y <= self.edge(points))
        return np.asarray(inside)

    def _between(self, x: Vec, rows: list[Vec]) -> Vec:
        out = rows[0]
        for (a, b), row in zip(pairwise(self.sections), rows[1:], strict=True):
            share = np.clip((x - a.x) / (b.x - a.x), 0.0, 1.0)
            out = out + share * (row - out)
        return np.asarray(out)


def steepest(x: Vec, y: Vec) -> float:
    """The steepest lean of a line through points; without end where it does not go on in x."""
    run, rise = np.diff(x), np.abs(np.diff(y))
    if (run <= 0.0).any():
        return np.inf
    return float((rise / run).max(initial=0.0))


def floor_of(car: Car, side: str) -> Floor:
    """The floor of a side, ``"left"`` or ``"right"``."""
    own = car.side(side)
    half = own.hoop.half_width_floor
    on_floor = own.main_foot.surface == "floor"
    lain = [_lain(own.main_foot, half)] if on_floor else [_Lain(_level(0.0, car.floor_z, half))]
    feet = [own.front_foot, *own.spots.values()]
    for foot in sorted((f for f in feet if f and f.surface == "floor"), key=lambda f: f.point[0]):
        if foot.point[0] > lain[-1].at.x + NEAR:
            lain.append(_lain(foot, own.sill_top_y[0]))
    last = lain[-1].at.x
    pedals = car.pedals.x if car.pedals else last
    return Floor(
        sign=1.0 if side == "left" else -1.0,
        sections=tuple(_side_by_side(lain)),
        low=-BEHIND if on_floor else OPENED,
        high=max(last + AHEAD, pedals) if len(lain) > 1 else max(1000.0, pedals),
    )


class _Lain(NamedTuple):
    """The section at a foot, and how the sheet climbs along the car there, height over run."""

    at: Section
    climb: float = 0.0


def _side_by_side(lain: Sequence[_Lain]) -> Iterator[Section]:
    """The sections in order; beside one where the sheet climbs, how high it is round that foot."""
    for before, (at, climb), after in zip([None, *lain], lain, [*lain[1:], None], strict=False):
        # two feet share what lies between them
        back, ahead = (
            LEANS if beside is None else min(LEANS, abs(beside.at.x - at.x) / 3.0)
            for beside in (before, after)
        )
        for run in (-back, 0.0, ahead) if climb else (0.0,):
            yield replace(at, x=at.x + run, z=at.z + climb * run)


def _lain(foot: FootSpot, half: float) -> _Lain:
    x, y, z = foot.point
    along, across, up = foot.normal
    if up <= hypot(along, across):
        along, across, up = 0.0, 0.0, 1.0  # steeper than it is wide no floor leans
    if foot.profile:
        points = sorted(foot.profile)
        at = Section(x=x, y=np.array([p[0] for p in points]), z=np.array([p[1] for p in points]))
    elif across:
        edge = max(half, y)
        out = np.unique(np.clip([0.0, y - LEANS, y + LEANS, edge], 0.0, edge))
        at = Section(x=x, y=out, z=z - across / up * (np.clip(out - y, -LEANS, LEANS)))
    else:
        at = _level(x, z, max(half, y))
    return _Lain(at, -along / up)


def _level(x: float, z: float, half: float) -> Section:
    return Section(x=x, y=np.array([0.0, half]), z=np.array([z, z]))
