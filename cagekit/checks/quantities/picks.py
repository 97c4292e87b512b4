"""What each quantity takes notice of when a rule says which tubes it looks at.

A quantity that is in none of these reads all three of `of`, `side` and `steel`. A rule that says
another is refused: it would look at more than its reader thinks. A test reads the functions.
"""

from __future__ import annotations

from cagekit.checks.quantities.quantity import PICKS

_NOTHING = """
    bare_tube_to_helmet base_layout belt_angle bend_beyond_tests blank_length bolt_use
    bracket_use case_deflection chord_use collapse_factor critical_factor cut_thickness
    diagonal_bends diagonal_brace_gap diagonal_corner_gap diagonal_foot_gap
    diagonal_from_driver_corner diagonal_one_piece_legs diagonal_out_of_plane die_lacking
    door_bars_identical door_bars_on_driver_side door_bars_on_passenger_side drawn_radius
    elapsed_time end_held frame_stands front_bar_over_column front_bar_over_dash grind_used
    gusset_hole_over_od gusset_reach gusset_reach_over_od gusset_thickness gussets_at_joint
    gussets_at_pillar_brace half_hoop_drop harness_bar_out_of_plane hole_diameter hole_to_edge
    hole_to_hole homologation_year hoop_diagonals hoop_diagonals_crossed hoop_gap_to_driver_door
    hoop_gap_to_shell hoop_roof_gap hoop_share_over_door joint_angle joint_bolt_use
    joint_part_use leg_below_bender node_miss piece_to_hold pillar_added pillar_hidden pin_use
    plate_room_to_shell plate_to_plate plate_to_tube plates_in_one_place roof_apex_gap roof_bars
    roof_end_gap roof_front_on_driver_side roof_pattern room_to_shell seat_gap seat_given
    seat_missed set_angle sheet_share sheet_use springback_scatter stands_on_car stock_lacking
    straight_between swing_behind_back swing_bolt_shank swing_bracket_gap
    swing_bracket_thickness swing_cope_room swing_cup_reach swing_cup_wall swing_door_outline
    swing_ear_ligament swing_fold_room swing_hinge_gap swing_hole_play swing_latch_gap
    swing_latch_reach swing_lug_thickness swing_lug_width swing_opening swing_pin_diameter
    swing_pin_length swing_pin_shear_planes swing_pin_to_upright swing_plate_cut swing_ream_room
    swing_room swing_root_gap swing_stop swing_stop_gap swing_way_out tape_off tube_buckling
    tube_carries tube_for_clamp tube_gap tube_gusset_share tubes_through_trim view_down view_up
    wall_between_copes wall_in_bends way_out_room_open weld_covered weld_use
"""
_SIDE = """
    brace_bolt_section_share door_bar_height_ratio door_bar_pattern door_figure_a door_figure_b
    door_figure_c door_figure_e door_x_one_piece_legs elbow_room foot_room front_leg_bends
    front_leg_bow harness_bar_drop head_rest_room helmet_ahead_of_hoop helmet_to_main_hoop
    helmet_to_nearest_tube helmet_to_shell helmet_under_hoop_line hoop_above_helmet
    hoop_width_over_shoulders knee_room person_in_car pillar_brace_lower_gap pillar_brace_upper_gap
    reach_short rear_brace_angle rear_brace_bends rear_brace_drop rear_brace_hoop_angle
    rear_brace_rearward rear_brace_to_bend seat_room shoulder_to_hoop side_bar_on_arm torso_room
    way_out_room wheel_to_dash_bar wheel_to_pillar_bar
"""
_OF = """
    flange fold_angle fold_length fold_radius gussets_at_crossing hole_to_fold
"""
_OF_AND_SIDE = """
    backing_plate_thickness_share backing_plates bars_each_side bolt_count bolt_diameter
    bolt_spread bolt_tensile bolted_plate_over_wall bolted_plate_thickness mounting_points
    plate_area plate_area_over_od plate_contact_area plate_longest_side plate_planes
    plate_shortest_side plate_shortest_side_over_od plate_size plate_thickness plates_at_foot
    section_off_foot welded_plate_thickness
"""
ALL = frozenset(PICKS)
_READ = {
    name: frozenset(read)
    for names, read in (
        (_NOTHING, ()),
        (_SIDE, ("side",)),
        (_OF, ("of",)),
        (_OF_AND_SIDE, ("of", "side")),
    )
    for name in names.split()
}


def picked_by(quantity: str) -> frozenset[str]:
    """Which of `of`, `side` and `steel` a quantity of that name reads."""
    return _READ.get(quantity, ALL)
