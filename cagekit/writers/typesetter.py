"""The typesetter in a process of its own, one for each document.

What it works out for a document it keeps as long as its process lives: 150 MB for a shop book. The
process is up in a hundredth of a second, and takes nothing with it when it is done.
"""

from __future__ import annotations

from pathlib import Path

from cagekit.errors import OutputError
from cagekit.process import OtherProcess, answer_all, answers_to_caller


def typeset(folder: Path, name: str, fonts: Path) -> bytes:
    """Typeset the document ``name`` of a folder as PDF.

    Args:
        folder: that holds the document and all it shows.
        name: of its file, without ending.
        fonts: folder of the only fonts that are used.

    Raises:
        OutputError: the document does not compile; tells the typesetter's message.
    """
    process = OtherProcess(__name__)
    try:
        made: bytes | str = process.ask((folder, name, fonts))
    except (EOFError, OSError):
        made = "the typesetter's process ended."
    finally:
        process.close()
    if isinstance(made, str):
        raise OutputError(f"{name}.pdf: could not be typeset: {made}")
    return made


def serve(_: str) -> None:
    """Typeset what is asked for until the caller goes."""
    answer_all(answers_to_caller(), _typeset)


def _typeset(asked: tuple[Path, str, Path]) -> bytes | str:
    """The document, or why it is none."""
    import typst

    folder, name, fonts = asked
    try:
        return bytes(
            typst.compile(
                str(folder / f"{name}.typ"),
                root=str(folder),
                font_paths=[str(fonts)],
                ignore_system_fonts=True,
                # poppler complains of the tags it finds on every page of a table
                pdf_tags=False,
            )
        )
    except typst.TypstError as exc:
        # the lines after the first show the whole source
        return str(exc.diagnostic).strip().splitlines()[0]
