"""Load cases brought onto a cage: which nodes and beams feel them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from math import sqrt
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from cagekit.cage.places import Places
from cagekit.errors import GeometryError, InputError
from cagekit.geometry.centre_line import Vec
from cagekit.hints import did_you_mean
from cagekit.inputs.loads import CaseEntry, Combination, LoadEntry, LoadsFile
from cagekit.inputs.places import Location, OnTube
from cagekit.inputs.presets import key_error
from cagekit.inputs.toml_lines import TomlKey
from cagekit.materials.source import Certainty
from cagekit.materials.steels import steel
from cagekit.members.registry import GENERATORS
from cagekit.structure.model import Model
from cagekit.structure.solve import Loads
from cagekit.units import lengths_in
from cagekit.units.tolerance import SAME_POINT

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage
    from cagekit.inputs.car import Car

GRAVITY = 9.80665
"""m/s2, so N/kg. Source: ISO 80000-3."""
BELTS_APART = 150.0
"""Shoulder belts of one person at the harness bar, mm (common practice)."""
PARTS = 4
"""Pieces into which a loaded stretch is cut."""


class Push(Struct, frozen=True, kw_only=True, eq=False):
    """A force ``(3,)`` N on a member round a station (mm), spread over ``patch`` mm of it."""

    member: str
    station: float
    force: Vec
    patch: float

    def stretch(self, length: float) -> tuple[float, float]:
        """Stations between which it is spread, on a tube of that length."""
        low = max(self.station - self.patch / 2, 0.0)
        high = min(self.station + self.patch / 2, length)
        return low, high


class Case(Struct, frozen=True, kw_only=True, eq=False):
    """One case as it acts on this cage.

    Args:
        id: of the case in its file.
        title: what it is.
        text: what it stands for.
        source: document.
        clause: in it.
        certainty: how sure it is.
        deflection: most that a loaded place may move, mm; None when nothing is asked.
        pushes: forces on tubes.
        own_weight: multiples of the cage's own weight, downward.
        missing: what has to be given before it can act; empty when it can.
        absent: what the cage does not have, so that it does not apply.
    """

    id: str
    title: str
    text: str
    source: str
    clause: str
    certainty: Certainty
    deflection: float | None = None
    pushes: tuple[Push, ...] = ()
    own_weight: float = 1.0
    missing: str = ""
    absent: str = ""

    @property
    def acts(self) -> bool:
        """Whether it can be worked out."""
        return bool(self.pushes)


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadScene:
    """What the cases need to know: cage, car, how many people, and the loads with their file.

    ``leg_over_wall`` is what the tooling sheet asks of the fillets round the tubes.
    """

    cage: Cage
    car: Car
    people: int
    file: LoadsFile
    where: str
    leg_over_wall: float
    places: Places = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(
            self, "places", Places(self.car, self.cage.members, divided=self.cage.by_own_name)
        )

    @property
    def throat_over_wall(self) -> float:
        """Throat of a fillet round a tube over its wall: as the loads say, else of equal legs.

        Source: EN 1993-1-8, 4.5.2 (1): height of the largest triangle in the fillet.
        """
        said = self.file.weld_throat
        return self.leg_over_wall / sqrt(2) if said is None else said

    @property
    def weight(self) -> float | None:
        """Weight of car and crew, N; None when the car sheet does not say."""
        if self.car.mass is None:
            return None
        return (self.car.mass + self.file.crew * self.people) * GRAVITY


def cases_of(scene: LoadScene) -> tuple[Case, ...]:
    """Every case and combination of a file as it acts on a cage.

    Raises:
        InputError: a load is put on no tube, or off its tube; names file, case and place.
    """
    single = {c.id: _case(scene, c) for c in scene.file.case}
    return (*single.values(), *_combined(scene, single))


def _case(scene: LoadScene, entry: CaseEntry) -> Case:
    file = scene.file
    pushes: list[Push] = []
    missing = absent = ""
    for n, load in enumerate(entry.load):
        if load.weight is not None and scene.weight is None:
            missing = "the car's mass: give `mass` (kg) in the car sheet"
            continue
        key = ("case", file.case.index(entry), "load", n, "at")
        found = list(_belts(scene, load) if load.belt is not None else _put(scene, load, key))
        if not found:
            asked = "harness_bar" if load.belt is not None else ", ".join(map(_tube, load.at))
            absent = f"the cage has no {asked}" if scene.people or not load.belt else "nobody in it"
        pushes += found
    if missing or absent:
        pushes = []
    return Case(
        id=entry.id, title=entry.title, text=entry.text, source=entry.source or _source(file),
        clause=entry.clause, certainty=entry.certainty or file.certainty,
        deflection=entry.deflection, pushes=tuple(pushes), own_weight=entry.own_weight,
        missing=missing, absent=absent,
    )  # fmt: skip


def _source(file: LoadsFile) -> str:
    """The document that a file's cases are from, with the edition that was read."""
    edition = f"edition {file.edition}" if file.edition else ""
    return ", ".join(part for part in (file.source, edition) if part)


def _tube(place: object) -> str:
    return place.member if isinstance(place, OnTube) else str(place)


