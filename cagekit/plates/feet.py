"""All plates of a cage: one under every foot, then what layout and build ask for."""

from __future__ import annotations

from collections.abc import Callable, Collection, Hashable, Iterator, Mapping, Sequence
from contextlib import suppress
from functools import partial
from importlib import import_module
from typing import TYPE_CHECKING, Literal

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from cagekit.cage.kept import Same, content, hashed
from cagekit.cage.member import EndKind, EndName, Member
from cagekit.cage.plate import Plate
from cagekit.errors import CagekitError, InputError, about
from cagekit.geometry.centre_line import Vec
from cagekit.hints import did_you_mean
from cagekit.inputs.places import FootName
from cagekit.inputs.plate import (
    SWING_BRACKET,
    FloorPlateEntry,
    GussetEntry,
    OutriggerBoxEntry,
    PlateEntry,
)
from cagekit.plates.clearing import Wish, fitted
from cagekit.plates.entries import asked_fields, floor_entry, foot_rise, spot_names
from cagekit.plates.floor_plate import FloorPlateSpec
from cagekit.plates.foot import Foot, prints
from cagekit.plates.foot_size import FootSize, asked_of
from cagekit.plates.idle import PlatedFoot, require_fields_act
from cagekit.plates.in_car import PlateGround, ground_of
from cagekit.plates.profile import Folding

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage
    from cagekit.inputs.build import Build
    from cagekit.inputs.car import FootSpot
    from cagekit.inputs.tooling import Tooling
    from cagekit.plates.gusset import GussetWish
    from cagekit.units import LengthUnit

NEIGHBOUR = 500.0
"""Plates of feet within this distance (mm) are held against each other."""

Maker = Callable[["Build", "Cage", PlateEntry, str], Sequence[Plate]]

MAKERS = {
    "gusset": "cagekit.plates.gusset:make",
    "tab": "cagekit.plates.tab:make",
    "outrigger_box": "cagekit.plates.outrigger:make",
}
"""Generator of each kind of entry that is not a floor plate, as ``module:function``."""


def plates_for(build: Build, cage: Cage) -> tuple[Plate, ...]:
    """Every plate of a cage, in order: feet, then the entries of layout and build.

    A foot on an outrigger tube needs no plate of its own and gets none unless an entry names it;
    one on a plate outrigger stands on that.

    Raises:
        InputError: an entry names a place that does not exist, or two plates have one id.
        GeometryError: a plate cannot be made; says which and why.
    """
    entries = build.plates
    out: list[Plate] = []
    used: dict[FootName, set[str]] = {}
    feet = feet_of(cage)
    with suppress(CagekitError):  # told when it is that foot's turn
        prints(cage, [(cage.member(member), end) for member, end in feet])
    making = Making.of(build)
    key = making.key
    for member, end in feet:
        names = foot_names(cage, member, end)
        side = side_of(cage.member(member), end)
        for one in names:
            used.setdefault(one, set()).add(side)
        with about(_named(entries, names)):
            plates = _foot_plates(build, making, key, cage, member, end, out)
            out.extend(_with_own_ids(build.name, plates, out))
    for entry in entries:
        if isinstance(entry, FloorPlateEntry) and entry.at is not None:
            with about(entry):
                require_foot(_where(build, entry), entry.at, entry.side, used)
    gussets = _gussets(build, cage)
    for n, entry in enumerate(entries):
        # brackets of swing-out bars come with the bars
        kind = entry.kind
        if isinstance(entry, FloorPlateEntry) or kind == SWING_BRACKET or entry.omit:
            continue
        with about(entry):
            plates = (
                gussets[n]
                if n in gussets
                else maker(kind)(build, cage, entry, _where(build, entry))
            )
            out.extend(_with_own_ids(build.name, plates, out))
    return tuple(out)


def _where(build: Build, entry: PlateEntry) -> str:
    """What a message names of an entry."""
    return f"{build.name} [[plate]] {entry.id or entry.kind}"


