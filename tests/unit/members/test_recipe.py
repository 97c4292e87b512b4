"""The guide's recipe for a new kind of member, followed by its words: one row, and nothing else."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]
ROW = """
[tail_bar]
about = "bar across the ends of the rear braces"
from = { tube = "rear_brace", side = "left", at = "foot", move = "up", by = "rise" }
to = { tube = "rear_brace", side = "right", at = "foot", move = "up", by = "rise" }
family = "cross bars"
source = "from memory"

[tail_bar.fields.rise]
default = 80
least = 0
about = "nodes up the braces"

[tail_bar.part]
length = 900

[tail_bar.steps]
title = "Tail bar"
fit = "Fit it between the braces."
"""


@pytest.fixture(scope="module")
def tree(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The project with a throw-away kind."""
    tree = tmp_path_factory.mktemp("recipe")
    for name in ("cagekit", "presets"):
        skip = shutil.ignore_patterns("__pycache__")
        shutil.copytree(ROOT / name, tree / name, ignore=skip)
    with (tree / "cagekit" / "data" / "members.toml").open("a", encoding="utf-8") as file:
        file.write(ROW)
    return tree


def run(tree: Path, *words: str) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "cagekit", *words],
        env={**os.environ, "PYTHONPATH": str(tree)}, cwd=tree,
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode in (0, 1), done.stderr
    return done.stdout


@pytest.mark.slow
def test_a_row_makes_a_part(tree: Path) -> None:
    assert "bar across the ends of the rear braces" in run(tree, "part")
    assert "cut length 900.0 mm" in run(tree, "part", "tail_bar", "--only", "bends")


@pytest.mark.slow
def test_a_row_makes_a_member_of_a_cage(tree: Path) -> None:
    build = tree / "presets" / "builds" / "track-roadster.toml"
    entry = '\n[[add]]\nkind = "tail_bar"\nrise = 90\n'
    build.write_text(build.read_text("utf-8") + entry, "utf-8")
    run(tree, "make", str(build), "--only", "json,order", "--out", "out", "--accept-findings")
    assert '"id": "tail_bar"' in (tree / "out" / "cage.json").read_text("utf-8")
    assert "Fit it between the braces." in (tree / "out" / "order.csv").read_text("utf-8")
