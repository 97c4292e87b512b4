"""What is ground off a tube where it runs into another that it is not coped to."""

from collections.abc import Mapping, Sequence

from pydantic import Field

from cagekit.hints import did_you_mean
from cagekit.inputs.fields import FileModel, Length
from cagekit.inputs.presets import key_error
from cagekit.units import LengthUnit, format_length

MOST = 2.0
"""More than this (mm) is not ground off at fit-up but coped. Source: common practice."""


class Grind(FileModel):
    """A grinding note: so much is ground off one tube where it runs into another."""

    tube: str = Field(description="the tube that is ground, by id or role")
    at: str = Field(description="the tube that it runs into, by id or role")
    depth: Length = Field(gt=0, le=MOST, description="most that is ground off, up to 2 mm")


def told(depth: float, units: LengthUnit) -> str:
    """The most that is ground off, mm, as every paper tells it: never more than the note says."""
    if units == "in":
        return format_length(depth, "in", decimals=3, rounding="down")
    text = format_length(depth, decimals=2, rounding="down", unit=False)
    return f"{text.removesuffix('0')} mm"


def grind_by_member(
    notes: Sequence[Grind], names: Mapping[str, Sequence[str]], left_out: set[str], where: str
) -> dict[str, tuple[tuple[str, float], ...]]:
    """By id of a ground tube: the names of the tubes it is ground for, and how deep, mm.

    Args:
        notes: in the order written.
        names: by member id all that the tube answers to.
        left_out: what tubes answer to that the build leaves out; notes on them rest.
        where: the file, for messages.

    Raises:
        InputError: a note names a tube that is not there; tells the nearest one.
    """
    known = {n for answers in names.values() for n in answers}
    out: dict[str, tuple[tuple[str, float], ...]] = {}
    for n, note in enumerate(notes):
        for field, name in (("tube", note.tube), ("at", note.at)):
            if name not in known | left_out:
                hint = did_you_mean(name, known, what="There are")
                raise key_error(where, ("grind", n, field), name, "there is no such member.", hint)
        for member, answers in names.items():
            if note.tube in answers:
                out[member] = (*out.get(member, ()), (note.at, float(note.depth)))
    return out
