"""Finding presets, and what is said about files that cannot be used."""

from __future__ import annotations

import os
from pathlib import Path
from textwrap import dedent

import pytest

from cagekit.errors import InputError, NotFoundError
from cagekit.inputs import presets
from cagekit.inputs.car import Car
from cagekit.inputs.layout import Layout
from cagekit.inputs.messages import FileInputError
from cagekit.inputs.presets import find_any, find_preset, list_presets, load, load_file, read_toml
from cagekit.inputs.tube import TubeFile

TUBE = (
    'kind = "tube"\nname = "t"\nod = {od}\nwall = "2 mm"\nmaterial = "1020-dom"\nsource = "test"\n'
)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty working folder with an own settings folder."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    return tmp_path


def put(path: Path, text: str) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(dedent(text), encoding="utf-8")
    return path


# -- finding ------------------------------------------------------------------------------------


def test_search_order_is_path_here_yours_shipped(folder: Path) -> None:
    shipped = find_preset("tube", "dom-1.625x0.134")
    assert shipped.parent == presets.shipped_root() / "tubes"
    yours = put(folder / "config/cagekit/presets/tubes/dom-1.625x0.134.toml", "")
    assert find_preset("tube", "dom-1.625x0.134") == yours
    put(folder / "presets/tubes/dom-1.625x0.134.toml", "")
    assert find_preset("tube", "dom-1.625x0.134") == Path("presets/tubes/dom-1.625x0.134.toml")
    own = put(folder / "dom-1.625x0.134.toml", "")
    assert find_preset("tube", "dom-1.625x0.134.toml") == Path(own.name)


def test_a_folder_or_file_of_the_same_name_is_no_preset(folder: Path) -> None:
    (folder / "sprint-wagon").mkdir()
    assert find_preset("car", "sprint-wagon").name == "sprint-wagon.toml"


def test_a_path_to_nothing_tells_the_files_of_its_kind(folder: Path) -> None:
    put(folder / "mine.toml", 'kind = "build"\n')
    put(folder / "car.toml", 'kind = "car"\n')
    put(folder / "broken.toml", "kind = ")
    put(folder / "bare.toml", "name = 1\n")
    with pytest.raises(NotFoundError, match=r"Known: bare.toml, broken.toml, mine.toml\.$"):
        find_preset("build", "no_such_name_here.toml")
    with pytest.raises(NotFoundError, match=r"Known: bare.toml, broken.toml, car.toml\.$"):
        find_preset("car", "./no_such_name_here.toml")


def test_a_link_that_leads_nowhere_is_told_as_one(folder: Path) -> None:
    (folder / "round.toml").symlink_to("round.toml")
    (folder / "gone.toml").symlink_to("moved.toml")
    (folder / "circle").symlink_to("circle")
    (folder / "presets/cars").mkdir(parents=True)
    (folder / "presets/cars/sprint-wagon.toml").symlink_to("sprint-wagon.toml")
    for ref, said in (
        ("round.toml", "round.toml: is a link that leads back to itself"),
        ("circle/car.toml", "circle/car.toml: is a link that leads back to itself"),
        ("gone.toml", "gone.toml: is a link to moved.toml, and there is no such file"),
        # not passed over for the shipped one
        ("sprint-wagon", "sprint-wagon.toml: is a link that leads back"),
    ):
        with pytest.raises(FileInputError, match=said):
            load("car", ref, Car)


