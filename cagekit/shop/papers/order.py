"""Order of work: fit, tack, measure, move, try, weld, as a list of states of the cage.

Tubes go in by the stages of the weld plan. Every plate, foot, joint, bolt and swing-out cut has its
step. A step that moves the cage tacks nothing, names the tacks that are broken for it, and comes
before anything that would hold the cage down. A test replays the list.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence, Set
from math import asin, degrees
from typing import Any, Literal

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from cagekit.cage.bolted import BoltedTube
from cagekit.cage.cage import Cage
from cagekit.cage.collisions import grinds
from cagekit.cage.door import SwingDoor
from cagekit.cage.member import EndKind, Member
from cagekit.cage.plate import Plate
from cagekit.data import tables
from cagekit.geometry.best_plane import best_plane
from cagekit.geometry.centre_line import Vec
from cagekit.inputs.grind import told
from cagekit.inputs.member_kinds import MEMBER_KINDS, MemberRow
from cagekit.names import at_start, named
from cagekit.shop.papers.holes import PanelHole
from cagekit.shop.papers.tape import TapeCheck, tape_checks
from cagekit.shop.welding.moves import ANCHORED, FloorHole, Pose, Way
from cagekit.shop.welding.welds import FitStage, Weld, WeldPlan
from cagekit.swing.bench import bench_work
from cagekit.swing.work import division
from cagekit.units import format_length

PLUMB = 0.05
"""A hoop that leans less than this (degrees) stands plumb: no angle finder tells it."""
BOX = "Put the box together on the bench, tabs in slots, square, and weld its seams"
"""What is done with the plates of a box foot or a plate outrigger before it is set in the car."""
Units = Literal["mm", "in"]


class Move(Struct, frozen=True, kw_only=True):
    """How the cage is moved for some welds.

    ``way`` and ``amount`` (mm, or rad for a lean), the ``joints`` that are welded there, what it
    ``needs`` in words, and ``pose``, the position itself.
    """

    way: Way
    amount: float
    joints: tuple[str, ...]
    needs: tuple[str, ...] = ()
    pose: Pose


class Step(Struct, frozen=True, kw_only=True):
    """One step of the order of work.

    Attributes:
        number: from 1.
        title: what it is about.
        members: tubes that are fitted.
        plates: plates that are laid or set in place.
        text: what to do, a sentence or two each.
        tack: joints that are tacked.
        feet: feet that are tacked to plate or car, e.g. ``main_hoop.a``.
        loosen: joints and feet whose tacks are broken, and tacked again at the end of the step.
        weld: joints that are welded.
        partly: those of them that the torch does not reach all round.
        finish: plates that are welded or bolted for good.
        glass_out: fixed glass that is taken out of the car.
        glass_in: fixed glass that goes back in.
        moves: positions of the cage that the step's welds need.
        checks: what to measure with a tape.
        tries: what to try before going on.
    """

    number: int = 0
    title: str
    members: tuple[str, ...] = ()
    plates: tuple[str, ...] = ()
    text: tuple[str, ...] = ()
    tack: tuple[str, ...] = ()
    feet: tuple[str, ...] = ()
    loosen: tuple[str, ...] = ()
    weld: tuple[str, ...] = ()
    partly: tuple[str, ...] = ()
    finish: tuple[str, ...] = ()
    glass_out: tuple[str, ...] = ()
    glass_in: tuple[str, ...] = ()
    moves: tuple[Move, ...] = ()
    checks: tuple[TapeCheck, ...] = ()
    tries: tuple[str, ...] = ()


def _texts() -> Mapping[str, Mapping[str, Any]]:
    """What is said beside the members."""
    return tables("steps")


def _row(member: Member) -> MemberRow:
    """The row of a member's role, of its kind when the role is the user's own."""
    kind = member.role if member.role in MEMBER_KINDS else member.kind
    return MEMBER_KINDS.get(kind, MEMBER_KINDS["strut"])


def order_of_work(
    cage: Cage,
    plan: WeldPlan,
    doors: Sequence[SwingDoor] = (),
    units: Units = "mm",
    *,
    bolted: Sequence[BoltedTube] = (),
    open_body: bool = False,
    holes: Sequence[PanelHole] = (),
) -> tuple[Step, ...]:
    """Derive the order of work.

    Args:
        cage: the cage, swing-out bars whole.
        plan: in which order its tubes go in and when its joints are welded.
        doors: the bars that are divided when all is welded.
        units: lengths in the texts.
        bolted: the tubes that go in bolted together.
        open_body: the car has no roof.
        holes: in the car's panels, for the tubes that pass.
    """
    work = _Work(cage, plan, tuple(doors), tuple(bolted), units, open_body, tuple(holes))
    return tuple(replace(s, number=i) for i, s in enumerate(work.steps(), 1))


class _Work(Struct, frozen=True):
    """What the steps of one cage are made from."""

    cage: Cage
    plan: WeldPlan
    doors: tuple[SwingDoor, ...]
    bolted: tuple[BoltedTube, ...]
    units: Units
    open_body: bool
    holes: tuple[PanelHole, ...]

    def steps(self) -> list[Step]:
        out: list[Step] = []
        fitted: list[str] = []
        done: set[str] = set()
        later = self.lowered_feet()
        shown: tuple[str, ...] = ()
        out += self.glass_out()
        for i, stage in enumerate(self.plan.stages):
            if stage.first:
                out.append(self.before(stage))
                done |= {w.joint.id for w in stage.first}
            out += self.divided(stage)
            out.append(self.fit(stage, fitted, later))
            fitted += [m.id for m in stage.members]
            out += self.anchor(stage)
            if stage.moved:
                out.append(self.move(stage, self.laid_after(i), shown))
                shown = out[-1].weld
                done |= set(shown)
        out.append(self.try_all())
        out += self.feet()
        out += self.weld_out([w for w in self.plan.welds if w.joint.id not in done])
        out += self.further_plates()
        out += [self.divide(d) for d in self.doors]
        return out + self.glass_in()

    # -- plates --------------------------------------------------------------------------------

    def under(self, members: Iterable[Member]) -> list[Plate]:
        """Plates between these tubes and the car."""
        ids = {m.id for m in members}
        return [p for p in self.cage.plates if on_the_car(p) and ids & set(p.members)]

    def lowered_feet(self) -> set[str]:
        """Plates that go in only after the last time the cage was lowered over their place."""
        out: set[str] = set()
        for stage in self.plan.stages:
            for pose, _ in stage.moved:
                out |= self.in_the_way(pose)
        return out

    def in_the_way(self, pose: Pose) -> set[str]:
        """Plates that must not lie there yet when the cage takes a position."""
        feet = {h.member for h in pose.holes}
        below = {p.id for p in self.under(self.cage.members[m] for m in feet)}
        return below | set(pose.boxes)

    def laid_after(self, i: int) -> set[str]:
        """Plates that go in after the moves of a stage: no later move needs their place free."""
        here, *later = (
            {id_ for pose, _ in stage.moved for id_ in self.in_the_way(pose)}
            for stage in self.plan.stages[i:]
        )
        return here.difference(*later)

    # -- glass ---------------------------------------------------------------------------------

    def glass_out(self) -> list[Step]:
        """Take the glass out that the plan wants out, before the first tube goes in."""
        glass = self.plan.glass_out
        if not glass:
            return []
        texts = _texts()["glass_out"]
        way: dict[str, list[str]] = {}
        for stage in self.plan.stages:
            for pose, welds in stage.moved:
                if pose.glass:
                    way.setdefault(pose.way.value, []).extend(w.joint.id for w in welds)
        why = [f"{', '.join(joints)} ({k})" for k, joints in way.items()]
        reason = (
            f"The cage moves through its place for {'; '.join(why)}."
            if why
            else "The torch needs the room."
        )
        line = f"Take out: {', '.join(glass)}. {reason}"
        return [Step(title=str(texts["title"]), text=(line, str(texts["fit"])), glass_out=glass)]

    def glass_in(self) -> list[Step]:
        """Put it back when nothing is welded or ground any more."""
        glass = self.plan.glass_out
        if not glass:
            return []
        texts = _texts()["glass_in"]
        line = f"Put back: {', '.join(glass)}. {texts['fit']}"
        return [
            Step(title=str(texts["title"]), text=(line,), glass_in=glass, tries=tuple(texts["try"]))
        ]

    # -- steps ---------------------------------------------------------------------------------

    def fit(self, stage: FitStage, fitted: Sequence[str], later: set[str]) -> Step:
        group = stage.members
        role = group[0].role
        texts = _row(group[0]).steps
        lines = [*self.fit_words(texts, group), self.said(texts, (), "tack")]
        own = {m.id for m in group}
        laid = [p.id for p in self.under(group) if p.id not in later]
        feet = tuple(f"{m.id}.{n}" for m in group for n, e in m.ends if e.kind is EndKind.FLAT)
        return Step(
            title=str(texts["title"]) if role in MEMBER_KINDS else at_start(named(role)),
            members=tuple(m.id for m in group),
            plates=tuple(laid),
            text=(
                *_put_off_words(stage),
                *self.hole_words(own),
                *(line for line in lines if line),
                *_standing(group),
                *self.opening_words(group),
                *self.foot_words(group, later),
                *self.frame_words(group),
                *_grinding(self.cage, group, fitted, self.units),
            ),
            tack=tuple(j.id for j in self.cage.joints if j.branch in own),
            feet=feet,
            checks=tuple(tape_checks(self.cage, group, fitted)),
            tries=tuple(self.tried(texts, group)),
        )

    def hole_words(self, members: Set[str]) -> list[str]:
        """Which holes are cut before tubes go in."""
        names = [f"{named(h.member)} in the {h.panel}" for h in self.holes if h.member in members]
        if not names:
            return []
        return [
            "Look at what lies behind it, then cut the hole for " + ", ".join(names) + " as the "
            "page of setting out tells it, and debur it."
        ]

    def fit_words(self, texts: Mapping[str, Any], group: Sequence[Member]) -> list[str]:
        """How a group is fitted; where only some of its bars swing out, both ways by name."""
        swings = {d.fitted.id for d in self.doors}
        alike: dict[str, list[str]] = {}
        for m in group:
            words = self.said(texts, ("swing",) if m.id in swings else (), "fit")
            alike.setdefault(words, []).append(named(m.id))
        if len(alike) == 1:
            return list(alike)
        return [f"{at_start(', '.join(names))}: {_lower(w)}" for w, names in alike.items() if w]

    def said(self, texts: Mapping[str, Any], variants: Sequence[str], key: str) -> str:
        """Words of a step as they suit some tubes of this cage, in an open car its own."""
        for variant in (*variants, *(["open"] if self.open_body else [])):
            if f"{key}_{variant}" in texts:
                return str(texts[f"{key}_{variant}"])
        return str(texts.get(key, ""))

    def tried(self, texts: Mapping[str, Any], group: Sequence[Member]) -> list[str]:
        key = "try_open" if self.open_body and "try_open" in texts else "try"
        return list(texts.get(key, ()))

    def foot_words(self, group: Sequence[Member], later: set[str]) -> list[str]:
        """What is done with each foot, feet alike in one sentence."""
        alike: dict[str, list[str]] = {}
        for m in group:
            for n, e in m.ends:
                if e.kind is not EndKind.FLAT:
                    continue
                plate = next((p for p in self.cage.plates if f"{m.id}.{n}" in p.ends), None)
                surface = e.surface or "car"
                if plate is None:
                    words = f"Tack to the {surface}, two places each"
                elif plate.id in later:
                    words = (
                        "Block up at its height and tack to the blocks: the cage is lowered here "
                        "before its plate goes in"
                    )
                elif plate.bolts:
                    backed = any(
                        p.kind == "backing_plate" and m.id in p.members for p in self.cage.plates
                    )
                    below = ", backing plate below" if backed else ""
                    words = (
                        f"Bolt the plate to the {surface} hand tight{below}, then tack the tube to "
                        "it in two places"
                    )
                elif plate.outrigger:
                    words = (
                        f"{BOX}, set it between the car's frame or tunnel and the sill, its top at "
                        "the height of the setting-out, and tack both its ends to them, then the "
                        "tube to it in two places"
                    )
                elif plate.box:
                    words = (
                        f"{BOX}, tack its base to the {surface} at its corners, then the tube to "
                        "its top in two places"
                    )
                else:
                    words = (
                        f"Tack the plate to the {surface} at its corners, then the tube to it in "
                        "two places"
                    )
                alike.setdefault(words, []).append(f"{named(m.id)} {n.upper()}")
        return [f"{at_start(', '.join(names))}: {_lower(words)}." for words, names in alike.items()]

    def opening_words(self, group: Sequence[Member]) -> list[str]:
        """What is cut out of the floor for plate outriggers, which stand in it."""
        tops = [p for p in self.under(group) if p.outrigger and p.ends]
        if not tops:
            return []
        sizes = []
        for top in tops:
            along, across = (float(size) for size in top.size)
            sizes.append(f"{named(top.box)} {self.length(along)} by {self.length(across)}")
        return [
            "Look under the floor for lines, wiring and frame rails first. Where there is floor in "
            "the place of a box, cut it out to the outline of the box's top as the setting-out has "
            f"it, along by across the car: {'; '.join(sizes)}."
        ]

    def frame_words(self, group: Sequence[Member]) -> list[str]:
        """What is done with ends that are coped to tubes of the car's own frame."""
        ends = [
            f"{named(m.id)} {n.upper()} on {' and '.join(named(p) for p in on)}"
            for m in group
            for n, e in m.ends
            if (on := [p for p in e.parents if p in self.cage.chassis])
        ]
        if not ends:
            return []
        return [
            f"{at_start('; '.join(ends))}: mark the node on the frame tube from the setting-out, "
            "take paint and rust off to bare metal as far as the weld will be hot, inside too "
            "where it can be reached, then set the saddle down and tack it in two places."
        ]

    def before(self, stage: FitStage) -> Step:
        hiding = {id_ for w in stage.first for id_ in w.before}
        nxt = ", ".join(named(m) for m in self.cage.members if m in hiding)
        partly = tuple(w.joint.id for w in stage.first if w.way is Way.PARTLY)
        whole = [w.joint.id for w in stage.first if w.way is not Way.PARTLY]
        lines = [f"{at_start(nxt)} would stand in the torch's way."]
        if whole:
            lines.append(f"Finish {', '.join(whole)} all round now.")
        if partly:
            lines.append(_partly_words([w for w in stage.first if w.way is Way.PARTLY]))
        return Step(
            title="Weld before the next tubes hide it",
            text=tuple(lines),
            weld=tuple(w.joint.id for w in stage.first),
            partly=partly,
        )

    def anchor(self, stage: FitStage) -> list[Step]:
        """Weld to the car what the cage stands on, before the cage stands there."""
        if stage.members[0].role not in ANCHORED:
            return []
        return [
            Step(
                title="Weld the outriggers to the car",
                text=(
                    "Check again that they are level, square and at one height, then weld them "
                    "and their plates all round to frame and sill. The cage stands on them.",
                ),
                finish=tuple(p.id for p in self.under(stage.members)),
            )
        ]

    def move(self, stage: FitStage, laid: set[str], shown: Sequence[str]) -> Step:
        ends = {(j.branch, j.branch_end): j.id for j in self.cage.joints}
        moves = [
            Move(
                way=pose.way,
                amount=pose.amount,
                joints=tuple(w.joint.id for w in welds),
                needs=tuple(self.needs(pose)),
                pose=pose,
            )
            for pose, welds in stage.moved
        ]
        joints = tuple(j for m in moves for j in m.joints)
        feet = moves[0].pose.loose
        loosen = tuple(ends.get(f, f"{f[0]}.{f[1]}") for f in feet)
        names = ", ".join(f"{named(m)} {n.upper()}" for m, n in feet)
        back = "Put the cage back on its marks, check the tapes again and tack the feet again."
        plates = [p for p in self.cage.plates if p.id in laid]
        boxes = [p for p in plates if p.box]
        if plates:
            what = " and ".join(["plates"] * (len(boxes) < len(plates)) + ["boxes"] * bool(boxes))
            bolted = any(p.bolts for p in plates)
            fix = f"bolt the {what} up hand tight and tack the" if bolted else f"tack {what} and"
            back = (
                f"Raise the cage back on its marks, slide the {what} under its feet, check the "
                f"tapes again, {fix} feet."
            )
        return Step(
            title=f"Weld the hidden side: {', '.join(dict.fromkeys(m.way.value for m in moves))}",
            text=(
                *_again_words(shown),
                *self.waiting_words(stage),
                f"Weld first what is seen of {', '.join(joints)}.",
                f"Hang or prop the cage so that it cannot fall, then break the tacks of {names}.",
                *self.move_words(moves),
                *([f"{BOX}: {_names(boxes)}."] if boxes else []),
                back,
            ),
            plates=tuple(p.id for p in plates),
            loosen=loosen,
            weld=joints,
            moves=tuple(moves),
        )

    def waiting_words(self, stage: FitStage) -> Iterable[str]:
        """Which joints waited for a move, and why."""
        own = {m.id for m in stage.members}
        waited = [w.joint for _, welds in stage.moved for w in welds if w.joint.branch not in own]
        if waited:
            yield (
                f"{', '.join(j.id for j in waited)} waited for this: all that is hidden is welded "
                "in one go, so that the tacks are broken once for all of them."
            )

    def move_words(self, moves: Sequence[Move]) -> Iterable[str]:
        """How the cage is moved for each weld; every position is told from its marks."""
        for move in moves:
            if move is not moves[0]:
                yield "Back onto its marks, propped as before, not tacked."
            yield from move.needs
            yield move_text(move, self.units)
            yield (
                "Weld the side that was hidden, until all round is welded: "
                f"{', '.join(move.joints)}."
            )

    def needs(self, pose: Pose) -> Iterable[str]:
        """What makes a move possible, in words."""
        if pose.glass:
            names = ", ".join(pose.glass)
            yield f"Only with the glass out: the cage goes through its place ({names})."
        if pose.holes:
            holes = "; ".join(
                f"{named(h.member)} {h.end.upper()} {self.hole(h)}" for h in pose.holes
            )
            yield (
                "Look under the floor for lines, wiring and frame rails first. Cut a hole in the "
                f"floor under each foot, along by across the car: {holes}. The plate covers it "
                "afterwards."
            )
        if pose.boxes:
            yield "The box feet are not fitted yet: the feet go down into their place."
        if pose.lift > 1.0 and pose.way is Way.SLID:
            yield f"Lift the cage {self.length(pose.lift)} off what it stands on first."

    def hole(self, h: FloorHole) -> str:
        return f"{self.length(h.length)} by {self.length(h.width)}"

    def length(self, mm: float) -> str:
        inch = self.units == "in"
        return format_length(
            abs(mm), self.units, denominator=4 if inch else None, decimals=None if inch else 0
        )

    def try_all(self) -> Step:
        last = _texts()["before_weld_out"]
        glass = self.plan.glass_out
        offer = [f"{', '.join(glass)}: offered up, goes in and comes out again"] if glass else []
        return Step(title=str(last["title"]), tries=(*self.tried(last, ()), *offer))

    def feet(self) -> list[Step]:
        """Weld or bolt for good what holds the cage to the car."""
        done = {
            p.id
            for s in self.plan.stages
            if s.members[0].role in ANCHORED
            for p in self.under(s.members)
        }
        plates = [p for p in self.cage.plates if on_the_car(p) and p.id not in done]
        bare = [
            f"{named(m.id)} {n.upper()}"
            for m in self.cage.members.values()
            for n, e in m.ends
            if e.kind is EndKind.FLAT and not any(f"{m.id}.{n}" in p.ends for p in self.cage.plates)
        ]
        lines = ["The cage is not moved any more from here on: check every diagonal once more."]
        welded = [p for p in plates if any(w.to == "car" for w in p.welds)]
        round_ = [p for p in welded if not p.outrigger]
        if round_:
            plugs = any("plug" in w.kind for p in round_ for w in p.welds)
            where = "all round and in their plug holes" if plugs else "all round"
            lines.append(f"Weld {_names(round_)} to the car {where}, then the tubes to them.")
        between = [p for p in welded if p.outrigger]
        if between:
            lines.append(
                f"Weld {_names(between)} to the car's frame or tunnel and to the sill, all round "
                "both ends of each box, then the tubes to them, and close what is left open of the "
                "floor round them."
            )
        bolted = [p for p in plates if p.bolts and p.kind != "backing_plate"]
        if bolted:
            lines.append(
                f"Weld the tubes to {_names(bolted)}, then put in every bolt with washer, backing "
                "plate and locking nut and tighten it to the torque of its size and grade."
            )
        if bare:
            lines.append(f"Weld {', '.join(bare)} to what they stand on.")
        if not plates and not bare:
            return []
        return [
            Step(
                title=_feet_title(plates, bolted),
                text=tuple(lines),
                finish=tuple(p.id for p in plates),
            )
        ]

    def weld_out(self, welds: Sequence[Weld]) -> list[Step]:
        """Weld out in place, from the middle outwards; what the torch does not reach apart."""
        middle = self.cage.centre_of_gravity()
        texts = _texts()["weld_out"]
        ordered = sorted(welds, key=lambda w: _gap(w.joint.point, middle))
        whole = [w for w in ordered if w.way is not Way.PARTLY]
        partly = [w for w in ordered if w.way is Way.PARTLY]
        out = []
        if whole:
            out.append(
                Step(
                    title=str(texts["title"]),
                    text=(str(texts["fit"]),),
                    weld=tuple(w.joint.id for w in whole),
                )
            )
        if partly:
            out.append(
                Step(
                    title=f"{texts['title']}: what the torch reaches",
                    text=(_partly_words(partly),),
                    weld=tuple(w.joint.id for w in partly),
                    partly=tuple(w.joint.id for w in partly),
                )
            )
        return out

    def further_plates(self) -> list[Step]:
        """Gussets, tabs and what else is welded to the tubes, when these are welded."""
        hung = {p for d in self.doors for p in d.plates}
        groups: dict[str, list[Plate]] = {}
        for p in self.cage.plates:
            if not on_the_car(p) and p.id not in hung:
                key = "gussets" if "gusset" in p.kind else "tabs" if "tab" in p.kind else "plates"
                groups.setdefault(key, []).append(p)
        out = []
        for key in ("gussets", "tabs", "plates"):
            if key in groups:
                texts = _texts()[key]
                ids = tuple(p.id for p in groups[key])
                out.append(
                    Step(
                        title=str(texts["title"]), text=(str(texts["fit"]),), plates=ids, finish=ids
                    )
                )
        return out

    def divided(self, stage: FitStage) -> list[Step]:
        """Divide the tubes of a stage that come apart, and bolt them together, on the bench."""
        here = {m.id for m in stage.members}
        out = []
        for tube in self.bolted:
            id_ = tube.fitted.id
            if id_ not in here:
                continue
            tips = self.cage.cut(id_, "a").shortest, self.cage.cut(id_, "b").shortest
            kinds = {j.kind: _texts()[j.kind] for j in tube.joints}
            titles = " and ".join(str(t["title"]) for t in kinds.values())
            tries = dict.fromkeys(str(line) for t in kinds.values() for line in t["try"])
            out.append(
                Step(
                    title=f"{at_start(titles)} of {named(id_)}",
                    text=bench_work(tube, tips, self.units),
                    tries=tuple(tries),
                )
            )
        return out

    def divide(self, door: SwingDoor) -> Step:
        id_ = door.fitted.id
        tips = self.cage.cut(id_, "a").shortest, self.cage.cut(id_, "b").shortest
        return Step(
            title=f"Divide {named(door.fitted.id)}",
            members=(door.fitted.id,),
            plates=door.plates,
            finish=door.plates,
            text=division(door, tips, self.units),
            tries=tuple(_texts()["swing_out"]["try"]),
        )


