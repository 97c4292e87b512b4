"""A cage with its bars whole or swung out is cut anew at those bars' own ends alone."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from cagekit.cage.cage import Cage
from cagekit.design import Design
from cagekit.geometry.cope import CopeError, EndCut, EndToCut, cut_ends
from cagekit.swing.opened import opened_cage


@pytest.fixture
def owners(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Owners of the ends that are cut from now on."""
    cut: list[str] = []

    def noted(ends: Sequence[EndToCut], **how: bool) -> list[EndCut | CopeError]:
        cut.extend(e.owner for e in ends)
        return cut_ends(ends, **how)

    monkeypatch.setattr("cagekit.cage.cage.cut_ends", noted)
    return cut


def ends_of(cage: Cage, ids: Sequence[str]) -> set[str]:
    return {f"{i} end {name}" for i in ids for name, _ in cage.member(i).ends}


def test_only_what_swings_or_was_divided_is_cut_again(owners: list[str]) -> None:
    design = Design.load("sprint-wagon")
    cage = design.cage
    cage.require_cuts()
    assert set(owners) == ends_of(cage, list(cage.members))
    bars = [d.bar for d in cage.doors]
    assert len(bars) == 2
    for share in (1.0, 0.5):
        owners.clear()
        opened_cage(cage, dict.fromkeys(bars, share)).require_cuts()
        assert set(owners) == ends_of(cage, bars)
    owners.clear()
    opened_cage(cage, {bars[0]: 1.0}).require_cuts()
    assert owners == [], "as it was before"
    opened_cage(cage, {bars[0]: 0.7}).require_cuts()
    assert set(owners) == ends_of(cage, bars[:1])
    owners.clear()
    fitted = design.fitted
    fitted.require_cuts()
    assert set(owners) == ends_of(fitted, [d.fitted.id for d in cage.doors])
