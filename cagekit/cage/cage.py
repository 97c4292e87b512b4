"""The cage as a whole: members in the order they are built, their cuts, joints and plates."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace as with_fields
from functools import cached_property, partial
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from cagekit.cage.kept import Kept, Same, content
from cagekit.cage.member import CHASSIS, End, EndKind, EndName, Member
from cagekit.errors import CopeError, NotFoundError, StandError
from cagekit.geometry.arrays import cross3, size3
from cagekit.geometry.centre_line import Vec
from cagekit.geometry.cope import EndCut, EndToCut, Parent, cut_ends
from cagekit.geometry.end_cut import measure
from cagekit.geometry.volume import Moments, take_off, wall_moments
from cagekit.materials.steels import steel
from cagekit.units.tolerance import SAME_POINT

if TYPE_CHECKING:
    from cagekit.cage.bolted import BoltedTube
    from cagekit.cage.door import SmallPart, SwingDoor
    from cagekit.cage.plate import Plate

CONCENTRIC = 0.5
"""Axes that pass within this distance (mm) count as meeting in the node."""


class Joint(Struct, frozen=True, kw_only=True, eq=False):
    """Where a branch is coped to its parents.

    ``point`` is the node ``(3,)`` mm; ``angle`` the acute angle of the branch's axis to the first
    parent's, rad; ``offset`` the distance of the two axes, mm; ``miss`` the largest distance of the
    branch's axis from a parent's at the node, mm; ``weld_length`` the saddle's length round the
    tube, mm; ``concentric`` whether every parent's axis passes through the node.
    """

    id: str
    branch: str
    branch_end: EndName
    parents: tuple[str, ...]
    point: Vec
    angle: float
    offset: float
    miss: float
    cut: EndCut

    def __repr__(self) -> str:
        """The id and what is joined."""
        parents = ", ".join(self.parents)
        return f"<Joint {self.id}: {self.branch} end {self.branch_end} on {parents}>"

    @property
    def concentric(self) -> bool:
        """Whether every parent's axis passes through the node."""
        return self.miss <= CONCENTRIC

    @property
    def weld_length(self) -> float:
        """Length of the saddle round the tube, mm; worked out when asked for."""
        return self.cut.saddle_length


