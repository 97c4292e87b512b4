"""A choice by kind reads, refuses and is described as pydantic's own, which makes all at once."""

from __future__ import annotations

from typing import Annotated, Any, get_args

import pytest
from pydantic import Field, TypeAdapter, ValidationError

from cagekit.inputs.entries import ENTRIES, AnyEntry

LATE: TypeAdapter[Any] = TypeAdapter(AnyEntry)
WHOLE: TypeAdapter[Any] = TypeAdapter(Annotated[get_args(AnyEntry)[0], Field(discriminator="kind")])
INCHES = {"units": "in"}


@pytest.mark.parametrize(
    "table",
    [
        {"kind": "no_such"},
        {"id": "nameless"},
        "a text",
        3,
        {"kind": "harness_bar", "height": "two feet"},
        {"kind": "halo", "foo": 1, "gap": "zz"},
        {"kind": "strut", "from": "nowhere", "to": 3},
        {"kind": "main_hoop", "lean": 400},
    ],
)
def test_what_is_refused_is_told_alike(table: Any) -> None:
    told = []
    for reader in (LATE, WHOLE):
        with pytest.raises(ValidationError) as refused:
            reader.validate_python(table, context=INCHES)
        told.append([(r["type"], r["loc"], r["msg"]) for r in refused.value.errors()])
    assert told[0] == told[1]


def test_what_is_read_is_alike_and_in_the_units_of_its_file() -> None:
    table = {"kind": "harness_bar", "height": 20, "id": "bar"}
    late, whole = (r.validate_python(table, context=INCHES) for r in (LATE, WHOLE))
    assert late == whole
    assert late.height == pytest.approx(508.0)
    assert LATE.dump_python(late, exclude_unset=True) == WHOLE.dump_python(
        whole, exclude_unset=True
    )
    assert LATE.validate_python(late) is late


def test_the_schema_names_every_kind() -> None:
    schema = LATE.json_schema()
    assert schema == WHOLE.json_schema()
    assert set(schema["discriminator"]["mapping"]) == set(ENTRIES)
