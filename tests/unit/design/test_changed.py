"""A changed design is the design that its changed file gives, and keeps what it can."""

from __future__ import annotations

import random
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from msgspec.structs import replace
from pieces import counted_passes

from cagekit.cage.kept import Kept, Same
from cagekit.checks import run
from cagekit.design import Design
from cagekit.errors import CagekitError
from cagekit.inputs.build import Build
from cagekit.inputs.messages import unit_of
from cagekit.inputs.presets import find_preset
from cagekit.inputs.resolve import load_build, with_changes
from cagekit.writers.json import cage_dict, write_cage

DEMOS = ("gravel-hatch", "hillclimb-coupe", "sprint-wagon", "track-roadster")


@cache
def warm(demo: str) -> Design:
    """One design that all changes start from, so that they find what others left."""
    return Design.load(demo)


def cage_json(design: Design, folder: Path) -> bytes:
    try:
        write_cage(design, folder)
    except CagekitError as error:
        return str(error).encode()
    return (folder / "cage.json").read_bytes()


def possible(build: Build) -> Iterator[tuple[str, str, str]]:
    """Every length that counts of every member, a little longer: member, field, as written."""
    for entry in build.entries:
        idle = entry.unread(frozenset())
        for field in (f for f in type(entry).model_fields if f not in idle):
            value = getattr(entry, field)
            if isinstance(value, float) and unit_of(type(entry), (field,)) == "mm":
                yield entry.id, field, f"{value * 1.04 + 3:.3f} mm"


def sampled(demo: str, count: int) -> list[tuple[str, str, str]]:
    rows = list(possible(load_build(demo)))
    return random.Random(demo).sample(rows, min(count, len(rows)))


CASES = [(d, *row) for d in DEMOS for row in sampled(d, 5)] + [
    ("gravel-hatch", "harness_bar", "height", "457 mm"),
    ("gravel-hatch", "main_hoop", "bend_radius", "180 mm"),
    ("sprint-wagon", "door_bar_left", "tube", "cds-38x2.5"),
    ("sprint-wagon", "harness_bar", "omit", True),
    ("track-roadster", "harness_bar", "height", "510 mm"),
]


@pytest.mark.parametrize(("demo", "member", "field", "value"), CASES)
def test_a_changed_design_is_the_cold_one_byte_for_byte(
    demo: str, member: str, field: str, value: Any, tmp_path: Path
) -> None:
    cold = Design(with_changes(load_build(demo), member, {field: value}))
    hot = warm(demo)
    hot.cage.mass_total()
    assert cage_json(hot.changed(member, **{field: value}), tmp_path) == cage_json(cold, tmp_path)


@pytest.mark.parametrize("demo", DEMOS)
def test_changes_add_up_and_can_be_taken_back(demo: str, tmp_path: Path) -> None:
    base = warm(demo)
    before = cage_json(base, tmp_path)
    (first, name, value), (second, other, longer) = sampled(demo, 2)
    there = base.changed(first, **{name: value}).changed(second, **{other: longer})
    build = with_changes(load_build(demo), first, {name: value})
    cold = Design(with_changes(build, second, {other: longer}))
    assert cage_json(there, tmp_path) == cage_json(cold, tmp_path)
    assert cage_json(base, tmp_path) == before
    assert there.options["changed"] == (
        {first: {name: value}, second: {other: longer}}
        if first != second
        else {first: {name: value, other: longer}}
    )


def test_it_is_what_the_table_in_the_file_gives(tmp_path: Path) -> None:
    text = find_preset("build", "sprint-wagon").read_text(encoding="utf-8")
    changed_text = text.replace(
        '[members.harness_bar]\nheight = "18 7/8"', "[members.harness_bar]\nheight = 19"
    )
    assert changed_text != text
    file = tmp_path / "changed.toml"
    file.write_text(changed_text, encoding="utf-8")
    written = cage_json(Design.load(str(file)), tmp_path)
    changed = warm("sprint-wagon").changed("harness_bar", height=19)
    assert cage_json(changed, tmp_path) == written


def test_what_the_change_cannot_touch_is_the_same_object() -> None:
    base = warm("gravel-hatch")
    new = base.changed("harness_bar", height="444 mm")
    old, now = base.cage, new.cage
    ends = [(i, e) for i in old.members for e in ("a", "b")]
    kept = [k for k in ends if now.cut(*k) is old.cut(*k)]
    touched = {i for i, _ in ends} - {i for i, _ in kept}
    assert touched == {"harness_bar_1", "harness_bar_2", "harness_bar_3"}
    assert sum(a is b for a, b in zip(old.plates, now.plates, strict=True)) == len(old.plates)
    assert new.build.car is base.build.car


def test_people_stay() -> None:
    base = warm("gravel-hatch")
    people = base.people
    assert base.changed("harness_bar", height="461 mm").people is people


