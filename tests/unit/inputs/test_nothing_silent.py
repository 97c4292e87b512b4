"""What a file says acts or is refused with its line: keep-outs, sets, padding, ids."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from cagekit.cli.main import run
from cagekit.inputs.messages import MOST_TOLD, FileInputError
from cagekit.inputs.presets import FOLDERS, list_presets, load_file, model_for, shipped_root
from cagekit.plates.points import nearest

KEEPOUTS = [
    ('shape = "cylinder"\nstart = [0, 0, 0]\nend = [0, 0, 90]\nradius = -40', "above 0"),
    ('shape = "cylinder"\nstart = [0, 0, 0]\nend = [0, 0, 90]\nradius = 0', "above 0"),
    ('shape = "cylinder"\nstart = [0, 0, 9]\nend = [0, 0, 9]\nradius = 40', "no length"),
    ('shape = "box"\nlow = [0, 0, 0]\nhigh = [10, 0, 10]', "no size along y"),
    ('shape = "box"\nlow = [20, 0, 0]\nhigh = [10, 5, 10]', "no size along x"),
    ('shape = "polygon"\nplane = "xz"\noutline = [[0, 0], [9, 9]]\nspan = [0, 9]', "three corners"),
    (
        'shape = "polygon"\nplane = "xz"\noutline = [[0, 0], [90, 0], [0, 90]]\nspan = [9, 0]',
        "from the lower",
    ),
]


@pytest.fixture
def build(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A build of one's own in a folder of its own."""
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "mine.toml"
    path.write_text((shipped_root() / "builds/gravel-hatch.toml").read_text())
    return path


@pytest.mark.parametrize(("keepout", "words"), KEEPOUTS)
def test_a_volume_that_is_none_is_refused(
    build: Path, capsys: pytest.CaptureFixture[str], keepout: str, words: str
) -> None:
    text = (shipped_root() / "cars/gravel-hatch.toml").read_text()
    line = text.count("\n") + 2
    (build.parent / "presets/cars").mkdir(parents=True)
    sheet = build.parent / "presets/cars/gravel-hatch.toml"
    sheet.write_text(f'{text}\n[[keepouts]]\nname = "battery"\n{keepout}\n')
    assert run(["check", "mine.toml"]) == 2
    said = capsys.readouterr().err
    assert words in said
    assert f"gravel-hatch.toml:{line} [keepouts entry" in said


SETS = [
    ('hoops = ["main_hop"]', "did you mean 'main_hoop'"),
    ('hoops = ["!main_hop"]', "did you mean 'main_hoop'"),
    ('main_hoop = ["rear_brace"]', "is the name of a role"),
]


@pytest.mark.parametrize(("line", "words"), SETS)
def test_a_set_of_no_tubes_or_other_tubes_is_refused(
    build: Path, capsys: pytest.CaptureFixture[str], line: str, words: str
) -> None:
    rule = '[[rule]]\ncode = "a"\nquantity = "tube_size"\nof = ["main_hoop"]\nop = ">="\n'
    (build.parent / "book.toml").write_text(
        f'kind = "rules"\nname = "b"\ntitle = "t"\n[sets]\n{line}\n{rule}'
        'limit = ["38 x 2.5"]\ntext = "t"\ncure = "c"\n'
    )
    assert run(["check", "mine.toml", "--rules", "book.toml"]) == 2
    said = capsys.readouterr().err
    assert "book.toml:5 [sets] " in said
    assert words in said.lower()


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ('[[padding]]\nmembers = ["main_hoop_left"]\nthickness = 30', "] members"),
        ('[members.main_hop]\ngap = 10', "[members] main_hop"),
        ('[[strut]]\nid = "main_hoop"\nfrom = "on main_hoop.left at height 300"\n'
         'to = "car left rear_foot"', "two members have this id. The other is in the layout"),
    ],
)  # fmt: skip
def test_the_line_of_a_name_that_is_wrong(
    build: Path, capsys: pytest.CaptureFixture[str], more: str, words: str
) -> None:
    text = build.read_text()
    build.write_text(f"{text}\n{more}\n")
    assert run(["check", "mine.toml"]) == 2
    said = capsys.readouterr().err
    last = text.count("\n") + 2
    assert any(f"mine.toml:{n} " in said for n in (last, last + 1)), said
    assert words in said


