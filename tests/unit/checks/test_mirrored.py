"""A car, its cage and its people mirrored: every number stays, sides change."""

from __future__ import annotations

from dataclasses import replace as with_fields

import pytest
from msgspec.structs import replace

from cagekit.assembly.assemble import sketch
from cagekit.cage.cage import Cage
from cagekit.cage.member import Member
from cagekit.checks.finding import Finding
from cagekit.checks.registry import run
from cagekit.design import Design
from cagekit.inputs.build import Build
from cagekit.inputs.car import Car
from cagekit.inputs.resolve import load_build

SWAP = {"left": "right", "right": "left"}


def swapped(name: str) -> str:
    """A name with its sides exchanged."""
    return "_".join(SWAP.get(w, w) for w in name.split("_"))


def mirrored_car(car: Car) -> Car:
    seats = tuple(
        s.model_copy(update={"hip": (s.hip[0], -s.hip[1], s.hip[2]), "side": SWAP[s.side]})
        for s in car.seats
    )
    x, y, z = car.wheel.centre
    tapes = car.tapes.model_copy(update={"left": car.tapes.right, "right": car.tapes.left})
    return car.model_copy(
        update={
            "tapes": tapes,
            "left": car.right, "right": car.left, "driver_side": SWAP[car.driver_side],
            "seats": seats, "wheel": car.wheel.model_copy(update={"centre": (x, -y, z)}),
            "keepouts": (),
        }
    )  # fmt: skip


def mirrored_member(member: Member) -> Member:
    return with_fields(
        member, id=swapped(member.id), path=member.path.mirrored(),
        side=SWAP.get(member.side, member.side),  # type: ignore[arg-type]
    )  # fmt: skip


def found(build: Build, cage: Cage) -> dict[tuple[str, str], Finding]:
    rows = run(Design(build, cage=cage), groups=["fit", "car", "sight"], rules=[])
    return {(f.code, f.subject if f.group != "car" else ""): f for f in rows}


@pytest.mark.parametrize("name", ["sprint-wagon", "gravel-hatch", "hillclimb-coupe"])
def test_mirrored(name: str) -> None:
    build = load_build(name)
    build = replace(build, car=build.car.model_copy(update={"keepouts": ()}))
    cage = sketch(build)
    other = replace(build, car=mirrored_car(build.car))
    file = build.file.model_copy(update={"padding": ()})
    build, other = replace(build, file=file), replace(other, file=file)
    turned = Cage(cage.name, [mirrored_member(m) for m in cage.members.values()])
    one, two = found(build, cage), found(other, turned)

    def key(code: str, subject: str) -> tuple[str, str]:
        code = "-".join(SWAP.get(w, w) for w in code.replace("car/", "car/-").split("-"))
        words = " ".join(SWAP.get(w, w) for w in subject.split(" "))
        return code.replace("car/-", "car/"), swapped(words)

    assert {key(*k) for k in one} == set(two)
    for k, f in one.items():
        g = two[key(*k)]
        assert f.status is g.status, k
        if f.measured is None:
            assert g.measured is None
        else:
            assert g.measured == pytest.approx(f.measured, abs=0.02), k
