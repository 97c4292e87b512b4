"""Copes: how the end of a tube is cut to sit on its parents, a plate, or square.

The cut is a function ``s(phi, rho)``: phi goes around the tube's own axis, right-handed about the
direction that points out of the member at that end, from the reference line; rho is the distance
from the axis; s is how far back from the theoretical end the wall starts (positive = cut away).
Each ray along the tube ends where it first touches a parent's outside, which is what a tube that
is ground until it sits down on its parents does. Frame: car axes, mm, rad.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import degrees, inf, sin
from typing import Literal, Protocol

import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike

from cagekit.errors import CopeError, StandError
from cagekit.geometry.centre_line import CentreLine, Line, Vec, vec
from cagekit.geometry.contact import ContactSurface, PlaneFace, Window
from cagekit.geometry.end_cut import CutWork, EndCut, in_step, measure
from cagekit.geometry.landing import MIN_ANGLE, Branch, Landing, Parent, land_all
from cagekit.geometry.plain import plainly_good
from cagekit.geometry.scan import scan
from cagekit.units.tolerance import SAME_POINT

MISS_SHARE = 0.25
"""Largest share of the circumference that may miss every parent. More than that and the tube
stands beside its parent, not on it. A choice of this project, not of a standard."""
NODE_TOL = 0.5
"""A branch whose axis passes its parents' by less than this (mm) counts as concentric. A
choice of this project: less than what a fabricator can set by hand."""

CROSSING = "Where it is cut by a tube that it crosses, let them cross farther from its end."
"""The cure of a piece that is too short for its cuts."""


class FlatSurface(Protocol):
    """What a tube can stand on: a point and the unit normal that points to the tube."""

    @property
    def point(self) -> Vec:
        """A point of the surface, ``(3,)`` mm."""

    @property
    def normal(self) -> Vec:
        """Unit normal on the tube's side, ``(3,)``."""


class EndToCut(Struct, frozen=True, kw_only=True, eq=False):
    """An end that is to be cut; see :func:`cut_end`."""

    path: CentreLine
    which: Literal["a", "b"]
    outer_radius: float
    inner_radius: float
    parents: tuple[Parent, ...] = ()
    plane: FlatSurface | None = None
    zero: ArrayLike | None = None
    owner: str = ""

    @property
    def branch(self) -> Branch:
        """The end as what lands on its parents."""
        point, out = self.path.end_point(self.which), self.path.out_direction(self.which)
        return Branch(point, out, self.outer_radius, self.owner or "tube")


def cut_end(
    path: CentreLine,
    which: Literal["a", "b"],
    outer_radius: float,
    inner_radius: float,
    *,
    parents: Iterable[Parent] = (),
    plane: FlatSurface | None = None,
    zero: ArrayLike | None = None,
    owner: str = "",
) -> EndCut:
    """Cut one end of a tube to its parents, to a plate, or square.

    Args:
        path: the tube's centre line up to its theoretical ends.
        which: end ``"a"`` or ``"b"``.
        outer_radius: outside radius, mm.
        inner_radius: inside radius, mm.
        parents: tubes it is coped to, the one that holds the node first.
        plane: surface of the plate it stands on; together with parents whichever comes first.
        zero: direction of the reference line at this end, ``(3,)``; by default the one that the
            path carries along, so that both ends measure from one line on the tube.
        owner: name of the tube for messages.

    Raises:
        CopeError: no sensible cut: axes nearly parallel, branch wider than its parent or largely
            beside it, cope reaching into the tube's own bend, or longer than the tube.
    """
    end = EndToCut(
        path=path,
        which=which,
        outer_radius=outer_radius,
        inner_radius=inner_radius,
        parents=tuple(parents),
        plane=plane,
        zero=zero,
        owner=owner,
    )
    (cut,) = cut_ends([end])
    if isinstance(cut, CopeError):
        raise cut
    return cut


def cut_ends(ends: Sequence[EndToCut], *, later: bool = False) -> list[EndCut | CopeError]:
    """Cut many ends, of one cage or of many, in one array pass.

    A cut hangs on the parents' centre lines, not on their cuts, so that no end waits for another;
    each comes out the same, to the last bit, whatever ends are cut beside it.

    Args:
        ends: what is to be cut.
        later: whether ends that are told to be good without a look all round them are scanned only
            when one of them is asked for it, as of many versions few are.

    Returns:
        The cuts in order; for an end that cannot be cut the error that ``cut_end`` would raise.
    """
    lots = (ends[n : n + _LOT] for n in range(0, len(ends), _LOT))
    return [cut for lot in lots for cut in _cut_lot(lot, later)]


_LOT = 200
"""Ends cut at one go: with more of them the arrays no longer stay in the processor's cache."""


