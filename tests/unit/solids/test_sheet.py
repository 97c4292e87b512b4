"""Plates written down: flat ones are area times thickness, folded ones as the sheet says."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest

from cagekit.cage.plate import Hole, Plate
from cagekit.geometry.fold import Fold
from cagekit.geometry.outline import Outline, vec2
from cagekit.solids.brep import CylinderSurface
from cagekit.solids.creases import Refused
from cagekit.solids.measure import measure
from cagekit.solids.sheet import plate_record


def _plate(**changes: object) -> Plate:
    given: dict[str, object] = {
        "id": "plate",
        "kind": "floor_plate",
        "thickness": 5.0,
        "material": "steel",
        "outline": Outline.rectangle(200, 100),
    }
    return Plate(**{**given, **changes})  # type: ignore[arg-type]


def _fold(x: float, angle: float) -> Fold:
    return Fold(start=vec2((x, -50)), end=vec2((x, 50)), angle=angle, inside_radius=6, k=0.4)


def test_flat_plate_with_every_kind_of_hole() -> None:
    holes = (
        Hole.circle((70, 30), 11),
        Hole.slot((-50, 0), (50, 10), 12),
        Hole.free(Outline.circle((0, -30), 20)),
    )
    record = plate_record(_plate(outline=Outline.rectangle(200, 100, 12), holes=holes))
    corners = (4 - pi) * 12**2
    slot = pi * 36 + 12 * np.hypot(100, 10)
    area = 200 * 100 - corners - pi * 5.5**2 - slot - pi * 100
    assert record.closure_errors() == []
    assert measure(record).volume == pytest.approx(5 * area, rel=1e-9)


@pytest.mark.parametrize("angle", [0.3, 1.2, pi / 2, -0.7, -pi / 2])
def test_folded_plate_is_flats_plus_a_sector_of_a_ring(angle: float) -> None:
    plate = _plate(folds=(_fold(20.0, angle),), base=vec2((-50, 0)))
    record = plate_record(plate)
    strip = abs(angle) * (6 + 0.4 * 5)
    wanted = (200 - strip) * 100 * 5 + abs(angle) / 2 * (11**2 - 6**2) * 100
    assert record.closure_errors() == []
    assert measure(record).volume == pytest.approx(wanted, rel=1e-9)
    radii = {f.surface.radius for f in record.faces if isinstance(f.surface, CylinderSurface)}
    assert radii == {6.0, 11.0}


def test_two_folds_with_holes_anywhere_in_space() -> None:
    turn = np.eye(4)
    turn[:3, :3] = np.linalg.qr(np.array([[1.0, 2, 3], [0, 1, 4], [5, 6, 0]]))[0]
    turn[:3, 0] *= np.linalg.det(turn[:3, :3])
    turn[:3, 3] = 100, 200, 300
    plate = _plate(
        folds=(_fold(60.0, 0.8), _fold(-60.0, -0.5)),
        holes=(Hole.circle((0, 20), 9), Hole.circle((85, 0), 9)),
        placement=turn,
    )
    record = plate_record(plate)
    assert record.closure_errors() == []
    assert measure(record).volume == pytest.approx(plate.volume, rel=1e-9)


def test_edge_that_crosses_a_bend_aslant_is_refused() -> None:
    outline = Outline.polygon([(-100, -50), (100, -50), (100, 20), (-100, 80)])
    fold = Fold(start=vec2((0, -50)), end=vec2((0, 60)), angle=0.5, inside_radius=6, k=0.4)
    with pytest.raises(Refused, match="other than square"):
        plate_record(_plate(outline=outline, folds=(fold,), base=vec2((-50, 0))))