def _put(scene: LoadScene, load: LoadEntry, key: TomlKey) -> Iterator[Push]:
    """Put a load on the first of its places that the cage has; ``key`` is where the file has them.

    Raises:
        InputError: a place is on no tube, or off its tube; with its line.
    """
    names = _names(scene.cage)
    for n, place in enumerate(load.at):
        if not isinstance(place, OnTube):
            problem, hint = "a load is put on a tube.", "Write e.g. `on main_hoop at middle`."
            raise _wrong(scene, (*key, n), place, problem, hint)
        if place.member not in names and f"{place.member}_{place.side}" not in names:
            continue
        try:
            found = scene.places.find(place, where="")
        except GeometryError as error:
            told = error.problem.replace(f" (: {str(place)!r})", "")
            problem = f"lies off the cage: {place.member} {told}"
            raise _wrong(scene, (*key, n), place, problem, "Put it on the tube.") from None
        assert found.spot is not None
        weight = scene.weight or 0.0
        force = np.array(load.force if load.weight is None else load.weight, float)
        yield Push(
            member=found.members[0], station=found.spot.station, patch=load.patch,
            force=force * (1.0 if load.weight is None else weight),
        )  # fmt: skip
        return
    for n, place in enumerate(load.at):
        known = {*GENERATORS, *names}
        if isinstance(place, OnTube) and place.member not in known:
            problem = f"there is no tube {place.member!r}."
            raise _wrong(scene, (*key, n), place, problem, did_you_mean(place.member, known))


def _wrong(scene: LoadScene, key: TomlKey, place: Location, problem: str, hint: str) -> InputError:
    """An error about one place of a load, in the words and units of its file."""
    units = scene.file.units
    typed, told = lengths_in(str(place), units), lengths_in(problem, units)
    return key_error(scene.where, key, typed, told, hint)


def _names(cage: Cage) -> set[str]:
    """Every name under which a place may know a tube of the cage."""
    named = (n for m in cage.members.values() for n in (m.id, m.bar, m.entry, m.group))
    return {n for n in named if n}


def _belts(scene: LoadScene, load: LoadEntry) -> Iterator[Push]:
    """Both shoulder belts of each person, forward on the harness bar where they sit."""
    assert load.belt is not None
    bars = [m for m in scene.cage.members.values() if "harness_bar" in m.names]
    for seat in scene.car.seats[: scene.people]:
        for apart in (-BELTS_APART / 2, BELTS_APART / 2):
            y = seat.hip[1] + apart
            for bar in bars:
                spots = bar.path.crossings((0.0, y, 0.0), (0.0, 1.0, 0.0))
                if spots:
                    yield Push(
                        member=bar.id, station=spots[0].station, patch=0.0,
                        force=np.array([load.belt, 0.0, 0.0]),
                    )  # fmt: skip
                    break


def _combined(scene: LoadScene, single: dict[str, Case]) -> Iterator[Case]:
    for c in scene.file.combination:
        parts = [(single[name], factor) for name, factor in c.cases.items()]
        pushes = tuple(
            Push(member=p.member, station=p.station, patch=p.patch, force=p.force * factor)
            for case, factor in parts
            for p in case.pushes
        )
        idle = [case for case, _ in parts if not case.acts]
        yield Case(
            id=c.id, title=c.title, text=" + ".join(f"{f:g} x {n}" for n, f in c.cases.items()),
            source=scene.file.source, clause="", certainty=scene.file.certainty,
            pushes=() if idle else pushes, own_weight=_own_weight(c, parts),
            missing=next((x.missing for x in idle if x.missing), ""),
            absent=next((x.absent for x in idle if x.absent), ""),
        )  # fmt: skip


def _own_weight(c: Combination, parts: Sequence[tuple[Case, float]]) -> float:
    """Of a combination: what it says, or the most of its cases, which share one cage."""
    if c.own_weight is not None:
        return c.own_weight
    return max((case.own_weight * factor for case, factor in parts), key=abs)


def marks(cases: Sequence[Case], cage: Cage) -> list[tuple[str, float]]:
    """Members and stations that need a node, so that every case finds its place."""
    out = []
    for push in (p for c in cases for p in c.pushes):
        low, high = push.stretch(cage.member(push.member).path.length)
        parts = PARTS if push.patch > 0 else 1
        out += [(push.member, low + (high - low) * i / parts) for i in range(parts + 1)]
    return out


def loads_on(model: Model, case: Case, cage: Cage) -> Loads:
    """A case as loads of the frame's nodes and beams."""
    out = Loads.none(model.frame)
    for i, name in enumerate(model.member):
        if name:
            metal = steel(cage.member(name).tube.material)
            out.on_beams[i, 2] -= case.own_weight * model.frame.area[i] * metal.density * GRAVITY
    lengths = model.frame.lengths
    for push in case.pushes:
        low, high = push.stretch(cage.member(push.member).path.length)
        beams = [
            i for i in model.beams_of(push.member)
            if push.patch > 0 and low - SAME_POINT <= model.stations[i].mean() <= high + SAME_POINT
        ]  # fmt: skip
        if beams:
            for i in beams:
                out.on_beams[i] += push.force / lengths[beams].sum()
        else:
            out.at_nodes[model.node_at(push.member, push.station), :3] += push.force
    return out


def felt(model: Model, case: Case) -> tuple[int, ...]:
    """Nodes where the case pushes: whose movement its deflection limit is about."""
    return tuple(dict.fromkeys(model.node_at(p.member, p.station) for p in case.pushes))
