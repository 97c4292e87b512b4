"""The files around the package say what the package does."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

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


def test_tests_side_by_side_know_their_group(request: pytest.FixtureRequest) -> None:
    """They are dealt out by what follows `@` in their ids; without it each for itself, unseen."""
    grouped = getattr(request.config.option, "loadgroup", False)
    assert request.node.nodeid.endswith("@tests/contract/test_project_files.py") == grouped


GUIDE = (ROOT / "DEVELOPERS.md").read_text("utf-8")


def test_files_that_the_guide_names_are_there() -> None:
    named = set(re.findall(r"`([\w./-]+\.(?:py|toml|csv|json|typ))`", GUIDE))
    named |= set(re.findall(r"`((?:cagekit|presets|tests)/[\w/]*)`", GUIDE))
    assert len(named) > 20
    places = (ROOT, ROOT / "cagekit", ROOT / "cagekit" / "data", ROOT / "cagekit" / "checks")
    places += (ROOT / "cagekit" / "checks" / "quantities", ROOT / "cagekit" / "plates")
    places += (ROOT / "cagekit" / "members",)
    lost = {n for n in named if not any((p / n).exists() for p in places)}
    assert lost == set()


def test_what_the_guide_finds_in_a_file_is_there() -> None:
    pairs = re.findall(r"`(\w+)`\s+(?:in|of)\s+`([\w/]+\.py)`", GUIDE)
    assert len(pairs) > 3
    for name, file in pairs:
        found = [p for p in ROOT.glob(f"cagekit/**/{Path(file).name}") if str(p).endswith(file)]
        assert any(re.search(rf"\b{name}\b", p.read_text("utf-8")) for p in found), (name, file)


def test_the_guides_table_of_rooms_stands_in_the_order_of_the_layers() -> None:
    config = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    (layers,) = (
        c["layers"] for c in config["tool"]["importlinter"]["contracts"] if c["id"] == "layers"
    )
    level = {room: i for i, row in enumerate(reversed(layers)) for room in row.split(" | ")}
    table = GUIDE.partition("| Room |")[2].partition("\n\n")[0]
    first = [row.split("|")[1] for row in table.splitlines() if row.startswith("| `")]
    told = [n.removesuffix(".py") for cell in first for n in re.findall(r"`([\w.]+)`", cell)]
    assert set(level) - set(told) == {"__main__", "version"}
    order = [level[room] for room in told]
    assert order == sorted(order), [told[i] for i in range(1, len(told)) if order[i] < order[i - 1]]