def _gussets(build: Build, cage: Cage) -> Mapping[int, Sequence[Plate]]:
    """The gussets of all entries side by side, by place of the entry.

    None where one of them cannot be made: then they are made entry by entry, so that what is told
    is about the first that has a fault.
    """
    from cagekit.plates.gusset import asked, made

    rows: list[tuple[int, GussetWish]] = []
    try:
        for n, entry in enumerate(build.plates):
            if isinstance(entry, GussetEntry) and not entry.omit:
                rows += [(n, one) for one in asked(build, cage, entry, _where(build, entry))]
        plates = made(cage, [one for _, one in rows])
    except CagekitError:
        return {}
    out: dict[int, list[Plate]] = {}
    for (n, _), plate in zip(rows, plates, strict=True):
        out.setdefault(n, []).append(plate)
    return out


def _named(entries: Sequence[PlateEntry], names: Sequence[FootName]) -> FloorPlateEntry | None:
    """The last entry that speaks of a foot, which has the last word on its plate."""
    floor = [e for e in entries if isinstance(e, FloorPlateEntry) and e.at in (None, *names)]
    return floor[-1] if floor else None


def idle_fields(build: Build, cage: Cage) -> tuple[str, ...]:
    """What a build says of feet and only some of their plates make something of, as remarks.

    Raises:
        FileInputError: none of them does; with its line.
    """
    if not build.as_written:  # what acted at a foot that is left out is no slip
        return ()
    feet = tuple(_plated(build, cage))
    said = (build.layout.plate, build.file.plate, build.plates)
    key = ("fields of feet", *map(Same, said), build.units, feet)
    return cage.kept.once(key, partial(require_fields_act, build, feet))


def _plated(build: Build, cage: Cage) -> Iterator[PlatedFoot]:
    """Every foot that gets a floor plate."""
    for member, end in feet_of(cage):
        m, names = cage.member(member), foot_names(cage, member, end)
        side, surface = side_of(m, end), m.end(end).surface
        meant = [e for e in build.plates if isinstance(e, FloorPlateEntry) and e.at in names]
        bare = surface == "outrigger" and not meant
        if not bare and not _boxed(build.plates, names, side):
            yield PlatedFoot(names, side, surface)


def maker(kind: str) -> Maker:
    """The function that makes plates of ``kind``."""
    module, _, name = MAKERS[kind].partition(":")
    function: Maker = getattr(import_module(module), name)
    return function


def feet_of(cage: Cage) -> tuple[tuple[str, EndName], ...]:
    """Every tube end that stands flat, in build order."""
    return tuple(
        (m.id, name)
        for m in cage.members.values()
        for name, end in m.ends
        if end.kind is EndKind.FLAT and end.plane is not None
    )


def foot_names(cage: Cage, member: str, end: EndName) -> tuple[FootName, ...]:
    """What a foot answers to in an entry's ``at``.

    Args:
        cage: the cage.
        member: id of the member.
        end: which end of it.
    """
    return _names(cage.member(member), end)


def _names(m: Member, end: EndName) -> tuple[FootName, ...]:
    names = [
        FootName(name=n, end=e) for n in dict.fromkeys((m.id, m.bar, m.role)) for e in (end, "")
    ]
    return (*names, *spot_names(m.end(end).foot))


def side_of(m: Member, end: EndName) -> Literal["left", "right"]:
    """The side of the car that an end of a member stands on."""
    return "left" if float(m.path.end_point(end)[1]) >= 0 else "right"


def on_plate_or_box(build: Build, m: Member, end: EndName) -> bool:
    """Whether an entry puts a plate, or an outrigger of plate, under a foot on an outrigger.

    Args:
        build: the build.
        m: the member.
        end: which end of it.
    """
    names = _names(m, end)
    side = side_of(m, end)
    meant = (e for e in build.plates if isinstance(e, FloorPlateEntry) and e.at in names)
    return any(not e.omit for e in meant) or _boxed(build.plates, names, side)


