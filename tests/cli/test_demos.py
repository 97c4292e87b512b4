"""The four demo builds from the command line to their files."""

from __future__ import annotations

import hashlib
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from demos import make_by_command

from cagekit.cli.main import run
from cagekit.inputs.presets import list_presets
from cagekit.make.products import PRODUCTS

ROOT = Path(__file__).parents[2]
BUILDS = [p.name for p in list_presets("build")]
QUICK = "json,checks,glb,png"
QUICK_BUILDS = ("track-roadster",)
"""Made twice on every run; the others take longer and differ in size alone."""
Made = Callable[[str], Path]


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    return tmp_path


def shas(folder: Path) -> dict[str, str]:
    return {
        p.relative_to(folder).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in sorted(folder.rglob("*"))
        if p.is_file()
    }


def test_chosen_products_alone_are_made(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["make", "track-roadster", "--only", QUICK, "--json"]) == 0
    shown = capsys.readouterr()
    told = json.loads(shown.out)
    assert told["files"] == ["cage.glb", "cage.json", "cage.png", "checks.json"]
    assert "scrutineer" in shown.err
    assert set(shas(folder / "outputs/track-roadster")) == {*told["files"], "manifest.json"}


@pytest.mark.slow
@pytest.mark.kernel
@pytest.mark.parametrize("build", BUILDS)
def test_data_and_picture_of_each(build: str, made: Made) -> None:
    target = made(build)
    files = {"cage.glb", "cage.json", "cage.png", "checks.json", "manifest.json"}
    assert files <= set(shas(target))
    content = json.loads((target / "cage.json").read_text())
    assert content["name"] == build
    assert len(content["members"]) >= 5
    for row in json.loads((target / "checks.json").read_text()):
        assert row["status"] in {
            "pass", "fail", "warn", "needs_input", "needs_inspection", "not_applicable",
        }  # fmt: skip


@pytest.mark.parametrize("build", BUILDS)
def test_checks_of_each_in_both_units(build: str, capsys: pytest.CaptureFixture[str]) -> None:
    codes, tables = [], []
    for units in ("mm", "in"):
        codes.append(run(["check", build, "--all", "--units", units]))
        tables.append(capsys.readouterr())
    assert codes[0] == codes[1]
    assert codes[0] in (0, 1)
    assert " mm" in tables[0].out
    assert " in" in tables[1].out
    assert "scrutineer" in tables[0].err


def test_a_copy_of_a_demo_makes_the_same_cage(folder: Path) -> None:
    assert run(["make", "track-roadster", "--only", "json"]) == 0
    assert run(["new", "track-copy", "--from", "track-roadster"]) == 0
    assert run(["make", "track-copy.toml", "--only", "json", "--out", "copy"]) == 0
    one = (folder / "outputs/track-roadster/cage.json").read_text()
    two = (folder / "copy/cage.json").read_text()
    assert one.replace('"track-roadster"', '"track-copy"') == two


def test_quick_verbs_do_without_the_kernel() -> None:
    """Check, and the products that are no solids, import neither CadQuery nor its kernel.

    Check loads nothing of the strength either, which is judged when it is named, and no model of
    a file is made whole before a file is read.
    """
    idle = ("cadquery", "OCP", "ezdxf", "scipy", "PIL", "cagekit.structure", "numpy.ma", "html")
    code = (
        "import sys; from cagekit.cli.main import run\n"
        "import cagekit.inputs.build; from cagekit.inputs.fields import FileModel\n"
        "assert not [m for m in FileModel.__subclasses__() if m.__pydantic_complete__]\n"
        "assert run(['check', 'gravel-hatch']) in (0, 1)\n"
        f"checked = [m for m in {idle} if m in sys.modules]\n"
        f"assert run(['make', 'gravel-hatch', '--only', '{QUICK}']) == 0\n"
        "made = [m for m in ('cadquery', 'OCP') if m in sys.modules]\n"
        "print(checked, made, file=sys.stderr)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stderr.splitlines()[-1] == "[] []"


@pytest.mark.slow
@pytest.mark.kernel
@pytest.mark.parametrize(
    "build",
    [b if b in QUICK_BUILDS else pytest.param(b, marks=pytest.mark.study) for b in BUILDS],
)
def test_everything_twice_is_the_same_bytes(build: str, folder: Path, made: Made) -> None:
    """Two commands, so that no order of memory or hashing can hide; one makes it side by side."""
    make_by_command(build, folder / "two", seed=2, jobs=1)
    one, two = shas(made(build)), shas(folder / "two")
    assert one == two
    listed = json.loads((folder / "two/manifest.json").read_text())["files"]
    assert {row["path"] for row in listed} == set(one) - {"manifest.json"}
    assert {row["product"] for row in listed} <= {p.name for p in PRODUCTS}


def test_a_run_that_fails_leaves_the_last_one(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["new", "mine", "--from", "track-roadster"]) == 0
    assert run(["make", "mine.toml", "--only", "json"]) == 0
    (folder / "outputs/mine/notes.txt").write_text("measured again on the car")
    before = shas(folder / "outputs")
    text = (folder / "mine.toml").read_text()
    (folder / "mine.toml").write_text(
        text + "\n[[strut]]\nid = 'x'\nfrom = 'on nothing'\nto = 'at 1,1,1'\n"
    )
    capsys.readouterr()
    assert run(["make", "mine.toml", "--only", "json,glb"]) in (2, 3)
    shown = capsys.readouterr()
    assert shown.out == ""
    assert "[strut entry 1] from" in shown.err
    assert "Traceback" not in shown.err
    assert shas(folder / "outputs") == before
    (folder / "mine.toml").write_text(text)
    assert run(["make", "mine.toml", "--only", "json,glb"]) == 0
    after = shas(folder / "outputs")
    assert {**after, **before}.keys() == after.keys()
    assert after["mine/cage.json"] == before["mine/cage.json"]
    assert after["mine/notes.txt"] == before["mine/notes.txt"]


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_run_that_is_stopped_leaves_nothing(folder: Path, number: signal.Signals) -> None:
    process = subprocess.Popen(
        [sys.executable, "-m", "cagekit", "make", "track-roadster"],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )  # fmt: skip
    with process:
        deadline = time.monotonic() + 120
        while not (folder / "outputs/.track-roadster.cagekit-new").exists():
            assert time.monotonic() < deadline
            assert process.poll() is None
            time.sleep(0.01)
        process.send_signal(number)
        _, said = process.communicate(timeout=120)
    assert process.returncode == 128 + number
    assert "Traceback" not in said
    assert list(folder.iterdir()) == []


@pytest.mark.slow
@pytest.mark.kernel
@pytest.mark.parametrize("kind", ["main_hoop", "halo", "half_hoop", "rear_brace", "strut"])
def test_a_part_has_its_solid_schedule_and_templates(kind: str, folder: Path) -> None:
    assert run(["part", kind]) == 0
    target = folder / f"outputs/part-{kind}"
    made = set(shas(target))
    wanted = {"cage.step", f"members/{kind}.step", "cage.json", "cage.glb", "cage.png", "bends.csv"}
    assert made >= wanted
    content = json.loads((target / "cage.json").read_text())
    assert [m["id"] for m in content["members"]] == [kind]
