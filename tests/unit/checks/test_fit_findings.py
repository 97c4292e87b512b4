"""Every fit, car and sight check: one scene in which it is good and one in which it is not."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from cagekit.cage.cage import Cage
from cagekit.cage.member import Member, Swing
from cagekit.checks.finding import Finding, Status
from cagekit.checks.profile import load_profile
from cagekit.checks.quantities.quantity import Measure
from cagekit.checks.registry import run
from cagekit.design import Design
from cagekit.fit.cockpit import Cockpit
from cagekit.inputs.car import Car
from cagekit.inputs.driver import Driver
from cagekit.inputs.keepouts import KeepOut

Bar = Callable[..., Member]
Sit = Callable[..., Cockpit]


def hoop_of(bar: Bar, top: float = 1030.0, half: float = 660.0, x: float = 0.0) -> Member:
    return bar(
        "main_hoop", (x, half - 50, -90), (x, half, 450), (x, 500, top), (x, -500, top),
        (x, -half, 450), (x, 50 - half, -90), radius=150.0,
    )  # fmt: skip


def across(bar: Bar, role: str, x: float, z: float) -> Member:
    return bar(role, (x, 600, z), (x, -600, z))


def door(bar: Bar, z: float, y: float = 650.0, **more: object) -> Member:
    return bar("door_bar_left", (0, y, z), (1150, y, z), role="door_bar", side="left", **more)


def pillar_bar(bar: Bar, inboard: float) -> Member:
    """A bar parallel to the pillar of the test car."""
    ends = ((800, 500 - inboard, 930), (1250, 660 - inboard, 540))
    return bar("a_pillar_bar_left", *ends, role="a_pillar_bar", side="left")


# check: members that are good, members that are not
SCENES: dict[str, tuple[Callable[[Bar], list[Member]], Callable[[Bar], list[Member]]]] = {
    "helmet-room": (lambda b: [hoop_of(b)], lambda b: [across(b, "roof_diagonal", 300, 870)]),
    "padding": (lambda b: [across(b, "halo", 300, 1300)], lambda b: [across(b, "halo", 300, 960)]),
    "helmet-to-hoop": (lambda b: [hoop_of(b, x=100)], lambda b: [hoop_of(b, x=-60)]),
    "hoop-over-helmet": (lambda b: [hoop_of(b)], lambda b: [hoop_of(b, 820)]),
    "harness-drop": (
        lambda b: [across(b, "harness_bar", 0, 430)],
        lambda b: [across(b, "harness_bar", 0, 560)],
    ),
    "belt-angle": (
        lambda b: [across(b, "harness_bar", -40, 440)],
        lambda b: [across(b, "harness_bar", 100, 300)],
    ),
    "door-bar": (lambda b: [door(b, 330)], lambda b: [door(b, 120)]),
    "shoulder-to-hoop": (lambda b: [hoop_of(b)], lambda b: [hoop_of(b, 1030, 560)]),
    "elbow-room": (lambda b: [door(b, 330, 690)], lambda b: [door(b, 330, 560)]),
    "knee-room": (
        lambda b: [across(b, "dash_bar", 1000, 520)],
        lambda b: [across(b, "dash_bar", 780, 290)],
    ),
    "foot-room": (
        lambda b: [across(b, "cross_member", 1250, 300)],
        lambda b: [across(b, "cross_member", 1200, 10)],
    ),
    "torso-room": (
        lambda b: [across(b, "harness_bar", 0, 430)],
        lambda b: [across(b, "cross_member", 400, 60)],
    ),
    "seat-room": (
        lambda b: [across(b, "harness_bar", -40, 430)],
        lambda b: [across(b, "harness_bar", 80, 430)],
    ),
    "head-rest": (
        lambda b: [across(b, "harness_bar", -40, 430)],
        lambda b: [across(b, "harness_bar", 0, 620)],
    ),
    "wheel-dash": (
        lambda b: [across(b, "dash_bar", 1000, 480)],
        lambda b: [across(b, "dash_bar", 880, 600)],
    ),
    "wheel-pillar": (lambda b: [pillar_bar(b, 30)], lambda b: [_knuckle_bar(b)]),
    "egress": (lambda b: [door(b, 330)], lambda b: [door(b, 620)]),
    "pillar-hidden": (lambda b: [pillar_bar(b, 30)], lambda b: _fence(b)),
    "pillar-added": (lambda b: [pillar_bar(b, 30)], lambda b: _fence(b)),
    "view-up": (
        lambda b: [across(b, "header_bar", 800, 945)],
        lambda b: [across(b, "header_bar", 800, 740)],
    ),
    "view-down": (
        lambda b: [across(b, "dash_bar", 1000, 480)],
        lambda b: [across(b, "dash_bar", 1000, 690)],
    ),
}


def _knuckle_bar(bar: Bar) -> Member:
    """A bar that comes down just ahead of the top of the wheel."""
    ends = ((760, 480, 930), (880, 420, 540))
    return bar("a_pillar_bar_left", *ends, role="a_pillar_bar", side="left")


def _fence(bar: Bar) -> list[Member]:
    """Three bars side by side inboard of the pillar."""
    out = []
    for n, inboard in enumerate((60, 110, 160, 210)):
        one = pillar_bar(bar, inboard)
        out.append(replace(one, id=f"a_pillar_bar_left_{n}"))
    return out


def held(scene: Cockpit, *groups: str) -> tuple[Finding, ...]:
    """Findings about a scene made by hand, held against general books alone."""
    build = SimpleNamespace(car=scene.car, drivers=(), tooling=None, entries=())
    cage = Cage("scene", scene.members.values())
    design = Design(build, cage=cage, name="scene", units="mm", rules=(), files={})  # type: ignore[arg-type]
    design.__dict__["cockpit"] = scene
    return run(design, groups)


def told(scene: Cockpit) -> tuple[Finding, ...]:
    return held(scene, "fit", "sight")


def room_to(scene: Cockpit, name: str) -> Finding | None:
    """What is said about one surface of the car or one keep-out."""
    code = f"car/{name.replace(' ', '-')}"
    return next((f for f in held(scene, "car") if f.code == code), None)


def worst(found: Iterable[Finding], name: str) -> Finding | None:
    hits = [f for f in found if f.code.split("/")[1] == name]
    return min(hits, key=lambda f: f.status.rank, default=None)


@pytest.mark.parametrize("name", SCENES)
def test_good_scene_and_bad_scene(name: str, cockpit: Sit, bar: Bar) -> None:
    good, bad = (worst(told(cockpit(*make(bar))), name) for make in SCENES[name])
    assert bad is not None
    assert bad.status in (Status.FAIL, Status.WARN), bad
    assert bad.cure
    assert bad.source
    assert bad.evidence.members
    if name == "padding":
        assert good is None  # nothing within reach, nothing to say
        return
    assert good is not None
    assert good.status is Status.PASS, good
    assert not good.cure


def test_open_car_has_its_own_head_room(
    cockpit: Sit, bar: Bar, car: Car, person: Callable[..., Driver]
) -> None:
    opened = car.model_copy(update={"body": "open", "roof": None})
    good = told(cockpit(hoop_of(bar, 1030), car=opened))
    bad = told(cockpit(hoop_of(bar, 880), car=opened))
    for name in ("hoop-over-helmet-open", "helmet-line"):
        one, two = worst(good, name), worst(bad, name)
        assert one is not None
        assert two is not None
        assert one.status is Status.PASS
        assert two.status in (Status.FAIL, Status.WARN)
    over = worst(good, "egress")
    assert over is not None
    assert over.status is Status.NOT_APPLICABLE


def test_a_person_out_of_reach(
    cockpit: Sit, bar: Bar, car: Car, person: Callable[..., Driver]
) -> None:
    good = worst(told(cockpit(hoop_of(bar))), "reach")
    bad = worst(told(cockpit(hoop_of(bar), driver=person("female", 2))), "reach")
    assert good is not None
    assert bad is not None
    assert (good.status, bad.status) == (Status.PASS, Status.WARN)


def test_swing_out_bar_is_measured_shut_and_open(cockpit: Sit, bar: Bar) -> None:
    swings = replace(door(bar, 620), swing=Swing(hinge_end="b", hinge_cut=1120, latch_cut=40))
    found = told(cockpit(swings))
    shut, opened = worst(found, "egress"), worst(found, "egress-open")
    assert shut is not None
    assert opened is not None
    assert (shut.status, opened.status) == (Status.FAIL, Status.PASS)
    stuck = replace(door(bar, 620), swing=Swing(hinge_end="b", hinge_cut=600, latch_cut=560))
    left = worst(told(cockpit(stuck)), "egress-open")
    assert left is not None
    assert left.status is Status.FAIL


BOOKS = ("fit-practice", "sight-practice")
RULES = {r.code.split("/")[1]: r for book in BOOKS for r in load_profile(book).rules}


def test_every_rule_of_the_books_is_tried_above() -> None:
    elsewhere = {
        "hoop-over-helmet-open", "helmet-line", "helmet-shell", "in-car", "reach", "egress-open",
        "seat",
    }  # fmt: skip
    assert set(RULES) == set(SCENES) | elsewhere


@pytest.mark.parametrize("name", RULES)
def test_what_keeps_the_last_limit_keeps_the_harder_one(name: str) -> None:
    hardest, *rest = RULES[name].limits
    if not rest:
        return
    (last,) = rest
    values = last.value if isinstance(last.value, tuple) else (last.value,)
    inside = Measure(subject="x", value=sum(values) / len(values))  # type: ignore[arg-type]
    assert last.keeps(inside)
    assert hardest.keeps(inside)
    assert (hardest.level, last.level) == (Status.FAIL, Status.WARN)
    beyond = Measure(subject="x", value=-1000.0)
    assert not hardest.keeps(beyond)
    assert not last.keeps(beyond)


def test_padding_turns_the_warning_into_a_pass(cockpit: Sit, bar: Bar) -> None:
    halo = across(bar, "halo", 300, 990)
    bare, padded = told(cockpit(halo)), told(cockpit(halo, padding={"halo": 20.0}))
    one, two = worst(bare, "padding"), worst(padded, "padding")
    assert one is not None
    assert two is not None
    assert (one.status, two.status) == (Status.WARN, Status.PASS)
    assert one.measured == pytest.approx(two.measured)


SHELL: dict[str, tuple[Callable[[Bar], Member], Callable[[Bar], Member]]] = {
    "roof": (lambda b: hoop_of(b), lambda b: hoop_of(b, 1060)),
    "left side at the hoop": (lambda b: hoop_of(b, 1030, 640), lambda b: hoop_of(b, 1030, 690)),
    "left pillar": (lambda b: pillar_bar(b, 45), lambda b: pillar_bar(b, 5)),
    "windscreen": (
        lambda b: across(b, "header_bar", 820, 930),
        lambda b: across(b, "header_bar", 1180, 700),
    ),
    "tunnel": (
        lambda b: across(b, "cross_member", 500, 160),
        lambda b: across(b, "cross_member", 500, 90),
    ),
    "left sill": (
        lambda b: b("sill_bar_left", (0, 610, -30), (1100, 610, -30)),
        lambda b: b("sill_bar_left", (0, 640, -30), (1100, 640, -30)),
    ),
    "left door": (lambda b: door(b, 330, 660), lambda b: door(b, 330, 680)),
}


@pytest.mark.parametrize("name", SHELL)
def test_shell(name: str, cockpit: Sit, bar: Bar, car: Car) -> None:
    good, bad = (room_to(cockpit(make(bar)), name) for make in SHELL[name])
    assert good is not None
    assert bad is not None
    assert (good.status, bad.status) == (Status.PASS, Status.FAIL), (good.measured, bad.measured)
    assert bad.cure
    assert bad.evidence.points


def test_depth_into_a_plane_is_the_number(cockpit: Sit, bar: Bar, car: Car) -> None:
    found = room_to(cockpit(door(bar, 330, 655)), "left door")
    assert found is not None
    assert found.measured == pytest.approx(690 - 655 - 20, abs=1e-3)


def test_dash_is_cut_not_failed(cockpit: Sit, bar: Bar, car: Car) -> None:
    found = room_to(cockpit(across(bar, "dash_bar", 1050, 450)), "dash")
    assert found is not None
    assert found.status is Status.NEEDS_INSPECTION
    assert room_to(cockpit(across(bar, "dash_bar", 600, 450)), "dash") is None


@pytest.mark.parametrize(
    ("keep", "inside", "gap"),
    [
        ({"shape": "box", "low": (-100, -100, 0), "high": (100, 100, 50)}, (0, 0, 25), 25.0),
        (
            {"shape": "cylinder", "start": (0, -300, 200), "end": (0, 300, 200), "radius": 60},
            (0, 0, 200), 60.0,
        ),
        (
            {
                "shape": "polygon", "plane": "xz", "span": (-80, 80),
                "outline": [(-50, 0), (50, 0), (0, 100)],
            },
            (0, 0, 30), 30.0,
        ),
    ],
)  # fmt: skip
def test_keep_outs(keep: dict, inside: tuple, gap: float, cockpit: Sit, bar: Bar, car: Car) -> None:
    k = KeepOut.model_validate({"name": "thing", "gap": 10, **keep}, context={"units": "mm"})
    car = car.model_copy(update={"keepouts": (k,)})
    x, y, z = inside
    through = bar("tube", (x - 500, y, z), (x + 500, y, z))
    bad = room_to(cockpit(through, car=car), "thing")
    assert bad is not None
    assert bad.status is Status.FAIL
    assert bad.limit == 10
    assert bad.measured is not None
    assert bad.measured <= -20 + 1e-6
    far = bar("tube", (x - 500, y, z + 400), (x + 500, y, z + 400))
    good = room_to(cockpit(far, car=car), "thing")
    assert good is not None
    assert good.status is Status.PASS
    assert good.measured >= 400 - gap - 20 - 120


def sitting(car: Car, **fields: Any) -> Car:
    """The car with fields of its driver's seat changed."""
    one, *rest = car.seats
    return car.model_copy(update={"seats": (one.model_copy(update=fields), *rest)})


