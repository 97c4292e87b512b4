"""Cope templates: the curve wrapped back on the tube, and the PDF read back at true size."""

from __future__ import annotations

from math import pi, radians
from pathlib import Path

import demos
import numpy as np
import pdfpages
import pytest
from msgspec.structs import replace

from cagekit import part
from cagekit.assembly.assemble import members_only
from cagekit.design import Design
from cagekit.inputs.presets import find_preset
from cagekit.inputs.resolve import load_build
from cagekit.names import named
from cagekit.shop.sawing.templates import ordinates, saw_setting, template, templates
from cagekit.writers.copes import (
    PAGES,
    TAB,
    all_templates,
    fitted_to,
    lay_out,
    pdf,
    pdf_data,
    shop_cuts,
    stands_on,
    table,
    write_copes,
)

POINT = 72 / 25.4


@pytest.fixture(scope="module")
def design() -> Design:
    build = load_build("sprint-wagon")
    return Design(build=build, cage=members_only(build), units="in")


@pytest.fixture(scope="module")
def folder(design: Design, tmp_path_factory: pytest.TempPathFactory) -> Path:
    target = tmp_path_factory.mktemp("copes")
    write_copes(design, target)
    return target


def wrapped(design: Design, t) -> np.ndarray:  # type: ignore[no-untyped-def]
    """Points in space of a template's curve wrapped round its tube, by the sheet's own rules."""
    member = design.cage.members[t.member]
    path = member.path
    zero = path.reference_lines()[0 if t.end == "a" else -1]
    out = path.out_direction(t.end)
    side = np.cross(out, zero)
    phi = t.outer[:, 0] / t.width * 2 * pi
    back = t.outer[:, 1] - t.node
    ring = member.tube.outer_radius * (np.cos(phi)[:, None] * zero + np.sin(phi)[:, None] * side)
    return path.end_point(t.end) + ring - back[:, None] * out


def test_a_template_wrapped_on_its_tube_meets_the_parents_surface(design: Design) -> None:
    for t in templates(design.cage, 0.1):
        if not t.parents:
            continue
        points = wrapped(design, t)
        gaps = np.min(
            [
                np.abs(
                    design.cage.members[p].path.distances(points)
                    - design.cage.members[p].tube.outer_radius
                )
                for p in t.parents
            ],
            axis=0,
        )
        assert gaps.max() < 0.05, (t.member, t.end)


@pytest.mark.parametrize("name", ["sprint-wagon", "heath"])
def test_a_template_tells_between_which_clocks_a_second_tube_is(name: str) -> None:
    """Wrapped, it lies on that tube between the two clocks, and on the first one beside them."""
    build = demos.build(name)
    design = Design(build=build, cage=members_only(build))
    shared = [t for t in templates(design.cage, 0.1) if len(t.parents) > 1]
    assert shared
    for t in shared:
        points = wrapped(design, t)
        clock = np.degrees(t.outer[:, 0] / t.width * 2 * pi) % 360.0
        told = fitted_to(t)
        assert told.startswith(named(t.parents[0]) + ", ")
        (second,) = t.parents[1:]
        words = told.removeprefix(f"{named(t.parents[0])}, {named(second)} ")
        start, stop = (float(w.removesuffix("°")) for w in words.split(" to "))
        inside = (clock - start) % 360.0 <= (stop - start) % 360.0
        # a degree is what the words are rounded to
        edge = np.minimum(np.abs(turned(clock, start)), np.abs(turned(clock, stop))) < 1.0
        for parent, mine in ((second, inside & ~edge), (t.parents[0], ~inside & ~edge)):
            tube = design.cage.members[parent]
            gaps = np.abs(tube.path.distances(points[mine]) - tube.tube.outer_radius)
            assert mine.any()
            assert gaps.max() < 0.05, (t.member, t.end, parent)


