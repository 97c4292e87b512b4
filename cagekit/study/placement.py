"""Place a member that is a compromise: try it over a range and see which findings turn.

The build is put together anew for every value, checked, and the findings that hang on the member
are kept. Proposed is the value with the fewest fails, then the fewest warnings, then the most
room to the nearest limit, then the shortest way from where the member is now.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import product
from typing import Any

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from cagekit.assembly.assemble import sketch, variants
from cagekit.cage.cage import Cage
from cagekit.cage.member import Member
from cagekit.checks import registry
from cagekit.checks.finding import Finding, Status
from cagekit.checks.registry import run
from cagekit.data import tables
from cagekit.design import Design
from cagekit.errors import GeometryError, InputError
from cagekit.geometry.centre_line import Vec
from cagekit.hints import did_you_mean
from cagekit.inputs.build import Build
from cagekit.inputs.entries import MemberEntry
from cagekit.inputs.messages import problem_and_cure
from cagekit.inputs.places import MEASURED, OnTube
from cagekit.inputs.written import with_place
from cagekit.names import in_words
from cagekit.process import made_by_two
from cagekit.units import INCH

GROUPS = tuple(g.name for g in registry.GROUPS if not g.asked)
"""All that `check` looks at: a place that is good for people and shell may be a bad joint."""
ROOMS = ("fit", "car", "sight")
"""Groups whose readings of the member's own are worth a column where they never turn."""
PLACES = {"from": "from_", "to": "to"}
"""Places of a strut that can be moved, as a file names them, and their fields."""
MOST = 400
"""Places tried at most in one go."""
SHARED = 8
"""Places from which on a second process tries half of them: beginning takes it as long as one."""
ENOUGH = 60.0
"""Room (mm) beyond which more of it does not make a place better."""
WORTH = {"mm": 1.0, "deg": 10.0, "": 200.0}
"""What a unit of room counts as, mm: a degree 10, the whole upper arm 200."""

ReadingKey = tuple[str, str]
SameReading = tuple[ReadingKey, ...]
"""Findings of one check that read the same at every place."""


class Sweep(Struct, frozen=True, kw_only=True):
    """A range for fields that are moved together.

    ``values`` are those of the first field (mm or rad as inside); the others keep their distance
    to it. ``words`` says what the first field is.
    """

    fields: tuple[str, ...]
    values: tuple[float, ...]
    words: str = ""

    @property
    def name(self) -> str:
        """The first field."""
        return self.fields[0]


class Trial(Struct, frozen=True, kw_only=True, eq=False):
    """One place tried.

    Args:
        values: value of each sweep's first field.
        spot: middle of the member's centre line, ``(3,)`` mm; None when it cannot be made.
        findings: the findings that hang on the member, by code and subject.
        members: ids of the tubes it is made of: pieces, legs, both sides.
        error: why it cannot be made.
        room: least room to a limit that holds, mm worth; negative when one is broken.
    """

    values: tuple[float, ...]
    spot: Vec | None
    findings: Mapping[ReadingKey, Finding]
    members: tuple[str, ...] = ()
    error: str = ""
    room: float = 0.0

    def count(self, status: Status) -> int:
        """How many of its findings have a status."""
        return sum(f.status is status for f in self.findings.values())

    @property
    def mark(self) -> str:
        """The worst that came out: ``no``, ``fail``, ``warn`` or ``good``."""
        if self.error:
            return "no"
        if self.count(Status.FAIL):
            return "fail"
        return "warn" if self.count(Status.WARN) else "good"


class Placement(Struct, frozen=True, kw_only=True, eq=False):
    """A member tried over a range.

    ``columns`` are the findings that hang on it, those that turn first; ``now`` is where it is in
    the build and ``best`` the trial proposed (None when none could be made); ``reasons`` say why.
    ``proposed`` holds every field of the file that the proposal sets, the same on both sides.
    """

    member: str
    sweeps: tuple[Sweep, ...]
    now: tuple[float, ...]
    trials: tuple[Trial, ...]
    columns: tuple[SameReading, ...]
    best: Trial | None
    reasons: tuple[str, ...]
    proposed: Mapping[str, float]

    def label(self, column: SameReading) -> str:
        """What findings that read the same are about, in words."""
        return label_of(self.trials, column)


