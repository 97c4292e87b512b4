"""Sizes of gussets and tabs that are called idle change nothing; those that are not change it."""

from pathlib import Path
from typing import Any

import pytest
from msgspec.structs import replace

from cagekit.assembly.assemble import assemble
from cagekit.cage.kept import Kept, content
from cagekit.inputs.build import Build
from cagekit.inputs.messages import FileInputError
from cagekit.inputs.plate import GussetEntry, TabEntry, usual_grade
from cagekit.inputs.presets import shipped_root
from cagekit.inputs.resolve import load_build
from cagekit.materials.fasteners import fastener, fasteners

GUSSET = 'kind = "gusset"\nat = "roof_diagonal_cross_1 end b"\nid = "corner"\n'
TAB = 'kind = "tab"\nat = "on harness_bar at y 90"\nid = "lug"\n'
OTHER: dict[str, Any] = {
    "thickness": 4.5, "material": "s355", "along_branch": 90.0, "along_parent": 85.0,
    "nose": 10.0, "corner_radius": 2.0, "clip": 15.0, "weld_gap": 1.5, "hole": 16.0, "bulge": 4.0,
    "fold_radius": 7.0, "weld_leg": 5.0, "bolt_size": "M12", "bolt_grade": "10.9", "reach": 40.0,
    "width": 56.0, "ear": 21.0, "count": 2, "gap": 20.0, "use": "net",
}  # fmt: skip
"""For each size another value than the usual one."""


def build_with(folder: Path, plate: str) -> Build:
    path = folder / "own.toml"
    head = (shipped_root() / "builds" / "gravel-hatch.toml").read_text("utf-8").split("[[plate]]")
    path.write_text(f"{head[0]}[[plate]]\n{plate}", "utf-8")
    return load_build(str(path))


@pytest.mark.parametrize(
    "plate",
    [
        GUSSET,
        f'{GUSSET}style = "folded"\n',
        f"{GUSSET}bulge = 6\n",
        f"{GUSSET}nose = 0\n",
        TAB,
        f"{TAB}count = 2\n",
        f'{TAB}bolt_size = "M10"\n',
    ],
)
def test_what_is_idle_changes_nothing_and_the_rest_does(tmp_path: Path, plate: str) -> None:
    build = build_with(tmp_path, plate)
    entry = next(p for p in build.plates if p.id in ("corner", "lug"))
    assert isinstance(entry, GussetEntry | TabEntry)

    kept = Kept()

    def made(one: GussetEntry | TabEntry) -> list[object]:
        plates = tuple(one if p is entry else p for p in build.plates)
        cage = assemble(replace(build, plates=plates), kept)
        return [content(p) for p in cage.plates if p.id.startswith(entry.id)]

    usual = made(entry)
    assert usual
    sizes = {
        n for n in type(entry).model_fields if OTHER.get(n, getattr(entry, n)) != getattr(entry, n)
    }
    same = {n for n in sizes if made(entry.model_copy(update={n: OTHER[n]})) == usual}
    assert same == set(entry.idle())


@pytest.mark.parametrize(
    ("plate", "field", "why"),
    [
        (f'{GUSSET}style = "folded"\ncorner_radius = 5\n', "corner_radius", "no blunt tips"),
        (f"{GUSSET}fold_radius = 5\n", "fold_radius", "no folds"),
        (f'{TAB}bolt_grade = "8.8"\n', "bolt_grade", "Say its size"),
        (f"{TAB}gap = 9\n", "gap", "Say count = 2"),
        (f'{TAB}use = "net"\n', "use", "Leave out `use` or `id`"),
        (f'{TAB}side = "left"\n', "side", "no {side} to fill in"),
        (f"{TAB}toward = [0, 0, 0]\n", "toward", "points nowhere"),
        (f"{TAB}pull = [0, 0, 0]\n", "pull", "points nowhere"),
        (f'{TAB}side = "both"\n', "side", "in one place"),
        (f'{GUSSET}side = "right"\n', "side", "no {side} to fill in"),
        (f'{GUSSET}side = "both"\n', "side", "both gussets would stand in one place"),
    ],
)
def test_an_idle_size_is_refused_with_its_line(
    tmp_path: Path, plate: str, field: str, why: str
) -> None:
    with pytest.raises(FileInputError, match=why) as told:
        build_with(tmp_path, plate)
    (problem,) = told.value.problems
    assert problem.field == field
    written = (tmp_path / "own.toml").read_text("utf-8").splitlines()
    assert problem.line is not None
    assert written[problem.line - 1].startswith(field)


def test_a_bolt_without_a_grade_has_one_that_its_size_is_made_in() -> None:
    sizes = {bolt.size for bolt in fasteners()}
    assert {size: fastener(size, usual_grade(size)).grade for size in sizes} == {
        size: "8.8" if size.startswith("M") else "grade-5" for size in sizes
    }
