"""Wrong calls of a script: a ValueError of our own that names argument, value and cure."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import cagekit as ck
from cagekit.errors import CagekitError

NAN = float("nan")
SIZE = "cds-45x2.5"


def hoop() -> ck.TubePart:
    return ck.main_hoop()


def roadster() -> ck.CageDesign:
    return ck.load("track-roadster")


def between(start: Any = (0, 0, 0), end: Any = (0, 0, 900), **more: Any) -> ck.TubePart:
    return ck.between(start, end, **{"tube": SIZE, **more})


WRONG: dict[str, tuple[Callable[[], Any], tuple[str, ...]]] = {
    "a size below zero": (lambda: ck.main_hoop(height=-5), ("height", "-5", "above 0")),
    "a size that is none": (lambda: ck.main_hoop(height="tall"), ("height", "tall")),
    "a size that is no number": (lambda: ck.main_hoop(height=NAN), ("height", "finite")),
    "a misspelt name": (lambda: ck.main_hoop(heigth=9), ("heigth", "'height'")),
    "no name": (lambda: ck.main_hoop(1000), ("by name", "1000")),
    "a wall with no bore": (lambda: ck.main_hoop(od=40, wall=25), ("wall", "25", "bore")),
    "a bend that runs into itself": (
        lambda: ck.main_hoop(bend_radius=15), ("main_hoop", "15 mm", "41.275", "die"),
    ),
    "a tube that nobody sells": (lambda: ck.halo(tube="cds-45"), ("tube", "cds-45", "cds-45x2.5")),
    "a tube as a number": (lambda: ck.halo(tube=45), ("tube", "45", "preset")),
    "a tube for a plate": (lambda: ck.floor_plate(tube=SIZE), ("tube", SIZE, "no tube")),
    "units of their own": (lambda: ck.halo(units="cm"), ("units", "cm", "'in'")),
    "tooling of nobody": (lambda: ck.halo(tooling="nope"), ("tooling", "nope", "metric-shop")),
    "a steel of nobody": (lambda: ck.halo(material="1020-dm"), ("material", "1020-dm", "1020-dom")),
    "the steel of a plate": (lambda: ck.tab(material="tin"), ("material", "tin", "1020-dom")),
    "a bolt of nobody": (lambda: ck.tab(bolt_size="M99"), ("bolt_size", "M99", "M10")),
    "an angle as text": (lambda: ck.strut(angle_a="60"), ("angle_a", "60", "degrees")),
    "a flat cope": (lambda: ck.strut(angle_a=5), ("end a", "5.0 degrees", "15")),
    "a kind of nobody": (lambda: ck.part("main_hop"), ("main_hop", "'main_hoop'")),
    "a kind that is no name": (lambda: ck.part(5), ("kind", "5", "kinds()")),
    "another size by a wrong name": (lambda: hoop().replace(heigth=1), ("heigth", "'height'")),
    "a size of a tube in a cage": (
        lambda: roadster()["main_hoop"].replace(height=1), ("main_hoop", "design.change"),
    ),
    "a spot past the end": (lambda: hoop().at(fraction=1.5), ("fraction", "1.5", "0 to 1")),
    "a spot at half": (lambda: hoop().at(fraction="half"), ("fraction", "half", "0 to 1")),
    "a spot by a word": (lambda: hoop().at(height=9, which="low"), ("which", "low", "1, 2, 3")),
    "a spot too high": (lambda: hoop().at(height=4500), ("4500", "nowhere", "1120")),
    "a point of two": (lambda: between((0, 0)), ("start", "(0, 0)", "x, y, z")),
    "a point of letters": (lambda: between(end="up"), ("end", "up", "x, y, z")),
    "a point nowhere": (lambda: between((0, 0, NAN)), ("start", "nan", "finite")),
    "a tube for a spot": (lambda: between(hoop()), ("start", "main_hoop", "at(height")),
    "no tube between": (lambda: between(tube=None), ("tube", "preset")),
    "one corner as three": (lambda: between(via=(1, 2, 3)), ("via[0]", "x, y, z")),
    "a name of its own": (lambda: between(name="a b/c"), ("name", "a b/c", "letters")),
    "a cope to nothing": (lambda: hoop().coped_to(), ("parents", "none")),
    "a cope to a word": (lambda: hoop().coped_to("halo"), ("parents", "halo", "no tube")),
    "a cope to a plate": (lambda: hoop().coped_to(ck.tab()), ("parents", "no tube")),
    "a third end": (lambda: hoop().coped_to(ck.halo(), end="c"), ("end", "'c'", "'a' or 'b'")),
    "a build of nobody by number": (lambda: ck.load(5), ("build", "5", "dictionary")),
    "a build in feet": (lambda: ck.load("track-roadster", units="ft"), ("units", "ft", "'in'")),
    "a change that is a list": (lambda: roadster().change(["tube"]), ("change", "dictionary")),
    "a change by a number": (lambda: roadster().change({3: 3}), ("change", "dotted name")),
    "a member's field without its table": (
        lambda: roadster().change({"main_hoop.gap": 12}),
        ("track-roadster.change: main_hoop.gap", "'members.main_hoop.gap'"),
    ),
    "a field that a member has not": (
        lambda: roadster().change({"members.main_hoop.gapp": 12}),
        ("track-roadster.change [members.main_hoop] gapp = 12", "'gap'"),
    ),
    "a tube that is not there": (
        lambda: roadster().change({"tube": "cds-45x2.6"}),
        ("track-roadster.change tube: ", "cds-45x2.5"),
    ),
    "a tube by number": (lambda: roadster()[0], ("id", "0", "'main_hoop'")),
    "a door half by word": (lambda: roadster().opened("half"), ("share", "half", "0 to 1")),
    "a file that is a number": (lambda: hoop().save(5), ("path", "5", "hoop.step")),
    "bends of a plate": (lambda: ck.tab().save("tab.csv"), ("tab", "no tube", ".dxf")),
}  # fmt: skip


@pytest.mark.parametrize("what", WRONG)
def test_a_wrong_call_says_what_would_do(
    what: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    call, words = WRONG[what]
    with pytest.raises(CagekitError) as caught:
        call()
    assert isinstance(caught.value, ValueError)
    for word in words:
        assert word in str(caught.value)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.kernel
@pytest.mark.parametrize("place", ["here", (1, 2), None, (1, 2, NAN), [[2, 0, 0, 0]] * 4])
def test_a_place_that_is_none_is_refused(place: Any) -> None:
    with pytest.raises(CagekitError, match=r"main_hoop\.placed: place"):
        hoop().placed(place)


def test_one_name_does_where_several_may_stand() -> None:
    design = roadster()
    assert design.check(groups="geometry") == design.check(groups=["geometry"])