def place(
    build: Build,
    member: str,
    sweeps: Sequence[Sweep] = (),
    *,
    groups: Sequence[str] = GROUPS,
    copied: bool = False,
) -> Placement:
    """Try ``member`` over a range.

    Args:
        build: the build as it is.
        member: id, id without its side, or kind of the member; both sides move together.
        sweeps: up to two ranges; the usual one of the member's kind when empty.
        groups: check groups to look at.
        copied: let a copy of this process, in which no other thread is at work, try half of them.

    Raises:
        InputError: no such member or field, more than two ranges, or too many places.
        GeometryError: no place can be made, and neither can the build as it is.
    """
    entries = _entries(build, member)
    try:
        cage, design = sketch(build), Design(build)
    except (GeometryError, InputError) as error:
        raise with_place(error, build) from error
    chosen = tuple(sweeps) or (usual(build, cage, member),)
    if len(chosen) > 2:
        raise InputError("--over", problem="a member can be tried over two ranges at most.")
    count = int(np.prod([len(s.values) for s in chosen]))
    if count > MOST:
        raise InputError(
            "--over",
            problem=f"{count} places are too many (at most {MOST}).",
            hint="Widen the step.",
        )
    now = tuple(_now(build, cage, entries, s.name) for s in chosen)
    places = list(product(*(s.values for s in chosen)))
    builds = [_variant(build, entries, chosen, now, values) for values in places]

    def some(of: slice) -> list[Trial]:
        variants(builds[of], design.kept)  # what cannot be made is told place by place
        return [
            _try(design, entries, variant, values, groups)
            for variant, values in zip(builds[of], places[of], strict=True)
        ]

    tried = made_by_two(some, count, SHARED) if copied else some(slice(None))
    ids = {m for t in tried for m in t.members}
    keys = _keys(tried, ids)
    trials = tuple(_kept(t, keys, ids) for t in tried)
    columns = _columns(trials, keys)
    best = min((t for t in trials if not t.error), key=lambda t: _rank(t, now), default=None)
    if best is None:
        # the reason may lie elsewhere in the build, where no place of this member mends it
        design.cage.require_cuts()
    return Placement(
        member=member,
        sweeps=chosen,
        now=now,
        trials=trials,
        columns=columns,
        best=best,
        reasons=tuple(_reasons(trials, columns, chosen)),
        proposed={} if best is None else _proposed(entries, chosen, now, best.values),
    )


def _entries(build: Build, member: str) -> tuple[MemberEntry, ...]:
    """The entries that a name stands for."""
    found = tuple(e for e in build.entries if member in e.names)
    if not found:
        known = dict.fromkeys(n for e in build.entries for n in e.names)
        raise InputError(
            "place", "member", member, problem=f"the build {build.name} has no such member.",
            hint=did_you_mean(member, known, what="It has"),
        )  # fmt: skip
    return found


def _usual() -> Mapping[str, Any]:
    return tables("placements")


def usual(build: Build, cage: Cage, member: str) -> Sweep:
    """The range that is tried when none is given.

    Args:
        build: the build, with car, tooling and presets.
        cage: the cage.
        member: id of the member.

    Raises:
        InputError: there is none for this kind of member.
    """
    entries = _entries(build, member)
    kind = entries[0].kind
    counted = next((name for name in PLACES if _counted(entries[0], name)), None)
    if kind not in _usual() and counted is None:
        raise InputError(
            "place", "member", member, problem=f"there is no usual range for a {kind}.",
            hint="Give one, e.g. --over height=300:500:10. " + _fields_hint(entries[0]),
        )  # fmt: skip
    row = _usual()[kind] if kind in _usual() else {**_usual()["place"], "fields": [counted]}
    names = tuple(str(f) for f in row["fields"])
    middle = _now(build, cage, entries, names[0])
    # round steps in the units the build is made in: 12.5 mm or 1/2 in
    scale = INCH / 25 if build.units == "in" else 1.0
    low, high, step = (scale * float(v) for v in (*row["range"], row["step"]))
    values = tuple(middle + low + k * step for k in range(round((high - low) / step) + 1))
    return Sweep(fields=names, values=values, words=row["words"])


