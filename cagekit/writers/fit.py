"""``fit.png`` and ``sight.png``: the people in the cage, and what the driver sees."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from cagekit.fit.cockpit import Cockpit
from cagekit.inputs.padding import thickness_by_member

if TYPE_CHECKING:
    from cagekit.cage.job import Job


def write_fit(job: Job, folder: Path) -> None:
    """Write the fit sheet and the panorama; nothing for a build without a driver."""
    from cagekit.view.driver_views import fit_sheet
    from cagekit.view.panorama import panorama

    cockpit = cockpit_of(job)
    if not cockpit.occupants:
        return
    name = job.build.name
    sheet = fit_sheet(job.cage, cockpit, units=job.units, title=name)
    sheet.save(folder / "fit.png", optimize=False, compress_level=6)
    seen = panorama(cockpit, cockpit.occupants[0], title=name)
    seen.save(folder / "sight.png", optimize=False, compress_level=6)


def cockpit_of(job: Job) -> Cockpit:
    """Seat the build's drivers in its cage, padding on."""
    members = job.cage.members
    roles = {m.id: m.role for m in members.values()}
    padding = thickness_by_member(job.build.file.padding, roles)
    return Cockpit.of(job.build.car, job.build.drivers, members, padding)
