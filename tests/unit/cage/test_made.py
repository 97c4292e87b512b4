"""What is made of tubes is found again as long as what was read of them is the same."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import pytest

from cagekit.cage.kept import Kept
from cagekit.cage.made import MadeTubes
from cagekit.cage.member import End, Member
from cagekit.geometry.centre_line import CentreLine
from cagekit.materials.tubes import Tube

TUBE = Tube(od=38.0, wall=2.5, material="cds-bright")


def bar(id_: str, length: float = 500.0, **more: object) -> Member:
    path = CentreLine.straight((0.0, 0.0, 0.0), (length, 0.0, 0.0))
    return Member(id=id_, role=id_, tube=TUBE, path=path, **more)  # type: ignore[arg-type]


FIRST = (bar("a"), bar("b"), bar("c"))


def made_again(
    read: Callable[[MadeTubes], object],
    tubes: tuple[Member, ...],
    before: tuple[Member, ...] = FIRST,
) -> bool:
    """Whether what is read of these tubes has it made again after it was made of others."""
    kept, runs = Kept(), []
    for now in (before, tubes, before):
        row = MadeTubes(now)

        def make(row: MadeTubes = row) -> object:
            runs.append(row)
            return read(row)

        assert row.made_once(kept, "thing", make)[0] == read(MadeTubes(now))
    assert len(runs) <= 2, "what was made first is found again"
    return len(runs) == 2


LONGER = (bar("a"), bar("b", 510.0), bar("c"))
MORE = (*FIRST, bar("d"))
LESS = (bar("a"), bar("c"))


@pytest.mark.parametrize(
    ("read", "tubes", "again"),
    [
        (lambda t: t["a"].path.length, LONGER, False),
        (lambda t: t["b"].path.length, LONGER, True),
        (lambda t: t["b"].role, LONGER, False),
        (lambda t: t["b"].tube.od, LONGER, False),
        (lambda t: t["b"].ends[0][1].parents, LONGER, False),
        (lambda t: t["b"].ends[0][1].parents, (FIRST[0], bar("b", a=End.coped("c"))), True),
        (lambda t: t["b"].end("a").parents, LONGER, True),  # nobody knows what a method reads
        (lambda t: [m.role for m in t.values()], LONGER, False),
        (lambda t: [m.path.length for m in t.values()], LONGER, True),
        (lambda t: [m.role for m in t.values()], MORE, True),
        (lambda t: [m.role for m in t.values()], FIRST[::-1], True),
        (lambda t: t["b"].role, FIRST[::-1], False),
        (lambda t: t["a"].role, MORE, False),
        (lambda t: t["a"].role, LESS, False),
        (lambda t: "b" in t, LESS, True),
        (lambda t: "d" in t, LESS, False),
        (lambda t: t.get("d"), MORE[:3], False),
        (lambda t: t.get("d") is None, MORE, True),
        (lambda t: len(t), MORE, True),
        (lambda t: [w.kind for w in t.words], LONGER, False),
        (lambda t: [w.kind for w in t.words], (*FIRST[:2], bar("c", kind="strut")), True),
        (lambda t: [w.bar for w in t.words], FIRST[:2], True),
        (lambda t: t["a"].role, (*FIRST[:2], bar("c", kind="strut")), False),
        (lambda t: next(m.role for m in t.values() if m.id == "b"), LONGER, False),
        (lambda t: 7, MORE, False),
    ],
)
def test_it_is_made_again_when_what_it_read_has_changed(
    read: Callable[[MadeTubes], object], tubes: tuple[Member, ...], again: bool
) -> None:
    assert made_again(read, tubes) is again


def test_the_same_once_more_is_the_same() -> None:
    same = tuple(replace(m) for m in FIRST)
    assert not made_again(lambda t: [(m.path.length, m.end("b").kind) for m in t.values()], same)


def test_what_it_reads_may_hang_on_what_it_read() -> None:
    """By one tube's word another is read; each way has its own answers."""

    def read(tubes: MadeTubes) -> float:
        return tubes[tubes["a"].role].path.length

    kept = Kept()
    for of in "bcb":
        for length in (100.0, 200.0):
            row = MadeTubes((replace(bar("a"), role=of), bar("b", length), bar("c", length + 1)))
            assert row.made_once(kept, "thing", partial(read, row))[0] == read(row)


def test_what_it_adds_is_its_own() -> None:
    def read(tubes: MadeTubes) -> float:
        tubes.add(bar("own", 70.0))
        tubes.add(bar("b", 80.0))
        return tubes["own"].path.length + tubes["b"].path.length

    kept, rows = Kept(), [MadeTubes(t) for t in (FIRST, LONGER)]
    assert [row.made_once(kept, "thing", partial(read, row))[0] for row in rows] == [150.0] * 2
    assert [list(row) for row in rows] == [["a", "b", "c"]] * 2
    assert [row["b"].path.length for row in rows] == [500.0, 510.0]


def test_an_error_is_not_kept_and_leaves_the_tubes_as_they_were() -> None:
    kept, row = Kept(), MadeTubes(FIRST)

    def fail() -> float:
        row.add(bar("own"))
        raise ValueError(row["a"].id)

    for _ in range(2):
        with pytest.raises(ValueError, match="a"):
            row.made_once(kept, "thing", fail)
    assert list(row) == ["a", "b", "c"]
    assert row.made_once(kept, "thing", lambda: row["a"].path.length)[0] == 500.0
