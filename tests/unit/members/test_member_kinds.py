"""The table of members: every row is made alone, has a colour of a family and its words."""

from __future__ import annotations

from typing import get_args

import pytest
from msgspec import ValidationError, convert, to_builtins

from cagekit.cage.colours import FAMILIES, ROLES
from cagekit.inputs.entries import ENTRIES, ROW_ENTRIES, _row_entry
from cagekit.inputs.member_kinds import MEMBER_KINDS, MemberRow
from cagekit.members.needs import needs_of
from cagekit.members.registry import generator
from cagekit.parts.tubes import KINDS


@pytest.mark.parametrize("kind", MEMBER_KINDS)
def test_a_row_is_all_that_a_kind_needs(kind: str) -> None:
    row = MEMBER_KINDS[kind]
    assert row.source
    assert ROLES[kind] == dict(FAMILIES)[row.family]
    assert {"title", "fit"} <= set(row.steps) <= {
        "title", "fit", "tack", "try", "fit_open", "fit_swing", "tack_open",
    }  # fmt: skip
    assert callable(generator(kind))
    part = KINDS[kind].make(KINDS[kind].read({}))
    assert part.cage.mass(kind) > 0
    if not row.code:
        entry = ROW_ENTRIES[kind].model_validate({"kind": kind})
        for name, field in row.fields.items():
            assert getattr(entry, name) == field.default


def test_table_and_entries_know_the_same_kinds() -> None:
    assert set(ENTRIES) == set(MEMBER_KINDS)
    for kind, entry in ENTRIES.items():
        assert get_args(entry.model_fields["kind"].annotation) == (kind,)


@pytest.mark.parametrize("kind", MEMBER_KINDS)
def test_a_need_speaks_of_fields_that_the_entry_has(kind: str) -> None:
    for need in MEMBER_KINDS[kind].needs:
        said = {n for names in need.unless for n in names.split("+")} | set(need.when)
        assert said <= set(ENTRIES[kind].model_fields)
        assert need.without in ("", *MEMBER_KINDS)


def test_a_place_on_the_car_is_a_need() -> None:
    assert [n.field for n in needs_of("rear_brace")] == [
        "side.rear_foot.point",
        "side.rear_foot.normal",
    ]
    assert not list(needs_of("sill_bar"))


def test_a_row_that_makes_no_sense_is_refused() -> None:
    row = to_builtins(MEMBER_KINDS["rear_brace"])
    for wrong in (
        {"from": {**row["from"], "by": "dropp"}},
        {"to": {"side": "left"}},
        {"to": {"side": "left", "car": "rear_foot", "tube": "halo"}},
        {"to": None},
        {"code": "strut:make_strut"},
        {"from": None, "to": None, "code": "strut:make_strut"},
    ):
        with pytest.raises(ValidationError):
            convert({**row, **wrong}, MemberRow)
    made = _row_entry("tail_brace", convert(row, MemberRow))
    assert made.model_validate({"kind": "tail_brace", "drop": 5}).kind == "tail_brace"
