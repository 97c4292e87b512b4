"""A dimension of a part alone acts, or is refused with why."""

from __future__ import annotations

from typing import Any

import pytest

from cagekit import part
from cagekit.errors import InputError


@pytest.mark.parametrize(
    ("kind", "dims", "field"),
    [
        ("strut", {"bend_radius": 200}, "bend_radius"),
        ("strut", {"end_a": "flat", "parent_od_a": 50}, "parent_od_a"),
        ("strut", {"end_b": "flat", "offset_b": 3}, "offset_b"),
        ("strut", {"end_b": "flat", "twist": 20}, "twist"),
        ("main_hoop", {"straight_legs": True, "width_belt": 1300}, "width_belt"),
        ("floor_plate", {"bolts": 6}, "bolts"),
        ("floor_plate", {"plug_diameter": 10}, "plug_diameter"),
        ("floor_plate", {"front_angle": 40}, "front_angle"),
        ("floor_plate", {"fold_angle": 40}, "fold_angle"),
        ("floor_plate", {"fold_at": 70}, "fold_at"),
        ("floor_plate", {"fold_at": 200}, "fold_at"),
        ("floor_plate", {"fold_at": 200, "front_flange": 40}, "fold_at"),
        ("floor_plate", {"fold_radius": 5}, "fold_radius"),
        ("floor_plate", {"k": 0.4}, "k"),
        ("floor_plate", {"fix": "bolted", "backing": False, "backing_thickness": 4},
         "backing_thickness"),
        ("floor_plate", {"fix": "bolted", "plugs": 4}, "plugs"),
        ("gusset", {"fold_radius": 5}, "fold_radius"),
        ("gusset", {"k": 0.4}, "k"),
        ("folded_gusset", {"nose": 12}, "nose"),
        ("tab", {"gap": 20}, "gap"),
        ("tab", {"bolt_grade": "10.9"}, "bolt_grade"),
        ("tab", {"bolt_size": "M12", "bolt": 11}, "bolt"),
        ("plinth", {"fold_radius": 5}, "fold_radius"),
        ("plinth", {"plugs": 4}, "plugs"),
        ("hinge_bracket", {"cup_wall": 4}, "cup_wall"),
        ("latch_bracket", {"design": "cheeks", "fold_radius": 5}, "fold_radius"),
    ],
)  # fmt: skip
def test_a_dimension_that_nothing_is_made_of_is_refused(
    kind: str, dims: dict[str, Any], field: str
) -> None:
    with pytest.raises(InputError) as caught:
        part(kind, **dims)
    told = str(caught.value)
    assert told.startswith(f"{kind}(): {field} = ")
    assert "eave it out" in told or "eave out" in told


@pytest.mark.parametrize(
    ("kind", "dims"),
    [
        ("dash_bar", {"set_back": 40, "bend_radius": 160}),
        ("strut", {"end_b": "flat", "angle_b": 60, "twist": 20}),
        ("main_hoop", {"width_belt": 1300}),
        ("floor_plate", {"fix": "bolted", "bolts": 6, "width": 200, "length": 200}),
        ("floor_plate", {"front_flange": 40, "front_angle": 40, "k": 0.4, "fold_radius": 4}),
        ("floor_plate", {"fold_at": 50, "fold_angle": 40}),
        ("floor_plate", {"fold_at": 50, "front_flange": 40, "rear_flange": 40}),
        ("latch_bracket", {"design": "cheeks", "cup_wall": 4}),
        # the usual value is no slip
        ("strut", {"bend_radius": 152.4}),
    ],
)
def test_what_acts_is_taken(kind: str, dims: dict[str, Any]) -> None:
    assert part(kind, **dims)
