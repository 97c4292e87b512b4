"""Every kind of member: where it goes, what it reads on the car sheet, how it looks, its words."""

from collections.abc import Mapping
from typing import Annotated, Any, Literal

from msgspec import Meta, Struct, convert, field

from cagekit.data import tables

FRONT_LEG = "front_leg"
"""Stands for whatever tube is at the front on a side."""


class RowPlace(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Where an end goes: on a ``tube``, or on a spot of the ``car`` sheet.

    ``value`` and ``by`` are numbers (mm, or a share of the tube) or names of the row's fields.
    """

    tube: str = ""
    car: str = ""
    side: Literal["left", "right", "{side}"]
    at: str = ""
    value: float | str = 0.0
    move: str = ""
    by: float | str = 0.0

    def __post_init__(self) -> None:
        if bool(self.tube) == bool(self.car) or bool(self.tube) != bool(self.at):
            raise ValueError("a place is on a tube, at a selector, or on the car.")


class RowField(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A length that an entry of the kind may say, mm."""

    default: float
    least: float | None = None
    about: str


class RowNeed(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A field of the car sheet that the generator reads.

    ``unless`` are fields of the entry, each of which says it instead (``a+b``: both together do);
    ``when`` are values that fields of the entry must have; ``without`` is a kind of member that
    makes it needless.
    """

    field: str
    unless: tuple[str, ...] = ()
    when: Mapping[str, bool | str] = {}
    without: str = ""


class MemberRow(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One kind of member: between two places of the table, or made by a generator of its own.

    ``sided`` says of a kind with code that it is on one side of the car.
    """

    about: str
    from_: RowPlace | None = field(default=None, name="from")
    to: RowPlace | None = None
    code: Annotated[str, Meta(pattern=r"^([a-z_]+:[a-z_]+)?$")] = ""
    sided: bool = False
    needs: tuple[RowNeed, ...] = ()
    family: str
    source: str
    fields: dict[str, RowField] = {}
    part: dict[str, float | str] = {}
    steps: dict[str, Any]

    def __post_init__(self) -> None:
        places = self.places
        if bool(self.code) == bool(places) or len(places) == 1:
            raise ValueError("a kind goes from one place to another, or has code.")
        if self.code and self.fields:
            raise ValueError("the fields of a kind with code stand in its entry.")
        for place in places:
            for number in (place.value, place.by):
                if isinstance(number, str) and number not in self.fields:
                    raise ValueError(f"{number!r} is no field of the row.")

    @property
    def places(self) -> tuple[RowPlace, ...]:
        """Where its ends go; none when its code decides."""
        return tuple(p for p in (self.from_, self.to) if p is not None)

    @property
    def one_side(self) -> bool:
        """Whether it is on one side of the car, which an entry has to say."""
        return self.sided or any("{" in p.side for p in self.places)

    @property
    def at_front(self) -> bool:
        """Whether an end is on the leg at the front, which an entry may name."""
        return any(p.tube == FRONT_LEG for p in self.places)


def _read() -> Mapping[str, MemberRow]:
    return {kind: convert(row, MemberRow) for kind, row in tables("members").items()}


MEMBER_KINDS: Mapping[str, MemberRow] = _read()
"""Every kind of member, in the order in which they are listed."""
