"""cagekit: exact safety cages for race cars from a few measurements.

``load`` gives the design of a build, ``part`` that of one part alone, ``kinds`` what parts there
are. What is behind these names is imported when it is asked for.

>>> import cagekit
>>> design = cagekit.load("track-roadster")
>>> design
<Design track-roadster>
>>> sorted(design.cage.members)[:2]
['harness_bar_1', 'harness_bar_2']
"""

from importlib import import_module
from typing import TYPE_CHECKING

from cagekit.version import __version__

if TYPE_CHECKING:
    from cagekit.checks.finding import Finding
    from cagekit.design.design import Design
    from cagekit.design.face import kinds, load, part

__all__ = ["Design", "Finding", "__version__", "kinds", "load", "part"]

_HOMES = {
    "Design": "cagekit.design.design",
    "Finding": "cagekit.checks.finding",
    "kinds": "cagekit.design.face",
    "load": "cagekit.design.face",
    "part": "cagekit.design.face",
}
"""Module of each name that is imported when it is asked for."""


def __getattr__(name: str) -> object:
    if name not in _HOMES:
        raise AttributeError(f"module 'cagekit' has no attribute {name!r}")
    found = getattr(import_module(_HOMES[name]), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