def sweep(build: Build, member: str, field: str, values: Iterable[float]) -> Sweep:
    """A range of one field that the user gave.

    Args:
        build: the build, with car, tooling and presets.
        member: id of the member.
        field: of its entry.
        values: to be tried, mm or degrees.

    Raises:
        InputError: the member has no such field, or it is no number.
    """
    entry = _entries(build, member)[0]
    fields = type(entry).model_fields
    if field in PLACES and field not in _numbers(entry):
        raise InputError(
            "--over", "field", field, problem=f"the place of {member} is not counted in mm.",
            hint="Write it as `on TUBE at height ...`, or x, y or station. " + _fields_hint(entry),
        )  # fmt: skip
    if field not in PLACES and field not in fields:
        raise InputError(
            "--over", "field", field, problem=f"a {entry.kind} has no such field.",
            hint=did_you_mean(field, _numbers(entry), what="Its numbers"),
        )  # fmt: skip
    if field not in _numbers(entry):
        problem, hint = problem_and_cure(entry.unread(frozenset()).get(field, "is no number"))
        hint = f"{hint} {_fields_hint(entry)}".strip()
        raise InputError("--over", "field", field, problem=problem, hint=hint)
    row = _usual().get(entry.kind, {})
    words = row.get("words", "") if row.get("fields", [""])[0] == field else ""
    return Sweep(fields=(field,), values=tuple(values), words=words)


def _numbers(entry: MemberEntry) -> tuple[str, ...]:
    """Fields of an entry that hold a number, without those that others make idle."""
    out, idle = [], entry.unread(frozenset())
    for name, field in type(entry).model_fields.items():
        if name in idle:
            continue
        kinds = getattr(field.annotation, "__args__", (field.annotation,))
        if float in kinds or any(getattr(k, "__origin__", None) is float for k in kinds):
            out.append(name)
    return (*(name for name in PLACES if _counted(entry, name)), *out)


def _counted(entry: MemberEntry, field: str) -> OnTube | None:
    """The place that a field of an entry gives, when it is counted in mm along a tube or the car.

    A ``y`` is signed: what moves one side outboard moves the other inboard.
    """
    place = getattr(entry, PLACES.get(field, field), None)
    if isinstance(place, OnTube) and place.at in MEASURED and place.at != "y":
        return place
    return None


def _fields_hint(entry: MemberEntry) -> str:
    return f"Its numbers: {', '.join(_numbers(entry))}."


def _now(build: Build, cage: Cage, entries: Sequence[MemberEntry], field: str) -> float:
    """Where the member is now: as typed, else measured on the cage as a height."""
    place = _counted(entries[0], field)
    value = getattr(entries[0], field, None) if place is None else place.value
    if isinstance(value, float | int):
        return float(value)
    paths = [m.path for m in _made_by(cage, entries[0])]
    if not paths:
        return 0.0
    ends = np.array([p for path in paths for p in (path.start, path.end)])
    return float(ends[:, 2].min() if field == "low" else ends[:, 2].mean())


def _made_by(cage: Cage, *entries: MemberEntry) -> tuple[Member, ...]:
    """The tubes that entries made, pieces and legs too, in build order."""
    ids = {e.id for e in entries}
    return tuple(m for m in cage.members.values() if m.entry in ids)


