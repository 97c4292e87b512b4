"""PNG files, read with somebody else's reader."""

from __future__ import annotations

from io import BytesIO

import numpy as np
import pytest
from PIL import Image

from cagekit.writers.picture import png_bytes


@pytest.mark.parametrize("shaded", [False, True])
@pytest.mark.parametrize("size", [(1, 1), (7, 3), (64, 40)])
def test_every_pixel_comes_back(size: tuple[int, int], shaded: bool) -> None:
    rng = np.random.default_rng(5)
    pixels = rng.integers(0, 256, (*size, 3), dtype=np.uint8)
    pixels[: size[0] // 2] = (255, 0, 7)
    data = png_bytes(Image.fromarray(pixels), shaded=shaded)
    with Image.open(BytesIO(data)) as back:
        back.verify()  # checksums
    with Image.open(BytesIO(data)) as back:
        assert back.mode == "RGB"
        assert (np.asarray(back) == pixels).all()


def test_differences_pack_shades_better() -> None:
    ramp = np.broadcast_to(np.arange(0, 250, dtype=np.uint8)[None, :, None], (60, 250, 3))
    noise = np.random.default_rng(1).integers(0, 3, ramp.shape, dtype=np.uint8)
    image = Image.fromarray(ramp + noise)
    assert len(png_bytes(image, shaded=True)) < 0.9 * len(png_bytes(image))
