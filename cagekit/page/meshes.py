"""Meshes as the page's data hold them: small, and exact enough to look at and to measure."""

from __future__ import annotations

import json
import zlib
from base64 import b64encode
from collections.abc import Iterable, Sequence
from hashlib import blake2b
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from cagekit.geometry.arrays import Array
from cagekit.units.tolerance import ROUNDING
from cagekit.view.scene import Triangles

STEPS = 65535
"""Steps of a coordinate across its body's box: 0.04 mm on a body of 2.5 m."""


def packed(mesh: Triangles) -> dict[str, Any]:
    """Return a mesh as JSON values, its arrays as base64 of little-endian numbers.

    ``low`` and ``high`` (mm) are the corners of its box; ``points`` count 16-bit steps from low to
    high, ``normals`` 127ths, ``triangles`` indices of 16 bits (32 where ``wide``). ``key`` tells
    meshes apart: equal bytes, equal key.
    """
    return packed_all([mesh])[0]


def packed_all(meshes: Sequence[Triangles]) -> list[dict[str, Any]]:
    """What ``packed`` gives of each mesh, all rounded in one array pass."""
    if not meshes:
        return []
    sizes = [len(m.vertices) for m in meshes]
    points = np.concatenate([m.vertices for m in meshes], dtype=float)
    past = np.cumsum(sizes, dtype=np.intp)
    begin: NDArray[np.intp] = past - sizes
    low, high = (f.reduceat(points, begin).round(3) for f in (np.minimum, np.maximum))
    points -= np.repeat(low, sizes, axis=0)
    points /= np.repeat(np.maximum(high - low, ROUNDING), sizes, axis=0)
    steps = _whole(points, STEPS, 0).astype("<u2")
    lit = _whole(np.concatenate([m.normals for m in meshes]), 127, -127).astype("i1")
    boxes = zip(low.tolist(), high.tolist(), strict=True)
    ends = zip(begin.tolist(), past.tolist(), strict=True)
    keys = [(id(m.triangles), len(m.vertices)) for m in meshes]
    # tubes of as many rings share theirs
    indices = {key: _Indices.of(m) for key, m in dict(zip(keys, meshes, strict=True)).items()}
    return [
        _packed({"low": a, "high": b}, steps[first:last], lit[first:last], indices[key])
        for key, (a, b), (first, last) in zip(keys, boxes, ends, strict=True)
    ]


class _Indices(NamedTuple):
    """Triangles as bytes and as text, and whether their numbers are of 32 bits."""

    data: bytes
    text: str
    wide: bool

    @classmethod
    def of(cls, mesh: Triangles) -> _Indices:
        """Those of a mesh."""
        wide = len(mesh.vertices) > STEPS
        data = mesh.triangles.astype("<u4" if wide else "<u2").tobytes()
        return cls(data, b64encode(data).decode("ascii"), wide)


def _whole(shares: Array, most: int, least: int) -> Array:
    """Shares of ``most`` as whole numbers, in their place."""
    shares *= most
    np.rint(shares, out=shares)
    return np.clip(shares, least, most, out=shares)


def _packed(
    box: dict[str, list[float]],
    steps: NDArray[np.uint16],
    normals: NDArray[np.int8],
    indices: _Indices,
) -> dict[str, Any]:
    arrays = [a.tobytes() for a in (steps, normals)]
    key = blake2b(f"{box}".encode(), digest_size=9)
    for array in (*arrays, indices.data):
        key.update(array)
    points, lit = (b64encode(a).decode("ascii") for a in arrays)
    return {
        "key": b64encode(key.digest()).decode("ascii"),
        **box,
        "points": points,
        "normals": lit,
        "triangles": indices.text,
        **({"wide": True} if indices.wide else {}),
    }


def shared(bodies: Iterable[dict[str, Any]]) -> tuple[list[dict[str, Any]], list[str]]:
    """Bodies whose meshes have a number for their triangles, and the triangles in that order.

    Tubes of as many rings have the same: of a change of many tubes it is two fifths less to send.
    """
    numbers: dict[str, int] = {}
    rows = []
    for body in bodies:
        if mesh := body.get("packed"):
            number = numbers.setdefault(mesh["triangles"], len(numbers))
            body = {**body, "packed": {**mesh, "triangles": number}}
        rows.append(body)
    return rows, list(numbers)


def squeezed(bodies: Iterable[dict[str, Any]]) -> tuple[list[dict[str, Any]], str]:
    """Bodies without their meshes, and all meshes by key, deflated, as base64: a third as long.

    Source: RFC 1950 (zlib), the format that browsers call ``deflate``.
    """
    rows = list(bodies)
    meshes = {b["key"]: b["packed"] for b in rows}
    text = json.dumps(meshes, separators=(",", ":")).encode()
    light = [{k: v for k, v in b.items() if k != "packed"} for b in rows]
    return light, b64encode(zlib.compress(text, 9)).decode("ascii")
