"""Places for a member on the demo builds: what turns where, and what is proposed."""

from __future__ import annotations

import os
import signal
from itertools import pairwise
from typing import Any

import pytest
from msgspec.structs import replace

from cagekit import process
from cagekit.assembly.assemble import members_only, sketch
from cagekit.checks.finding import Status
from cagekit.checks.registry import run
from cagekit.design import Design
from cagekit.errors import GeometryError, InputError
from cagekit.inputs.build import Build, spread
from cagekit.inputs.entries import FreeStrutEntry
from cagekit.inputs.resolve import load_build
from cagekit.process import ProcessCopy
from cagekit.study import placement
from cagekit.study.placement import Placement, Sweep, _try, place, room, sweep, usual

PIECES = ("_latch_stub", "", "_hinge_stub")


@pytest.fixture(scope="module")
def wagon() -> Build:
    return load_build("sprint-wagon")


@pytest.fixture(scope="module")
def harness(wagon: Build) -> Placement:
    heights = sweep(wagon, "harness_bar", "height", range(300, 640, 20))
    return place(wagon, "harness_bar", [heights], groups=("fit", "rules"))


def test_a_harness_bar_turns_where_the_shoulder_is(harness: Placement) -> None:
    key = ("nhra/harness-bar-drop", "tall-driver")
    assert (key,) in harness.columns
    drops = [t.findings[key] for t in harness.trials]
    measured = [float(f.measured) for f in drops]
    # 20 mm up is 20 mm less drop
    steps = [a - b for a, b in pairwise(measured)]
    assert steps == pytest.approx([20.0] * len(steps), abs=1e-6)
    for f in drops:
        assert f.status is (Status.PASS if 0 <= f.measured <= 101.6 else Status.FAIL)


def test_the_proposal_has_the_fewest_fails_and_warnings(harness: Placement) -> None:
    best = harness.best
    assert best is not None
    least = min((t.count(Status.FAIL), t.count(Status.WARN)) for t in harness.trials if not t.error)
    assert (best.count(Status.FAIL), best.count(Status.WARN)) == least
    equal = [t for t in harness.trials if (t.count(Status.FAIL), t.count(Status.WARN)) == least]
    assert best.room == pytest.approx(max(t.room for t in equal), abs=0.1)


def test_a_place_that_check_fails_is_no_good_place() -> None:
    """A dash bar between two nodes had room for everybody and stood in the door bars' steel."""
    hatch = load_build("gravel-hatch")
    found = place(hatch, "dash_bar", [sweep(hatch, "dash_bar", "height", (428.0, 490.0, 515.0))])
    clear, node, hits = found.trials
    assert (clear.mark, node.mark, hits.mark) == ("good", "good", "fail")
    told = {code for (code, _), f in hits.findings.items() if f.status is Status.FAIL}
    assert told == {"cage/collision"}
    assert any(text.startswith("gap between tubes") for text in found.reasons)


def test_reasons_name_the_ends_of_each_stretch(harness: Placement) -> None:
    text = " ".join(harness.reasons)
    drop = "harness bar below the shoulder, tall-driver [nhra/harness-bar-drop]"
    assert f"{drop}: fails from {{" in text
    assert f"{drop}: fails up to {{" in text
    assert "shoulder belts below level, tall-driver: warns up to {" in text


@pytest.mark.slow
def test_the_usual_range_of_a_member_is_around_where_it_is(wagon: Build) -> None:
    found = place(wagon, "door_bar")
    values = found.sweeps[0].values
    assert values[0] < found.now[0] < values[-1]
    steps = {round(b - a, 6) for a, b in pairwise(values)}
    assert steps == {12.7}
    marks = {t.mark for t in found.trials}
    assert "fail" in marks
    assert found.best is not None
    assert found.best.count(Status.FAIL) == 0
    # both fields move together
    heights = {t.values: t.spot[2] for t in found.trials if t.spot is not None}
    rise = (max(heights.values()) - min(heights.values())) / (values[-1] - values[0])
    assert rise == pytest.approx(1.0, abs=0.02)


def test_two_fields_make_a_grid(wagon: Build) -> None:
    sweeps = [
        sweep(wagon, "door_bar", "height_rear", (280.0, 320.0)),
        sweep(wagon, "door_bar", "height_front", (260.0, 300.0, 340.0)),
    ]
    found = place(wagon, "door_bar", sweeps, groups=("car",))
    assert [t.values for t in found.trials] == [
        (280, 260), (280, 300), (280, 340), (320, 260), (320, 300), (320, 340),
    ]  # fmt: skip


@pytest.fixture(scope="module")
def rises(wagon: Build) -> Sweep:
    """Places of which the last cannot be made."""
    return sweep(wagon, "door_bar", "height_rear", (*range(300, 345, 5), 5000.0))


@pytest.fixture(scope="module")
def alone(wagon: Build, rises: Sweep) -> Placement:
    return place(wagon, "door_bar", [rises], groups=("fit", "swing_out"))


