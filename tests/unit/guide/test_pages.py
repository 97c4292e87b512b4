"""Sizes are drawn where they are, and what follows from code and data is whole."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

import cagekit as ck
from cagekit.checks.profile import load_profile
from cagekit.errors import OutputError
from cagekit.guide import files_page, parts_page, site, sources_page
from cagekit.guide.drawings import part_drawing
from cagekit.guide.markdown import cell
from cagekit.guide.measured import ALONG, measured
from cagekit.inputs.presets import FOLDERS, list_presets
from cagekit.inputs.schema_export import schema_of
from cagekit.parts.kinds import part_kinds

DATA = Path(ck.__file__).parent / "data"


def test_sizes_of_a_hoop_run_between_the_right_corners() -> None:
    found = {m.name: m for m in measured("main_hoop", {"reach_top": -110})}
    hoop = ck.main_hoop(reach_top=-110).path.corners()
    assert (found["width_foot"].axis, found["height"].axis, found["reach_top"].axis) == (1, 2, 0)
    assert found["width_foot"].start == pytest.approx(hoop[0])
    assert found["width_foot"].end == pytest.approx(hoop[-1])
    tops = np.array([found["width_top"].start, found["width_top"].end])
    assert tops[:, 2] == pytest.approx([1120, 1120])
    # the same number is another thing: the wall is no distance of two corners
    assert not {"od", "wall", "bend_radius", "lean"} & set(found)


def test_sizes_of_a_gusset_run_from_the_corner_that_the_clip_took() -> None:
    found = {m.name: m for m in measured("gusset", {})}
    leg = found["along_branch"]
    assert leg.axis == ALONG
    assert np.hypot(*(leg.end - leg.start)) == pytest.approx(80)
    assert np.degrees(np.arctan2(*np.abs(leg.end - leg.start)[::-1])) == pytest.approx(60)
    assert {"along_parent", "nose", "clip"} <= set(found)


@pytest.mark.parametrize("kind", sorted(part_kinds()))
def test_every_tube_and_plate_is_drawn_with_its_sizes(kind: str) -> None:
    drawn = part_drawing(kind, dict(parts_page.SHOWN.get(kind, {})))
    if kind in ("folded_gusset", "sleeve"):
        assert drawn is None
        return
    assert drawn is not None
    must = {"main_hoop": 7, "front_hoop": 7, "halo": 4, "a_pillar_bar": 6, "half_hoop": 9}
    assert len(drawn.named) >= must.get(kind, 1)
    for name in drawn.named:
        assert f">{name} " in drawn.svg


def test_every_field_of_every_file_is_told() -> None:
    text = "".join(files_page.page())
    for kind in FOLDERS:
        part = text.partition(f"(file-{kind})=")[2].partition("(file-")[0]
        for name in schema_of(kind)["properties"]:
            assert f"| `{name}` |" in part, (kind, name)
    assert "`bend_radius`" in text
    assert "length" in text.partition("| `gap` |")[2].partition("\n")[0]


def test_every_row_and_rule_is_counted_by_how_sure_it_is() -> None:
    text = "".join(sources_page.page())
    for path in DATA.glob("*.csv"):
        with path.open(encoding="utf-8") as file:
            rows = list(csv.DictReader(file))
        assert f"`data/{path.name}`, {len(rows)} rows" in text
        assert all(cell(row["source"]) in text for row in rows)
    assert "not said" not in text
    for preset in list_presets():
        if preset.kind == "rules" and preset.origin == "shipped":
            book = load_profile(preset.name)
            (line,) = (row for row in text.splitlines() if row.startswith(f"| `{preset.name}`: "))
            counts = [int(n) for n in line.split("|")[3:-1] if n.strip()]
            assert counts[0] == len(book.rules) == sum(counts[1:])


def test_a_cell_keeps_to_itself() -> None:
    assert cell("a | b\nc <d> `x|y`") == "a \\| b c \\<d> `x\\|y`"


def test_a_folder_of_somebody_else_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("mine", "utf-8")
    with pytest.raises(OutputError, match="something else"):
        site.build(tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["letter.txt"]
