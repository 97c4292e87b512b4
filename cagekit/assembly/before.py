"""What a version has in common with the one before: what nothing has touched is taken over whole.

Versions differ in a few entries. What is kept by content is found for the others too, but each
time it has to be told what went in; beside the version before nothing is told of a tube that is
the same object there.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from typing import NamedTuple

from msgspec import Struct, field
from msgspec.structs import replace

from cagekit.cage.cage import Cage
from cagekit.cage.made import Reads
from cagekit.cage.member import Member
from cagekit.inputs.entries import MemberEntry

Supposed = Mapping[Hashable, object]
"""What is supposed of branches, by what tells it."""


class Brought(Struct, frozen=True, eq=False):
    """What one entry brought, not yet coped to branches that it runs into."""

    members: tuple[Member, ...]
    notes: tuple[str, ...] = ()


class EntryMade(Struct, frozen=True, kw_only=True, eq=False):
    """One entry of a version: what it is, by content too, what it read and brought.

    ``spare`` tells whether only the layout asks for it. ``tubes`` are those of ``step`` coped to
    the branches that they run into, ``notes`` tell of them, ``supposed`` is what that hangs on as
    long as no cut has told it.
    """

    entry: MemberEntry
    spare: bool
    key: Hashable
    reads: Reads
    step: Brought
    tubes: tuple[Member, ...]
    notes: tuple[str, ...] = ()
    supposed: Supposed = field(default_factory=dict)


class MadeVersion(Struct, frozen=True, kw_only=True, eq=False):
    """The rows of a version in order, all made on one ``ground``, and their tubes, whole.

    ``chassis`` are the tubes of the car's own frame.
    """

    ground: object
    rows: Sequence[EntryMade]
    members: Mapping[str, Member]
    chassis: Mapping[str, Member]

    def settled(self) -> MadeVersion:
        """The same when its cuts have told what was supposed."""
        rows = [replace(r, supposed={}) if r.supposed else r for r in self.rows]
        return replace(self, rows=rows)


class EndMet(NamedTuple):
    """Which earlier branches an end on its first parent runs into."""

    member: Member
    parent: Member
    answers: Mapping[Member, bool]


class Latest:
    """The version made last, and which branches ends ran into when they were last looked at.

    ``cage`` is the one that has the cuts of ``version``.
    """

    def __init__(self) -> None:
        self.version: MadeVersion | None = None
        self.cage: Cage | None = None
        self.ends: dict[tuple[str, str], EndMet] = {}
        self.ways: dict[tuple[str, str], dict[str, bool]] = {}

    def known(self, member: Member, name: str, parent: Member) -> Mapping[Member, bool]:
        """What is known of an end on its first parent, by branch."""
        was = self.ends.get((member.id, name))
        there = was is not None and was.member is member and was.parent is parent
        return was.answers if was is not None and there else {}

    def note(self, name: str, met: EndMet) -> None:
        """Take in what an end runs into."""
        key = met.member.id, name
        self.ends[key] = met
        self.ways.setdefault(key, {}).update({o.id: way for o, way in met.answers.items()})


class Before:
    """The version before while another is made, row by row in one order.

    Args:
        version: the version before, if there is one.
        ground: all that the new one is made from but for its entries.
    """

    def __init__(self, version: MadeVersion | None, ground: object) -> None:
        there = version is not None and version.ground is ground
        self._rows = version.rows if version is not None and there else ()
        self._at = 0
        self._words_stand = True
        self._others: set[str] = set()
        self._hung_on: set[str] = set()

    def row(self, id_: str) -> EntryMade | None:
        """The row of that entry; None from the first entry on that is another."""
        if self._at < len(self._rows) and self._rows[self._at].entry.id == id_:
            return self._rows[self._at]
        self._rows = ()
        return None

    def step_stands(self, row: EntryMade, key: Hashable) -> bool:
        """Whether an entry would bring the same again.

        Args:
            row: of the version before.
            key: what the entry is now.
        """
        reads, others = row.reads, self._others
        if row.key != key or (reads.words and not self._words_stand):
            return False
        return not others or others.isdisjoint(reads.ids)

    def tubes_stand(self, row: EntryMade) -> bool:
        """Whether the tubes of a step would meet the same branches again."""
        if not self._others:
            return True
        parents = {p for m in row.step.members for _, e in m.ends for p in e.parents}
        return parents.isdisjoint(self._others) and parents.isdisjoint(self._hung_on)

    def note(self, row: EntryMade) -> None:
        """Take in the next row of the new version."""
        if not self._rows:
            return
        old = self._rows[self._at]
        self._at += 1
        if old.tubes == row.tubes:  # tubes are equal when they are one object
            return
        for one, other in ((old, row), (row, old)):
            for tube in one.tubes:
                if not any(tube is t for t in other.tubes):
                    self._others.add(tube.id)
                    self._hung_on.update(p for _, e in tube.ends for p in e.parents)
        if self._words_stand:
            words = ([t.words for t in r.tubes] for r in (old, row))
            self._words_stand = next(words) == next(words)
