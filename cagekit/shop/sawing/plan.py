"""Cutting plan: which blank comes out of which stick, with proof that no cheaper plan exists."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import combinations, permutations
from math import ceil

from msgspec import Struct

from cagekit.errors import InputError
from cagekit.inputs.tooling import Tooling
from cagekit.materials.tubes import Tube
from cagekit.shop.bending.bends import BendSchedule
from cagekit.shop.sawing.stock import Bar, Blank, bars_of, check_pieces, sawn, to_nanometres
from cagekit.units.tolerance import ROUNDING

SPARE = "spare"
"""Name of the length left over on purpose."""
TIME_LIMIT = 20.0
"""Seconds after which a plan is returned with its gap."""


class CutBar(Struct, frozen=True, kw_only=True):
    """One bar and what is sawn from it, in sawing order.

    ``number`` counts the bars of the plan from 1; ``remnant`` is what is left behind the last
    cut, mm, ``kept`` whether it goes back in the rack.
    """

    number: int
    bar: Bar
    pieces: tuple[Blank, ...]
    kerf: float
    remnant: float
    kept: bool

    @property
    def used(self) -> float:
        """Length of the pieces, mm."""
        return sum(p.length for p in self.pieces)

    @property
    def lost(self) -> float:
        """Chips, trims and scrap, mm."""
        return self.bar.length - self.used - (self.remnant if self.kept else 0.0)

    @property
    def starts(self) -> tuple[float, ...]:
        """Where every piece begins, mm from the bar's end."""
        here = self.bar.trim + self.kerf if self.bar.trim > 0 else 0.0
        out = []
        for p in self.pieces:
            out.append(here)
            here += p.length + self.kerf
        return tuple(out)


class CutPlan(Struct, frozen=True, kw_only=True):
    """The plan for one tube.

    ``bound`` is a proven lower bound of what has to be bought (in ``unit``), ``cost`` what the
    plan buys; both count ``spare``, a length that is left over for mistakes, mm. ``proved`` when
    nothing cheaper exists. ``unused`` are the shop's own off-cuts that stay in the rack, one entry
    each.
    """

    tube: Tube | None
    bars: tuple[CutBar, ...]
    cost: float
    bound: float
    proved: bool
    unit: str
    kerf: float
    unused: tuple[Bar, ...] = ()
    spare: float = 0.0

    @property
    def gap(self) -> float:
        """How much of the cost is not proved to be needed, as a fraction of it."""
        return 0.0 if self.proved or self.cost <= 0 else (self.cost - self.bound) / self.cost

    @property
    def bought(self) -> tuple[CutBar, ...]:
        """Bars that are bought."""
        return tuple(b for b in self.bars if not b.bar.owned)

    @property
    def remnants(self) -> tuple[float, ...]:
        """Off-cuts for next time, those that were not touched too, longest first, mm."""
        kept = [b.remnant for b in self.bars if b.kept]
        return tuple(sorted(kept + [b.length for b in self.unused], reverse=True))

    @property
    def pieces_length(self) -> float:
        """Length of all pieces, mm."""
        return sum(b.used for b in self.bars)

    @property
    def lost(self) -> float:
        """Chips, trims and scrap, mm."""
        return sum(b.lost for b in self.bars)

    @property
    def verdict(self) -> str:
        """Proved or not, in words."""
        if self.proved:
            return "proved: no plan buys less"
        return f"not proved: at most {100 * self.gap:.1f} percent above the least"


