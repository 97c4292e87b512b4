"""The command line: what it prints, its exit codes, and that it never ends in a traceback."""

from __future__ import annotations

import csv
import json
import os
import re
import signal
import subprocess
import sys
import tomllib
from math import pi
from pathlib import Path

import pytest

import cagekit
from cagekit.cli import console
from cagekit.cli.doctor import NEEDED
from cagekit.cli.main import run
from cagekit.cli.tables import TABLES
from cagekit.cli.verbs import VERBS
from cagekit.inputs.tube import TubeFile

ROOT = Path(__file__).parents[2]
HEAVY = ("cadquery", "OCP", "ezdxf", "scipy", "typst", "PIL", "matplotlib", "pydantic", "numpy")


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty working folder with an own settings folder."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.setenv("COLUMNS", "120")
    return tmp_path


# -- help -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("words", [["--help"], ["--version"], []])
def test_help_and_version_import_nothing_heavy(words: list[str]) -> None:
    code = (
        "import sys; from cagekit.cli.main import run; code = run(sys.argv[1:]);"
        f"print([m for m in {HEAVY} if m in sys.modules], code, file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *words],
        env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stderr.strip() == "[] 0"
    assert done.stdout


def test_help_names_every_verb(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["--help"]) == 0
    out = capsys.readouterr().out
    for verb in VERBS:
        assert f"  {verb.name}" in out
        assert verb.about in out
    assert "scrutineer" in out


@pytest.mark.parametrize("verb", [v.name for v in VERBS])
def test_every_verb_tells_its_options(verb: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run([verb, "--help"]) == 0
    out = capsys.readouterr().out
    assert f"cagekit {verb}" in out
    assert "--units" in out


# -- usage ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["maek", "x"], "Did you mean 'make'?"),
        (["--jsn", "presets"], "unknown option --jsn"),
        (["presets", "--jsn"], "Did you mean --json?"),
        (["presets", "carz"], "Did you mean 'car'?"),
        (["presets", "--schema"], "needs the kind of file"),
        (["show"], "required"),
        (["show", "sprint_wagn"], "Did you mean 'sprint-wagon'?"),
        (["show", "car/"], "no such preset"),
        (["make"], "required"),
        (["make", "sprint_wagn"], "Did you mean 'sprint-wagon'?"),
        (["make", "sprint-wagon", "--only", "stepp"], "Did you mean 'step'?"),
        (["make", "no/such.toml"], "no such file"),
        (["check", "x.toml"], "no such file"),
        (["check", "x.toml", "y.toml"], 'takes no "y.toml" beside what is there already'),
        (["measure", "hallo"], 'no layout or build "hallo"'),
        (["check", "sprint-wagon", "--units", "ft"], "choose from"),
        (["new", "a b", "--from", "sprint-wagon"], "cannot be the name"),
        (["new", "mine"], "--from"),
        (["new", "mine", "--from", "gravel-hatch", "--units", "in"], "counts in mm and stays"),
        (["part", "hallo"], "Did you mean 'halo'?"),
        (["part", "halo", "--witdh-rear", "3"], "Did you mean --width-rear?"),
        (["part", "halo", "--width-rear", "1,5"], "--width-rear"),
        (["part", "halo", "--width-rear", "-5"], "must be above 0"),
        (["part", "strut", "--end-a", "flatt"], "Allowed: 'cope' or 'flat'"),
        (["part", "strut", "--angle-a", "steep"], "--angle-a"),
        (["part", "strut", "--only", "jsn"], "Did you mean 'json'?"),
    ],
    ids=lambda v: " ".join(v) if isinstance(v, list) else "",
)
def test_wrong_usage_is_told_in_one_message(
    words: list[str], said: str, capsys: pytest.CaptureFixture[str], folder: Path
) -> None:
    if "stepp" in words and not _has_step():
        pytest.skip("no STEP product")
    assert run(words) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert said in shown.err
    assert "Traceback" not in shown.err
    assert all(line.startswith("cagekit") for line in shown.err.splitlines())
    assert list(folder.iterdir()) == []


