"""Plates against the sheets of the shop: what the nest refuses the check tells before."""

from __future__ import annotations

import demos
import pytest
from msgspec.structs import replace
from pydantic import ValidationError

from cagekit.checks.finding import Status
from cagekit.checks.registry import run
from cagekit.design import Design
from cagekit.errors import GeometryError
from cagekit.inputs.tooling import CuttingTable, Sheet
from cagekit.shop.nesting.nest import nest_for


def with_sheet(width: float, length: float) -> Design:
    build = demos.build("track-roadster")
    table = build.tooling.table
    assert table is not None
    sheet = Sheet(width=f"{width} mm", length=f"{length} mm")
    small = table.model_copy(update={"sheet": (sheet,), "margin": 10.0})
    return Design(replace(build, tooling=build.tooling.model_copy(update={"table": small})))


@pytest.mark.parametrize("size", [(90.0, 400.0), (160.0, 160.0), (175.0, 175.0), (1000.0, 2000.0)])
def test_the_check_fails_just_where_the_nest_does(size: tuple[float, float]) -> None:
    design = with_sheet(*size)
    rows = [f for f in run(design, ["plates"]) if f.code == "plate/sheet"]
    assert rows
    try:
        nest_for(design.cage.plates, design.tooling)
    except GeometryError:
        assert any(f.status is Status.FAIL for f in rows)
    else:
        assert all(f.status is Status.PASS for f in rows)


def test_margins_that_leave_no_sheet_are_refused() -> None:
    table = demos.build("track-roadster").tooling.table
    assert isinstance(table, CuttingTable)
    data = table.model_dump() | {"margin": "800 mm"}
    with pytest.raises(ValidationError, match="leaves nothing of a sheet"):
        CuttingTable.model_validate(data)
