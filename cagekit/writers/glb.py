"""``cage.glb``: the cage for any viewer, glTF 2.0 in its binary form, from the numpy meshes.

glTF counts metres with Y up and looks along -Z; the root node's matrix turns mm with X forward
and Z up into that, so that the car looks out of the picture at whoever opens it.

Source: Khronos glTF 2.0 specification, sections 3.4 (coordinate system and units), 3.6
(accessors), 3.9 (materials) and 4 (GLB).
"""

from __future__ import annotations

import json
import struct
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from cagekit.cage.colours import Colour, linear
from cagekit.units.tolerance import NOISE
from cagekit.version import __version__
from cagekit.view.pivots import Pivot, door_pivots
from cagekit.view.scene import SceneBody, bodies

if TYPE_CHECKING:
    from cagekit.design import Design

ARRAY_BUFFER, ELEMENT_ARRAY_BUFFER = 34962, 34963
FLOAT, UNSIGNED_SHORT, UNSIGNED_INT = 5126, 5123, 5125

# column-major: forward X -> Z, left Y -> X, up Z -> Y, times 0.001
ROOT = [0, 0, 0.001, 0, 0.001, 0, 0, 0, 0, 0.001, 0, 0, 0, 0, 0, 1]


def write_cage(design: Design, folder: Path) -> None:
    """Write ``cage.glb``; swing-out bars open and shut when its animations are played."""
    cage = design.cage
    pivots = door_pivots(cage, design.build.car) if cage.doors else ()
    (folder / "cage.glb").write_bytes(glb(bodies(cage), name=cage.name, pivots=pivots))


def glb(scene: Iterable[SceneBody], *, name: str = "cage", pivots: Sequence[Pivot] = ()) -> bytes:
    """Return a GLB with one node per body below a node per group below the root.

    What turns lies below a node of its pivot's name, in the group ``swings``.

    Args:
        scene: the bodies.
        name: of the root.
        pivots: what turns.
    """
    return _Glb(name, pivots).add(scene).packed()


