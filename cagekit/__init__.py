"""cagekit: exact safety cages for race cars from a few measurements.

``load`` gives the design of a build; every kind of part is a function of its name, such as
``main_hoop``, ``floor_plate`` or ``hinge_bracket``; ``between`` a tube from one spot to another.
What is behind these names is imported when it is asked for.

>>> import cagekit as ck
>>> hoop = ck.main_hoop(height="44 in", width_foot=1220, tube="dom-1.75x0.120")
>>> round(hoop.length / 25.4, 1), len(hoop.path.bends)
(126.8, 4)
>>> design = ck.load("track-roadster")
>>> design
<CageDesign track-roadster>
>>> sorted(design.members)[:2]
['harness_bar_1', 'harness_bar_2']
"""

from importlib import import_module

from cagekit.version import __version__

_HOMES = {
    "CageDesign": "cagekit.face.design",
    "Finding": "cagekit.checks.finding",
    "PlatePart": "cagekit.face.plate_part",
    "Table": "cagekit.face.tables",
    "TubePart": "cagekit.face.tube_part",
    "TubeSpot": "cagekit.face.tube_part",
    "between": "cagekit.face.tube_part",
    "kinds": "cagekit.face.kinds",
    "load": "cagekit.face.design",
    "part": "cagekit.face.kinds",
}
"""Module of each name that is imported when it is asked for."""

PARTS = (
    "a_pillar_bar",
    "cross_member",
    "dash_bar",
    "door_bar",
    "floor_plate",
    "folded_gusset",
    "front_hoop",
    "gusset",
    "half_hoop",
    "halo",
    "harness_bar",
    "header_bar",
    "hinge_bracket",
    "hoop_diagonal",
    "latch_bracket",
    "main_hoop",
    "outrigger",
    "outrigger_box",
    "plinth",
    "rear_brace",
    "rocker_brace",
    "roof_diagonal",
    "roof_rail",
    "sill_bar",
    "sleeve",
    "strut",
    "tab",
    "tube_gusset",
    "windscreen_brace",
)
"""Kinds of part, each a function; the test of the face holds them against the rooms."""

__all__ = ["__version__", *sorted(_HOMES), *PARTS]


def __getattr__(name: str) -> object:
    if name in PARTS:
        found = import_module("cagekit.face.kinds").function(name)
    elif name in _HOMES:
        found = getattr(import_module(_HOMES[name]), name)
    else:
        near = ""
        if not name.startswith("_"):
            hint = import_module("cagekit.hints").did_you_mean(name, __all__, what="Names")
            near = f". {hint}".rstrip(". ")
        raise AttributeError(f"module 'cagekit' has no attribute {name!r}{near}")
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