def _has_step() -> bool:
    from cagekit.make.products import PRODUCTS

    return any(p.name == "step" for p in PRODUCTS)


def test_bad_files_are_told_with_their_lines(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "b.toml").write_text('kind = "build"\nname = "b"\ncarr = "x"\nunits = "ft"\n')
    assert run(["check", "b.toml"]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert "cagekit: b.toml:3 carr = \"x\": is not a field here. Did you mean 'car'?" in lines
    assert any(line.startswith('cagekit: b.toml:4 units = "ft"') for line in lines)
    assert len(lines) > 4


def test_geometry_that_cannot_be_has_its_own_code(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["part", "strut", "--angle-a", "4"]) == 3
    assert "nearly parallel" in capsys.readouterr().err
    assert run(["part", "halo", "--bend-radius", "900"]) == 3
    assert "available" in capsys.readouterr().err


def test_a_fault_of_its_own_is_told_without_a_traceback(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(args: object) -> int:
        raise KeyError("oops")

    monkeypatch.setattr("cagekit.cli.presets.run", broken)
    assert run(["presets"]) == 3
    said = capsys.readouterr().err
    assert "KeyError: 'oops'" in said
    assert "report" in said
    assert "Traceback" not in said
    assert run(["presets", "--debug"]) == 3
    assert "Traceback" in capsys.readouterr().err


# -- processes ------------------------------------------------------------------------------------


def test_a_reader_that_goes_away_is_no_error() -> None:
    command = f"{sys.executable} -m cagekit presets | head -n 1"
    done = subprocess.run(
        command, shell=True, env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True,
        text=True, check=True,
    )  # fmt: skip
    assert done.stdout.count("\n") == 1
    assert done.stderr == ""


def test_an_output_that_is_full_is_told() -> None:
    if not Path("/dev/full").exists():
        pytest.skip("this system has no full device")
    command = f"{sys.executable} -m cagekit show car/sprint-wagon > /dev/full"
    done = subprocess.run(
        command, shell=True, env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True,
        text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert done.stderr == "cagekit: the system refuses: No space left on device.\n"


def test_stopping_by_hand_is_quiet(folder: Path) -> None:
    code = (
        "import sys, time; import cagekit.cli.presets as p\n"
        "def wait(args): print('in', flush=True); time.sleep(600)\n"
        "p.run = wait\n"
        "from cagekit.cli.main import run; sys.exit(run(['presets']))\n"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", code], env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    with process:
        assert process.stdout is not None
        assert process.stdout.readline() == "in\n"
        process.send_signal(signal.SIGINT)
        _, said = process.communicate(timeout=120)
    assert process.returncode == 130
    assert said.strip() == "cagekit: stopped."


def test_progress_speaks_only_when_it_takes_long(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(console.Progress, "PATIENCE", 600.0)
        with console.Progress(2) as progress:
            progress.step("one")
            progress.step("two")
        assert capsys.readouterr().err == ""
        patch.setattr(console.Progress, "PATIENCE", 0.05)
        with console.Progress(2) as progress:
            progress.step("one")
            progress._timers[0].join(60)  # its second is over
            progress.step("two")
    assert capsys.readouterr().err == "cagekit: one ... (1 of 2)\ncagekit: two ... (2 of 2)\n"


# -- verbs ----------------------------------------------------------------------------------------


def test_presets_lists_and_speaks_json(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["presets", "builds"]) == 0
    out = capsys.readouterr().out.splitlines()
    assert max(map(len, out)) <= 80
    # a long description goes on below itself
    assert [line.split()[1] for line in out if not line.startswith(" ")] == [
        "gravel-hatch",
        "hillclimb-coupe",
        "sprint-wagon",
        "track-roadster",
    ]
    assert run(["--json", "presets", "builds"]) == 0
    rows = json.loads(capsys.readouterr().out)
    assert {r["kind"] for r in rows} == {"build"}
    assert all(Path(r["path"]).is_file() for r in rows)


def test_a_broken_file_is_listed_and_does_not_stop_the_list(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "presets/cars").mkdir(parents=True)
    (folder / "presets/cars/mine.toml").write_text("a = \n")
    assert run(["presets", "cars"]) == 0
    out = capsys.readouterr().out
    assert "cannot be read" in next(line for line in out.splitlines() if "mine" in line)
    assert "sprint-wagon" in out


def test_show_prints_a_file_that_can_be_used_again(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["show", "car/sprint-wagon"]) == 0
    out = capsys.readouterr().out
    assert tomllib.loads(out)["kind"] == "car"
    (folder / "mine.toml").write_text(out)
    assert run(["show", "mine.toml", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["data"] == tomllib.loads(out)


def test_show_names_sources_and_namesakes(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["show", "dom-1.625x0.134"]) == 0
    assert "# source: " in capsys.readouterr().out
    assert run(["show", "sprint-wagon"]) == 0
    assert "# of the same name: car/sprint-wagon" in capsys.readouterr().out


@pytest.mark.parametrize("name", TABLES)
def test_show_prints_tables_with_sources(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["show", name]) == 0
    out = capsys.readouterr().out.splitlines()
    assert "source" in out[1]
    assert len(out) > 5
    assert run(["show", name, "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)
    assert len(rows) == len(out) - 3
    assert all(row["source"] for row in rows)


def test_new_writes_once(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["new", "mine", "--from", "gravel-hatch"]) == 0
    text = (folder / "mine.toml").read_text()
    assert tomllib.loads(text)["name"] == "mine"
    assert run(["new", "mine", "--from", "sprint-wagon"]) == 2
    assert "is there already" in capsys.readouterr().err
    assert (folder / "mine.toml").read_text() == text


def test_new_takes_the_name_of_the_file_too(folder: Path) -> None:
    assert run(["new", "mine.toml", "--from", "track-roadster"]) == 0
    assert (folder / "mine.toml").is_file()
    assert 'name = "mine"' in (folder / "mine.toml").read_text("utf-8")


def test_part_says_its_dimensions_in_the_units_asked_for(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run(["part", "main_hoop", "--help"]) == 0
    assert "1120.0 mm" in capsys.readouterr().out
    assert run(["part", "main-hoop", "--help", "--units", "in"]) == 0
    assert "44.094 in" in capsys.readouterr().out
    assert run(["part", "gusset", "--help"]) == 0
    told = capsys.readouterr().out
    assert "(60 degrees)" in told
    assert "see below" not in told
    assert run(["part"]) == 0
    assert "halo" in capsys.readouterr().out


@pytest.mark.parametrize(("units", "sleeve"), [("mm", "tube 16.00 mm"), ("in", "tube 0.625 in")])
def test_small_parts_are_told_in_the_units_asked_for(
    units: str, sleeve: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["part", "sleeve", "--units", units, "--only", "json"]) == 0
    assert sleeve in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("main_hoop --height 44", "--height = 44: 44.0 mm is unusual"),
        ("strut --wall 0.083", "--wall = 0.083: 0.1 mm is unusual"),
        ("floor_plate --thickness 0.7", "--thickness = 0.7: 0.7 mm is unusual"),
        ("main_hoop --height 44 --units in", ""),
        ("main_hoop --lean 30", ""),
        ("gusset", ""),
    ],
)
def test_a_size_of_a_part_that_is_probably_a_slip_is_told(
    words: str, told: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["part", *words.split(), "--only", "json"]) == 0
    said = [w for w in capsys.readouterr().err.splitlines() if w.startswith("warning")]
    assert len(said) == bool(told)
    assert all(told in w for w in said)


def test_plates_alone_in_inches(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["--units", "in", "--only", "json", "--thickness", "1/8", "--json"]
    assert run(["part", "floor_plate", "--width", "7", "--length", "6 1/2", *words]) == 0
    # steel of 0.2836 lb/in3, corners of 15 mm radius
    area = 7 * 6.5 * 25.4**2 - (4 - pi) * 15**2
    told = json.loads(capsys.readouterr().out)
    assert told["plates"][0]["mass_kg"] == pytest.approx(
        area * 3.175 * 0.2836 * 0.45359237 / 25.4**3, rel=1e-6
    )
    legs = ["--along-branch", "3", "--along-parent", "3", "--od-branch", "1.5", "--hole", "3/4"]
    assert run(["part", "gusset", *legs, *words]) == 0
    plate = json.loads((folder / "outputs/part-gusset/cage.json").read_text())["plates"][0]
    assert [h["diameter"] for h in plate["holes"]] == pytest.approx([19.05])


def test_part_makes_what_was_typed(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["part", "strut", "--length", "40", "--units", "in", "--only", "json", "--json"]
    assert run([*words, "--end-a", "flat", "--end-b", "flat", "--od", "1 3/4 in"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["members"][0]["cut_length"] == pytest.approx(1016.0)
    content = json.loads((folder / "outputs/part-strut/cage.json").read_text())
    assert content["members"][0]["tube"]["od"] == pytest.approx(44.45)
    made = json.loads((folder / "outputs/part-strut/manifest.json").read_text())
    assert made["options"]["dimensions"]["length"] == pytest.approx(1016.0)


def test_part_tells_a_radius_that_its_die_does_not_bend(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A hoop of 1 3/4 in tube drawn with 6 in, in a shop whose die for it bends 6 1/2 in."""
    words = ["part", "main_hoop", "--tube", "dom-1.75x0.120", "--tooling", "inch-shop"]
    assert run([*words, "--only", "bends", "--units", "in"]) == 0
    assert "--bend-radius '165.1 mm'" in capsys.readouterr().err
    with (folder / "outputs/part-main_hoop/bends.csv").open() as file:
        notes = [row["note"] for row in csv.DictReader(file) if row["die"]]
    assert len(notes) == 4
    assert all("152.4 mm" in note and "165.1 mm" in note for note in notes)
    assert run([*words, "--only", "bends", "--bend-radius", "6 1/2 in"]) == 0
    assert "warning" not in capsys.readouterr().err


def test_doctor_finds_what_it_needs(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["doctor", "--quick"]) == 0
    out = capsys.readouterr().out
    for word in ("python", "numpy", "cadquery", "presets"):
        assert word in out
    assert run(["doctor", "--quick", "--json"]) == 0
    assert all(row["ok"] for row in json.loads(capsys.readouterr().out))


def test_doctor_looks_for_every_package_that_is_installed_with_it() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    named = {re.split(r"[<>=~!; \[]", line)[0] for line in project["dependencies"]}
    assert set(NEEDED) == named


def test_doctor_tells_what_is_missing(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(NEEDED, "no-such-package", "nothing at all")
    assert run(["doctor", "--quick"]) == 1
    line = next(t for t in capsys.readouterr().out.splitlines() if "no-such-package" in t)
    assert "missing" in line
    assert "pip install no-such-package" in line


def test_schemas_are_printed(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["presets", "build", "--schema"]) == 0
    assert json.loads(capsys.readouterr().out)["title"] == "cagekit build file"


@pytest.mark.parametrize("option", ["--only", "--out"])
def test_an_empty_option_makes_nothing(
    option: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(["make", "track-roadster", option, ""]) == 2
    assert f"{option}: is empty" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_a_product_that_the_cage_has_none_of_is_told_as_that(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(["make", "track-roadster", "--only", "doors,bends", "--accept-findings"]) == 0
    lines = [" ".join(line.split()) for line in capsys.readouterr().out.splitlines()]
    assert "doors nothing: the cage has none of it" in lines
    assert "bends bends.csv" in lines


def test_a_run_uses_one_thread_for_arrays_unless_told() -> None:
    """Starting a thread a core costs more than all the algebra of a check."""
    code = (
        "import os, sys; sys.argv = ['cagekit', '--version']; "
        "from cagekit.cli.main import start; assert 'numpy' not in sys.modules; start(); "
        "print(os.environ['OPENBLAS_NUM_THREADS'])"
    )
    for given, wanted in ((None, "1"), ("3", "3")):
        env = {k: v for k, v in os.environ.items() if k != "OPENBLAS_NUM_THREADS"}
        env |= {"OPENBLAS_NUM_THREADS": given} if given else {}
        done = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True)
        assert done.stdout.split()[-1] == wanted


@pytest.mark.parametrize(("words", "code"), [(["--version"], 0), (["no-such-verb"], 2)])
def test_a_run_ends_with_its_last_word(words: list[str], code: int) -> None:
    """All that it said is there; what it has loaded and made is not taken down piece by piece."""
    begin = (
        "import atexit, sys; atexit.register(print, 'taken down'); "
        f"sys.argv = ['cagekit', *{words}]; from cagekit.cli.main import main; main()"
    )
    done = subprocess.run([sys.executable, "-c", begin], capture_output=True, text=True)
    assert done.returncode == code
    assert (done.stdout if code == 0 else done.stderr).startswith("cagekit")
    assert "taken down" not in done.stdout


def test_the_command_line_and_a_script_make_the_same(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """There is one way in: what is typed and what a script says give the same bytes."""
    typed, written = tmp_path / "typed", tmp_path / "written"
    words = ["--length", "400", "--angle-a", "60", "--tube", "cds-38x2.5", "--only", "json,bends"]
    assert run(["part", "strut", *words, "--out", str(typed)]) == 0
    part = cagekit.strut(length=400, angle_a=60, tube="cds-38x2.5")
    part.make(written, ["json", "bends"])
    files = {p.name: p.read_bytes() for p in typed.iterdir()}
    assert {"cage.json", "bends.csv", "manifest.json"} <= set(files)
    assert files == {p.name: p.read_bytes() for p in written.iterdir()}
    capsys.readouterr()
    assert run(["check", "track-roadster", "--groups", "geometry,fit", "--json"]) == 0
    found = cagekit.load("track-roadster").check(["geometry", "fit"])
    assert json.loads(capsys.readouterr().out) == json.loads(
        json.dumps([f.to_json() for f in found])
    )


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["strut", "--tube", "cds-45"], ["cagekit part strut: --tube", "cds-45x2.5"]),
        (["strut", "--material", "1020-dm"], ["cagekit part strut", "--material", "1020-dom"]),
        (["strut", "--angle-a", "0"], ["cagekit part strut --angle-a = 0", "above 0 degrees"]),
        (["halo", "--tooling", "metrc-shop"], ["cagekit part halo: --tooling", "metric-shop"]),
    ],
)
def test_a_fault_of_a_part_is_told_with_its_option(
    words: list[str], said: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["part", *words]) == 2
    told = capsys.readouterr().err
    assert all(word in told for word in said)


def test_a_new_build_says_what_it_may_start_from(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(["new", "mine.toml"]) == 2
    assert "hillclimb-coupe" in capsys.readouterr().err
    assert run(["new", "mine.toml", "--from", "hillclimb-coupe"]) == 0
    assert (tmp_path / "mine.toml").exists()


def test_a_size_of_the_table_is_shown_as_a_tube_file(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["show", "4130-1.5x0.095"]) == 0
    assert TubeFile.model_validate(tomllib.loads(capsys.readouterr().out)).wall == 2.413
