"""What must not be imported before it is needed, and who may import whom."""

from __future__ import annotations

import importlib.util
import json
import pkgutil
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import cagekit
from cagekit.cli.verbs import VERBS

ROOT = Path(__file__).parents[2]
KERNEL = ("cadquery", "OCP")
SLOW = (*KERNEL, "PIL", "aiohttp", "ezdxf", "matplotlib", "scipy", "typst", "vtkmodules")
DOORS = ("cagekit.solids", "cagekit.plugin")
"""The only rooms that may import the kernel when they are imported."""

HAS_CLI = importlib.util.find_spec("cagekit.cli") is not None


def modules() -> list[str]:
    """Return the name of every module of the package, but those behind the kernel's door."""
    found = pkgutil.walk_packages(cagekit.__path__, "cagekit.", onerror=lambda name: None)
    return [
        one.name
        for one in found
        if not one.name.startswith(DOORS) and not one.name.endswith("__main__")
    ]


def loaded_after(code: str, *arguments: str) -> set[str]:
    """Run ``code`` in a fresh interpreter; the top-level names it has loaded, and our modules."""
    # of a package that is not loaded there may be a stand-in for one of its modules, and no more
    tail = (
        "\nimport json, sys\nnames = [n for n in sys.modules if n.partition('.')[0] in sys.modules]"
        "\nprint(json.dumps(sorted(names)), file=sys.stderr)\n"
    )
    run = subprocess.run(
        [sys.executable, "-c", code + tail, *arguments],
        capture_output=True,
        text=True,
        cwd=ROOT,
        timeout=120,
    )
    assert run.returncode == 0, run.stderr
    names = json.loads(run.stderr.splitlines()[-1])
    return {n if n.startswith("cagekit.") else n.partition(".")[0] for n in names}


def test_no_module_loads_a_slow_library_when_imported() -> None:
    names = modules()
    assert "cagekit.units" in names
    assert "cagekit.cage.member" in names
    loaded = loaded_after(f"import importlib\nfor n in {names!r}: importlib.import_module(n)")
    assert not loaded & set(SLOW)


def command(*arguments: str) -> set[str]:
    """Run one cagekit command line and return what it has loaded, as ``loaded_after`` does."""
    code = (
        "import sys\nfrom cagekit.cli.main import start\nsys.argv[0] = 'cagekit'\n"
        "try:\n    code = start()\nexcept SystemExit as stop:\n    code = stop.code\n"
        "assert code in (0, 1, None), code"
    )
    return loaded_after(code, *arguments)


@pytest.mark.skipif(not HAS_CLI, reason="the command line is not built")
@pytest.mark.parametrize(
    "line",
    [["--help"], ["--version"], ["part"], *([verb.name, "--help"] for verb in VERBS)],
    ids=" ".join,
)
def test_help_answers_without_anything_slow(line: list[str]) -> None:
    assert not command(*line) & {*SLOW, "numpy", "pydantic"}


@pytest.mark.skipif(not HAS_CLI, reason="the command line is not built")
def test_the_verbs_are_listed_at_once() -> None:
    """A third of the time that `--help` took went into loading what it has no use for."""
    more = command("--help") - loaded_after("import json")
    assert not more & {"dataclasses", "inspect", "pathlib", "threading", "traceback"}


@pytest.mark.skipif(not HAS_CLI, reason="the command line is not built")
@pytest.mark.parametrize("line", [["presets"], ["check", "sprint-wagon"]], ids=" ".join)
def test_no_kernel_until_a_solid_is_made(line: list[str]) -> None:
    assert not command(*line) & set(KERNEL)


@pytest.mark.skipif(not HAS_CLI, reason="the command line is not built")
@pytest.mark.parametrize(
    "line",
    [["presets"], ["presets", "builds"], ["show", "gravel-hatch"], ["show", "steels"]],
    ids=" ".join,
)
def test_files_are_listed_and_shown_without_their_models(line: list[str]) -> None:
    assert not command(*line) & {*SLOW, "numpy", "pydantic"}


