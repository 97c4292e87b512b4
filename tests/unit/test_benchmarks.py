"""The benchmark's cages are sound, its table tells ratios, its ways run."""

from __future__ import annotations

import pickle
from pathlib import Path

import pytest

from cagekit.benchmarks.__main__ import Row, run, table
from cagekit.benchmarks.frames import frame
from cagekit.materials.tubes import Tube
from cagekit.solids.measure import record_volume
from cagekit.solids.tube import tube_record

TUBE = Tube(od=41.28, wall=3.4, material="any")


@pytest.mark.parametrize("count", [3, 10, 30, 47])
def test_frame_has_the_tubes_asked_for_and_each_can_be_written_down(count: int) -> None:
    cage = frame(count, TUBE)
    assert len(cage.members) == count
    for id_, member in cage.members.items():
        record = tube_record(id_, member.path, cage.cut(id_, "a"), cage.cut(id_, "b"))
        assert record.closure_errors() == []
        assert record_volume(record) == pytest.approx(cage.volume(id_), rel=1e-6)


def test_table_shows_ratios_and_failures() -> None:
    rows = [
        Row(name="one", tubes=27, cagekit=1.0, plain=6.0, floor=1.25, wrong="4"),
        Row(name="two", tubes=120, cagekit=2.0, plain=None, floor=1.0, wrong="out of memory"),
    ]
    lines = table(rows).splitlines()
    assert lines[2].split() == ["one", "27", "1.00", "6.00", "1.25", "6.00", "0.80", "4"]
    assert lines[3].split()[:7] == ["two", "120", "2.00", "-", "1.00", "-", "2.00"]
    assert lines[3].endswith("out of memory")


@pytest.mark.slow
@pytest.mark.kernel
def test_all_ways_run_on_a_small_frame(tmp_path: Path) -> None:
    cage = frame(4, TUBE)
    file = tmp_path / "cage"
    file.write_bytes(pickle.dumps((cage.name, tuple(cage.members.values()))))
    for way in ("finish", "floor", "plain", "cagekit"):
        spent, said = run(way, file, tmp_path)
        assert spent is not None, (way, said)
    assert run("volumes", file, tmp_path)[1] == "0"
