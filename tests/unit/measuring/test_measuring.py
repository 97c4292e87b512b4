"""The measuring sheet read back, its reckoning and the car sheet to fill in."""

from __future__ import annotations

import re
import tomllib
from math import dist
from pathlib import Path
from typing import Any

import pdfpages
import pytest
from msgspec.structs import replace

from cagekit.assembly.assemble import sketch
from cagekit.cli.main import run
from cagekit.inputs.car import Car
from cagekit.inputs.resolve import load_build
from cagekit.measuring.car_file import car_toml
from cagekit.measuring.paper import measuring_pdf
from cagekit.measuring.people import PEOPLE
from cagekit.measuring.points import PICTURES, measuring_picture, shell
from cagekit.measuring.sheet import measuring_sheet

CASES = [
    ("sprint-wagon", "in", "letter"),
    ("gravel-hatch", "mm", "a4"),
    ("track-roadster", "mm", "letter"),
]


@pytest.fixture(scope="module", params=CASES, ids=[c[0] for c in CASES])
def sheet(request: pytest.FixtureRequest) -> dict[str, Any]:
    name, units, page = request.param
    build = load_build(name)
    raw = measuring_pdf(build.entries, name, units=units, page=page)
    pages = [
        {"words": p.words, "text": p.text, "size": (p.width, p.height), "fonts": p.fonts}
        for p in pdfpages.pages(raw)
    ]
    return {"build": build, "raw": raw, "units": units, "page": page, "pages": pages}


def test_every_measure_is_in_the_table_and_in_a_picture(sheet: dict[str, Any]) -> None:
    asked = measuring_sheet(sheet["build"].entries)
    everything = "\n".join(p["text"] for p in sheet["pages"])
    people = [m for g in asked.people for m in g.measures]
    for m in [*asked.measures, *people]:
        assert m.name in everything, m.name
        # nothing else on the page says of what a width is
        assert m.name.startswith("Helmet") or not m.field.startswith("helmet."), m.name
    marked = {m.field for _, _, marks in PICTURES.values() for m in marks(shell())}
    marked |= {m.field for _, _, marks in PEOPLE.values() for m in marks}
    # the falls have a picture of their own, named by their numbers below it
    bare = {m.field for m in [*asked.measures, *people] if m.blank != "falls"} - marked
    assert not bare


def test_numbers_are_seen_once_in_the_table_and_in_the_pictures(sheet: dict[str, Any]) -> None:
    asked = measuring_sheet(sheet["build"].entries)
    words = [w["text"].split(".")[0] for p in sheet["pages"] for w in p["words"]]
    for m in asked.measures:
        assert words.count(str(m.number)) >= (1 if m.blank == "falls" else 2), m


def test_nothing_leaves_the_page_and_no_page_is_nearly_empty(sheet: dict[str, Any]) -> None:
    size = {"a4": (595.3, 841.9), "letter": (612.0, 792.0)}[sheet["page"]]
    for n, page in enumerate(sheet["pages"], start=1):
        assert page["size"] == pytest.approx(size, abs=0.5)
        for w in page["words"]:
            assert w["x0"] >= 20, (n, w["text"])
            assert w["x1"] <= size[0] - 20, (n, w["text"])
            assert w["bottom"] <= size[1] - 10, (n, w["text"])
        assert len(page["words"]) > 60, n
        assert "A cage can kill when it is wrong" in " ".join(page["text"].split())
        assert all("+" in f and "DejaVu" in f for f in page["fonts"])


def test_blanks_are_in_the_units_asked_for(sheet: dict[str, Any]) -> None:
    everything = "\n".join(p["text"] for p in sheet["pages"])
    assert f"Left, {sheet['units']}" in everything
    assert ("inches" in everything) == (sheet["units"] == "in")


def test_every_tape_is_on_the_sheet_by_the_name_it_is_entered_under(sheet: dict[str, Any]) -> None:
    asked = measuring_sheet(sheet["build"].entries)
    first = next(k for k, p in enumerate(sheet["pages"]) if "Tapes from mark to mark" in p["text"])
    page = sheet["pages"][first]
    # the table may run on to the next page; its names stand below each other
    column = next(w["x0"] for w in page["words"] if "_" in w["text"])
    words = [
        w["text"]
        for p in sheet["pages"][first : first + 2]
        for w in p["words"]
        if abs(w["x0"] - column) < 1.0
    ]
    assert {t.id for t in asked.tapes} == {w for w in words if "_" in w or w == "pillar"}
    assert "√" not in page["text"]
    blank = tomllib.loads(re.sub(r"(?m)^# (\w+ = )", r"\1", _tapes_of(sheet["build"])))
    for t in asked.tapes:
        table = blank["tapes"][t.side] if t.side else blank["tapes"]
        assert table[t.id] == "?"


