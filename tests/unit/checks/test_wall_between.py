"""A short tube between two others: what its copes leave of it, told before a solid is tried."""

from __future__ import annotations

import numpy as np
import pytest

from cagekit.cage.cage import Cage
from cagekit.cage.member import End, EndKind, Member
from cagekit.checks import Status, run
from cagekit.design import Design
from cagekit.geometry.centre_line import CentreLine
from cagekit.materials.tubes import Tube

TUBE = Tube(od=40, wall=2, material="e235-n")


def rung(apart: float, tilt: float = 0.0) -> Cage:
    """Two posts and a rung between them, ``tilt`` mm higher at one end."""
    ends = {"left": apart, "right": 0.0}
    posts = [
        Member(id=n, role="post", tube=TUBE, path=CentreLine.straight((0, y, -300), (0, y, 300)))
        for n, y in ends.items()
    ]
    path = CentreLine.straight((0, 0, 0), (0, apart, tilt))
    a, b = (End(kind=EndKind.COPE, parents=(n,)) for n in ("right", "left"))
    return Cage("c", [*posts, Member(id="rung", role="rung", tube=TUBE, path=path, a=a, b=b)])


@pytest.mark.parametrize("apart", [60.0, 46.0, 41.0, 38.0])
def test_what_equal_posts_leave_of_a_rung(apart: float) -> None:
    """The posts' crowns are nearest: apart less two radii is left on the line towards them."""
    found = run(Design(cage=rung(apart)), ["geometry"])
    (told,) = [f for f in found if f.code == "geometry/wall-between"]
    assert told.subject == "rung"
    assert told.measured == pytest.approx(apart - 40, abs=0.05)
    assert told.status is (Status.PASS if apart > 40 else Status.FAIL)


def test_a_tilted_rung_is_cut_on_one_line_of_the_tube() -> None:
    """Both ends count the lines round the tube from their own mark; the toes lie opposite."""
    tilt, apart = 30.0, 52.0
    (told,) = [
        f for f in run(Design(cage=rung(apart, tilt)), ["geometry"])
        if f.code == "geometry/wall-between"
    ]  # fmt: skip
    slope = np.arctan2(tilt, apart)
    # the crown of either post is met at one radius over the cosine, wherever round the tube
    assert told.measured == pytest.approx((apart - 40) / np.cos(slope), abs=0.3)


def test_long_tubes_are_not_told_of() -> None:
    found = run(Design(cage=rung(200.0)), ["geometry"])
    assert not [f for f in found if f.code == "geometry/wall-between" and f.subject]
