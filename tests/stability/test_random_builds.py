"""A seeded sweep over builds with sane and insane numbers.

Each build is made whole or refused with a message that names the member or field; none may end
in any other exception.
"""

from __future__ import annotations

import random
from collections import Counter
from math import degrees
from typing import Any

import demos
import pytest
from msgspec.structs import replace
from sweeps import size

from cagekit.assembly.assemble import members_only
from cagekit.errors import CagekitError, GeometryError, InputError
from cagekit.inputs.build import Build, entries_of
from cagekit.inputs.messages import unit_of


def shaken(build: Build, rng: random.Random, strength: float) -> dict[str, Any]:
    """Changes to some members: lengths shaken by ``strength``, now and then nonsense."""
    changes: dict[str, Any] = {}
    for entry in build.entries:
        if rng.random() < 0.6:
            continue
        fields: dict[str, Any] = {}
        idle = entry.unread(frozenset())  # what others make idle is refused, whatever it is
        for name, value in entry:
            if name in idle and strength < 1.0:
                continue
            # a small change of what is 0 asks for something that is not there, often in vain
            if isinstance(value, float) and (value or strength > 0.1) and rng.random() < 0.5:
                room = 80.0 if value > 10.0 else 0.5
                shift = (
                    value * rng.uniform(-strength, strength) + rng.uniform(-room, room) * strength
                )
                angle = unit_of(type(entry), (name,)) == "deg"
                fields[name] = degrees(value) + rng.uniform(-30, 30) * strength
                if not angle:
                    fields[name] = f"{value + shift} mm"
            elif (
                value is None
                and name in ("height", "bend_radius", "knee_height", "low", "half_width_top")
                and rng.random() < 0.3
            ):
                fields[name] = f"{rng.uniform(50, 1200)} mm"
        if rng.random() < 0.05 * strength:
            fields[rng.choice(["gap", "height", "from", "tube", "nonsense"])] = rng.choice(
                [-1e9, 0, 1e12, "wide", "on nothing at all", float("inf")]
            )
        if rng.random() < 0.05:
            fields["omit"] = True
        if fields:
            changes[entry.id] = fields
    return changes


def outcome(build: Build, changes: dict[str, Any]) -> str:
    try:
        file = build.file.model_copy(update={"members": {**build.file.members, **changes}})
        cage = members_only(replace(build, entries=entries_of(file, build.layout, "random")))
        for id_ in cage.members:
            assert cage.volume(id_) > 0, id_
            assert cage.cut_length(id_) > 0, id_
    except (GeometryError, InputError) as exc:
        return "refused" if len(str(exc)) > 20 else f"refused without saying why: {exc}"
    except CagekitError:
        return "refused"
    return "made"


@pytest.mark.parametrize("strength", [0.05, 0.3, 2.0])
@pytest.mark.parametrize("name", demos.DEMOS)
def test_random_builds_are_made_or_refused(name: str, strength: float) -> None:
    build = demos.build(name)
    rng = random.Random(f"{name} {strength}")
    found = Counter(outcome(build, shaken(build, rng, strength)) for _ in range(8))
    assert set(found) <= {"made", "refused"}, found
    if strength <= 0.05:
        assert found["made"] >= 2, found


@pytest.mark.slow
@pytest.mark.study
@pytest.mark.parametrize("name", demos.DEMOS)
def test_many_random_builds(name: str) -> None:
    build = demos.build(name)
    rng = random.Random(f"thousand {name}")
    found = Counter(
        outcome(build, shaken(build, rng, rng.choice([0.05, 0.3, 1.0, 3.0])))
        for _ in range(size(40, 250))
    )
    assert set(found) == {"made", "refused"}, found
    tried = sum(found.values())
    assert found["made"] > tried / 8, found
    assert found["refused"] > tried / 8, found