def _tapes_of(build: Any) -> str:
    text = car_toml(build.entries, build.name)
    return text[text.index("[tapes]") :]


def test_same_bytes_every_time(sheet: dict[str, Any]) -> None:
    build = sheet["build"]
    again = measuring_pdf(build.entries, build.name, units=sheet["units"], page=sheet["page"])
    assert again == sheet["raw"]


def test_balloons_do_not_cover_each_other() -> None:
    numbers = {
        m.field: m.number for m in measuring_sheet(load_build("gravel-hatch").entries).measures
    }
    for name in PICTURES:
        svg = measuring_picture(name, numbers, 150.0, 80.0).svg
        balls = [
            (float(c.split('"')[1]), float(c.split('"')[3]))
            for c in svg.split("<circle ")[1:]
            if 'r="2.9"' in c.split("/>")[0]
        ]
        for i, a in enumerate(balls):
            for b in balls[i + 1 :]:
                assert dist(a, b) > 5.8, name


def fill(blank: Any, given: Any) -> Any:
    """Put the values of a car where the blank sheet has question marks."""
    if isinstance(blank, dict):
        return {k: fill(v, given[k]) for k, v in blank.items()}
    if isinstance(blank, list) and blank and isinstance(blank[0], dict):
        return [fill(blank[0], g) for g in given]
    if isinstance(blank, list):
        return list(given) if "?" in str(blank) else blank
    return given if blank == "?" else blank


def test_the_blank_car_sheet_of_a_build_says_what_kind_of_car_it_is() -> None:
    """An open car on a frame got the blank of a closed shell with three doors."""
    build = load_build("track-roadster")
    middle = build.car.model_copy(
        update={"seats": (build.car.seats[0].model_copy(update={"side": "centre"}),)}
    )
    for car, seat in ((build.car, "left"), (middle, "centre")):
        text = car_toml(build.entries, "roadster", car=car)
        blank = tomllib.loads(text)
        for field in ("body", "frame", "doors", "driver_side"):
            assert blank[field] == getattr(build.car, field)
        assert blank["seats"][0]["side"] == seat
    assert 'body = "open"' in text
    assert '# or "closed"' in text
    assert '# or "left", "right"' in text
    alone = tomllib.loads(car_toml(build.entries, "roadster"))
    assert (alone["body"], alone["seats"][0]["side"]) == ("closed", "left")


@pytest.mark.parametrize("demo", ["sprint-wagon", "gravel-hatch", "hillclimb-coupe"])
def test_the_blank_car_sheet_once_filled_makes_the_same_cage(demo: str) -> None:
    build = load_build(demo)
    given = build.car.model_dump(mode="json")
    filled = fill(tomllib.loads(car_toml(build.entries, demo)), given)
    for side in ("left", "right"):
        for foot in ("main_foot", "front_foot", "rear_foot"):
            for name in ("surface", "normal"):
                filled[side][foot][name] = given[side][foot][name]
    filled["seats"] = [
        s | {"side": g["side"]} for s, g in zip(filled["seats"], given["seats"], strict=True)
    ]
    car = Car.model_validate(filled, context={"units": "mm"})
    if build.car.dash is not None and car.dash is None:
        car = car.model_copy(update={"dash": build.car.dash})
    one, two = sketch(build), sketch(replace(build, car=car))
    for id_, m in one.members.items():
        assert dist(m.path.start, two.members[id_].path.start) < 1e-6
        assert m.path.length == pytest.approx(two.members[id_].path.length)


def test_a_blank_left_over_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["measure", "halo-a-pillar", "--out", str(tmp_path), "--toml"]) == 0
    car = tmp_path / "car.toml"
    build = tmp_path / "b.toml"
    build.write_text(
        'kind = "build"\nname = "b"\ncar = "car.toml"\nlayout = "halo-a-pillar"\n'
        'tube = "dom-1.625x0.134"\ntooling = "inch-shop"\n'
    )
    capsys.readouterr()
    assert run(["check", str(build)]) == 2
    said = capsys.readouterr().err
    assert "car.toml" in said
    assert "half_width_belt" in said
    # a filled car sheet is never overwritten
    car.write_text("# mine\n")
    assert run(["measure", "--out", str(tmp_path), "--toml"]) == 2
    assert car.read_text() == "# mine\n"


def test_layouts_and_builds_may_be_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["measure", "gravel-hatch", "--out", str(tmp_path)]) == 0
    assert (tmp_path / "measuring-sheet.pdf").read_bytes().startswith(b"%PDF")
    assert run(["measure", "halo-a-piller", "--out", str(tmp_path)]) == 2
    assert "halo-a-piller" in capsys.readouterr().err
