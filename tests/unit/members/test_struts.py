"""The table of struts: every row is made alone, has a colour of a family and its words."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from cagekit.cage.colours import FAMILIES, role_colour
from cagekit.inputs.entries import ROW_ENTRIES, _row_entry
from cagekit.inputs.struts import STRUTS, StrutRow
from cagekit.members.needs import NEEDS
from cagekit.members.registry import GENERATORS
from cagekit.parts.tubes import KINDS


@pytest.mark.parametrize("kind", STRUTS)
def test_a_row_is_all_that_a_kind_needs(kind: str) -> None:
    row = STRUTS[kind]
    assert row.source
    assert role_colour(kind) == dict(FAMILIES)[row.family]
    assert {"title", "fit", "tack"} <= set(row.steps)
    assert kind in GENERATORS
    part = KINDS[kind].make(KINDS[kind].read({}))
    assert part.cage.mass(kind) > 0
    entry = ROW_ENTRIES[kind].model_validate({"kind": kind})
    for name, field in row.fields.items():
        assert getattr(entry, name) == field.default


def test_a_place_on_the_car_is_a_need() -> None:
    assert [n.field for n in NEEDS["rear_brace"]] == [
        "side.rear_foot.point",
        "side.rear_foot.normal",
    ]
    assert NEEDS["sill_bar"] == ()


def test_a_row_that_makes_no_sense_is_refused() -> None:
    row = STRUTS["rear_brace"].model_dump(by_alias=True)
    for wrong in (
        {"from": {**row["from"], "by": "dropp"}},
        {"to": {"side": "left"}},
        {"to": {"side": "left", "car": "rear_foot", "tube": "halo"}},
    ):
        with pytest.raises(ValidationError):
            StrutRow.model_validate({**row, **wrong})
    made = _row_entry("tail_brace", StrutRow.model_validate(row))
    assert made.model_validate({"kind": "tail_brace", "drop": 5}).kind == "tail_brace"
