"""Bare lengths in a place mean the units of the file that holds them, whoever uses the file."""

from __future__ import annotations

from pathlib import Path

import pytest

from cagekit.assembly.assemble import members_only
from cagekit.inputs.entries import FreeStrutEntry
from cagekit.inputs.places import read_location
from cagekit.inputs.presets import find_preset
from cagekit.inputs.resolve import load_build


@pytest.mark.parametrize(
    ("text", "read"),
    [
        ("on halo at height 450", "on halo at height 450 mm"),
        ("on halo.left at x 17 1/2 and dash_bar", "on halo.left at x 17 1/2 mm and dash_bar"),
        ("on halo at bend 2 up 50", "on halo at bend 2 up 50 mm"),
        ("on halo at y -12.5 inboard 3", "on halo at y -12.5 mm inboard 3 mm"),
        ("on halo at height 17 1/2 in", "on halo at height 17 1/2 in"),
        ("on halo at fraction 0.25", "on halo at fraction 0.25"),
        ("on halo at end a", "on halo at end a"),
        ("at 1, -2.5, 3 in", "at 1 mm, -2.5 mm, 3 in"),
        ("car left rear_foot", "car left rear_foot"),
    ],
)
def test_a_bare_length_gets_the_files_unit(text: str, read: str) -> None:
    data = {"kind": "strut", "id": "s", "from": text, "to": text}
    entry = FreeStrutEntry.model_validate(data, context={"units": "mm"})
    assert entry.from_ == entry.to == read_location(read)
    assert str(entry.to) == str(read_location(str(entry.to)))


def test_a_layout_in_mm_serves_a_build_in_inches(tmp_path: Path) -> None:
    layout = find_preset("layout", "four-point").read_text("utf-8")
    strut = (
        '[[member]]\nkind = "strut"\nid = "own"\n'
        'from = "on main_hoop.left at height 520"\nto = "on main_hoop.right at height 600"\n'
    )
    (tmp_path / "layout.toml").write_text(f"{layout}\n{strut}", "utf-8")
    build = 'kind="build"\nname="x"\nunits="{}"\ncar="track-roadster"\ndrivers=["short-driver"]\n'
    build += 'layout="layout.toml"\ntube="cds-45x2.5"\ntooling="metric-shop"\n'
    build += '[members.main_hoop]\nheight="1000 mm"\n[members.harness_bar]\nheight="450 mm"\n'
    ends = []
    for units in ("mm", "in"):
        (tmp_path / f"{units}.toml").write_text(build.format(units), "utf-8")
        path = members_only(load_build(str(tmp_path / f"{units}.toml"))).member("own").path
        ends.append((path.start[2], path.end[2]))
    assert ends[0] == pytest.approx((520, 600))
    assert ends[1] == pytest.approx(ends[0])
