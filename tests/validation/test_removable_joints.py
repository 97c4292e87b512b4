"""Bracket presets against printed rules for removable joints, and ears against a worked example.

Rules: Formula SAE Rules 2023, F.5.12 (double-lug joint), read in text; NHRA General Regulations
4:11 swing-out A to E, 2010 era, from memory. Worked example: AISC Design Examples D.7 (v14/v15),
pin-connected tension member. Values in ``tests/data`` with their sources.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from cagekit.cage.plate import Hole, HolePurpose, Pin, Plate
from cagekit.geometry.outline import Outline
from cagekit.inputs.plate_presets import plate_preset
from cagekit.inputs.swing_bracket import SwingBracketEntry
from cagekit.materials.pins import pin_size

DATA = Path(__file__).parents[1] / "data"
INCH = 25.4
PRESETS = ("swing-saddle-3-8in", "swing-cheeks-3-8in", "swing-saddle-m10", "swing-cheeks-m10")


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def limit(rulebook: str, quantity: str) -> float:
    row = next(
        r for r in rows("removable_joints.csv")
        if (r["rulebook"], r["quantity"]) == (rulebook, quantity)
    )  # fmt: skip
    return float(row["value"]) * (INCH if row["unit"] == "in" else 1.0)


@pytest.fixture(params=PRESETS)
def preset(request: pytest.FixtureRequest) -> SwingBracketEntry:
    entry = plate_preset(request.param)
    assert isinstance(entry, SwingBracketEntry)
    return entry


def test_double_lug_joint(preset: SwingBracketEntry) -> None:
    inch = "/" in str(preset.pin_size)
    pin = pin_size(str(preset.pin_size))
    assert preset.thickness is not None
    assert preset.thickness >= limit("Formula SAE", "lug thickness")
    assert 2 * preset.ear >= limit("Formula SAE", "lug width across the brace axis")
    least = limit("Formula SAE", f"pin diameter {'inch' if inch else 'metric'}")
    assert pin.diameter >= least - 1e-9


def test_swing_out_bar(preset: SwingBracketEntry) -> None:
    pin = pin_size(str(preset.pin_size))
    assert pin.diameter >= limit("NHRA", "pin diameter") - 1e-9
    assert preset.thickness is not None
    assert 2 * preset.thickness >= limit("NHRA", "standing bracket at each end")
    assert (preset.ear - pin.hole / 2) / pin.hole >= limit("NHRA", "ligament over hole diameter")
    assert preset.reach >= limit("NHRA", "half cup past the pin's centre") - 1e-9
    wall = preset.cup_wall if preset.design == "cheeks" else preset.thickness
    assert wall >= limit("NHRA", "half cup wall")


def test_presets_of_the_brackets_say_what_is_remembered() -> None:
    sources = {r["rulebook"]: r["confidence"] for r in rows("removable_joints.csv")}
    assert sources == {"Formula SAE": "read in text", "NHRA": "from memory"}


def test_ear_of_the_pin_plate_example() -> None:
    """A plate with the example's sizes gives the example's effective width and strengths."""
    given = {
        r["symbol"]: float(r["value"]) for r in rows("pin_plate.csv") if "given" in r["source"]
    }
    w, t, d, a, dh = (given[k] * INCH for k in ("w", "t", "d", "a", "dh"))
    length = 300.0
    centre = np.array([length - a - dh / 2, 0.0])
    plate = Plate(
        id="lug",
        kind="hinge_cheek",
        thickness=t,
        material="a36",
        outline=Outline.rectangle(length, w, centre=(length / 2, 0.0)),
        holes=(Hole.circle(centre, dh, HolePurpose.PIN),),
        pins=(Pin(hole=0, diameter=d, shear_planes=2, load=(1.0, 0.0)),),
    )
    ear = plate.ear(plate.pins[0])
    assert ear.a == pytest.approx(a)
    assert ear.width == pytest.approx(w)
    be = min(2 * ear.thickness / INCH + 0.63, (ear.width - ear.hole) / 2 / INCH)
    printed = [r for r in rows("pin_plate.csv") if "printed" in r["source"]]
    worked = {
        "be": be,
        "D5-1": 58 * 2 * ear.thickness / INCH * be,
        "D5-2": 0.6 * 58 * 2 * ear.thickness / INCH * (ear.a + ear.pin / 2) / INCH,
    }
    for row in printed:
        key = row["source"].rpartition(" ")[2] if row["symbol"] == "Pn" else row["symbol"]
        assert worked[key] == pytest.approx(
            float(row["value"]), abs=float(row["half_of_last_digit"])
        )
