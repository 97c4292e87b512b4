"""What a script starts with: every example in it runs, every name is there and short to read."""

from __future__ import annotations

import doctest
import inspect
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import cagekit
from cagekit.errors import CagekitError
from cagekit.face import design, kinds, stub, tables
from cagekit.parts.kinds import part_kinds

DEMOS = ("gravel-hatch", "hillclimb-coupe", "sprint-wagon", "track-roadster")


@pytest.mark.parametrize("module", [cagekit, design, kinds, tables], ids=lambda m: m.__name__)
def test_every_example_runs(module: Any) -> None:
    found = doctest.testmod(module, raise_on_error=False)
    assert found.failed == 0
    assert found.attempted


def test_every_name_of_the_face_is_there_and_told_by_dir() -> None:
    for name in cagekit.__all__:
        assert getattr(cagekit, name) is not None
        assert name in dir(cagekit)
    with pytest.raises(AttributeError, match="no attribute 'lode'"):
        _ = cagekit.lode  # type: ignore[attr-defined]


def test_the_names_of_the_face_stay() -> None:
    """Scripts hang on these: a name that goes or comes is told in the changelog."""
    own = ["CageDesign", "Finding", "PlatePart", "Table", "TubePart", "TubeSpot", "__version__"]
    own += ["between", "kinds", "load", "part"]
    assert sorted(cagekit.__all__) == sorted([*own, *part_kinds()])


def test_the_stub_says_what_the_kinds_say() -> None:
    """Made anew by `python -m cagekit.face.stub > cagekit/__init__.pyi`."""
    assert (Path(cagekit.__file__).with_suffix(".pyi")).read_text("utf-8") == stub.text()


@pytest.mark.parametrize("kind", sorted(part_kinds()))
def test_a_function_has_its_kinds_arguments_and_defaults(kind: str) -> None:
    function = getattr(cagekit, kind)
    takes = inspect.signature(function).parameters
    dims = part_kinds()[kind].dims.model_fields
    assert set(dims) | {"units", "tooling"} <= set(takes)
    assert all(name in function.__doc__ for name in takes)
    made = function(**{n: takes[n].default for n in dims if takes[n].default is not None})
    assert made.parameters == function().parameters
    assert made.mass == pytest.approx(function().mass)
    assert repr(made).startswith("<")


def test_a_part_stays_and_gives_another() -> None:
    hoop = cagekit.main_hoop(height="44 in", tube="dom-1.75x0.120")
    assert hoop.tube.od == pytest.approx(44.45)
    lower = hoop.replace(height=1000)
    assert hoop.parameters["height"] == pytest.approx(1117.6)
    assert lower.parameters["height"] == 1000
    assert lower.tube == hoop.tube
    assert lower.length < hoop.length
    with pytest.raises(AttributeError):
        hoop.id = "other"


def test_a_tube_between_two_legs_is_coped_to_both() -> None:
    hoop = cagekit.main_hoop()
    left, right = hoop.at(height=450), hoop.at(height=450, which=2)
    bar = cagekit.between(left, right, tube="dom-1.5x0.095", name="bar")
    assert bar.path.length == pytest.approx(abs(left.point[1] - right.point[1]))
    assert {tuple(c.parents) for c in bar.copes().values()} == {("main_hoop",)}
    # each end is a saddle: its tips stand a tube's radius short of the axis at the most
    assert bar.path.length - 2 * hoop.tube.outer_radius < bar.length < bar.path.length


def test_copes_follow_the_part_that_is_moved() -> None:
    post = cagekit.strut(length=800).placed([[0, 0, -1, 0], [0, 1, 0, 0], [1, 0, 0, -400]])
    assert post.path.start == pytest.approx([0, 0, -400])
    assert post.path.end == pytest.approx([0, 0, 400])
    bar = cagekit.strut(length=500).coped_to(post, end="a")
    cut = bar.copes()["a"]
    assert np.degrees(cut.angle) == pytest.approx(90)
    moved = bar.placed((10.0, 20.0, 30.0))
    assert moved.volume == pytest.approx(bar.volume, rel=1e-12)
    assert moved.path.start == pytest.approx(bar.path.start + np.array([10, 20, 30]))
    with pytest.raises(ValueError, match="mirror"):
        bar.placed(np.diag([1.0, -1.0, 1.0, 1.0]))
    turn = np.array([[0.6, -0.8, 0.0, 5.0], [0.8, 0.6, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0]])
    turned, short = bar.placed(turn), bar.placed(turn + 3e-8 * np.eye(3, 4))
    assert short.path.length == pytest.approx(bar.path.length, rel=1e-14)
    assert short.path.end == pytest.approx(turned.path.end, abs=1e-4)
    with pytest.raises(ValueError, match=r"stretches or shears by 2\.0e-05 \(allowed: 1e-06\)"):
        bar.placed(turn + 1e-5 * np.eye(3, 4, k=0) * [[0.0], [0.0], [1.0]])


