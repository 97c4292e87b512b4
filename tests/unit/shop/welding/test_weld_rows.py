"""The list of all welds: what is bought filler for is on the map, by name."""

from __future__ import annotations

import demos
import pytest
from msgspec.structs import replace

from cagekit.data import rows
from cagekit.design import Design
from cagekit.inputs.bolted import ClevisEntry, PlugEntry, SleeveEntry
from cagekit.materials.source import certainty
from cagekit.materials.steels import steels
from cagekit.shop.welding.weld_rows import filler, tacks

APART = (
    SleeveEntry.model_validate({"at": "on rear_brace_{side} at fraction 0.75", "side": "both"}),
    ClevisEntry.model_validate({"kind": "clevis", "at": "on rear_brace_left at fraction 0.2"}),
    PlugEntry.model_validate({"kind": "plug", "at": "on rear_brace_right at fraction 0.2"}),
)
"""Joints at which a roll bar comes apart, one of each kind."""


@pytest.fixture(scope="module", params=[*demos.DEMOS, "apart"])
def demo(request: pytest.FixtureRequest) -> Design:
    if request.param != "apart":
        return demos.design(request.param)
    build = demos.build("track-roadster")
    return Design(replace(build, file=build.file.model_copy(update={"joint": APART})))


def test_what_is_counted_is_on_the_map(demo: Design) -> None:
    found = demo.weld_rows
    joints = sum(r.length for r in found if r.kind == "tube joint")
    bolted = sum(r.length * r.count for r in found if r.kind == "bolted joint")
    everything = sum(r.length * r.count for r in found)
    assert joints == pytest.approx(demo.materials.weld.joints)
    assert everything - joints - bolted == pytest.approx(demo.materials.weld.plates)
    assert bolted == pytest.approx(demo.materials.weld.bolted)
    assert everything == pytest.approx(demo.materials.weld.length)
    assert len({r.id for r in found}) == len(found)


def test_every_joint_foot_gusset_tab_and_bracket_has_a_weld(demo: Design) -> None:
    found = demo.weld_rows
    assert [r.id for r in found if r.weld] == [j.id for j in demo.fitted.joints]
    welded = {r.what for r in found}
    for plate in demo.fitted.plates:
        assert plate.id in welded or plate.kind in ("backing_plate", "box_wall"), plate.id
    feet = {r.to for r in found if r.kind == "foot"}
    assert feet == {e for p in demo.fitted.plates for e in p.ends}


def test_each_has_its_size_process_filler_and_tacks(demo: Design) -> None:
    for r in demo.weld_rows:
        assert 0.5 < r.leg < 15
        assert r.process
        assert r.filler.startswith("ER")
        assert r.tacks >= 2 or r.form == "plug"


def test_the_leg_of_a_joint_follows_the_wall_of_its_branch(demo: Design) -> None:
    torch = demo.tooling.torch
    for r in demo.weld_rows:
        if r.weld:
            wall = demo.fitted.members[r.weld.joint.branch].tube.wall
            assert r.leg == pytest.approx(torch.leg_over_wall * wall)


def test_every_steel_has_a_filler_by_either_process() -> None:
    for row in rows("fillers"):
        assert row["source"]
        assert certainty(row["certainty"])
    for one in steels():
        for process in ("mig", "tig"):
            assert all(filler(process, [one.name]))
    # one alloyed tube among plain ones asks for the alloyed rod
    assert filler("tig", ["1020-dom", "4130-n"]) == filler("tig", ["4130-n"])
    assert filler("tig", ["1020-dom"]) != filler("tig", ["4130-n"])


def test_short_welds_have_two_tacks_and_long_ones_four() -> None:
    assert [tacks(x) for x in (10, 80, 100, 900)] == [2, 2, 3, 4]