def _try(
    design: Design,
    entries: Sequence[MemberEntry],
    variant: Build,
    values: tuple[float, ...],
    groups: Sequence[str],
) -> Trial:
    """One place: made, coped and checked as `check` would, or the reason why it cannot be.

    What another place has worked out already, people first, is kept by the design.
    """
    design.people  # noqa: B018
    tried = design.of_build(variant)
    try:
        # plates too: a tab may find no room where the tube is short
        tried.cage.require_cuts()
        found = run(tried, groups=groups, apart=True)
    except (GeometryError, InputError) as error:
        return Trial(values=values, spot=None, findings={}, error=str(error))
    first = next(iter(_made_by(tried.fitted, entries[0])), None)
    spot = None if first is None else first.path.spot(first.path.length / 2).point
    return Trial(
        values=values,
        spot=spot,
        members=tuple(m.id for m in _made_by(tried.cage, *entries)),
        findings={_key(f): f for f in reversed(found)},
    )


def _variant(
    build: Build,
    entries: Sequence[MemberEntry],
    sweeps: Sequence[Sweep],
    now: Sequence[float],
    values: Sequence[float],
) -> Build:
    """The build with the entries moved."""
    changed = {
        entry.id: entry.model_copy(update=_moved(entry, sweeps, now, values)) for entry in entries
    }
    entries = tuple(changed.get(e.id, e) for e in build.entries)
    return replace(build, entries=entries, as_written=False)


def _moved(
    entry: MemberEntry, sweeps: Sequence[Sweep], now: Sequence[float], values: Sequence[float]
) -> dict[str, float | OnTube]:
    """What the fields of an entry become at a place, by their names in a file."""
    moved: dict[str, float | OnTube] = {}
    for s, base, value in zip(sweeps, now, values, strict=True):
        for name in s.fields:
            spot = _counted(entry, name)
            if spot is not None:
                moved[PLACES[name]] = replace(spot, value=spot.value + value - base)
                continue
            own = getattr(entry, name, None)
            moved[name] = value if own is None else float(own) + value - base
    return moved


def _proposed(
    entries: Sequence[MemberEntry],
    sweeps: Sequence[Sweep],
    now: Sequence[float],
    values: Sequence[float],
) -> dict[str, float]:
    """The fields in numbers that all entries get the same of."""
    every = [_moved(entry, sweeps, now, values) for entry in entries]
    return {
        name: value
        for name, value in every[0].items()
        if isinstance(value, float) and all(m.get(name) == value for m in every)
    }


def _key(found: Finding) -> ReadingKey:
    """What makes two findings of two trials the same question."""
    return found.code, "" if found.group == "car" else found.subject


def _keys(tried: Sequence[Trial], ids: set[str]) -> tuple[ReadingKey, ...]:
    """Findings that turn, then those that touch the member and move with it."""
    seen: dict[ReadingKey, list[Finding]] = {}
    for t in tried:
        for key, f in t.findings.items():
            seen.setdefault(key, []).append(f)
    made = [t for t in tried if not t.error]
    turning, moving = [], []
    for key, rows in sorted(seen.items()):
        judged = {f.status for f in rows} - {Status.NOT_APPLICABLE, Status.NEEDS_INSPECTION}
        numbers = [f.measured for f in rows if isinstance(f.measured, float)]
        if not judged or not numbers:
            continue
        moves = max(numbers) - min(numbers) > 0.5 / WORTH.get(rows[0].unit, 1.0)
        # what is measured at some places only is worth telling where it turns
        telling = key[0].startswith("fit/") or not judged.isdisjoint({Status.FAIL, Status.WARN})
        if len(judged) > 1 or (telling and len(rows) < len(made)):
            turning.append(key)
        elif moves and _matters(rows, ids):
            moving.append(key)
    return (*turning, *moving)


def _columns(trials: Sequence[Trial], keys: Sequence[ReadingKey]) -> tuple[SameReading, ...]:
    """Findings of one check that read the same at every place together, as of a left and right."""
    alike: dict[tuple[object, ...], list[ReadingKey]] = {}
    for key in keys:
        rows = (t.findings.get(key) for t in trials)
        read = (None if f is None else (f.status, f.limit, _short(f.measured)) for f in rows)
        alike.setdefault((key[0], *read), []).append(key)
    return tuple(map(tuple, alike.values()))


def _short(value: object) -> object:
    """A number as far as it is shown."""
    return round(value, 2) if isinstance(value, float) else value


