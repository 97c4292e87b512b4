"""Examples of the guide run, and what does not run stops the build."""

from __future__ import annotations

from pathlib import Path

import pytest

from cagekit.guide.examples import LINES, GuideError, with_results


def block(language: str, code: str) -> str:
    return f"Words before.\n\n```{language}\n{code}\n```\n\nWords after.\n"


def test_what_python_prints_stands_under_it(tmp_path: Path) -> None:
    text = block("python", "width = 3") + block("python", "print(width * 2)")
    made = with_results("page.md", text, tmp_path)
    assert "```python\nprint(width * 2)\n```\n\n```text\n6\n```\n" in made
    assert made.count("```text") == 1
    assert made.count("Words after.") == 2


def test_files_are_written_where_commands_run(tmp_path: Path) -> None:
    tube = '# my.toml\nkind = "tube"\nname = "my"\nod = 40\nwall = 2\nmaterial = "1020-dom"\n'
    text = block("toml", tube + 'source = "mill"') + block("sh", "cagekit show my.toml")
    made = with_results("page.md", text, tmp_path)
    assert 'source = "mill"' in (tmp_path / "my.toml").read_text("utf-8")
    assert "# source: mill" in made


def test_long_answers_are_cut(tmp_path: Path) -> None:
    made = with_results("page.md", block("python", "print('x\\n' * 99)"), tmp_path)
    assert made.count("\nx") == LINES
    assert "\n...\n```" in made


@pytest.mark.parametrize(
    ("language", "code", "words"),
    [
        ("python", "print(1)\n1 / 0", r"page\.md:4.*ZeroDivisionError"),
        ("sh", "cagekit show nobody", r"page\.md:4.*nobody.*ends with 2"),
        ("sh", "rm -r outputs", r"page\.md:4.*no command of cagekit"),
    ],
)
def test_an_example_that_fails_is_told(
    language: str, code: str, words: str, tmp_path: Path
) -> None:
    with pytest.raises(GuideError, match=f"(?s){words}"):
        with_results("page.md", block(language, code), tmp_path)


def test_what_is_only_shown_is_not_run(tmp_path: Path) -> None:
    text = block("console", "rm -r outputs") + block("toml", 'kind = "tube"')
    assert with_results("page.md", text, tmp_path) == text
    assert list(tmp_path.iterdir()) == []