def walked(demo: str, steps: int, look: int) -> int:
    """Judge one build through a walk of random changes; every ``look``-th is held to a cold one.

    Changes pile up, are taken back and cannot be made as they come; returns how many were made.
    """
    start = load_build(demo)
    rows, dice = list(possible(start)), random.Random(demo)
    build, made, hot = start, 0, Design(start)
    run(hot)
    for n in range(1, steps + 1):
        member, field, value = dice.choice(rows)
        former = build
        build = with_changes(build if dice.random() < 0.8 else start, member, {field: value})
        design = hot.of_build(build)
        try:
            found = run(design)
        except CagekitError:
            build = former
            continue
        made += 1
        if n % look == 0 or n == steps:
            cold = Design(build)
            assert found == run(cold), f"{demo}, step {n}: {member} {field} = {value}"
            assert cage_dict(design.cage) == cage_dict(cold.cage)
    return made


def test_findings_after_a_walk_of_changes_are_those_of_a_cold_start() -> None:
    assert walked("track-roadster", 4, 4) >= 2
    assert walked("gravel-hatch", 2, 2) >= 1


@pytest.mark.study
@pytest.mark.parametrize("demo", DEMOS)
def test_findings_after_hundreds_of_changes_are_those_of_a_cold_start(demo: str) -> None:
    assert walked(demo, 100, 10) >= 50


def test_bars_as_fitted_and_open_keep_the_cuts_of_all_others() -> None:
    from cagekit.swing.opened import opened_cage

    cage = warm("sprint-wagon").cage
    for other in (cage.as_fitted(), opened_cage(cage, {d.bar: 0.5 for d in cage.doors})):
        moved = {i for d in cage.doors for i in (*d.pieces, d.fitted.id)}
        same = [i for i in other.members if i not in moved]
        assert len(same) >= 12
        hung = {m.id for m in cage.members.values() for _, e in m.ends if moved & set(e.parents)}
        for i in set(same) - hung:
            assert other.cut(i, "a") is cage.cut(i, "a")
            assert other.cut(i, "b") is cage.cut(i, "b")


@pytest.mark.parametrize(
    ("member", "dims", "words"),
    [
        ("harnes_bar", {"height": 500}, "harness_bar"),
        ("harness_bar", {"heigth": 500}, "height"),
        ("harness_bar", {"height": "tall"}, "height"),
        ("harness_bar", {"height": 1e9}, "height"),
        ("harness_bar", {"tube": "no-such-tube"}, "no-such-tube"),
        ("harness_bar", {"kind": "strut"}, "kind"),
    ],
)
def test_a_change_that_cannot_be_says_why(member: str, dims: dict[str, Any], words: str) -> None:
    with pytest.raises(CagekitError, match=words):
        warm("sprint-wagon").changed(member, **dims)


def test_a_number_counts_in_the_units_of_the_file() -> None:
    base = warm("sprint-wagon")
    typed = base.changed("harness_bar", height=19)
    said = base.changed("harness_bar", height="482.6 mm")
    points = [d.cage.of_role("harness_bar")[0].path.end_point("a") for d in (typed, said)]
    assert points[0] == pytest.approx(points[1], abs=1e-9)


def test_a_change_makes_nothing_again_that_stands_before_it(monkeypatch):
    """The generators of the entries before the changed one are not asked again; its car is."""
    from cagekit.assembly import assemble

    asked = []
    real = assemble.make
    monkeypatch.setattr(
        assemble, "make", lambda site, entry: (asked.append(entry.id), real(site, entry))[1]
    )
    first = Design.load("gravel-hatch")
    before = first.cage.members
    order = list(asked)
    asked.clear()
    changed = first.changed("dash_bar", set_back=7)
    after = changed.cage.members
    assert asked == order[order.index("dash_bar") :]
    assert after["main_hoop"] is before["main_hoop"]
    asked.clear()
    assert first.changed("dash_bar", set_back=7).cage.joints == changed.cage.joints
    assert asked == []
    other = first.build.car.model_copy(update={"name": "another"})
    _ = first.of_build(replace(first.build, car=other)).cage
    assert asked == order


def test_results_found_by_an_object_are_those_of_that_very_object():
    kept = Kept()
    one, two = [1.0], [1.0]
    assert kept.once(("k", Same(one)), lambda: 1) == 1
    assert kept.once(("k", Same(two)), lambda: 2) == 2
    assert kept.once(("k", Same(one)), lambda: 3) == 1


def test_a_picture_meets_ends_and_parents_in_a_few_passes_for_all(monkeypatch):
    """Scan, corners and mesh: what only checks ask of a cut is looked for when they do."""
    from cagekit.view.scene import bodies, tube_bodies

    base = warm("track-roadster")
    bodies(base.cage)
    passes = counted_passes(monkeypatch)
    cage = base.changed("main_hoop", height="951 mm").cage
    assert max(passes) >= len(cage.members)
    passes.clear()
    list(tube_bodies(cage, rough=True))
    assert passes == []  # cutting has seen enough for a picture of what moves
    bodies(cage)
    assert max(passes) >= len(cage.members)
    assert len(passes) <= 8
