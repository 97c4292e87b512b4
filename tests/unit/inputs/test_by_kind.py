"""A choice by kind reads, refuses and is described as pydantic's own, which makes all at once."""

from __future__ import annotations

from collections.abc import Mapping
from functools import reduce
from importlib import import_module
from operator import or_
from typing import Annotated, Any, get_args

import pytest
from pydantic import Field, TypeAdapter, ValidationError

from cagekit.inputs.build import AnyJoint
from cagekit.inputs.entries import ENTRIES, AnyEntry
from cagekit.inputs.fields import ByKind, FileModel
from cagekit.inputs.plate import AnyPlateEntry


def models(choice: Any) -> Mapping[str, type[FileModel]]:
    """What a table may be, by kind."""
    return next(mark for mark in get_args(choice) if isinstance(mark, ByKind)).models


def whole(choice: Any) -> TypeAdapter[Any]:
    """The same choice as pydantic makes it."""
    union: Any = reduce(or_, models(choice).values())
    return TypeAdapter(Annotated[union, Field(discriminator="kind")])


LATE: TypeAdapter[Any] = TypeAdapter(AnyEntry)
WHOLE = whole(AnyEntry)
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
    assert told(LATE, table) == told(WHOLE, table)


@pytest.mark.parametrize(
    ("choice", "table"),
    [
        (AnyPlateEntry, {"kind": "no_such"}),
        (AnyPlateEntry, {"id": "nameless"}),
        (AnyPlateEntry, {"kind": "tab", "reach": 0, "at": "nowhere", "toward": [1, "x"]}),
        (AnyPlateEntry, {"kind": "gusset", "way": "askew", "thickness": "thin", "foo": 1}),
        (AnyPlateEntry, {"kind": "floor_plate", "bolts": 20, "bolt_size": "M99"}),
        (AnyPlateEntry, {"kind": "swing_bracket", "pin": "nail"}),
        (AnyJoint, {"kind": "glue"}),
        (AnyJoint, {"kind": "sleeve", "at": "nowhere", "bolts": 9}),
        (AnyJoint, {"kind": "clevis", "fork": "c"}),
        (AnyJoint, {"kind": "plug", "angle": 200}),
    ],
)
def test_plates_and_joints_are_refused_alike(choice: Any, table: Any) -> None:
    assert told(TypeAdapter(choice), table) == told(whole(choice), table)


def told(reader: TypeAdapter[Any], table: Any) -> list[tuple[Any, ...]]:
    """What a reader says of a table that it refuses."""
    with pytest.raises(ValidationError) as refused:
        reader.validate_python(table, context=INCHES)
    return [(r["type"], r["loc"], r["msg"]) for r in refused.value.errors()]


def test_what_is_read_is_alike_and_in_the_units_of_its_file() -> None:
    table = {"kind": "harness_bar", "height": 20, "id": "bar"}
    late, usual = (r.validate_python(table, context=INCHES) for r in (LATE, WHOLE))
    assert late == usual
    assert late.height == pytest.approx(508.0)
    assert LATE.dump_python(late, exclude_unset=True) == WHOLE.dump_python(
        usual, exclude_unset=True
    )
    assert LATE.validate_python(late) is late


def test_the_schema_names_every_kind() -> None:
    schema = LATE.json_schema()
    assert schema == WHOLE.json_schema()
    assert set(schema["discriminator"]["mapping"]) == set(ENTRIES)


def test_the_schemas_of_plates_and_joints_are_alike() -> None:
    for choice in (AnyPlateEntry, AnyJoint):
        assert TypeAdapter(choice).json_schema() == whole(choice).json_schema()
        assert len(whole(choice).json_schema()["oneOf"]) == len(models(choice))


def test_a_kind_is_named_as_its_model_has_it() -> None:
    for choice in (AnyEntry, AnyPlateEntry, AnyJoint):
        for kind, model in models(choice).items():
            assert get_args(model.model_fields["kind"].annotation) == (kind,)


def test_no_model_keeps_its_annotations_as_texts() -> None:
    """Each text is compiled at the start: an eighth of what importing the models takes."""
    for name in ("loads", "part_dims", "plate_dims", "resolve", "rules", "swing_dims"):
        import_module(f"cagekit.inputs.{name}")
    models, more = set(), {FileModel}
    while more:
        models |= more
        more = {sub for one in more for sub in one.__subclasses__()} - models
    assert len(models) > 100
    ours = [m for m in models if m.__module__.startswith("cagekit.")]
    texts = [
        f"{model.__name__}.{field}"
        for model in ours
        for field, said in vars(model).get("__annotations__", {}).items()
        if isinstance(said, str)
    ]
    assert texts == []
