"""What must not be imported before it is needed, and who may import whom."""

from __future__ import annotations

import importlib.util
import json
import pkgutil
import subprocess
import sys
from pathlib import Path

import pytest

import cagekit

ROOT = Path(__file__).parents[2]
KERNEL = ("cadquery", "OCP")
SLOW = (*KERNEL, "PIL", "aiohttp", "ezdxf", "matplotlib", "rich", "scipy", "typst", "vtkmodules")
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
    """Run ``code`` in a fresh interpreter and return the top-level names it has loaded."""
    tail = "\nimport json, sys\nprint(json.dumps(sorted(sys.modules)), file=sys.stderr)\n"
    run = subprocess.run(
        [sys.executable, "-c", code + tail, *arguments],
        capture_output=True,
        text=True,
        cwd=ROOT,
        timeout=120,
    )
    assert run.returncode == 0, run.stderr
    return {name.partition(".")[0] for name in json.loads(run.stderr.splitlines()[-1])}


def test_no_module_loads_a_slow_library_when_imported() -> None:
    names = modules()
    assert "cagekit.units" in names
    assert "cagekit.cage.member" in names
    loaded = loaded_after(f"import importlib\nfor n in {names!r}: importlib.import_module(n)")
    assert not loaded & set(SLOW)


def command(*arguments: str) -> set[str]:
    """Run one cagekit command line and return the top-level names it has loaded."""
    code = (
        "import sys\nfrom cagekit.cli.main import main\nsys.argv[0] = 'cagekit'\n"
        "try:\n    code = main()\nexcept SystemExit as stop:\n    code = stop.code\n"
        "assert code in (0, 1, None), code"
    )
    return loaded_after(code, *arguments)


@pytest.mark.skipif(not HAS_CLI, reason="the command line is not built")
@pytest.mark.parametrize("line", [["--help"], ["--version"]], ids=" ".join)
def test_help_answers_without_anything_slow(line: list[str]) -> None:
    assert not command(*line) & {*SLOW, "numpy", "pydantic"}


@pytest.mark.skipif(not HAS_CLI, reason="the command line is not built")
@pytest.mark.parametrize("line", [["presets"], ["check", "sprint-wagon"]], ids=" ".join)
def test_no_kernel_until_a_solid_is_made(line: list[str]) -> None:
    assert not command(*line) & set(KERNEL)


def test_layers() -> None:
    run = subprocess.run(
        [
            sys.executable,
            "-c",
            "from importlinter.cli import lint_imports_command; lint_imports_command()",
            "--no-cache",
        ],
        capture_output=True,
        text=True,
        cwd=ROOT,
        timeout=120,
    )
    assert run.returncode == 0, run.stdout + run.stderr