def turned(clocks: np.ndarray, zero: float) -> np.ndarray:
    """Clocks from another zero, -180 to 180."""
    return (clocks - zero + 180.0) % 360.0 - 180.0


def test_templates_of_feet_lie_in_the_plates_plane(design: Design) -> None:
    for t in templates(design.cage, 0.1):
        plane = design.cage.members[t.member].end(t.end).plane
        if plane is not None:
            assert np.abs((wrapped(design, t) - plane.point) @ plane.normal).max() < 0.05


def test_both_ends_measure_from_one_line_along_the_tube(design: Design) -> None:
    path = design.cage.members["hoop_diagonal"].path
    cuts = [design.cage.cut("hoop_diagonal", e) for e in ("a", "b")]
    assert cuts[0].zero == pytest.approx(cuts[1].zero)
    assert cuts[0].zero == pytest.approx(path.reference_lines()[0])


def test_the_paper_wraps_on_a_circle_larger_by_its_thickness(design: Design) -> None:
    t = template(design.cage, design.cage.members["halo"], "a", 0.2)
    assert t.width == pytest.approx(pi * (t.tube.od + 0.2))
    assert t.outer[-1, 0] == pytest.approx(t.width)
    assert t.outer[-1, 1] == pytest.approx(t.outer[0, 1])
    assert t.outer[:, 1].min() == pytest.approx(0.0, abs=0.02)


@pytest.mark.parametrize("page", ["a4", "letter"])
def test_nothing_crosses_an_edge_or_another_template(design: Design, page: str) -> None:
    found = templates(design.cage, 0.1)
    width, height = PAGES[page]
    placed = lay_out(found, page)
    assert sorted(p.index for sheet in placed for p in sheet) == list(range(len(found)))
    for sheet in placed:
        for p in sheet:
            assert p.x >= 10
            assert p.y >= 20
            assert p.x + p.w <= width - 10
            assert p.y + p.h <= height - 12
        for i, p in enumerate(sheet):
            for q in sheet[i + 1 :]:
                apart = p.x + p.w < q.x or q.x + q.w < p.x or p.y + p.h < q.y or q.y + q.h < p.y
                assert apart


def test_a_template_larger_than_the_page_is_tiled_with_overlap(design: Design) -> None:
    from msgspec.structs import replace

    big = replace(templates(design.cage, 0.1)[0], width=400.0, height=500.0)
    sheets = lay_out([big], "a4")
    assert len(sheets) > 3
    covered_w = max(p.dx + p.w for s in sheets for p in s)
    covered_h = max(p.dy + p.h for s in sheets for p in s)
    assert covered_w == pytest.approx(400.0 + TAB)
    assert covered_h == pytest.approx(500.0)
    assert all(p.tiled for s in sheets for p in s)


def test_the_pdf_shows_bars_and_curves_at_true_size(design: Design, folder: Path) -> None:
    found = all_templates(design)
    page_name = design.tooling.paper.page
    sheets = lay_out(found, page_name)
    pages = pdfpages.pages(folder / "copes.pdf")
    assert len(pages) == len(sheets)
    for page, sheet in zip(pages, sheets, strict=True):
        assert (page.width / POINT, page.height / POINT) == pytest.approx(PAGES[page_name], abs=0.1)
        sizes = [((r.x1 - r.x0) / POINT, (r.bottom - r.top) / POINT) for r in page.shapes]
        assert any(abs(w - 100) < 0.1 and h < 0.5 for w, h in sizes), "the 100 mm bar"
        assert any(abs(h - 50) < 0.1 and w < 0.5 for w, h in sizes), "the 50 mm bar"
        # in the order of writing: words along the upright bar stand between the lines
        text = " ".join("".join(c.text for c in page.letters).split())
        for p in sheet:
            t = found[p.index]
            assert named(t.member) in text
            drawn = _curve(page, t, p)
            assert drawn == pytest.approx(t.outer + np.array([p.x, p.y]), abs=0.1)