class Making(Struct, frozen=True, kw_only=True, eq=False):
    """What of a build its floor plates are made from, but for the car: that is ``PlateGround``.

    Names of build and car are for messages.
    """

    name: str
    car: str
    units: LengthUnit
    foot_plate: float
    tooling: Tooling
    plates: tuple[PlateEntry, ...]

    @classmethod
    def of(cls, build: Build) -> Making:
        """That of a build."""
        return cls(
            name=build.name, car=build.car.name, units=build.units, foot_plate=build.foot_plate,
            tooling=build.tooling, plates=build.plates,
        )  # fmt: skip

    @property
    def key(self) -> Hashable:
        """All of it; a file's tables are known by themselves."""
        return hashed(_key(getattr(self, n)) for n in self.__struct_fields__)


def _key(value: object) -> Hashable:
    if isinstance(value, tuple):
        return tuple(map(_key, value))
    return value if isinstance(value, str | float | int) else Same(value)


def foot_plate_spec(build: Making, entry: FloorPlateEntry) -> FloorPlateSpec:
    """An entry with the build's tooling, steel and bolts filled in.

    Args:
        build: what plates are made from.
        entry: what the file says.
    """
    t = entry.thickness or build.foot_plate
    folding = (
        Folding.of(build.tooling, t, entry.fold_radius) if _folds(entry) else Folding.of(None, t)
    )
    spec = FloorPlateSpec.of(entry, folding, t, build.units)
    return replace(spec, shift=entry.shift, style=entry.style)


def _folds(entry: FloorPlateEntry) -> bool:
    return entry.style == "folded" or entry.front_flange > 0 or entry.rear_flange > 0


def _foot_plates(
    build: Build,
    making: Making,
    making_key: Hashable,
    cage: Cage,
    member: str,
    end: EndName,
    made: Sequence[Plate],
) -> Sequence[Plate]:
    m = cage.member(member)
    at = m.path.end_point(end)
    others = tuple(
        p
        for p in made
        if member not in p.members and float(np.linalg.norm(p.placement[:3, 3] - at)) < NEIGHBOUR
    )
    tubes = tuple(t for t in cage.tubes.values() if t is not m and _near(t, at))
    asked, ground = asked_of(build, m), ground_of(cage.kept, build.car)
    spot = build.car.foot(m.end(end).foot)
    key = ("foot", making_key, m, end, content(spot), ground, others, tubes, asked)
    return cage.kept.once(
        key, lambda: tuple(_foot_made(making, cage, m, end, spot, ground, others, tubes, asked))
    )


def _near(tube: Member, point: Vec) -> bool:
    """Whether a tube passes near enough to a foot to be in its plate's way."""
    low, high = tube.path.box
    for x, least, most in zip(point.tolist(), low.tolist(), high.tolist(), strict=True):
        if not least - NEIGHBOUR < x < most + NEIGHBOUR:
            return False
    return float(np.linalg.norm(tube.path.nearest(point).point - point)) < NEIGHBOUR


def _foot_made(
    build: Making,
    cage: Cage,
    m: Member,
    end: EndName,
    spot: FootSpot | None,
    ground: PlateGround,
    others: Sequence[Plate],
    tubes: Sequence[Member],
    asked: FootSize,
) -> Sequence[Plate]:
    """The plates of a foot; nothing is read but what is given, and the foot itself of the cage."""
    how, names, entries = m.end(end), foot_names(cage, m.id, end), build.plates
    foot = Foot.on(cage, m, end, spot)
    side = "left" if foot.side > 0 else "right"
    meant = [e for e in entries if isinstance(e, FloorPlateEntry) and e.at in names]
    entry = floor_entry(entries, names, side, build.units, foot.surface)
    if entry.omit or (how.surface == "outrigger" and not meant):
        return ()
    if _boxed(entries, names, side):
        if meant:
            raise InputError(
                f"{build.name} [[plate]] {entry.id or 'floor_plate'}",
                "at",
                str(entry.at),
                problem=f"{foot.name} stands on an outrigger_box, it has no floor plate.",
                hint="Leave out one of the two entries.",
            )
        return ()
    if spot is not None:
        _require_height(build, foot, entry, how.foot)
    if entry.style == "folded" and any("style" in e.model_fields_set for e in meant):
        _require_section(build, foot, entry, how.foot)
    name = entry.id or f"foot_{m.id}_{end}"
    if entry.style == "plinth":
        from cagekit.plates.plinth import plinth

        spec = foot_plate_spec(build, entry)
        return cage.kept.call(plinth, name, foot, spec, entry.plinth_height, entry.wall)
    try:
        wish = _wish(build, entry, asked_fields(entries, names, side), foot.surface, asked)
        return fitted(name, foot, wish, cage, ground, others, tubes)
    except InputError as error:
        if error.field != "profile" or spot is None:
            raise
        # the section is the car sheet's, whoever asked for the plate
        raise InputError(
            f"car {build.car}",
            f"{how.foot}.profile",
            problem=f"{foot.name}: {error.problem}",
            hint=error.hint,
        ) from error