@pytest.mark.parametrize(
    ("z", "status"), [(40.0, Status.PASS), (-30.0, Status.WARN), (-60.0, Status.FAIL)]
)
def test_a_driver_through_the_floor_is_told_how_deep(
    cockpit: Sit, bar: Bar, car: Car, z: float, status: Status
) -> None:
    """A person sits 97 mm below the hip joints; the floor rises from the hoop to the front feet."""
    found = worst(told(cockpit(hoop_of(bar), car=sitting(car, hip=(400.0, 350.0, z)))), "in-car")
    assert found is not None
    assert found.status is status
    if status is not Status.PASS:
        floor = -90.0 + 10.0 * 400.0 / 1200.0
        assert found.measured == pytest.approx(z - 97.0 - floor, abs=0.1)
        assert found.quantity == "room between hips and left floor"
        assert "raise the hip point" in found.cure


@pytest.mark.parametrize(
    ("change", "surface"),
    [
        (lambda c: sitting(c, hip=(400.0, 200.0, 40.0)), "tunnel"),
        (lambda c: sitting(c, hip=(400.0, 560.0, -30.0)), "left sill"),
        (lambda c: sitting(c, back_height=1150.0), "roof"),
        (
            lambda c: c.model_copy(update={"dash": c.dash.model_copy(update={"bottom_z": 150.0})}),
            "dash",
        ),
    ],
)
def test_a_driver_in_tunnel_sill_roof_or_dash_is_told(
    cockpit: Sit, bar: Bar, car: Car, change: Callable[[Car], Car], surface: str
) -> None:
    good = worst(told(cockpit(hoop_of(bar))), "in-car")
    assert good is not None
    assert good.status is Status.PASS
    found = worst(told(cockpit(hoop_of(bar), car=change(car))), "in-car")
    assert found is not None
    assert found.status in (Status.WARN, Status.FAIL)
    assert found.quantity.endswith(f" and {surface}")
    assert f"At the {surface}" in found.cure


