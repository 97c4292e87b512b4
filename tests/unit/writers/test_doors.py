"""Open positions of swing-out bars as files: names, places, and nothing without such bars."""

from __future__ import annotations

import json
import struct
from pathlib import Path

import numpy as np
import pytest

from cagekit.assembly.assemble import assemble
from cagekit.design import Design
from cagekit.inputs.resolve import load_build
from cagekit.swing.motion import sweep
from cagekit.writers.doors import swinging, write_doors
from cagekit.writers.glb import write_cage
from cagekit.writers.json import cage_dict
from cagekit.writers.part21 import parse
from cagekit.writers.step_read import read_records


@pytest.fixture(scope="module")
def design() -> Design:
    build = load_build("sprint-wagon")
    return Design(build=build, cage=assemble(build), units="in")


@pytest.fixture(scope="module")
def folder(design: Design, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("doors")
    write_doors(design, out)
    return out


def nodes(path: Path) -> tuple[dict[str, dict], dict, bytes]:
    data = path.read_bytes()
    size = struct.unpack("<I", data[12:16])[0]
    content = json.loads(data[20 : 20 + size])
    return {n["name"]: n for n in content["nodes"]}, content, data[28 + size :]


def test_files_of_a_cage_with_swing_out_bars(folder: Path, design: Design) -> None:
    names = {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()}
    brackets = {f"plates/{i}.png" for d in design.cage.doors for i in d.plates}
    assert names == {"door_open.step", "door_open.glb", "doors.png", *brackets}


def test_open_step_holds_the_bar_where_it_swings_to(folder: Path, design: Design) -> None:
    records = read_records(parse((folder / "door_open.step").read_text(encoding="ascii")))
    gone = {"pin", "spacer_lower", "spacer_upper"}
    cage = design.cage
    want = {*cage.members, *(p.id for p in cage.plates), *(p.id for p in cage.hardware)}
    want -= {f"{d.bar}_latch_{n}" for d in cage.doors for n in gone}
    assert set(records) == want
    for door in cage.doors:
        record = records[door.bar]
        assert record is not None
        points = np.array(record.vertices)
        swept = sweep(cage, design.build.car, door)
        tip = swept.path[-1]
        assert np.linalg.norm(points - tip, axis=1).min() < 1.2 * door.fitted.tube.outer_radius
        # square out of the car: far beyond the sill
        assert np.abs(points[:, 1]).max() > 1300


def test_glb_has_nodes_open_and_half_open(folder: Path, design: Design) -> None:
    found, content, chunk = nodes(folder / "door_open.glb")
    for name in swinging(design.cage):
        assert f"{name}_open" in found
        assert f"{name}_half" in found
        assert name not in found
    assert {"open", "half"} <= set(found)
    door = design.cage.doors[0]
    reach = {}
    for way in ("half", "open"):
        mesh = content["meshes"][found[f"{door.bar}_{way}"]["mesh"]]
        spot = content["accessors"][mesh["primitives"][0]["attributes"]["POSITION"]]
        reach[way] = spot["max"][1]
    assert reach["open"] > reach["half"] > 1000
    assert chunk


def test_nothing_is_written_without_swing_out_bars(tmp_path: Path) -> None:
    build = load_build("track-roadster")
    write_doors(Design(build=build, cage=assemble(build), units="mm"), tmp_path)
    assert not list(tmp_path.iterdir())


def test_cage_json_lists_parts_and_doors(design: Design) -> None:
    content = cage_dict(design.cage)
    assert [d["id"] for d in content["doors"]] == ["door_bar_left", "door_bar_right"]
    by_id = {m["id"]: m for m in content["members"]}
    for door in content["doors"]:
        assert by_id[door["id"]]["ends"]["a"]["kind"] == "pinned"
        assert by_id[door["id"]]["ends"]["b"]["kind"] == "pinned"
        fitted = sum(
            np.linalg.norm(np.subtract(q["end"], q["start"])) for q in door["fitted"]["path"]
        )
        assert fitted > 1200
        for joint in door["joints"]:
            assert joint["shear_planes"] == 2
            assert joint["pin_diameter"] == pytest.approx(9.525)
            sleeve = joint["sleeve"][2]
            assert joint["grip"] == pytest.approx(
                sleeve + 2 * joint["thickness"] + 2 * 0.0478 * 25.4 + 0.254, abs=1e-5
            )
    brackets = [p for p in content["plates"] if "saddle" in p["kind"]]
    assert len(brackets) == 4
    for plate in brackets:
        assert len(plate["pins"]) == 2
        for pin in plate["pins"]:
            assert pin["diameter"] == pytest.approx(9.525)
            assert pin["shear_planes"] == 2
            assert pin["ear"]["a"] >= pin["ear"]["side"] > 8
        assert sum(w["length"] for w in plate["welds"]) > 100
        assert {w["to"] for w in plate["welds"]} <= set(by_id)
    ids = [p["id"] for p in content["parts"]]
    assert len(ids) == len(set(ids))
    assert {p["kind"] for p in content["parts"]} >= {"sleeve", "bolt", "nut", "pin", "washer"}


def test_cage_glb_plays_the_bar_open_about_its_pin(design: Design, tmp_path: Path) -> None:
    write_cage(design, tmp_path)
    found, content, chunk = nodes(tmp_path / "cage.glb")
    door = design.cage.doors[0]
    swept = sweep(design.cage, design.build.car, door)
    animation = next(a for a in content["animations"] if a["name"] == f"{door.bar}_open")
    node = found[f"{door.bar}_open"]
    assert content["nodes"][animation["channels"][0]["target"]["node"]] is node
    (inner,) = (content["nodes"][i] for i in node["children"])
    names = {content["nodes"][i]["name"] for i in inner["children"]}
    assert names == {i for i in swinging(design.cage) if i.startswith(door.bar)}

    def numbers(index: int, width: int) -> np.ndarray:
        a = content["accessors"][index]
        view = content["bufferViews"][a["bufferView"]]
        start = view["byteOffset"]
        raw = np.frombuffer(chunk[start : start + view["byteLength"]], "<f4")
        return raw.reshape(-1, width)[: a["count"]]

    sampler = animation["samplers"][0]
    assert numbers(sampler["input"], 1).ravel() == pytest.approx([0, 1, 2, 3, 4])
    x, y, z, w = numbers(sampler["output"], 4)[2]  # open
    # the matrix of a unit quaternion, applied between the two shifts of the nodes
    turn = np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )
    tip = swept.path[0]
    moved = turn @ (tip + np.array(inner["translation"])) + np.array(node["translation"])
    assert moved == pytest.approx(swept.path[-1], abs=0.01)