def test_a_message_has_a_ceiling(build: Path, capsys: pytest.CaptureFixture[str]) -> None:
    entries = "\n".join("[[padding]]\nmembers = 3" for _ in range(400))
    build.write_text(f"{build.read_text()}\n{entries}\n")
    assert run(["check", "mine.toml"]) == 2
    said = capsys.readouterr().err
    # on a slow machine a line of progress stands above
    assert sum("mine.toml" in line for line in said.splitlines()) == MOST_TOLD + 1
    assert "more like these" in said
    assert len(said) < 20_000


def test_nearest_points_are_found_in_blocks() -> None:
    """Against all distances at once, with more of them than one block holds."""
    rng = np.random.default_rng(4)
    a, b = rng.uniform(0, 900, (4000, 3)), rng.uniform(0, 900, (300, 3))
    apart = np.linalg.norm(a[:, None] - b, axis=2)
    i, gap = nearest(a, b)
    assert gap == pytest.approx(apart.min(), abs=1e-9)
    assert i == np.unravel_index(apart.argmin(), apart.shape)[0]


CARS = [
    ("[side.front_foot]", "[side.front_foot]\nnormal = [0, 0, 0]", "points nowhere"),
    ("[side.front_foot]", "[side.front_foot]\nnormal = [0, 1e300, 0]", "cannot be"),
    ("width = 2.75", "width = -1", "cannot be"),
    (
        "half_width = 5\ntop_z",
        "half_width = 5\nhalf_width_left = 4\nhalf_width_right = 6\ntop_z",
        "say it already",
    ),
    ("outline = [", "outline = [[10, 10]]\n# [", "three corners"),
    ("outline = [", "outline = [[10, 10], [20, 20], [30, 30]]\n# [", "three corners"),
    ("height_at_hoop = ", 'height_at_hoop = "12 ft" # ', "cannot be"),
]


@pytest.mark.parametrize(("old", "new", "words"), CARS)
def test_what_has_no_size_is_refused_with_its_line(
    build: Path, capsys: pytest.CaptureFixture[str], old: str, new: str, words: str
) -> None:
    text = (shipped_root() / "cars/sprint-wagon.toml").read_text()
    assert old in text
    (build.parent / "presets/cars").mkdir(parents=True)
    (build.parent / "presets/cars/sprint-wagon.toml").write_text(text.replace(old, new, 1))
    assert run(["check", "sprint-wagon"]) == 2
    said = capsys.readouterr().err
    line = text[: text.index(old)].count("\n") + 1
    assert any(f"sprint-wagon.toml:{n} [" in said for n in (line - 1, line, line + 1)), said
    assert words in said