def test_feet_count_where_pedals_say_where_they_are(
    cockpit: Sit, bar: Bar, car: Car, person: Callable[..., Driver]
) -> None:
    """A heel below the floor is a slip of the pedals; of who has none nobody knows the heels."""
    assert car.pedals is not None
    deep = car.model_copy(update={"pedals": car.pedals.model_copy(update={"heel_z": -160.0})})
    found = [f for f in told(cockpit(hoop_of(bar), car=deep)) if f.code == "fit/in-car"]
    assert [f.status for f in found] == [Status.FAIL]
    assert "foot and left floor" in found[0].quantity
    assert "heel_z" in found[0].cure
    scene = cockpit(hoop_of(bar), car=deep, others=(person(name="beside"),))
    beside = [f for f in told(scene) if f.code == "fit/in-car" and f.subject == "beside"]
    assert [f.status for f in beside] == [Status.PASS]
    none = car.model_copy(update={"pedals": None, "floor_z": -150.0})
    without = [f for f in told(cockpit(hoop_of(bar), car=none)) if f.code == "fit/in-car"]
    assert [f.status for f in without] == [Status.PASS]


def test_what_the_car_sheet_does_not_tell_bounds_no_driver(
    cockpit: Sit, bar: Bar, car: Car
) -> None:
    bare = sitting(car, hip=(400.0, 200.0, 40.0)).model_copy(update={"tunnel": None})
    found = worst(told(cockpit(hoop_of(bar), car=bare)), "in-car")
    assert found is not None
    assert found.status is Status.PASS
    assert "The car sheet has no tunnel to hold against." in found.text


