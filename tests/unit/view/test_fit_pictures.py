"""Fit sheet, panorama and placement plot: meshes closed, what hides is drawn, same bytes."""

from __future__ import annotations

from dataclasses import replace as with_fields
from io import BytesIO
from typing import Any

import demos
import numpy as np
import pytest
from msgspec.structs import replace

from cagekit.assembly.assemble import members_only
from cagekit.fit.cockpit import Cockpit
from cagekit.fit.view_angles import pillar_view
from cagekit.geometry.centre_line import unit, vec
from cagekit.geometry.shapes import Capsule, Ring, Slab
from cagekit.inputs.resolve import load_build
from cagekit.view.driver_views import _egress, fit_sheet, measures
from cagekit.view.fonts import font
from cagekit.view.panorama import DOWN_DEG, HEAD, MARGIN, REACH_DEG, SCALE, UP_DEG, panorama
from cagekit.view.person_mesh import LIGHT, SolidMesh, capsule_mesh, ring_mesh, slab_mesh
from cagekit.view.placement_plot import FILL, Chart, Lane, PlotCell, State, placement_plot
from cagekit.view.sheet import OnSheet, PictureSheet


@pytest.fixture(scope="module")
def wagon() -> tuple:
    build = load_build("sprint-wagon")
    cage = members_only(build)
    return cage, Cockpit.of(build.car, build.drivers, cage.members)


def volume(mesh: SolidMesh) -> float:
    a, b, c = (mesh.vertices[mesh.triangles[:, k]] for k in range(3))
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum()) / 6


def test_meshes_are_closed_and_as_large_as_their_solids() -> None:
    limb = Capsule(vec((0, 0, 0)), vec((200, 30, 40)), 130.0)
    length = float(np.linalg.norm((200, 30, 40)))
    exact = np.pi * 130**2 * (length + 4 / 3 * 130)
    assert volume(capsule_mesh(limb)) == pytest.approx(exact, rel=0.02)
    assert volume(capsule_mesh(limb, *LIGHT)) == pytest.approx(exact, rel=0.04)
    ring = ring_mesh(Ring(vec((5, 6, 7)), unit((1, 0, 1)), 175.0, 15.0))
    assert volume(ring) == pytest.approx(2 * np.pi**2 * 175 * 15**2, rel=0.05)
    slab = slab_mesh(Slab(vec((1, 2, 3)), np.eye(3), vec((10, 20, 30))))
    assert volume(slab) == pytest.approx(8 * 10 * 20 * 30)


def test_every_number_on_the_sheet_is_drawn_at_its_place(wagon: tuple) -> None:
    _, cockpit = wagon
    for m in measures(cockpit, cockpit.occupants[0], "mm"):
        if m.value.endswith(" mm") and "below" not in m.name and "above" not in m.name:
            drawn = float(np.linalg.norm(m.end - m.start))
            assert drawn == pytest.approx(abs(float(m.value.removesuffix(" mm"))), abs=1.0)


def test_belts_that_rise_to_the_bar_are_said_to(wagon: tuple) -> None:
    _, cockpit = wagon
    raised = {
        m.id: with_fields(m, path=m.path.mapped(np.eye(3), (0.0, 0.0, 200.0)))
        if m.role == "harness_bar"
        else m
        for m in cockpit.members.values()
    }
    for members, words in ((cockpit.members, "below level"), (raised, "above level")):
        seat = Cockpit(cockpit.car, cockpit.occupants, members)
        (belts,) = [m for m in measures(seat, seat.occupants[0], "mm") if m.name.endswith("belts")]
        assert belts.value.endswith(words)
        assert not belts.value.startswith("-")


@pytest.mark.slow
@pytest.mark.parametrize("aside", ["", "Bo", "W" * 400])
def test_the_head_of_a_sheet_takes_names_of_any_length(aside: str) -> None:
    """A driver's name fills the line and no more; cutting it comes to an end."""
    sheet = PictureSheet(600, 200, edge=20)
    for title in ("", "W" * 400):
        sheet.head(title, aside)
    assert sheet.fitted(aside, -5.0, 22) == ("…" if len(aside) > 1 else aside)
    room = 0.5 * (600 - 40)
    assert sheet.pen.textlength(sheet.fitted(aside, room, 22), font(22)) <= room


def test_fit_sheet_is_a_picture_and_the_same_one_twice(wagon: tuple) -> None:
    cage, cockpit = wagon
    data = []
    for _ in range(2):
        out = BytesIO()
        sheet = fit_sheet(cage, cockpit, units="in")
        sheet.save(out, "PNG")
        data.append(out.getvalue())
    assert data[0] == data[1]
    assert np.asarray(sheet).std() > 20