def test_a_folder_that_nobody_may_look_into_is_passed_over(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As the settings of another user are, in whose name a service runs."""
    own, seen = folder / "config/cagekit/presets/cars", Path.lstat
    own.mkdir(parents=True)

    def lstat(path: Path) -> os.stat_result:
        if own in path.parents:
            raise PermissionError(13, "Permission denied")
        return seen(path)

    monkeypatch.setattr(Path, "lstat", lstat)
    assert find_preset("car", "sprint-wagon").parent == presets.shipped_root() / "cars"


def test_a_path_is_tried_beside_the_file_that_names_it(folder: Path) -> None:
    own = put(folder / "builds/my-tube.toml", "")
    assert find_preset("tube", "my-tube.toml", beside=folder / "builds") == own
    with pytest.raises(NotFoundError, match=r"no such file"):
        find_preset("tube", "my-tube.toml")


def test_names_that_do_not_exist_get_the_closest(folder: Path) -> None:
    with pytest.raises(NotFoundError, match=r"Did you mean 'sprint-wagon'\?"):
        find_preset("car", "sprint_wagn")
    with pytest.raises(NotFoundError, match=r"no such preset"):
        find_preset("car", "")
    with pytest.raises(NotFoundError):
        find_preset("car", "x" * 5000)
    with pytest.raises(NotFoundError):
        find_preset("car", "a\0b")
    with pytest.raises(InputError, match=r"Did you mean 'car'\?"):
        find_preset("carr", "sprint-wagon")


def test_a_name_alone_means_the_first_kind_and_kind_slash_name_another(folder: Path) -> None:
    assert find_any("sprint-wagon")[0] == "build"
    assert find_any("car/sprint-wagon")[0] == "car"
    assert find_any("cars/sprint-wagon")[1].parent.name == "cars"
    own = put(folder / "own.toml", 'kind = "driver"')
    assert find_any("own.toml") == ("driver", Path(own.name))


def test_listing_covers_every_shipped_file(folder: Path) -> None:
    shipped = set(presets.shipped_root().rglob("*.toml"))
    assert {p.path for p in list_presets()} == shipped
    put(folder / "presets/cars/mine.toml", 'kind = "car"')
    assert [p.origin for p in list_presets("car") if p.name == "mine"] == ["here"]


@pytest.mark.parametrize("preset", list_presets(), ids=lambda p: f"{p.kind}-{p.name}")
def test_every_shipped_preset_is_valid(preset: presets.Preset) -> None:
    load_file(preset.kind, preset.path, presets.model_for(preset.kind))


# -- reading ------------------------------------------------------------------------------------


def test_numbers_count_in_the_units_of_their_own_file(folder: Path) -> None:
    for units, size in (("mm", 4.0), ("in", 4.0 * 25.4)):
        put(
            folder / f"{units}.toml",
            f'units = "{units}"\n' + TUBE.format(od=4).replace("2 mm", "1 mm"),
        )
        assert load("tube", f"{units}.toml", TubeFile).od == pytest.approx(size)


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (b"\x00\x01\x02", "is a binary file"),
        (b'name = "\xe9"\n', ":1: holds a letter that is not UTF-8"),
        (b"a = 1\nb = \n", ":2: is not valid TOML"),
        (b"a = 1\na = 2\n", ":2: is not valid TOML"),
        (b"[t]\n[t]\n", "is not valid TOML"),
        (b"a = [" + b"[" * 5000, "nested too deeply"),
        (b"# " + b"x" * presets.LARGEST, "larger than 2 MB"),
        (b'kind = "car"\n', 'this file is a "car", a tube is needed here'),
        (b'kind = "tubee"\n', "Did you mean 'tube'?"),
        (b"", "name: is missing"),
    ],
    ids=lambda v: v[:18] if isinstance(v, str) else "",
)
def test_unusable_files_are_named_and_explained(folder: Path, raw: bytes, said: str) -> None:
    (folder / "bad.toml").write_bytes(raw)
    with pytest.raises(FileInputError) as caught:
        load("tube", "bad.toml", TubeFile)
    assert str(caught.value).startswith("bad.toml")
    assert said in str(caught.value)


def test_a_folder_instead_of_a_file(folder: Path) -> None:
    (folder / "bad.toml").mkdir()
    with pytest.raises(FileInputError, match=r"is a folder"):
        load("tube", "bad.toml", TubeFile)


def test_a_byte_order_mark_is_no_fault(folder: Path) -> None:
    (folder / "t.toml").write_bytes(b"\xef\xbb\xbf" + TUBE.format(od=40).encode())
    assert load("tube", "t.toml", TubeFile).od == 40.0


# -- messages -----------------------------------------------------------------------------------

BAD_CAR = """\
    kind = "car"
    name = "x"
    driver_sid = "left"
    doors = "three"
    mass = -3
    floor_z = "12,5 mm"
    body = "half"
    [wheel]
    centre = [1, 2]
    diameter = "14 inc"

    [side.hoop]
    half_width_flor = 650
    half_width_belt = true

    [[seats]]
    hip = [300, 350, 0]
    back_angle = "20"
    [[keepouts]]
    name = "tank"
    shape = "box"
    """


def messages(folder: Path, text: str, kind: str, model: type) -> list[str]:
    put(folder / "bad.toml", text)
    with pytest.raises(FileInputError) as caught:
        load(kind, "bad.toml", model)
    assert isinstance(caught.value, InputError)
    assert isinstance(caught.value, ValueError)
    assert caught.value.exit_code == 2
    return str(caught.value).split("\n")


def test_all_faults_at_once_each_with_line_table_field_and_cure(folder: Path) -> None:
    said = messages(folder, BAD_CAR, "car", Car)
    wanted = [
        "bad.toml:3 driver_sid = \"left\": is not a field here. Did you mean 'driver_side'?",
        'bad.toml:4 doors = "three": must be a whole number.',
        "bad.toml:5 mass = -3: must be above 0. (car ready to run without driver, kg)",
        "bad.toml:7 body = \"half\": is not one of the choices. Allowed: 'closed' or 'open'.",
        "bad.toml:9 [wheel] centre entry 3: is missing.",
        "bad.toml:13 [side.hoop] half_width_flor = 650: is not a field here. "
        "Did you mean 'half_width_floor'?",
        'bad.toml:18 [seats entry 1] back_angle = "20": an angle is a number of degrees.',
        "bad.toml:19 [keepouts entry 1]: a box keep-out needs 'low'.",
    ]
    for line in wanted:
        assert line in said, line
    comma = next(s for s in said if s.startswith("bad.toml:6 "))
    assert 'floor_z = "12,5 mm"' in comma
    assert "comma" in comma
    unit = next(s for s in said if s.startswith("bad.toml:10 "))
    assert "[wheel] diameter" in unit
    assert "'inc'" in unit
    # one fault, one line: what holds for both sides is told once, and a list with faults is not
    # also called too short
    assert len(said) == len(set(said))
    assert not any("at least 1 entries" in s for s in said)


def test_kinds_of_tables_are_told_apart_by_their_kind(folder: Path) -> None:
    text = """\
        kind = "layout"
        name = "x"
        [[member]]
        kind = "halo"
        gapp = 3
        [[member]]
        kind = "hallo"
        [[member]]
        kind = "door_bar"
        style = "xx"
        [[member]]
        kind = "main_hoop"
        lean = 40
        [[member]]
        kin = "halo"
        [[plate]]
        at = "feet"
        """
    said = messages(folder, text, "layout", Layout)
    assert said == [
        "bad.toml:5 [member entry 1] gapp = 3: is not a field here. Did you mean 'gap'?",
        "bad.toml:6 [member entry 2]: kind \"hallo\" is not known. Did you mean 'halo'?",
        'bad.toml:10 [member entry 3] style = "xx": is not one of the choices. '
        "Allowed: 'single', 'pair' or 'x'.",
        "bad.toml:13 [member entry 4] lean = 40: must be at most 35 degrees. "
        "(lean of the hoop's plane, degrees, positive backwards)",
        "bad.toml:14 [member entry 5]: kind is missing. Is 'kin' meant for it?",
        "bad.toml:16 [plate entry 1]: kind is missing. "
        "Allowed: floor_plate, gusset, outrigger_box, swing_bracket, tab.",
    ]


def test_a_text_from_a_file_cannot_break_the_line(folder: Path) -> None:
    said = messages(folder, TUBE.format(od='"4\\n2\\u001b[31m"'), "tube", TubeFile)
    assert len(said) == 1
    assert "\x1b" not in said[0]


def test_syntax_errors_show_the_line(folder: Path) -> None:
    put(folder / "bad.toml", "a = 1\nb = [1, 2\nc = 3\n")
    with pytest.raises(FileInputError, match=r"bad\.toml:\d+: is not valid TOML"):
        read_toml(Path("bad.toml"))