def _curve(page, t, p) -> np.ndarray:  # type: ignore[no-untyped-def]
    """The drawn polyline with as many points as the template's outer line, nearest to its place."""
    best, gap = None, np.inf
    for r in page.shapes:
        points = np.array(r.points) / POINT
        if len(points) == len(t.outer):
            far = float(np.abs(points - (t.outer + np.array([p.x, p.y]))).max())
            if far < gap:
                best, gap = points, far
    assert best is not None
    return best


def test_the_pdf_embeds_its_fonts_and_is_the_same_every_time(design: Design, folder: Path) -> None:
    found = all_templates(design)
    again = pdf(design, found)
    assert again == (folder / "copes.pdf").read_bytes()
    names = {name for page in pdfpages.pages(again) for name in page.fonts}
    assert all("DejaVu" in n and "+" in n for n in names), names


def test_every_template_has_a_dxf_of_the_same_size(design: Design, folder: Path) -> None:
    import ezdxf

    for t in all_templates(design):
        doc = ezdxf.readfile(folder / "copes" / f"{t.member}-{t.end}.dxf")
        assert not doc.audit().has_errors
        # the file says in which unit its numbers are: 1 inches, 4 millimetres
        unit = {1: 25.4, 4: 1.0}[doc.header["$INSUNITS"]]
        widths = []
        for entity in doc.modelspace().query("LWPOLYLINE"):
            xy = np.array(list(entity.get_points("xy")))
            widths.append(unit * float(np.ptp(xy[:, 0])))
        assert max(widths) == pytest.approx(t.width + TAB, abs=1e-3)


def test_ordinates_are_depths_from_the_blanks_end(design: Design) -> None:
    (row,) = ordinates(design.cage, [("cross_member", "a")], 12)
    t = template(design.cage, design.cage.members["cross_member"], "a", 0.0)
    for angle, depth in zip(row.angles, row.depths, strict=True):
        assert depth == pytest.approx(
            np.interp(angle / 360 * t.width, t.outer[:, 0], t.outer[:, 1]), abs=0.02
        )


def test_what_no_hole_saw_makes_is_said(design: Design) -> None:
    assert "bend" in saw_setting(design.cage, "rear_brace_right", "a").reason
    assert "several tubes" in saw_setting(design.cage, "halo", "a").reason
    assert saw_setting(design.cage, "rear_brace_left", "b").flat


def test_a_stub_that_the_vice_cannot_hold_is_said() -> None:
    """Straight tube behind the cut, up to the other end's cut: nothing else is to be held."""
    for length, holds in ((85.0, False), (140.0, True)):
        made = part("strut", length=length, od=40, wall=2, parent_od_a=40, parent_od_b=40)
        design = made.design
        saw = saw_setting(design.cage, "strut", "a")
        cuts = [design.cage.cut("strut", end).longest for end in ("a", "b")]
        assert saw.straight == pytest.approx(length - sum(cuts))
        notcher = design.tooling.notcher
        assert notcher is not None
        assert (saw.straight >= notcher.clamp) is holds
        told = shop_cuts(saw, design.tooling)
        assert told.startswith("saw ") if holds else "the vice needs 60 mm" in told


def test_the_table_has_a_row_for_every_end(design: Design) -> None:
    header, rows = table(design)
    assert len(rows) == 2 * len(design.cage.as_fitted().members)
    assert all(len(row) == len(header) for row in rows)
    assert any("use the template" in row[header.index("hole_saw")] for row in rows)
    assert any(row[header.index("hole_saw")].startswith("saw ") for row in rows)


