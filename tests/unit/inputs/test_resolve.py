"""A build file and what it refers to: where that is looked for, and what is said without it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from demos import DEMOS
from msgspec.structs import replace

from cagekit.assembly.assemble import assemble
from cagekit.design import Design
from cagekit.errors import CagekitError, InputError, NotFoundError
from cagekit.inputs.build import Build, resized
from cagekit.inputs.messages import FileInputError
from cagekit.inputs.padding import thickness_by_member
from cagekit.inputs.presets import find_preset
from cagekit.inputs.resolve import load_build, with_changes

BUILD = """\
kind = "build"
name = "b"
car = "sprint-wagon"
drivers = ["tall-driver"]
layout = "halo-a-pillar"
tube = "dom-1.625x0.134"
tooling = "inch-shop"
rules = [
  "nhra",
]

[tubes]
halo = "dom-1.5x0.120"

[members.halo]
gap = 12

[[plate]]
kind = "floor_plate"
at = "main_hoop end a"
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    return tmp_path


def put(folder: Path, text: str) -> None:
    (folder / "b.toml").write_text(text)


def test_a_whole_build_knows_its_files(folder: Path) -> None:
    put(folder, BUILD)
    build = load_build("b.toml")
    assert {p.name for p in build.files.values()} == {
        "b.toml",
        "sprint-wagon.toml",
        "tall-driver.toml",
        "halo-a-pillar.toml",
        "dom-1.625x0.134.toml",
        "dom-1.5x0.120.toml",
        "inch-shop.toml",
        "nhra.toml",
        "screening.toml",
    }
    assert build.tubes["dom-1.5x0.120"].od == pytest.approx(38.1)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('"sprint-wagon"', '"sprint-wagn"', ":3 car: .*Did you mean 'sprint-wagon'"),
        ('["tall-driver"]', '["tall"]', ":4 drivers entry 1: .*'tall-driver'"),
        ('"halo-a-pillar"', '"none/such.toml"', ":5 layout: .*no such file"),
        ('"nhra"', '"nhrra"', ":9 rules entry 1: .*Did you mean 'nhra'"),
        ('"dom-1.5x0.120"', '"x"', r":13 \[tubes\] halo: tube"),
    ],
)
def test_what_is_not_there_is_told_with_its_line(
    folder: Path, old: str, new: str, said: str
) -> None:
    put(folder, BUILD.replace(old, new))
    with pytest.raises(FileInputError, match=rf"^b\.toml{said}"):
        load_build("b.toml")


def test_a_changed_member_tells_all_its_faults(folder: Path) -> None:
    put(folder, BUILD.replace("gap = 12", "gapp = 12\ndrop = 'deep'"))
    with pytest.raises(FileInputError) as caught:
        load_build("b.toml")
    one, two = str(caught.value).split("\n")
    assert one == "b.toml:16 [members.halo] gapp = 12: is not a field here. Did you mean 'gap'?"
    assert two.startswith('b.toml:17 [members.halo] drop = "deep": ')


def test_a_plate_tells_its_faults(folder: Path) -> None:
    put(folder, BUILD.replace('at = "main_hoop end a"', "width = 'wide'\nat = 3"))
    with pytest.raises(FileInputError) as caught:
        load_build("b.toml")
    assert [line.split(":")[1].split("=")[0] for line in str(caught.value).split("\n")] == [
        "20 [plate entry 1] width ",
        "21 [plate entry 1] at ",
    ]


def test_paths_are_seen_from_the_build_file(folder: Path) -> None:
    home = folder / "cars/blue"
    home.mkdir(parents=True)
    (home / "sheet.toml").write_bytes(find_preset("car", "sprint-wagon").read_bytes())
    (home / "b.toml").write_text(BUILD.replace('"sprint-wagon"', '"sheet.toml"'))
    build = load_build("cars/blue/b.toml")
    assert build.files["car sheet.toml"].samefile(home / "sheet.toml")
    with pytest.raises(NotFoundError, match=r"no such file"):
        load_build("blue/b.toml")


def test_padding_for_a_tube_that_is_not_there_is_refused(folder: Path) -> None:
    put(folder, BUILD + '\n[[padding]]\nmembers = ["main_hop"]\nthickness = 20\n')
    with pytest.raises(InputError, match=r'"main_hop": there is no such member. .*main_hoop'):
        assemble(load_build("b.toml"))


def test_padding_may_name_one_half_of_a_bar_or_all_its_pieces(folder: Path) -> None:
    put(
        folder,
        BUILD.partition("[[plate]]")[0]
        + '\n[[padding]]\nmembers = ["harness_bar_1", "door_bar_left"]\nthickness = 20\n',
    )
    design = Design(load_build("b.toml"))
    names = {m.id: m.names for m in design.cage.members.values()}
    padded = thickness_by_member(design.build.file.padding, names)
    stubs = ["door_bar_left_hinge_stub", "door_bar_left_latch_stub"]
    assert sorted(padded) == ["door_bar_left", *stubs, "harness_bar_1"]


@pytest.mark.parametrize("value", ["1e300", "-1e300", "'700 in'"])
def test_a_length_of_another_unit_is_refused_in_few_words(folder: Path, value: str) -> None:
    put(folder, BUILD.replace("gap = 12", f"gap = {value}"))
    with pytest.raises(InputError, match="is no length on a car or in a shop; check units") as told:
        load_build("b.toml")
    assert len(str(told.value)) < 150


def changed_or_told(build: Build, member: str, field: str, value: Any) -> Any:
    try:
        return with_changes(build, member, {field: value}).entries
    except CagekitError as error:
        return str(error)


def test_other_numbers_are_laid_on_as_the_whole_file_is_read() -> None:
    """Of each kind of entry the first in the first demo that has one, by each of its names."""
    builds = [load_build(demo) for demo in reversed(DEMOS)]
    firsts = {type(e): (b, e) for b in builds for e in reversed(b.entries)}
    for build, entry, name in ((b, e, n) for b, e in firsts.values() for n in e.names):
        anew = replace(build, as_written=False)  # all of it is looked at again
        for field, info in type(entry).model_fields.items():
            for value in (40, 505.5, "50 mm", -3, True, "x"):
                asked = name, info.alias or field, value
                assert changed_or_told(build, *asked) == changed_or_told(anew, *asked), asked


def test_other_numbers_of_a_hoop_are_laid_on_alone() -> None:
    build = load_build("gravel-hatch")

    def said(**table: Any) -> Any:
        file = build.file.model_copy(update={"members": {"main_hoop": table}})
        return resized(build, file, "main_hoop", "b.toml")

    found = said(gap=15)
    assert [e.id for e in found] == [e.id for e in build.entries]
    assert [e.id for e, was in zip(found, build.entries, strict=True) if e is not was] == [
        "main_hoop"
    ]
    assert said(omit=True) is None
    assert said(straight_legs=True) is None


def test_what_was_taken_out_of_a_build_comes_back_with_a_change() -> None:
    build = load_build("gravel-hatch")
    fewer = replace(build, entries=build.entries[:-1], as_written=False)
    back = with_changes(fewer, "main_hoop", {"gap": 15})
    assert [e.id for e in back.entries] == [e.id for e in build.entries]
    assert back.as_written
