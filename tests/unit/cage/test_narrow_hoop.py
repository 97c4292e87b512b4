"""A hoop so narrow that a harness bar's pieces are shorter than the reach of its nodes."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from cagekit.assembly.assemble import members_only, sketch
from cagekit.inputs.build import Build
from cagekit.inputs.resolve import load_build, with_changes


def narrow() -> Build:
    build = load_build("track-roadster")
    changes = {}
    for side in ("left", "right"):
        own = build.car.side(side)
        x, _, z = own.main_foot.point
        widths = dict.fromkeys(("half_width_floor", "half_width_belt", "half_width_rail"), 350.0)
        changes[side] = own.model_copy(
            update={
                "hoop": own.hoop.model_copy(update=widths),
                "main_foot": own.main_foot.model_copy(update={"point": (x, 322.0, z)}),
                "rear_foot": own.rear_foot.model_copy(update={"point": (-690.0, 260.0, 110.0)}),
            }
        )
    build = replace(build, car=build.car.model_copy(update=changes))
    return with_changes(build, "main_hoop", {"half_width_top": 345})


@pytest.mark.parametrize("height", range(280, 620, 40))
def test_its_harness_bar_is_made_at_every_height(height: float) -> None:
    """Once `meets harness_bar_1 at 0.0 degrees` where the lower piece is short."""
    cage = members_only(with_changes(narrow(), "harness_bar", {"height": height}))
    pieces = [m for m in cage.members.values() if m.bar == "harness_bar"]
    assert len(pieces) == 2
    for m in pieces:
        for end, how in m.ends:
            assert not {p.id for p in pieces} & set(how.parents)
            cage.cut(m.id, end)


@pytest.mark.parametrize("off", [-60.0, -24.0, 0.0, 10.0, 60.0])
def test_a_bar_near_the_crossing_of_an_x_stays_straight(off: float) -> None:
    """Once its pieces went up to the crossing and down again, along the diagonals."""
    build = load_build("gravel-hatch")
    crossing = float(sketch(build).members["hoop_diagonal_cross_1"].path.end[2])
    build = with_changes(build, "harness_bar", {"height": crossing + off})
    pieces = [m for m in sketch(build).members.values() if m.bar == "harness_bar"]
    heights = [p[2] for m in pieces for p in (m.path.start, m.path.end)]
    assert heights == pytest.approx([crossing + off] * len(heights), abs=0.01)
    assert all(m.path.length > 1.0 for m in pieces)
