"""Meshes as the page's data hold them: small, and exact enough to look at and to measure."""

from __future__ import annotations

import json
import zlib
from base64 import b64encode
from collections.abc import Iterable
from hashlib import blake2b
from typing import Any

import numpy as np
from numpy.typing import NDArray

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
    points = np.asarray(mesh.vertices, float)
    low, high = points.min(axis=0).round(3), points.max(axis=0).round(3)
    share = (points - low) / np.maximum(high - low, ROUNDING)
    steps = np.clip(np.round(share * STEPS), 0, STEPS).astype("<u2")
    normals = np.clip(np.round(np.asarray(mesh.normals) * 127), -127, 127).astype("i1")
    wide = len(points) > STEPS
    triangles = np.asarray(mesh.triangles).astype("<u4" if wide else "<u2")
    box = {"low": low.tolist(), "high": high.tolist()}
    key = blake2b(f"{box}".encode(), digest_size=9)
    for array in (steps, normals, triangles):
        key.update(np.ascontiguousarray(array).data)
    return {
        "key": b64encode(key.digest()).decode("ascii"),
        **box,
        "points": _text(steps),
        "normals": _text(normals),
        "triangles": _text(triangles),
        **({"wide": True} if wide else {}),
    }


def squeezed(bodies: Iterable[dict[str, Any]]) -> tuple[list[dict[str, Any]], str]:
    """Bodies without their meshes, and all meshes by key, deflated, as base64: a third as long.

    Source: RFC 1950 (zlib), the format that browsers call ``deflate``.
    """
    rows = list(bodies)
    meshes = {b["key"]: b["packed"] for b in rows}
    text = json.dumps(meshes, separators=(",", ":")).encode()
    light = [{k: v for k, v in b.items() if k != "packed"} for b in rows]
    return light, b64encode(zlib.compress(text, 9)).decode("ascii")


def _text(array: NDArray[Any]) -> str:
    return b64encode(np.ascontiguousarray(array).tobytes()).decode("ascii")
