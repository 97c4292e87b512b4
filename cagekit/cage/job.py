"""What a writer gets: the build, its cage and how the user wants it told."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage
    from cagekit.inputs.build import Build


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Job:
    """One run of ``make``.

    ``units`` are for papers and pictures; data files stay in mm. ``options`` are further choices
    that a product understands, by name.
    """

    build: Build
    cage: Cage
    units: Literal["mm", "in"] = "mm"
    options: Mapping[str, Any] = field(default_factory=dict)
