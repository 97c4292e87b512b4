"""What is supposed of branches while versions are made, and looked at for all at one go."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import NamedTuple, cast

from cagekit.assembly.before import EndMet, Latest, Supposed
from cagekit.assembly.branches import Meeting, run_into, within_reach
from cagekit.cage.cage import Cage, cope_all
from cagekit.cage.kept import Kept, content, hashed
from cagekit.cage.member import EndName, Member
from cagekit.errors import CopeError
from cagekit.geometry.cope import EndCut
from cagekit.geometry.scan import surely_met


class _EndAsked(NamedTuple):
    """An end on its first parent, and earlier branches of a parent that it may run into."""

    member: Member
    name: EndName
    parent: Member
    others: tuple[Member, ...]


class Trials:
    """What is supposed while tubes are made, to be looked at for all versions at one go.

    Which earlier branches an end runs into is supposed to be as in the version before, or as their
    nodes have it. Which of them shape its cut only the cut itself tells: until then all are
    supposed to, as they nearly always do. A version is made again only where something was wrong.
    """

    def __init__(self, kept: Kept, latest: Latest) -> None:
        self._kept, self._latest = kept, latest
        self._told: dict[Hashable, object] = {}
        self._open: dict[Hashable, tuple[Cage, Member, EndName, Sequence[str]]] = {}
        self._asked: dict[Hashable, _EndAsked] = {}
        self._supposed: dict[Hashable, object] = {}

    @property
    def supposed(self) -> Supposed:
        """What has been supposed since it was last taken."""
        return self._supposed

    def taken(self) -> Supposed:
        """What has been supposed since this was last asked."""
        out, self._supposed = self._supposed, {}
        return out

    def again(self, supposed: Supposed) -> bool:
        """Suppose this once more; whether nothing of it has turned out otherwise."""
        if not self.bear_out(supposed):
            return False
        self._supposed |= supposed
        return True

    def bear_out(self, supposed: Supposed) -> bool:
        """Whether nothing of it has turned out otherwise."""
        return all(self._told.get(key, way) == way for key, way in supposed.items())

    def met(
        self, member: Member, name: EndName, parent: Member, others: tuple[Member, ...]
    ) -> tuple[str, ...]:
        """Those of these earlier branches that an end runs into outside its first parent.

        As far as is known, else those that it ran into, or that it most likely does.

        Args:
            member: the member, not coped to them yet.
            name: its end.
            parent: what that is coped to first.
            others: earlier branches of a parent.
        """
        key = ("met", member, name, parent, others)
        if key not in self._told and (found := self._kept.find(key)) is not None:
            self._told[key] = found
        if (told := self._told.get(key)) is not None:
            return cast(tuple[str, ...], told)
        known = self._latest.known(member, name, parent)
        if known and all(map(known.__contains__, others)):
            return tuple([o.id for o in others if known[o]])
        was = self._latest.ways.setdefault((member.id, name), {})
        hit = []
        for other in others:
            way = known.get(other) if known else None
            way = was.get(other.id) if way is None else way
            if way is None:
                way = was[other.id] = Meeting(member, name, parent, other).likely
            if way:
                hit.append(other.id)
        self._asked[key] = _EndAsked(member, name, parent, others)
        self._supposed[key] = out = tuple(hit)
        return out

    def look(self) -> None:
        """Look at all ends of which something was supposed."""
        if not self._asked:
            return
        asked = list(self._asked.values())
        known = [self._latest.known(q.member, q.name, q.parent) for q in asked]
        new = [
            [o for o in q.others if o not in before] if before else q.others
            for q, before in zip(asked, known, strict=True)
        ]
        near = within_reach([(q.member, q.name) for q in asked], new)
        found = [(n, Meeting(*asked[n][:3], other)) for n, other in near]
        some = list(dict.fromkeys(m for _, m in found))
        holds = self._kept.each(
            [m.key for m in some], lambda left: run_into([some[i] for i in left])
        )
        told = dict(zip(some, holds, strict=True))
        answers = [dict.fromkeys(q.others, False) for q in asked]
        for n, meeting in found:
            answers[n][meeting.other] = told[meeting]
        rows = zip(self._asked.items(), answers, known, strict=True)
        for (key, (member, name, parent, others)), ways, before in rows:
            if before:
                ways.update({o: before[o] for o in others if o in before})
            hit = tuple([o.id for o, way in ways.items() if way])
            self._told[key] = self._kept.once(key, partial(tuple, hit))
            self._latest.note(name, EndMet(member, parent, ways))
        self._asked.clear()

    def touched(
        self, tubes: Mapping[str, Member], member: Member, name: EndName, hit: tuple[str, ...]
    ) -> tuple[str, ...]:
        """Those of these branches that shape the cut: another may have taken all that they share.

        Args:
            tubes: what has been made so far.
            member: the member, not coped to them yet.
            name: its end.
            hit: ids of the branches.
        """
        trial = coped_once(self._kept, member, name, hit)
        parents = [tubes[p] for p in trial.end(name).parents]
        # by content: what is told here must be found again, whatever has been let go meanwhile
        key = hashed(("touched", content(trial), name, content(parents)))
        told = self._told[key] if key in self._told else self._kept.find(key)
        if told is not None:
            return cast(tuple[str, ...], told)
        self._open[key] = Cage("", [*parents, trial], kept=self._kept), trial, name, hit
        self._supposed[key] = hit
        return hit

    def cut(self, cages: Sequence[Cage]) -> None:
        """Cut all ends of these cages, and those on trial."""
        on_trial = list(self._open.values())
        ends = [(cage, trial.id, name) for cage, trial, name, _ in on_trial]
        cope_all(cages, self._kept, ends, later=len(cages) > 1)
        told = shaping([(_cut(*end), hit) for end, (*_, hit) in zip(ends, on_trial, strict=True)])
        for key, owners in zip(self._open, told, strict=True):
            self._told[key] = self._kept.once(key, partial(tuple, owners))
        self._open.clear()


def _cut(cage: Cage, id_: str, name: EndName) -> EndCut | None:
    try:
        return cage.cut(id_, name)
    except CopeError:
        return None  # told when the cage is made


def shaping(asked: Sequence[tuple[EndCut | None, Sequence[str]]]) -> list[tuple[str, ...]]:
    """Of each cut those of these parents that shape it; of one that cannot be made all of them.

    A cut that was put off is scanned only where a few of its rays do not tell.
    """
    late = {i: (cut, hit) for i, (cut, hit) in enumerate(asked) if cut is not None and cut.put_off}
    met = dict(zip(late, surely_met(list(late.values())), strict=True))
    out = []
    for i, (cut, hit) in enumerate(asked):
        if cut is None or met.get(i, set()).issuperset(hit):
            out.append(tuple(hit))
            continue
        owners = {cut.on[n].owner for n in cut.used}
        out.append(tuple([h for h in hit if h in owners]))
    return out


def coped_once(kept: Kept, member: Member, name: EndName, hit: tuple[str, ...]) -> Member:
    """The same member coped to these branches too, as one object."""
    key = ("coped too", member, name, hit)
    return kept.once(key, lambda: kept.same(_coped_too(member, name, hit)))


def _coped_too(member: Member, name: EndName, hit: Sequence[str]) -> Member:
    end = member.end(name)
    new = replace(end, parents=(*end.parents, *hit))
    return replace(member, a=new) if name == "a" else replace(member, b=new)
