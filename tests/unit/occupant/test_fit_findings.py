"""Every fit, car and sight check: one scene in which it is good and one in which it is not."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

import pytest

from cagekit.cage.member import Member, Swing
from cagekit.car.shell import Surface, keep_out, surfaces
from cagekit.checks.finding import Certainty, Finding, Status
from cagekit.checks.fit.car_fit import check_surface
from cagekit.checks.fit.limits import fit_checks
from cagekit.checks.fit.people import person as person_findings
from cagekit.checks.fit.sight import sight_of
from cagekit.fit.cockpit import Cockpit
from cagekit.inputs.car import Car, KeepOut
from cagekit.inputs.driver import Driver

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


def told(scene: Cockpit) -> list[Finding]:
    who = scene.occupants[0]
    return [*person_findings(scene, who), *sight_of(scene, who)]


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


def test_every_check_in_the_file_is_tried_above() -> None:
    elsewhere = {"hoop-over-helmet-open", "helmet-line", "reach", "egress-open"}
    assert set(fit_checks()) == set(SCENES) | elsewhere


@pytest.mark.parametrize("name", list(fit_checks()))
def test_every_limit_can_be_kept_and_broken(name: str) -> None:
    check = fit_checks()[name]
    for limit in check.limits:
        assert limit.level in (Status.FAIL, Status.WARN)
        assert limit.source
        assert isinstance(limit.certainty, Certainty)
        assert limit.text
        bound = limit.value[1] if isinstance(limit.value, tuple) else limit.value
        judged = {limit.holds(bound + d) for d in (-5.0, 5.0)}
        assert judged == {True, False} or isinstance(limit.value, tuple)
    # the softest limit is the hardest to keep: what keeps it keeps all
    last = check.limits[-1]
    values = last.value if isinstance(last.value, tuple) else (last.value,)
    inside = sum(values) / len(values) + (1e-3 if last.op == ">" else 0.0)
    assert check.judge(inside)[0] is Status.PASS


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
    surface = next(s for s in surfaces(car) if s.name == name)
    good, bad = (check_surface(cockpit(make(bar)), surface) for make in SHELL[name])
    assert good is not None
    assert bad is not None
    assert (good.status, bad.status) == (Status.PASS, Status.FAIL), (good.measured, bad.measured)
    assert bad.cure
    assert bad.evidence.points


def test_depth_into_a_plane_is_the_number(cockpit: Sit, bar: Bar, car: Car) -> None:
    door_surface = next(s for s in surfaces(car) if s.name == "left door")
    found = check_surface(cockpit(door(bar, 330, 655)), door_surface)
    assert found is not None
    assert found.measured == pytest.approx(690 - 655 - 20, abs=1e-3)


def test_dash_is_cut_not_failed(cockpit: Sit, bar: Bar, car: Car) -> None:
    dash = next(s for s in surfaces(car) if s.name == "dash")
    found = check_surface(cockpit(across(bar, "dash_bar", 1050, 450)), dash)
    assert found is not None
    assert found.status is Status.NEEDS_INSPECTION
    assert check_surface(cockpit(across(bar, "dash_bar", 600, 450)), dash) is None


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
def test_keep_outs(keep: dict, inside: tuple, gap: float, cockpit: Sit, bar: Bar) -> None:
    k = KeepOut.model_validate({"name": "thing", "gap": 10, **keep}, context={"units": "mm"})
    surface = Surface(name=k.name, solid=keep_out(k), keep=k.gap)
    x, y, z = inside
    through = bar("tube", (x - 500, y, z), (x + 500, y, z))
    bad = check_surface(cockpit(through), surface)
    assert bad is not None
    assert bad.status is Status.FAIL
    assert bad.limit == 10
    assert bad.measured is not None
    assert bad.measured <= -20 + 1e-6
    far = bar("tube", (x - 500, y, z + 400), (x + 500, y, z + 400))
    good = check_surface(cockpit(far), surface)
    assert good is not None
    assert good.status is Status.PASS
    assert good.measured >= 400 - gap - 20 - 120
