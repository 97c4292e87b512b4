"""Make one part alone: the same products as for a cage, as far as they make sense."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from cagekit.design.part import part_design
from cagekit.make.products import PRODUCTS
from cagekit.make.run import make

if TYPE_CHECKING:
    from cagekit.cage.cage import Cage
    from cagekit.parts.tubes import Part

SUITED = ("step", "dxf", "json", "glb", "png", "bends", "copes")
"""Products that need no car, driver or layout."""
PLATES_ONLY = ("step", "dxf", "sheets", "json", "glb")
"""Products of a part that has no tube."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MadePart:
    """The folder, its files by product and the part as a cage of its own."""

    folder: Path
    files: Mapping[str, tuple[str, ...]]
    cage: Cage


def make_part(
    part: Part,
    target: Path,
    *,
    dims: Mapping[str, Any],
    units: Literal["mm", "in"],
    tooling: str | None = None,
    only: Sequence[str] = (),
    progress: Callable[[str], None] = lambda name: None,
) -> MadePart:
    """Write a part's products into ``target``, whole or not at all.

    Args:
        part: the part with the stubs that it meets.
        target: the output folder.
        dims: its dimensions by name, for the manifest.
        units: of papers and pictures.
        tooling: tooling preset or path, for the bend schedule; one in ``units`` when left out.
        only: names of products; all that suit a part if empty.
        progress: told the name of each product before it is made.
    """
    design = part_design(part.cage.pick(part.made), units=units, tooling=tooling, dims=dims)
    known = {p.name for p in PRODUCTS}
    wanted = only or [n for n in (SUITED if part.made else PLATES_ONLY) if n in known]
    made = make(design, target, only=wanted, whole=True, progress=progress)
    return MadePart(folder=target, files=made.files, cage=design.cage)
