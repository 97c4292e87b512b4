"""PNG files of pictures: quicker than the picture library writes them, and about as small.

Source: Portable Network Graphics (PNG) Specification, second edition, W3C 2003, clauses 5, 9 and 11
(from memory).
"""

from __future__ import annotations

import zlib
from struct import pack
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from pathlib import Path

    from PIL.Image import Image

SIGNATURE = b"\x89PNG\r\n\x1a\n"
NONE, SUB = 0, 1
"""Filters: bytes as they are; less those of the pixel to the left."""
LEVEL = 6
"""How hard is packed, of 9."""


def png_bytes(image: Image, *, shaded: bool = False, level: int = LEVEL) -> bytes:
    """Return the file of a picture of three colours.

    Args:
        image: mode RGB.
        shaded: colours run into each other, so that differences pack better than colours.
        level: how hard it is packed, 1 to 9.
    """
    pixels = np.asarray(image)
    height, width, colours = pixels.shape
    flat = pixels.reshape(height, width * colours)
    rows = np.empty((height, 1 + flat.shape[1]), np.uint8)
    rows[:, 0] = SUB if shaded else NONE
    rows[:, 1:] = flat
    if shaded:
        rows[:, 1 + colours :] -= flat[:, :-colours]
    # 8 bits a colour, truecolour, packed the only way there is, no interlace
    head = pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    packer = zlib.compressobj(level, zlib.DEFLATED, zlib.MAX_WBITS, 9)
    body = packer.compress(rows.data) + packer.flush()
    return SIGNATURE + _chunk(b"IHDR", head) + _chunk(b"IDAT", body) + _chunk(b"IEND", b"")


def write_picture(image: Image, path: Path, *, shaded: bool = False) -> None:
    """Write a picture of three colours as a PNG file.

    Args:
        image: mode RGB.
        path: of the file.
        shaded: as in :func:`png_bytes`.
    """
    path.write_bytes(png_bytes(image, shaded=shaded))


def _chunk(kind: bytes, content: bytes) -> bytes:
    return pack(">I", len(content)) + kind + content + pack(">I", zlib.crc32(kind + content))