def _again_words(shown: Sequence[str]) -> list[str]:
    """Why tacks are broken again, after a move that showed some joints."""
    if not shown:
        return []
    return [
        f"The tacks are broken once more: {', '.join(shown)} could not wait for this, as no move "
        "shows all of them with these tubes in place."
    ]


def _put_off_words(stage: FitStage) -> list[str]:
    """Why tubes go in later than others like them do."""
    if not stage.waited_for:
        return []
    joints = ", ".join(w.joint.id for w in stage.waited_for)
    return [
        "They waited until here: with them in place no move shows the hidden side of "
        f"{joints}, and the tacks would have to be broken once more for it."
    ]


def _standing(group: Sequence[Member]) -> list[str]:
    """How the main hoop stands in side view, for a level or an angle finder."""
    out = []
    for m in group:
        if m.role != "main_hoop":
            continue
        lean = degrees(asin(float(best_plane(m.path)[1][2])))
        if abs(lean) < PLUMB:
            out.append("In side view it stands plumb: hold a level to both legs.")
        else:
            way = "backwards" if lean > 0 else "forwards"
            out.append(
                f"In side view it leans {abs(lean):.1f}° {way} from plumb: hold an angle finder to "
                "both legs."
            )
    return out


def _feet_title(plates: Sequence[Plate], bolted: Sequence[Plate]) -> str:
    """What of feet, plates and bolts there is."""
    if bolted:
        return "Feet, plates and bolts"
    return "Feet and plates" if plates else "Feet"


