"""Order of work: fit, tack, measure, hold, try, weld — derived from the cage and the weld map.

Members are fitted in the order in which the layout makes them, parents before branches, both
sides together. A joint that later tubes would hide is welded before they go in. What every step
must measure is worked out from the model.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from math import degrees
from typing import Any, Literal

import numpy as np

from cagekit.cage.cage import Cage
from cagekit.cage.door import SwingDoor
from cagekit.cage.member import Member
from cagekit.errors import GeometryError
from cagekit.geometry.centre_line import Arc, Vec
from cagekit.inputs.struts import STRUTS
from cagekit.shop.welding.welds import Way, Weld
from cagekit.swing.work import division
from cagekit.units import format_length


@dataclass(frozen=True, slots=True, kw_only=True)
class TapeCheck:
    """A distance to check with a tape: between two named spots, mm, on the tubes' axes.

    ``twin`` is the same distance on the other side; on a symmetrical cage both agree.
    """

    start: str
    end: str
    distance: float
    twin: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """How the cage is moved for some welds: the way, its amount (mm or rad) and the joints."""

    way: Way
    amount: float
    joints: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step of the order of work.

    Attributes:
        number: from 1.
        title: what it is about.
        members: tubes that are fitted.
        text: what to do, a sentence or two each.
        tack: joints that are tacked.
        weld: joints that are finished all round.
        moves: positions of the cage that some of the step's welds need.
        checks: what to measure with a tape.
        tries: what to try before going on.
    """

    number: int
    title: str
    members: tuple[str, ...] = ()
    text: tuple[str, ...] = ()
    tack: tuple[str, ...] = ()
    weld: tuple[str, ...] = ()
    moves: tuple[Move, ...] = ()
    checks: tuple[TapeCheck, ...] = ()
    tries: tuple[str, ...] = ()


@cache
def _texts() -> Mapping[str, Mapping[str, Any]]:
    texts = tomllib.loads(files("cagekit.data").joinpath("steps.toml").read_text("utf-8"))
    return {**texts, **{kind: row.steps for kind, row in STRUTS.items()}}


def order_of_work(
    cage: Cage,
    welds: Sequence[Weld],
    doors: Sequence[SwingDoor] = (),
    units: Literal["mm", "in"] = "mm",
) -> tuple[Step, ...]:
    """Derive the order of work.

    Args:
        cage: the cage, swing-out bars whole.
        welds: its weld map.
        doors: the bars that are divided when all is welded.
        units: lengths in the texts.

    Raises:
        GeometryError: a branch would have to be fitted before its parent.
    """
    _check_parents_first(cage)
    groups = _groups(cage)
    due = _due(cage, welds, groups)
    steps: list[Step] = []
    fitted: list[str] = []
    for i, group in enumerate(groups):
        if due[i]:
            steps.append(_weld_now(len(steps) + 1, cage, due[i], group))
        step = _fit(len(steps) + 1, cage, group, fitted, welds)
        steps.append(replace(step, text=(*step.text, *_grinding(cage, group, fitted, units))))
        fitted.extend(m.id for m in group)
    last = _texts()["before_weld_out"]
    steps.append(Step(number=len(steps) + 1, title=last["title"], tries=tuple(last["try"])))
    done = {w.joint.id for now in due for w in now}
    steps.extend(_weld_out(len(steps) + 1, cage, [w for w in welds if w.joint.id not in done]))
    for door in doors:
        steps.append(
            Step(
                number=len(steps) + 1,
                title=f"Divide {_plain(door.fitted.id)}",
                members=(door.fitted.id,),
                text=division(door, units),
                tries=tuple(_texts()["swing_out"]["try"]),
            )
        )
    return tuple(steps)


def _check_parents_first(cage: Cage) -> None:
    order = {m: i for i, m in enumerate(cage.members)}
    for joint in cage.joints:
        for parent in joint.parents:
            if order[parent] > order[joint.branch]:
                raise GeometryError(
                    joint.branch, f"is fitted before {parent}, to which it is coped."
                )


def _groups(cage: Cage) -> list[list[Member]]:
    """Members that are fitted in one step: the same role one after another."""
    out: list[list[Member]] = []
    for member in cage.members.values():
        if out and out[-1][0].role == member.role:
            out[-1].append(member)
        else:
            out.append([member])
    return out


