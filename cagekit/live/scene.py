"""Bodies of version after version: each mesh is packed once and sent to a page once."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterable
from enum import IntEnum
from typing import TYPE_CHECKING, Any

from cagekit.page.data import body_row, surroundings
from cagekit.page.meshes import packed_all, shared
from cagekit.page.shell import edges
from cagekit.view.scene import SceneBody, plate_bodies, tube_bodies

if TYPE_CHECKING:
    from cagekit.design import Design

VERSIONS = 60
"""Versions of which is known what they showed."""
MESHES = 600
"""Packed meshes that are kept."""


class Drawn(IntEnum):
    """How far the picture of a version has come.

    While a slider moves the tubes come first, coped to the last bit but drawn with rough edges,
    then plates, and exact meshes when there is time.
    """

    TUBES = 0
    PLATES = 1
    WHOLE = 2


class Scene:
    """What pages have been sent; used under the session's lock."""

    def __init__(self) -> None:
        self.doors: list[dict[str, Any]] = []
        self._plates: list[dict[str, Any]] = []
        self._packed: OrderedDict[tuple[int, str], tuple[Any, dict[str, Any]]] = OrderedDict()
        self._shown: OrderedDict[int, frozenset[str]] = OrderedDict()
        self._names: dict[int, tuple[str, ...]] = {}
        self._members: tuple[str, ...] = ()
        self._around: tuple[object, object, list[dict[str, Any]], list[Any]] | None = None
        self._last: tuple[Design, Drawn, list[dict[str, Any]], list[dict[str, Any]]] | None = None

    def prepare(self, design: Design, stage: Drawn = Drawn.WHOLE) -> None:
        """Work out meshes, so that what cannot be made is known before it is shown."""
        self._bodies(design, stage)

    def follows(self, design: Design) -> bool:
        """Whether a design has the tubes that were shown, whatever their shape."""
        return self._around is not None and self._members == tuple(design.tubes.members)

    def rows(
        self, design: Design, version: int, have: int, stage: Drawn = Drawn.WHOLE
    ) -> dict[str, Any]:
        """Bodies, edges of the car and doors; meshes only of what version ``have`` lacked.

        Their triangles are numbers that count ``triangles``.
        """
        known = self._shown.get(have, frozenset())
        rows = self._bodies(design, stage)
        keys = frozenset(r["key"] for r in rows)
        # a page may have this version from before its plates and exact meshes came
        self._shown[version] = keys & self._shown.get(version, keys)
        self._names[version] = tuple(r["id"] for r in rows)
        while len(self._shown) > VERSIONS:
            old, _ = self._shown.popitem(last=False)
            self._names.pop(old, None)
        light, triangles = shared(
            {k: v for k, v in r.items() if k != "packed"} if r["key"] in known else r for r in rows
        )
        return {
            "bodies": light,
            "triangles": triangles,
            "edges": self._surroundings(design)[1],
            "doors": self._doors(design),
        }

    def alike(self, design: Design, have: int, stage: Drawn = Drawn.WHOLE) -> bool:
        """Whether version ``have`` showed bodies of the same names."""
        names = self._names.get(have)
        return names is not None and names == tuple(r["id"] for r in self._bodies(design, stage))

    def _bodies(self, design: Design, stage: Drawn) -> list[dict[str, Any]]:
        """Rows of all bodies; plates that are not made yet as they were, ``late``.

        One answer asks for them more than once: those asked for last are held.
        """
        last = self._last
        if last is None or last[0] is not design or last[1] != stage or last[2] is not self._plates:
            rows = self._bodies_anew(design, stage)
            self._last = last = (design, stage, self._plates, rows)
        return last[3]

    def _bodies_anew(self, design: Design, stage: Drawn) -> list[dict[str, Any]]:
        if stage == Drawn.TUBES:
            tubes = self._rows(tube_bodies(design.tubes, rough=True))
            late = [{**row, "late": True} for row in self._plates]
            return [*tubes, *late, *self._surroundings(design)[0]]
        rough = stage == Drawn.PLATES
        tubes = self._rows(tube_bodies(design.cage, rough=rough))
        self._members = tuple(design.cage.members)
        self._plates = self._rows(plate_bodies(design.cage))
        return [*tubes, *self._plates, *self._surroundings(design)[0]]

    def _rows(self, bodies: Iterable[SceneBody]) -> list[dict[str, Any]]:
        """Rows of bodies, those that are new packed at one go."""
        # the mesh is held with its row, so that no other can get its address
        keyed = [((id(b.mesh), b.name), b) for b in bodies]
        found = {key: self._packed.get(key) for key, _ in keyed}
        new = [(key, b) for key, b in keyed if (row := found[key]) is None or row[0] is not b.mesh]
        for (key, body), mesh in zip(new, packed_all([b.mesh for _, b in new]), strict=True):
            found[key] = self._packed[key] = (body.mesh, body_row(body, mesh))
        while len(self._packed) > MESHES:
            self._packed.popitem(last=False)
        return [row[1] for key, _ in keyed if (row := found[key]) is not None]

    def _surroundings(self, design: Design) -> tuple[list[dict[str, Any]], list[Any]]:
        car, people = design.build.car, design.people
        around = self._around
        if around is None or around[0] is not car or around[1] is not people:
            rows = self._rows(surroundings(design))
            self._around = around = (car, people, rows, edges(car))
        return around[2], around[3]

    def _doors(self, design: Design) -> list[dict[str, Any]]:
        """Doors with the reach last worked out; the sweep comes with the findings."""
        reach = {d["name"]: d["full"] for d in self.doors}
        out = []
        for door in design.tubes.doors:
            sleeves = [p.id for p in design.tubes.hardware
                       if p.kind == "sleeve" and p.id in door.hardware]  # fmt: skip
            out.append(
                {
                    "name": door.bar,
                    "point": [float(x) for x in door.hinge.origin],
                    "axis": [float(x) for x in door.hinge.pin],
                    "full": reach.get(door.bar, door.open_angle),
                    "bodies": sorted({door.bar, *sleeves}),
                }
            )
        return out
