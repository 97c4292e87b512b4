"""The order of work replayed: what each step tells a hand to do must be possible there."""

from __future__ import annotations

import random
import tomllib
from collections import Counter
from collections.abc import Iterable
from dataclasses import replace as with_fields
from pathlib import Path
from typing import Any

import chassis_car
import demos
import numpy as np
import pytest
from msgspec.structs import replace
from pieces import reach
from pydantic import ValidationError
from sweeps import size

from cagekit.assembly.assemble import members_only
from cagekit.cage.cage import Cage
from cagekit.cage.member import CHASSIS, End, EndKind, EndName
from cagekit.car.shell import surfaces
from cagekit.design import Design
from cagekit.errors import CagekitError
from cagekit.geometry.centre_line import CentreLine
from cagekit.inputs.bolted import SleeveEntry
from cagekit.inputs.build import Build, entries_of
from cagekit.inputs.car import Car, merged
from cagekit.inputs.keepouts import KeepOut
from cagekit.inputs.messages import unit_of
from cagekit.inputs.presets import find_preset
from cagekit.inputs.resolve import load_build
from cagekit.inputs.tooling import Torch
from cagekit.names import named
from cagekit.shop.papers.order import Move, Step, on_the_car, order_of_work
from cagekit.shop.welding import moves
from cagekit.shop.welding.moves import Way
from cagekit.shop.welding.welds import plan_welding

LANDMARKS = ("main hoop", "front hoop", "half hoop", "halo", "roof rail", "rear brace")