def plan_cuts(
    pieces: Sequence[Blank],
    bars: Sequence[Bar],
    *,
    kerf: float,
    keep: float = 300.0,
    spare: float = 0.0,
    slack: float = 0.0,
    tube: Tube | None = None,
    where: str = "cut list",
    unit: str = "mm",
    time_limit: float = TIME_LIMIT,
) -> CutPlan:
    """Saw pieces from bars at the least cost; then gather what is left in long off-cuts.

    Args:
        pieces: blanks, mm.
        bars: sticks and off-cuts.
        kerf: width of a cut, mm.
        keep: remnants from this length on are kept, mm.
        spare: length that shall be left over for mistakes, in one piece where a bar can hold it,
            mm; it is no cut of the plan but stays on a remnant.
        slack: least to leave on a bar, mm, where another bar of the plan has room for it.
        tube: the tube, for the papers.
        where: named in errors.
        unit: unit of the bars' cost.
        time_limit: seconds after which a plan is returned with its gap.

    Raises:
        InputError: a piece longer than every bar, or not enough bars.
    """
    from cagekit.shop.sawing.columns import choose
    from cagekit.shop.sawing.patterns import Kinds

    if not pieces:
        return CutPlan(tube=tube, bars=(), cost=0.0, bound=0.0, proved=True, unit=unit, kerf=kerf)
    check_pieces(pieces, bars, kerf, where)
    spares = _spares(spare, bars, kerf)
    by_size: dict[int, list[Blank]] = {}
    for p in sorted((*pieces, *spares), key=lambda p: p.name):
        by_size.setdefault(to_nanometres(p.length) + to_nanometres(kerf), []).append(p)
    sizes = sorted(by_size, reverse=True)
    kinds = Kinds(tuple(sizes), tuple(len(by_size[s]) for s in sizes))
    choice = choose(kinds, bars, kerf, time_limit)
    if choice is None:
        raise InputError(
            where,
            problem="the bars that can be had are too few for the pieces.",
            hint="Raise the count of a [[stock]], or leave it out to buy as many as needed.",
        )
    fills = [
        (j, [s for s, n in zip(sizes, pattern, strict=True) for _ in range(n)])
        for j, pattern in sorted(choice.columns)
    ]
    _drop_surplus(fills, {s: len(by_size[s]) for s in sizes})
    # the spare is what is left, not a cut: gathering only makes the longest remnants longer
    for p in spares:
        size = to_nanometres(p.length) + to_nanometres(kerf)
        by_size[size].remove(p)
        next(fill for _, fill in reversed(fills) if size in fill).remove(size)
    fills += _unused(bars, fills)
    rooms = [bars[j].room(kerf) for j, _ in fills]
    _gather(rooms, [f for _, f in fills])
    _loosen(rooms, [f for _, f in fills], to_nanometres(slack), to_nanometres(spare))
    done: list[CutBar] = []
    unused: list[Bar] = []
    for j, fill in sorted((j, sorted(f, reverse=True)) for j, f in fills):
        if fill or not bars[j].owned:
            taken = tuple(by_size[s].pop(0) for s in fill)
            done.append(_cut_bar(len(done) + 1, bars[j], taken, kerf, keep))
        else:
            unused.append(bars[j])
    return CutPlan(
        tube=tube, bars=tuple(done), cost=choice.cost, bound=choice.bound, proved=choice.proved,
        unit=unit, kerf=kerf, unused=tuple(unused), spare=spare,
    )  # fmt: skip


def _unused(
    bars: Sequence[Bar], fills: Sequence[tuple[int, list[int]]]
) -> list[tuple[int, list[int]]]:
    """The shop's own off-cuts that the plan leaves in the rack, as empty bars."""
    used = [j for j, _ in fills]
    return [
        (j, [])
        for j, bar in enumerate(bars)
        if bar.owned
        for _ in range((bar.count or 0) - used.count(j))
    ]


def cut_plans(
    schedules: Iterable[BendSchedule], tooling: Tooling, *, time_limit: float = TIME_LIMIT
) -> tuple[CutPlan, ...]:
    """Plan the blanks of all schedules, one plan per tube, thickest tube first.

    Args:
        schedules: bend schedules whose blanks are sawn.
        tooling: shop with its saw, sticks and off-cuts.
        time_limit: for the proof of one size of tube, s.

    Raises:
        InputError: a blank longer than the longest stick (named by member).
        NotFoundError: no stock in a size.
    """
    groups: dict[tuple[float, float, str], list[BendSchedule]] = {}
    for s in schedules:
        groups.setdefault((s.tube.od, s.tube.wall, s.tube.material), []).append(s)
    plans = []
    for (od, wall, material), members in sorted(groups.items(), reverse=True):
        stock = tooling.stock_for(od, wall)
        bars = bars_of(stock, tooling.offcuts_for(od, wall, material), tooling.saw)
        pieces = [Blank(name=m.member, length=sawn(m.blank)) for m in members]
        plans.append(
            plan_cuts(
                pieces,
                bars,
                kerf=tooling.saw.kerf,
                keep=tooling.saw.keep,
                spare=sawn(tooling.order.spare * sum(p.length for p in pieces)),
                slack=tooling.saw.slack,
                tube=members[0].tube,
                where=f"cut list of {od:.2f} x {wall:.2f} mm tube",
                unit="price" if all(s.price is not None for s in stock) else "mm",
                time_limit=time_limit,
            )
        )
    return tuple(plans)