def _due(cage: Cage, welds: Sequence[Weld], groups: Sequence[Sequence[Member]]) -> list[list[Weld]]:
    """Welds to be finished before each group goes in."""
    place = {m.id: i for i, group in enumerate(groups) for m in group}
    out: list[list[Weld]] = [[] for _ in groups]
    for weld in welds:
        if weld.way is Way.BEFORE:
            first = min(place[m] for m in weld.before)
            out[max(first, place[weld.joint.branch])].append(weld)
    # hidden by a tube of its own step: welded as soon as it is tacked, so in the step after
    for i, group in enumerate(groups):
        own = {m.id for m in group}
        stay = [w for w in out[i] if w.joint.branch not in own]
        later = [w for w in out[i] if w.joint.branch in own]
        out[i] = stay
        if later and i + 1 < len(out):
            out[i + 1].extend(later)
    return out


def _fit(
    number: int, cage: Cage, group: Sequence[Member], fitted: Sequence[str], welds: Sequence[Weld]
) -> Step:
    role = group[0].role
    texts = _texts().get(role, _texts()["strut"])
    lines = [texts[k] for k in ("fit", "tack", "hold") if k in texts]
    tack = [j.id for j in cage.joints for m in group if j.branch == m.id]
    return Step(
        number=number,
        title=str(texts["title"]) if role in _texts() else _plain(role),
        members=tuple(m.id for m in group),
        text=tuple(lines),
        tack=tuple(tack),
        moves=_moves([w for w in welds if w.joint.id in tack]),
        checks=tuple(_checks(cage, group, fitted)),
        tries=tuple(texts.get("try", ())),
    )


def _grinding(
    cage: Cage, group: Sequence[Member], fitted: Sequence[str], units: Literal["mm", "in"]
) -> list[str]:
    """What is ground when a group goes in, so that it passes what stands already, or itself."""
    here = [m.id for m in group]
    lines = []
    for later in group:
        for other in (cage.members[i] for i in (*fitted, *here[: here.index(later.id)])):
            for ground, beside in ((later, other), (other, later)):
                depth = ground.ground_for(beside)
                if depth:
                    most = format_length(depth, units, decimals=1 if units == "mm" else 3)
                    lines.append(
                        f"Grind {_plain(ground.id)} by up to {most} where it meets "
                        f"{_plain(beside.id)}, only until they touch; if more would have to go, "
                        "stop and move the tube."
                    )
    return lines


def _moves(welds: Sequence[Weld]) -> tuple[Move, ...]:
    """Positions of the cage that these joints need, the mildest first."""
    found: dict[tuple[Way, float], list[str]] = {}
    for weld in welds:
        if weld.way in (Way.LOWERED, Way.LEANED, Way.SLID, Way.OUTSIDE):
            found.setdefault((weld.way, weld.amount), []).append(weld.joint.id)
    order = sorted(found, key=lambda k: (list(Way).index(k[0]), abs(k[1]), k[1]))
    return tuple(Move(way=w, amount=a, joints=tuple(found[w, a])) for w, a in order)


def move_text(move: Move, units: Literal["mm", "in"] = "mm") -> str:
    """Say a move as an instruction, lengths in ``units``."""
    joints = ", ".join(move.joints)
    if move.way is Way.OUTSIDE:
        return f"{joints}: reached only out of the car. Tack, take out, weld, put back."
    if move.way is Way.LEANED:
        way = "forward" if move.amount > 0 else "back"
        size = f"{abs(degrees(move.amount)):.0f} degrees about the hoop's feet"
        return f"{joints}: lean the cage {way} about {size}."
    inch = units == "in"
    size = format_length(
        abs(move.amount), units, denominator=4 if inch else None, decimals=None if inch else 0
    )
    if move.way is Way.LOWERED:
        return f"{joints}: lower the cage about {size}, feet off their plates."
    way = "forward" if move.amount > 0 else "back"
    return f"{joints}: slide the cage {way} about {size}, feet loose."


def _weld_now(number: int, cage: Cage, welds: Sequence[Weld], group: Sequence[Member]) -> Step:
    nxt = ", ".join(m.id for m in group)
    return Step(
        number=number,
        title="Weld before the next tubes hide it",
        members=tuple(dict.fromkeys(w.joint.branch for w in welds)),
        text=(f"Finish these joints all round now: {nxt} would stand in the torch's way.",),
        weld=tuple(w.joint.id for w in welds),
    )


