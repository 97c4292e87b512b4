"""All that the page shows of a design, as JSON values."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np

from cagekit.names import at_start, in_words
from cagekit.page.cards import cards
from cagekit.page.cautions import CAUTIONS
from cagekit.page.meshes import packed
from cagekit.page.rows import sizes, summary
from cagekit.page.shell import edges, volumes
from cagekit.units.sentences import lengths_in
from cagekit.view.pivots import door_pivots
from cagekit.view.scene import SceneBody, bodies

if TYPE_CHECKING:
    from cagekit.design import Design

Json = dict[str, Any]


def page_data(design: Design) -> Json:
    """Everything but the findings: bodies with their meshes, cards, car, doors and sizes."""
    rows = [body_row(b, packed(b.mesh)) for b in scene(design)]
    return texts(design) | {
        "bodies": rows,
        "edges": edges(design.build.car),
        "doors": doors(design),
    }


def texts(design: Design, *, weighed: bool = True) -> Json:
    """What changes with every version of a build: cards, sizes and lines of text.

    Args:
        design: what they speak of.
        weighed: with masses and overall sizes, which take as long as the cage.
    """
    return {
        "name": design.name,
        "units": design.units,
        "about": summary(design, weighed=weighed),
        "cautions": list(CAUTIONS),
        "notes": [at_start(lengths_in(in_words(n), design.units)) for n in design.cage.notes],
        "cards": cards(design, weighed=weighed),
        "sizes": sizes(design) if weighed else [],
        "eyes": [[round(float(x), 1) for x in who.eye] for who in design.people[:1]],
    }


def scene(design: Design) -> Iterator[SceneBody]:
    """Cage, people and the volumes of the car."""
    yield from bodies(design.cage)
    yield from surroundings(design)


def surroundings(design: Design) -> Iterator[SceneBody]:
    """People, seats, wheel and the volumes of the car; each mesh is made once."""
    from cagekit.fit.cockpit import Cockpit
    from cagekit.view.person_mesh import people

    # without the tubes, which may have no plates yet
    among_none = Cockpit(design.build.car, design.people, {}, kept=design.kept)
    yield from people(among_none, light=True)
    yield from volumes(design.build.car, design.kept)


def body_row(body: SceneBody, mesh: Json) -> Json:
    """One body; its mesh under ``packed``, the mesh's key under ``key``."""
    return {
        "id": body.name,
        "group": body.group,
        "colour": [round(c, 4) for c in body.colour],
        "key": f"{mesh['key']} {body.name}",
        "packed": {k: v for k, v in mesh.items() if k != "key"},
    }


def doors(design: Design) -> list[Json]:
    """Every swing-out bar: what turns about which axis, and how far it opens, rad."""
    return [
        {
            "name": p.bar,
            "point": np.asarray(p.point, float).tolist(),
            "axis": np.asarray(p.axis, float).tolist(),
            "full": max(p.angles),
            "bodies": sorted(p.bodies),
        }
        for p in door_pivots(design.cage, design.build.car)
    ]
