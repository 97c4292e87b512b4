"""The shop book read back: every tube, joint and step is there, nothing is cut off."""

from __future__ import annotations

from collections.abc import Callable
from math import degrees
from pathlib import Path

import demos
import pdfpages
import pytest
from msgspec.structs import replace

from cagekit.design import Design
from cagekit.inputs.presets import shipped_root
from cagekit.inputs.resolve import load_build
from cagekit.inputs.tooling import Offcut, TestBend
from cagekit.names import named
from cagekit.shop.papers.inspection import AWAY, wall_spot
from cagekit.writers.csv import write_cuts
from cagekit.writers.shopbook import Book, write_shopbook
from cagekit.writers.tube_pages import shape_check, tube_facts
from cagekit.writers.weld_pages import plates_title


@pytest.fixture(
    scope="module",
    params=[
        pytest.param(n, marks=pytest.mark.xdist_group(f"pages of {n}"))
        for n in ("sprint-wagon", "gravel-hatch")
    ],
)
def design(request: pytest.FixtureRequest) -> Design:
    return demos.design(request.param)


@pytest.fixture(scope="module")
def pages(design: Design, made: Callable[[str], Path]) -> list:
    return [
        {"text": p.text, "words": p.words, "size": (p.width, p.height), "fonts": p.fonts}
        for p in pdfpages.pages(made(design.build.name) / "shopbook.pdf")
    ]


def test_every_chapter_is_there(pages: list) -> None:
    everything = "\n".join(p["text"] for p in pages)
    for chapter in (
        "Before anything is cut",
        "From the left",
        "From the front",
        "From above",
        "Bent tubes",
        "Straight tubes",
        "Copes: where each template is",
        "Reference lines: both ends of a tube on one clock",
        "By saw, hole saw or mill",
        "By grinder",
        "Cuts from stock",
        "What to buy",
        "Plates",
        "Order of work",
        "Weld map",
        "Inspection by the builder",
        "For the scrutineer",
    ):
        assert chapter in everything, chapter


def test_every_tube_and_joint_is_named(design: Design, pages: list) -> None:
    everything = " ".join(" ".join(p["text"].split()) for p in pages)
    fitted = design.cage.as_fitted()
    for n, id_ in enumerate(fitted.members, start=1):
        assert f"{n} {named(id_)}" in everything
    for joint in fitted.joints:
        assert joint.id in everything


def test_a_bent_tube_says_how_blank_and_finished_length_agree(design: Design, pages: list) -> None:
    book = Book(design)
    everything = " ".join(" ".join(p["text"].split()) for p in pages)
    bent = [s for s in design.bends if s.stretch > 0]
    assert bent
    for s in bent:
        spare = s.work.extra_a + s.work.extra_b
        assert s.blank + s.stretch == pytest.approx(s.cut_length + spare, abs=1e-6)
        told = f"; the bends stretch it {book.length(s.stretch)}"
        assert told in dict(tube_facts(book, s))["Finished"]
        assert f"stretch it {book.length(s.stretch)}" in everything


@pytest.mark.parametrize("name", [*demos.DEMOS, *demos.STRANGERS])
def test_a_tube_that_is_turned_between_two_bends_is_not_called_flat(name: str) -> None:
    """What the table has a hand turn lifts an end off the floor, however little."""
    book = Book(demos.design(name))
    for schedule in book.design.bends:
        turns = [degrees(t.rotation or 0.0) % 180.0 for t in schedule.steps]
        if not turns or schedule.die is None:
            continue
        words = " ".join(shape_check(book, schedule))
        assert ("Twisted: " in words) == any(0.05 < turn < 179.95 for turn in turns)
        assert ("Flat: " in words) != ("Twisted: " in words)


def test_depths_of_copes_are_told_from_the_tip(pages: list) -> None:
    # blanks carry spare at their ends, so nothing is measured from where a blank ends
    everything = " ".join(" ".join(p["text"].split()) for p in pages)
    assert "Depth is from the finished tip along the tube" in everything
    assert "end of the blank" not in everything


def test_every_page_carries_the_caution_and_never_says_safe_or_legal(pages: list) -> None:
    for page in pages:
        text = " ".join(page["text"].split())
        assert "A cage can kill when it is wrong" in text
        for word in ("is safe", "is legal", "approved"):
            assert word not in text.lower()


def test_no_word_leaves_the_page_and_no_page_is_almost_empty(pages: list) -> None:
    for number, page in enumerate(pages, start=1):
        wide, tall = page["size"]
        for word in page["words"]:
            assert word["x0"] >= 10, (number, word["text"])
            assert word["x1"] <= wide - 10, (number, word["text"])
            assert word["bottom"] <= tall - 8, (number, word["text"])
        assert len(page["words"]) > 60, f"page {number} is nearly empty"