def _weld_out(number: int, cage: Cage, welds: Sequence[Weld]) -> list[Step]:
    """Weld out by way: what needs the cage moved first, then in place, from the middle outwards."""
    texts = _texts()["weld_out"]
    order = (Way.OUTSIDE, Way.LOWERED, Way.LEANED, Way.SLID, Way.PARTLY, Way.BEFORE, Way.IN_PLACE)
    middle = cage.centre_of_gravity()
    steps: list[Step] = []
    for way in order:
        here = [w for w in welds if w.way is way]
        if not here:
            continue
        here.sort(key=lambda w: (abs(w.amount), _gap(w.joint.point, middle)))
        lines = [texts["fit"]] if not steps else []
        if way is Way.PARTLY:
            lines = [
                "This torch does not reach all round these joints in any position that was tried: "
                "use a smaller one, or ask whoever judges the welds before going on."
            ]
        steps.append(
            Step(
                number=number + len(steps),
                title=f"{texts['title']}: {way.value}",
                text=tuple(lines),
                weld=tuple(w.joint.id for w in here),
                moves=_moves(here),
            )
        )
    return steps


def _checks(cage: Cage, group: Sequence[Member], fitted: Iterable[str]) -> list[TapeCheck]:
    """Tape checks for a step: diagonals of what spans the car, crossed distances of pairs."""
    out: list[TapeCheck] = []
    for member in group:
        if _spans(member):
            out.extend(_hoop_checks(member))
    twins = {m.id: m for m in group}
    for member in group:
        other = twins.get(member.id.replace("_left", "_right"))
        if member.side == "left" and other is not None:
            out.extend(_pair_checks(member, other))
    base = cage.members.get("main_hoop")
    if base is not None and "main_hoop" in set(fitted) and not out:
        out.extend(_to_hoop(base, member) for member in group if member.side == "centre")
    return out


def _spans(member: Member) -> bool:
    """Whether a bent tube runs from one side of the car to the other."""
    return bool(member.path.bends) and float(member.path.start[1] * member.path.end[1]) < 0


def _corner(member: Member, side: str) -> Vec:
    """Middle of the bend of that side farthest from the tube's ends."""
    sign = 1.0 if side == "left" else -1.0
    path = member.path
    mids = [
        (float(path.starts[i]) + q.length / 2)
        for i, q in enumerate(path.pieces)
        if isinstance(q, Arc) and sign * q.point(q.length / 2)[1] > 0
    ]
    if not mids:
        return path.start if sign * float(path.start[1]) > 0 else path.end
    half = path.length / 2
    return path.spot(min(mids, key=lambda s: abs(s - half))).point


def _end(member: Member, side: str) -> Vec:
    sign = 1.0 if side == "left" else -1.0
    return member.path.start if sign * float(member.path.start[1]) > 0 else member.path.end


def _gap(a: Vec, b: Vec) -> float:
    return float(np.linalg.norm(np.asarray(a) - np.asarray(b)))


def _hoop_checks(member: Member) -> list[TapeCheck]:
    ends = {s: _end(member, s) for s in ("left", "right")}
    corners = {s: _corner(member, s) for s in ("left", "right")}
    name = _plain(member.id)
    return [
        TapeCheck(
            start=f"{name}, left end",
            end=f"{name}, middle of right bend",
            distance=_gap(ends["left"], corners["right"]),
            twin=_gap(ends["right"], corners["left"]),
        ),
        TapeCheck(
            start=f"{name}, left end",
            end=f"{name}, right end",
            distance=_gap(ends["left"], ends["right"]),
        ),
    ]


def _pair_checks(left: Member, right: Member) -> list[TapeCheck]:
    return [
        TapeCheck(
            start=f"{_plain(left.id)}, end a",
            end=f"{_plain(right.id)}, end b",
            distance=_gap(left.path.start, right.path.end),
            twin=_gap(right.path.start, left.path.end),
        )
    ]


def _to_hoop(hoop: Member, member: Member) -> TapeCheck:
    foot = min((hoop.path.start, hoop.path.end), key=lambda p: float(p[2]))
    far = max((member.path.start, member.path.end), key=lambda p: _gap(p, foot))
    side = "left" if float(foot[1]) > 0 else "right"
    which = "a" if far is member.path.start else "b"
    return TapeCheck(
        start=f"main hoop, {side} end",
        end=f"{_plain(member.id)}, end {which}",
        distance=_gap(foot, far),
    )


def _plain(id_: str) -> str:
    return id_.replace("_", " ")
