"""Swing-out bars to test with."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from cagekit.cage.cage import Cage
from cagekit.cage.member import Member, Swing
from cagekit.design import Design
from cagekit.geometry.centre_line import CentreLine
from cagekit.inputs.entries import DoorBarEntry
from cagekit.inputs.presets import find_preset
from cagekit.inputs.resolve import load_build
from cagekit.inputs.swing_bracket import SwingBracketEntry
from cagekit.materials.tubes import Tube
from cagekit.swing.divide import Divided, divide

Make = Callable[..., Divided]


@pytest.fixture
def make() -> Make:
    """A divided bar on the left, hinge in front; bracket and bar fields as keywords."""

    def made(
        *,
        start: tuple[float, float, float] = (0.0, 650.0, 380.0),
        end: tuple[float, float, float] = (1150.0, 610.0, 300.0),
        od: float = 40.0,
        hinge_end: str = "b",
        side: str = "left",
        cut: float = 160.0,
        bar: dict[str, Any] | None = None,
        **bracket: Any,
    ) -> Divided:
        path = CentreLine.straight(start, end)
        cuts = (path.length - cut, cut)
        swing = Swing(
            hinge_end=hinge_end,  # type: ignore[arg-type]
            hinge_cut=cuts[0] if hinge_end == "b" else cuts[1],
            latch_cut=cuts[1] if hinge_end == "b" else cuts[0],
        )
        member = Member(
            id=f"door_bar_{side}",
            role="door_bar",
            side=side,  # type: ignore[arg-type]
            tube=Tube(od=od, wall=2.5, material="e235-n"),
            path=path,
            swing=swing,
        )
        how = DoorBarEntry.model_validate(
            {"kind": "door_bar", "id": member.id, "swing_out": True, **(bar or {})}
        )
        entry = SwingBracketEntry.model_validate({"kind": "swing_bracket", **bracket})
        return divide(member, how, (entry,), None, "mm")

    return made


def caged(divided: Divided) -> Cage:
    """The pieces alone as a cage."""
    return Cage(
        "door",
        divided.pieces,
        plates=divided.plates,
        doors=[divided.door],
        hardware=divided.hardware,
    )


def built(folder: Path, joints: str) -> Design:
    """The open roadster with these tables at the end of its build file."""
    text = find_preset("build", "track-roadster").read_text()
    path = folder / "my.toml"
    path.write_text(re.sub(r'name = "[a-z-]+"', 'name = "my"', text, count=1) + joints)
    return Design(load_build(str(path)))
