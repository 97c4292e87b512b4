"""Where a rim of a coped end passes from one surface to another."""

from __future__ import annotations

from collections.abc import Sequence
from math import acos, cos, tau

import numpy as np

from cagekit.geometry.arrays import Array, Bools
from cagekit.geometry.contact import TOUCH
from cagekit.geometry.end_cut import narrowing
from cagekit.solids.rims import COARSE, EndRays, Graze, apart
from cagekit.solids.side_by_side import RayWork
from cagekit.units.tolerance import ANGLE_ROUNDING, SAME_ANGLE

CLOSER = 8
"""Parts into which an interval of rays is divided where a surface may show between them."""
ROUNDS = 4
"""How often it is divided: what shows over less than a micrometre stays unseen."""


def breaks(rays: EndRays, side: int, every: Sequence[Graze]) -> RayWork[list[float]]:
    """Angles at which a rim passes from one surface to another, rad in [0, 2 pi).

    Args:
        rays: rays of the end.
        side: 0 for the rim outside, 1 for that of the bore.
        every: grazes of the rim.
    """
    rho = rays.radii[side]
    sharp = [g for g in every if g.missing]
    phi, known = rays.scanned(side)
    if rays.cut.count == 1 and not sharp and (known == known[0]).all():
        return []
    beyond = [g.angle + t * g.width for g in sharp for t in (-1, 1)]
    phi = _rising(np.concatenate([phi, np.array(beyond) % tau]))
    if rays.cut.count > 1:
        phi = yield from _closer(rays, rho, phi)
    _, active = yield from rays.asking(phi, rho)
    change = np.nonzero(active != np.roll(active, -1))[0]
    if not len(change):
        return []
    low, high = phi[change], np.append(phi[1:], phi[0] + tau)[change]
    left, right = active[change], np.roll(active, -1)[change]
    out = []
    while len(low):
        search = narrowing(low, high, left, rounds=9)
        grid = next(search)
        try:
            while True:
                _, taken = yield from rays.asking(grid.ravel(), rho)
                grid = search.send(taken.reshape(grid.shape))
        except StopIteration as end:
            at, past, found = end.value
        # beside a parent the cope goes on, or drops to the next one
        both = at + np.array([[-ANGLE_ROUNDING], [ANGLE_ROUNDING]])
        s, _ = yield from rays.asking(both.ravel(), rho)
        drops = (np.abs(s[len(at) :] - s[: len(at)]) > COARSE).tolist()
        for i, pair in enumerate(zip(left.tolist(), found.tolist(), strict=True)):
            angle = float(at[i] % tau)
            if drops[i] or max(pair) >= rays.cut.count:
                angle = _silhouette(angle, rho, [g for g in sharp if g.surface in pair])
            out.append(angle)
        # a surface that shows over less than the distance of two samples
        more = (found != right) & (high - past > SAME_ANGLE)
        low, high, left, right = past[more], high[more], found[more], right[more]
    return out


def _closer(rays: EndRays, rho: float, phi: Array) -> RayWork[Array]:
    """Add rays where a surface may show between two samples that both end on others."""
    low, high = phi, np.append(phi[1:], phi[0] + tau)
    out = [phi]
    fraction = np.arange(CLOSER) / CLOSER
    for _ in range(ROUNDS):
        maybe = yield from _may_show(rays, rho, low, high)
        if not maybe.any():
            break
        edges = low[maybe, None] + (high - low)[maybe, None] * np.append(fraction, 1.0)
        low, high = edges[:, :-1].ravel(), edges[:, 1:].ravel()
        out.append(edges[:, 1:-1].ravel())
    return _rising(np.concatenate(out) % tau)


def _rising(angles: Array) -> Array:
    """Angles in order, each once; the library's own loads what nothing else needs."""
    order = np.sort(angles)
    return np.asarray(order[np.append(True, order[1:] > order[:-1])])


def _may_show(rays: EndRays, rho: float, low: Array, high: Array) -> RayWork[Bools]:
    """Tell in which intervals ``(n,)`` a surface may come first that does at neither end."""
    n = len(low)
    solved, first, active = yield from rays.solving(np.concatenate([low, high]), rho)
    bow = rho * (high - low) ** 2
    out = np.zeros(n, dtype=bool)
    for k, here in enumerate(solved):
        lead, gap, over = (q.reshape(2, n) for q in (here.s - first, here.gap, here.over))
        near = lead.max(axis=0) + np.abs(lead[1] - lead[0]) + bow > 0
        met = gap.min(axis=0) <= np.abs(gap[1] - gap[0]) + TOUCH
        within = over.min(axis=0) <= np.abs(over[1] - over[0])
        hidden = (active.reshape(2, n) != k).all(axis=0)
        out |= hidden & near & met & within
    return out


def _silhouette(angle: float, rho: float, sharp: Sequence[Graze]) -> float:
    """The exact silhouette that a break stands for.

    A ray counts as missing only when it passes by more than a tolerance, which is a little
    further round.
    """
    for g in sharp:
        late = g.width - acos(min(cos(g.width) + TOUCH / rho, 1.0))
        if apart(angle, g.angle) < 1.5 * late + SAME_ANGLE:
            return g.angle
    return angle