def _matters(rows: Sequence[Finding], ids: set[str]) -> bool:
    """Whether a finding that never turns is worth a column.

    It is one of the member's own room, or near a limit; a rulebook's, a joint's or the shop's far
    from its limit is not.
    """
    own = [f for f in rows if _hangs(f, ids)]
    told = 2 * len(own) > len(rows) and rows[0].group in ROOMS
    return told or any((room(f) or 0.0) < ENOUGH for f in own)


def _hangs(found: Finding, ids: set[str]) -> bool:
    """Whether a finding is about the member itself."""
    return not ids.isdisjoint(found.evidence.members)


def _kept(trial: Trial, keys: Sequence[ReadingKey], ids: set[str]) -> Trial:
    kept = {k: trial.findings[k] for k in keys if k in trial.findings}
    rooms = [room(f) for f in kept.values() if _hangs(f, ids)]
    least = min((r for r in rooms if r is not None), default=ENOUGH)
    return replace(trial, findings=kept, room=min(least, ENOUGH))


def label_of(trials: Sequence[Trial], column: SameReading) -> str:
    """Findings that read the same, in words: what, of whom, and for a rulebook's the rule."""
    found = next(t.findings[column[0]] for t in trials if column[0] in t.findings)
    text = in_words(", ".join([found.quantity, *(subject for _, subject in column if subject)]))
    return f"{text} [{found.code}]" if found.group == "rules" else text


def room(found: Finding) -> float | None:
    """How far a finding is from its limit, mm worth; negative when broken; None without numbers."""
    if isinstance(found.measured, bool) or not isinstance(found.measured, float | int):
        return None
    value, worth = float(found.measured), WORTH.get(found.unit, 1.0)
    if isinstance(found.limit, tuple) and len(found.limit) == 2:
        low, high = found.limit
        if isinstance(low, float | int) and isinstance(high, float | int):
            return (min(value - low, high - value) + found.tolerance) * worth
        return None
    if not isinstance(found.limit, float | int):
        return None
    gap = value - float(found.limit)
    return ((gap if found.op in (">=", ">") else -gap) + found.tolerance) * worth


def _rank(trial: Trial, now: Sequence[float]) -> tuple[float, ...]:
    """Lower is better."""
    away = sum(abs(v - n) for v, n in zip(trial.values, now, strict=True))
    return (
        trial.count(Status.FAIL),
        trial.count(Status.WARN),
        -round(trial.room, 1),
        round(away, 6),
        *trial.values,
    )


def _reasons(
    trials: Sequence[Trial], columns: Sequence[SameReading], sweeps: Sequence[Sweep]
) -> Iterable[str]:
    """For one range: from where to where each finding fails or warns."""
    if len(sweeps) > 1:
        return
    for column in columns:
        name = label_of(trials, column)
        for status in (Status.FAIL, Status.WARN):
            for low, high in _runs(trials, column[0], status):
                verb = "fails" if status is Status.FAIL else "warns"
                ends = _ends(low, high, sweeps[0].values)
                yield f"{name}: {verb} {ends}"


def _runs(
    trials: Sequence[Trial], key: ReadingKey, status: Status
) -> Iterable[tuple[float, float]]:
    """Stretches of the range over which a finding has a status."""
    start: float | None = None
    last = 0.0
    for t in trials:
        f = t.findings.get(key)
        if f is not None and f.status is status:
            start = t.values[0] if start is None else start
            last = t.values[0]
        elif start is not None:
            yield start, last
            start = None
    if start is not None:
        yield start, last


def _ends(low: float, high: float, values: Sequence[float]) -> str:
    """Say a stretch of the range; numbers in mm, marked so that they can be rewritten."""
    at_low, at_high = low <= values[0], high >= values[-1]
    if at_low and at_high:
        return "over the whole range"
    if at_low:
        return f"up to {{{high:.3f}}}"
    if at_high:
        return f"from {{{low:.3f}}} on"
    if low == high:
        return f"at {{{low:.3f}}}"
    return f"from {{{low:.3f}}} to {{{high:.3f}}}"
