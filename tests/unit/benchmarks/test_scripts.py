"""The benchmark of scripts: its tables tell ratios, its two ways make the same solid."""

from __future__ import annotations

import pytest

from cagekit.benchmarks.scripts import (
    TimedPart,
    import_seconds,
    imports_table,
    least,
    parts_table,
    timed_part,
)


def test_tables_tell_what_is_beyond_and_how_many_times() -> None:
    lines = imports_table({"one": 0.0123, "two": 0.2}).splitlines()
    assert [line.split() for line in lines[1:]] == [["one", "12.3", "ms"], ["two", "200.0", "ms"]]
    one = TimedPart(
        kind="one", ours=0.1, hand=0.4, volume=1001.0, hand_volume=990.0, integral=1000.0
    )
    row = parts_table([one]).splitlines()[2]
    assert row.split() == ["one", "0.100", "0.400", "4.0", "1.0e-03", "-1.0e-02"]


def test_the_package_itself_costs_next_to_nothing() -> None:
    """Under 20 ms beyond numpy: what it gives is imported when it is asked for."""
    assert import_seconds("import cagekit", 5) < 0.02


def test_the_least_counts() -> None:
    loops = iter((300_000, 10, 200_000))
    assert least(lambda: sum(range(next(loops))), 3) < 1e-3


@pytest.mark.kernel
def test_by_hand_the_same_solid_comes_out() -> None:
    row = timed_part("strut", 1)
    assert row.volume == pytest.approx(row.integral, rel=1e-6)
    assert row.hand_volume == pytest.approx(row.integral, rel=1e-5)
