"""What every kind of member reads on the car sheet: the measurements that a layout needs.

The fields stand in the table of members, named as on the sheet; ``side.`` stands for ``left.`` and
``right.``. The tests change every field of a car sheet and hold the table against the cages that
come out.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from cagekit.inputs.entries import MemberEntry
from cagekit.inputs.member_kinds import MEMBER_KINDS, RowNeed
from cagekit.inputs.places import OnCar


def needs_of(kind: str) -> Iterator[RowNeed]:
    """What a kind of member reads, whatever the entry says in its own places.

    Of one without code: the spots of the car that it runs to.
    """
    row = MEMBER_KINDS[kind]
    yield from row.needs
    for name, place in (("from_", row.from_), ("to", row.to)):
        if place is not None and place.car:
            yield RowNeed(field=f"side.{place.car}.point", unless=(name,))
            yield RowNeed(field=f"side.{place.car}.normal", unless=(name,))


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
    for need in needs_of(entry.kind):
        told = any(all(_given(entry, n) for n in names.split("+")) for names in need.unless)
        fits = all(getattr(entry, k) == v for k, v in need.when.items())
        if fits and not told and need.without not in present:
            yield need.field
    for name in ("from_", "to", "top"):
        place = getattr(entry, name, None)
        if isinstance(place, OnCar) and place.spot in FEET:
            yield f"side.{place.spot}.point"
            yield f"side.{place.spot}.normal"