SELDOM = (
    "cagekit.cage.bolted",
    "cagekit.cage.door",
    "cagekit.car.panel",
    "cagekit.cli.make",
    "cagekit.face.pieces",
    "cagekit.geometry.drill",
    "cagekit.inputs.bolted",
    "cagekit.inputs.swing_bracket",
    "cagekit.inputs.written",
    "cagekit.materials.fasteners",
    "cagekit.materials.pins",
    "cagekit.plates.face_bolts",
    "cagekit.plates.saddle",
    "cagekit.plates.tab",
    "cagekit.shop.nesting.nest",
    "cagekit.shop.papers.holes",
    "cagekit.shop.sawing.columns",
    "cagekit.shop.sawing.plan",
    "cagekit.shop.welding",
    "cagekit.structure",
    "cagekit.swing",
    "cagekit.view",
    "cagekit.writers",
    "cagekit.parts",
    "cagekit.live",
    "cagekit.make.run",
)
"""What a check of a cage that can be made has no use for, when nothing of it swings out or is
bolted, its feet are welded, the car has no panels and it has neither tabs nor folded gussets."""


@pytest.mark.skipif(not HAS_CLI, reason="the command line is not built")
def test_a_check_loads_only_what_the_cage_has() -> None:
    loaded = command("check", "gravel-hatch")
    assert "cagekit.checks.quantities.swing_out" in loaded
    assert [n for n in sorted(loaded) if f"{n}.".startswith(tuple(f"{s}." for s in SELDOM))] == []
    assert set(SELDOM) <= {".".join(n.split(".")[:k]) for n in modules() for k in (2, 3, 4)}


@pytest.mark.parametrize(
    ("code", "banned"),
    [
        ("import cagekit; cagekit.__version__; dir(cagekit)", {*SLOW, "numpy", "pydantic"}),
        ("import cagekit; cagekit.kinds()", set(SLOW)),
        ("import cagekit; cagekit.load('track-roadster').cage", set(SLOW)),
        ("import cagekit; cagekit.strut(length=400).bends()", set(SLOW)),
        ("import cagekit; cagekit.Finding, cagekit.CageDesign", set(SLOW)),
    ],
)
def test_the_face_loads_what_is_asked_for_only(code: str, banned: set[str]) -> None:
    assert not loaded_after(code) & banned


def test_step_files_of_a_cage_need_no_models() -> None:
    """What makes a STEP file starts from numbers: files that people write are read elsewhere."""
    assert not loaded_after("import cagekit.writers.step") & {*SLOW, "pydantic"}


def test_the_kernels_own_process_needs_no_arrays() -> None:
    """What it is told is plain numbers, so that it starts the sooner."""
    code = "import cagekit.solids.worker, cagekit.solids.kernel_step"
    assert not loaded_after(code) & {*SLOW, "numpy", "pydantic"}


def lint_imports(root: Path) -> subprocess.CompletedProcess[str]:
    """Hold the imports of the package below ``root`` against the contracts beside it."""
    call = "from importlinter.cli import lint_imports_command; lint_imports_command()"
    return subprocess.run(
        [sys.executable, "-P", "-c", f"import sys; sys.path.insert(0, '.'); {call}", "--no-cache"],
        capture_output=True,
        text=True,
        cwd=root,
        timeout=120,
    )


def test_layers() -> None:
    run = lint_imports(ROOT)
    assert run.returncode == 0, run.stdout + run.stderr


FORBIDDEN = {
    "upward inside a function": (
        "swing/motion.py", "def late() -> None:\n    import cagekit.writers.dxf\n",
    ),
    "upward for a type": (
        "geometry/cope.py",
        "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    import cagekit.cage.cage\n",
    ),
    "sideways": ("members/strut.py", "import cagekit.swing.motion\n"),
    "the kernel outside its door": ("shop/bending/rows.py", "def f():\n    import cadquery\n"),
    "a room nobody placed": ("attic/__init__.py", "import cagekit.errors\n"),
}  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("case", FORBIDDEN)
def test_a_forbidden_import_breaks_the_contract(case: str, tmp_path: Path) -> None:
    shutil.copytree(ROOT / "cagekit", tmp_path / "cagekit", ignore=shutil.ignore_patterns("*.pyc"))
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    name, text = FORBIDDEN[case]
    target = tmp_path / "cagekit" / name
    target.parent.mkdir(exist_ok=True)
    with target.open("a", encoding="utf-8") as file:
        file.write(f"\n{text}")
    run = lint_imports(tmp_path)
    assert run.returncode != 0, run.stdout


def test_nobody_inside_goes_through_the_face() -> None:
    users = [
        path
        for path in (ROOT / "cagekit").rglob("*.py")
        if re.search(r"^\s*(from cagekit import|import cagekit$)", path.read_text("utf-8"), re.M)
    ]
    assert users == []