class Cage:
    """Members, joints and plates. Cuts and joints are worked out when first asked for, and kept.

    ``doors`` are the swing-out bars; their pieces are members, their brackets are among the
    plates, sleeves, washers, pins and half cups are ``hardware``. ``bolted`` are tubes that come
    apart at bolted joints, their pieces members and all else ``hardware`` too; ``fittings`` are
    those joints and their bolts where they stand as tubes. ``kept`` holds what is worked out by
    what it is worked out from; cages that differ in a few members share it.
    ``chassis`` are tubes of the car's own frame by id: members are coped to them, but they are none
    themselves. ``tells`` says more notes, from what is worked out of a cage, when it is asked.
    """

    def __init__(
        self,
        name: str,
        members: Iterable[Member],
        *,
        plates: Iterable[Plate] = (),
        notes: Iterable[str] = (),
        tells: Callable[[Cage], Iterable[str]] | None = None,
        doors: Iterable[SwingDoor] = (),
        bolted: Iterable[BoltedTube] = (),
        hardware: Iterable[SmallPart] = (),
        chassis: Iterable[Member] = (),
        kept: Kept | None = None,
    ) -> None:
        self.name = name
        self.members: Mapping[str, Member] = MappingProxyType({m.id: m for m in members})
        self.chassis: Mapping[str, Member] = MappingProxyType({m.id: m for m in chassis})
        self.plates: tuple[Plate, ...] = tuple(plates)
        self._noted, self._tells = tuple(notes), tells
        self.doors: tuple[SwingDoor, ...] = tuple(doors)
        self.bolted: tuple[BoltedTube, ...] = tuple(bolted)
        self.fittings: Mapping[str, Member] = {m.id: m for t in self.bolted for m in t.fittings}
        self.hardware: tuple[SmallPart, ...] = tuple(hardware)
        self.kept = Kept() if kept is None else kept
        self._cuts: dict[tuple[str, EndName], EndCut] = {}
        self._moments: dict[str, Moments] = {}
        self._joints: dict[tuple[str, EndName], Joint] = {}

    def __repr__(self) -> str:
        """Name and how much there is."""
        counts = {"member": self.members, "plate": self.plates, "small part": self.hardware}
        has = [f"{len(v)} {k}{'s' * (len(v) != 1)}" for k, v in counts.items() if v]
        return f"<Cage {self.name}: {', '.join(has) or 'empty'}>"

    def replace(
        self, *, plates: Iterable[Plate] | None = None, notes: Iterable[str] | None = None
    ) -> Cage:
        """The same tubes with other plates or notes; what was worked out is kept."""
        alike = notes is None
        new = Cage(
            self.name,
            self.members.values(),
            plates=self.plates if plates is None else plates,
            notes=self._noted if notes is None else notes,
            tells=self._tells if alike else None,
            doors=self.doors,
            bolted=self.bolted,
            hardware=self.hardware,
            chassis=self.chassis.values(),
            kept=self.kept,
        )
        new._cuts, new._moments = self._cuts, self._moments
        for name in ("joints", "notes") if alike else ("joints",):
            if name in self.__dict__:
                new.__dict__[name] = self.__dict__[name]
        return new

    def packed(self) -> tuple[Callable[..., Cage], tuple[object, ...]]:
        """What makes the same cage once more in another process: a function and its arguments."""
        given = {
            "members": tuple(self.members.values()), "plates": self.plates, "notes": self._noted,
            "tells": self._tells, "doors": self.doors, "bolted": self.bolted,
            "hardware": self.hardware, "chassis": tuple(self.chassis.values()), "kept": self.kept,
        }  # fmt: skip
        own = {"_cuts": self._cuts, "_moments": self._moments, "_joints": self._joints}
        return _unpacked, (self.name, given, own)

    def take_over(self, other: Cage) -> None:
        """Take over what another version has worked out of tubes that are the same here."""
        there, here = other.tubes, self.tubes
        theirs = other._joints_by_end if "joints" in other.__dict__ else {}
        for m in here.values():
            if there.get(m.id) is not m:
                continue
            alike = []
            for name, end in m.ends:
                cut, key = other._cuts.get((m.id, name)), (m.id, name)
                if cut is None or any(
                    there.get(p) is not (here.get(p) or self.member(p)) for p in end.parents
                ):
                    continue
                self._cuts[key] = cut
                alike.append(name)
                if key in theirs:
                    self._joints[key] = theirs[key]
            if len(alike) == len(m.ends) and m.id in other._moments:
                self._moments[m.id] = other._moments[m.id]

    def pick(self, ids: Iterable[str]) -> Cage:
        """These members alone, cut to the others as they are here, with the joints they make."""
        kept = [self.member(i) for i in ids]
        self._cut([(m.id, name) for m in kept for name, _ in m.ends])
        names = {m.id for m in kept}
        doors = [d for d in self.doors if names.issuperset(d.pieces)]
        new = Cage(
            self.name,
            kept,
            plates=self.plates,
            notes=self.notes,
            doors=doors,
            bolted=[t for t in self.bolted if names.issuperset(t.pieces)],
            hardware=self.hardware,
            chassis=self.chassis.values(),
            kept=self.kept,
        )
        new._cuts, new._moments = self._cuts, self._moments
        new.__dict__["joints"] = tuple(j for j in self.joints if j.branch in new.members)
        return new

    @property
    def tubes(self) -> Mapping[str, Member]:
        """All that stands there as a tube: members, the car's own frame, bolted joints."""
        return {**self.members, **self.chassis, **self.fittings}

    @cached_property
    def notes(self) -> tuple[str, ...]:
        """What is to be said of it."""
        return (*self._noted, *(self._tells(self) if self._tells else ()))

    @property
    def divided(self) -> tuple[SwingDoor | BoltedTube, ...]:
        """Tubes that are whole when they are fitted and in pieces in the car."""
        return (*self.doors, *self.bolted)

    @property
    def by_own_name(self) -> Mapping[str, SwingDoor | BoltedTube]:
        """The same, by the name that the files call each by."""
        return {d.bar: d for d in self.doors} | {t.fitted.id: t for t in self.bolted}

    def as_fitted(self) -> Cage:
        """The cage before its swing-out bars are cut, and with its bolted tubes put together.

        Each of them is whole, under an id of its own. Bends, blanks, copes, welds and order of
        work are those of the whole tube. The cage itself when nothing comes apart.
        """
        if not self.divided:
            return self
        whole = {d.pieces[0]: d.fitted for d in self.divided}
        taken = {i: d.fitted.id for d in self.divided for i in d.pieces}
        members = [
            whole.get(m.id, m) for m in self.members.values() if m.id in whole or m.id not in taken
        ]
        bolted = {i: t.fitted.id for t in self.bolted for i in t.pieces}
        members = [_hung_on(m, taken) for m in members]
        return Cage(
            self.name,
            members,
            plates=[_stood_on(p, taken, bolted) for p in self.plates],
            notes=self.notes,
            hardware=self.hardware,
            chassis=self.chassis.values(),
            kept=self.kept,
        )

    @property
    def count(self) -> int:
        """How many tubes it is made of: pieces of one that comes apart are one."""
        return len(self.members) - sum(len(d.pieces) - 1 for d in self.divided)

    def member(self, id_: str) -> Member:
        """The member, frame tube or bolted joint of that id; NotFoundError when there is none.

        Raises:
            NotFoundError: there is none of that id.
        """
        found = self.members.get(id_) or self.chassis.get(id_) or self.fittings.get(id_)
        if found is None:
            raise NotFoundError(f"{self.name}: there is no member {id_!r}.")
        return found

    def of_role(self, role: str) -> tuple[Member, ...]:
        """Members of one role, in build order."""
        return tuple(m for m in self.members.values() if m.role == role)

    def parent(self, id_: str) -> Parent:
        """A member, or a tube of the chassis, as the parent that others are coped to."""
        m = self.member(id_)
        return self.kept.once(("parent", m), partial(_as_parent, m))

    def cut(self, id_: str, end: EndName) -> EndCut:
        """How the end of a member is cut; CopeError when it cannot be."""
        self._cut([(id_, end)])
        return self._cuts[id_, end]

    def _cut(self, wanted: Sequence[tuple[str, EndName]]) -> None:
        """Cut these ends, those that are not cut yet at one go.

        Raises:
            CopeError: one cannot be cut; about the first of them.
        """
        new = [(self, *k) for k in wanted if k not in self._cuts]
        for cut in _cut_all(new, self.kept) if new else ():
            if isinstance(cut, CopeError):
                raise cut.within(cut.owner)

    def _end(self, m: Member, name: EndName) -> EndToCut:
        how = m.end(name)
        return EndToCut(
            path=m.path,
            which=name,
            outer_radius=m.tube.outer_radius,
            inner_radius=m.tube.inner_radius,
            parents=tuple(self.parent(p) for p in how.parents),
            plane=how.plane,
            owner=f"{m.id} end {name}",
        )

    def cuts(self, ids: Sequence[str]) -> list[tuple[EndCut, EndCut]]:
        """How both ends of each of these members are cut, all at one go.

        Raises:
            CopeError: one cannot be cut; about the first of them.
        """
        self._cut([(i, name) for i in ids for name, _ in self.member(i).ends])
        return [(self._cuts[i, "a"], self._cuts[i, "b"]) for i in ids]

    def require_cuts(self) -> None:
        """Cut every end of every member; CopeError for the first that cannot be."""
        self._cut([(m.id, name) for m in self.members.values() for name, _ in m.ends])

    def require_copes(self) -> None:
        """Cut every coped end; CopeError for the first that cannot be."""
        ends = ((m.id, name, end.kind) for m in self.members.values() for name, end in m.ends)
        self._cut([(id_, name) for id_, name, kind in ends if kind is EndKind.COPE])

    def cut_length(self, id_: str) -> float:
        """Centre-line length between the outermost tips of both ends, mm."""
        a, b = self.cut(id_, "a"), self.cut(id_, "b")
        measure(tuple(self._cuts.values()))
        return self.member(id_).path.length - (a.shortest + b.shortest)

    def volume(self, id_: str) -> float:
        """Volume of the coped tube's wall, mm3."""
        return self.wall(id_).volume

    def wall(self, id_: str) -> Moments:
        """Volume (mm3) and first moment (mm4) of the coped tube's wall."""
        if id_ not in self._moments:
            m = self.member(id_)
            a, b = self.cut(id_, "a"), self.cut(id_, "b")

            def wall() -> Moments:
                take_off(self._cuts.values())
                radii = m.tube.outer_radius, m.tube.inner_radius
                return self.kept.call(wall_moments, m.path, *radii, a, b, m.drills)

            self._moments[id_] = self.kept.once(("wall", m, Same(a), Same(b)), wall)
        return self._moments[id_]

    def mass(self, id_: str) -> float:
        """Mass of the coped tube, kg."""
        return self.volume(id_) * steel(self.member(id_).tube.material).density

    def children(self, id_: str) -> tuple[Joint, ...]:
        """Joints that other members make on this one."""
        return tuple(j for j in self.joints if id_ in j.parents)

    @cached_property
    def joints(self) -> tuple[Joint, ...]:
        """Every coped end, in build order."""
        out: list[Joint] = []
        self.require_copes()
        for m in self.members.values():
            for name, end in m.ends:
                if end.kind is EndKind.COPE:
                    id_, known = f"j{len(out) + 1:02d}", self._joints.get((m.id, name))
                    if known is not None and known.id == id_:
                        out.append(known)
                        continue
                    on = tuple(self.member(p) for p in end.parents)
                    key = ("joint", id_, m, name, on)
                    out.append(self.kept.once(key, partial(self._joint, id_, m, name)))
        return tuple(out)

    @cached_property
    def _joints_by_end(self) -> Mapping[tuple[str, EndName], Joint]:
        return {(j.branch, j.branch_end): j for j in self.joints}

    def _joint(self, id_: str, m: Member, name: EndName) -> Joint:
        cut = self.cut(m.id, name)
        node, out = m.path.end_point(name), m.path.out_direction(name)
        parents = m.end(name).parents
        gaps = [self._axis_gap(p, node, out) for p in parents]
        return Joint(
            id=id_,
            branch=m.id,
            branch_end=name,
            parents=parents,
            point=node,
            angle=cut.angle,
            offset=gaps[0],
            miss=max(gaps),
            cut=cut,
        )

    def _axis_gap(self, parent: str, node: Vec, out: Vec) -> float:
        """Distance between the branch's axis and a parent's axis at the node, mm."""
        spot = self.member(parent).path.nearest(node)
        across = cross3(out, spot.tangent)
        size = size3(across)
        gap = node - spot.point
        return float(abs(gap @ across) / size) if size > SAME_POINT else size3(gap)

    def tube_mass(self) -> float:
        """Mass of all tubes, kg."""
        return sum(self.mass(i) for i in self.members)

    def mass_total(self) -> float:
        """Mass of tubes, plates and small parts, kg."""
        return (
            self.tube_mass() + sum(p.mass for p in self.plates) + sum(p.mass for p in self.hardware)
        )

    def centre_of_gravity(self) -> Vec:
        """Centre of gravity of the tubes, ``(3,)`` mm."""
        moment = np.zeros(3)
        for i in self.members:
            moment += self.mass(i) * self.wall(i).centre
        return np.asarray(moment / self.tube_mass())