class Replay:
    """A cage going up step by step in its car."""

    def __init__(self, cage: Cage, car: Car, torch: Torch, steps: tuple[Step, ...]) -> None:
        self.cage, self.torch, self.steps = cage, torch, steps
        self.shell = [s for s in surfaces(car) if not s.moves and not s.trimmed]
        self.joints = {j.id: j for j in cage.joints}
        self.fitted: list[str] = []
        self.tacked: set[str] = set()
        self.welded: set[str] = set()
        self.laid: set[str] = set()
        self.finished: set[str] = set()
        self.glass_out: set[str] = set()

    def run(self) -> None:
        assert [s.number for s in self.steps] == list(range(1, len(self.steps) + 1))
        for step in self.steps:
            self.step(step)
        assert sorted(self.fitted) == sorted(self.cage.members)
        assert self.welded == set(self.joints)
        assert self.laid == self.finished == {p.id for p in self.cage.plates}
        assert not self.glass_out, "the car gets its glass back"
        feet = {
            f"{m.id}.{n}"
            for m in self.cage.members.values()
            for n, e in m.ends
            if e.kind is EndKind.FLAT
        }
        assert self.tacked == set(self.joints) | feet

    def step(self, step: Step) -> None:
        words = " ".join(step.text).lower()
        self.glass(step, words)
        if step.title.startswith("Divide"):
            assert self.welded == set(self.joints)
        else:
            assert not set(step.members) & set(self.fitted), "a tube goes in once"
            self.fitted += step.members
            if step.members:
                self.named(step)
        for id_ in step.members:
            for _, end in self.cage.members[id_].ends:
                assert set(end.parents) <= {*self.fitted, *self.cage.chassis}, "parents first"
        for id_ in step.tack:
            assert self.joints[id_].branch in step.members
            assert id_ not in self.tacked
        if step.tack or step.feet:
            assert not step.moves, "nothing is moved while it is tacked"
            assert "loose" not in words
            assert "lean the cage" not in words
        if step.members and "from the main hoop" in words:
            assert any(self.cage.members[m].role == "main_hoop" for m in self.fitted)
        self.tacked |= {*step.tack, *step.feet}
        for move in step.moves:
            self.move(step, move)
        self.laid |= set(step.plates)
        for id_ in step.weld:
            self.weld(step, id_)
        assert set(step.finish) <= self.laid, "a plate is there before it is welded"
        assert not set(step.finish) & self.finished
        self.finished |= set(step.finish)
        if step.partly:
            assert all(j in words for j in step.partly)

    def named(self, step: Step) -> None:
        """What the words of a step measure from, rest on or tack to stands there."""
        roles = {self.cage.members[m].role for m in self.fitted}
        words = " ".join(step.text).lower()
        for name in LANDMARKS:
            assert name not in words or name.replace(" ", "_") in roles, f"{name} is not there yet"

    def glass(self, step: Step, words: str) -> None:
        """Glass goes out and in by name, in steps of its own, and not while welds are to come."""
        known = {s.name for s in self.shell if s.glass}
        for name in (*step.glass_out, *step.glass_in):
            assert name in known
            assert name in words
        assert not set(step.glass_out) & self.glass_out
        assert set(step.glass_in) <= self.glass_out
        if step.glass_in:
            assert self.welded == set(self.joints)
            assert self.finished == {p.id for p in self.cage.plates}
        self.glass_out |= set(step.glass_out)
        self.glass_out -= set(step.glass_in)

    def weld(self, step: Step, id_: str) -> None:
        assert id_ in self.tacked, "nothing is welded before it is tacked"
        assert id_ not in self.welded, "nothing is welded twice"
        joint = self.joints[id_]
        shell = {s.name: s.solid for s in self.shell if s.name not in self.glass_out}
        reached = reach(self.cage, joint, self.torch, present=self.fitted, shell=shell).reached
        for move in step.moves:
            if id_ in move.joints:
                found = reach(
                    self.cage, joint, self.torch,
                    present=self.fitted, shell=shell, pose=move.pose,
                )  # fmt: skip
                reached = reached | found.reached
        assert reached.all() or id_ in step.partly, f"{id_} is said to be welded all round"
        self.welded.add(id_)

    def move(self, step: Step, move: Move) -> None:
        """The moved tubes and feet clear the car; what held them is told and not yet welded."""
        pose = move.pose
        assert set(pose.moved) == {
            m for m in self.fitted if self.cage.members[m].role != "outrigger"
        }
        ends = {(j.branch, j.branch_end): j.id for j in self.joints.values()}
        held = {
            ends.get((m, n), f"{m}.{n}")
            for m in pose.moved
            for n, e in self.cage.members[m].ends
            if e.kind is EndKind.FLAT
            or any(self.cage.member(p).role in ("outrigger", CHASSIS) for p in e.parents)
        }
        assert set(step.loosen) == held
        assert not held & self.welded
        assert held <= self.tacked
        under = {
            p.id for p in self.cage.plates if on_the_car(p) and set(p.members) & set(pose.moved)
        }
        assert not under & self.finished, "a foot that moves is not welded down"
        open_ = {(h.member, h.end) for h in pose.holes}
        if pose.holes or pose.boxes:
            for h in pose.holes:
                assert (
                    not {p.id for p in self.cage.plates if h.member in p.members and on_the_car(p)}
                    & self.laid
                ), "no plate lies over the hole"
            assert not set(pose.boxes) & self.laid
        for id_ in pose.moved:
            self.clear(id_, move, open_)

    def clear(self, id_: str, move: Move, holes: set[tuple[str, EndName]]) -> None:
        m = self.cage.members[id_]
        stations = np.linspace(0.0, m.path.length, 200)
        spots = m.path.points(stations)
        gone = move.pose.points(spots)
        assert set(move.pose.glass) <= self.glass_out
        assert all(g in " ".join(move.needs) for g in move.pose.glass), "never silently"
        for s in (s for s in self.shell if s.name not in self.glass_out):
            gap = s.solid.gap(gone) - m.tube.outer_radius
            before = np.minimum(s.solid.gap(spots) - m.tube.outer_radius, 0.0)
            bad = gap < before - 1.5
            if s.stood_on:
                for end, at in (("a", 0.0), ("b", m.path.length)):
                    if (id_, end) in holes or move.pose.boxes:
                        bad &= np.abs(stations - at) > 1.5 * abs(move.amount) + 3 * m.tube.od
            assert not bad.any(), f"{id_} runs {-gap[bad].min():.0f} mm into {s.name}"
        for n, e in m.ends:
            if e.plane is not None and (id_, n) not in holes and not move.pose.boxes:
                foot = move.pose.points(m.path.end_point(n)[None])[0]
                assert float((foot - m.path.end_point(n)) @ e.plane.normal) > -1.0, "foot pushed in"


