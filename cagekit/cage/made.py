"""The tubes made so far, and what is read of them while another is made.

A tube hangs on those before it, but on few of them and on little of each: on the path of what it is
attached to, on the kind of all others. What was made from tubes is therefore kept with what was
read of them, and found again whenever all of that is as it was, whatever else has changed.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any, NamedTuple, TypeVar, cast

from cagekit.cage.kept import MISSING, Kept, content, hashed
from cagekit.cage.member import Member, Words

T = TypeVar("T")

WHOLE = ""
"""Stands for all fields of a tube together."""
MOST = 8
"""Ways of reading that are remembered for one thing that is made."""


class Reads(NamedTuple):
    """What was read: the words of all, whether these are there, fields of these tubes."""

    words: bool
    asked: tuple[str, ...]
    fields: tuple[tuple[str, tuple[str, ...]], ...]

    @property
    def ids(self) -> set[str]:
        """The tubes that were read or asked for."""
        return {*self.asked, *(id_ for id_, _ in self.fields)}


class _Way:
    """One way of reading, and what it gave last: of tubes that are the same nothing is compared."""

    __slots__ = ("_last", "_tubes", "reads")

    def __init__(self, reads: Reads) -> None:
        self.reads = reads
        self._tubes: tuple[Member | None, ...] = (None,) * len(reads.fields)
        self._last: tuple[Hashable, ...] = self._tubes

    def answers(self, made: MadeTubes, tubes: Mapping[str, Member], read: _Read) -> Hashable:
        """What reading the same again gives, by content; None when a tube of it is not there."""
        reads, told = self.reads, list[Hashable]()
        rows = zip(reads.fields, self._tubes, self._last, strict=True)
        now = list[Member]()
        for (id_, names), was, given in rows:
            tube = tubes.get(id_)
            if tube is None:
                return None
            now.append(tube)
            told.append(given if tube is was else read(tube, names))
        self._tubes, self._last = tuple(now), tuple(told)
        there = tuple([i in tubes for i in reads.asked])
        return made.words if reads.words else (), there, self._last


class _Read:
    """The content of fields of tubes, each worked out once."""

    def __init__(self) -> None:
        self._told: dict[tuple[str, tuple[str, ...]], tuple[Member, Hashable]] = {}

    def __call__(self, tube: Member, names: tuple[str, ...]) -> Hashable:
        """The content of these fields."""
        found = self._told.get((tube.id, names))
        if found is None or found[0] is not tube:
            parts = [content(tube if n == WHOLE else getattr(tube, n)) for n in names]
            self._told[tube.id, names] = found = tube, hashed(parts)
        return found[1]


class MadeTubes(Mapping[str, Member]):
    """Tubes by id in the order in which they were made."""

    def __init__(self, tubes: Iterable[Member] = ()) -> None:
        self._all = {m.id: m for m in tubes}
        self._words = {i: m.words for i, m in self._all.items()}
        self._row: Sequence[Words] | None = None
        self._notes: _Notes | None = None
        self._read = _Read()

    def add(self, tube: Member) -> None:
        """Take in a tube; what adds it itself does not hang on it."""
        if self._notes is not None:
            self._notes.own.setdefault(tube.id, self._all.get(tube.id))
        self._all[tube.id] = tube
        self._words[tube.id], self._row = tube.words, None

    @property
    def words(self) -> Sequence[Words]:
        """The words of all, in order: quicker than to ask each tube."""
        if self._notes is not None:
            self._notes.words = True
        if self._row is None:
            self._row = hashed(self._words.values())
        return self._row

    def __getitem__(self, id_: str) -> Member:
        """The tube of that id."""
        notes = self._notes
        if notes is None or id_ in notes.own:
            return self._all[id_]
        if id_ not in self._all:
            notes.asked.add(id_)
        return notes.seen(self._all[id_])

    def __contains__(self, id_: object) -> bool:
        """Whether there is one of that id."""
        if self._notes is not None and id_ not in self._notes.own:
            self._notes.asked.add(cast(str, id_))
        return id_ in self._all

    def __iter__(self) -> Iterator[str]:
        """The ids."""
        if self._notes is not None:
            self._notes.words = True
        return iter(self._all)

    def __len__(self) -> int:
        """How many there are."""
        if self._notes is not None:
            self._notes.words = True
        return len(self._all)

    def made_once(self, kept: Kept, key: Hashable, make: Callable[[], T]) -> tuple[T, Reads]:
        """What ``make`` gives, from before where all that it read of the tubes is as it was then.

        With it comes what it reads of them.

        What it adds is taken out again.

        Args:
            kept: where it is kept.
            key: all else that goes in.
            make: reads of these tubes through this object alone.
        """
        ways = kept.once(("read", key), list[_Way])
        for way in ways:
            answers = way.answers(self, self._all, self._read)
            if answers is None:
                continue
            found = kept.find((key, way.reads, answers), MISSING)
            if found is not MISSING:
                return cast(T, found), way.reads
        with self._noting() as notes:
            made = make()
        reads = notes.reads()
        way = next((w for w in ways if w.reads == reads), None) or _Way(reads)
        if way not in ways:
            ways.insert(0, way)
            del ways[MOST:]
        answers = way.answers(self, self._all, self._read)
        return kept.once((key, reads, answers), lambda: made), reads

    @contextmanager
    def _noting(self) -> Iterator[_Notes]:
        self._notes = notes = _Notes()
        try:
            yield notes
        finally:
            self._notes = None
            for id_, before in notes.own.items():
                self._take_back(id_, before)

    def _take_back(self, id_: str, before: Member | None) -> None:
        self._row = None
        if before is None:
            del self._all[id_], self._words[id_]
        else:
            self._all[id_], self._words[id_] = before, before.words


def words_of(tubes: Mapping[str, Member]) -> Sequence[Words]:
    """The words of tubes, in order."""
    return tubes.words if isinstance(tubes, MadeTubes) else [m.words for m in tubes.values()]


class _Notes:
    """What is read while something is made."""

    def __init__(self) -> None:
        self.words = False
        self.own: dict[str, Member | None] = {}
        self.asked: set[str] = set()
        self._seen: dict[str, _Seen] = {}

    def seen(self, tube: Member) -> Member:
        """A tube that notes here what is read of it."""
        found = self._seen.get(tube.id)
        if found is None:
            self._seen[tube.id] = found = _Seen(tube)
        return cast(Member, found)

    def reads(self) -> Reads:
        """All that was read."""
        fields = ((id_, seen.names_read) for id_, seen in self._seen.items())
        return Reads(self.words, tuple(sorted(self.asked)), tuple(sorted(fields)))


class _Seen:
    """A tube that notes which of its fields are read: what was read once is a field of its own."""

    def __init__(self, tube: Member) -> None:
        self._tube_seen = tube

    def __getattr__(self, name: str) -> Any:
        """A field or what follows from some; of a method nobody knows what it reads."""
        value = self.__dict__[name] = getattr(self._tube_seen, name)
        return value

    @property
    def names_read(self) -> tuple[str, ...]:
        """The fields that were read."""
        read = {n: v for n, v in self.__dict__.items() if n != "_tube_seen"}
        return (WHOLE,) if any(map(callable, read.values())) else tuple(sorted(read))
