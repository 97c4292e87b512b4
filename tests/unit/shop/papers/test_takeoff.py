"""Material list, masses and the CSV tables, on a small cage whose numbers are known."""

from __future__ import annotations

import csv
import io
from math import degrees, pi, radians, sqrt
from types import SimpleNamespace

import numpy as np
import pytest

from cagekit.cage.cage import Cage
from cagekit.cage.member import End, Member
from cagekit.cage.plate import Bolt, Hole, Plate, PlateWeld
from cagekit.geometry.centre_line import CentreLine
from cagekit.geometry.fold import Fold
from cagekit.geometry.outline import Outline
from cagekit.inputs.tooling import Tooling
from cagekit.materials.steels import steel
from cagekit.materials.tubes import Tube
from cagekit.shop.bending.bends import schedules
from cagekit.shop.bending.rows import BendRow, bend_rows, rebuild
from cagekit.shop.papers.mass import plate_centre, weigh
from cagekit.shop.papers.takeoff import take_off, weld_metal
from cagekit.shop.sawing.plan import cut_plans
from cagekit.writers import csv as tables

TUBE = Tube(od=40.0, wall=2.0, material="s235", name="40 x 2")
STEEL = "s235"


def shop(**order):
    return Tooling.model_validate(
        {
            "name": "shop",
            "die": [
                {
                    "name": "d", "od": 40, "clr": 120, "clamp": 80, "tail": 150, "max_angle": 180,
                    "test": [{"set": 32, "got": 30}, {"set": 94, "got": 90}],
                }
            ],
            "saw": {"kerf": 2, "end_trim": 0, "keep": 200},
            "stock": [{"length": 3000}],
            "order": {"trim": 0} | order,
        }
    )  # fmt: skip


def square(size, *, id_="plate_1", holes=(), **more):
    loop = Outline.polygon([(0, 0), (size, 0), (size, size), (0, size)])
    return Plate(
        id=id_, kind="floor_plate", thickness=4.0, material=STEEL, outline=loop, holes=holes, **more
    )


@pytest.fixture(scope="module")
def cage():
    hoop = CentreLine.from_polyline(
        [(0, 500, 0), (0, 500, 900), (0, -500, 900), (0, -500, 0)], 120, owner="main_hoop"
    )
    bar = CentreLine.straight((0, 500, 450), (0, -500, 450))
    members = [
        Member(id="main_hoop", role="main_hoop", tube=TUBE, path=hoop),
        Member(
            id="harness_bar",
            role="harness_bar",
            tube=TUBE,
            path=bar,
            a=End.coped("main_hoop"),
            b=End.coped("main_hoop"),
        ),
    ]
    plate = square(
        100.0,
        holes=(Hole.circle((20, 20), 10.5), Hole.circle((80, 80), 10.5)),
        bolts=tuple(Bolt(hole=i, size="M10", grade="8.8", diameter=10) for i in (0, 1)),
        welds=(PlateWeld(to="main_hoop", length=125.0, leg=4.0),),
    )
    return Cage("small", members, plates=[plate])


def material():
    return steel(STEEL)


def test_steel_of_this_test_exists():
    assert material().density == pytest.approx(7.85e-6, rel=1e-3)


def test_masses_against_closed_forms(cage):
    area = pi * (20**2 - 18**2)
    hoop = cage.members["main_hoop"].path
    weighed = weigh(cage)
    by_id = {p.id: p for p in weighed.parts}
    # Pappus: the wall's area times the centre line, also in the bends
    assert by_id["main_hoop"].mass == pytest.approx(
        area * hoop.length * material().density, rel=1e-6
    )
    plate = (100**2 - 2 * pi * 5.25**2) * 4 * material().density
    assert by_id["plate_1"].mass == pytest.approx(plate)
    assert weighed.total == pytest.approx(cage.tube_mass() + plate)
    assert weighed.tubes == pytest.approx(cage.tube_mass())


def test_centre_of_gravity_of_tubes_agrees_with_the_cage(cage):
    weighed = weigh(cage)
    tubes = [p for p in weighed.parts if p.kind == "tube"]
    mean = sum(p.mass * p.centre for p in tubes) / weighed.tubes
    assert mean == pytest.approx(cage.centre_of_gravity(), abs=1e-9)
    # mirror symmetric but for the plate
    assert mean[1] == pytest.approx(0, abs=1e-6)


