"""What a build says of the brackets of swing-out bars and nothing is made of."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from cagekit.cage.door import JointName
from cagekit.cage.member import Member
from cagekit.inputs.messages import problem_and_cure
from cagekit.inputs.plate import PlateEntry
from cagekit.inputs.plate_presets import spread
from cagekit.inputs.presets import key_error
from cagekit.inputs.swing_bracket import SwingBracketEntry
from cagekit.plates.idle import plates_by_file
from cagekit.swing.spec import bracket_entry, means

if TYPE_CHECKING:
    from cagekit.inputs.build import Build

JOINTS: tuple[JointName, ...] = ("hinge", "latch")


def require_fields_act(build: Build, bars: Sequence[Member]) -> None:
    """Refuse a field of build or layout that no joint which its entry names makes anything of.

    Args:
        build: the build.
        bars: those that swing out.

    Raises:
        FileInputError: a field acts at none, or there is no such joint; with its line.
    """
    for what, tables, plates in plates_by_file(build):
        where = str(build.files.get(what, Path(build.name)))
        for n, entry in enumerate(tables):
            if isinstance(entry, SwingBracketEntry):
                _require_acts(build, where, n, entry, plates, bars)


def _require_acts(
    build: Build,
    where: str,
    n: int,
    entry: SwingBracketEntry,
    plates: Sequence[PlateEntry],
    bars: Sequence[Member],
) -> None:
    if entry.omit:
        problem = "a bar that swings out hangs on its brackets; they cannot be left out."
        hint = "Say swing_out = false of the bar, or leave it out."
        raise key_error(where, ("plate", n, "omit"), True, problem, hint)
    meant = list(_meant(entry, bars))
    if not meant:
        if plates is not build.plates:  # another build of the layout has such a bar
            return
        problem = "no bar swings out there, so nothing is made of these brackets."
        hint = "Say swing_out = true of a door bar, or leave them out."
        key = ("plate", n, "side" if bars and entry.side else "kind")
        raise key_error(where, key, getattr(entry, str(key[-1])), problem, hint)
    idle = [
        bracket_entry(plates, bar, joint, build.units, build.tooling).idle_at(joint)
        for bar, joint in meant
    ]
    for name in idle[0]:
        said = getattr(entry, name) if name in entry.model_fields_set else None
        if said and all(name in row for row in idle):
            raise key_error(where, ("plate", n, name), said, *problem_and_cure(idle[0][name]))


def _meant(entry: SwingBracketEntry, bars: Sequence[Member]) -> Iterator[tuple[Member, JointName]]:
    """The joints that a table of the file speaks of."""
    for one in spread(entry):
        assert isinstance(one, SwingBracketEntry)
        for bar in bars:
            yield from ((bar, joint) for joint in JOINTS if means(one, bar, joint))
