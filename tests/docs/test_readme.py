"""What the README and the contributors' guide say is so."""

from __future__ import annotations

import re
import subprocess
import tomllib
from pathlib import Path
from typing import Any

import pytest
from msgspec.structs import replace

from cagekit.assembly.assemble import members_only
from cagekit.cage.collisions import overlaps
from cagekit.cli.verbs import VERBS
from cagekit.inputs.driver import Driver
from cagekit.inputs.grind import Grind
from cagekit.inputs.padding import Padding, thickness_by_member
from cagekit.inputs.presets import find_preset
from cagekit.inputs.resolve import load_build
from cagekit.inputs.tube import TubeFile
from cagekit.people import seated
from cagekit.plates.feet import plates_for
from cagekit.units import parse_length

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text("utf-8")
GUIDE = (ROOT / "DEVELOPERS.md").read_text("utf-8")


def blocks(text: str, language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```", text, re.MULTILINE | re.DOTALL)


def test_first_paragraph_states_the_job() -> None:
    first = README.split("\n\n")[1]
    for word in ("cages", "measurements", "STEP", "DXF"):
        assert word in first


def test_first_two_commands_are_whole() -> None:
    """Each makes its environment, installs and runs, on one line."""
    make, test = (block.strip() for block in blocks(README, "sh")[:2])
    for line in (make, test):
        assert "\n" not in line
        assert line.startswith("python3 -m venv .venv && .venv/bin/pip install -q ")
    assert make.endswith(".venv/bin/cagekit make sprint-wagon")
    assert test.endswith(
        ".venv/bin/python -m pytest -n auto --dist loadgroup -m 'not study and not browser'"
    )


@pytest.mark.parametrize("block", [*blocks(README, "sh"), *blocks(GUIDE, "sh")])
def test_commands_are_shell(block: str) -> None:
    subprocess.run(["bash", "-n", "-c", block], check=True)


@pytest.mark.parametrize("block", [b for b in blocks(README, "toml") if 'kind = "tube"' in b])
def test_tube_of_the_readme_loads(block: str) -> None:
    tube = TubeFile.model_validate(tomllib.loads(block)).tube()
    assert tube.od == pytest.approx(44.45)


@pytest.mark.parametrize("block", [b for b in blocks(README, "toml") if 'kind = "driver"' in b])
def test_driver_of_the_readme_can_be_seated(block: str) -> None:
    driver = Driver.model_validate(tomllib.loads(block), context={"units": "mm"})
    (who,) = seated(load_build("sprint-wagon").car, [driver])
    assert who.helmet_top[2] == pytest.approx(905)
    assert who.body.origin["stature"] == "measured"
    assert "percentile 60" in who.body.origin["knee_height"]


@pytest.mark.parametrize("block", [b for b in blocks(README, "toml") if "[[padding]]" in b])
def test_padding_of_the_readme_is_put_on(block: str) -> None:
    rows = tomllib.loads(block)["padding"]
    pads = [Padding.model_validate(r, context={"units": "mm"}) for r in rows]
    roles = {"main_hoop": ("main_hoop",), "door_bar_left": ("door_bar_left", "door_bar")}
    assert thickness_by_member(pads, roles) == pytest.approx({"main_hoop": 12.7})


@pytest.mark.parametrize("block", [b for b in blocks(README, "toml") if "[[grind]]" in b])
def test_grinding_notes_of_the_readme_are_taken(block: str) -> None:
    build = load_build("sprint-wagon")
    notes = tuple(Grind.model_validate(r) for r in tomllib.loads(block)["grind"])
    cage = members_only(replace(build, file=build.file.model_copy(update={"grind": notes})))
    assert cage.member("roof_diagonal").grind == (("a_pillar_bar_left", 1.2),)


@pytest.mark.parametrize("block", [b for b in blocks(README, "toml") if "[[plate]]" in b])
def test_plates_of_the_readme_are_made(block: str, tmp_path: Path) -> None:
    own = find_preset("build", "hillclimb-coupe").read_text("utf-8").partition("[[plate]]")[0]
    (tmp_path / "own.toml").write_text(f"{own}\n{block}", "utf-8")
    build = load_build(str(tmp_path / "own.toml"))
    plates = plates_for(build, members_only(build))
    assert {"floor_plate", "backing_plate", "gusset", "tab"} <= {p.kind for p in plates}
    assert any(p.folds for p in plates)


@pytest.mark.parametrize("block", [b for b in blocks(README, "toml") if "[table]" in b])
def test_table_of_the_readme_cuts(block: str, tmp_path: Path) -> None:
    """Every option is there and allowed, and the drawings are written as it says."""
    shop = find_preset("tooling", "metric-shop").read_text("utf-8")
    head, _, rest = shop.partition("[table]\n")
    own = tmp_path / "shop.toml"
    own.write_text(f"{head}{block}\n{rest[rest.index('[paper]') :]}", "utf-8")
    build = find_preset("build", "hillclimb-coupe").read_text("utf-8")
    build = build.replace('tooling = "metric-shop"', 'tooling = "shop.toml"')
    (tmp_path / "own.toml").write_text(build, "utf-8")
    table = load_build(str(tmp_path / "own.toml")).tooling.table
    assert table is not None
    told = tomllib.loads(block)["table"]
    assert set(type(table).model_fields) - {"name", "lead_in"} == set(told)
    stock, offcut = table.sheet
    assert stock.length == pytest.approx(8 * 304.8)
    assert (offcut.offcut, offcut.width) == (True, 400)


def test_lengths_of_the_readme_are_lengths() -> None:
    (line,) = re.findall(r"A length is a number.*?\n\n", README, re.DOTALL)
    examples = re.findall(r"`([^`]*\d[^`]*)`", line)
    assert len(examples) >= 4
    for text in examples:
        assert parse_length(text) > 0


def test_verbs_of_the_readme_exist() -> None:
    table = README.partition("| Verb |")[2].partition("\n\n")[0]
    named = set(re.findall(r"`(\w+)[^`]*`", re.sub(r"\|[^|]*\|$", "", table, flags=re.MULTILINE)))
    assert named <= {verb.name for verb in VERBS}
    assert {"presets", "show", "new", "check", "make", "part", "doctor"} <= named


def test_every_room_is_in_the_guide() -> None:
    rooms = {
        path.parent.name
        for path in (ROOT / "cagekit").glob("*/__init__.py")
        if any(path.parent.glob("*.py"))
    }
    table = GUIDE.partition("| Room |")[2].partition("\n\n")[0]
    missing = {room for room in rooms if f"`{room}`" not in table}
    assert not missing


def test_links_lead_somewhere() -> None:
    for text in (README, GUIDE):
        for target in re.findall(r"\]\(([^)#]+)\)", text):
            assert (ROOT / target).exists(), target


@pytest.mark.parametrize("block", [b for b in blocks(README, "toml") if "[[strut]]" in b])
def test_struts_of_the_readme_stand_in_the_coupe(block: str, tmp_path: Path) -> None:
    (spot,) = (b for b in blocks(README, "toml") if b.startswith("[side.spots."))
    car = find_preset("car", "hillclimb-coupe").read_text("utf-8")
    (tmp_path / "car.toml").write_text(f"{car}\n{spot}", "utf-8")
    build = find_preset("build", "hillclimb-coupe").read_text("utf-8")
    build = build.replace('car = "hillclimb-coupe"', 'car = "car.toml"')
    # a table may stand in a file once only
    role, own = block.split("\n\n", 1)
    build = build.replace("[tubes]", role)
    (tmp_path / "own.toml").write_text(f"{build}\n{own}", "utf-8")
    loaded = load_build(str(tmp_path / "own.toml"))
    cage = members_only(loaded)
    for table in tomllib.loads(block)["strut"]:
        sides = ("left", "right") if table.get("side") == "both" else ("",)
        for side in sides:
            id_ = "_".join(filter(None, (table["id"], side)))
            assert cage.cut_length(id_) > 100
    assert cage.member("rear_brace_left").tube.od == pytest.approx(38.0)
    assert overlaps(cage) == []


@pytest.mark.kernel
@pytest.mark.parametrize("block", blocks(README, "python"))
def test_scripts_of_the_readme_make_solids(block: str) -> None:
    names: dict[str, Any] = {}
    exec(compile(block, "README.md", "exec"), names)
    if "post" in names:
        assert all(names[n].val().isValid() for n in ("post", "bar", "foot"))
        assert names["tabs"].solids().size() == 2
        return
    if "wagon" in names:
        bars = [names[n].cage.of_role("harness_bar")[0] for n in ("wagon", "lower")]
        drop = bars[0].path.start[2] - bars[1].path.start[2]
        assert drop == pytest.approx(0.875 * 25.4)
        assert names["worst"].to_json()["code"] == names["rows"][0]["code"]
        return
    bar, solid = names["bar"], names["solid"]
    assert solid.isValid()
    assert solid.Volume(tol=1e-6) == pytest.approx(bar.volume, rel=1e-5)
    assert names["hoop"].path.at_height(450)[0].point == pytest.approx(bar.path.start)
    assert names["lower"].length < names["hoop"].length
