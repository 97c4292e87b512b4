"""Welds round tubes worked out by hand, from the leg that the weld map asks of the welder.

Source: EN 1993-1-8:2005, 4.5.2 (1) throat, 4.5.3.3 simplified method, Table 4.1, gamma M2 = 1.25.
"""

from __future__ import annotations

from math import hypot, pi, sqrt

import pytest
from msgspec.structs import replace

from cagekit.design import Design
from cagekit.inputs.resolve import load_build
from cagekit.materials.steels import steel
from cagekit.shop.welding.weld_rows import weld_rows

BETA = {360: 0.8, 430: 0.85, 510: 0.9}


@pytest.mark.parametrize("leg_over_wall", [1.2, 0.9])
def test_a_weld_bears_what_the_leg_in_the_weld_map_bears(leg_over_wall: float) -> None:
    """The screening took a throat as thick as the wall; fillets of the papers had 0.85 of it."""
    build = load_build("track-roadster")
    torch = build.tooling.torch.model_copy(update={"leg_over_wall": leg_over_wall})
    tooling = build.tooling.model_copy(update={"torch": torch})
    design = Design(replace(build, tooling=tooling))
    rows = {r.what: r for r in weld_rows(design.cage, design.welds, torch)}
    result = design.strength
    assert result.model is not None
    looked_at = 0
    for case in result.results.values():
        uses = {a.subject: a.use for a in case.attachments if a.kind == "weld"}
        for joint in design.cage.joints:
            row = rows[f"{joint.branch}.{joint.branch_end}"]
            tubes = [design.cage.member(i).tube for i in (joint.branch, joint.parents[0])]
            fu = min(steel(t.material).fu for t in tubes)
            beta = next((b for most, b in BETA.items() if fu <= most), 1.0)
            bears = fu / (sqrt(3) * beta * 1.25) * row.leg / sqrt(2)
            beam, end = result.model.joint_beams[joint.id]
            n, vy, vz, t, my, mz = case.response.forces[beam, 6 * end : 6 * end + 6]
            r = tubes[0].od / 2
            # a line of unit width: length 2 pi r, second moment pi r^3, the ring of the true length
            longer = row.length / (2 * pi * r)
            pulled = abs(n) / (2 * pi * r) + hypot(my, mz) * r / (pi * r**3)
            sheared = hypot(vy, vz) / (pi * r) + abs(t) * r / (2 * pi * r**3)
            hand = hypot(pulled, sheared) / longer / bears
            assert uses[f"{joint.branch} end {joint.branch_end}"] == pytest.approx(hand, rel=1e-6)
            looked_at += 1
    assert looked_at > 10
