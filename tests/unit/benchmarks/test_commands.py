"""The tables of the commands' benchmark tell ratios and shares."""

from __future__ import annotations

import pytest

from cagekit.benchmarks.commands import checks_table, products_table


def test_tables_tell_ratios_and_shares() -> None:
    lines = checks_table({"start": 0.1, "numpy": 0.2, "loop": 0.4, "one": 0.6}).splitlines()
    assert lines[2].split() == ["one", "0.60", "0.50", "3.0", "1.50"]
    rows = products_table("one", {"json": 0.5, "png": 1.5}).splitlines()
    assert [r.split() for r in rows[1:]] == [["png", "1.50", "75%"], ["json", "0.50", "25%"]]
    assert rows[0].endswith("2.00 s CPU")


@pytest.mark.parametrize("name", ["start", "numpy", "loop"])
def test_what_is_compared_with_is_no_row(name: str) -> None:
    table = checks_table({"start": 0.1, "numpy": 0.2, "loop": 0.4})
    assert not any(line.split()[0] == name for line in table.splitlines()[2:-1])
