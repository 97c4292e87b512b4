"""The bender's dial: settings on its marks, and what the rounding does to the tube.

A dial with marks every half degree cannot be set to 41.3. Each bend is set to the mark nearest to
what it needs; where the bends of a tube lie in one plane, what one bend is over is taken off the
next, so that the legs come out right although no bend does.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import cos, floor, radians, sin

import numpy as np

from cagekit.shop.bending.rows import BendRow, rebuild
from cagekit.shop.bending.springback import Springback
from cagekit.units.tolerance import ROUNDING

NO_TURN = radians(0.5)
"""Turns and clocks below this are none: nobody turns a tube by less (common practice)."""
SAMPLES = 60


def settings(
    angles: Sequence[float],
    clocks: Sequence[float],
    model: Springback,
    step: float,
    most: float,
) -> tuple[float, ...]:
    """Angles (rad) to set on the dial for bends of a tube, in their order along it.

    Args:
        angles: finished angles wanted, rad.
        clocks: outside of each bend from the reference line, rad.
        model: springback of the die.
        step: between two marks of the dial, rad; 0 where it can be set to anything.
        most: largest angle of the die, rad.
    """
    if step <= 0:
        return tuple(model.set_angle(a) for a in angles)
    flat = all(abs(sin(c)) < sin(NO_TURN) for c in clocks)
    over = 0.0
    out = []
    for angle, clock in zip(angles, clocks, strict=True):
        sense = (1.0 if cos(clock) > 0 else -1.0) if flat else 0.0
        exact = model.set_angle(max(angle - sense * over, 0.0))
        marks = max(round(exact / step), 1)
        if marks * step > most >= exact:
            marks = floor(most / step + ROUNDING)
        out.append(marks * step)
        over += sense * (model.left(out[-1]) - angle)
    return tuple(out)


def drift(rows: Sequence[BendRow], left: Sequence[float]) -> float:
    """How far (mm) the bent tube lies off the drawn one where it is worst, laid over it.

    Args:
        rows: the tube as drawn.
        left: angle that each bend is left with, rad; turns below :data:`NO_TURN` are not made.
    """
    made = []
    bends = iter(left)
    for r in rows:
        turn = snapped(r.rotation)
        angle = None if r.angle is None else next(bends)
        made.append(BendRow(row=r.row, feed=r.feed, rotation=turn, angle=angle, clr=r.clr))
    drawn, bent = rebuild(rows), rebuild(made)
    share = np.linspace(0.0, 1.0, SAMPLES)
    p, q = drawn.points(share * drawn.length), bent.points(share * bent.length)
    p, q = p - p.mean(axis=0), q - q.mean(axis=0)
    u, _, v = np.linalg.svd(q.T @ p)
    u[:, -1] *= np.sign(np.linalg.det(u @ v))
    return float(np.linalg.norm(q @ u @ v - p, axis=1).max())


def snapped(turn: float) -> float:
    """A turn (rad) with those below :data:`NO_TURN` flattened, those near half a turn made one."""
    if abs(turn) < NO_TURN:
        return 0.0
    half = radians(180.0)
    return half if half - abs(turn) < NO_TURN else turn