def through_glass(**glass: Any) -> tuple[Build, Cage]:
    """A halo on the legs of a hoop, in the wagon with glass or a wall close ahead of it."""
    build = demos.build("sprint-wagon")
    ahead = {"name": "quarter light", "shape": "box", **glass}
    ahead |= {"low": (760, -600, 700), "high": (766, 600, 1000)}
    car = build.car.model_copy(
        update={"keepouts": (*build.car.keepouts, KeepOut.model_validate(ahead))}
    )
    tubes = members_only(build).members
    hoop, z = tubes["main_hoop"], 889.0
    y = max(float(spot.point[1]) for spot in hoop.path.at_height(z))
    corners = [(0, y, z), (705, 462, z + 15), (705, -462, z + 15), (0, -y, z)]
    on_hoop = End.coped("main_hoop")
    halo = with_fields(
        tubes["halo"], path=CentreLine.from_polyline(corners, 150), a=on_hoop, b=on_hoop
    )
    standing = [tubes["outrigger_left"], tubes["outrigger_right"], hoop, halo]
    return replace(build, car=car), Cage("halo", standing)


def test_a_move_through_glass_is_offered_with_the_glass_out_and_never_silently() -> None:
    build, cage = through_glass(glass=True)
    torch = build.tooling.torch
    plan = plan_welding(cage, build.car, torch)
    (pose,) = (p for s in plan.stages for p, _ in s.moved)
    assert pose.way is Way.LEANED
    assert pose.glass == plan.glass_out == ("quarter light",)
    steps = order_of_work(cage, plan)
    Replay(cage, build.car, torch, steps).run()
    assert [s.title for s in (steps[0], steps[-1])] == ["Glass out", "Glass in"]
    # steel in the same place does not come out: the move is not offered
    build, cage = through_glass()
    plan = plan_welding(cage, build.car, torch)
    assert not plan.glass_out
    assert not [p for s in plan.stages for p, _ in s.moved]


@pytest.fixture(scope="module", params=(*demos.DEMOS, *demos.STRANGERS))
def demo(request: pytest.FixtureRequest) -> Design:
    return demos.design(request.param)


def test_the_order_of_every_demo_can_be_followed(demo: Design) -> None:
    Replay(demo.fitted, demo.build.car, demo.tooling.torch, demo.steps).run()


def test_the_order_on_a_frame_that_stands_already_can_be_followed(tmp_path: Path) -> None:
    design = Design(chassis_car.loaded(tmp_path))
    assert design.cage.chassis
    Replay(design.fitted, design.build.car, design.tooling.torch, design.steps).run()


def edited(name: str, folder: Path, edits: dict[str, tuple[tuple[str, str], ...]]) -> Design:
    """A stranger's build with texts of its files changed."""
    for file in (demos.ROOT / "tests" / "data" / name).glob("*.toml"):
        text = file.read_text("utf-8")
        for old, new in edits.get(file.stem, ()):
            assert text.count(old) == 1
            text = text.replace(old, new)
        (folder / file.name).write_text(text, "utf-8")
    return Design(load_build(str(folder / "build.toml")))


def breaks(steps: Iterable[Step]) -> Counter[str]:
    """How often each tack is broken."""
    return Counter(tack for s in steps for tack in s.loosen)


def test_joints_that_the_car_hides_wait_for_each_other(tmp_path: Path) -> None:
    """A roadster with sill bars: hidden sides from the harness bar's to the sill bars'."""
    dash = 'member = "side_hoop_{side}"\nheight = 300'
    sill = '[[member]]\nkind = "sill_bar"\nside = "both"\nfront_member = "side_hoop_{side}"'
    layout = ((dash, f"{dash}\n{sill}"),)
    design = edited("linnet", tmp_path, {"layout": layout})
    Replay(design.fitted, design.build.car, design.tooling.torch, design.steps).run()
    (step,) = (s for s in design.steps if s.moves)
    assert set(breaks(design.steps).values()) == {1}
    own = {w.joint.branch for w in design.welds if w.joint.id in step.weld}
    assert {"harness_bar_1", "engine_stay_left", "door_bar_left", "sill_bar_left"} <= own
    waited = {w.joint.id for w in design.welds if w.pose and "sill_bar" not in w.joint.branch}
    assert step.text[0].split(" waited")[0].split(", ") == sorted(waited)


