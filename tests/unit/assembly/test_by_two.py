"""Versions of which a copy of this process makes half are those made here, to the last bit."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

import pytest
from outcomes import given, outcome

from cagekit import process
from cagekit.assembly import by_two
from cagekit.assembly.assemble import members_only, variants
from cagekit.cage.cage import Cage
from cagekit.cage.kept import Kept
from cagekit.errors import CagekitError, GeometryError, about
from cagekit.inputs.build import Build
from cagekit.inputs.resolve import load_build, with_changes
from cagekit.process import ProcessCopy

copies = pytest.mark.skipif(not ProcessCopy.can_be, reason="this system copies no process")


def moved(demo: str, *rows: tuple[str, str, str]) -> list[Build]:
    build = load_build(demo)
    return [build, *(with_changes(build, m, {field: value}) for m, field, value in rows)]


@pytest.fixture(autouse=True)
def two(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(by_two, "SHARED", 2)
    monkeypatch.setattr(process, "cores", lambda: 2)


VERSIONS = {
    "gravel-hatch": (
        ("dash_bar", "set_back", "41 mm"),
        ("harness_bar", "height", "444 mm"),
        ("main_hoop", "gap", "44 mm"),
        ("door_bar", "height_rear", "333 mm"),
        ("harness_bar", "height", "2444 mm"),  # over the roof
        ("main_hoop", "gap", "46 mm"),
    ),
    "sprint-wagon": (("door_bar", "height_rear", "300 mm"), ("main_hoop", "gap", "47 mm")),
    "track-roadster": (("main_hoop", "bend_radius", "900 mm"), ("main_hoop", "height", "975 mm")),
}


@copies
@pytest.mark.parametrize("demo", VERSIONS)
def test_versions_made_by_two_processes_are_those_made_alone(
    demo: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    here: list[int] = []
    builds = moved(demo, *VERSIONS[demo])
    by_two_made = process.made_by_two

    def noting(make: Callable[[slice], list[by_two.CageOrError]], *how: Any) -> object:
        def noted(of: slice) -> list[by_two.CageOrError]:
            here.extend(range(of.start, of.stop))
            return make(of)

        return by_two_made(noted, *how)

    monkeypatch.setattr(process, "made_by_two", noting)
    made = variants(builds, copied=True)
    assert here == list(range((len(builds) + 1) // 2))
    for together, build in zip(made, builds, strict=True):
        assert outcome(partial(given, together)) == outcome(partial(members_only, build))
        alone = variants([build])[0]
        assert type(together) is type(alone)
        if isinstance(together, CagekitError):
            assert vars(together) == vars(alone)


@copies
def test_tubes_that_stand_are_one_object_in_both_halves() -> None:
    rows = [("harness_bar", "height", f"{440 + n} mm") for n in range(4)]
    kept = Kept()
    made = [given(c) for c in variants(moved("gravel-hatch", *rows), kept, copied=True)]
    for cage in made:
        assert cage.kept is kept
        other = {i for i, m in made[0].members.items() if cage.members[i] is not m}
        assert all(i.startswith("harness_bar") for i in other)
        left = cage.members.keys() - other
        assert all(cage.cut(i, "b") is made[0].cut(i, "b") for i in left if "hoop" in i)


@copies
def test_what_a_copy_that_ends_would_have_made_is_made_here(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def gone(made: Sequence[by_two.CageOrError], known: Sequence[object]) -> list[bytes]:
        os.kill(os.getpid(), signal.SIGKILL)
        return []

    monkeypatch.setattr(by_two, "packed", gone)
    builds = moved("gravel-hatch", *VERSIONS["gravel-hatch"][:3])
    made = [given(c) for c in variants(builds, copied=True)]
    assert [outcome(lambda c=c: c) for c in made] == [  # type: ignore[misc]
        outcome(partial(members_only, b)) for b in builds
    ]


def test_few_versions_are_made_by_one(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(by_two, "SHARED", 3)

    def copied(*_: object, **__: object) -> None:
        raise AssertionError("two versions do not pay for a copy")

    copied.can_be = True  # type: ignore[attr-defined]
    monkeypatch.setattr(process, "ProcessCopy", copied)
    builds = moved("gravel-hatch", ("dash_bar", "set_back", "41 mm"))
    assert all(isinstance(c, Cage) for c in variants(builds, copied=True))


def test_an_error_comes_back_with_all_that_it_knows() -> None:
    with pytest.raises(GeometryError) as raised, about("an entry"):
        raise GeometryError("hoop", "is too wide.", "Make it narrower.")
    known = by_two.known_by_number(Kept(), [])
    (back,) = by_two.unpacked(by_two.packed([raised.value], known), known)
    assert type(back) is GeometryError
    assert str(back) == str(raised.value)
    assert vars(back) == vars(raised.value)
