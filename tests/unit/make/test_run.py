"""Making into a folder: which products, what stays of the last run, the manifest."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from cagekit.design import Design
from cagekit.errors import GeometryError, InputError
from cagekit.face.kinds import make as part_make
from cagekit.inputs.presets import find_preset, load_file
from cagekit.inputs.tooling import Tooling
from cagekit.make import products, run
from cagekit.make.products import PRODUCTS, Product, chosen
from cagekit.make.run import make
from cagekit.parts.tubes import KINDS


def fails(design: Design, folder: Path) -> None:
    """Write a product half, then fail."""
    (folder / "half").write_text("x")
    raise GeometryError("hoop", "cannot be made.")


@pytest.fixture
def tooling(tmp_path: Path) -> Path:
    path = tmp_path / "tooling.toml"
    path.write_bytes(find_preset("tooling", "metric-shop").read_bytes())
    return path


@pytest.fixture
def design(tooling: Path) -> Design:
    kind = KINDS["strut"]
    shop = load_file("tooling", tooling, Tooling)
    cage = kind.make(kind.read({})).cage
    return Design(cage=cage, name="strut", tooling=shop, files={"tooling": tooling})


def _again(design: Design, **changes: Any) -> Design:
    same = {"name": design.name, "tooling": design.tooling, "files": design.files}
    return Design(cage=design.cage, **(same | changes))


def shas(folder: Path) -> dict[str, str]:
    return {
        p.relative_to(folder).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in sorted(folder.rglob("*"))
        if p.is_file()
    }


def test_the_manifest_lists_every_file_and_input_with_its_sum(
    design: Design, tmp_path: Path
) -> None:
    target = tmp_path / "out/strut"
    made = make(design, target, only=["json", "glb"])
    assert made.files == {"json": ("cage.json",), "glb": ("cage.glb",)}
    content = json.loads((target / "manifest.json").read_text())
    found = shas(target)
    del found["manifest.json"]
    assert {r["path"]: r["sha256"] for r in content["files"]} == found
    assert {r["path"]: r["bytes"] for r in content["files"]} == {
        n: (target / n).stat().st_size for n in found
    }
    (read,) = content["inputs"]
    assert read["path"] == "tooling.toml"
    assert read["sha256"] == hashlib.sha256((tmp_path / "tooling.toml").read_bytes()).hexdigest()
    assert content["versions"]["cagekit"]
    assert str(tmp_path) not in (target / "manifest.json").read_text()


def test_two_inputs_of_one_name_are_both_listed(design: Design, tmp_path: Path) -> None:
    other = tmp_path / "other/tooling.toml"
    other.parent.mkdir()
    other.write_text("# another\n")
    twice = _again(design, files={**design.files, "car other/tooling.toml": other})
    make(twice, tmp_path / "out", only=["json"])
    content = json.loads((tmp_path / "out/manifest.json").read_text())
    assert len({row["sha256"] for row in content["inputs"]}) == 2


def test_same_input_same_bytes(design: Design, tmp_path: Path) -> None:
    quick = ["json", "glb", "png"]
    make(design, tmp_path / "a", only=quick)
    make(design, tmp_path / "b", only=quick)
    assert shas(tmp_path / "a") == shas(tmp_path / "b")


def test_products_of_the_last_run_stay_when_made_of_the_same_inputs(
    design: Design, tmp_path: Path
) -> None:
    target = tmp_path / "out"
    make(design, target, only=["json", "glb"])
    before = shas(target)
    made = make(design, target, only=["glb"])
    assert made.kept == ("json",)
    assert shas(target) == before
    with (tmp_path / "tooling.toml").open("a") as file:
        file.write("\n# another die\n")
    made = make(design, target, only=["glb"])
    assert made.dropped == ("json",)
    assert set(shas(target)) == {"cage.glb", "manifest.json"}


def test_other_units_are_other_inputs(design: Design, tmp_path: Path) -> None:
    target = tmp_path / "out"
    make(design, target, only=["json"])
    assert make(_again(design, units="in"), target, only=["glb"]).dropped == ("json",)


def test_a_product_that_fails_leaves_the_last_run(
    design: Design, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "out"
    make(design, target, only=["json"])
    before = shas(target)
    bad = Product("bad", f"{__name__}:fails", "fails")
    monkeypatch.setattr(Product, "load", lambda self: fails if self is bad else None)
    monkeypatch.setattr(run, "chosen", lambda only: (bad,))
    with pytest.raises(GeometryError, match=r"cannot be made"):
        make(design, target)
    assert shas(target) == before
    assert sorted(p.name for p in tmp_path.iterdir()) == ["out", "tooling.toml"]


def test_only_takes_known_products() -> None:
    assert chosen(()) == PRODUCTS
    assert [p.name for p in chosen(("json", "png"))] == ["png", "json"]
    with pytest.raises(InputError, match=r"Did you mean 'json'\?"):
        chosen(("jsn",))


@pytest.mark.parametrize("product", products.PRODUCTS, ids=lambda p: p.name)
def test_every_product_has_a_function_and_a_name_of_its_own(product: Product) -> None:
    assert callable(product.load())
    assert [p.name for p in PRODUCTS].count(product.name) == 1
    assert product.about


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_of_part_is_made_without_its_stubs(kind: str, tmp_path: Path) -> None:
    part = KINDS[kind].make(KINDS[kind].read({}))
    alone = part_make(kind, {}, tooling="metric-shop")
    alone.make(tmp_path / kind, "json")
    content = json.loads((tmp_path / kind / "cage.json").read_text())
    assert [m["id"] for m in content["members"]] == list(part.made)
    assert alone.length == part.cage.cut_length(part.made[0])
    # a coped end keeps the cope that the stub gave it, though the stub is not there
    for member in content["members"]:
        for name, end in member["ends"].items():
            if end["kind"] == "cope":
                cut = part.cage.cut(member["id"], name)
                phi, depth = np.array(end["outer"]).T
                whole = cut.trim(np.radians(phi), np.full(len(phi), cut.outer_radius))
                assert depth == pytest.approx(whole, abs=1e-4)