def test_one_break_of_the_tacks_may_need_two_positions(monkeypatch: pytest.MonkeyPatch) -> None:
    """A roadster that cannot be slid 200 mm: forwards for its door bars, back for its stays."""
    monkeypatch.setattr(moves, "SLIDES", (50.0, -50.0, 100.0))
    design = Design(demos.build("linnet"))
    Replay(design.fitted, design.build.car, design.tooling.torch, design.steps).run()
    (step,) = (s for s in design.steps if s.moves)
    assert set(breaks(design.steps).values()) == {1}
    assert sorted(m.amount for m in step.moves) == [-50.0, 100.0]
    back = step.text.index("Back onto its marks, propped as before, not tacked.")
    said = [n for n, t in enumerate(step.text) if "slide the cage" in t]
    assert said[0] < back < said[1]


def test_tubes_wait_that_would_have_the_tacks_broken_once_more(tmp_path: Path) -> None:
    """A saloon's roof rails hide the roof diagonals, its sill and door bars need a move too."""
    outrigger = '[[member]]\nkind = "outrigger"\nside = "both"\n'
    outrigger += 'from = "on frame_rail_{side} at x 0"\n'
    feet = '[0, 660, -98]\nsurface = "floor"\nsheet = 2'
    plinth = '[[plate]]\nkind = "floor_plate"\nat = "main_foot"\nstyle = "plinth"\n'
    design = edited(
        "heath",
        tmp_path,
        {
            "layout": ((outrigger, ""),),
            "car": (('[0, 660, -20]\nsurface = "outrigger"', feet),),
            "build": (("[[plate]]", f'{plinth}plinth_height = "6 in"\n[[plate]]'),),
        },
    )
    Replay(design.fitted, design.build.car, design.tooling.torch, design.steps).run()
    (step,) = (s for s in design.steps if s.moves)
    assert set(breaks(design.steps).values()) == {1}
    rails = next(s for s in design.steps if "roof_rail_left" in s.members)
    assert rails.number > step.number
    diagonals = [j.id for j in design.fitted.joints if j.branch.startswith("roof_diagonal")]
    hidden = [j for j in diagonals if j in step.weld]
    assert hidden
    assert f"no move shows the hidden side of {', '.join(hidden)}, and" in rails.text[0]
    assert not any("waited until here" in t for s in design.steps if s is not rails for t in s.text)
    assert not any("once more" in t for t in step.text)
    # where they cannot be welded in one go, the second time says why
    plan = design.weld_plan
    at = next(i for i, s in enumerate(plan.stages) if s.moved)
    ((pose, welds),) = plan.stages[at].moved
    parts = {at - 2: ((pose, welds[:2]),), at: ((pose, welds[2:]),)}
    stages = [replace(s, moved=parts.get(i, ())) for i, s in enumerate(plan.stages)]
    again = order_of_work(design.fitted, replace(plan, stages=tuple(stages)))
    first, second = (s for s in again if s.moves)
    assert not any("once more" in t for t in first.text)
    assert f"once more: {', '.join(first.weld)} could not wait" in second.text[0]


def test_a_tube_is_divided_for_its_sleeves_before_it_goes_in() -> None:
    build = demos.design("track-roadster").build
    joint = SleeveEntry.model_validate({"at": "on rear_brace_{side} at middle", "side": "both"})
    design = Design(replace(build, file=build.file.model_copy(update={"joint": (joint,)})))
    steps = design.steps
    Replay(design.fitted, build.car, build.tooling.torch, steps).run()
    for side in ("left", "right"):
        made = next(s.number for s in steps if s.title == f"Sleeves of rear brace {side}")
        assert made < next(s.number for s in steps if f"rear_brace_{side}" in s.members)


def test_only_of_bars_that_swing_out_it_is_said_that_they_are_cut() -> None:
    build = demos.build("sprint-wagon")
    tables = {**build.file.members, "door_bar_left": {"swing_out": False}}
    file = build.file.model_copy(update={"members": tables})
    design = Design(replace(build, file=file, entries=entries_of(file, build.layout, "some bars")))
    (step,) = [s for s in design.steps if "door_bar_left" in s.members]
    assert "door_bar_right_fitted" in step.members
    fixed, swung = (t for t in step.text if ": fit it " in t.lower() or ": fit between" in t)
    assert fixed.startswith("Door bar left: fit between")
    assert swung.startswith("Door bar right fitted: fit it whole")


