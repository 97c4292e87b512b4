"""How a bar becomes one that swings out: what is drilled, welded, cut, in order."""

from __future__ import annotations

from math import degrees

from cagekit.cage.door import SwingDoor, SwingJoint
from cagekit.names import at_start, named
from cagekit.units import format_length
from cagekit.units.lengths import LengthUnit


def division(
    door: SwingDoor, tips: tuple[float, float], units: LengthUnit = "mm"
) -> tuple[str, ...]:
    """Instructions for one bar, a sentence or two each.

    Args:
        door: the bar and its joints.
        tips: what its copes take off at the longest tip of end a and of end b, mm: a hand measures
            from there, before the bar is fitted.
        units: of the lengths.
    """
    out = [
        "The bar is fitted, welded at both ends and still whole. Draw its scribed saw cuts round "
        "with a hose clamp; the pins' middles and the line of the pins along it are on it too."
    ]
    for joint in door.joints:
        out += _joint(door, joint, tips, units)
    cup = " and the half cup" if any(j.spec.cup for j in door.joints) else ""
    out.append(
        f"Set the brackets{cup} over their marks, hard against the bar where it is to bear, and "
        "ream their pin holes until bolts of the pins' size go through plates and sleeves as they "
        "lie: no fold is quite where it was drawn. With the bolts in, tack them on the stubs' side "
        "of the cuts only."
    )
    out.append(
        f"Cut the bar at both marks with a thin blade, from the open side of the brackets. It "
        f"becomes {named(door.bar)}; {named(door.pieces[0])} and {named(door.pieces[2])} stay "
        "in the car. Take it out, finish the cuts and the relief."
    )
    out.append(
        "Hang it again, open and shut it the whole way, then weld the brackets to the stubs with "
        "the bar shut, so that they do not pull out of line. Keep fingers out of the gaps: they "
        "pinch."
    )
    return tuple(out)


def stub_length(door: SwingDoor, joint: SwingJoint, tips: tuple[float, float]) -> float:
    """How long a stub is from the longest tip of its end of the bar to the saw cut, mm.

    Args:
        door: the bar.
        joint: whose stub.
        tips: what the bar's copes take off at the longest tip of end a and of end b, mm.
    """
    if joint.end == "a":
        return joint.cut_station - tips[0]
    return door.fitted.path.length - joint.cut_station - tips[1]


def by_rule(mm: float, units: LengthUnit) -> str:
    """A length that is marked with a rule: for a saw cut or a pin sixteenths are too coarse."""
    return format_length(mm, units, denominator=32 if units == "in" else None)


def by_gauge(mm: float, units: LengthUnit) -> str:
    """A small size that is bought, set or gauged: a saw's blade, a play."""
    return format_length(mm, units, decimals=1 if units == "mm" else 3)


def _joint(
    door: SwingDoor, joint: SwingJoint, tips: tuple[float, float], units: LengthUnit
) -> list[str]:
    s = joint.spec
    from_tip = stub_length(door, joint, tips)
    pin = from_tip + joint.pin_offset

    def said(mm: float) -> str:
        return by_rule(mm, units)

    out = [
        f"{at_start(joint.name)}: the stub ends {said(from_tip)} from the tip of the bar's end "
        f"{joint.end.upper()}, the saw takes {by_gauge(joint.gap, units)}, the pin is {said(pin)} "
        f"from that tip. Drill {said(s.sleeve_od)} through both walls and weld the sleeve in."
    ]
    out.append(
        f"Between its plates it has {by_gauge(s.side_play, units)} of play along the pin, both "
        "sides together: with none it binds once the brackets are welded."
    )
    if joint.relief:
        side = "outer" if joint.relief > 0 else "inner"
        out.append(
            f"The bar's end leans {abs(degrees(joint.relief)):.0f} degrees off square, its {side} "
            "side the shorter: without this relief it binds on the stub."
        )
    return out
