"""Findings of swing-out bars: each is made to pass and to fail by changing one number."""

from __future__ import annotations

from collections.abc import Callable
from math import radians, tan
from typing import Any

import pytest
from msgspec.structs import replace

from cagekit.assembly.assemble import assemble
from cagekit.cage.cage import Cage
from cagekit.checks.finding import Finding, Status
from cagekit.checks.registry import run
from cagekit.design import Design
from cagekit.inputs.build import Build
from cagekit.inputs.resolve import load_build
from cagekit.inputs.swing_bracket import SwingBracketEntry


def findings(design: Design) -> tuple[Finding, ...]:
    return run(design, ["swing_out"], rules=[])


Told = Callable[..., dict[str, Finding]]


@pytest.fixture
def told(wagon: tuple[Build, Cage]) -> Told:
    """Findings of the demo's left bar, worst of each code, with bar or bracket fields changed."""

    def run_with(bar: dict[str, Any] | None = None, **bracket: Any) -> dict[str, Finding]:
        build = wagon[0]
        members = dict(build.file.members)
        members["door_bar"] = {**members.get("door_bar", {}), **(bar or {})}
        plate = {"kind": "swing_bracket", **bracket}
        brackets = SwingBracketEntry.model_validate(plate, context={"units": build.units})
        entries = tuple(
            e.model_copy(update=_read(type(e), bar)) if bar and str(e.kind) == "door_bar" else e
            for e in build.entries
        )
        changed = replace(build, plates=(*build.plates, brackets), entries=entries)
        cage = assemble(changed)
        out: dict[str, Finding] = {}
        for f in findings(Design(build=changed, cage=cage)):
            if not f.subject.startswith(("door_bar_left", "2 parts")):
                continue
            name = f.code.removeprefix("swing_out/")
            if name not in out or f.status.rank < out[name].status.rank:
                out[name] = f
        return out

    return run_with


@pytest.fixture(scope="module")
def plain() -> dict[str, Finding]:
    """Findings of the demo's left bar as it is."""
    build = load_build("sprint-wagon")
    found = findings(Design(build=build, cage=assemble(build)))
    own = [f for f in found if f.subject.startswith("door_bar_left")]
    return {f.code.removeprefix("swing_out/"): f for f in own}


def _read(model: Any, fields: dict[str, Any]) -> dict[str, Any]:
    read = model.model_validate({"kind": "door_bar", **fields}, context={"units": "mm"})
    return {n: getattr(read, n) for n in read.model_fields_set if n != "kind"}


def test_demo_has_nothing_to_say(wagon: tuple[Build, Cage]) -> None:
    found = run(Design(wagon[0], cage=wagon[1]), ["swing_out"])
    assert {f.status for f in found} == {Status.PASS}
    assert {f.subject[:13] for f in found} == {"door_bar_left", "door_bar_righ"}
    for f in found:
        assert f.measured is not None
        assert f.source
        assert f.text


def test_cage_without_swing_out_bars_has_no_findings() -> None:
    build = load_build("track-roadster")
    assert run(Design(build), ["swing_out"]) == ()


@pytest.mark.parametrize(
    ("name", "status", "bar", "bracket"),
    [
        # cut ahead of the opening's front edge: the bar soon meets it
        ("opens", Status.FAIL, {"cut_front": 130}, {}),
        ("opens", Status.WARN, {"open_angle": 60}, {}),
        ("free-swing", Status.WARN, {"open_angle": 100}, {}),
        ("hinge-relief", Status.WARN, {}, {"clearance": "0.5 mm"}),
        ("hinge-relief", Status.FAIL, {}, {"clearance": "0.2 mm"}),
        ("latch-gap", Status.WARN, {"cut_gap": 0.7}, {"clearance": "0.5 mm"}),
        ("fold-room", Status.WARN, {}, {"spacer": "0 mm", "sleeve_stand": "0 mm"}),
        ("root-gap", Status.FAIL, {}, {"spacer": "4 mm"}),
        ("cope-room", Status.WARN, {"cut_rear": 78}, {}),
        ("cope-room", Status.FAIL, {"cut_rear": 65}, {}),
        ("back-room", Status.WARN, {"cut_rear": 200}, {}),
        ("ear", Status.WARN, {}, {"ear": "14 mm"}),
        ("hole-play", Status.WARN, {}, {"hole": "11 mm", "ear": "20 mm"}),
        ("stop", Status.WARN, {}, {"stop_gap": "0.5 mm"}),
        ("stop-steel", Status.FAIL, {}, {"design": "cheeks", "cup": "none"}),
        ("process", Status.FAIL, {}, {"design": "cheeks", "thickness": "16 mm"}),
        ("process", Status.FAIL, {}, {"design": "cheeks", "thickness": "0.8 mm"}),
        ("grip", Status.FAIL, {}, {"design": "cheeks", "thickness": "60 mm"}),
        ("thread", Status.WARN, {}, {"design": "cheeks", "thickness": "1 mm", "spacer": "0 mm"}),
    ],
)
def test_one_number_makes_the_difference(
    told: Told,
    plain: dict[str, Finding],
    name: str,
    status: Status,
    bar: dict[str, Any],
    bracket: dict[str, Any],
) -> None:
    assert plain[name].status is Status.PASS
    found = told(bar, **bracket)[name]
    assert found.status is status
    assert found.cure
    assert found.measured is not None


