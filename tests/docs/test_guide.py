"""The guide is built whole: every example runs, every picture is drawn, no warning is left."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from cagekit.guide import site
from cagekit.parts.kinds import part_kinds


@pytest.mark.slow
@pytest.mark.study
@pytest.mark.kernel
@pytest.mark.filterwarnings("default")
def test_the_guide_is_built_without_a_warning(tmp_path: Path) -> None:
    pytest.importorskip("sphinx", reason="the builder of the guide is not installed")
    pytest.importorskip("myst_parser")
    pytest.importorskip("furo")
    out = tmp_path / "guide"
    site.build(out)
    pages = {p.stem: p.read_text("utf-8") for p in out.glob("*.html")}
    assert {"first-cage", "another-car", "parts", "files", "rulebooks", "python"} <= set(pages)
    assert {"sources", "contributing", "changes"} <= set(pages)
    for text in pages.values():
        for target in re.findall(r'<img[^>]* src="([^"]+)"', text):
            assert (out / target).is_file(), target
    for kind in part_kinds():
        assert f'id="{kind.replace("_", "-")}"' in pages["parts"]
        assert (out / "_images" / f"{kind}.png").stat().st_size > 2000
    assert "cagekit.TubePart.coped_to" in pages["python"]
    assert list(tmp_path.iterdir()) == [out]
    assert (out / site.MARK).exists()
