"""What a script starts with: every example in it runs, every name is there and short to read."""

from __future__ import annotations

import doctest
from typing import Any

import pytest

import cagekit
from cagekit.design import design, face
from cagekit.errors import CagekitError

DEMOS = ("gravel-hatch", "hillclimb-coupe", "sprint-wagon", "track-roadster")


@pytest.mark.parametrize("module", [cagekit, face, design], ids=lambda m: m.__name__)
def test_every_example_runs(module: Any) -> None:
    found = doctest.testmod(module, raise_on_error=False)
    assert found.failed == 0
    assert found.attempted or module is design


def test_every_name_of_the_face_is_there_and_told_by_dir() -> None:
    for name in cagekit.__all__:
        assert getattr(cagekit, name) is not None
        assert name in dir(cagekit)
    with pytest.raises(AttributeError, match="no attribute 'lode'"):
        _ = cagekit.lode  # type: ignore[attr-defined]


def test_a_part_of_every_kind_is_a_design_of_its_own() -> None:
    for kind in cagekit.kinds():
        made = cagekit.part(kind)
        assert made.cage.members or made.cage.plates or made.cage.hardware, kind
        assert len(made.bends) == len(made.cage.members), kind
        with pytest.raises(CagekitError, match="no build"):
            _ = made.build


@pytest.mark.parametrize(
    ("kind", "dims", "words"),
    [
        ("strutt", {}, "Did you mean 'strut'"),
        ("strut", {"lenght": 300}, "length"),
        ("strut", {"length": "long"}, "length"),
        ("strut", {"tooling": "no-such-shop"}, "no-such-shop"),
    ],
)
def test_a_part_that_cannot_be_says_why(kind: str, dims: dict[str, Any], words: str) -> None:
    with pytest.raises(CagekitError, match=words):
        cagekit.part(kind, **dims)


def test_a_bare_length_counts_in_the_units_named() -> None:
    inches, mm = cagekit.part("strut", length=20, units="in"), cagekit.part("strut", length=508)
    lengths = [p.cage.member("strut").path.length for p in (inches, mm)]
    assert lengths[0] == pytest.approx(lengths[1], abs=1e-9)
    assert inches.units == "in"


@pytest.mark.parametrize("demo", DEMOS)
def test_what_is_looked_at_in_a_console_fits_in_a_line(demo: str) -> None:
    made = cagekit.load(demo)
    cage = made.cage
    things: list[Any] = [made, made.build, cage, *cage.plates, *cage.joints, *made.people]
    for member in cage.members.values():
        things += [member, member.path, cage.cut(member.id, "a")]
    things += [p.outline for p in cage.plates]
    for thing in things:
        assert repr(thing).startswith(f"<{type(thing).__name__}")
        assert len(repr(thing)) <= 120, repr(thing)