def on_the_car(plate: Plate) -> bool:
    """Whether a plate lies between a tube and the car."""
    return (
        bool(plate.ends)
        or plate.kind == "backing_plate"
        or bool(plate.box)
        or any(w.to == "car" for w in plate.welds)
    )


def move_text(move: Move, units: Units = "mm") -> str:
    """Say a move as an instruction, lengths in ``units``."""
    joints = ", ".join(move.joints)
    if move.way is Way.LEANED:
        way = "forward" if move.amount > 0 else "back"
        size = f"{abs(degrees(move.amount)):.0f} degrees about the hoop's feet"
        return f"{joints}: lean the cage {way} about {size}."
    inch = units == "in"
    size = format_length(
        abs(move.amount), units, denominator=4 if inch else None, decimals=None if inch else 0
    )
    if move.way is Way.LOWERED:
        return f"{joints}: lower the cage about {size}."
    way = "forward" if move.amount > 0 else "back"
    return f"{joints}: slide the cage {way} about {size}."


def _partly_words(welds: Sequence[Weld]) -> str:
    """What is said of joints that no position lets the torch reach all round."""
    rows = ", ".join(f"{w.joint.id} {w.best:.0%}" for w in welds)
    return (
        f"This torch does not reach all round: {rows}. Weld what it reaches and mark the rest; a "
        "smaller torch or an opening in the skin may do it. Ask whoever judges the welds before "
        "going on."
    )


def _grinding(
    cage: Cage, group: Sequence[Member], fitted: Sequence[str], units: Units
) -> list[str]:
    """What is ground when a group goes in, so that it passes what stands already, or itself."""
    here = {m.id for m in group}
    there = here.union(fitted)
    return [
        f"Grind {named(ground)} by up to {told(depth, units)} where it meets {named(beside)}, only "
        "until they touch; if more would have to go, stop and move the tube."
        for (ground, beside), depth in grinds(cage).items()
        if {ground, beside} <= there and not here.isdisjoint((ground, beside))
    ]


def _names(plates: Sequence[Plate]) -> str:
    return ", ".join(dict.fromkeys(named(p.box or p.id) for p in plates))


def _lower(words: str) -> str:
    """Words as they go on a sentence."""
    return words[:1].lower() + words[1:]


def _gap(a: Vec, b: Vec) -> float:
    return float(np.linalg.norm(np.asarray(a) - np.asarray(b)))
