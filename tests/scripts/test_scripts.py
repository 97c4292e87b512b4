"""The scripts that come with it run as plain Python, in an editor, and with changed parameters."""

from __future__ import annotations

import ast
import contextlib
import io
import warnings
from pathlib import Path
from typing import Any

import pytest
from cadquery import cqgi

import cagekit as ck

pytestmark = pytest.mark.kernel
FOLDER = Path(__file__).parents[2] / "presets" / "scripts"
SCRIPTS = sorted(FOLDER.glob("*.py"))
CHANGED: dict[str, dict[str, Any]] = {
    "main_hoop_on_box_feet": {"height": 1000.0},
    "halo_with_roof_diagonal": {"length": 700.0},
    "swing_out_door_bar": {"side": "right"},
    "folded_floor_plate": {"fold_angle": 45.0},
    "cage_on_another_car": {"tube": "cds-50x2.0"},
    "cage_beside_a_model": {"height": 500.0},
    "study_of_bend_radii": {"height": 1000.0},
}
"""A parameter of each and another value for it."""


def ids(path: Path) -> str:
    return path.stem


def volume(result: Any) -> float:
    return sum(s.Volume(1e-4) for v in result.vals() for s in v.Solids())


def test_every_script_is_tried_with_a_changed_parameter() -> None:
    assert {p.stem for p in SCRIPTS} == set(CHANGED)


@pytest.mark.parametrize("path", SCRIPTS, ids=ids)
def test_it_is_short_and_explains_its_parameters(path: Path) -> None:
    text = path.read_text("utf-8")
    assert len(text.splitlines()) < 60
    assert ast.get_docstring(ast.parse(text))
    head = text.partition("\n\n")[2]
    for name in CHANGED[path.stem]:
        (line,) = [row for row in head.splitlines() if row.startswith(f"{name} = ")]
        assert "  # " in line


@pytest.mark.slow
@pytest.mark.parametrize("path", SCRIPTS, ids=ids)
def test_it_runs_alone_and_draws_in_an_editor(path: Path) -> None:
    shown: list[Any] = []
    code = compile(path.read_text("utf-8"), path.name, "exec")
    names: dict[str, Any] = {"show_object": lambda thing, *a, **k: shown.append(thing)}
    with contextlib.redirect_stdout(io.StringIO()):
        exec(code, names)
    assert shown
    assert volume(names["result"]) > 1e4
    for shape in names["result"].vals():
        assert shape.isValid()


@pytest.mark.slow
@pytest.mark.parametrize("path", SCRIPTS, ids=ids)
def test_its_parameters_are_changed_through_cadquerys_gateway(path: Path) -> None:
    model = cqgi.parse(path.read_text("utf-8"))
    change = CHANGED[path.stem]
    assert set(change) <= set(model.metadata.parameters)
    with warnings.catch_warnings(), contextlib.redirect_stdout(io.StringIO()):
        warnings.simplefilter("ignore", DeprecationWarning)
        built = model.build(change)
    assert built.success, built.exception
    assert built.results


def test_solids_go_on_to_others(tmp_path: Path) -> None:
    """Another library that wraps the same kernel takes ``solid().wrapped`` as it is."""
    solid = ck.main_hoop().solid()
    assert solid.wrapped.ShapeType().name == "TopAbs_SOLID"
    build123d = pytest.importorskip(
        "build123d",
        reason="no build123d: its kernel wheel and that of CadQuery overwrite each other",
    )
    other = build123d.Solid(solid.wrapped)
    assert other.is_valid
    assert other.volume == pytest.approx(ck.main_hoop().volume, rel=1e-3)
