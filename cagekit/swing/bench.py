"""How a tube with bolted joints is made on the bench: what is marked, sawn, welded, bolted."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from itertools import pairwise
from math import degrees
from typing import Any

from msgspec import Struct

from cagekit.cage.bolted import BoltedJoint, BoltedTube, ClevisJoint, PlugJoint, SleeveJoint, steep
from cagekit.names import at_start, named
from cagekit.swing.work import by_gauge, by_rule
from cagekit.units import format_length
from cagekit.units.lengths import LengthUnit


class Said(Struct, frozen=True):
    """Lengths in words, in ``units``."""

    units: LengthUnit

    def mark(self, mm: float) -> str:
        """A length that is marked or checked with a rule."""
        return format_length(mm, "mm", decimals=1) if self.units == "mm" else by_rule(mm, "in")

    def size(self, mm: float) -> str:
        """A size that is drilled, reamed or turned."""
        return by_gauge(mm, self.units)


class Bench(Struct, frozen=True):
    """What is said of one kind of joint.

    Args:
        mark: on the whole tube; of the joint, what a cope takes off at end a, and lengths in words.
        put: parts in and on the sawn pieces; of the joint, both pieces, and lengths in words.
        tight: how far its bolts are tightened, of the joint.
        apart: how it comes apart; of the joint and lengths in words.
        closed: whether it closes the ends of its pieces.
    """

    mark: Callable[[Any, float, Said], list[str]]
    put: Callable[[Any, tuple[str, str], Said], list[str]]
    tight: Callable[[Any], str]
    apart: Callable[[Any, Said], str]
    closed: bool


def bench_work(
    tube: BoltedTube, tips: tuple[float, float], units: LengthUnit = "mm"
) -> tuple[str, ...]:
    """Instructions for one tube with bolted joints, before it is fitted; lengths in ``units``.

    Args:
        tube: the tube.
        tips: what its copes take off at the longest tip of end a and of end b, mm: a hand measures
            from there.
        units: of the lengths.
    """
    said = Said(units)
    joints = [(j, BENCH[j.kind]) for j in tube.joints]
    name = named(tube.fitted.id)
    out = [
        f"Cope {name} at both ends while it is whole, try it in its place and mark its "
        f"{'front' if steep(tube.joints[0].along) else 'top'} there. "
        "Scribe a line along it on that side: every hole is measured round from it."
    ]
    out += [line for j, bench in joints for line in bench.mark(j, tips[0], said)]
    many = len(joints) > 1 or any(bench.closed for _, bench in joints)
    out.append(
        f"Saw it square at the mark{'s' * many}, take the burr off inside and out. The pieces are "
        "now, from the tip of a cope or from cut to cut: "
        f"{', '.join(_pieces(tube, tips, said))}."
    )
    for (j, bench), both in zip(joints, pairwise(map(named, tube.pieces)), strict=True):
        out += bench.put(j, both, said)
    if len(joints) > 1 and all(bench.closed for _, bench in joints):
        out.append(
            f"{at_start(named(tube.pieces[1]))} is closed at both ends: hot gas blows out of "
            "the last gap in its welds; leave that gap open until the rest has cooled, then close "
            "it."
        )
    tight = " ".join(dict.fromkeys(bench.tight(j) for j, bench in joints))
    out.append(
        f"Bolt it together with a washer under every head and nut. {tight} {at_start(name)} "
        "goes in bolted together, as one tube. Nothing is welded at a joint once it is assembled."
    )
    apart = "; ".join(bench.apart(j, said) for j, bench in joints)
    out.append(f"To take it apart, draw the bolts: {apart}.")
    if len(joints) == 1:
        out.append(
            "With this one joint its halves part but stay welded in the car; a tube that is to "
            "come out whole has a second one."
        )
    return tuple(out)


def _pieces(tube: BoltedTube, tips: tuple[float, float], said: Said) -> list[str]:
    """Each piece and its length."""
    cuts = [s for j in tube.joints for s in (j.station - j.gap / 2, j.station + j.gap / 2)]
    stops = [tips[0], *cuts, tube.fitted.path.length - tips[1]]
    return [
        f"{named(p)} {said.mark(b - a)}"
        for p, a, b in zip(tube.pieces, stops[::2], stops[1::2], strict=True)
    ]


def _named(joint: BoltedJoint) -> str:
    return at_start(named(joint.id))


def _line(joint: BoltedJoint) -> str:
    """Where the bolts are round the tube."""
    turn = degrees(joint.turn)
    if abs(turn) < 0.5:
        return "on the scribed line"
    way = "clockwise" if turn > 0 else "anticlockwise"
    return f"turned {abs(turn):.0f} degrees from the scribed line, {way} as seen from end A"


# --- sleeve -------------------------------------------------------------------------------------


def _mark_sleeve(joint: SleeveJoint, tip: float, said: Said) -> list[str]:
    ways = [said.mark(x) for x in joint.bolts if x > 0]
    return [
        f"{_named(joint)}: mark the middle of the cut {said.mark(joint.station - tip)} from the "
        f"tip of end A, the saw takes {said.size(joint.gap)}. Mark holes {' and '.join(ways)} to "
        f"both sides of that middle, {_line(joint)}.",
        f"Drill {said.size(joint.size.sleeve_od)} right through both walls there, set a bush of "
        f"{said.size(joint.bush_length)} in each hole, flush on both sides, weld it round and "
        "dress the weld until the sleeve slides over it by hand.",
    ]


def _put_sleeve(joint: SleeveJoint, both: tuple[str, str], said: Said) -> list[str]:
    return [
        f"{_named(joint)}: slide the sleeve, {said.mark(joint.length)} long, over the cut, its "
        f"middle over the saw's gap, clamp it and drill it {said.size(joint.size.sleeve_bore)} "
        f"with the bushes as a guide, one side after the other. Mark sleeve, {both[0]} and "
        f"{both[1]} with one sign, so that they go together the same way round."
    ]


def _tight_sleeve(joint: SleeveJoint) -> str:
    return (
        "Tighten a sleeve's bolts until the washers bed, no further: the bushes take the squeeze."
    )


def _apart_sleeve(joint: SleeveJoint, said: Said) -> str:
    free = said.mark((joint.length + joint.gap) / 2)
    return f"{named(joint.id)} slides {free} towards end {joint.slides.upper()}"


# --- clevis -------------------------------------------------------------------------------------


def _mark_clevis(joint: ClevisJoint, tip: float, said: Said) -> list[str]:
    return [
        f"{_named(joint)}: the bolt is {said.mark(joint.station - tip)} from the tip of end A. "
        f"Mark a cut {said.mark(joint.gap / 2)} to both sides of it: {said.mark(joint.gap)} of "
        "tube falls out."
    ]


def _put_clevis(joint: ClevisJoint, both: tuple[str, str], said: Said) -> list[str]:
    fork, eye = both if joint.fork == "a" else both[::-1]
    return [
        f"{_named(joint)}: make fork and eye as their page draws them, both holes of one size. "
        "Bevel the sawn ends for a weld through the whole wall. Push the fork's spigot into "
        f"{fork} and the eye's into {eye} until the collars lie hard against the tube, and bolt "
        f"them together, the bolt {_line(joint)}.",
        "Clamp both pieces in one straight line: from sawn end to sawn end are "
        f"{said.mark(joint.gap)}. "
        "Tack each collar in four places, draw the bolt, weld each collar all round in short runs, "
        f"left and right in turn. When it is cold the bolt of {joint.size.size} must still go "
        f"through by hand; ease both holes together with a reamer of {said.size(joint.hole)}, "
        "never one alone.",
    ]


def _tight_clevis(joint: ClevisJoint) -> str:
    return (
        "Tighten a clevis until its washers bed, no further: its cheeks are not drawn onto the "
        "eye. Its nut is a locking one."
    )


def _apart_clevis(joint: ClevisJoint, said: Said) -> str:
    return f"the eye of {named(joint.id)} comes out of its fork sideways, square to the bolt"


# --- plug ---------------------------------------------------------------------------------------


def _mark_plug(joint: PlugJoint, tip: float, said: Said) -> list[str]:
    return [
        f"{_named(joint)}: mark the middle of what is cut out {said.mark(joint.station - tip)} "
        f"from the tip of end A, and a cut {said.mark(joint.gap / 2)} to both sides of it: "
        f"{said.mark(joint.gap)} of tube falls out."
    ]


def _put_plug(joint: PlugJoint, both: tuple[str, str], said: Said) -> list[str]:
    socket, plug = both if joint.socket == "a" else both[::-1]
    # the bolt lies on the socket's side of the middle
    deep = joint.gap / 2 - abs(joint.bolts[0])
    return [
        f"{_named(joint)}: turn socket and plug as their page draws them, the holes not yet. Blue "
        "the taper and lap it until it bears all round and along its whole length; the plug's "
        f"collar then stands {said.size(joint.seat)} off the socket's mouth.",
        f"Push the taper home and clamp it so. Drill and ream both together "
        f"{said.size(joint.hole)}, {said.size(deep)} from the socket's shoulder at its spigot, and "
        "mark both with one sign: they belong together.",
        "Bevel the sawn ends for a weld through the whole wall. Push the socket's spigot into "
        f"{socket} and the plug's into {plug} until the shoulders lie hard against the tube, "
        f"bolted together, the bolt {_line(joint)}. Clamp both pieces in one straight line: from "
        f"sawn end to sawn end are {said.mark(joint.gap)}. Tack each shoulder in four places, weld "
        "it all round in short runs, left and right in turn, the bolt in; it must still come out "
        "by hand when all is cold, and the taper bear as before.",
    ]


def _tight_plug(joint: PlugJoint) -> str:
    return (
        "Tighten a plug's bolt until its washers bed, no further: the taper, not the bolt, takes "
        "what presses and bends. Its nut is a locking one."
    )


def _apart_plug(joint: PlugJoint, said: Said) -> str:
    end = "b" if joint.socket == "a" else "a"
    return (
        f"the plug of {named(joint.id)} is drawn {said.mark(joint.travel)} along the tube towards "
        f"end {end.upper()}, and what is welded to that piece with it"
    )


BENCH: Mapping[str, Bench] = {
    "sleeve": Bench(_mark_sleeve, _put_sleeve, _tight_sleeve, _apart_sleeve, False),
    "clevis": Bench(_mark_clevis, _put_clevis, _tight_clevis, _apart_clevis, True),
    "plug": Bench(_mark_plug, _put_plug, _tight_plug, _apart_plug, True),
}
"""Every kind of joint."""
