"""A tube whose solid cannot be made: the rest is made, and it is named wherever it is missing."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

import demos
import pytest

import cagekit
from cagekit.cli.main import run
from cagekit.errors import KernelError
from cagekit.solids import bodies
from cagekit.solids.bodies import build_records
from cagekit.solids.brep import Record
from cagekit.solids.creases import Refused
from cagekit.solids.tube import TubeToWrite
from cagekit.writers.part21 import parse
from cagekit.writers.step import write_files
from cagekit.writers.step_read import solid_names

pytestmark = pytest.mark.kernel

SMALL = "track-roadster"
ODD = "hoop_diagonal"


@pytest.fixture
def odd(monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither the direct way nor the kernel can make one tube."""
    direct, kernel = bodies.tube_records, bodies.kernel_body

    def refused(tubes: Sequence[TubeToWrite]) -> list[Record | Refused]:
        made = direct(tubes)
        odd = Refused("the ridges of an end face cross")
        names = [tube.name in (ODD, "strut") for tube in tubes]
        return [odd if here else record for here, record in zip(names, made, strict=True)]

    def failed(cage: object, id_: str, *args: object, **more: object) -> object:
        if id_ in (ODD, "strut"):
            raise KernelError(f"{id_}: the kernel's cut failed.")
        return kernel(cage, id_, *args, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(bodies, "tube_records", refused)
    monkeypatch.setattr(bodies, "kernel_body", failed)


def test_the_rest_is_written_and_the_file_names_what_it_lacks(odd: None, tmp_path: Path) -> None:
    cage = demos.cage(SMALL)
    report = write_files(cage, tmp_path)
    assert dict(report.left_out) == {ODD: f"{ODD}: the kernel's cut failed."}
    assert {p.stem for p in (tmp_path / "members").iterdir()} == set(cage.members) - {ODD}
    text = (tmp_path / "cage.step").read_text()
    assert f"'left out: {ODD}'" in text.partition("ENDSEC")[0]
    assert ODD not in solid_names(parse(text)).values()


def test_a_solid_that_stays_unsound_is_left_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The kernel's verdict on one member is forged, whoever made it."""
    import cagekit.writers.step_check as step_check

    compare = step_check.compare

    def forged(report: object, parts: object, expected: object) -> object:
        told = [type(p)(**{**_fields(p), "valid": p.valid and p.name != ODD}) for p in parts]  # type: ignore[attr-defined]
        return compare(report, told, expected)  # type: ignore[arg-type]

    monkeypatch.setattr(step_check, "compare", forged)
    report = write_files(demos.cage(SMALL).pick(["main_hoop", ODD]), tmp_path)
    assert list(report.left_out) == [ODD]
    assert not (tmp_path / "members" / f"{ODD}.step").exists()


def _fields(part: object) -> dict[str, object]:
    return {n: getattr(part, n) for n in part.__slots__}  # type: ignore[attr-defined]


def test_make_goes_on_and_says_so(
    odd: None, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(["make", SMALL, "--only", "step,cuts"]) == 3
    told = capsys.readouterr()
    named = ODD.replace("_", " ")
    assert f"error: {named} is in no STEP file: the kernel's cut failed." in told.err
    made = tmp_path / "outputs" / SMALL
    assert ODD in (made / "cuts.csv").read_text()
    manifest = json.loads((made / "manifest.json").read_text())
    assert list(manifest["left_out"]) == [ODD]
    # a later run that keeps the solids keeps what is said of them
    assert run(["make", SMALL, "--only", "materials"]) in (0, 1)
    assert list(json.loads((made / "manifest.json").read_text())["left_out"]) == [ODD]


def test_a_cut_that_fails_both_ways_tells_both_reasons_and_a_cure() -> None:
    class Failing:
        def call(self, *job: object) -> object:
            raise KernelError("the CAD kernel's process ended (boolean); it may use 120 s at most.")

    cage = demos.cage(SMALL)
    with pytest.raises(KernelError) as caught:
        bodies.kernel_body(cage, ODD, Failing, why="its edge jumps by 2 mm")  # type: ignore[arg-type]
    said = str(caught.value)
    assert said.startswith(f"{ODD}: cannot be written down (its edge jumps by 2 mm)")
    assert "it may use 120 s at most. Move its end onto the centre line" in said


def test_a_script_that_wants_the_solids_gets_an_error(odd: None) -> None:
    with pytest.raises(KernelError, match=ODD):
        build_records(demos.cage(SMALL))


def test_a_part_alone_is_made_whole_or_not_at_all(odd: None, tmp_path: Path) -> None:
    part = cagekit.strut()
    target = tmp_path / "out"
    with pytest.raises(KernelError, match="the kernel's cut failed"):
        part.make(target, "step")
    assert not target.exists()