@pytest.mark.parametrize(
    ("place", "words"),
    [
        ({}, "exactly one"),
        ({"height": 1, "x": 2}, "exactly one"),
        ({"height": "a lot"}, "height"),
        ({"station": 1e5}, "not on it"),
        ({"height": 450, "which": 3}, "2 times"),
    ],
)
def test_a_spot_that_is_not_there_is_refused(place: dict[str, Any], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        cagekit.main_hoop().at(**place)


def test_change_by_dotted_name_is_what_the_file_would_say() -> None:
    wagon = cagekit.load("sprint-wagon")
    lower = wagon.change({"members.harness_bar.height": "18 in"})
    assert lower["harness_bar_1"].path.start[2] == pytest.approx(18 * 25.4)
    heavy = lower.change({"tube": "dom-1.75x0.120"})
    assert heavy["main_hoop"].tube.od == pytest.approx(44.45)
    assert heavy["harness_bar_1"].path.start[2] == pytest.approx(18 * 25.4)
    assert wagon["main_hoop"].tube.od == pytest.approx(41.275)
    with pytest.raises(CagekitError, match="harness_ba"):
        wagon.change({"members.harness_ba.height": 470})
    with pytest.raises(CagekitError, match="tub"):
        wagon.change({"tub": "cds-45x2.5"})


def test_a_build_may_be_a_dictionary() -> None:
    data = {"name": "own", "car": "track-roadster", "layout": "four-point"}
    data |= {"tube": "cds-45x2.5", "tooling": "metric-shop"}
    hoop = {"height": 1100, "half_width_top": 480}
    own = cagekit.load({**data, "members": {"main_hoop": hoop}})
    assert own["main_hoop"].mass > 5
    assert all(own[name].mass > 0 for name in own.plates)
    with pytest.raises(CagekitError, match="no_such"):
        cagekit.load({**data, "car": "no_such"})
    with pytest.raises(CagekitError, match="Did you mean"):
        _ = own["main_hop"]


def test_findings_are_rows_that_other_libraries_take() -> None:
    found = cagekit.load("track-roadster").check(groups=["geometry"])
    rows = found.to_dicts()
    assert rows[0]["code"].startswith("geometry/")
    json.dumps(rows, allow_nan=False)
    assert "<table>" in found._repr_html_()
    assert cagekit.main_hoop()._repr_svg_().startswith("<svg")


@pytest.mark.kernel
def test_solids_frames_and_files_of_a_part(tmp_path: Path) -> None:
    hoop = cagekit.main_hoop()
    solid = hoop.solid()
    assert solid.isValid()
    assert solid.Volume(1e-6) == pytest.approx(hoop.volume, rel=1e-5)
    end = hoop.frames["b"].toTuple()[0]
    assert end == pytest.approx(tuple(hoop.path.end))
    assert {"a", "b", "bend_1", "bend_4", "middle"} <= set(hoop.frames)
    for name in ("h.step", "h.glb", "h.csv", "h.stl", "h.svg", "h.3mf"):
        assert hoop.save(tmp_path / name).stat().st_size > 200
    with pytest.raises(ValueError, match="ending"):
        hoop.save(tmp_path / "h.docx")
    with pytest.raises(OSError, match="no folder"):
        hoop.save(tmp_path / "no" / "h.step")
    drilled = cagekit.tab()
    assert drilled.solid().isValid()
    place = drilled.frames["hole_1"]
    flat = drilled.plates[drilled.id]
    assert place.toTuple()[0] == pytest.approx(
        tuple(flat.car_points(flat.holes[0].centre[None, :], flat.thickness)[0])
    )
    assert drilled.save(tmp_path / "t.dxf").stat().st_size > 200
    bracket = cagekit.hinge_bracket()
    assert len(bracket.solid().toCompound().Solids()) == len(bracket.plates) + len(bracket.hardware)


def test_a_part_of_every_kind_is_a_design_of_its_own() -> None:
    for kind in cagekit.kinds():
        part = cagekit.part(kind)
        assert part.mass > 0
        made = part.design
        assert made.cage.members or made.cage.plates or made.cage.hardware, kind
        assert len(made.bends) == len(made.cage.members), kind
        with pytest.raises(CagekitError, match="no build"):
            _ = made.build


@pytest.mark.parametrize(
    ("kind", "dims", "words"),
    [
        ("strutt", {}, "Did you mean 'strut'"),
        ("strut", {"lenght": 300}, "length"),
        ("strut", {"length": "long"}, "length"),
        ("strut", {"tooling": "no-such-shop"}, "no-such-shop"),
    ],
)
def test_a_part_that_cannot_be_says_why(kind: str, dims: dict[str, Any], words: str) -> None:
    with pytest.raises(CagekitError, match=words):
        cagekit.part(kind, **dims)


def test_a_bare_length_counts_in_the_units_named() -> None:
    inches, mm = cagekit.part("strut", length=20, units="in"), cagekit.part("strut", length=508)
    lengths = [p.cage.member("strut").path.length for p in (inches, mm)]
    assert lengths[0] == pytest.approx(lengths[1], abs=1e-9)
    assert inches.design.units == "in"


@pytest.mark.parametrize("demo", DEMOS)
def test_what_is_looked_at_in_a_console_fits_in_a_line(demo: str) -> None:
    made = cagekit.load(demo)
    cage = made.cage
    things: list[Any] = [made, made.build, cage, *cage.plates, *cage.joints, *made.people]
    for member in cage.members.values():
        things += [member, member.path, cage.cut(member.id, "a")]
    things += [p.outline for p in cage.plates]
    for thing in things:
        assert repr(thing).startswith(f"<{type(thing).__name__}")
        assert len(repr(thing)) <= 120, repr(thing)