def test_a_swing_out_bar_is_drilled_on_its_template() -> None:
    """Each hole is as wide round the tube as the drill, at the pin's distance from the cut."""
    design = demos.design("sprint-wagon")
    door = design.cage.doors[0]
    joint = door.latch
    (t,) = (t for t in all_templates(design) if (t.member, t.end) == (door.bar, joint.end))
    assert len(t.holes) == 2
    radius = design.cage.member(door.bar).tube.outer_radius
    for hole in t.holes:
        along = np.ptp(hole[:, 1])
        assert along == pytest.approx(joint.spec.sleeve_od, abs=1e-6)
        around = 2 * np.arcsin(joint.spec.sleeve_od / 2 / radius) * t.width / (2 * np.pi)
        assert np.ptp(hole[:, 0]) == pytest.approx(around, rel=1e-3)
        middle = (hole[:, 1].max() + hole[:, 1].min()) / 2
        cut = design.cage.cut(door.bar, joint.end)
        away = np.linalg.norm(joint.origin - cut.point)
        assert middle == pytest.approx(away - cut.shortest, abs=1e-6)
        assert t.height > hole[:, 1].max()
    centres = sorted(float(h[:, 0].mean()) % t.width for h in t.holes)
    assert centres[1] - centres[0] == pytest.approx(t.width / 2, abs=0.05)


def test_a_tube_that_comes_apart_has_one_template_for_each_end(tmp_path: Path) -> None:
    """It is coped whole: a piece has templates of its own where it is sawn and drilled alone."""
    file = tmp_path / "own.toml"
    text = find_preset("build", "sprint-wagon").read_text("utf-8")
    joint = '[[joint]]\nat = "on rear_brace_left at fraction 0.3"\n'
    file.write_text(text.replace('name = "sprint-wagon"', 'name = "own"', 1) + joint, "utf-8")
    apart = Design.load(str(file))
    of_brace = [t for t in all_templates(apart) if "rear_brace_left" in t.member]
    assert sorted((t.member, t.end) for t in of_brace) == [
        ("rear_brace_left", "a"),
        ("rear_brace_left", "b"),
        ("rear_brace_left_piece_a", "b"),
        ("rear_brace_left_piece_b", "a"),
    ]
    assert stands_on(apart, "rear_brace_left", "b") == "plate"
    assert stands_on(apart, "rear_brace_left_piece_a", "b") == "bolted sleeve"
    sawn = next(t for t in of_brace if t.member == "rear_brace_left_piece_a")
    assert sawn.square
    assert sawn.depth == pytest.approx(0.0, abs=1e-9)
    assert max(h[:, 1].max() for h in sawn.holes) > 20.0


def test_every_template_bears_the_number_of_its_tube_in_the_book() -> None:
    """The pieces of a bar that swings out too: they are cut from one tube with one number."""
    whole = demos.design("sprint-wagon")
    rows = pdf_data(whole, all_templates(whole))["templates"]
    numbers = {r["title"].rsplit(" ", 2)[0]: r["number"] for r in rows}
    pieces = {t: n for t, n in numbers.items() if t.startswith("door bar left")}
    assert len(pieces) > 1
    assert set(pieces.values()) == {str([*whole.fitted.members].index("door_bar_left_fitted") + 1)}
    assert all(numbers.values())


@pytest.mark.parametrize(
    ("reach", "told"),
    [
        (None, "straight saw cut"),
        (radians(60), "straight saw cut"),
        (radians(45), "leans 49 deg, saw reaches 45: use the template"),
    ],
)
def test_a_saw_cuts_no_further_from_square_than_it_turns(
    design: Design, reach: float | None, told: str
) -> None:
    """A rear brace stands on its plate 48.5 degrees from square; an upright foot is no matter."""
    tooling = design.tooling
    saw = tooling.saw.model_copy(update={"max_angle": reach})
    shop = replace(design.build, tooling=tooling.model_copy(update={"saw": saw}))
    header, rows = table(Design(build=shop, cage=design.cage))
    cuts = {(r[0], r[1]): r[header.index("hole_saw")] for r in rows}
    assert cuts["rear_brace_left", "b"] == told
    assert cuts["a_pillar_bar_left", "b"] == "straight saw cut"
    assert any((t.member, t.end) == ("rear_brace_left", "b") for t in all_templates(design))
