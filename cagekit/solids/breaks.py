"""Where a rim of a coped end passes from one surface to another."""

from __future__ import annotations

from collections.abc import Sequence
from math import acos, cos, tau

import numpy as np

from cagekit.geometry.arrays import Array, Bools, Ints
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
    phi = np.concatenate([phi, np.array(beyond) % tau])
    phi = phi[_rising(phi)]
    if rays.cut.count > 1:
        phi, active = yield from _closer(rays, rho, phi)
    else:
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


def _closer(rays: EndRays, rho: float, phi: Array) -> RayWork[tuple[Array, Ints]]:
    """Add rays where a surface may show between two samples that both end on others.

    Returns:
        The angles, rising, and the surfaces that take the rays there.
    """
    seen = yield from _looked(rays, rho, phi)
    known = [np.append(phi[None], seen, axis=0)]
    low, high = phi, np.append(phi[1:], phi[0] + tau)
    start, stop = seen, np.roll(seen, -1, axis=1)
    inside = np.arange(1, CLOSER) / CLOSER
    for _ in range(ROUNDS):
        maybe = np.nonzero(_may_show(rho, high - low, start, stop))[0]
        if not len(maybe):
            break
        low, high = low[maybe, None], high[maybe, None]
        between = low + (high - low) * inside
        seen = yield from _looked(rays, rho, between.ravel())
        known.append(np.append(between.reshape(1, -1), seen, axis=0))
        edges = np.concatenate([low, between, high], axis=1)
        of = seen.reshape(len(seen), *between.shape)
        whole = np.concatenate([start[:, maybe, None], of, stop[:, maybe, None]], axis=2)
        low, high = edges[:, :-1].ravel(), edges[:, 1:].ravel()
        start, stop = (q.reshape(len(seen), -1) for q in (whole[..., :-1], whole[..., 1:]))
    angles, *_, takers = np.concatenate(known, axis=1)
    angles = angles % tau
    order = _rising(angles)
    return angles[order], takers[order].astype(np.intp)


def _looked(rays: EndRays, rho: float, phi: Array) -> RayWork[Array]:
    """What rays ``(n,)`` of a rim do, ``(3 k + 2, n)``.

    Depth, gap and reach beyond the ends at each of k surfaces, then where they end and on which.
    """
    solved, first, active = yield from rays.solving(phi, rho)
    return np.array([*(row for rows in zip(*solved, strict=True) for row in rows), first, active])


def _rising(angles: Array) -> Ints:
    """Numbers of angles in order, each once; the library's own loads what nothing else needs."""
    order = np.argsort(angles, kind="stable")
    rising = angles[order]
    return np.asarray(order[np.append(True, rising[1:] > rising[:-1])])


def _may_show(rho: float, width: Array, start: Array, stop: Array) -> Bools:
    """Tell in which intervals ``(n,)`` a surface may come first that does at neither end.

    Args:
        rho: radius of the rim, mm.
        width: of the intervals, rad.
        start: what rays at their starts do, as :func:`_looked` tells.
        stop: what those at their stops do.
    """
    both, k = np.stack([start, stop], axis=1), len(start) // 3
    s, gap, over = both[:-2].reshape(3, k, 2, -1)
    first, active = both[-2:]
    lead = s - first
    near = lead.max(axis=1) + np.abs(lead[:, 1] - lead[:, 0]) + rho * width**2 > 0
    met = gap.min(axis=1) <= np.abs(gap[:, 1] - gap[:, 0]) + TOUCH
    within = over.min(axis=1) <= np.abs(over[:, 1] - over[:, 0])
    hidden = (active != np.arange(k)[:, None, None]).all(axis=1)
    return np.asarray((hidden & near & met & within).any(axis=0))


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
