"""Rulebooks on cages that no builder would build: every rule answers, none stumbles."""

from __future__ import annotations

import json
import random
from dataclasses import replace as with_fields

import demos
import pytest
from msgspec.structs import replace

from cagekit.cage.cage import Cage
from cagekit.checks import run
from cagekit.checks.finding import to_json_text
from cagekit.checks.table import table_text
from cagekit.design import Design

PROFILES = ["fia-253", "motorsport-uk", "nhra", "scca-gcr", "nasa-ccr", "common-practice"]
ODD = ("strut", "main_hoop", "door_bar", "half_hoop", "roof_diagonal", "rear_brace")
NOTHING = {"roof": None, "dash": None, "suspension_x": None, "mass": None}


@pytest.mark.parametrize(
    "name", ["sprint-wagon", "hillclimb-coupe", "gravel-hatch", "track-roadster"]
)
def test_members_missing_and_misnamed(name: str) -> None:
    draw = random.Random(253)
    build = demos.build(name)
    cage = demos.cage(name)
    for _ in range(12):
        members = [
            with_fields(m, role=draw.choice([m.role, m.role, draw.choice(ODD)]))
            for m in cage.members.values()
            if draw.random() < 0.75
        ]
        odd = Cage(
            "odd",
            members,
            plates=[p for p in cage.plates if draw.random() < 0.8],
            doors=cage.doors if draw.random() < 0.5 else (),
        )
        car = build.car.model_copy(update=NOTHING if draw.random() < 0.5 else {})
        drivers = build.drivers if draw.random() < 0.5 else ()
        found = run(
            Design(replace(build, car=car, drivers=drivers), cage=odd),
            ["rules", "plates"],
            PROFILES,
        )
        codes = {f.code for f in found if f.group == "rules"}
        assert len(codes) > 250
        json.loads(to_json_text(found), parse_constant=pytest.fail)
        text = table_text(found, everything=True)
        assert max(map(len, text.splitlines())) <= 80