def _unpacked(name: str, given: dict[str, Any], own: dict[str, Any]) -> Cage:
    cage = Cage(name, **given)
    vars(cage).update(own)
    return cage


def cope_all(
    cages: Sequence[Cage],
    kept: Kept,
    more: Sequence[tuple[Cage, str, EndName]] = (),
    *,
    later: bool = False,
) -> None:
    """Cut every end of many cages side by side, for whoever asks next.

    Ends that cages share, and those that were cut before, are cut once. What cannot be cut is
    told when its cage is asked for it.

    Args:
        cages: versions of a cage, say.
        kept: what cuts are kept in, that of the cages.
        more: single ends of further cages.
        later: whether what tells only their shape may wait until it is asked for.
    """
    ends = [
        (c, m.id, n)
        for c in cages for m in c.members.values() for n, _ in m.ends
        if (m.id, n) not in c._cuts
    ]  # fmt: skip
    _cut_all([*ends, *more], kept, later)


def _cut_all(
    wanted: Sequence[tuple[Cage, str, EndName]], kept: Kept, later: bool = False
) -> list[EndCut | CopeError]:
    """Cuts of ends of cages, each handed to its cage, or why an end cannot be cut."""
    ends = [(cage, cage.member(id_), name) for cage, id_, name in wanted]
    keys = [("cut", m, name, tuple(map(c.member, m.end(name).parents))) for c, m, name in ends]
    once = dict(zip(keys, ends, strict=True))

    def cut_now(left: Sequence[int]) -> list[EndCut | CopeError]:
        every = list(once.values())
        new = [cage._end(m, name) for cage, m, name in map(every.__getitem__, left)]
        # alike in what shapes the cut, though member or parent differ elsewhere
        keys = [("cut", content(end)) for end in new]
        alike = dict(zip(keys, new, strict=True))
        some = list(alike.values())
        cuts = kept.each(list(alike), lambda left: cut_ends([some[i] for i in left], later=later))
        by_content = dict(zip(alike, cuts, strict=True))
        return [by_content[key] for key in keys]

    by_key = dict(zip(once, kept.each(list(once), cut_now), strict=True))
    found = [_on_car(by_key[key], m, name) for key, (_, m, name) in zip(keys, ends, strict=True)]
    for (cage, id_, name), cut in zip(wanted, found, strict=True):
        if not isinstance(cut, CopeError):
            cage._cuts[id_, name] = cut
    return found


