"""What every check is given: the build as typed and the cage as made."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage
    from cagekit.inputs.build import Build


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CheckContext:
    """One build and its cage.

    Args:
        build: resolved input (car, drivers, tubes, tooling).
        cage: members, plates and joints made from it.
        rules: names or paths of the rule profiles to hold it against.
    """

    build: Build
    cage: Cage
    rules: tuple[str, ...] = ()