def test_centre_of_a_folded_plate_against_a_fine_sum():
    fold = Fold(
        start=np.array([60.0, 0.0]), end=np.array([60.0, 100.0]), angle=radians(70),
        inside_radius=5.0, k=0.42,
    )  # fmt: skip
    plate = square(100.0, holes=(Hole.circle((20, 30), 12.0),), folds=(fold,))
    n = 400
    u = (np.arange(n) + 0.5) * 100 / n
    grid = np.array(np.meshgrid(u, u)).reshape(2, -1).T
    solid = grid[np.hypot(grid[:, 0] - 20, grid[:, 1] - 30) > 6.0]
    assert plate_centre(plate) == pytest.approx(
        plate.car_points(solid, -2.0).mean(axis=0), abs=0.05
    )


def test_welds_and_filler(cage):
    tooling = shop()
    found = weld_metal(cage, tooling)
    saddle = sum(j.weld_length for j in cage.joints)
    assert found.joints == pytest.approx(saddle)
    # two equal tubes at a right angle: the saddle is longer than the girth, by less than a third
    assert 2 * pi * 40 < saddle < 2 * pi * 40 * 1.33
    assert found.plates == 125
    leg = 1.2 * 2.0
    mass = (saddle * leg**2 / 2 + 125 * 4.0**2 / 2) * material().density / 0.9
    assert found.filler == pytest.approx(mass, rel=1e-9)
    assert "leg over wall 1.2" in found.assumption


def build_of(tooling):
    nobody = SimpleNamespace(padding=())
    return SimpleNamespace(tooling=tooling, file=nobody, car=None, drivers=())


def papers(cage, tooling, monkeypatch):
    monkeypatch.setattr("cagekit.people.posture.seated", lambda car, drivers: ())
    sheets = schedules(cage, tooling)
    plans = cut_plans(sheets, tooling)
    return sheets, plans, take_off(build_of(tooling), cage, cage, sheets, plans)


def test_tube_to_buy(cage, monkeypatch):
    _, plans, listed = papers(cage, shop(spare=0.1), monkeypatch)
    (tube,) = listed.tubes
    assert tube.pieces == 2
    # hoop 2800 - 2 x 2 x 120 + 2 x 188.5 = 2697.0; on an equal tube the bar's ears reach the axis
    assert tube.needed == pytest.approx(2697.0 + 1000.0, abs=0.2)
    # 370 mm of spare are in the 1998 mm off-cut of the second stick
    assert tube.sticks == ((3000, 2),)
    assert tube.left == sum(plans[0].remnants)
    assert sum(plans[0].remnants) > tube.spare
    per_mm = pi * (20**2 - 18**2) * material().density
    assert tube.mass == pytest.approx(per_mm * 6000)


def test_a_large_margin_buys_a_stick_more(cage, monkeypatch):
    _, plans, listed = papers(cage, shop(spare=0.9), monkeypatch)
    assert listed.tubes[0].sticks == ((3000, 3),)
    assert listed.tubes[0].left > listed.tubes[0].spare
    # the stick that is bought for the margin alone is not cut, and no cut is called spare
    whole = [b for b in plans[0].bars if not b.pieces]
    assert [b.remnant for b in whole] == [3000]
    assert {p.name for b in plans[0].bars for p in b.pieces} == set(cage.members)


def test_plate_and_bolts(cage, monkeypatch):
    _, _, listed = papers(cage, shop(spare=0.1), monkeypatch)
    (plate,) = listed.plates
    assert plate.area == pytest.approx(1e4)
    assert plate.order == pytest.approx(1.1e4)
    (bolt,) = listed.fasteners
    assert (bolt.size, bolt.grade, bolt.bolts) == ("M10", "8.8", 2)


def read(columns, rows):
    text = tables.text(columns, rows)
    assert "\r" not in text
    return list(csv.DictReader(io.StringIO(text)))


