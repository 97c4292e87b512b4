"""Shop practice measured on plates: folds, flanges, holes near folds and edges."""

from __future__ import annotations

from math import radians

import pytest

from cagekit.cage.cage import Cage
from cagekit.cage.plate import Hole, Plate
from cagekit.checks import Finding, Status, run
from cagekit.checks.quantities.sheet_metal import flange
from cagekit.checks.table import explain_text
from cagekit.design import Design
from cagekit.geometry.fold import Fold
from cagekit.geometry.outline import Outline
from cagekit.inputs.presets import load, shipped_root
from cagekit.inputs.tooling import Tooling

SHOP = load("tooling", "metric-shop", Tooling)


def angle(*, at=0.0, radius=3.0, holes=(), thickness=3.0, turn=90.0, width=160.0):
    return Plate(
        id="angle",
        kind="test",
        thickness=thickness,
        material="s235",
        outline=Outline.rectangle(width, 60),
        folds=(Fold.along((at, -30), (at, 30), radians(turn), radius),),
        holes=tuple(holes),
        base=(-width / 2 + 5, 0),
    )


def plate_checks(plate) -> tuple[Finding, ...]:
    return run(Design(cage=Cage("one", (), plates=[plate]), tooling=SHOP), ["plates"])


def plate_warnings(plate):
    return tuple(f for f in plate_checks(plate) if f.status is Status.WARN)


def codes(plate):
    return {w.code for w in plate_warnings(plate)}


def test_a_sound_plate_has_no_warnings_and_lists_what_was_measured():
    good = angle(holes=[Hole.circle((40, 0), 11)])
    assert codes(good) == set()
    listed = {c.code for c in plate_checks(good)}
    assert {
        "plate/fold-radius",
        "plate/flange",
        "plate/hole-to-fold",
        "plate/edge-distance",
    } <= listed


def test_a_flange_is_measured_outside_to_the_mould_line():
    # width of the far flat from the middle of the bend, less half the allowance, plus r + t
    plate = angle(at=60)
    allowance = radians(90) * (3 + 0.42 * 3)
    assert flange(plate, 0) == pytest.approx(20 - allowance / 2 + 6)


def test_each_measure_fails_alone():
    assert codes(angle(at=69)) == {"plate/flange"}
    assert codes(angle(radius=1.5)) == {"plate/fold-radius"}
    assert codes(angle(turn=140)) == {"plate/fold-angle"}
    assert codes(angle(holes=[Hole.circle((12, 0), 11)])) == {"plate/hole-to-fold"}
    assert codes(angle(holes=[Hole.circle((70, 0), 11)])) == {"plate/edge-distance"}
    close = [Hole.circle((40, -6.5), 11), Hole.circle((40, 6.5), 11)]
    assert codes(angle(holes=close)) == {"plate/hole-spacing"}
    assert codes(angle(holes=[Hole.circle((40, 0), 2.0)])) == {"plate/small-hole"}


def test_slots_keep_further_off_a_fold_than_round_holes():
    at = 3.346 + 7.0
    slot = Hole.slot((at + 4, -10), (at + 4, 10), 8)
    round_ = Hole.circle((at + 4, 0), 8)
    assert "plate/slot-to-fold" in codes(angle(holes=[slot]))
    assert not codes(angle(holes=[round_]))


def test_a_warning_reads_with_its_numbers():
    (w,) = plate_warnings(angle(at=69))
    assert "flange at fold 1" in explain_text(w)
    assert "at least 16 mm" in explain_text(w)
    assert w.source.startswith("tooling")


def test_a_tube_through_a_plate_is_found():
    from dataclasses import replace

    import numpy as np

    from cagekit.cage.member import Member
    from cagekit.checks.quantities.plate_clash import clashes
    from cagekit.geometry.centre_line import CentreLine
    from cagekit.materials.tubes import Tube

    tube = Tube(od=40, wall=2, material="e235-n")

    def cage(x, **changes):
        path = CentreLine.straight((x, 0, -300), (x, 0, 300))
        plate = replace(angle(turn=1.0), folds=(), **changes)
        return Cage("c", [Member(id="post", role="post", tube=tube, path=path)], plates=[plate])

    (hit,) = clashes(cage(90.0))
    assert hit.tube == "post"
    assert hit.gap == pytest.approx(-10, abs=0.2)
    (clear,) = clashes(cage(110.0))
    assert clear.gap == pytest.approx(10, abs=0.5)
    assert clashes(cage(180.0)) == ()
    assert clashes(cage(90.0, members=("post",))) == ()
    lifted = np.eye(4)
    lifted[2, 3] = 400
    assert clashes(cage(0.0, placement=lifted)) == ()


def test_a_fold_that_runs_into_its_own_tube_is_found():
    from dataclasses import replace

    from cagekit.cage.member import Member
    from cagekit.checks.quantities.plate_clash import clashes
    from cagekit.geometry.centre_line import CentreLine
    from cagekit.materials.tubes import Tube

    tube = Tube(od=40, wall=2, material="e235-n")

    def cut(away):
        # the flange stands up from x = 0; the tube's middle is so far beside it
        path = CentreLine.straight((-away, 0, 0), (-away, 0, 300))
        plate = replace(angle(), kind="floor_plate", members=("post",))
        one = Cage("c", [Member(id="post", role="post", tube=tube, path=path)], plates=[plate])
        return [(c.tube, c.gap) for c in clashes(one)]

    flange = min(p[0] for p in angle().car_points([[60.0, 0.0]], -3.0))
    face = min(p[0] for p in angle().car_points([[60.0, 0.0]], 0.0))
    near = min(flange, face)
    assert cut(20.5 - near) == []
    ((tube_id, gap),) = cut(12.0 - near)
    assert tube_id == "post"
    assert gap == pytest.approx(-8.0, abs=0.2)


def test_large_plates_are_compared_within_the_memory():
    import resource
    import time

    import numpy as np

    from cagekit.plates.points import nearest

    rng = np.random.default_rng(3)
    a, b = rng.uniform(0, 1500, (60_000, 3)), rng.uniform(0, 1500, (60_000, 3))
    before, start = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, time.process_time()
    i, apart = nearest(a, b)
    assert time.process_time() - start < 5
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 400_000  # kB
    assert apart == pytest.approx(float(np.linalg.norm(b - a[i], axis=1).min()), abs=1e-9)
    assert nearest(a[:300], b[:300])[1] == pytest.approx(
        float(np.linalg.norm(a[:300, None] - b[None, :300], axis=2).min()), abs=1e-9
    )


def test_a_foot_without_a_plate_is_told_whatever_book_is_named(tmp_path):
    build = (shipped_root() / "builds/hillclimb-coupe.toml").read_text("utf-8")
    bare = tmp_path / "bare.toml"
    bare.write_text(
        f'{build}\n[[plate]]\nkind = "floor_plate"\nat = "feet"\nomit = true\n', "utf-8"
    )
    for path, status in (("hillclimb-coupe", Status.PASS), (str(bare), Status.WARN)):
        found = run(Design.load(path), ["plates"], rules=())
        assert {f.status for f in found if f.code == "plate/at-foot"} == {status}
    # a rulebook that judges it does so alone
    found = run(Design.load(str(bare)), rules=("common-practice",))
    told = {f.code for f in found if f.code.endswith(("at-foot", "at-floor")) and f.measured == 0}
    assert told == {"common-practice/plate-at-floor"}