def _boxed(entries: Sequence[PlateEntry], names: Sequence[FootName], side: str) -> bool:
    """Whether a plate outrigger carries a foot."""
    return any(
        e.at in names and not e.omit and e.side in (None, side)
        for e in entries
        if isinstance(e, OutriggerBoxEntry)
    )


def _wish(
    build: Making, entry: FloorPlateEntry, said: frozenset[str], surface: str, asked: FootSize
) -> Wish:
    folded = None
    if "style" not in said and entry.style == "flat":
        bent = entry.model_copy(update={"style": "folded"})
        folded = partial(foot_plate_spec, build, bent)
    return Wish(
        spec=foot_plate_spec(build, entry),
        folded=folded,
        sized=bool({"length", "width"} & said),
        asked=asked,
        surface=surface,
        units=build.units,
    )


def _require_height(build: Making, foot: Foot, entry: FloorPlateEntry, place: str) -> None:
    """The tube must have been raised by what is put under it, where the car sheet has its foot."""
    rise = foot_rise(build, place, foot.surface)
    own = build.foot_plate if entry.thickness is None else entry.thickness
    need = entry.plinth_height if entry.style == "plinth" else own
    if abs(rise - need) > 0.01:
        raise InputError(
            f"{build.name} [[plate]] {entry.id or 'floor_plate'}",
            "at",
            str(entry.at or "feet"),
            problem=f"{foot.name} was raised {rise:.1f} mm, its plate is {need:.1f} mm high.",
            hint=f"Say at = {place!r} or {place.partition('.')[2]!r}, so that the tube follows.",
        )


def _require_section(build: Making, foot: Foot, entry: FloorPlateEntry, place: str) -> None:
    """A plate that a file folds at this foot must have something to be folded to."""
    if foot.profile or entry.front_flange or entry.rear_flange:
        return
    section = f"the car sheet has no floor section to fold it to at {place or foot.name}."
    field, value = ("preset", entry.preset) if entry.preset else ("style", entry.style)
    raise InputError(
        f"{build.name} [[plate]] {entry.id or 'floor_plate'}",
        field,
        str(value),
        problem=section,
        hint=f"Measure it there (`profile`, from the centre out), or leave `{field}` out.",
    )


def require_foot(
    where: str, at: FootName, side: str | None, feet: Mapping[FootName, Collection[str]]
) -> None:
    """Refuse an entry that speaks of no foot.

    Args:
        where: what a message names.
        at: the foot that the entry names.
        side: of the car, when the entry says one.
        feet: what the feet answer to, and the sides on which a foot does.

    Raises:
        InputError: no tube stands there, or none on that side.
    """
    if at not in feet:
        hint = did_you_mean(str(at), dict.fromkeys(map(str, feet)), what="Feet")
        raise InputError(where, "at", str(at), problem="no tube stands there.", hint=hint)
    if side not in (None, *feet[at]):
        raise InputError(
            where,
            "side",
            problem=f"{at} is on the {' and '.join(feet[at])} only.",
            hint="Leave `side` out, or name another foot in `at`.",
        )


def _with_own_ids(name: str, plates: Sequence[Plate], made: Sequence[Plate]) -> Sequence[Plate]:
    """Plates of an entry, none of which is called as another."""
    seen = {p.id for p in made}
    for p in plates:
        if p.id in seen:
            raise InputError(
                f"{name} [[plate]] {p.kind}",
                "id",
                p.id,
                problem="two plates have this id.",
                hint="Give one of them another `id`.",
            )
        seen.add(p.id)
    return plates
