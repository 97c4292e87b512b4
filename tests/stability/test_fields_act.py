"""Whatever a file says acts: each field of a stranger's car, changed, changes what a user gets.

That some room reads a field is a weaker thing: another field of the same name may be the one that
is read. Each row of ``tests/data/fields_act.csv`` is a change of one value in the files of a car,
``tests/data/<car>``, and the first product in which it shows: the findings, ``cage.json``, a
schedule, the strength, the shop book, what goes to the cutting table, the pictures of the people,
or what ``cagekit`` lists and shows of a file. ``refused``: no other value can stand beside the rest
of the files, and a message says so. Rows of the car ``parts`` change a dimension of a part alone;
what else is typed of it stands in ``tests/data/parts.toml``. A new field needs a row. A field
that can have one value only, such as the ``kind`` of a file, is none.
"""

from __future__ import annotations

import copy
import csv
import json
import tomllib
from collections.abc import Callable, Mapping
from contextlib import redirect_stdout
from functools import cache
from importlib import import_module
from io import StringIO
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Literal, get_args, get_origin

import pytest
import tomlkit
from pydantic import BaseModel
from sweeps import size

from cagekit.checks import run
from cagekit.checks.finding import to_json_text
from cagekit.checks.profile import compile_file
from cagekit.checks.profile_sheet import profile_text
from cagekit.cli import main as cli
from cagekit.design import Design
from cagekit.errors import CagekitError
from cagekit.face.kinds import make
from cagekit.inputs.presets import FOLDERS
from cagekit.make.products import PRODUCTS
from cagekit.page.strength import strength_data
from cagekit.writers.shopbook import Book
from cagekit.writers.strength_pdf import pdf_data

DATA = Path(__file__).parents[1] / "data"
CARS = ("kestrel", "heron", "wren")
PARTS = "parts"
INPUTS = Path(__file__).parents[2] / "cagekit/inputs"
SCHEDULES = (
    "bends", "setting-out", "inspection", "scrutineer", "welds", "order", "materials", "cuts",
)  # fmt: skip
LEFT_OUT = "absent"
"""A value that is taken out."""
REFUSED = "refused"
"""The product of a change that is told to be wrong."""


@cache
def rows() -> tuple[dict[str, str], ...]:
    with (DATA / "fields_act.csv").open(encoding="utf-8", newline="") as file:
        return tuple(csv.DictReader(file))


def files_of(*names: str) -> Callable[[Design, Path], str]:
    """What products write into a folder, as one text: of a picture its bytes."""

    def write(design: Design, folder: Path) -> str:
        with TemporaryDirectory(dir=folder) as own:
            for product in PRODUCTS:
                if product.name in names:
                    product.load()(design, Path(own))
            found = sorted(
                p for p in Path(own).rglob("*") if p.suffix in (".csv", ".json", ".dxf", ".png")
            )
            return "\n".join(p.read_bytes().decode("utf-8", "replace") for p in found)

    return write


def book(design: Design, _: Path) -> str:
    made = Book(design)
    return repr(made.data()) + repr(sorted(made.pictures.items()))


def told(design: Design, _: Path) -> str:
    """What is told of the files before anything is judged."""
    assert design.build is not None
    return repr((design.build.remarks, design.cage.notes))


def shown(design: Design, folder: Path) -> str:
    """What the command line says of the files: listed as own presets, each with its sources."""
    assert design.build is not None
    out = []
    for path in sorted(p for p in design.build.files.values() if p.parent == folder.parent / "in"):
        kind = tomllib.loads(path.read_text("utf-8"))["kind"]
        place = folder / "presets" / FOLDERS[kind] / path.name
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(path.read_bytes())
        if kind == "rules":
            out.append(profile_text(compile_file(path)))
            continue
        said = command("show", str(path))
        out += [line for line in said.splitlines() if line.startswith("# source")]
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        listed = json.loads(command("presets", "--json"))
    return "\n".join([*out, *(row["about"] for row in listed)])


def command(*words: str) -> str:
    """What the command line prints."""
    with redirect_stdout(StringIO()) as out:
        assert cli.run(words) == 0
    return out.getvalue()


def part_in_shop(design: Design, folder: Path) -> str:
    """How the car's shop cuts a tube alone whose axis passes that of its parent."""
    assert design.build is not None
    shop = design.build.files[f"tooling {design.build.file.tooling}"]
    made = make(
        "strut", {"offset_a": 3, "od": 40, "wall": 2, "parent_od_a": 48.5}, tooling=str(shop)
    )
    return files_of("copes", "bends")(made.design, folder)


