"""Whatever a file says acts: each field of a stranger's car, changed, changes what a user gets.

That some room reads a field is a weaker thing: another field of the same name may be the one that
is read. Each row of ``tests/data/fields_act.csv`` is a change of one value of the files in
``tests/data/kestrel`` and the first product in which it shows: the findings, ``cage.json``, a
schedule, the shop book, or the strength. A new field needs a row, or stands among those that no
row tries.
"""

from __future__ import annotations

import copy
import csv
import json
import tomllib
from collections.abc import Callable, Mapping
from functools import cache
from importlib import import_module
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
import tomlkit
from pydantic import BaseModel
from sweeps import size

from cagekit.checks import run
from cagekit.checks.finding import to_json_text
from cagekit.design import Design
from cagekit.make.products import PRODUCTS
from cagekit.writers.shopbook import Book

DATA = Path(__file__).parents[1] / "data"
CAR = DATA / "kestrel"
INPUTS = Path(__file__).parents[2] / "cagekit/inputs"
SCHEDULES = (
    "bends", "setting-out", "inspection", "scrutineer", "welds", "order", "materials", "cuts",
)  # fmt: skip
LEFT_OUT = "absent"
"""A value that is taken out."""


@cache
def rows() -> tuple[dict[str, str], ...]:
    with (DATA / "fields_act.csv").open(encoding="utf-8", newline="") as file:
        return tuple(csv.DictReader(file))


@cache
def not_tried() -> frozenset[tuple[str, str]]:
    with (DATA / "fields_not_tried.csv").open(encoding="utf-8", newline="") as file:
        return frozenset((r["model"], r["field"]) for r in csv.DictReader(file))


def files_of(names: tuple[str, ...]) -> Callable[[Design, Path], str]:
    """What products write into a folder, as one text."""

    def write(design: Design, folder: Path) -> str:
        for product in PRODUCTS:
            if product.name in names:
                product.load()(design, folder)
        return "\n".join(p.read_text("utf-8") for p in sorted(folder.iterdir()))

    return write


def book(design: Design, _: Path) -> str:
    made = Book(design)
    return repr(made.data()) + repr(sorted(made.pictures.items()))


GETS: Mapping[str, Callable[[Design, Path], str]] = {
    "findings": lambda design, _: to_json_text(run(design)),
    "cage.json": files_of(("json",)),
    "schedule": files_of(SCHEDULES),
    "book": book,
    "strength": files_of(("strength", "frame")),
}


def tables() -> dict[str, dict[str, Any]]:
    return {p.name: tomllib.loads(p.read_text("utf-8")) for p in CAR.glob("*.toml")}


def changed(file: str, key: list[str | int], value: Any, folder: Path) -> Path:
    """The car's files in a folder of their own, one of them with another value; the build's."""
    for name, table in tables().items():
        if name == file:
            table = copy.deepcopy(table)
            inner: Any = table
            for step in key[:-1]:
                inner = inner.setdefault(step, {}) if isinstance(inner, dict) else inner[step]
            if value == LEFT_OUT:
                del inner[key[-1]]
            else:
                assert key[-1] not in inner or inner[key[-1]] != value
                inner[key[-1]] = value
        (folder / name).write_text(tomlkit.dumps(table), "utf-8")
    return folder / "build.toml"


@cache
def plain() -> Design:
    return Design.load(str(CAR / "build.toml"))


@cache
def got(product: str) -> str:
    with TemporaryDirectory() as folder:
        return GETS[product](plain(), Path(folder))


TRIED = rows()[:: max(len(rows()) // size(45, len(rows())), 1)]


@pytest.mark.parametrize(
    "row", TRIED, ids=lambda r: f"{r['file']}-{r['model']}-{r['field']}".replace(".toml", "")
)
def test_a_changed_value_changes_what_a_user_gets(row: dict[str, str], tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    (tmp_path / "out").mkdir()
    key, value = json.loads(row["key"]), json.loads(row["value"])
    path = changed(row["file"], key, value, tmp_path / "in")
    design = Design(Design.load(str(path)).build, kept=plain().kept)
    assert GETS[row["product"]](design, tmp_path / "out") != got(row["product"])


def fields() -> set[tuple[str, str]]:
    """Every field of every model of a file, by the model that says it first."""
    out = set()
    for path in sorted(INPUTS.glob("*.py")):
        if path.stem == "__init__":
            continue
        for value in vars(import_module(f"cagekit.inputs.{path.stem}")).values():
            if isinstance(value, type) and issubclass(value, BaseModel):
                names = set(value.model_fields) & set(vars(value).get("__annotations__", ()))
                ours = value.__module__.startswith("cagekit.inputs.")
                out |= {(value.__name__, name) for name in names if ours}
    return out


def test_a_new_field_has_a_row() -> None:
    tried = {(r["model"], r["field"]) for r in rows()}
    assert not tried & not_tried()
    assert fields() == tried | not_tried()
