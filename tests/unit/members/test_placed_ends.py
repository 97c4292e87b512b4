"""Ends whose places are written: what else places them is idle, and nothing else is."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from itertools import combinations
from typing import Any

import numpy as np
import pytest
from demos import DEMOS
from msgspec.structs import replace

from cagekit.cage.member import EndName, Member
from cagekit.errors import GeometryError
from cagekit.inputs.build import Build, entries_of
from cagekit.inputs.entries import FreeStrutEntry, MemberEntry, StrutEntry, SwingForm
from cagekit.inputs.places import read_location
from cagekit.inputs.resolve import load_build
from cagekit.members.registry import generator
from cagekit.members.site import Site

MORE = 9.0
"""How much another number is, mm."""
NEW = {"height": 260.0, "low": 260.0, "inner_y": 100.0, "outer_y": 655.0}
"""What a number becomes that nobody wrote, mm."""
FORMS = ("style", "swing_out")
"""Fields that say which others there are."""


@cache
def whole(demo: str) -> Build:
    """The demo with every member of its layout."""
    build = load_build(demo)
    members: dict[str, Any] = {e.id or e.kind: {"omit": False} for e in build.layout.member}
    for key, table in build.file.members.items():
        members[key] = {**members.get(key, {}), **table}
    file = build.file.model_copy(update={"members": members})
    return replace(build, file=file, entries=entries_of(file, build.layout, "test", build.car))


def bars(demo: str, old: MemberEntry, new: MemberEntry) -> tuple[list[Member], Site]:
    """What is made of an entry in the place of another one, and where."""
    build = whole(demo)
    site = Site(build)
    for entry in build.entries:
        made = generator(entry.kind)(site, new if entry is old else entry)
        site.add(made)
        if entry is old:
            return made, site
    raise AssertionError


def place(site: Site, member: Member, end: EndName) -> Any:
    """The place of an end as a file would say it."""
    how = member.end(end)
    if not how.parents:
        x, y, z = member.path.end_point(end)
        return read_location(f"at {x:.3f}, {y:.3f}, {z:.3f}", "mm")
    parent = site.members[how.parents[0]]
    spot = parent.path.nearest(member.path.end_point(end))
    return read_location(f"on {parent.id} at station {spot.station:.2f}", "mm")


def struts() -> Iterator[tuple[str, StrutEntry]]:
    """An entry of each kind and style with usual places, from some demo that has it."""
    seen = set()
    for demo in DEMOS:
        for entry in whole(demo).entries:
            key = entry.kind, getattr(entry, "style", ""), getattr(entry, "swing_out", "")
            if not isinstance(entry, StrutEntry) or isinstance(entry, FreeStrutEntry):
                continue
            if key not in seen and entry.from_ is None and entry.to is None:
                seen.add(key)
                yield demo, entry


CASES = list(struts())


def same(some: list[Member], others: list[Member]) -> bool:
    if [m.id for m in some] != [m.id for m in others]:
        return False
    return all(
        m.swing == o.swing
        and len(m.path.pieces) == len(o.path.pieces)
        and all(
            np.allclose([p.start, p.end], [q.start, q.end], atol=1e-9)
            for p, q in zip(m.path.pieces, o.path.pieces, strict=True)
        )
        for m, o in zip(some, others, strict=True)
    )


@pytest.mark.parametrize(("demo", "entry"), CASES, ids=lambda v: getattr(v, "id", str(v)))
def test_what_is_idle_beside_a_written_place_is_what_changes_nothing(
    demo: str, entry: StrutEntry
) -> None:
    made, site = bars(demo, entry, entry)
    first = [m for m in made if m.bar == entry.id] or made
    ends = place(site, first[0], "a"), place(site, first[-1], "b")
    written = dict(zip(("from_", "to"), ends, strict=True))
    numbers = [
        n for n, v in vars(entry).items()
        if n not in SwingForm.model_fields
        and (isinstance(v, float) or (v is None and n in NEW))
    ]  # fmt: skip
    for names in [c for n in (1, 2) for c in combinations(written, n)]:
        placed = entry.model_copy(update={n: written[n] for n in names})
        before, _ = bars(demo, entry, placed)
        idle = placed.unread(frozenset(FORMS))
        for field in numbers:
            value = getattr(placed, field)
            other = NEW[field] if value is None else value + MORE
            try:
                after, _ = bars(demo, entry, placed.model_copy(update={field: other}))
            except GeometryError:
                assert field not in idle, (names, field)
                continue
            assert same(before, after) == (field in idle), (names, field)