def test_what_a_fold_is_off_counts_in_place_and_in_angle(wagon: tuple[Build, Cage]) -> None:
    build, cage = wagon
    brake, table = build.tooling.brake, build.tooling.table
    assert brake is not None
    assert table is not None

    def rooms(name: str, **tooling: Any) -> list[float]:
        changed = replace(build, tooling=build.tooling.model_copy(update=tooling))
        found = run(Design(changed, cage=cage), ["swing_out"])
        return [f.measured for f in found if f.code == f"swing_out/{name}"]  # type: ignore[misc]

    def folds(size: float, turn: float) -> list[float]:
        off = {"size_tolerance": size, "angle_tolerance": turn}
        return rooms("fold-room", brake=brake.model_copy(update=off))

    true = folds(0.0, 0.0)
    for door in cage.doors:
        # beside the bar its sleeve, a spacer and half the play are between tube and flange
        spec = door.hinge.spec
        side = spec.sleeve_stand + spec.spacer + spec.side_play / 2
        assert min(true) == pytest.approx(side, abs=0.01)
    assert folds(0.7, 0.0) == pytest.approx([v - 0.7 for v in true])
    turned = folds(0.0, radians(2))
    # no flange stands more than 50 mm over its fold, and all that is near the bar over 5
    tallest, lowest = 50 * tan(radians(2)), 5 * tan(radians(2))
    assert all(lowest < a - b < tallest for a, b in zip(true, turned, strict=True))
    assert folds(2.0, 0.0)[0] < 0
    assert rooms("ream-room", table=table.model_copy(update={"ream": 0.0}))[0] == pytest.approx(
        -brake.size_tolerance
    )
    assert rooms("fold-room", brake=None) == rooms("ream-room", table=None) == []


def test_the_belted_hand_is_held_against_the_latch(wagon: tuple[Build, Cage]) -> None:
    build, cage = wagon
    design = Design(build, cage=cage)
    (found,) = (f for f in run(design, ["swing_out"]) if f.code == "swing_out/latch-reach")
    (who,) = design.cockpit.occupants
    door = next(d for d in cage.doors if d.side == who.door_side)
    arm = who.body.upper_arm_length + who.body.forearm_grip_length
    root = who.arms[who.door_side].root
    far = sum((a - b) ** 2 for a, b in zip(root, door.latch.origin, strict=True)) ** 0.5
    assert found.measured == pytest.approx(arm - far)
    assert "folded arm" in found.text

    # a person with the arms of a child does not get there
    short = replace(who.body, upper_arm_length=90.0, forearm_grip_length=90.0)
    small = Design(build, cage=cage)
    small.__dict__["people"] = (replace(who, body=short),)
    (found,) = (f for f in run(small, ["swing_out"]) if f.code == "swing_out/latch-reach")
    assert found.status is Status.FAIL


def test_cut_places_come_with_their_reasons(told: Told) -> None:
    text = told()["cope-room"].text
    assert "diameters" in text
    assert "clear of the cope weld" in text
    assert "door opening" in text or "quarter panel" in text


def test_opening_says_what_it_meets_and_where(told: Told) -> None:
    found = told({"cut_front": 130})["opens"]
    assert "front edge of the door opening" in found.evidence.note
    assert found.evidence.points


def test_unmeasured_door_opening_is_asked_for(wagon: tuple[Build, Cage]) -> None:
    build, cage = wagon
    side = build.car.left
    assert side.door is not None
    bare = side.model_copy(update={"door": side.door.model_copy(update={"outline": ()})})
    car = build.car.model_copy(update={"left": bare})
    found = findings(Design(build=replace(build, car=car), cage=cage))
    asked = [f for f in found if f.status is Status.NEEDS_INPUT]
    assert [f.subject for f in asked] == ["door_bar_left"]
    assert "outline" in asked[0].cure


def test_open_bar_frees_the_way_out(told: Told, plain: dict[str, Finding]) -> None:
    found = plain["way-out"]
    assert found.measured > 1.3 * found.limit  # type: ignore[operator]
    assert "in to spare" in found.text
    # bars cut in their middle free next to nothing
    less = told({"cut_rear": 330, "cut_front": 420})["way-out"]
    assert less.measured < found.measured  # type: ignore[operator]


@pytest.mark.parametrize(
    ("opens", "words"),
    [
        (60.0, "Its outside alone would stop the bar at"),
        (90.0, "the outside alone would let the bar"),
    ],
)
def test_a_rear_hinged_bar_is_told_how_sure_its_stop_at_the_door_is(
    wagon: tuple[Build, Cage], opens: float, words: str
) -> None:
    build = wagon[0]
    left = build.car.left
    assert left.door is not None
    ajar = left.model_copy(update={"door": left.door.model_copy(update={"opens": radians(opens)})})
    entries = tuple(
        e.model_copy(update={"hinge_end": "rear"}) if str(e.kind) == "door_bar" else e
        for e in build.entries
    )
    car = build.car.model_copy(update={"left": ajar})
    changed = replace(build, entries=entries, car=car)
    found = findings(Design(build=changed, cage=assemble(changed)))
    (told,) = (f for f in found if f.code == "swing_out/opens" and f.subject == "door_bar_left")
    assert told.status is Status.FAIL
    assert words in told.cure
    assert 'hinge_end = "front"' in told.cure


def test_rear_hinged_bar_clears_the_quarter_panel(wagon: tuple[Build, Cage]) -> None:
    build = wagon[0]
    entries = tuple(
        e.model_copy(update={"hinge_end": "rear"}) if str(e.kind) == "door_bar" else e
        for e in build.entries
    )
    changed = replace(build, entries=entries)
    cage = assemble(changed)
    found = findings(Design(build=changed, cage=cage))
    opens = [f for f in found if f.code == "swing_out/opens"]
    assert [f.status for f in opens] == [Status.PASS, Status.PASS]
    assert all(d.hinge.end == "a" for d in cage.doors)
    # its latch is at the pillar, farther than the belted hand reaches
    assert {f.code for f in found if f.status is Status.FAIL} == {"swing_out/latch-reach"}