def test_fonts_are_embedded(pages: list) -> None:
    fonts = {f for p in pages for f in p["fonts"]}
    assert fonts
    assert all("+" in f and "DejaVu" in f for f in fonts)


def test_lengths_are_said_in_the_builders_units(design: Design) -> None:
    book = Book(Design(build=design.build, cage=design.cage, units="in"))
    assert book.length(25.4 * 12.0625) == "12 1/16 in"
    metric = Book(Design(build=design.build, cage=design.cage, units="mm"))
    assert metric.length(306.4) == "306 mm"


def test_walls_are_measured_on_a_straight_away_from_bends_and_cuts(design: Design) -> None:
    hoop = design.cage.members["main_hoop"]
    spot = wall_spot(design.cage, hoop)
    assert spot.clear > AWAY
    tip = design.cage.cut("main_hoop", "a").shortest
    place = hoop.path.spot(spot.station + tip)
    piece = hoop.path.pieces[place.piece]
    assert piece not in hoop.path.bends
    assert min(place.local, piece.length - place.local) == pytest.approx(spot.clear)


def test_the_book_is_the_same_every_time(
    design: Design, made: Callable[[str], Path], tmp_path: Path
) -> None:
    write_shopbook(design, tmp_path)
    first = made(design.build.name) / "shopbook.pdf"
    assert first.read_bytes() == (tmp_path / "shopbook.pdf").read_bytes()


@pytest.mark.parametrize(
    ("kinds", "title"),
    [
        (["foot", "foot"], "Feet"),
        (["foot", "gusset"], "Feet and gussets"),
        (["plate to car", "foot", "tab"], "Plates to the car, feet and tabs"),
    ],
)
def test_the_list_of_welds_of_plates_is_titled_after_what_it_holds(kinds, title, design) -> None:
    row = next(r for r in design.weld_rows if not r.weld)
    joint = next(r for r in design.weld_rows if r.weld)
    assert plates_title([joint, *(replace(row, kind=k) for k in kinds)]) == title


def test_the_book_tells_what_the_sheet_says_of_each_machine_and_die(tmp_path: Path) -> None:
    """Names, notes, and the springback of every tube that a die bends, not of the first alone."""
    text = (shipped_root() / "builds/hillclimb-coupe.toml").read_text("utf-8")
    path = tmp_path / "coupe.toml"
    path.write_text(text.replace("[tubes]\n", '[tubes]\nhalf_hoop = "cds-45x3.0"\n', 1), "utf-8")
    build = load_build(str(path))
    tests = tuple(
        TestBend.model_validate({"set": 90, "got": got, "wall": wall})
        for got, wall in ((85, 2.5), (87, 3.0))
    )
    dies = tuple(
        d.model_copy(update={"note": f"shim {d.name}", "test": tests}) for d in build.tooling.die
    )
    tooling = build.tooling.model_copy(
        update={"die": dies, "bender": build.tooling.bender.model_copy(update={"name": "big one"})}
    )
    book = Book(Design(replace(build, tooling=tooling), units="in"))
    assert "big one" in book.machines()
    rows = book.springback()
    assert len(rows) == 2
    for row, size, slope in zip(rows, ("0.098 in", "0.118 in"), (90 / 85, 90 / 87), strict=True):
        assert row[0].endswith(size)
        assert f"{slope:.4f}" in row[1]
        assert row[3].startswith("shim ")


def test_an_off_cut_is_called_by_what_is_chalked_on_it(tmp_path: Path) -> None:
    """In the book and in ``cuts.csv``; two of one length by either word."""
    build = load_build("track-roadster")
    cuts = tuple(
        Offcut(od=45, wall=2.5, length=3000, label=label) for label in ("rack 7", "rack 8")
    )
    tooling = build.tooling.model_copy(update={"offcut": cuts})
    design = Design(replace(build, tooling=tooling))
    labels = {b.bar.label for plan in design.cuts for b in plan.bars if b.bar.owned}
    assert labels == {"rack 7 or rack 8"}
    book = Book(design)
    told = [bar["label"] for plan in map(book.cut, design.cuts, range(9)) for bar in plan["bars"]]
    assert any("own off-cut rack 7 or rack 8, " in label for label in told)
    write_cuts(design, tmp_path)
    assert "rack 7 or rack 8" in (tmp_path / "cuts.csv").read_text("utf-8")


def test_the_cover_calls_no_member_that_the_build_leaves_out() -> None:
    """The layout's own words tell what it makes; a build with other members has its name alone."""
    own = demos.design("sprint-wagon")
    assert "outriggers" in dict(Book(own).facts())["Layout"]
    file = own.build.file.model_copy(update={"members": {"cross_member": {"omit": True}}})
    bare = Design(replace(own.build, file=file), cage=own.cage)
    told = dict(Book(bare).facts())["Layout"]
    assert told.startswith("halo-a-pillar")
    assert "cross member" not in told
    assert "outriggers" not in told
