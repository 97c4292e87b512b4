"""The benchmark's cages are sound, its table tells ratios, its ways run."""

from __future__ import annotations

import pickle
from pathlib import Path

import pytest

from cagekit.benchmarks.__main__ import Spent, TimedCage, run, table
from cagekit.benchmarks.frames import frame
from cagekit.geometry.contact import TorusPiece
from cagekit.materials.tubes import Tube
from cagekit.solids.measure import measure
from cagekit.solids.tube import tube_record

TUBE = Tube(od=41.28, wall=3.4, material="any")


@pytest.mark.parametrize("count", [3, 10, 30, 47])
def test_frame_has_the_tubes_asked_for_and_each_can_be_written_down(count: int) -> None:
    cage = frame(count, TUBE)
    assert len(cage.members) == count
    for id_, member in cage.members.items():
        record = tube_record(id_, member.path, cage.cut(id_, "a"), cage.cut(id_, "b"))
        assert record.closure_errors() == []
        assert measure(record).volume == pytest.approx(cage.volume(id_), rel=1e-6)


def test_frame_has_what_real_cages_have() -> None:
    """A bend as parent, a node on two parents, plates."""
    cage = frame(30, TUBE)
    ends = [cage.cut(i, e) for i in cage.members for e in ("a", "b")]  # type: ignore[arg-type]
    assert sum(isinstance(c.surfaces[0], TorusPiece) for c in ends) >= 4
    assert sum(len({s.owner for s in c.surfaces[: c.count]}) == 2 for c in ends) >= 4
    assert len(cage.plates) >= 4


def test_table_shows_ratios_and_failures() -> None:
    one = TimedCage(
        name="one", tubes=27, cagekit=Spent(1.0, 2.0), checked=Spent(2.0, 4.0),
        plain=Spent(6.0, 6.0), floor=Spent(1.25, 1.0), wrong="4",
    )  # fmt: skip
    two = TimedCage(
        name="two", tubes=120, cagekit=Spent(2.0, 2.0), checked=Spent(3.0, 3.0), plain=None,
        floor=Spent(1.0, 1.0), wrong="out of memory",
    )  # fmt: skip
    lines = table([one, two]).splitlines()
    assert lines[2].split() == [
        "one", "27", "1.00", "2.00", "6.00", "1.25", "6.00", "(3.00)", "3.00", "(1.50)", "1.60",
        "(4.00)", "4",
    ]  # fmt: skip
    assert lines[3].split()[:8] == ["two", "120", "2.00", "3.00", "-", "1.00", "-", "-"]
    assert lines[3].endswith("out of memory")


@pytest.mark.study
@pytest.mark.slow
@pytest.mark.kernel
def test_all_ways_run_on_a_small_frame(tmp_path: Path) -> None:
    cage = frame(7, TUBE)
    assert cage.plates
    file = tmp_path / "cage"
    file.write_bytes(pickle.dumps((cage.name, tuple(cage.members.values()), cage.plates)))
    for way in ("finish", "floor", "plain", "cagekit", "checked"):
        spent, said = run(way, file, tmp_path)
        assert spent is not None, (way, said)
        named = {p.stem for p in tmp_path.rglob("*.step")}
        assert way == "finish" or named == {"cage", *cage.members, *(p.id for p in cage.plates)}
    assert run("volumes", file, tmp_path)[1] == "0"
