"""Which books judge a build: each once, and a file of one's own like any other."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from cagekit.checks import run
from cagekit.checks.books import book_names, rulebook_codes
from cagekit.checks.profile import GENERAL
from cagekit.checks.sheet import profile_rows
from cagekit.design import Design
from cagekit.inputs.presets import find_preset

DEMO = "track-roadster"


@pytest.fixture
def build_with(tmp_path: Path):
    """A function that gives the design of a small demo with other rules, in a folder of its own."""
    text = find_preset("build", DEMO).read_text()
    before = next(line for line in text.splitlines() if line.startswith("rules ="))

    def made(rules: list[str]) -> Design:
        file = tmp_path / "own.toml"
        listed = ", ".join(f'"{r}"' for r in rules)
        file.write_text(text.replace(before, f"rules = [{listed}]"))
        return Design.load(str(file))

    return made


def own_book(folder: Path, name: str) -> Path:
    """A published book copied to a file of one's own, with a name of its own."""
    text = find_preset("rules", "nasa-ccr").read_text()
    copy = folder / "club-rules-2026.toml"
    copy.write_text(text.replace('name = "nasa-ccr"', f'name = "{name}"'))
    return copy


def test_general_books_named_in_a_build_judge_once(build_with) -> None:
    plain = run(build_with(["common-practice"]))
    named = run(build_with(["common-practice", *GENERAL]))
    assert Counter(map(str, named)) == Counter(map(str, plain))


def test_a_book_named_by_name_and_by_path_judges_once(build_with) -> None:
    path = find_preset("rules", "nasa-ccr")
    by_name = run(build_with(["nasa-ccr"]))
    twice = run(build_with(["nasa-ccr", str(path)]))
    assert Counter(map(str, twice)) == Counter(map(str, by_name))


def test_a_rulebook_of_ones_own_stands_on_the_scrutineers_sheet(build_with, tmp_path: Path) -> None:
    own_book(tmp_path, "our-club")
    own = build_with(["common-practice", "club-rules-2026.toml"])
    published = build_with(["common-practice", "nasa-ccr"])
    assert book_names(own) == ("common-practice", "our-club")
    assert rulebook_codes(own) == ("common-practice", "our-club")

    def lines(design: Design, book: str) -> list[tuple[str, str, str]]:
        rows = [
            r
            for r in profile_rows(run(design), rulebook_codes(design))
            if r.code.startswith(f"{book}/")
        ]
        return [(r.code.removeprefix(f"{book}/"), r.subject, r.measured) for r in rows]

    assert lines(own, "our-club") == lines(published, "nasa-ccr") != []
