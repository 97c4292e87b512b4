"""``cage.png``: the overview sheet as a picture."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from cagekit.view.overview import overview

if TYPE_CHECKING:
    from PIL.Image import Image

    from cagekit.design import Design


def write_cage(design: Design, folder: Path) -> None:
    """Write ``cage.png``."""
    overview_of(design).save(folder / "cage.png", optimize=False, compress_level=6)


def overview_of(design: Design) -> Image:
    """The overview sheet of a design; drawn once, for the picture and the page's still."""
    return design.once("overview", lambda d: overview(d.cage, units=d.units))
