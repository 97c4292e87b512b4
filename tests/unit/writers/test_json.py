"""cage.json: by its schema, and geometrically true when read by someone who knows nothing else."""

from __future__ import annotations

import json
from dataclasses import replace
from importlib.resources import files
from itertools import pairwise
from math import cos, pi, radians, sin
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from cagekit.cage.cage import Cage
from cagekit.cage.plate import Hole, Plate
from cagekit.geometry.fold import Fold
from cagekit.geometry.outline import Outline
from cagekit.materials.steels import steel
from cagekit.parts.tubes import KINDS
from cagekit.writers.json import cage_dict, dumps, write_cage

jsonschema = pytest.importorskip("jsonschema")
SCHEMA = json.loads((files("cagekit") / "data" / "cage.schema.json").read_text("utf-8"))


def part(kind: str, **dims: Any) -> Cage:
    made = KINDS[kind]
    return made.make(made.read(dims)).cage


PLATE = Plate(
    id="foot_left",
    kind="floor_plate",
    thickness=4.0,
    material="a36",
    outline=Outline.polygon([(0, 0), (150, 0), (150, 100), (0, 100)]),
    holes=(Hole.circle((20, 20), 11.0), Hole.slot((80, 50), (110, 50), 9.0)),
)

CAGES = {
    "halo": part("halo"),
    "hoop": part("main_hoop"),
    "a_pillar_bar": part("a_pillar_bar"),
    "strut": part("strut", angle_a=55.0, angle_b=70.0, twist=35.0),
    "offset": part("strut", od=32.0, wall=2.0, offset_a=3.0),
    "flat": part("rear_brace"),
    "plate": Cage("plate", part("main_hoop").members.values(), plates=[PLATE]),
}


@pytest.fixture(params=CAGES, scope="module")
def data(request: pytest.FixtureRequest) -> dict[str, Any]:
    return json.loads(dumps(cage_dict(CAGES[request.param])))


def test_the_schema_is_one_and_holds(data: dict[str, Any]) -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    faults = [e.message for e in jsonschema.Draft202012Validator(SCHEMA).iter_errors(data)]
    assert not faults


def test_pieces_follow_each_other_tangentially(data: dict[str, Any]) -> None:
    for member in data["members"]:
        ways = [directions(p) for p in member["path"]]
        for one, two in pairwise(member["path"]):
            assert np.allclose(one["end"], two["start"], atol=1e-5)
        for (_, leave), (enter, _) in pairwise(ways):
            assert np.allclose(leave, enter, atol=1e-7)


def directions(piece: dict[str, Any]) -> tuple[np.ndarray, np.ndarray]:
    """Travel at start and end of a piece, from the file's numbers alone."""
    start, end = np.array(piece["start"]), np.array(piece["end"])
    if piece["kind"] == "line":
        d = (end - start) / np.linalg.norm(end - start)
        return d, d
    centre, axis, angle = (
        np.array(piece["centre"]),
        np.array(piece["axis"]),
        radians(piece["angle_deg"]),
    )
    arm = start - centre
    assert np.linalg.norm(arm) == pytest.approx(piece["radius"], abs=1e-5)
    assert np.linalg.norm(axis) == pytest.approx(1.0, abs=1e-11)
    turned = arm * cos(angle) + np.cross(axis, arm) * sin(angle)
    assert np.allclose(centre + turned, end, atol=2e-5)
    return np.cross(axis, arm) / piece["radius"], np.cross(axis, turned) / piece["radius"]


def test_cope_points_lie_on_the_parent(data: dict[str, Any]) -> None:
    """Outside of the branch on the outside of the parent, in space, by the contract's words."""
    members = {m["id"]: m for m in data["members"]}
    for member in data["members"]:
        for name, end in member["ends"].items():
            if end["kind"] != "cope":
                continue
            (parent,) = end["parents"]
            radius = {"outer": member["tube"]["od"] / 2}
            radius["inner"] = radius["outer"] - member["tube"]["wall"]
            first = members[parent]["path"][0]
            for curve, r in radius.items():
                points = in_space(end, end[curve], r)
                gaps = [distance(p, first) for p in points]
                assert np.allclose(gaps, members[parent]["tube"]["od"] / 2, atol=2e-4), (
                    name,
                    curve,
                )


def in_space(end: dict[str, Any], curve: list[list[float]], r: float) -> np.ndarray:
    out, zero, point = (np.array(end[k]) for k in ("out", "zero", "point"))
    assert abs(out @ zero) < 1e-9
    side = np.cross(out, zero)  # right-handed about out, from zero
    phi, s = np.radians([row[0] for row in curve]), np.array([row[1] for row in curve])
    ring = np.multiply.outer(np.cos(phi), zero) + np.multiply.outer(np.sin(phi), side)
    return point + r * ring - np.multiply.outer(s, out)


def distance(p: np.ndarray, line: dict[str, Any]) -> float:
    start, end = np.array(line["start"]), np.array(line["end"])
    d = (end - start) / np.linalg.norm(end - start)
    w = p - start
    return float(np.linalg.norm(w - (w @ d) * d))


