"""How a tube becomes one that swings out or comes apart: what is drilled, welded, cut, in order."""

from __future__ import annotations

from math import degrees

from cagekit.cage.door import SwingDoor, SwingJoint
from cagekit.cage.sleeve import SleevedTube, SleeveJoint, steep
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


def _joint(
    door: SwingDoor, joint: SwingJoint, tips: tuple[float, float], units: LengthUnit
) -> list[str]:
    s = joint.spec
    whole = door.fitted.path.length
    if joint.end == "a":
        from_tip = joint.cut_station - tips[0]
    else:
        from_tip = whole - joint.cut_station - tips[1]
    pin = from_tip + joint.pin_offset

    def said(mm: float) -> str:
        # saw cuts and pins are marked with a rule: sixteenths of an inch are too coarse
        return format_length(mm, units, denominator=32 if units == "in" else None)

    out = [
        f"{joint.name.capitalize()}: the stub ends {said(from_tip)} from the tip of the bar's end "
        f"{joint.end.upper()}, the saw takes {said(joint.gap)}, the pin is {said(pin)} from that "
        "tip. Drill "
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


def sleeve_work(
    tube: SleevedTube, tips: tuple[float, float], units: LengthUnit = "mm"
) -> tuple[str, ...]:
    """Instructions for one tube with bolted sleeves, before it is fitted; lengths in ``units``.

    Args:
        tube: the tube.
        tips: what its copes take off at the longest tip of end a and of end b, mm: a hand measures
            from there.
        units: of the lengths.
    """
    name = _plain(tube.fitted.id)
    length = tube.fitted.path.length
    cuts = [s for j in tube.joints for s in (j.station - j.gap / 2, j.station + j.gap / 2)]
    stops = [tips[0], *cuts, length - tips[1]]
    sizes = [
        f"{_plain(p)} {_fine(b - a, units)}"
        for p, a, b in zip(tube.pieces, stops[::2], stops[1::2], strict=True)
    ]
    out = [
        f"Cope {name} at both ends while it is whole, try it in its place and mark its "
        f"{'front' if steep(tube.joints[0].along) else 'top'} there. "
        "Scribe a line along it on that side: every hole is measured round from it."
    ]
    for joint in tube.joints:
        out += _sleeve(joint, tips[0], units)
    out.append(
        f"Saw it square at the mark{'s' * (len(tube.joints) > 1)}, take the burr off inside and "
        f"out. The pieces are now, from the tip of a cope or from cut to cut: {', '.join(sizes)}."
    )
    for joint in tube.joints:
        out.append(
            f"{_plain(joint.id).capitalize()}: slide the sleeve, {_fine(joint.length, units)} "
            f"long, over the cut, its middle over the saw's gap, clamp it and drill it "
            f"{_fine(joint.size.sleeve_bore, units)} with the bushes as a guide, "
            "one side after the other. Mark "
            "sleeve and pieces with one sign, so that they go together the same way round."
        )
    out.append(
        "Bolt it together with a washer under every head and nut; tighten until the washers bed, "
        f"no further: the bushes take the squeeze. {name.capitalize()} goes in bolted together, as "
        "one tube. Nothing is welded at a sleeve once it is assembled."
    )
    apart = [
        f"{_plain(j.id)} slides {_fine((j.length + j.gap) / 2, units)} towards end "
        f"{j.slides.upper()}"
        for j in tube.joints
    ]
    out.append(f"To take it apart, draw the bolts: {'; '.join(apart)}.")
    if len(tube.joints) == 1:
        out.append(
            "With this one joint its halves part but stay welded in the car; a tube that is to "
            "come out whole has a second one."
        )
    return tuple(out)


def _fine(mm: float, units: LengthUnit) -> str:
    """A length that is marked with a rule, or drilled."""
    return format_length(mm, units, decimals=1 if units == "mm" else 3)


def _sleeve(joint: SleeveJoint, tip: float, units: LengthUnit) -> list[str]:
    """Where one sleeve's cut and bushes are."""
    ways = [_fine(x, units) for x in joint.bolts if x > 0]
    turn = degrees(joint.turn)
    line = (
        "on the scribed line"
        if abs(turn) < 0.5
        else f"turned {abs(turn):.0f} degrees from the scribed line, "
        f"{'clockwise' if turn > 0 else 'anticlockwise'} as seen from end a"
    )
    return [
        f"{_plain(joint.id).capitalize()}: mark the middle of the cut "
        f"{_fine(joint.station - tip, units)} from the tip of end a, the saw takes "
        f"{_fine(joint.gap, units)}. Mark holes {' and '.join(ways)} to both sides of that middle, "
        f"{line}.",
        f"Drill {_fine(joint.size.sleeve_od, units)} right through both walls there, set a bush of "
        f"{_fine(joint.bush_length, units)} in each hole, flush on both sides, weld it round and "
        "dress the weld until the sleeve slides over it by hand.",
    ]
