"""``cagekit place``: table, JSON, plot, and what it says when it is asked wrongly."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from msgspec.structs import replace

from cagekit.checks.finding import Finding, Status
from cagekit.cli.main import run
from cagekit.cli.place import _sweep, cell, chart_of, impossible
from cagekit.inputs.resolve import load_build
from cagekit.study.placement import Placement, Sweep, Trial, place

OVER = ["--over", "height=300:500:50", "--units", "mm"]


def test_table_marks_and_proposes(capsys: pytest.CaptureFixture[str]) -> None:
    words = ["place", "gravel-hatch", "harness_bar", "--over", "height=300:600:100"]
    assert run(words) == 0
    out, err = capsys.readouterr()
    assert "harness bar below the shoulder, tall-driver" in out
    assert "Proposed: height" in out
    assert "X" in out
    assert "!" in out
    assert "A cage can kill" in err
    assert max(len(line) for line in out.splitlines()) <= 110


def test_json_holds_every_place(capsys: pytest.CaptureFixture[str]) -> None:
    words = ["place", "gravel-hatch", "harness_bar", "--over", "height=400:500:50", "--json"]
    assert run(words) == 0
    data = json.loads(capsys.readouterr().out)
    assert [t["values"]["height"] for t in data["trials"]] == [400, 450, 500]
    assert data["best"]["values"]["height"] in (400, 450, 500)
    assert all(f["code"] for t in data["trials"] for f in t["findings"])


def test_a_proposal_typed_as_it_is_printed_is_the_place_that_was_tried() -> None:
    build, groups = load_build("hillclimb-coupe"), ("fit", "car", "rules")
    found = place(build, "door_bar_left", [], groups=groups)
    assert found.best is not None
    assert set(found.proposed) == {f for s in found.sweeps for f in s.fields}

    typed = tuple(
        e.model_copy(update=found.proposed) if e.id == "door_bar_left" else e for e in build.entries
    )
    again = place(replace(build, entries=typed), "door_bar_left", [], groups=groups)
    here = min(again.trials, key=lambda t: abs(t.values[0] - again.now[0]))
    assert again.now[0] == pytest.approx(found.best.values[0])
    assert here.spot == pytest.approx(found.best.spot)


def test_a_middle_behind_the_hoop_is_said_to_be_behind_it(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run(["place", "gravel-hatch", "rear_brace", "--over", "drop=0:10:10"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    (x,) = re.findall(r"Its middle is then (\S+) mm behind the hoop, \d+ mm above", said)
    assert 300 < float(x) < 500


def test_inches(capsys: pytest.CaptureFixture[str]) -> None:
    assert (
        run(["place", "sprint-wagon", "door_bar", "--over", "height_rear=12:14:1", "--json"]) == 0
    )
    data = json.loads(capsys.readouterr().out)
    values = [t["values"]["height_rear"] for t in data["trials"]]
    assert values == pytest.approx([304.8, 330.2, 355.6])


@pytest.mark.parametrize(
    ("measured", "units", "text"),
    [
        (0.3, "mm", "0.3X"),
        (-0.44, "mm", "-0.4X"),
        (-0.04, "mm", "-0.04X"),
        (12.4, "mm", "12X"),
        (0.3, "in", "0.01X"),
        (-0.04, "in", "-0.002X"),
    ],
)
def test_what_fails_by_less_than_a_millimetre_is_not_nought(
    measured: float, units: str, text: str
) -> None:
    found = Finding(
        code="a/b", group="shop", subject="bar", quantity="overlap", status=Status.FAIL,
        measured=measured, unit="mm",
    )  # fmt: skip
    assert cell(found, units) == text


def test_plot_is_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = tmp_path / "places.png"
    words = ["place", "gravel-hatch", "harness_bar", "--over", "height=400:500:50"]
    assert run([*words, "--plot", str(target)]) == 0
    assert target.read_bytes().startswith(b"\x89PNG")
    assert run([*words, "--plot", str(tmp_path / "places.gif")]) == 2
    assert run([*words, "--plot", str(tmp_path / "nowhere" / "places.png")]) == 2
    assert "could not be written" in capsys.readouterr().err


def test_the_plot_names_parts_as_people_do_and_fields_as_they_are_typed() -> None:
    build = load_build("gravel-hatch")
    for sweeps in (["height=540:580:20"], ["height=540:560:20", "set_back=0:10:10"]):
        found = place(build, "dash_bar", [_sweep(build, "dash_bar", text) for text in sweeps])
        chart = chart_of(found, "mm", build.name)
        texts = [chart.title, chart.axis, chart.grey, *chart.remarks]
        shown = " ".join((*texts, *(lane.name for lane in chart.lanes)))
        fields = {s.name for s in found.sweeps}
        assert set(re.findall(r"\w+_\w+", shown)) == {f for f in fields if "_" in f}
        # each field by one name in title, axis, lanes and remarks
        assert not any(f.replace("_", " ") in shown for f in fields if "_" in f)
    assert any(key[1] == "dash_bar" for column in found.columns for key in column)


@pytest.mark.parametrize(
    ("over", "says"),
    [
        ("height", "no range"),
        ("height=5:1", "runs backwards"),
        ("height=1:2:-1", "does not go on"),
        ("height=1:2:0", "does not go on"),
        ("height=1:x", "number"),
        ("hight=1:2", "Did you mean 'height'"),
        ("height=0:900000:0.1", "too many"),
    ],
)
def test_wrong_ranges(over: str, says: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["place", "gravel-hatch", "harness_bar", "--over", over]) == 2
    err = capsys.readouterr().err
    assert says in err
    assert "Traceback" not in err


def test_unknown_member(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["place", "gravel-hatch", "hood_bar"]) == 2
    assert "no such member" in capsys.readouterr().err


def test_build_that_cannot_be_made_stops_with_the_reason(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A door bar whose cuts leave nothing between them: no harness bar mends that."""
    from cagekit.inputs.presets import find_preset

    text = find_preset("build", "sprint-wagon").read_text("utf-8")
    own = tmp_path / "own.toml"
    own.write_text(text.replace("[members.door_bar]\n", "[members.door_bar]\ncut_gap = 12\n"))
    over = ["--over", "height=18:19:1"]
    assert run(["place", str(own), "harness_bar", *over]) == 3
    out, err = capsys.readouterr()
    assert out == ""
    assert "door bar left: between its cuts" in err


def test_one_reason_at_many_places_is_told_once() -> None:
    def tried(at: float, error: str) -> Trial:
        return Trial(values=(at,), spot=None, findings={}, error=error)

    angles = {200.0: 4.6, 210.0: 9, 220.0: 14.2}
    trials = [tried(at, f"bar_1 meets bar_2 at {a} degrees.") for at, a in angles.items()]
    found = Placement(
        member="bar_1",
        sweeps=(Sweep(fields=("height",), values=(*angles, 230.0)),),
        now=(200.0,),
        trials=(*trials, tried(230.0, "bar_1 is too short.")),
        columns=(),
        best=None,
        reasons=(),
        proposed={},
    )
    assert impossible(found, "mm") == [
        "3 places, 200 to 220; at the last: bar_1 meets bar_2 at 14.2 degrees.",
        "230: bar_1 is too short.",
    ]
