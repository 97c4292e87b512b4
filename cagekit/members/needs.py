"""What every kind of member reads on the car sheet: the measurements that a layout needs.

Fields are named as on the sheet; ``side.`` stands for ``left.`` and ``right.``. The tests change
every field of a car sheet and hold this table against the cages that come out.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from cagekit.inputs.entries import MemberEntry
from cagekit.inputs.places import OnCar
from cagekit.inputs.struts import STRUTS, StrutRow


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """One field of the car sheet that a kind of member reads.

    ``unless`` are fields of the entry, each of which says it instead (``a+b``: both together do);
    ``when`` are values that
    fields of the entry must have; ``without`` is a kind of member that makes it needless.
    """

    field: str
    unless: tuple[str, ...] = ()
    when: Mapping[str, object] | None = None
    without: str = ""


def _needs(*fields: str) -> tuple[Need, ...]:
    return tuple(Need(field=f) for f in fields)


_FRONT_FOOT = _needs("side.front_foot.point", "side.front_foot.normal")
_PILLAR = _needs("side.pillar.top", "side.pillar.base")
_CORNER = _needs("side.roof_corner")
_DRIVER_SIDE = _needs("driver_side")


def _of_row(row: StrutRow) -> Iterator[Need]:
    """What a strut of the table reads: the spots of the car that it runs to."""
    for name, place in (("from_", row.from_), ("to", row.to)):
        for field in ("point", "normal") if place.car else ():
            yield Need(field=f"side.{place.car}.{field}", unless=(name,))


NEEDS: Mapping[str, tuple[Need, ...]] = {
    "main_hoop": (
        Need(
            field="side.hoop.half_width_belt",
            unless=("half_width_belt", "straight_legs+half_width_top"),
        ),
        Need(field="side.hoop.height_belt", unless=("straight_legs+half_width_top",)),
        Need(field="side.hoop.half_width_rail", unless=("half_width_top",)),
        Need(field="side.hoop.height_rail", unless=("half_width_top",)),
        Need(field="roof.height_at_hoop", unless=("height",)),
        *_needs("side.main_foot.point"),
        Need(field="side.main_foot.normal", without="outrigger"),
    ),
    "halo": _CORNER,
    "front_hoop": (*_FRONT_FOOT, *_PILLAR, *_CORNER),
    "half_hoop": (*_FRONT_FOOT, *_PILLAR, *_CORNER),
    "a_pillar_bar": (*_FRONT_FOOT, *_PILLAR),
    "harness_bar": (
        Need(field="driver_side", unless=("height",)),
        Need(field="seats.hip", unless=("height",)),
        Need(field="seats.back_angle", unless=("height",)),
    ),
    "hoop_diagonal": _DRIVER_SIDE,
    "roof_diagonal": _DRIVER_SIDE,
    "door_bar": (
        Need(
            field="side.door.outline",
            unless=("cut_front", "cut_front_height"),
            when={"swing_out": True, "hinge_end": "front"},
        ),
    ),
    "dash_bar": (Need(field="dash.top_z", unless=("height",)),),
    "outrigger": (
        *_needs("side.main_foot.point"),
        Need(field="tunnel.half_width", unless=("inner_y",)),
        Need(field="side.sill_top_y", unless=("outer_y",)),
    ),
    "rocker_brace": (Need(field="side.sill_top_y", unless=("to",)),),
    "windscreen_brace": _needs("side.front_foot.point"),
    "tube_gusset": (),
    "strut": (),
    **{kind: tuple(_of_row(row)) for kind, row in STRUTS.items()},
}
"""Fields by kind of member, whatever the entry says in its own places."""

FOOT_PLATE = ("sheet", "profile")
"""Fields of a foot that the plate under it reads; a rear brace lands on no floor to fold to."""

FEET = ("main_foot", "front_foot", "rear_foot")


def needed(entries: Sequence[MemberEntry]) -> dict[str, tuple[str, ...]]:
    """Return the fields of the car sheet that members read, each with the kinds that do.

    Args:
        entries: members of a layout or build, those left out already gone.

    Returns:
        Kinds by field, in the order of first use; the plates of the feet count as ``foot plate``.
    """
    present = {e.kind for e in entries}
    found: dict[str, list[str]] = {}
    for entry in entries:
        for field in _fields(entry, present):
            kinds = found.setdefault(field, [])
            if entry.kind not in kinds:
                kinds.append(entry.kind)
    for field in list(found):
        foot, _, what = field.rpartition(".")
        if foot.endswith("_foot") and what == "point":
            found.setdefault(f"{foot}.surface", []).append("foot plate")
        elif foot.endswith("_foot"):
            for more in FOOT_PLATE[: 1 if "rear" in foot else 2]:
                found.setdefault(f"{foot}.{more}", []).append("foot plate")
    return {field: tuple(kinds) for field, kinds in found.items()}


def _given(entry: MemberEntry, name: str) -> bool:
    value = getattr(entry, name)
    return value is not None and value is not False


def _fields(entry: MemberEntry, present: Iterable[str]) -> Iterator[str]:
    for need in NEEDS[entry.kind]:
        told = any(all(_given(entry, n) for n in names.split("+")) for names in need.unless)
        fits = all(getattr(entry, k) == v for k, v in (need.when or {}).items())
        if fits and not told and need.without not in present:
            yield need.field
    for name in ("from_", "to", "top"):
        place = getattr(entry, name, None)
        if isinstance(place, OnCar) and place.spot in FEET:
            yield f"side.{place.spot}.point"
            yield f"side.{place.spot}.normal"
