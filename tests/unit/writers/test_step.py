"""STEP text: the same bytes every time, read back without the kernel, faults found."""

from __future__ import annotations

import re
import subprocess
import sys
from math import pi
from pathlib import Path

import numpy as np
import pytest

from cagekit.cage.plate import Hole, Plate
from cagekit.errors import KernelError, OutputError
from cagekit.geometry.centre_line import CentreLine
from cagekit.geometry.cope import Parent, cut_end
from cagekit.geometry.outline import Outline
from cagekit.solids.measure import measure
from cagekit.solids.sheet import plate_record
from cagekit.solids.tube import tube_record
from cagekit.writers.part21 import Deck, closure, missing, parse, real, references, splice, string
from cagekit.writers.step import Schema, StepPart, assembly_text, part_text, write_step
from cagekit.writers.step_check import confirm, read_back
from cagekit.writers.step_read import read_records

RO, RI = 20.64, 17.24


@pytest.fixture(scope="module")
def parts() -> tuple[StepPart, ...]:
    hoop = CentreLine.from_polyline(
        [(0, -400, 0), (0, -400, 800), (0, 400, 800), (0, 400, 0)], 152.0
    )
    node = hoop.spot(655.0).point
    brace = CentreLine.straight(node, node + np.array([-300.0, 40.0, -200.0]))
    parent = Parent("main_hoop", hoop, RO)
    free = [cut_end(hoop, e, RO, RI) for e in ("a", "b")]  # type: ignore[arg-type]
    plate = Plate(
        id="foot", kind="floor_plate", thickness=4.0, material="s",
        outline=Outline.rectangle(150, 150, 10), holes=(Hole.circle((50, 50), 11),),
    )  # fmt: skip
    return (
        StepPart(
            name="main_hoop", solid=tube_record("main_hoop", hoop, *free), colour=(0.8, 0.3, 0.3)
        ),
        StepPart(
            name="rear_brace",
            solid=tube_record(
                "rear_brace", brace, cut_end(brace, "a", RO, RI, parents=[parent]),
                cut_end(brace, "b", RO, RI),
            ),
            colour=(0.2, 0.5, 0.7),
        ),
        StepPart(name="foot", solid=plate_record(plate), colour=(0.5, 0.6, 0.7), group="plates"),
    )  # fmt: skip


def volumes(parts: tuple[StepPart, ...]) -> dict[str, float]:
    return {p.name: measure(p.solid).volume for p in parts}  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.0, "0."), (1.0, "1."), (-20.64, "-20.64"), (1e-7, "1.E-7"), (2.5e-12, "2.5E-12"),
        (1e22, "1.E22"), (1 / 3, "0.333333333333333"),
    ],
)  # fmt: skip
def test_reals_always_have_their_point(value: float, text: str) -> None:
    assert real(value) == text
    assert float(text.replace("E", "e")) == pytest.approx(value, rel=1e-14)


def test_strings_are_quoted() -> None:
    assert string("it's") == "'it''s'"
    assert string("b\\c") == "'b\\\\c'"
    assert string("ü") == "'\\X4\\000000FC\\X0\\'"


def test_same_parts_same_bytes(parts: tuple[StepPart, ...]) -> None:
    assert assembly_text("cage", parts) == assembly_text("cage", parts)
    assert "T00:00:00'" in assembly_text("cage", parts)


@pytest.mark.parametrize("schema", list(Schema))
def test_what_is_written_is_read_back(
    parts: tuple[StepPart, ...], schema: Schema, tmp_path: Path
) -> None:
    path = tmp_path / "cage.step"
    write_step(path, "cage", parts, schema=schema)
    report = read_back(path, volumes(parts))
    assert report.parts == ("main_hoop", "rear_brace", "foot")
    assert report.foreign == ()
    assert report.worst < 1e-9
    assert report.size == path.stat().st_size


def test_records_survive_the_text(parts: tuple[StepPart, ...]) -> None:
    for part in parts:
        back = read_records(parse(part_text(part)))[part.name]
        assert back is not None
        assert not isinstance(part.solid, str)
        assert len(back.faces) == len(part.solid.faces)
        assert len(back.edges) == len(part.solid.edges)
        assert back.closure_errors(tol=1e-4) == []


def test_assembly_is_cage_group_part(parts: tuple[StepPart, ...]) -> None:
    entities = parse(assembly_text("cage", parts))
    products = [t.split("'")[1] for t in entities.values() if t.startswith("PRODUCT(")]
    assert sorted(products) == ["cage", "foot", "main_hoop", "plates", "rear_brace", "tubes"]
    uses = [t.split("'")[3] for t in entities.values() if t.startswith("NEXT_ASSEMBLY_USAGE")]
    assert sorted(uses) == ["foot", "main_hoop", "plates", "rear_brace", "tubes"]
    assert sum(t.startswith("STYLED_ITEM(") for t in entities.values()) == 3


@pytest.mark.parametrize("name", ["main-hoop", "", "a b", "hoop#1"])
def test_names_are_letters_digits_underscores(parts: tuple[StepPart, ...], name: str) -> None:
    bad = StepPart(name=name, solid=parts[0].solid, colour=(0, 0, 0))
    with pytest.raises(OutputError, match="letters, digits"):
        assembly_text("cage", [bad])


def test_a_name_may_occur_once_only(parts: tuple[StepPart, ...]) -> None:
    with pytest.raises(OutputError, match="occur twice: main_hoop"):
        assembly_text("cage", [parts[0], parts[0]])
    with pytest.raises(OutputError, match="no part"):
        assembly_text("cage", [])


