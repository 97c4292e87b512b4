"""How a fitted bar becomes one that swings out: what is drilled, welded and cut, in order."""

from __future__ import annotations

from math import degrees

from cagekit.cage.door import SwingDoor, SwingJoint
from cagekit.units import format_length
from cagekit.units.lengths import LengthUnit


def division(door: SwingDoor, units: LengthUnit = "mm") -> tuple[str, ...]:
    """Instructions for one bar, a sentence or two each; lengths in ``units``."""
    out = [
        f"{_plain(door.fitted.id)} is fitted, welded at both ends and still whole. Mark both saw "
        "cuts on it with a hose clamp, the pins' middles, and the line of the pins along it."
    ]
    for joint in door.joints:
        out += _joint(door, joint, units)
    cup = " and the half cup" if any(j.spec.cup for j in door.joints) else ""
    out.append(
        f"Set the brackets{cup} over their marks with bolts of the pins' size through the "
        "sleeves, hard against the bar where it is to bear, and tack them on the stubs' side of "
        "the cuts only."
    )
    out.append(
        f"Cut the bar at both marks with a thin blade, from the open side of the brackets. It "
        f"becomes {_plain(door.bar)}; {_plain(door.pieces[0])} and {_plain(door.pieces[2])} stay "
        "in the car. Take it out, finish the cuts and the relief."
    )
    out.append(
        "Hang it again, open and shut it the whole way, then weld the brackets to the stubs with "
        "the bar shut, so that they do not pull out of line. Keep fingers out of the gaps: they "
        "pinch."
    )
    return tuple(out)


def _plain(id_: str) -> str:
    """The name for people."""
    return id_.replace("_", " ")


def _joint(door: SwingDoor, joint: SwingJoint, units: LengthUnit) -> list[str]:
    s = joint.spec
    whole = door.fitted.path.length
    from_node = joint.cut_station if joint.end == "a" else whole - joint.cut_station
    node = "rear" if joint.end == "a" else "front"
    pin = from_node + joint.pin_offset

    def said(mm: float) -> str:
        # saw cuts and pins are marked with a rule: sixteenths of an inch are too coarse
        return format_length(mm, units, denominator=32 if units == "in" else None)

    out = [
        f"{joint.name.capitalize()}: the stub ends {said(from_node)} from the {node} node, the saw "
        f"takes {said(joint.gap)}, the pin is {said(pin)} from the node. Drill "
        f"{said(s.sleeve_od)} through both walls and weld the sleeve in."
    ]
    play = format_length(s.side_play, units, decimals=1 if units == "mm" else 3)
    out.append(
        f"Between its plates it has {play} of play along the pin, both sides together: with none "
        "it binds once the brackets are welded."
    )
    if joint.relief:
        side = "outer" if joint.relief > 0 else "inner"
        out.append(
            f"The bar's end leans {abs(degrees(joint.relief)):.0f} degrees off square, its {side} "
            "side the shorter: without this relief it binds on the stub."
        )
    return out