class _Glb:
    """Collects buffers and the JSON that describes them."""

    def __init__(self, name: str, pivots: Sequence[Pivot] = ()) -> None:
        self.name, self.pivots = name, pivots
        self.chunks: list[bytes] = []
        self.size = 0
        self.views: list[dict[str, Any]] = []
        self.accessors: list[dict[str, Any]] = []
        self.meshes: list[dict[str, Any]] = []
        self.nodes: list[dict[str, Any]] = []
        self.materials: list[dict[str, Any]] = []
        self.colours: dict[Colour, int] = {}
        self.groups: dict[str, list[int]] = {}
        self.turning: dict[str, list[int]] = {}

    def add(self, scene: Iterable[SceneBody]) -> _Glb:
        for body in scene:
            self._body(body)
        return self

    def _body(self, body: SceneBody) -> None:
        points = np.ascontiguousarray(body.mesh.vertices, "<f4")
        normals = np.asarray(body.mesh.normals, float)
        normals = normals / np.maximum(np.linalg.norm(normals, axis=1), NOISE)[:, None]
        # 65535 is the restart index and may not be used with 16 bits
        small = len(points) < 65535
        index = np.ascontiguousarray(body.mesh.triangles, "<u2" if small else "<u4").ravel()
        position = self._accessor(
            points.tobytes(),
            ARRAY_BUFFER,
            componentType=FLOAT,
            count=len(points),
            type="VEC3",
            min=points.min(axis=0).tolist(),
            max=points.max(axis=0).tolist(),
        )
        normal = self._accessor(
            normals.astype("<f4").tobytes(),
            ARRAY_BUFFER,
            componentType=FLOAT,
            count=len(points),
            type="VEC3",
        )
        indices = self._accessor(
            index.tobytes(),
            ELEMENT_ARRAY_BUFFER,
            componentType=UNSIGNED_SHORT if small else UNSIGNED_INT,
            count=len(index),
            type="SCALAR",
        )
        part = {
            "attributes": {"POSITION": position, "NORMAL": normal},
            "indices": indices,
            "material": self._material(body.colour),
        }
        self.meshes.append({"name": body.name, "primitives": [part]})
        turns = next((p.name for p in self.pivots if body.name in p.bodies), "")
        home = self.turning if turns else self.groups
        home.setdefault(turns or body.group, []).append(len(self.nodes))
        self.nodes.append({"name": body.name, "mesh": len(self.meshes) - 1})

    def _material(self, colour: Colour) -> int:
        if colour not in self.colours:
            self.colours[colour] = len(self.materials)
            base = [round(c, 6) for c in linear(colour)]
            self.materials.append(
                {
                    "name": f"paint_{len(self.materials) + 1}",
                    "pbrMetallicRoughness": {
                        "baseColorFactor": [*base, 1.0],
                        "metallicFactor": 0.1,
                        "roughnessFactor": 0.55,
                    },
                }
            )
        return self.colours[colour]

    def _accessor(self, data: bytes, target: int, **fields: Any) -> int:
        self.views.append(
            {"buffer": 0, "byteOffset": self.size, "byteLength": len(data), "target": target}
        )
        padded = data + b"\0" * (-len(data) % 4)
        self.chunks.append(padded)
        self.size += len(padded)
        self.accessors.append({"bufferView": len(self.views) - 1, **fields})
        return len(self.accessors) - 1

    def _data(self, rows: NDArray[np.float64], kind: str, **fields: Any) -> int:
        """An accessor of numbers that are no vertices."""
        data = np.ascontiguousarray(rows, "<f4").tobytes()
        self.views.append({"buffer": 0, "byteOffset": self.size, "byteLength": len(data)})
        self.chunks.append(data)
        self.size += len(data)
        self.accessors.append(
            {
                "bufferView": len(self.views) - 1,
                "componentType": FLOAT,
                "count": len(rows),
                "type": kind,
                **fields,
            }
        )
        return len(self.accessors) - 1

    def _pivot(self, pivot: Pivot) -> dict[str, Any]:
        """Two nodes, to turn about a point that is not the origin; returns the animation."""
        p = np.asarray(pivot.point, float)
        inner = {
            "name": f"{pivot.name}_parts",
            "translation": (-p).tolist(),
            "children": self.turning[pivot.name],
        }
        self.nodes.append(inner)
        outer = {
            "name": pivot.name,
            "translation": p.tolist(),
            "children": [len(self.nodes) - 1],
        }
        self.nodes.append(outer)
        self.groups.setdefault("swings", []).append(len(self.nodes) - 1)
        half = np.asarray(pivot.angles) / 2
        times = np.arange(len(half), dtype=np.float64)
        turns = np.column_stack(
            [np.multiply.outer(np.sin(half), np.asarray(pivot.axis, float)), np.cos(half)]
        )
        reading = self._data(times, "SCALAR", min=[0.0], max=[float(times[-1])])
        return {
            "name": pivot.name,
            "samplers": [
                {"input": reading, "output": self._data(turns, "VEC4"), "interpolation": "LINEAR"}
            ],
            "channels": [
                {"sampler": 0, "target": {"node": len(self.nodes) - 1, "path": "rotation"}}
            ],
        }

    def packed(self) -> bytes:
        animations = [self._pivot(p) for p in self.pivots if p.name in self.turning]
        nodes = list(self.nodes)
        children = []
        for group, members in self.groups.items():
            children.append(len(nodes))
            nodes.append({"name": group, "children": members})
        root: dict[str, Any] = {"name": self.name, "matrix": ROOT}
        if children:
            root["children"] = children
        nodes.append(root)
        content: dict[str, Any] = {
            "asset": {"version": "2.0", "generator": f"cagekit {__version__}"},
            "scene": 0,
            "scenes": [{"name": self.name, "nodes": [len(nodes) - 1]}],
            "nodes": nodes,
            **({"animations": animations} if animations else {}),
        }
        if self.meshes:
            content |= {
                "meshes": self.meshes,
                "materials": self.materials,
                "accessors": self.accessors,
                "bufferViews": self.views,
                "buffers": [{"byteLength": self.size}],
            }
        text = json.dumps(
            content, separators=(",", ":"), ensure_ascii=False, allow_nan=False
        ).encode()
        text += b" " * (-len(text) % 4)
        chunks = [struct.pack("<I4s", len(text), b"JSON") + text]
        if self.meshes:
            chunks.append(struct.pack("<I4s", self.size, b"BIN\0") + b"".join(self.chunks))
        body = b"".join(chunks)
        return struct.pack("<4sII", b"glTF", 2, 12 + len(body)) + body
