"""What is supposed of branches while versions are made, and looked at for all at one go."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import cast

from cagekit.assembly.before import EndMet, Latest, Supposed
from cagekit.assembly.branches import Meeting, run_into, within_reach
from cagekit.cage.cage import Cage, cope_all
from cagekit.cage.kept import Kept, content, hashed
from cagekit.cage.member import EndName, Member
from cagekit.errors import CopeError


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
        self._asked: dict[Hashable, Meeting] = {}
        self._ends: list[tuple[EndName, EndMet, Sequence[Meeting]]] = []
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

        Args:
            member: the member, not coped to them yet.
            name: its end.
            parent: what that is coped to first.
            others: earlier branches of a parent.
        """
        was = self._latest.ends.get((member.id, name))
        same = was is not None and was.member is member and was.parent is parent
        known = was.answers if was is not None and same else {}
        new = [o for o in others if o not in known]
        near = [Meeting(member, name, parent, o) for o in within_reach(member, name, new)]
        ways = dict.fromkeys(others, False)
        ways.update({o: known[o] for o in others if o in known})
        ways.update({m.other: self._supposes(m) for m in near})
        met = EndMet(member, parent, ways)
        if any(m.key in self._asked for m in near):
            self._ends.append((name, met, near))
        elif new:
            self._latest.ends[member.id, name] = met
        return tuple([o.id for o, holds in met.answers.items() if holds])

    def _supposes(self, meeting: Meeting) -> bool:
        """Whether a meeting holds, as far as is known, as it was, or as it most likely is."""
        key = meeting.key
        if key not in self._told and (known := self._kept.find(key)) is not None:
            self._told[key] = known
        if key in self._told:
            return bool(self._told[key])
        way = self._latest.met.get(meeting.words)
        way = meeting.likely if way is None else way
        self._asked[key] = meeting
        self._supposed[key] = way
        return way

    def look(self) -> None:
        """Look at all meetings of which something was supposed."""
        asked = list(self._asked.values())
        for meeting, holds in zip(asked, run_into(asked) if asked else (), strict=True):
            self._told[meeting.key] = self._latest.met[meeting.words] = holds
            self._kept.once(meeting.key, partial(bool, holds))
        for name, met, near in self._ends:
            told = {m.other: bool(self._told[m.key]) for m in near}
            now = met._replace(answers={**met.answers, **told})
            self._latest.ends[met.member.id, name] = now
        self._asked.clear()
        self._ends.clear()

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
        ends = [(cage, trial.id, name) for cage, trial, name, _ in self._open.values()]
        cope_all(cages, self._kept, ends, later=len(cages) > 1)
        for key, (cage, trial, name, hit) in self._open.items():
            self._told[key] = self._kept.once(key, partial(_shaping, cage, trial, name, hit))
        self._open.clear()


def _shaping(cage: Cage, trial: Member, name: EndName, hit: Sequence[str]) -> tuple[str, ...]:
    """Those of these parents that shape the cut of an end."""
    try:
        cut = cage.cut(trial.id, name)
    except CopeError:
        return tuple(hit)  # told when the cage is made
    owners = {cut.on[i].owner for i in cut.used}
    return tuple(h for h in hit if h in owners)


def coped_once(kept: Kept, member: Member, name: EndName, hit: tuple[str, ...]) -> Member:
    """The same member coped to these branches too, as one object."""
    key = ("coped too", member, name, hit)
    return kept.once(key, lambda: kept.same(_coped_too(member, name, hit)))


def _coped_too(member: Member, name: EndName, hit: Sequence[str]) -> Member:
    end = member.end(name)
    new = replace(end, parents=(*end.parents, *hit))
    return replace(member, a=new) if name == "a" else replace(member, b=new)
