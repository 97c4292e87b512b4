"""What a layout says holds in mm and in inches: its plates are of what is sold there."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from cagekit.data import rows
from cagekit.design import Design
from cagekit.inputs.layout import Layout
from cagekit.inputs.presets import find_preset, list_presets, load_file
from cagekit.inputs.resolve import load_build

LAYOUTS = [p.name for p in list_presets("layout")]
MEMBERS = [{"kind": "main_hoop"}]


def sold(units: str) -> list[float]:
    """Thicknesses of sheet and plate that are called in units, mm; gauges are of inches."""
    inches = ("in", "ga")
    found = [r for r in rows("sheet_thicknesses") if r["name"].endswith(inches) == (units == "in")]
    return [float(r["mm"]) for r in found]


@pytest.mark.parametrize("units", ["mm", "in"])
@pytest.mark.parametrize("name", [*LAYOUTS, ""])
def test_plates_of_a_layout_are_sold_in_the_builds_units(name: str, units) -> None:
    if name:
        layout = load_file("layout", find_preset("layout", name), Layout)
    else:
        layout = Layout.model_validate({"name": "silent", "member": MEMBERS})
    mm = layout.foot_plate_in(units)
    assert any(mm == pytest.approx(one, abs=1e-9) for one in sold(units))
    # what is asked for is at least 3 mm or 1/8 in
    assert mm >= (3.0 if units == "mm" else 3.175)


def test_what_a_layout_says_for_inches_acts_there_alone() -> None:
    one = {"name": "one", "member": MEMBERS, "foot_plate": 4}
    assert [Layout.model_validate(one).foot_plate_in(u) for u in ("mm", "in")] == [4.0, 4.0]
    both = Layout.model_validate({**one, "foot_plate_inch": "3/16 in"})
    assert [both.foot_plate_in(u) for u in ("mm", "in")] == [4.0, 4.7625]


def test_a_metric_layout_in_a_build_in_inches_has_inch_plates() -> None:
    """A hatch's plates of 3 mm are of 1/8 in where the builder buys in inches."""
    build = load_build("gravel-hatch")
    for units, thickness in (("mm", 3.0), ("in", 3.175)):
        file = build.file.model_copy(update={"units": units})
        plates = Design(replace(build, file=file)).cage.plates
        feet = [p for p in plates if p.kind == "floor_plate"]
        assert len(feet) >= 4
        assert {p.thickness for p in feet} == {thickness}
