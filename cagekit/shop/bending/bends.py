"""Bend schedules: what to mark on the blank and what to do at the bender, tube by tube.

The finished tube is described by rows (`cagekit.shop.bending.rows`); this module turns them into
work: which end goes in first, what is left longer for the clamp, where the marks are on the blank,
what the machine is set to, and how to clock the tube with nothing but a scribed line, a tape and
an angle finder.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import partial
from math import asin, pi, sin
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from cagekit.cage.kept import Same
from cagekit.cage.member import EndKind, EndName, Member
from cagekit.errors import GeometryError, NotFoundError
from cagekit.geometry.arrays import even
from cagekit.geometry.centre_line import CentreLine, Line
from cagekit.inputs.tooling import Die, Tooling
from cagekit.materials.tubes import Tube
from cagekit.shop.bending import springback
from cagekit.shop.bending.dial import drift, settings, snapped
from cagekit.shop.bending.rows import BendRow, bend_rows, rebuild, trimmed, turn_about
from cagekit.shop.bending.springback import Springback
from cagekit.units.tolerance import NOISE, SAME_POINT

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage

FLIP_WORTH = 50.0
"""Tube (mm) that turning the blank end for end must save to be worth a new set-up (common
practice: a second set-up from the other end costs accuracy)."""
RADIUS_MATCH = 0.5
"""Drawn and bent radius closer than this are the same, mm (common practice)."""


class Work(Struct, frozen=True, kw_only=True):
    """Which bends are made with end a leading (``1 .. from_a``), the others with end b leading.

    ``extra_a`` and ``extra_b`` (mm) are left on the blank beyond the finished tips so that the
    clamp and the pressure block have something to hold; they are cut off after bending. ``trim_a``
    and ``trim_b`` are the part of them that is left for fitting in any case. ``short``
    lists the straights between bends (by the number of the bend before) that are too short to
    hold, with the length there is and the length needed, mm.
    """

    from_a: int
    bends: int
    extra_a: float
    extra_b: float
    trim_a: float = 0.0
    trim_b: float = 0.0
    short: tuple[tuple[int, float, float], ...] = ()

    @property
    def order(self) -> tuple[tuple[int, EndName], ...]:
        """Bend numbers (from 1 at end a) in machine order, each with its leading end."""
        first: list[tuple[int, EndName]] = [(i, "a") for i in range(1, self.from_a + 1)]
        return (*first, *((i, "b") for i in range(self.bends, self.from_a, -1)))

    @property
    def held(self) -> tuple[float, float]:
        """What the clamp needs at ends a and b beyond the trim for fitting, mm."""
        return max(self.extra_a - self.trim_a, 0.0), max(self.extra_b - self.trim_b, 0.0)

    @property
    def flips(self) -> int:
        """How often the blank is turned end for end."""
        return 1 if 0 < self.from_a < self.bends else 0

    @property
    def datum(self) -> EndName:
        """End that leads first; marks are measured from it."""
        return "b" if self.from_a == 0 and self.bends else "a"

    @property
    def cost(self) -> tuple[int, float, int, int]:
        """What the choice is judged by: too short straights, tube used, flips, end b first."""
        return (
            len(self.short),
            round(self.extra_a + self.extra_b + FLIP_WORTH * self.flips, 6),
            self.flips,
            int(self.datum == "b"),
        )


class BendStep(Struct, frozen=True, kw_only=True):
    """One bend at the machine.

    Args:
        bend: number of the bend, from 1 at end a.
        lead: end of the tube that goes into the bender first.
        feed: straight of finished tube ahead of the bend on the leading side, mm (for the first
            bend from an end: from the blank's end, extra length included).
        rotation: turn of the tube about its axis since the last bend, rad, right-handed about
            the direction of feed; None for the first bend from an end: use the clocking.
        dial: the same as the bender's dial counts it, rad.
        clock: outside of the bend from the reference line, rad, clockwise as seen along the
            tube from end a.
        clock_arc: the same along the outside of the tube, mm.
        finder: angle (rad) to the bending plane that an angle finder shows on the leg bent last
            once the tube is turned; None where there is none.
        angle: finished angle, rad.
        set_angle: angle to drive the machine to, rad; on a mark of its dial.
        left: angle that the bend is left with at that setting, rad.
        clr: centre-line radius, mm.
        start: first tangent point on the blank from the datum end, mm (on the leading side).
        stop: last tangent point on the blank from the datum end, mm.
        mark: pencil mark on the blank from the datum end, mm.
    """

    bend: int
    lead: EndName
    feed: float
    rotation: float | None
    dial: float | None
    clock: float
    clock_arc: float
    finder: float | None
    angle: float
    set_angle: float
    left: float
    clr: float
    start: float
    stop: float
    mark: float


class BendSchedule(Struct, frozen=True, kw_only=True):
    """Everything a member's bend sheet says; a straight tube has rows and blank but no steps.

    ``cut_length`` is the finished centre line between the outermost tips, ``blank`` the length
    to saw, ``stretch`` what the bends add to it, ``waste`` what is cut off after bending (mm).
    ``die`` is None for a straight tube or where no die of the shop takes it: then ``problem`` says
    so, marks are at the start of each bend and angles are finished angles.
    """

    member: str
    tube: Tube
    rows: tuple[BendRow, ...]
    work: Work
    steps: tuple[BendStep, ...]
    cut_length: float
    blank: float
    stretch: float
    die: Die | None = None
    springback: Springback | None = None
    problem: str = ""

    @property
    def bends(self) -> int:
        """Number of bends."""
        return len(self.rows) - 1

    @property
    def drift(self) -> float:
        """What the dial's marks and turns too small to make cost: mm off the drawing at worst."""
        left = {s.bend: s.left for s in self.steps}
        return drift(self.rows, [left[n] for n in sorted(left)]) if left else 0.0

    @property
    def other_radius(self) -> float | None:
        """The drawn radius furthest from the die's, mm, which no mark here holds for; or None."""
        die = self.die
        drawn = [r.clr for r in self.rows if r.clr is not None]
        if die is None or not drawn:
            return None
        worst = max(drawn, key=lambda clr: abs(clr - die.clr))
        return worst if abs(worst - die.clr) > RADIUS_MATCH else None

    @property
    def waste(self) -> float:
        """Tube left on for the clamp and cut off again, mm."""
        return self.work.extra_a + self.work.extra_b

    @property
    def balance(self) -> float:
        """Closed check, mm: blank + stretch - waste - straights - arcs; zero when it adds up."""
        arcs = sum(r.arc for r in self.rows)
        straights = sum(r.feed for r in self.rows)
        return self.blank + self.stretch - self.waste - straights - arcs


def plan_work(
    rows: Sequence[BendRow], die: Die, *, trim_a: float = 0.0, trim_b: float = 0.0
) -> Work:
    """Choose the end to start from, or to bend from both ends, and what is left on for the clamp.

    Every bend needs ``die.clamp`` (``die.least_straight`` after another bend) of straight on its
    leading side, and ``die.tail`` of unbent tube behind it. The blank can be longer at its ends,
    not between bends. Of the ways that hold every straight the one with the least tube is taken,
    one direction before two, end a before end b.

    Args:
        rows: the finished tube.
        die: the die it is bent on.
        trim_a: length left on end a for fitting in any case, mm.
        trim_b: the same on end b.
    """
    n = len(rows) - 1
    ways = [_way(rows, die, k, trim_a, trim_b) for k in range(n + 1)]
    return min(ways, key=lambda w: w.cost)


def _way(rows: Sequence[BendRow], die: Die, k: int, trim_a: float, trim_b: float) -> Work:
    """Bends 1 to k from end a, the others from end b: extras at the ends, straights too short."""
    n = len(rows) - 1
    first, last = rows[0].feed, rows[-1].feed
    need_a = need_b = 0.0
    short: list[tuple[int, float, float]] = []
    if n:
        # the pencil mark has to be on the tube as well
        lead = max(die.clamp, -die.mark_offset if die.mark_at == "offset" else 0.0)
        need_a = lead if k > 0 else die.tail
        need_b = lead if k < n else die.tail
        for i in range(1, n):
            need = die.tail if i == k else die.least_straight
            if rows[i].feed < need - SAME_POINT:
                short.append((i, rows[i].feed, need))
        # bends made from end a first still have the unbent rest behind them, which must be there
        unbent = sum(r.feed for r in rows[k:]) + sum(r.arc for r in rows[k:])
        need_b = max(need_b, last + die.tail - unbent) if 0 < k < n else need_b
    return Work(
        from_a=k,
        bends=n,
        extra_a=max(trim_a, need_a - first, 0.0),
        extra_b=max(trim_b, need_b - last, 0.0),
        trim_a=trim_a,
        trim_b=trim_b,
        short=tuple(short),
    )


def schedule(
    member: str,
    tube: Tube,
    path: CentreLine,
    tooling: Tooling,
    *,
    tip_a: float = 0.0,
    tip_b: float = 0.0,
    trim_a: float = 0.0,
    trim_b: float = 0.0,
) -> BendSchedule:
    """Make the schedule of one tube.

    Args:
        member: id of the tube.
        tube: its section.
        path: centre line between the theoretical ends.
        tooling: the shop.
        tip_a: distance from the theoretical end a into the tube to the outermost wall, mm.
        tip_b: the same at end b.
        trim_a: length left on end a for fitting, mm.
        trim_b: the same at end b.

    Raises:
        GeometryError: the cuts at both ends leave nothing of the tube.

    Returns:
        The schedule. Where no die takes the tube it is worked out with the drawn radius, marks at
        the start of each bend, finished angles to set, and without stretch.
    """
    try:
        finished = trimmed(path, tip_a, tip_b)
    except GeometryError as error:
        raise error.within(member) from error
    rows = bend_rows(finished)
    die, problem = None, ""
    if len(rows) > 1:
        try:
            die = tooling.die_for(tube.od, rows[0].clr)
        except NotFoundError as error:
            problem = str(error)
    if die is None:
        return _without_die(member, tube, finished, rows, tooling, trim_a, trim_b, problem)
    work = plan_work(rows, die, trim_a=trim_a, trim_b=trim_b)
    model = springback.for_die(die, tube.wall)
    stretch = sum(r.arc for r in rows) * die.stretch / (1 + die.stretch)
    blank = finished.length + work.extra_a + work.extra_b - stretch
    steps = _steps(finished, rows, work, die, model, tube, tooling, blank)
    return BendSchedule(
        member=member, tube=tube, rows=rows, work=work, steps=steps, die=die, springback=model,
        cut_length=finished.length, blank=blank, stretch=stretch,
    )  # fmt: skip


def _without_die(
    member: str,
    tube: Tube,
    finished: CentreLine,
    rows: tuple[BendRow, ...],
    tooling: Tooling,
    trim_a: float,
    trim_b: float,
    problem: str,
) -> BendSchedule:
    """A straight tube, or one no die takes: marks at the start of each bend, nothing corrected."""
    n = len(rows) - 1
    work = Work(from_a=n, bends=n, extra_a=trim_a, extra_b=trim_b, trim_a=trim_a, trim_b=trim_b)
    blank = finished.length + trim_a + trim_b
    steps: tuple[BendStep, ...] = ()
    if n:
        plain = Die(
            name="none", od=tube.od, clr=max(rows[0].clr or 0.0, tube.od), clamp=1.0, tail=0.0,
            max_angle=180.0,
        )  # fmt: skip
        steps = _steps(finished, rows, work, plain, Springback(), tube, tooling, blank)
    return BendSchedule(
        member=member, tube=tube, rows=rows, work=work, steps=steps, problem=problem,
        cut_length=finished.length, blank=blank, stretch=0.0,
    )  # fmt: skip


def schedules(cage: Cage, tooling: Tooling) -> tuple[BendSchedule, ...]:
    """Make the schedule of every member of a cage, in build order, straight ones too."""
    out = []
    for m, (a, b) in zip(cage.members.values(), cage.cuts(list(cage.members)), strict=True):
        tips = a.shortest, b.shortest
        key = ("bend schedule", m, tips, Same(tooling))
        out.append(cage.kept.once(key, partial(_schedule, m, tips, tooling)))
    return tuple(out)


def _schedule(m: Member, tips: tuple[float, float], tooling: Tooling) -> BendSchedule:
    trim = {e: tooling.order.trim * (end.kind is EndKind.COPE) for e, end in m.ends}
    return schedule(
        m.id, m.tube, m.path, tooling, tip_a=tips[0], tip_b=tips[1], trim_a=trim["a"],
        trim_b=trim["b"],
    )  # fmt: skip


def clocks(path: CentreLine) -> tuple[float, ...]:
    """Angle (rad) of the outside of every bend from the reference line of the tube.

    Right-handed about the direction from a to b, that is clockwise as seen along the tube from
    end a; above -pi up to pi. The line starts on the outside of the first bend, so the first
    clock is zero.
    """
    lines = path.reference_lines()
    found = []
    for i, q in enumerate(path.pieces):
        if not isinstance(q, Line):
            found.append(turn_about(q.direction, lines[i], q.radial))
    return tuple(found)


def _steps(
    path: CentreLine,
    rows: Sequence[BendRow],
    work: Work,
    die: Die,
    model: Springback,
    tube: Tube,
    tooling: Tooling,
    blank: float,
) -> tuple[BendStep, ...]:
    spans = blank_spans(rows, work.extra_a, die.stretch)
    clock = tuple(snapped(c) for c in clocks(path))
    wanted = [r.angle for r in rows if r.angle is not None]
    step = tooling.bender.angle_step
    driven = settings(wanted, clock, model, step, die.max_angle)
    sense = 1.0 if tooling.bender.rotation == "clockwise" else -1.0
    out: list[BendStep] = []
    done: int | None = None
    lead_before: EndName | None = None
    for bend, lead in work.order:
        row = rows[bend - 1]
        assert row.angle is not None
        assert row.clr is not None
        near, far = spans[bend - 1] if lead == "a" else spans[bend - 1][::-1]
        towards_tail = 1.0 if lead == "a" else -1.0
        mark = {
            "start": near,
            "centre": (near + far) / 2,
            "offset": near + towards_tail * die.mark_offset,
        }[die.mark_at]
        if lead == lead_before and done is not None:
            # the torsion between two bends has the same sign from either end
            turn: float | None = snapped(rows[max(bend, done) - 1].rotation)
        else:
            turn = None
        before = rows[done - 1].angle if turn is not None and done is not None else None
        start, stop, mark = (s if work.datum == "a" else blank - s for s in (near, far, mark))
        out.append(
            BendStep(
                bend=bend,
                lead=lead,
                feed=_feed(rows, work, bend, lead),
                rotation=turn,
                dial=None if turn is None else _signed(sense * turn),
                clock=clock[bend - 1],
                clock_arc=clock[bend - 1] * tube.od / 2,
                finder=None if before is None or turn is None else asin(sin(before) * sin(turn)),
                angle=row.angle,
                set_angle=driven[bend - 1],
                left=model.left(driven[bend - 1]),
                clr=row.clr,
                start=start,
                stop=stop,
                mark=mark,
            )
        )
        done, lead_before = bend, lead
    return tuple(out)


def blank_spans(
    rows: Iterable[BendRow], extra_a: float, stretch: float
) -> tuple[tuple[float, float], ...]:
    """First and last tangent point of every bend on the unbent blank, mm from its end a.

    Straights keep their length; the bent part is shorter before bending by ``stretch``.

    Args:
        rows: rows of the tube in machine order.
        extra_a: straight left on at end a for the machine, mm.
        stretch: of the die: what a bend gains in length, as a fraction.
    """
    here, out = extra_a, []
    for r in rows:
        here += r.feed
        if r.angle is not None:
            out.append((here, here + r.arc / (1 + stretch)))
            here = out[-1][1]
    return tuple(out)


def _feed(rows: Sequence[BendRow], work: Work, bend: int, lead: EndName) -> float:
    if lead == "a":
        return rows[bend - 1].feed + (work.extra_a if bend == 1 else 0.0)
    return rows[bend].feed + (work.extra_b if bend == len(rows) - 1 else 0.0)


def _signed(angle: float) -> float:
    """Fold an angle (rad) to above -pi up to pi."""
    folded = (angle + pi) % (2 * pi) - pi
    return pi if folded <= -pi + NOISE else folded


def hanging(rows: Sequence[BendRow], work: Work, swing: str) -> tuple[float, ...]:
    """How far below the bending plane the tube hangs at every step, mm.

    The bending plane is level; while a bend is made everything on it turns in that plane and keeps
    its height, so one number holds for the whole stroke.

    Args:
        rows: finished tube.
        work: order of the bends.
        swing: side the leading end swings to, seen from the tail towards the die.
    """
    made: set[int] = set()
    out = []
    for bend, lead in work.order:
        made.add(bend)
        tube = rebuild(_partly_bent(rows, made))
        arc = tube.bends[sorted(made).index(bend)]
        # walked from the leading end the axis of the bend points up when that end swings right
        up = arc.axis if (lead == "a") == (swing == "right") else -arc.axis
        points = tube.points(even(tube.length, 240))
        out.append(max(float(np.max((arc.start - points) @ up)), 0.0))
    return tuple(out)


def _partly_bent(rows: Sequence[BendRow], made: set[int]) -> tuple[BendRow, ...]:
    """Rows of a tube of which only some bends are made; the others are still straight."""
    out: list[BendRow] = []
    feed = turn = 0.0
    for r in rows:
        feed, turn = feed + r.feed, turn + r.rotation
        if r.angle is None or r.row in made:
            out.append(replace(r, row=len(out) + 1, feed=feed, rotation=turn))
            feed = turn = 0.0
        else:
            feed += r.arc
    return tuple(out)
