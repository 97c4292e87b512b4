"""``cage.png``: the overview sheet as a picture."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from cagekit.view.overview import overview

if TYPE_CHECKING:
    from cagekit.cage.job import Job


def write_cage(job: Job, folder: Path) -> None:
    """Write ``cage.png``."""
    overview(job.cage, units=job.units).save(folder / "cage.png", optimize=False, compress_level=6)