def _on_car(cut: EndCut | CopeError, member: Member, name: EndName) -> EndCut | CopeError:
    """A cut, or why there is none: with the place of the car that the end stands on."""
    if not isinstance(cut, StandError):
        return cut
    foot = member.end(name).foot
    return cut.on(foot) if foot else cut


def _as_parent(member: Member) -> Parent:
    """The tube as what others land on."""
    return Parent(
        id=member.id,
        path=member.path,
        outer_radius=member.tube.outer_radius,
        # a tube of the car's frame is there as long as it was measured, no longer
        open_a=member.a.kind is not EndKind.COPE and member.role != CHASSIS,
        open_b=member.b.kind is not EndKind.COPE and member.role != CHASSIS,
    )


def _hung_on(member: Member, taken: Mapping[str, str]) -> Member:
    """A member whose ends are coped to the bars that took the place of their pieces."""

    def end(e: End) -> End:
        parents = tuple(taken.get(p, p) for p in e.parents)
        return e if parents == e.parents else with_fields(e, parents=parents)

    return with_fields(member, a=end(member.a), b=end(member.b))


def _stood_on(plate: Plate, taken: Mapping[str, str], bolted: Mapping[str, str]) -> Plate:
    """A plate on the tubes that took the place of their pieces.

    ``taken`` tells the whole tube of every piece; ends and welds follow on a bolted tube only, as
    a bracket is welded to the stub of a bar.
    """
    if not taken.keys() & set(plate.members):
        return plate
    members = tuple(dict.fromkeys(taken.get(m, m) for m in plate.members))
    if not bolted.keys() & set(plate.members):
        return plate.on(members)
    ends = (e.rpartition(".") for e in plate.ends)
    to = [w.to.partition(" ") for w in plate.welds]
    return plate.on(
        members,
        ends=tuple(f"{bolted.get(tube, tube)}.{end}" for tube, _, end in ends),
        welds=tuple(
            replace(w, to=bolted.get(tube, tube) + gap + rest)
            for w, (tube, gap, rest) in zip(plate.welds, to, strict=True)
        ),
    )
