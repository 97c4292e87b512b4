"""Slips of the pen in TOML are told with what would do, whatever the reader of TOML calls them."""

from __future__ import annotations

from pathlib import Path

import pytest

from cagekit.inputs.messages import FileInputError
from cagekit.inputs.presets import read_toml

SLIPS = [
    ("x = 830,5", "Write a decimal point, not a comma."),
    ("x = 1 5/8 in", "stands in quotes"),
    ("x = 41.3 mm", "stands in quotes"),
    ("x = 1/2", "stands in quotes"),
    ("x = 5'", "stands in quotes"),
    ("x = .5", "a digit before and after the point"),
    ("x = 5.", "a digit before and after the point"),
    ("x = 05", "no zeros before it"),
    ("x = ?", "write the number in place of the ?"),
    ("x = True", "true or false, in small letters"),
    ("x = steel", "A text stands in quotes"),
    ("x = \u201csteel\u201d", "Use straight quotes"),
    ("x: 5", "Write = after the name"),
    ("h\u00f6he = 5", "letters a to z"),
    ("x = [1 2]", "parted by commas"),
    ("x = [1; 2]", "parted by commas"),
    ("[t]\n[t]", "the table 't' stands above already. Write all of it in one place"),
    ("[[t]]\n[t]", "a further entry of a list begins with [[t]]"),
    ("[t]\n[[t]]", "What is [t] above cannot be a list here."),
    ("[t", "has no ] at its end"),
    ("x = 1\nx = 2", "this stands in its table twice. It reads: x = 2"),
    ("x = ~5", "invalid value. It reads: x = ~5"),
]


@pytest.mark.parametrize(("slip", "told"), SLIPS, ids=[s[0] for s in SLIPS])
def test_a_slip_is_told_with_its_cure(slip: str, told: str, tmp_path: Path) -> None:
    file = tmp_path / "slip.toml"
    file.write_text(f'kind = "car"\n{slip}\n', "utf-8")
    with pytest.raises(FileInputError) as caught:
        read_toml(file)
    assert told in str(caught.value)
    assert f"slip.toml:{2 + slip.count(chr(10))}: is not valid TOML: " in str(caught.value)


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-be"])
def test_a_text_in_utf_16_is_told_as_that(encoding: str, tmp_path: Path) -> None:
    file = tmp_path / "slip.toml"
    bom = "\ufeff" if encoding.endswith("be") else ""
    file.write_bytes(f'{bom}kind = "car"\n'.encode(encoding))
    with pytest.raises(FileInputError, match=r"is a text in UTF-16\. Save it as UTF-8"):
        read_toml(file)
