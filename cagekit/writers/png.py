"""Pictures as PNG files; ``cage.png``: the overview sheet."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from PIL.Image import Image

    from cagekit.design import Design

LEVEL = 4
"""How hard is packed: three quarters of the time of the usual 6, for a few percent more bytes."""


def save_png(picture: Image, path: Path) -> None:
    """Write a picture.

    Args:
        picture: what is written.
        path: of the file.
    """
    picture.save(path, "PNG", optimize=False, compress_level=LEVEL)


def write_cage(design: Design, folder: Path) -> None:
    """Write ``cage.png``."""
    save_png(overview_of(design), folder / "cage.png")


def overview_of(design: Design) -> Image:
    """The overview sheet of a design; drawn once, for the picture and the page's still."""
    from cagekit.view.overview import overview

    return design.once("overview", lambda d: overview(d.cage, units=d.units))
