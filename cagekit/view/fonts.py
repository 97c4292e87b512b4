"""Letters for pictures: DejaVu Sans where it is installed, else pillow's own."""

from __future__ import annotations

from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from PIL.ImageFont import FreeTypeFont, ImageFont

Font: TypeAlias = "FreeTypeFont | ImageFont"


def font_folder() -> Path | None:
    """Return the folder of the DejaVu fonts that come with matplotlib, without importing it."""
    spec = find_spec("matplotlib")
    if spec is None or spec.origin is None:
        return None
    folder = Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf"
    return folder if folder.is_dir() else None


@lru_cache(maxsize=64)
def font(size: int, *, bold: bool = False) -> Font:
    """Return a font of ``size`` pixels."""
    from PIL import ImageFont

    folder = font_folder()
    if folder is not None:
        path = folder / ("DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf")
        if path.is_file():
            return ImageFont.truetype(str(path), size)
    return ImageFont.load_default(size)
