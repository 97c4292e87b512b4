"""How a build's changes are laid on its layout."""

from __future__ import annotations

from typing import Any

import pytest

from cagekit.errors import InputError
from cagekit.inputs.build import BuildFile, entries_of
from cagekit.inputs.layout import Layout
from cagekit.inputs.places import read_location

LAYOUT = Layout.model_validate(
    {
        "name": "small",
        "member": [
            {"kind": "main_hoop"},
            {"kind": "rear_brace", "side": "both"},
            {
                "kind": "strut",
                "id": "tie",
                "side": "both",
                "from": "on main_hoop.{side} at foot",
                "to": "on rear_brace_{other} at middle",
                "via": [[1, 2, 3]],
            },
        ],
    }
)


def build(**more: Any) -> BuildFile:
    base = {"name": "b", "car": "c", "layout": "small", "tube": "t", "tooling": "t"}
    return BuildFile.model_validate({**base, **more}, context={"units": more.get("units", "mm")})


def entries(**more: Any) -> dict[str, Any]:
    return {e.id: e for e in entries_of(build(**more), LAYOUT, "b.toml")}


def test_both_sides_are_spread_and_filled_in() -> None:
    made = entries()
    assert list(made) == [
        "main_hoop",
        "rear_brace_left",
        "rear_brace_right",
        "tie_left",
        "tie_right",
    ]
    assert made["tie_right"].from_ == read_location("on main_hoop.right at foot")
    assert made["tie_right"].to == read_location("on rear_brace_left at middle")
    assert made["tie_left"].via == ((1, 2, 3),)
    assert made["tie_right"].via == ((1, -2, 3),)


def test_changes_by_role_and_by_id() -> None:
    made = entries(members={"rear_brace": {"drop": 50}, "rear_brace_right": {"drop": "2 in"}})
    assert made["rear_brace_left"].drop == 50
    assert made["rear_brace_right"].drop == pytest.approx(50.8)


def test_bare_numbers_of_changes_are_in_the_builds_units() -> None:
    assert entries(units="in", members={"main_hoop": {"gap": 0.5}})[
        "main_hoop"
    ].gap == pytest.approx(12.7)


def test_members_can_be_left_out_and_added() -> None:
    made = entries(
        members={"rear_brace_left": {"omit": True}},
        strut=[{"id": "extra", "from": "at 0,0,0", "to": "at 1,1,1"}],
        add=[{"kind": "cross_member"}],
    )
    assert "rear_brace_left" not in made
    assert "extra" in made
    assert "cross_member" in made


def test_one_side_may_get_another_place() -> None:
    made = entries(members={"tie_left": {"from": "on main_hoop.{side} at height 300"}})
    assert made["tie_left"].from_ == read_location("on main_hoop.left at height 300 mm")
    assert made["tie_right"].from_ == read_location("on main_hoop.right at foot")


@pytest.mark.parametrize(
    ("members", "says"),
    [
        ({"rear_brase": {"drop": 1}}, "Did you mean 'rear_brace'"),
        ({"rear_brace": {"dorp": 1}}, "Did you mean 'drop'"),
        ({"rear_brace": {"drop": "wide"}}, 'drop = "wide"'),
        ({"rear_brace": {"kind": "halo"}}, "the member is a rear_brace"),
        ({"main_hoop": {"lean": 200}}, "lean"),
    ],
)
def test_wrong_changes_are_told(members: dict[str, Any], says: str) -> None:
    with pytest.raises(InputError, match=says):
        entries(members=members)


def test_two_members_of_one_id_are_refused() -> None:
    with pytest.raises(InputError, match="two members have this id"):
        entries(strut=[{"id": "main_hoop", "from": "at 0,0,0", "to": "at 1,1,1"}])


@pytest.mark.parametrize("name", ["foot_tab_b", "backing_stay_a", "gusset_wing_a", "foot_x_b_top"])
@pytest.mark.parametrize("table", ["strut", "plate"])
def test_an_own_name_is_none_that_a_plate_at_a_tube_end_has(table: str, name: str) -> None:
    """Papers would read it out as the foot, backing plate or gusset of another tube."""
    rows = {
        "strut": {"from": "on main_hoop.left at middle", "to": "car left rear_foot"},
        "plate": {"kind": "tab", "at": "on main_hoop at middle"},
    }
    with pytest.raises(ValueError, match=r"end it otherwise, e\.g\. '\w+_1'"):
        build(**{table: [{"id": name, **rows[table]}]})
    for own in ("foot_tab_1", "stay_a", "gusset_a", "tab_b"):
        assert build(**{table: [{"id": own, **rows[table]}]})