def test_what_is_welded_early_names_the_tubes_that_would_hide_it(demo: Design) -> None:
    hidden = {w.joint.id: w.before for w in demo.welds if w.before}
    early = [s for s in demo.steps if s.title.startswith("Weld before")]
    assert sorted(j for s in early for j in s.weld) == sorted(hidden)
    for step in early:
        told = step.text[0].removesuffix(" would stand in the torch's way.").lower().split(", ")
        asked = {named(m).lower() for j in step.weld for m in hidden[j]}
        assert set(told) == asked


def test_glass_that_helps_no_joint_stays_in(demo: Design) -> None:
    assert not demo.weld_plan.glass_out


def test_every_foot_and_plate_is_spoken_of(demo: Design) -> None:
    words = " ".join(t for s in demo.steps for t in s.text)
    for plate in demo.fitted.plates:
        if plate.bolts and plate.kind == "floor_plate":
            assert named(plate.id) in words
            assert "hand tight" in words
    words = words.lower()
    if demo.build.car.body == "open":
        assert "roof" not in words
        tries = " ".join(t for s in demo.steps for t in s.tries)
        assert "wipers" not in tries
    assert ("it is cut only when" in words) == bool(demo.cage.doors)


def test_what_hides_the_rest_of_a_joint_is_told_as_share(demo: Design) -> None:
    best = {w.joint.id: w.best for w in demo.welds if w.way is Way.PARTLY}
    told = [j for s in demo.steps for j in s.partly]
    assert sorted(told) == sorted(best)
    for step in demo.steps:
        for id_ in step.partly:
            assert f"{id_} {best[id_]:.0%}" in " ".join(step.text)


def test_tapes_lie_over_the_outside_and_hold_middle_tubes_from_both_sides(demo: Design) -> None:
    hoop = demo.fitted.members["main_hoop"]
    step = next(s for s in demo.steps if s.members == ("main_hoop",))
    feet = next(c for c in step.checks if c.end == "main hoop, right end")
    # both legs are nearly upright: the tape lies over the whole width of what is left of the feet
    rims = [
        cut.points(phi, hoop.tube.outer_radius)
        for cut in (demo.fitted.cut("main_hoop", n) for n, _ in hoop.ends)
        for phi in (np.linspace(0.0, 2 * np.pi, 721),)
    ]
    left, right = (rims[0], rims[1]) if hoop.path.start[1] > 0 else (rims[1], rims[0])
    width = float(left[:, 1].max() - right[:, 1].min())
    assert feet.distance == pytest.approx(width, abs=0.5)
    for s in demo.steps:
        for c in s.checks:
            if "crossed" in c.start:
                assert c.twin is not None


def test_tubes_of_one_side_are_held_from_both_feet() -> None:
    """Tapes from the feet's outer corners, whose radii are all that the middles leave open."""
    design = demos.design("hillclimb-coupe").changed("door_bar_right", omit=True)
    cage = design.cage
    step = next(s for s in design.steps if "door_bar_left" in s.members)
    assert [c.end for c in step.checks] == [f"{named(m)}, end B" for m in step.members]
    bar, hoop = cage.members["door_bar_left"], cage.members["main_hoop"]
    for foot, told in zip(
        (hoop.path.start, hoop.path.end),
        (step.checks[0].distance, step.checks[0].twin),
        strict=True,
    ):
        # over the outside: the middles and, at most, the radius of both
        apart = float(np.linalg.norm(bar.path.end - foot))
        assert told is not None
        assert apart < told < apart + bar.tube.outer_radius + hoop.tube.outer_radius


