"""Make one part alone: the same products as for a cage, as far as they make sense."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from cagekit.make.products import PRODUCTS
from cagekit.make.run import Made, make

if TYPE_CHECKING:
    from cagekit.design.design import Design

SUITED = ("step", "dxf", "json", "glb", "png", "bends", "copes")
"""Products that need no car, driver or layout."""
PLATES_ONLY = ("step", "dxf", "sheets", "json", "glb")
"""Products of a part that has no tube."""


def make_part(
    design: Design,
    target: Path,
    *,
    only: Sequence[str] = (),
    progress: Callable[[str], None] = lambda name: None,
) -> Made:
    """Write a part's products into ``target``, whole or not at all.

    Args:
        design: the part alone.
        target: the output folder.
        only: names of products; all that suit a part if empty.
        progress: told the name of each product before it is made.
    """
    known = {p.name for p in PRODUCTS}
    suited = SUITED if design.cage.members else PLATES_ONLY
    wanted = only or [n for n in suited if n in known]
    return make(design, target, only=wanted, whole=True, progress=progress)
