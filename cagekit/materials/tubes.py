"""Round tube: outside diameter, wall and steel."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Tube:
    """A round tube; ``od`` and ``wall`` in mm, ``material`` the key of a steel."""

    od: float
    wall: float
    material: str
    name: str = ""

    @property
    def outer_radius(self) -> float:
        return self.od / 2

    @property
    def inner_radius(self) -> float:
        return self.od / 2 - self.wall