GETS: Mapping[str, tuple[Callable[[Design, Path], str], ...]] = {
    "findings": (lambda design, _: to_json_text(run(design)),),
    "cage.json": (files_of("json"),),
    "schedule": tuple(files_of(name) for name in SCHEDULES),
    "strength": (
        lambda design, _: to_json_text(run(design, ["structure"])),
        lambda design, _: json.dumps(strength_data(design)),
        lambda design, _: repr(pdf_data(design)),
        files_of("strength", "frame"),
    ),
    "book": (book,),
    "drawings": (files_of("sheets"), files_of("dxf"), files_of("copes")),
    "people": (files_of("fit"),),
    "part": (part_in_shop,),
    "told": (told,),
    "shown": (shown,),
}
"""Each product in pieces, of which the first that differs is enough."""


@cache
def tables(car: str) -> dict[str, dict[str, Any]]:
    return {p.name: tomllib.loads(p.read_text("utf-8")) for p in (DATA / car).glob("*.toml")}


def changed(car: str, file: str, key: list[str | int], value: Any, folder: Path) -> Path:
    """The car's files in a folder of their own, one of them with another value; the build's."""
    for name, table in tables(car).items():
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
def plain(car: str) -> Design:
    return Design.load(str(DATA / car / "build.toml"))


@cache
def got(car: str, product: str, piece: int) -> str:
    with TemporaryDirectory() as folder:
        (Path(folder) / "in").mkdir()
        (Path(folder) / "out").mkdir()
        design = plain(car)
        if product == "shown":  # reads the files themselves
            for name, table in tables(car).items():
                (Path(folder) / "in" / name).write_text(tomlkit.dumps(table), "utf-8")
            design = Design.load(str(Path(folder) / "in/build.toml"))
        return GETS[product][piece](design, Path(folder) / "out")


TRIED = rows()[:: max(len(rows()) // size(24, len(rows())), 1)]


@pytest.mark.parametrize(
    "row",
    TRIED,
    ids=lambda r: f"{r['car']}-{r['file']}-{r['model']}-{r['field']}".replace(".toml", ""),
)
def test_a_changed_value_changes_what_a_user_gets(row: dict[str, str], tmp_path: Path) -> None:
    key, value = json.loads(row["key"]), json.loads(row["value"])
    if row["car"] == PARTS:
        assert part(row["file"], {key[0]: value}) != part(row["file"], {})
        return
    (tmp_path / "in").mkdir()
    (tmp_path / "out").mkdir()
    car, product = row["car"], row["product"]
    path = changed(car, row["file"], key, value, tmp_path / "in")
    if product == REFUSED:
        with pytest.raises(CagekitError, match=r"\.toml:\d+"):
            run(Design.load(str(path)))
        return
    design = Design(Design.load(str(path)).build, kept=plain(car).kept)
    assert any(
        get(design, tmp_path / "out") != got(car, product, piece)
        for piece, get in enumerate(GETS[product])
    )


@cache
def typed() -> dict[str, dict[str, Any]]:
    return tomllib.loads((DATA / "parts.toml").read_text("utf-8"))


def part(case: str, over: Mapping[str, Any]) -> str:
    """What the shop gets of a part alone."""
    dims = {**typed()[case], **over}
    made = make(dims.pop("kind", case), dims)
    with TemporaryDirectory() as folder:
        names = ("json", "bends", "copes") if made.cage.members else ("json", "dxf")
        return files_of(*names)(made.design, Path(folder))


def fields() -> set[tuple[str, str]]:
    """Every field of every model of a file, by the model that says it first."""
    out = set()
    for path in sorted(INPUTS.glob("*.py")):
        if path.stem == "__init__":
            continue
        for value in vars(import_module(f"cagekit.inputs.{path.stem}")).values():
            if isinstance(value, type) and issubclass(value, BaseModel):
                own = vars(value).get("__annotations__", {})
                ours = value.__module__.startswith("cagekit.inputs.")
                for name, info in value.model_fields.items():
                    if ours and name in own and not _settled(info.annotation):
                        out.add((value.__name__, name))
    return out


def _settled(annotation: Any) -> bool:
    """Whether a field can have one value only."""
    return get_origin(annotation) is Literal and len(get_args(annotation)) == 1


def test_a_new_field_has_a_row() -> None:
    assert fields() == {(r["model"], r["field"]) for r in rows()}
