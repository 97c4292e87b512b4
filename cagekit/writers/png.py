"""``cage.png``: the overview sheet as a picture."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from cagekit.view.overview import overview

if TYPE_CHECKING:
    from cagekit.design import Design


def write_cage(design: Design, folder: Path) -> None:
    """Write ``cage.png``."""
    overview(design.cage, units=design.units).save(
        folder / "cage.png", optimize=False, compress_level=6
    )