def shaken(build: Build, rng: random.Random) -> Build:
    """The build with a few lengths a little off; one of 0 asks for nothing and stays."""
    changes = {}
    for entry in build.entries:
        fields = {}
        for name, value in entry:
            angle = unit_of(type(entry), (name,)) == "deg"
            if isinstance(value, float) and value and not angle and rng.random() < 0.3:
                fields[name] = f"{abs(value + rng.uniform(-10, 10))} mm"
        if fields:
            changes[entry.id] = {**build.file.members.get(entry.id, {}), **fields}
    file = build.file.model_copy(update={"members": {**build.file.members, **changes}})
    return replace(build, entries=entries_of(file, build.layout, "random"))


def replayed(build: Build, rng: random.Random) -> bool:
    """Replay the order of a shaken cage without plates; False where it cannot be made."""
    try:
        build = shaken(build, rng)
        cage = members_only(build).as_fitted()
        joints = cage.joints
    except CagekitError:
        return False
    assert joints
    plan = plan_welding(cage, build.car, build.tooling.torch)
    Replay(cage, build.car, build.tooling.torch, order_of_work(cage, plan)).run()
    return True


@pytest.mark.parametrize(
    ("lean", "words"),
    [
        (0.0, "In side view it stands plumb"),
        (4.0, "In side view it leans 4.0° backwards from plumb"),
        (-4.0, "In side view it leans 4.0° forwards from plumb"),
    ],
)
def test_the_main_hoop_stands_as_an_angle_finder_reads_it(lean: float, words: str) -> None:
    build = demos.build("track-roadster")
    hoop = {**build.file.members.get("main_hoop", {}), "lean": lean}
    file = build.file.model_copy(update={"members": {**build.file.members, "main_hoop": hoop}})
    cage = members_only(replace(build, entries=entries_of(file, build.layout, "lean"))).as_fitted()
    steps = order_of_work(cage, plan_welding(cage, build.car, build.tooling.torch))
    (step,) = (s for s in steps if s.members == ("main_hoop",))
    assert words in " ".join(step.text)


@pytest.mark.slow
@pytest.mark.parametrize("name", demos.DEMOS)
def test_the_order_of_random_builds_can_be_followed(name: str) -> None:
    rng = random.Random(f"order {name}")
    tries = size(2, 80)
    assert sum(replayed(demos.build(name), rng) for _ in range(tries)) > tries // 8


MEASURED = ("left", "right", "roof", "wheel", "seats", "dash", "tunnel", "pedals", "floor_z")
"""Tables of the car sheet that a tape fills."""


def other_car(name: str, rng: random.Random) -> Build | None:
    """The build in another car: what is measured up to a hundredth off, each side by itself."""

    def moved(value: Any) -> Any:
        if isinstance(value, dict):
            return {k: moved(v) for k, v in value.items()}
        if isinstance(value, list):
            return [moved(v) for v in value]
        if isinstance(value, bool) or not isinstance(value, int | float):
            return value
        return value * (1 + rng.uniform(-0.01, 0.01))

    build = demos.build(name)
    sheet = tomllib.loads(find_preset("car", build.file.car).read_text("utf-8"))
    sheet["tapes"] = {}
    sheet = merged_sides(sheet)
    sheet |= {k: moved(sheet[k]) for k in MEASURED if k in sheet}
    try:
        car = Car.model_validate(sheet, context={"units": sheet.get("units", "mm")})
        return replace(build, car=car)
    except ValidationError:
        return None


def merged_sides(sheet: dict[str, Any]) -> dict[str, Any]:
    """The sheet with each side written out, so that each can be moved by itself."""
    both = sheet.pop("side", {})
    for side in ("left", "right"):
        sheet[side] = merged(both, sheet.get(side, {}))
    return sheet


def replayed_in_other_car(name: str, rng: random.Random) -> bool:
    """Replay the whole order, plates and swing-out bars too; False where it cannot be made."""
    build = other_car(name, rng)
    if build is None:
        return False
    design = Design(build)
    try:
        steps = design.steps
    except CagekitError:
        return False
    Replay(design.fitted, build.car, build.tooling.torch, steps).run()
    return True


@pytest.mark.slow
@pytest.mark.parametrize("name", demos.DEMOS)
def test_the_order_in_other_cars_can_be_followed(name: str) -> None:
    rng = random.Random(f"order in another car than that of {name}")
    tries = size(1, 40)
    made = sum(replayed_in_other_car(name, rng) for _ in range(tries))
    assert made >= tries // 4