def test_missing_folder_is_told(parts: tuple[StepPart, ...], tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="cannot be written"):
        write_step(tmp_path / "none" / "cage.step", "cage", parts)


# -- faults ------------------------------------------------------------------------------------


def test_entities_are_the_same_on_whatever_lines_they_stand(parts: tuple[StepPart, ...]) -> None:
    text = assembly_text("cage", parts)
    head, data = text.split("DATA;")
    spread = data.replace("CARTESIAN_POINT('',(", "CARTESIAN_POINT\n('', (")
    assert parse(head + "DATA;" + spread) == parse(text)
    assert parse(head + "DATA;" + data.replace(";\n#", "; #")) == parse(text)


def test_what_is_referred_to_must_be_there() -> None:
    assert missing({1: "PRODUCT('#9')", 2: "A(#1,'#7 it''s #8')"}) is None
    assert missing({1: "A('#9',#2)", 2: "B(#1,#3)"}) == (2, 3)


def broken(parts: tuple[StepPart, ...], tmp_path: Path, old: str, new: str) -> Path:
    text = assembly_text("cage", parts)
    assert re.search(old, text)
    path = tmp_path / "cage.step"
    path.write_text(re.sub(old, new, text, count=1))
    return path


@pytest.mark.parametrize(
    ("old", "new", "error", "message"),
    [
        (r"ENDSEC;\nEND-ISO-10303-21;\n", "", OutputError, "not a whole STEP file"),
        (r"#10=[^\n]*\n", "", OutputError, "refers to #10, which is not there"),
        (r"MANIFOLD_SOLID_BREP\('foot'", "MANIFOLD_SOLID_BREP('hand'", OutputError, "lacks foot"),
        (r"\.MILLI\.,\.METRE\.", "$,.METRE.", OutputError, "not in millimetres"),
        (r"(CYLINDRICAL_SURFACE\('',#\d+),20.64", r"\1,20.74", KernelError, "off its surf"),
        (r"ORIENTED_EDGE\('',\*,\*,#(\d+),\.T\.", r"ORIENTED_EDGE('',*,*,#\1,.F.", KernelError,
         "not closed"),
        (r"CIRCLE\('',#(\d+),20.64", r"CIRCLE('',#\1,20.7", KernelError, "not closed"),
    ],
)  # fmt: skip
def test_a_damaged_file_is_noticed(
    parts: tuple[StepPart, ...],
    tmp_path: Path,
    old: str,
    new: str,
    error: type[Exception],
    message: str,
) -> None:
    path = broken(parts, tmp_path, old, new)
    with pytest.raises(error, match=message):
        read_back(path, volumes(parts))


def test_wrong_volume_is_noticed(parts: tuple[StepPart, ...], tmp_path: Path) -> None:
    path = tmp_path / "cage.step"
    write_step(path, "cage", parts)
    expected = volumes(parts)
    expected["foot"] *= 1 + 2e-5
    with pytest.raises(KernelError, match="foot has"):
        read_back(path, expected)
    del expected["foot"]
    with pytest.raises(OutputError, match="also holds foot"):
        read_back(path, expected)


def test_a_part_file_that_was_changed_is_noticed(
    parts: tuple[StepPart, ...], tmp_path: Path
) -> None:
    path, text = tmp_path / "foot.step", part_text(parts[2])
    path.write_text(text)
    confirm(path, text)
    path.write_text(text[:-1])
    with pytest.raises(OutputError, match="does not hold"):
        confirm(path, text)
    with pytest.raises(OutputError, match="cannot be read back"):
        confirm(tmp_path / "none.step", text)


# -- splicing ----------------------------------------------------------------------------------


def test_a_solid_from_another_file_is_spliced_in(parts: tuple[StepPart, ...]) -> None:
    foot = parts[2]
    foreign = StepPart(name="foot", solid=part_text(foot), colour=foot.colour, group="plates")
    text = assembly_text("cage", [parts[0], foreign])
    back = read_records(parse(text))
    assert back["foot"] is not None
    area = 150 * 150 - (4 - pi) * 100 - pi * 5.5**2
    assert measure(back["foot"]).volume == pytest.approx(4 * area, rel=1e-9)


def test_closure_lists_needs_before_users() -> None:
    entities = {1: "A(#3,'#9')", 2: "B()", 3: "C(#2,#4)", 4: "D(#2)", 9: "NOT_NEEDED()"}
    order = closure(entities, 1)
    assert sorted(order) == [1, 2, 3, 4]
    for n in order:
        assert all(order.index(r) < order.index(n) for r in references(entities[n]))
    deck = Deck()
    root = splice(deck, entities, 1)
    assert deck.lines[root - 1].endswith("'#9');")


def test_writing_steps_needs_no_kernel_in_this_process() -> None:
    code = (
        "import sys\n"
        "import cagekit.writers.step, cagekit.solids.tube, cagekit.solids.sheet\n"
        "from cagekit.geometry.centre_line import CentreLine\n"
        "from cagekit.geometry.cope import cut_end\n"
        "p = CentreLine.straight((0, 0, 0), (0, 0, 100))\n"
        "cuts = cut_end(p, 'a', 20, 17), cut_end(p, 'b', 20, 17)\n"
        "r = cagekit.solids.tube.tube_record('t', p, *cuts)\n"
        "cagekit.writers.step.part_text(\n"
        "    cagekit.writers.step.StepPart(name='t', solid=r, colour=(0, 0, 0)))\n"
        "print([m for m in ('OCP', 'cadquery', 'scipy', 'ezdxf') if m in sys.modules])\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
