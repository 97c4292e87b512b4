"""What bending does to the section of a tube: wall on the outside and inside, flattening.

First estimates for choosing tube and die, not for acceptance: a shop measures its own test bends.
"""

from __future__ import annotations


def thinned_wall(od: float, wall: float, clr: float) -> float:
    """Estimate the wall on the outside of a bend, mm.

    The outer fibre is stretched in the ratio of its radius to the neutral one, which is taken on
    the centre line, and the wall thins by as much: ``wall * clr / (clr + od / 2)``. Pipework
    codes give bends a little less (TEMA R-2.31, from memory, half of it) or ask for about as much
    before bending (ASME B31.1 table 102.4.5: 25 percent at 3 diameters, 14 at 4, 8 at 5).

    Args:
        od: outside diameter, mm.
        wall: thickness before the bend, mm.
        clr: centre-line radius, mm.

    Source: usual rule of thumb of draw bending, R / (R + D / 2) (common practice).
    """
    return wall * clr / (clr + od / 2)


def expected_roundness(od: float, clr: float) -> float:
    """Estimate the smallest over the largest diameter in the middle of a bend.

    Out-of-roundness ``2 (max - min) / (max + min)`` of ``0.2 od / clr``: 6.7 percent at three
    diameters, 5 at four. Mandrel bends are rounder; worn dies and thin walls are worse.

    Source: allowance of boiler practice for tube bends, 20 D / R percent (from memory).
    """
    u = 0.2 * od / clr
    return (2 - u) / (2 + u)
