"""The typesetter in a process of its own: what comes back when it makes a document, or does not."""

from __future__ import annotations

from pathlib import Path

import pytest

from cagekit.errors import OutputError
from cagekit.process import OtherProcess
from cagekit.view.fonts import font_folder
from cagekit.writers.typesetter import typeset

FONTS = font_folder() or Path()


def test_a_document_comes_back_as_it_is(tmp_path: Path) -> None:
    page = '#set document(date: none)\n#set text(font: "DejaVu Sans")\n#read("word.txt")'
    (tmp_path / "page.typ").write_text(page)
    (tmp_path / "word.txt").write_text("cope")
    made = typeset(tmp_path, "page", FONTS)
    assert made.startswith(b"%PDF-")
    assert typeset(tmp_path, "page", FONTS) == made


def test_what_does_not_compile_is_told_in_a_line(tmp_path: Path) -> None:
    (tmp_path / "page.typ").write_text("#cope")
    with pytest.raises(OutputError, match=r"^page\.pdf: could not be typeset: .*cope.*$"):
        typeset(tmp_path, "page", FONTS)


def test_a_process_that_ends_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def killed(self: OtherProcess, value: object) -> object:
        self.kill()
        return real(self, value)

    real = OtherProcess.ask
    monkeypatch.setattr(OtherProcess, "ask", killed)
    with pytest.raises(OutputError, match=r"process ended\.$"):
        typeset(tmp_path, "page", FONTS)
