"""Many versions of a build made side by side are those made one by one, to the last bit."""

from __future__ import annotations

import pytest
from pieces import counted_passes

from cagekit.assembly.assemble import members_only, variants
from cagekit.cage.cage import Cage
from cagekit.cage.kept import Kept
from cagekit.errors import CagekitError
from cagekit.inputs.build import Build
from cagekit.inputs.resolve import load_build, with_changes

CHANGES = (
    ("harness_bar", {"height": "505 mm"}),
    ("main_hoop", {"gap": "14 mm"}),
    ("main_hoop", {"bend_radius": "900 mm"}),
    ("main_hoop", {"gap": "15 mm"}),
    ("harness_bar", {"height": "505 mm"}),
)
IMPOSSIBLE = 2


def versions() -> list[Build]:
    build = load_build("track-roadster")
    return [with_changes(build, member, changes) for member, changes in CHANGES]


def made_of(cage: Cage) -> list[object]:
    """All that is known of the ends of a cage, to the last bit."""
    rows: list[object] = [cage.notes, [repr(j) for j in cage.joints]]
    for m in cage.members.values():
        for name, _ in m.ends:
            cut = cage.cut(m.id, name)
            rows.append((m.id, name, cut.point.tobytes(), cut.zero.tobytes(), cut.angle))
            rows.append((cut.shortest, cut.longest, cut.miss_share, cut.saddle_length))
            rows.append((cut.outer_curve(60).tobytes(), cut.inner_curve(60).tobytes()))
    return rows


def test_versions_made_together_are_those_made_alone() -> None:
    for build, together in zip(versions(), variants(versions()), strict=True):
        if isinstance(together, Cage):
            assert made_of(together) == made_of(members_only(build))
            continue
        with pytest.raises(type(together)) as alone:
            members_only(build)
        assert str(alone.value) == str(together)


def test_one_that_cannot_be_made_keeps_no_other_from_it() -> None:
    made = variants(versions())
    assert [i for i, c in enumerate(made) if isinstance(c, CagekitError)] == [IMPOSSIBLE]


def test_copes_of_many_versions_take_no_more_passes_than_those_of_one(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    passes = counted_passes(monkeypatch)
    build = load_build("track-roadster")
    gaps = [with_changes(build, "main_hoop", {"gap": f"{13 + 0.5 * i} mm"}) for i in range(6)]
    alone = []
    for one in gaps:
        passes.clear()
        variants([one], Kept())
        alone.append(len(passes))
    passes.clear()
    variants(gaps)
    assert len(passes) <= max(alone) + 6 * 2
    assert max(alone) * 3 < sum(alone)