def _cut_lot(ends: Sequence[EndToCut], later: bool) -> list[EndCut | CopeError]:
    branches = [end.branch for end in ends]
    rows = list(zip(ends, branches, strict=True))
    landed = iter(land_all([(p, branch) for end, branch in rows for p in end.parents]))
    begun = [_begun(end, branch, [next(landed) for _ in end.parents]) for end, branch in rows]
    good = [later and isinstance(b, _Begun) and b.plainly_good() for b in begun]
    rest = [b for b, plain in zip(begun, good, strict=True) if isinstance(b, _Begun) and not plain]
    cuts = [b.cut() for b in rest]
    if cuts:
        scan(cuts)
    doubted = [i for i, b in enumerate(rest) if not _good(b.end, cuts[i])]
    far = (i for i in doubted if cuts[i].bound >= _room(rest[i].end.path, rest[i].end.which))
    measure(cuts[i] for i in far)
    tried = in_step([_tried(rest[i], cuts[i]) for i in doubted])
    done: dict[int, EndCut | CopeError] = dict(enumerate(cuts))
    done.update(zip(doubted, tried, strict=True))
    others, put_off = iter(done[i] for i in range(len(cuts))), list[EndCut]()
    out: list[EndCut | CopeError] = []
    for b, plain in zip(begun, good, strict=True):
        if not isinstance(b, _Begun):
            out.append(b)
        elif plain:
            put_off.append(cut := b.cut())
            cut.scan_with(put_off)
            out.append(cut)
        else:
            out.append(next(others))
    return out


class _Begun(Struct, frozen=True, kw_only=True, eq=False):
    """An end that has landed: what it may touch, and the cut to all of that."""

    end: EndToCut
    branch: Branch
    landings: Sequence[Landing]
    surfaces: Sequence[ContactSurface]
    windows: Sequence[Window]

    def plainly_good(self) -> bool:
        """Whether nothing can be wrong with the cut, told without looking all round it."""
        room = _room(self.end.path, self.end.which)
        return plainly_good(self.branch, self.landings, self.surfaces, room)

    def cut(self) -> EndCut:
        """The cut to all that it may touch."""
        end, landings = self.end, self.landings
        first, out = self.surfaces[0], self.branch.out
        tilt = abs(float(first.normal @ out)) if isinstance(first, PlaneFace) else 1.0
        return EndCut(
            owner=self.branch.owner,
            which=end.which,
            path=end.path,
            across=None if end.zero is None else vec(end.zero),
            outer_radius=end.outer_radius,
            inner_radius=end.inner_radius,
            touching=tuple(self.surfaces),
            within=tuple(self.windows),
            parents=tuple([p.id for p in end.parents]),
            angle=landings[0].angle if landings else float(np.arcsin(min(tilt, 1.0))),
            offset=landings[0].offset if landings else 0.0,
            concentric=all(q.node_gap <= NODE_TOL for q in landings),
        )


def _begun(
    end: EndToCut, branch: Branch, landed: Sequence[Landing | CopeError]
) -> _Begun | CopeError:
    landings: list[Landing] = []
    for found in landed:
        if isinstance(found, CopeError):
            return found
        landings.append(found)
    point, out, _, name = branch
    surfaces, windows = _gather(landings)
    if end.plane is not None:
        try:
            surfaces.append(_standing_on(end.plane, out, name))
        except CopeError as error:
            return error
        windows.append((-inf, inf))
    elif not end.parents:
        surfaces.append(PlaneFace(owner="", point=point, normal=vec(-out)))
        windows.append((-inf, inf))
    return _Begun(
        end=end,
        branch=branch,
        landings=landings,
        surfaces=surfaces,
        windows=windows,
    )


def _good(end: EndToCut, cut: EndCut) -> bool:
    """Whether its scan tells that nothing is wrong with a cut."""
    return cut.sits and not cut.may_step and cut.bound < _room(end.path, end.which)


def _tried(begun: _Begun, cut: EndCut) -> CutWork[EndCut | CopeError]:
    try:
        return (yield from _cutting(begun.end, cut))
    except CopeError as error:
        return error


def _cutting(end: EndToCut, cut: EndCut) -> CutWork[EndCut]:
    path, through, name = end.path, end.parents, cut.owner
    if through:
        yield from cut.seated()
        _check_seat(cut, through, name)
        _check_steps(cut, name)
    _check_length(cut, path, name)
    return cut