@pytest.mark.skipif(not ProcessCopy.can_be, reason="this system copies no process")
@pytest.mark.parametrize("ends", ["whole", "early"])
def test_half_of_the_places_may_be_tried_by_a_copy(
    wagon: Build, rises: Sweep, alone: Placement, ends: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same comes of them, in order, what cannot be made too, and if the copy ends early."""
    here, tried = os.getpid(), list[int]()

    def counted(*asked: Any) -> Any:
        if ends == "early" and os.getpid() != here:
            os.kill(os.getpid(), signal.SIGKILL)
        tried.append(asked[3][0])
        return _try(*asked)

    monkeypatch.setattr(placement, "_try", counted)
    monkeypatch.setattr(process, "cores", lambda: 2)
    found = place(wagon, "door_bar", [rises], groups=("fit", "swing_out"), copied=True)
    assert len(tried) == (5 + 1 if ends == "whole" else 10)
    assert [t.values for t in found.trials] == [t.values for t in alone.trials]
    assert [t.error for t in found.trials] == [t.error for t in alone.trials]
    assert [t.room for t in found.trials] == [t.room for t in alone.trials]
    assert [t.members for t in found.trials] == [t.members for t in alone.trials]
    assert [t.findings for t in found.trials] == [t.findings for t in alone.trials]
    assert (found.columns, found.reasons) == (alone.columns, alone.reasons)
    for one, other in zip(found.trials, alone.trials, strict=True):
        assert (one.spot is None) == (other.spot is None)
        assert one.spot is None or (one.spot == other.spot).all()


def test_a_place_that_cannot_be_made_is_told(wagon: Build) -> None:
    heights = sweep(wagon, "door_bar", "height_rear", (330.0, 5000.0))
    found = place(wagon, "door_bar", [heights], groups=("car",))
    assert found.trials[1].mark == "no"
    assert found.trials[1].error
    assert found.best is found.trials[0]


def test_wrong_names_are_told(wagon: Build) -> None:
    with pytest.raises(InputError, match="door_bar"):
        place(wagon, "dor_bar")
    with pytest.raises(InputError, match="height_rear"):
        sweep(wagon, "door_bar", "hight_rear", (1.0,))
    with pytest.raises(InputError, match="no number"):
        sweep(wagon, "door_bar", "style", (1.0,))
    with pytest.raises(InputError, match=r"below_shoulder.*`height` says already.*Its numbers"):
        sweep(wagon, "harness_bar", "below_shoulder", (50.0,))
    with pytest.raises(InputError, match=r"straight.*Its numbers: drop\."):
        sweep(wagon, "rear_brace", "bend_radius", (150.0,))
    one = sweep(wagon, "door_bar", "height_rear", (1.0,))
    with pytest.raises(InputError, match="two ranges"):
        place(wagon, "door_bar", [one, one, one])
    with pytest.raises(InputError, match="too many"):
        place(wagon, "door_bar", [sweep(wagon, "door_bar", "height_rear", range(900))])


def test_the_sketch_has_the_same_centre_lines_as_the_cage(wagon: Build) -> None:
    quick, whole = sketch(wagon), members_only(wagon).as_fitted()
    known = {name.removesuffix("_fitted"): m for name, m in whole.members.items()}
    assert list(quick.members) == list(known)
    for name, member in quick.members.items():
        assert member.path.corners() == pytest.approx(known[name].path.corners())


def test_room_to_a_limit(harness: Placement) -> None:
    key = ("nhra/harness-bar-drop", "tall-driver")
    for t in harness.trials:
        f = t.findings[key]
        left = room(f)
        assert left is not None
        assert (left >= 0) == (f.status is Status.PASS)


def test_a_dash_bar_set_back_comes_nearer_to_the_knuckles() -> None:
    hatch = load_build("gravel-hatch")
    back = sweep(hatch, "dash_bar", "set_back", (0.0, 100.0, 200.0))
    found = place(hatch, "dash_bar", [back], groups=("fit",))
    key = ("fit/wheel-dash", "tall-driver")
    rooms = [float(t.findings[key].measured) for t in found.trials]
    assert rooms[0] > rooms[1] > rooms[2]
    spots = [float(t.spot[0]) for t in found.trials if t.spot is not None]
    assert [spots[0] - s for s in spots] == pytest.approx([0, 100, 200], abs=0.01)


def test_a_strut_named_like_a_bar_is_no_piece_of_it(wagon: Build) -> None:
    brace = FreeStrutEntry.model_validate(
        {
            "kind": "strut",
            "id": "door_bar_left_brace",
            "from": "on main_hoop.left at height 700 mm",
            "to": "on main_hoop.right at height 700 mm",
        }
    )
    other = replace(wagon, entries=(*wagon.entries, brace))
    tried = sweep(wagon, "door_bar", "height_rear", (300.0, 330.0))
    groups = ("geometry", "fit")
    found = place(other, "door_bar", [tried], groups=groups)
    pieces = [f"door_bar_{s}{p}" for s in ("left", "right") for p in PIECES]
    assert all(list(t.members) == pieces for t in found.trials)
    assert place(wagon, "door_bar", [tried], groups=groups).columns == tuple(
        c for c in found.columns if not any("door_bar_left_brace" in k[1] for k in c)
    )


def test_a_place_is_told_as_possible_just_when_the_cage_can_be_made_there() -> None:
    """Near the diagonal's ends the bar's pieces are too short to cope or to carry their tabs."""
    roadster = load_build("track-roadster")
    heights = (150.0, 300.0, 600.0, 650.0, 750.0, 850.0)
    tried = sweep(roadster, "harness_bar", "height", heights)
    found = place(roadster, "harness_bar", [tried], groups=("plates",))
    made = []
    for height in heights:
        try:
            Design(roadster).changed("harness_bar", height=height).cage.require_cuts()
        except GeometryError:
            made.append(False)
        else:
            made.append(True)
    assert len(set(made)) == 2
    assert [not t.error for t in found.trials] == made


def test_every_place_is_judged_as_check_judges_it(wagon: Build) -> None:
    """Swing-out joints and plates count: at 305 mm a hinge pin lies too far from its upright."""
    heights = (304.8, 342.9)
    both = Sweep(fields=("height_rear", "height_front"), values=heights)
    found = place(wagon, "door_bar", [both])
    for trial, height in zip(found.trials, heights, strict=True):
        fields = {"height_rear": height / 25.4, "height_front": height / 25.4 - 0.5}
        moved = Design(wagon).changed("door_bar", **fields)
        # worst first, and of the car the worst of its subjects counts
        rows = reversed(run(moved, apart=True))
        checked = {(f.code, "" if f.group == "car" else f.subject): f for f in rows}
        assert len(trial.findings) >= 6
        for key, here in trial.findings.items():
            there = checked[key]
            assert here.status is there.status, key
            # a place is reckoned from where the member is now: the last bit may differ
            assert here.measured == pytest.approx(there.measured, abs=1e-6), key
    assert [t.mark for t in found.trials] == ["fail", "good"]
    assert {k[0] for k, f in found.trials[0].findings.items() if f.status is Status.FAIL} == {
        "nhra/swing-pin-place"
    }


def test_every_subject_of_a_check_has_one_column_whole_at_all_places() -> None:
    """What passes is one finding to people; here that split a check over columns with gaps."""
    coupe = load_build("hillclimb-coupe")
    found = place(coupe, "door_bar", groups=(*placement.ROOMS, "rules"))
    made = [t for t in found.trials if not t.error]
    by_check: dict[str, list[str]] = {}
    for column in found.columns:
        for code, subject in column:
            by_check.setdefault(code, []).append(subject)
            # a collision, or a weld under a later tube, is told only where there is one
            if "door_bar" in subject and code.split("/")[0] in placement.ROOMS:
                assert all((code, subject) in t.findings for t in made)
    assert sorted(by_check["fia-253/door-figure-e"]) == ["door_bar left", "door_bar right"]
    # two gussets that read the same share a column
    (shared,) = [c for c in found.columns if c[0][0] == "fia-253/gusset-reach"]
    assert len(shared) == 2
    for t in made:
        one, other = (t.findings[k].measured for k in shared)
        assert one == pytest.approx(other, abs=0.01)
    # far from its limit over the whole range, a rule tells nothing of where the bar should go
    assert "fia-253/envelope" not in by_check


@pytest.fixture(scope="module")
def with_stays() -> Build:
    """A demo with a stay of the user's own on each side."""
    build = load_build("track-roadster")
    stay = {
        "kind": "strut",
        "id": "stay",
        "side": "both",
        "from": "on main_hoop.{side} at height 250",
        "to": "on rear_brace_{side} at fraction 0.5",
    }
    entries = spread([FreeStrutEntry.model_validate(stay)])
    return replace(build, entries=(*build.entries, *entries))


def test_a_strut_of_ones_own_is_moved_along_what_it_sits_on(with_stays: Build) -> None:
    heights = [220.0, 300.0]
    tried = sweep(with_stays, "stay", "from", heights)
    found = place(with_stays, "stay", [tried], groups=("car",))
    assert found.now == (250.0,)
    assert [t.error for t in found.trials] == ["", ""]
    assert {m for t in found.trials for m in t.members} == {"stay_left", "stay_right"}
    # half of the strut goes up with its end
    low, high = (float(t.spot[2]) for t in found.trials if t.spot is not None)
    assert high - low == pytest.approx(40.0, abs=0.5)
    assert usual(with_stays, sketch(with_stays), "stay").fields == ("from",)


def test_a_place_that_is_not_counted_in_mm_says_so(with_stays: Build) -> None:
    with pytest.raises(InputError, match="not counted in mm") as caught:
        sweep(with_stays, "stay", "to", [1.0])
    assert "Its numbers: from" in str(caught.value)