def _spares(spare: float, bars: Sequence[Bar], kerf: float) -> tuple[Blank, ...]:
    """The spare length as pieces that the longest bar can hold."""
    longest = max(b.longest(kerf) for b in bars)
    n = ceil(spare / longest - ROUNDING)
    return tuple(Blank(name=SPARE, length=spare / n) for _ in range(n))


def _cut_bar(number: int, bar: Bar, pieces: tuple[Blank, ...], kerf: float, keep: float) -> CutBar:
    remnant = bar.length
    if pieces:
        first = bar.trim + kerf if bar.trim > 0 else 0.0
        # without a trim the last cut may run off the bar
        remnant = max(bar.length - first - sum(p.length + kerf for p in pieces), 0.0)
    return CutBar(
        number=number, bar=bar, pieces=pieces, kerf=kerf, remnant=remnant, kept=remnant >= keep
    )


def _drop_surplus(fills: Sequence[tuple[int, list[int]]], wanted: dict[int, int]) -> None:
    """Take out what a covering plan cuts once too often, from the bars with the most of it."""
    for size, n in wanted.items():
        over = sum(f.count(size) for _, f in fills) - n
        for _, fill in reversed(fills):
            while over > 0 and size in fill:
                fill.remove(size)
                over -= 1


def _gather(rooms: Sequence[int], fills: Sequence[list[int]]) -> None:
    """Move and swap pieces between bars while that makes long remnants longer.

    Measured by the sum of the squared remnants; every step raises it, so it ends.
    """
    left = [r - sum(f) for r, f in zip(rooms, fills, strict=True)]
    groups = [_groups(f) for f in fills]
    better = True
    while better:
        better = False
        for a, b in permutations(range(len(fills)), 2):
            given = [((), 0), *((back, sum(back)) for back in groups[b])]
            # more than this raises the sum of the squares, more than that does not fit
            least, most = max(left[b] - left[a], 0), left[b]
            found = next(
                (
                    (out, back, moved)
                    for out in groups[a]
                    for back, size in given
                    if least < (moved := sum(out) - size) <= most
                ),
                None,
            )
            if found is None:
                continue
            out, back, moved = found
            for s in out:
                fills[a].remove(s)
                fills[b].append(s)
            for s in back:
                fills[b].remove(s)
                fills[a].append(s)
            left[a] += moved
            left[b] -= moved
            groups[a], groups[b] = _groups(fills[a]), _groups(fills[b])
            better = True


def _loosen(rooms: Sequence[int], fills: Sequence[list[int]], slack: int, spare: int) -> None:
    """Move or swap pieces off bars that are full to within ``slack``, where others have room.

    All in nm. The longest remnant stays long enough for what is spare.
    """
    for a, fill in enumerate(fills):
        left = [r - sum(f) for r, f in zip(rooms, fills, strict=True)]
        if not fill or left[a] >= slack:
            continue
        ways = [
            (moved, b, out, back)
            for b in range(len(fills))
            if b != a
            for out in _groups(fill)
            for back in ((), *_groups(fills[b]))
            if slack - left[a] <= (moved := sum(out) - sum(back)) <= left[b] - slack
        ]
        # the least that does it, so that long remnants stay long
        for moved, b, out, back in sorted(ways):
            after = [n + moved * (k == a) - moved * (k == b) for k, n in enumerate(left)]
            if max(after) >= min(spare, max(left)):
                for s in out:
                    fill.remove(s)
                    fills[b].append(s)
                for s in back:
                    fills[b].remove(s)
                    fill.append(s)
                break


def _groups(fill: Sequence[int]) -> tuple[tuple[int, ...], ...]:
    """One or two pieces of a bar, every different choice once, the longest first."""
    ordered = sorted(fill, reverse=True)
    some = {(s,) for s in ordered} | set(combinations(ordered, 2))
    return tuple(sorted(some, key=lambda g: (-sum(g), g)))
