"""``fit.png`` and ``sight.png``: the people in the cage, and what the driver sees."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from cagekit.writers.png import save_png

if TYPE_CHECKING:
    from cagekit.design import Design


def write_fit(design: Design, folder: Path) -> None:
    """Write the fit sheet and the panorama; nothing for a build without a driver."""
    from cagekit.view.driver_views import fit_sheet
    from cagekit.view.panorama import panorama

    cockpit = design.cockpit
    if not cockpit.occupants:
        return
    name = design.name
    sheet = fit_sheet(design.cage, cockpit, units=design.units, title=name)
    save_png(sheet, folder / "fit.png")
    seen = panorama(cockpit, cockpit.occupants[0], title=name)
    save_png(seen, folder / "sight.png")