def test_top_and_base_of_a_pillar_are_two_points(
    build: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = (shipped_root() / "cars/sprint-wagon.toml").read_text()
    base = next(s for s in text.splitlines() if s.startswith("base = "))
    top = next(s for s in text.splitlines() if s.startswith("top = "))
    (build.parent / "presets/cars").mkdir(parents=True)
    sheet = build.parent / "presets/cars/sprint-wagon.toml"
    sheet.write_text(text.replace(top, base.replace("base", "top"), 1))
    assert run(["check", "sprint-wagon"]) == 2
    assert "top and base of the pillar are one point" in capsys.readouterr().err


NAMES = [
    ('name = "gravel-hatch"', 'name = "main_hoop"', "a part has this name too"),
    ('name = "gravel-hatch"', f'name = "{"a" * 300}"', "at most 80 letters"),
    ('name = "gravel-hatch"', 'name = "../x"', "cannot be a name here"),
    ('name = "gravel-hatch"', 'name = "Con"', "no file can be called that on Windows"),
    ('name = "gravel-hatch"', 'name = "lpt1"', "no file can be called that on Windows"),
]


@pytest.mark.parametrize(("old", "new", "words"), NAMES)
def test_a_name_that_no_file_can_have(
    build: Path, capsys: pytest.CaptureFixture[str], old: str, new: str, words: str
) -> None:
    build.write_text(build.read_text().replace(old, new, 1))
    assert run(["check", "mine.toml"]) == 2
    said = capsys.readouterr().err
    assert words in said
    assert "mine.toml:" in said
    assert " name = " in said


def test_a_shape_that_cannot_be_names_the_lines_that_say_it(
    build: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = build.read_text()
    build.write_text(
        text + '\n[[strut]]\nid = "odd"\nfrom = "on main_hoop.left at height 99 in"\n'
        'to = "car left rear_foot"\n'
    )
    assert run(["check", "mine.toml"]) in (2, 3)
    line = text.count("\n") + 2
    shown = capsys.readouterr()
    said = " ".join(f"{shown.out} {shown.err}".split())
    assert f"Written at mine.toml:{line}" in said, said


def test_a_hoop_without_width_is_refused(build: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = build.read_text()
    assert "[members.main_hoop]" not in text
    build.write_text(f"{text}\n[members.main_hoop]\nhalf_width_top = -611\n")
    assert run(["check", "mine.toml"]) == 2
    assert f"mine.toml:{text.count(chr(10)) + 3} [members.main_hoop]" in capsys.readouterr().err


def test_a_kind_that_is_no_word(build: Path, capsys: pytest.CaptureFixture[str]) -> None:
    build.write_text("kind = {}\n")
    assert run(["check", "mine.toml"]) == 2
    assert "mine.toml:1: its kind is none" in capsys.readouterr().err


KEEPOUT = '[[keepouts]]\nname = "{}"\nshape = "box"\nlow = [0, 0, 90]\nhigh = [1, 1, 91]\n'
PANEL = (
    '[[panels]]\nname = "p"\ncorners = [[-9, 20, 0], [-9, -20, 0], [-9, {}, 30], [-9, -20, 30]]\n'
)
POLYGON = '[[keepouts]]\nname = "p"\nshape = "polygon"\nplane = "xz"\nspan = [0, 9]\noutline = {}\n'
PARTS = [
    (
        KEEPOUT.format("k") + "radius = 2\n",
        "'radius' is of a cylinder keep-out; a box has low, high",
    ),
    (
        KEEPOUT.format(""),
        "must not be empty",
    ),
    (
        KEEPOUT.format("battery box"),
        "two are called 'battery box'",
    ),
    (
        KEEPOUT.format("Left Door"),
        "a surface of the car itself is called 'Left Door'",
    ),
    (
        POLYGON.format("[[0, 0], [90, 90], [90, 0], [0, 40]]"),
        "crosses itself; give its corners in order",
    ),
    (
        PANEL.format(20),
        "an area; give them in order",
    ),
    (
        PANEL.format(9),
        "the panel's edge crosses itself; give its corners in order round it",
    ),
]


@pytest.mark.parametrize(("table", "words"), PARTS)
def test_what_tubes_keep_clear_of_is_told_apart_and_has_a_shape(
    build: Path, capsys: pytest.CaptureFixture[str], table: str, words: str
) -> None:
    sheet = (shipped_root() / "cars/sprint-wagon.toml").read_text()
    (build.parent / "presets/cars").mkdir(parents=True)
    (build.parent / "presets/cars/sprint-wagon.toml").write_text(f"{sheet}\n{table}")
    assert run(["check", "sprint-wagon"]) == 2
    said = capsys.readouterr().err
    assert words in said
    assert int(said.split("sprint-wagon.toml:")[1].split()[0].rstrip(":")) > sheet.count("\n")


PLATE = '\n[[plate]]\nkind = "tab"\nid = "{}"\nat = "on harness_bar at y 250"\n'
GUSSET = '\n[[plate]]\nkind = "gusset"\nat = "rear_brace_left end a"\n'
ODD = [
    (PLATE.format("t") * 2, 6, 'id = "t": two plates have this id'),
    (GUSSET * 2, 5, "two plates have this id"),
    (PLATE.format("front_hoop"), 1, 'id = "front_hoop": another part has this name too'),
    (PLATE.format("täb"), 1, 'id = "täb": cannot be a name here. (name of the plate, small'),
    (PLATE.format("_"), 1, 'id = "_": cannot be a name here'),
    (PLATE.format("aux"), 1, 'id = "aux": no file can be called that on Windows'),
    (PLATE.format("1"), 1, 'id = "1": cannot be a name here'),
]


@pytest.mark.parametrize(("table", "after", "words"), ODD)
def test_a_name_of_a_plate_is_told_at_the_table_that_says_it(
    build: Path, capsys: pytest.CaptureFixture[str], table: str, after: int, words: str
) -> None:
    text = build.read_text()
    build.write_text(text + table)
    assert run(["check", "mine.toml"]) == 2
    said = capsys.readouterr().err
    assert words in said
    line = int(said.split("mine.toml:")[1].split()[0].rstrip(":"))
    assert line > text.count("\n") + after


def test_more_people_than_seats_are_counted_not_printed(
    build: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = build.read_text()
    sheets = next(s for s in text.splitlines() if s.startswith("drivers = "))
    build.write_text(text.replace(sheets, 'drivers = ["tall-driver", "co-driver", "short-driver"]'))
    assert run(["check", "mine.toml"]) == 2
    assert "seats = 2 tables: there are 2 for 3 people" in capsys.readouterr().err


def test_what_only_the_layout_says_is_cured_in_the_build(
    build: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A preset is not the user's to change: the message says where a build says it."""
    car = (shipped_root() / "cars/sprint-wagon.toml").read_text()
    tunnel = car[car.index("[tunnel]") : car.index("[pedals]")]
    (build.parent / "presets/cars").mkdir(parents=True)
    (build.parent / "presets/cars/sprint-wagon.toml").write_text(car.replace(tunnel, ""))
    assert run(["check", "sprint-wagon"]) == 2
    said = capsys.readouterr().err
    assert "halo-a-pillar.toml:" in said
    assert "A build says it under [members.outrigger]." in said


@pytest.mark.parametrize("kind", FOLDERS)
@pytest.mark.parametrize("name", ["", " "])
def test_every_file_has_a_name(tmp_path: Path, kind: str, name: str) -> None:
    shipped = list_presets(kind)[0].path.read_text("utf-8")
    path = tmp_path / "mine.toml"
    path.write_text(re.sub("^name = .*", f'name = "{name}"', shipped, flags=re.MULTILINE), "utf-8")
    with pytest.raises(FileInputError, match=r"mine.toml:\d+ name = "):
        load_file(kind, path, model_for(kind))


def test_a_case_that_is_none_is_told_at_its_line(tmp_path: Path) -> None:
    text = (shipped_root() / "loads/screening.toml").read_text("utf-8")
    path = tmp_path / "mine.toml"
    path.write_text(f'{text}\n[[combination]]\nid = "all"\ntitle = "t"\ncases = {{ rof = 1.0 }}\n')
    line = path.read_text("utf-8").count("\n")
    with pytest.raises(FileInputError, match=rf"mine.toml:{line} .* rof = 1.0: .*mean 'roof'"):
        load_file("loads", path, model_for("loads"))


@pytest.mark.parametrize(
    ("outline", "told"),
    [
        ("[[70, 0], [1060, 470]]", "needs three corners or more"),
        ("[[70, 0], [1060, 470], [980, 0], [180, 850]]", "crosses itself; give its corners in"),
        ("[[0.07, 0], [0.98, 0], [1.06, 0.47], [0.18, 0.85]]", "encloses next to nothing"),
    ],
)
def test_an_opening_that_is_none_is_told_with_its_line(
    build: Path, capsys: pytest.CaptureFixture[str], outline: str, told: str
) -> None:
    sheet = (shipped_root() / "cars/hillclimb-coupe.toml").read_text("utf-8")
    was = "[[70, 0], [980, 0], [1060, 470], [720, 815], [180, 850]]"
    (build.parent / "presets/cars").mkdir(parents=True)
    own = build.parent / "presets/cars/hillclimb-coupe.toml"
    own.write_text(sheet.replace(was, outline), "utf-8")
    assert run(["check", "hillclimb-coupe"]) == 2
    line = sheet[: sheet.index(was)].count("\n") + 1
    assert f"{own.name}:{line} [side.door] outline = [[" in (said := capsys.readouterr().err)
    assert told in said
