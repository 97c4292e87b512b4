"""Many versions of a build made side by side are those made one by one, to the last bit."""

from __future__ import annotations

import random
from collections.abc import Sequence
from contextlib import suppress
from functools import partial
from math import cos, degrees, radians, sin

import pytest
from msgspec.structs import replace
from outcomes import given, outcome
from pieces import counted_passes

from cagekit.assembly.assemble import members_only, variants
from cagekit.assembly.trials import shaping
from cagekit.cage.cage import Cage
from cagekit.cage.kept import Kept, content
from cagekit.cage.member import Member
from cagekit.errors import CagekitError, CopeError
from cagekit.geometry.centre_line import CentreLine
from cagekit.geometry.cope import EndCut, EndToCut, Parent, cut_ends
from cagekit.inputs.build import Build
from cagekit.inputs.entries import MemberEntry
from cagekit.inputs.messages import unit_of
from cagekit.inputs.resolve import load_build, with_changes
from cagekit.members.registry import make
from cagekit.members.site import Site

CHANGES = (
    ("harness_bar", {"height": "505 mm"}),
    ("main_hoop", {"height": "965 mm"}),
    ("main_hoop", {"bend_radius": "900 mm"}),
    ("main_hoop", {"height": "975 mm"}),
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
    tall = [with_changes(build, "main_hoop", {"height": f"{965 + i} mm"}) for i in range(6)]
    alone = []
    for one in tall:
        passes.clear()
        variants([one], Kept())
        alone.append(len(passes))
    passes.clear()
    variants(tall)
    assert len(passes) <= max(alone) + 6 * 2
    assert max(alone) * 3 < sum(alone)


@pytest.mark.parametrize(("turned", "shapes"), [(80.0, True), (4.0, False)])
def test_what_shapes_a_cut_that_waits_is_told_without_its_scan_where_a_few_rays_tell(
    turned: float, shapes: bool
) -> None:
    """By a branch that stands off from the first parent, and by one that lies within it."""
    post = Parent("post", CentreLine.straight([0, 0, -500], [0, 0, 500]), 22.5)
    way = [0.0, sin(radians(turned)) * 200, cos(radians(turned)) * 200]
    branch = Parent("branch", CentreLine.straight([0, 0, 0], way), 17.0, open_a=False)
    path = CentreLine.straight([0, 0, 0], [500, 0, 0])
    end = EndToCut(path=path, which="a", outer_radius=17.0, inner_radius=15.0,
                   parents=(post, branch))  # fmt: skip
    (cut,), (at_once,) = cut_ends([end], later=True), cut_ends([end])
    assert isinstance(cut, EndCut)
    assert isinstance(at_once, EndCut)
    assert cut.put_off
    assert shaping([(cut, ("branch",))]) == [("branch",) if shapes else ()]
    assert cut.put_off == shapes
    assert ("branch" in {q.owner for q in at_once.on}) == shapes


def test_no_end_is_cut_twice(monkeypatch: pytest.MonkeyPatch) -> None:
    """An end on trial is mostly that of the tube itself, whose other end was on trial after it."""
    asked: list[object] = []

    def noted(ends: Sequence[EndToCut], *, later: bool) -> list[EndCut | CopeError]:
        asked.extend(map(content, ends))
        return cut_ends(ends, later=later)

    monkeypatch.setattr("cagekit.cage.cage.cut_ends", noted)
    build = load_build("gravel-hatch")
    variants([with_changes(build, "dash_bar", {"set_back": f"{30 + i} mm"}) for i in range(3)])
    assert len(asked) == len(set(asked)) > 54


DEMOS = ("gravel-hatch", "hillclimb-coupe", "sprint-wagon", "track-roadster")


@pytest.mark.parametrize("demo", DEMOS)
def test_tubes_after_a_walk_of_changes_are_those_of_a_cold_start(demo: str) -> None:
    """Changes pile up and are taken back; whatever is kept, the cage is that of the build alone."""
    start = load_build(demo)
    lengths = [(e.id, f, getattr(e, f)) for e, f, unit in sliders_of(start) if unit == "mm"]
    dice, kept, build = random.Random(demo), Kept(), start
    for n in range(16):
        member, field, value = dice.choice(lengths)
        former, size = build, dice.choice((-6.0, 2.0, 9.0))
        build = build if dice.random() < 0.7 else start
        try:
            build = with_changes(build, member, {field: f"{value + size:.3f} mm"})
        except CagekitError:
            continue
        hot = outcome(partial(members_only, build, kept))
        if n % 4 == 0:
            assert hot == outcome(partial(members_only, build)), f"step {n}: {member}"
        build = former if isinstance(hot, str) else build


MEETINGS = (
    ("harness_bar", "height", (444, 340, 475, 430, 565, 444, 700)),
    ("hoop_diagonal", "rise", (60, 180, 60, 460)),
)


@pytest.mark.parametrize(("member", "field", "values"), MEETINGS)
def test_tubes_that_come_to_meet_and_part_do_so_beside_other_versions(
    member: str, field: str, values: tuple[float, ...]
) -> None:
    """What was supposed of the version before is wrong here, for tubes that did not move too."""
    build = load_build("gravel-hatch")
    builds = [with_changes(build, member, {field: f"{v} mm"}) for v in values]
    cold = [outcome(partial(members_only, b)) for b in builds]
    assert [outcome(partial(given, c)) for c in variants(builds)] == cold
    kept = Kept()
    assert [outcome(partial(members_only, b, kept)) for b in builds] == cold
    notes = [row if isinstance(row, str) else row[1] for row in cold]  # type: ignore[index]
    assert len(set(map(str, notes))) > 2


@pytest.mark.parametrize("demo", DEMOS)
def test_a_row_of_odd_versions_is_that_of_cold_starts(demo: str) -> None:
    """Tubes come and go, a car is another: of the version before nothing is taken wrongly."""
    start, dice, kept = load_build(demo), random.Random(demo), Kept()
    ids = [e.id for e in start.entries]
    wide = start.car.model_copy(deep=True)
    rows = [start, start, replace(start, car=wide)]
    while len(rows) < 9:
        last = dice.choice(rows)
        said = dice.choice(({"omit": True}, {"omit": False}, {"tube": start.file.tube}))
        with suppress(CagekitError):
            rows.append(with_changes(last, dice.choice(ids), said))
    dice.shuffle(rows)
    for cage, build in zip(variants(rows, kept), rows, strict=True):
        assert outcome(partial(given, cage)) == outcome(partial(members_only, build))
    joints = [repr(j) for j in members_only(start, kept).joints]
    assert joints == [repr(j) for j in members_only(start).joints]


@pytest.mark.parametrize("demo", DEMOS)
def test_versions_with_all_sliders_moved_are_those_made_alone(demo: str) -> None:
    """Many dimensions at once, each by a little: made side by side and alone, to the last bit."""
    start, dice = load_build(demo), random.Random(demo)
    rows, moved = [start], set[tuple[str, str]]()
    for _ in range(4):
        build = start
        for entry, field, unit in sliders_of(start):
            value = getattr(entry, field)
            # at nought what a slider moves is not there: a bend, a lean
            if not value or dice.random() < 0.5:
                continue
            size = dice.uniform(-2.0, 2.0)
            told = value + size if unit == "mm" else degrees(value) + size / 4
            with suppress(CagekitError):  # some go by what is said beside them
                build = with_changes(build, entry.id, {field: f"{told:.4f} {unit}"})
                moved.add((entry.id, field))
        rows.append(build)
    assert len(moved) > 4
    good = 0
    for together, build in zip(variants(rows), rows, strict=True):
        told_of = outcome(partial(given, together))
        assert told_of == outcome(partial(members_only, build))
        good += not isinstance(told_of, str)
    assert good > 2


def sliders_of(build: Build) -> list[tuple[MemberEntry, str, str]]:
    """Every length and angle that an entry says, with its unit."""
    return [
        (e, f, unit)
        for e in build.entries
        for f in type(e).model_fields
        if isinstance(getattr(e, f), float) and (unit := unit_of(type(e), (f,))) in ("mm", "deg")
    ]


def test_a_tube_that_reads_nothing_of_what_moved_is_the_same_object() -> None:
    build, kept = load_build("gravel-hatch"), Kept()
    old = members_only(build, kept)
    moved = with_changes(build, "harness_bar", {"height": "444 mm"})
    new = members_only(moved, kept)
    other = {i for i, m in old.members.items() if new.members[i] is not m}
    assert other == {"harness_bar_1", "harness_bar_2", "harness_bar_3"}


def test_nothing_is_made_that_does_not_hang_on_what_moved(monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[str] = []

    def noted(site: Site, entry: MemberEntry) -> list[Member]:
        made.append(entry.id)
        return make(site, entry)

    build, kept = load_build("gravel-hatch"), Kept()
    members_only(build, kept)
    monkeypatch.setattr("cagekit.assembly.assemble.make", noted)
    members_only(with_changes(build, "dash_bar", {"set_back": "40 mm"}), kept)
    assert made == ["dash_bar"]
    made.clear()
    members_only(build, kept)
    assert made == []


@pytest.mark.parametrize("demo", DEMOS)
def test_a_cold_start_makes_each_entry_once(demo: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is supposed of branches at first is right for the demos."""
    made: list[str] = []

    def noted(site: Site, entry: MemberEntry) -> list[Member]:
        made.append(entry.id)
        return make(site, entry)

    monkeypatch.setattr("cagekit.assembly.assemble.make", noted)
    build = load_build(demo)
    members_only(build)
    assert made == [e.id for e in build.entries]


def test_what_is_let_go_meanwhile_is_made_again() -> None:
    """With room for next to nothing the cage is the same."""
    build = load_build("gravel-hatch")
    assert made_of(members_only(build, Kept(3))) == made_of(members_only(build))