def test_flat_ends_lie_in_their_plane() -> None:
    data = cage_dict(CAGES["flat"])
    (brace,) = (m for m in data["members"] if m["id"] == "rear_brace")
    end = brace["ends"]["b"]
    assert end["kind"] == "flat"
    normal, at = np.array(end["plane"]["normal"]), np.array(end["plane"]["point"])
    points = in_space(end, end["outer"], brace["tube"]["od"] / 2)
    assert np.allclose((points - at) @ normal, 0.0, atol=1e-5)


def test_a_square_strut_is_as_long_as_the_closed_form() -> None:
    """Equal tubes square to each other: the branch's sides reach the parent's axis."""
    cage = part("strut", length=1000.0)
    (strut,) = (m for m in cage_dict(cage)["members"] if m["id"] == "strut")
    r = strut["tube"]["od"] / 2
    # outside curve: s = sqrt(R2 - (r sin)2), from R at the crotch to 0 at the sides
    for end in strut["ends"].values():
        s = np.array(end["outer"])[:, 1]
        assert s.max() == pytest.approx(r, abs=1e-4)
        assert s.min() == pytest.approx(0.0, abs=0.1)
    assert strut["cut_length"] == pytest.approx(1000.0, abs=1e-3)


def test_plates_close_and_weigh_what_they_should() -> None:
    (plate,) = cage_dict(CAGES["plate"])["plates"]
    area = 150 * 100 - pi * 5.5**2 - (30 * 9 + pi * 4.5**2)
    assert plate["volume"] == pytest.approx(4.0 * area, rel=1e-9)
    for loop in (plate["outline"], *(h["outline"] for h in plate["holes"])):
        for one, two in zip(loop, loop[1:] + loop[:1], strict=True):
            assert np.allclose(one["end"], two["start"], atol=1e-6)
            if one["kind"] == "arc":
                centre = np.array(one["centre"])
                for p in (one["start"], one["end"]):
                    assert np.linalg.norm(p - centre) == pytest.approx(one["radius"], abs=1e-5)
    assert np.allclose(plate["placement"], np.eye(4))


def test_equal_cages_give_equal_bytes_without_minus_zero(tmp_path: Any) -> None:
    texts = []
    for n in range(2):
        folder = tmp_path / str(n)
        folder.mkdir()
        write_cage(SimpleNamespace(cage=part("halo")), folder)  # type: ignore[arg-type]
        texts.append((folder / "cage.json").read_bytes())
    assert texts[0] == texts[1]
    assert b"-0.0," not in texts[0]
    assert b"NaN" not in texts[0]


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_what_json_cannot_hold_is_refused(value: float) -> None:
    with pytest.raises(ValueError, match=r"JSON"):
        dumps({"a": [value]})


def test_numbers_stand_in_rows() -> None:
    text = dumps({"a": [[1, 2], [3, 4]], "b": {"c": {"d": 1, "e": [1, 2, 3]}}, "f": []})
    assert json.loads(text) == {
        "a": [[1, 2], [3, 4]],
        "b": {"c": {"d": 1, "e": [1, 2, 3]}},
        "f": [],
    }
    assert text.count("\n") == 7


@pytest.mark.parametrize("name", ["halo", "strut", "offset"])
def test_straight_lines_between_a_curves_points_stay_on_the_cut(name: str) -> None:
    """Within 0.02 mm at angles that nobody asked for, corners and the turn across zero included."""
    cage = CAGES[name]
    rng = np.random.default_rng(4)
    asked = rng.uniform(0.0, 2 * pi, 20000)
    for m in cage.members.values():
        told = next(q for q in cage_dict(cage)["members"] if q["id"] == m.id)["ends"]
        for end, _ in m.ends:
            cut = cage.cut(m.id, end)
            for side, rho in (("outer", cut.outer_radius), ("inner", cut.inner_radius)):
                if side not in told[end]:
                    continue
                rows = np.array(told[end][side])
                assert (np.diff(rows[:, 0]) > 0).all()
                phi = np.append(rows[:, 0], rows[0, 0] + 360.0)
                s = np.append(rows[:, 1], rows[0, 1])
                drawn = np.interp(np.degrees(asked), phi, s, period=360.0)
                assert np.abs(drawn - cut.trim(asked, rho)).max() < 0.02


def test_mass_and_volume_of_a_folded_plate_are_of_one_body() -> None:
    folded = replace(PLATE, holes=(), folds=(Fold.along((60, 0), (60, 100), radians(70.0), 5.0),))
    cage = Cage("plate", part("main_hoop").members.values(), plates=[folded])
    (told,) = cage_dict(cage)["plates"]
    assert told["mass_kg"] == pytest.approx(
        told["volume"] * steel(folded.material).density, rel=1e-8
    )
    assert told["volume"] != pytest.approx(150 * 100 * 4, rel=1e-6)