def test_a_helmet_through_the_car_is_told_whatever_the_tubes_do(
    cockpit: Sit, bar: Bar, car: Car, person: Callable[..., Driver]
) -> None:
    """A roof that falls to the header: a hoop above the helmet says nothing of the head ahead."""
    scene = cockpit(hoop_of(bar))
    top = scene.occupants[0].helmet_top
    good = worst(told(scene), "helmet-shell")
    assert good is not None
    assert good.status is Status.PASS
    assert car.roof is not None
    # straight from the hoop to a header so low that the roof passes 20 mm below the helmet's top
    hoop, header_x = car.roof.height_at_hoop, car.roof.header_x
    header = hoop - (hoop - (float(top[2]) - 20)) * header_x / float(top[0])
    low = car.roof.model_copy(update={"height_at_header": header})
    sides = {s: car.side(s).model_copy(update={"roof_corner": None}) for s in ("left", "right")}
    found = told(cockpit(hoop_of(bar), car=car.model_copy(update={"roof": low, **sides})))
    over, through = worst(found, "hoop-over-helmet"), worst(found, "helmet-shell")
    assert over is not None
    assert through is not None
    assert (over.status, through.status) == (Status.PASS, Status.FAIL)
    assert "roof" in through.cure
    helmet = scene.occupants[0].helmet
    # a level capsule below a sloping plane: its end that is nearer, along the plane's normal
    slope = (hoop - header) / header_x
    ends = [(hoop - slope * p[0] - p[2]) / np.hypot(1, slope) for p in (helmet.start, helmet.end)]
    assert through.measured == pytest.approx(min(ends) - helmet.radius, abs=1e-6)