def test_panorama_shows_what_the_numbers_say(wagon: tuple) -> None:
    """On the 5 degrees down line the dark part near the right pillar is as wide as measured."""
    _, cockpit = wagon
    who = cockpit.occupants[0]
    picture = np.asarray(panorama(cockpit, who)).astype(int)
    assert picture.shape[1] == 2 * REACH_DEG * SCALE + 2 * MARGIN
    view = pillar_view(cockpit, who, "right")
    assert view is not None
    row = picture[HEAD + (UP_DEG + 4) * SCALE, MARGIN : MARGIN + 2 * REACH_DEG * SCALE]
    ground = np.array([233, 232, 224])
    right = row[REACH_DEG * SCALE + 300 : REACH_DEG * SCALE + 700]
    # hidden from at least one eye: the binocular part and what one eye sees past
    hidden = (np.abs(right - ground).sum(axis=1) > 12).sum() / SCALE
    assert hidden > np.degrees(view.total)
    assert hidden < np.degrees(view.total) + 20
    assert DOWN_DEG == UP_DEG


def test_placement_plot_colours_every_cell() -> None:
    cells = tuple(
        PlotCell(text=str(k), state=s) for k, s in enumerate(("good", "warn", "fail", "none"))
    )
    chart = Chart(
        title="places", axis="height", columns=("1", "2", "3", "4"),
        lanes=(Lane(name="knee", limit=">= 40 mm", cells=cells),), best=0, now=2.5,
        remarks=("Proposed.",),
    )  # fmt: skip
    picture = np.asarray(placement_plot(chart))
    colours = {tuple(int(v) for v in c) for c in picture.reshape(-1, 3)}
    assert set(FILL.values()) <= colours


def test_the_placement_plot_says_what_grey_is_where_it_is_drawn(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    written: list[str] = []
    plain = PictureSheet.write

    def noted(self: PictureSheet, at: Any, text: str, *args: Any, **more: Any) -> None:
        written.append(text)
        plain(self, at, text, *args, **more)

    monkeypatch.setattr(PictureSheet, "write", noted)

    def draw(state: State) -> str:
        written.clear()
        cells = (PlotCell(text="", state=state),)
        lanes = (Lane(name="knee", limit="", cells=cells),)
        chart = Chart(
            title="places", axis="height", columns=("1",), lanes=lanes, best=None, now=None,
            remarks=(), grey="cannot be made",
        )  # fmt: skip
        placement_plot(chart)
        return " ".join(written)

    assert "cannot be made" in draw("none")
    assert "cannot be made" not in draw("good")


@pytest.mark.parametrize(("name", "told"), [("gravel-hatch", True), ("sprint-wagon", False)])
def test_the_room_of_two_people_is_told_below_the_name_of_each(
    monkeypatch: pytest.MonkeyPatch, name: str, told: bool
) -> None:
    """`helmet to roof rail` stood there twice, and nothing told whose it was."""
    written: list[str] = []
    plain = PictureSheet.write

    def noted(self: PictureSheet, at: Any, text: str, *args: Any, **more: Any) -> None:
        written.append(text)
        plain(self, at, text, *args, **more)

    monkeypatch.setattr(PictureSheet, "write", noted)
    design = demos.design(name)
    people = design.cockpit.occupants
    fit_sheet(design.cage, design.cockpit)
    rows = written[written.index("room, surface to surface") :]
    assert [p.name in rows for p in people] == [told] * len(people)
    if told:
        numbers = {p.name: len(measures(design.cockpit, p, "mm")) for p in people}
        first, second = (rows.index(p.name) for p in people)
        assert second - first == 1 + 3 * numbers[people[0].name]


def test_every_name_of_the_placement_plot_is_whole() -> None:
    cell = (PlotCell(text="1", state="good"),)

    def width_for(name: str) -> int:
        chart = Chart(
            title="places", axis="height, mm", columns=("1",) * 20,
            lanes=(Lane(name=name, limit=">= 40 mm", cells=cell * 20),), best=None, now=None,
            remarks=(),
        )  # fmt: skip
        picture = placement_plot(chart).convert("RGB")
        first = next(x for x in range(picture.width) if picture.getpixel((x, 173)) == FILL["good"])
        return first - 46

    long = "room of the co-driver's left lower leg to the upper swing-out door bar, latch end, open"
    assert width_for("knee") == 561
    assert width_for(long) > font(18).getlength(long)


def test_the_way_out_has_a_key() -> None:
    design = demos.design("sprint-wagon")
    calls: list[str] = []

    class Noted(PictureSheet):
        def write(self, at: OnSheet, text: str, *more: Any, **how: Any) -> None:
            calls.append(text)
            if how.get("anchor", "ls")[0] == "l":
                assert at[0] + self.pen.textlength(text, font(more[0])) < 2200 - 46 + 1, text
            # clear of the rule over the caution, tails of letters too
            assert at[1] + 6 < self.height - 62, text
            super().write(at, text, *more, **how)

    cockpit = design.cockpit
    long = replace(cockpit.occupants[0], name="percentile-95-male-in-a-winter-suit-and-boots")
    _egress(Noted(2200, 1500, edge=46), cockpit, long, "in")
    _egress(Noted(2200, 1500, edge=46), cockpit, cockpit.occupants[0], "in")
    assert {"door opening", "clear of bars"} <= set(calls)
    assert any(c.startswith("the person, dressed") for c in calls)
    assert any(c.startswith("with the door bar swung out") for c in calls)
