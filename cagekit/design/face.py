"""What a script starts with: a build's design, and parts alone."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from cagekit.design.design import Design
from cagekit.parts.kinds import part_kind, part_kinds

if TYPE_CHECKING:
    from cagekit.parts.tubes import Part
    from cagekit.units import LengthUnit

TOOLING: Mapping[LengthUnit, str] = {"mm": "metric-shop", "in": "inch-shop"}
"""Tooling preset for a part's schedules when none is named."""


def load(reference: str, *, units: LengthUnit | None = None) -> Design:
    """The design of a build: its cage, people and schedules, worked out when asked for.

    Args:
        reference: name of a build preset, or path to a build file.
        units: of papers and pictures, ``"mm"`` or ``"in"``; the build's when left out.

    Raises:
        InputError: a file is missing or wrong; says file, line, field and what would do.

    >>> import cagekit
    >>> roadster = cagekit.load("track-roadster")
    >>> roadster.cage
    <Cage track-roadster: 6 members, 12 plates>
    >>> round(roadster.cage.member("main_hoop").tube.od, 1)
    45.0
    >>> lower = roadster.changed("harness_bar", height="480 mm")
    >>> lower.cage.cut("main_hoop", "a") is roadster.cage.cut("main_hoop", "a")
    True
    """
    return Design.load(reference, units=units)


def kinds() -> Mapping[str, str]:
    """What each kind of part is in a line, by name.

    >>> import cagekit
    >>> cagekit.kinds()["tab"]
    'tab or clevis on a tube: harness, seat, net'
    """
    return {name: kind.summary for name, kind in part_kinds().items()}


def part(
    kind: str, /, *, units: LengthUnit = "mm", tooling: str | None = None, **dims: Any
) -> Design:
    """The design of one part alone, without a car.

    Args:
        kind: a name of :func:`kinds`.
        units: what a length without a unit counts in, ``"mm"`` or ``"in"``.
        tooling: tooling preset or path, for the bend schedule; one in ``units`` when left out.
        **dims: its dimensions as ``cagekit part KIND --help`` tells them; angles in degrees.

    Raises:
        InputError: there is no such kind, or a dimension cannot be; says which and why.
        GeometryError: these dimensions make no part.

    >>> import cagekit
    >>> strut = cagekit.part("strut", length="18 1/2 in", angle_a=60)
    >>> strut.cage
    <Cage part_strut: 1 member>
    >>> round(strut.cage.member("strut").path.length, 1)
    469.9
    """
    from pydantic import ValidationError

    from cagekit.inputs.messages import FileInputError, problems_of

    chosen = part_kind(kind)
    try:
        read = chosen.read(dims, units)
    except ValidationError as error:
        where = f"part {chosen.name}"
        found = problems_of(error, chosen.dims, dims, file=where, lines={})
        raise FileInputError(found) from None
    return part_design(chosen.make(read), units=units, tooling=tooling, dims=dims)


def part_design(
    part: Part, *, units: LengthUnit, tooling: str | None = None, dims: Mapping[str, Any]
) -> Design:
    """The design of a part that is made: without the stubs that it was fitted to.

    Args:
        part: the part with the stubs that it meets.
        units: of papers and pictures.
        tooling: tooling preset or path, for the bend schedule; one in ``units`` when left out.
        dims: its dimensions by name, for the manifest.
    """
    from cagekit.inputs.presets import find_preset, load_file
    from cagekit.inputs.tooling import Tooling

    shop = find_preset("tooling", tooling or TOOLING[units])
    cage = part.cage.pick(part.made)
    # in a STEP file the whole and its one member must not have the same name
    cage.name = f"part_{cage.name}"
    return Design(
        cage=cage,
        name=cage.name,
        units=units,
        options={"dimensions": dict(dims)},
        tooling=load_file("tooling", shop, Tooling),
        files={"tooling": shop},
    )
