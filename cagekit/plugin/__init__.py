"""Methods for CadQuery's Workplane and plain functions; ``import cagekit.plugin`` adds them.

``Workplane.cageTube`` makes a tube along points or a wire, ``copeTo`` copes the tube on the stack,
``footPlate`` puts a plate under a tube's flat end, ``placePart`` places a part at each point.
:func:`tube`, :func:`cope` and :func:`foot_plate` do the same for shapes.
"""

from __future__ import annotations

from cagekit.plugin.functions import Coped, cope, foot_plate, tube
from cagekit.plugin.methods import install

__all__ = ["Coped", "cope", "foot_plate", "tube"]

install()