def check_pair(path: CentreLine, cut_a: EndCut, cut_b: EndCut) -> None:
    """Make sure that the cuts of a straight tube leave wall between them.

    Args:
        path: centre line of the tube.
        cut_a: cut of end a.
        cut_b: cut of end b.

    Raises:
        CopeError: somewhere around the tube the two cuts meet; names the tube and the lengths.
    """
    if len(path.pieces) > 1 or cut_a.bound + cut_b.bound < path.length:
        return
    if cut_a.longest + cut_b.longest < path.length:
        return
    phi = cut_b.grid
    shift = float(np.arctan2(cut_a.zero @ cut_b.side, cut_a.zero @ cut_b.zero))
    both = cut_b.trim(phi, cut_b.outer_radius) + cut_a.trim(shift - phi, cut_a.outer_radius)
    if float(both.max()) >= path.length:
        raise CopeError(
            cut_a.owner,
            f"its two cuts need {float(both.max()):.1f} mm of a tube that is only "
            f"{path.length:.1f} mm long.",
            f"Use a longer tube or larger angles. {CROSSING}",
        )


def _gather(landings: list[Landing]) -> tuple[list[ContactSurface], list[Window]]:
    surfaces: list[ContactSurface] = []
    windows: list[Window] = []
    for q in landings:
        surfaces.extend(q.surfaces)
        windows.extend([q.window] * len(q.surfaces))
    return surfaces, windows


def _standing_on(plane: FlatSurface, out: Vec, owner: str) -> PlaneFace:
    lean = -float(plane.normal @ out)
    if lean < sin(MIN_ANGLE):
        raise StandError(
            owner,
            f"stands on its plate at {degrees(np.arcsin(max(lean, -1.0))):.1f} degrees; "
            f"at least {degrees(MIN_ANGLE):.0f} are needed.",
            "Turn the plate towards the tube, or check on which side of it the tube lies.",
        )
    return PlaneFace(owner="", point=vec(plane.point), normal=vec(plane.normal))


def near_axis(radius: float, parent: float) -> float:
    """How near (mm) its parent's axis that of a tube is to pass, which seats it well.

    Args:
        radius: outside radius of the tube, mm.
        parent: of its parent, mm.
    """
    return max(parent - radius, 0.0) + 0.25 * radius


def _check_seat(cut: EndCut, parents: tuple[Parent, ...], owner: str) -> None:
    """Refuse a tube that stands largely beside its parents."""
    share = cut.miss_share
    if share <= MISS_SHARE:
        return
    first = parents[0]
    r, big = cut.outer_radius, first.outer_radius
    if r > big + 0.05:
        raise CopeError(
            owner,
            f"is {2 * r:.1f} mm wide, wider than {first.id} ({2 * big:.1f} mm): "
            f"{share:.0%} of it would stand beside the parent.",
            f"Use a tube of {2 * big:.1f} mm or less, or let {first.id} end on this tube instead.",
        )
    names = " and ".join(p.id for p in parents)
    if cut.offset > NODE_TOL:
        raise CopeError(
            owner,
            f"sits on {names} with only {1 - share:.0%} of its circumference; "
            f"the axes pass each other by {cut.offset:.1f} mm.",
            f"Move its end to within {near_axis(r, big):.0f} mm of the centre line of {first.id}.",
        )
    raise CopeError(
        owner,
        f"runs off the end of {names}: only {1 - share:.0%} of its circumference sits on it.",
        f"Move its end away from the end of {first.id}, or cope it to what {first.id} ends on "
        "as well.",
    )


def _check_steps(cut: EndCut, owner: str) -> None:
    """Refuse a tube that touches one parent twice, so that its edge would jump."""
    again = cut.second_touch()
    if again is not None:
        raise CopeError(
            owner,
            f"touches {again[0]} twice: at the joint and again {again[1]:.0f} mm back.",
            "Let it leave at a larger angle, or from a place farther from the bend.",
        )


def _room(path: CentreLine, which: Literal["a", "b"]) -> float:
    """Length of the straight at an end, mm; 0 on a bend."""
    piece = path.pieces[0 if which == "a" else -1]
    return piece.length if isinstance(piece, Line) else 0.0


def _check_length(cut: EndCut, path: CentreLine, owner: str) -> None:
    """Refuse a cut that reaches into a bend or through the tube."""
    have = _room(path, cut.which)
    if cut.bound < have:
        return
    need = cut.longest
    if len(path.pieces) == 1 and isinstance(path.pieces[0], Line):
        if need >= path.length:
            raise CopeError(
                owner,
                f"its cut is {need:.1f} mm long, the tube only {path.length:.1f} mm.",
                f"Use a longer tube or a larger angle. {CROSSING}",
            )
        return
    if need > have + SAME_POINT:
        raise CopeError(
            owner,
            f"its cut reaches {need:.1f} mm back, into the tube's own bend; "
            f"the straight there is {have:.1f} mm.",
            "Move the bend away from the joint, use a smaller bend radius or a larger angle.",
        )


__all__ = [
    "MISS_SHARE",
    "NODE_TOL",
    "EndCut",
    "EndToCut",
    "FlatSurface",
    "Parent",
    "check_pair",
    "cut_end",
    "cut_ends",
    "near_axis",
]