def test_bends_csv_rebuilds_the_tube(cage):
    rows = read(tables.BEND_COLUMNS, tables.bend_table(schedules(cage, shop())))
    assert list(rows[0])[:8] == [
        "member", "row", "feed_mm", "rotation_deg", "angle_deg", "clr_mm",
        "springback_angle_deg", "mark_mm",
    ]  # fmt: skip
    mine = [r for r in rows if r["member"] == "main_hoop"]
    made = rebuild(
        [
            BendRow(
                row=int(r["row"]),
                feed=float(r["feed_mm"]),
                rotation=radians(float(r["rotation_deg"] or 0)),
                angle=radians(float(r["angle_deg"])) if r["angle_deg"] else None,
                clr=float(r["clr_mm"]) if r["clr_mm"] else None,
            )
            for r in mine
        ]
    )
    hoop = cage.members["main_hoop"].path
    for ours, drawn in zip(made.corners(), hoop.corners(), strict=True):
        assert np.linalg.norm(made.corners()[0] - ours) == pytest.approx(
            np.linalg.norm(hoop.corners()[0] - drawn), abs=0.01
        )
    assert mine[-1]["angle_deg"] == ""
    assert float(mine[0]["springback_angle_deg"]) == pytest.approx(94, abs=1e-4)
    straight = [r for r in rows if r["member"] == "harness_bar"]
    assert len(straight) == 1
    assert float(straight[0]["feed_mm"]) == pytest.approx(cage.cut_length("harness_bar"), abs=1e-3)


def test_cuts_csv_lists_every_piece_and_what_is_left(cage):
    tooling = shop()
    rows = read(tables.CUT_COLUMNS, tables.cut_table(cut_plans(schedules(cage, tooling), tooling)))
    assert {r["member"] for r in rows if r["cut"]} == {"main_hoop", "harness_bar"}
    assert {r["proved"] for r in rows} == {"yes"}
    # what has to be bought is told with the spare in it
    needed = sum(float(r["length_mm"]) for r in rows if r["cut"])
    (spare,) = {float(r["spare_counted_mm"]) for r in rows}
    assert spare == pytest.approx(tooling.order.spare * needed, rel=0.01)
    last = [r for r in rows if not r["cut"]]
    for r in last:
        assert float(r["start_mm"]) + float(r["length_mm"]) == pytest.approx(3000)


def test_materials_csv_ends_with_the_total(cage, monkeypatch):
    _, _, listed = papers(cage, shop(), monkeypatch)
    rows = read(tables.MATERIAL_COLUMNS, tables.material_table(listed))
    parts = [float(r["mass_kg"]) for r in rows if r["kind"].startswith("part")]
    assert rows[-1]["kind"] == "total"
    assert float(rows[-1]["mass_kg"]) == pytest.approx(sum(parts), abs=1e-3)
    assert {r["kind"] for r in rows} >= {"tube to buy", "plate to buy", "fasteners", "weld"}


def test_numbers_have_no_minus_zero_and_text_is_quoted():
    rows = [{"member": 'a "b", c', "feed_mm": -1e-9, "rotation_deg": 90.0}]
    text = tables.text(("member", "feed_mm", "rotation_deg"), rows)
    first, row = text.splitlines()
    assert first == "member,feed_mm,rotation_deg,caution"
    assert row.startswith('"a ""b"", c",0,90,')


def test_a_column_that_does_not_exist_is_refused():
    with pytest.raises(ValueError, match="bogus"):
        tables.text(("member",), [{"bogus": 1}])


def test_rotation_survives_the_file_to_a_hundredth():
    path = CentreLine.from_polyline(
        [(0, 0, 0), (900, 0, 0), (1200, 700, 100), (1300, 900, 900), (300, 1500, 1200)], 120
    )
    rows = [
        {"feed_mm": r.feed, "rotation_deg": degrees(r.rotation),
         "angle_deg": None if r.angle is None else degrees(r.angle)}
        for r in bend_rows(path)
    ]  # fmt: skip
    back = read(("feed_mm", "rotation_deg", "angle_deg"), rows)
    made = rebuild(
        [
            BendRow(
                row=i,
                feed=float(r["feed_mm"]),
                rotation=radians(float(r["rotation_deg"])),
                angle=radians(float(r["angle_deg"])) if r["angle_deg"] else None,
                clr=120.0,
            )
            for i, r in enumerate(back, 1)
        ]
    )
    chord = sqrt(float(np.sum((path.end - path.start) ** 2)))
    assert float(np.linalg.norm(made.end - made.start)) == pytest.approx(chord, abs=0.01)
