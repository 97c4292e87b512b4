"""Pins, bolts and welds against AISC and EN 1993-1-8 examples in tests/data."""

from __future__ import annotations

import csv
from math import pi
from pathlib import Path

import numpy as np
import pytest

from cagekit.cage.plate import PinEar
from cagekit.materials.fasteners import Fastener
from cagekit.materials.source import Certainty
from cagekit.materials.tubes import Tube
from cagekit.structure import joints

DATA = Path(__file__).parents[1] / "data"
ROWS = list(csv.DictReader((DATA / "strength_examples.csv").read_text("utf-8").splitlines()))
INCH, KSI, KIP = 25.4, 6.894757293168, 4448.2216152605


def expected(example: str, title: str, quantity: str) -> tuple[float, float]:
    (row,) = [
        r for r in ROWS if r["id"] == example and title in r["title"] and r["quantity"] == quantity
    ]
    return float(row["expected"]), float(row["tolerance"])


def test_pin_plate_of_the_design_examples() -> None:
    """AISC Design Examples D.7 (v14/v15): w 4.25, t 0.5, d 1.0, a 2.25, hole 1.03 in, A36."""
    ear = PinEar(
        a=2.25 * INCH, width=4.25 * INCH, side=1.61 * INCH, hole=1.03 * INCH, pin=1.0 * INCH,
        thickness=0.5 * INCH,
    )  # fmt: skip
    got = joints.pin_plate(ear, 36 * KSI, 58 * KSI)
    for name, value in (
        ("Pn tensile rupture", got.rupture),
        ("Pn shear rupture", got.shear_out),
        ("Rn bearing", got.bearing),
        ("Pn gross yield", got.gross),
    ):
        want, _ = expected("D7", "v14/v15", name)
        # the book rounds be to 1.61 in and the area to 2.13 in2
        assert value / KIP == pytest.approx(want, rel=3e-3), name
    assert got.least == got.bearing


def bolt(size: float, area: float, fu: float, grade: str) -> Fastener:
    return Fastener(
        size=f"M{size:g}", grade=grade, diameter=size, pitch=1.0, clearance_hole=size + 2,
        across_flats=1.0, stress_area=area, proof_stress=1.0, fy=0.8 * fu, fu=fu,
        proof_load=1.0, tensile_load=1.0, source="", certainty=Certainty.IN_TEXT, note="",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("size", "area", "shear"), [(12, 84.3, "27.5"), (16, 157, "60.3"), (20, 245, "94.1"),
                                (24, 353, "136")],
)  # fmt: skip
def test_bolts_of_the_design_tables(size: float, area: float, shear: str) -> None:
    one = bolt(size, area, 800.0, "8.8")
    want, tolerance = expected("ECBOLT", f"M{size} 8.8", "Fv,Rd single")
    assert want == float(shear)
    got = joints.bolt_shear(one, reduced=size == 12) / 1000
    assert got == pytest.approx(want, abs=tolerance)
    want, tolerance = expected("ECBOLT", f"tension: M{size} 8.8", "Ft,Rd")
    assert joints.bolt_tension(one) / 1000 == pytest.approx(want, abs=tolerance)


def test_thread_of_a_harder_bolt_in_the_shear_plane() -> None:
    want, tolerance = expected("ECBOLT", "M16 10.9", "Fv,Rd single")
    assert joints.bolt_shear(bolt(16, 157, 1000.0, "10.9")) / 1000 == pytest.approx(
        want, abs=tolerance
    )


@pytest.mark.parametrize("leg", [3, 4, 5, 6, 8, 10])
def test_fillets_of_the_design_tables(leg: int) -> None:
    """S355, fu 470 MPa, beta 0.9; lengthwise by the plain method, crosswise by 1.225 of it."""
    rows = [r for r in ROWS if r["id"] == "ECWELD" and f"leg {leg}," in r["case"]]
    plain, directional = (float(r["expected"]) for r in rows)
    got = joints.fillet_strength(470.0, 0.9, 0.7 * leg) / 1000
    assert got == pytest.approx(plain, abs=0.0051)
    assert got * 1.2247 == pytest.approx(directional, abs=0.0061)


def test_a_weld_round_a_square_cut_tube() -> None:
    """Force on each mm of a ring: N / 2 pi r, M / pi r2, T / 2 pi r2, V / pi r."""
    tube = Tube(od=40.0, wall=2.0, material="-")
    ring = 2 * pi * 20.0
    for forces, want in (
        ([1e4, 0, 0, 0, 0, 0], 1e4 / ring),
        ([0, 0, 0, 0, 3e5, 4e5], 5e5 / (pi * 400)),
        ([0, 0, 0, 2e5, 0, 0], 2e5 / (2 * pi * 400)),
        ([0, 3e3, 4e3, 0, 0, 0], 5e3 / (pi * 20)),
    ):
        assert joints.ring_weld(tube, ring, np.array(forces, float)) == pytest.approx(want)
    longer = joints.ring_weld(tube, 1.5 * ring, np.array([1e4, 0, 0, 0, 0, 0]))
    assert longer == pytest.approx(1e4 / ring / 1.5)


def test_a_pin_in_bending() -> None:
    """Moment of a pin through two cheeks and a middle: F / 8 (b + 4 c + 2 a)."""
    use, part = joints.pin_use(10.0, (640.0, 800.0), 2e4, 0.0, cheek=5.0, gap=1.0, middle=46.0)
    bending = 2e4 / 8 * (46 + 4 + 10) / (1.5 * pi / 32 * 1000 * 640)
    shear = 1e4 / (0.6 * pi / 4 * 100 * 800 / 1.25)
    assert use == pytest.approx(max(bending, bending**2 + shear**2))
    assert part == "both"


def test_chord_walls_are_covered_within_their_range_only() -> None:
    chord, branch = Tube(od=45, wall=2.5, material="-"), Tube(od=40, wall=2, material="-")
    assert joints.outside_range(chord, branch, pi / 3) == ""
    assert "30 degrees" in joints.outside_range(chord, branch, 0.5)
    assert "diameters" in joints.outside_range(branch, chord, pi / 3)
    thin = Tube(od=40, wall=0.7, material="-")
    assert "10 to 50" in joints.outside_range(chord, thin, pi / 3)
    y = joints.chord_strength(chord, 40.0, pi / 2, 355.0, 0.0)
    beta, gamma = 40 / 45, 9.0
    assert y.normal == pytest.approx(gamma**0.2 * 355 * 6.25 * (2.8 + 14.2 * beta**2))
    pressed = joints.chord_strength(chord, 40.0, pi / 2, 355.0, 0.5)
    assert pressed.normal == pytest.approx(y.normal * (1 - 0.3 * 0.5 * 1.5))
