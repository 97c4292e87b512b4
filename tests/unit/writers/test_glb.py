"""cage.glb, read by an independent reader."""

from __future__ import annotations

import json
import struct
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from cagekit.cage.cage import Cage
from cagekit.cage.colours import ROLES, linear
from cagekit.cage.plate import Hole, Plate
from cagekit.geometry.outline import Outline
from cagekit.parts.tubes import KINDS
from cagekit.view.scene import bodies
from cagekit.writers.glb import glb, write_cage

trimesh = pytest.importorskip("trimesh")

PLATE = Plate(
    id="foot",
    kind="floor_plate",
    thickness=4.0,
    material="a36",
    outline=Outline.polygon([(0, 0), (150, 0), (150, 100), (0, 100)]),
    holes=(Hole.circle((20, 20), 11.0),),
)


@pytest.fixture(scope="module")
def cage() -> Cage:
    kind = KINDS["halo"]
    return kind.make(kind.read({})).cage.replace(plates=[PLATE])


@pytest.fixture(scope="module")
def file(cage: Cage, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("glb")
    write_cage(SimpleNamespace(cage=cage), folder)  # type: ignore[arg-type]
    return folder / "cage.glb"


@pytest.fixture(scope="module")
def scene(file: Path) -> Any:
    return trimesh.load(file)


def test_every_member_and_plate_is_there_by_name(cage: Cage, scene: Any) -> None:
    assert set(scene.geometry) == {*cage.members, "foot"}
    assert set(scene.graph.nodes_geometry) == {*cage.members, "foot"}


def test_it_stands_upright_in_metres_and_looks_forward(cage: Cage, scene: Any) -> None:
    """glTF: metres, Y up, the front of a thing looks to +Z, its left is +X."""
    halo = scene.geometry["halo"].copy()
    halo.apply_transform(scene.graph.get("halo")[0])
    path = cage.members["halo"].path
    points = path.points(np.linspace(0, path.length, 400))
    r = cage.members["halo"].tube.outer_radius
    for car, gltf in ((0, 2), (1, 0), (2, 1)):  # X to Z, Y to X, Z to Y
        low, high = points[:, car].min(), points[:, car].max()
        assert halo.bounds[0][gltf] == pytest.approx((low - r) / 1000, abs=0.022)
        assert halo.bounds[1][gltf] == pytest.approx((high + r) / 1000, abs=0.001)


def test_volumes_are_those_of_the_cage(cage: Cage, scene: Any) -> None:
    """48 flats a round hold 0.3 % less than the round, bends in 7.5 degree steps a little less."""
    for name in cage.members:
        mesh = scene.geometry[name].copy()
        mesh.merge_vertices(merge_norm=True, merge_tex=True)
        assert mesh.volume == pytest.approx(cage.volume(name), rel=0.006)
        assert mesh.is_winding_consistent
    assert scene.geometry["foot"].volume == pytest.approx(PLATE.volume, rel=1e-3)


def test_normals_point_out(scene: Any) -> None:
    for mesh in scene.geometry.values():
        corner = mesh.vertex_normals[mesh.faces].mean(axis=1)
        facing = np.einsum("ij,ij->i", corner, mesh.face_normals)
        assert (facing > 0.5).mean() > 0.999


def test_colours_are_those_of_the_role_as_linear_light(file: Path) -> None:
    content = chunks(file.read_bytes())[0]
    mesh = next(m for m in content["meshes"] if m["name"] == "halo")
    material = content["materials"][mesh["primitives"][0]["material"]]
    shown = material["pbrMetallicRoughness"]["baseColorFactor"]
    assert shown[:3] == pytest.approx(linear(ROLES["halo"]), abs=1e-6)
    # IEC 61966-2-1: sRGB 0.5 is 0.2140 of linear light
    assert linear((0.5, 0.0, 1.0)) == pytest.approx((0.21404, 0.0, 1.0), abs=1e-5)


def chunks(data: bytes) -> tuple[dict[str, Any], bytes]:
    magic, version, length = struct.unpack("<4sII", data[:12])
    assert (magic, version, length) == (b"glTF", 2, len(data))
    at, found = 12, []
    while at < len(data):
        size, kind = struct.unpack("<I4s", data[at : at + 8])
        assert size % 4 == 0
        found.append((kind, data[at + 8 : at + 8 + size]))
        at += 8 + size
    assert [k for k, _ in found] == [b"JSON", b"BIN\0"]
    return json.loads(found[0][1]), found[1][1]


def test_the_container_holds_what_it_says(file: Path) -> None:
    """glTF 2.0: aligned views inside the buffer, bounds of positions true, unit normals."""
    content, data = chunks(file.read_bytes())
    assert content["buffers"] == [{"byteLength": len(data)}]
    for view in content["bufferViews"]:
        assert view["byteOffset"] % 4 == 0
        assert view["byteOffset"] + view["byteLength"] <= len(data)
    for mesh in content["meshes"]:
        (part,) = mesh["primitives"]
        at = content["accessors"][part["attributes"]["POSITION"]]
        points = read(content, data, at, "<f4").reshape(-1, 3)
        assert np.array_equal(points.min(axis=0), np.float32(at["min"]))
        assert np.array_equal(points.max(axis=0), np.float32(at["max"]))
        normals = read(content, data, content["accessors"][part["attributes"]["NORMAL"]], "<f4")
        assert np.allclose(np.linalg.norm(normals.reshape(-1, 3), axis=1), 1.0, atol=1e-5)
        index = content["accessors"][part["indices"]]
        numbers = read(content, data, index, "<u2" if index["componentType"] == 5123 else "<u4")
        assert len(numbers) == index["count"]
        assert numbers.max() < len(points)


def read(content: dict[str, Any], data: bytes, accessor: dict[str, Any], kind: str) -> np.ndarray:
    view = content["bufferViews"][accessor["bufferView"]]
    return np.frombuffer(data[view["byteOffset"] :][: view["byteLength"]], kind)


def test_equal_cages_give_equal_bytes(cage: Cage, file: Path) -> None:
    kind = KINDS["halo"]
    again = kind.make(kind.read({})).cage.replace(plates=[PLATE])
    assert glb(bodies(again), name=again.name) == file.read_bytes()


def test_an_empty_scene_is_still_a_file() -> None:
    data = glb([], name="nothing")
    assert struct.unpack("<4sII", data[:12]) == (b"glTF", 2, len(data))
    assert "meshes" not in json.loads(data[20:])
