"""The files around the package say what the package does."""

from __future__ import annotations

import tomllib
from pathlib import Path

import cagekit

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
TOP = {
    ".ci",
    ".gitignore",
    "CHANGELOG.md",
    "DEVELOPERS.md",
    "LICENSE",
    "README.md",
    "cagekit",
    "outputs",
    "presets",
    "pyproject.toml",
    "tests",
}


def test_top_level_holds_what_it_should() -> None:
    missing = [name for name in TOP if not (ROOT / name).exists()]
    assert not missing


def test_presets_and_tables_are_shipped() -> None:
    wheel = PROJECT["tool"]["hatch"]["build"]["targets"]["wheel"]
    assert wheel["force-include"]["presets"] == "cagekit/presets"
    assert (ROOT / "cagekit" / "py.typed").exists()


def test_version_is_told_in_one_place_and_in_the_changelog() -> None:
    assert PROJECT["project"]["dynamic"] == ["version"]
    assert cagekit.__version__ in (ROOT / "CHANGELOG.md").read_text("utf-8")


def test_readme_names_the_two_commands_and_the_cautions() -> None:
    text = (ROOT / "README.md").read_text("utf-8")
    assert "cagekit make sprint-wagon" in text
    assert "python -m pytest" in text
    for word in ("scrutineer", "rulebook", "licensed", "local code", "helmet"):
        assert word in text, word


def test_every_folder_of_unit_tests_is_a_room() -> None:
    unit = ROOT / "tests" / "unit"
    folders = [p.relative_to(unit) for p in unit.rglob("*") if p.is_dir() and any(p.glob("*.py"))]
    assert [f for f in folders if not (ROOT / "cagekit" / f / "__init__.py").exists()] == []
