"""Make the guide: run the examples, write what follows from code and data, build the pages."""

from __future__ import annotations

import io
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path

from cagekit.errors import OutputError
from cagekit.guide import books_page, files_page, parts_page, sources_page
from cagekit.guide.examples import GuideError, with_results
from cagekit.version import __version__

PAGES = Path(__file__).with_name("pages")
ROOT = Path(__file__).parents[2]
MARK = ".buildinfo"
"""A file that the builder leaves: what tells an earlier guide from a folder of somebody's own."""


def build(target: Path, progress: Callable[[str], None] = lambda name: None) -> None:
    """Make the whole guide into a folder; an earlier guide there is replaced.

    Args:
        target: the folder.
        progress: told the name of each step.

    Raises:
        GuideError: an example fails, or the builder warns of something.
        OutputError: the folder holds something else, or cannot be written.
    """
    if target.exists() and any(target.iterdir()) and not (target / MARK).exists():
        raise OutputError(f"{target}: holds something else than a guide; name another folder.")
    target.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=target.parent, prefix=".guide-") as temp:
        source, out = Path(temp) / "source", Path(temp) / "site"
        write_sources(source, progress)
        progress("pages")
        _sphinx(source, out, Path(temp) / "trees")
        if target.exists():
            shutil.rmtree(target)
        out.rename(target)


def write_sources(source: Path, progress: Callable[[str], None] = lambda name: None) -> None:
    """Write everything that the builder reads into a new folder.

    Args:
        source: the folder.
        progress: told the name of each step.

    Raises:
        GuideError: an example fails.
    """
    source.mkdir()
    shutil.copytree(PAGES / "static", source / "static")
    for page in sorted(PAGES.glob("*.md")):
        progress(page.stem)
        folder = source / "run" / page.stem
        folder.mkdir(parents=True)
        text = with_results(page.name, page.read_text("utf-8"), folder)
        if page.stem == "rulebooks":
            text += "".join(books_page.tables())
        (source / page.name).write_text(text, "utf-8")
    progress("parts")
    (source / "parts.md").write_text("".join(parts_page.write_page(source)), "utf-8")
    progress("files and sources")
    (source / "files.md").write_text("".join(files_page.page()), "utf-8")
    (source / "sources.md").write_text("".join(sources_page.page()), "utf-8")
    for name, page_name in (("DEVELOPERS.md", "contributing.md"), ("CHANGELOG.md", "changes.md")):
        shutil.copy(ROOT / name, source / page_name)


def _sphinx(source: Path, out: Path, trees: Path) -> None:
    try:
        from sphinx.application import Sphinx
        from sphinx.util.docutils import docutils_namespace, patch_docutils
    except ImportError as error:
        raise GuideError(f"{error.name} is missing: install the package with `[guide]`.") from None
    settings = {
        "project": "cagekit",
        "release": __version__,
        "copyright": "the cagekit authors",
        "extensions": ["myst_parser", "sphinx.ext.autodoc", "sphinx.ext.napoleon"],
        "exclude_patterns": ["run/**"],
        "html_theme": "furo",
        "html_title": f"cagekit {__version__}",
        "html_static_path": ["static"],
        "html_css_files": ["guide.css"],
        "html_copy_source": False,
        "html_show_sphinx": False,
        "autodoc_member_order": "bysource",
        "autodoc_typehints": "signature",
        "autodoc_preserve_defaults": True,
        "napoleon_use_rtype": False,
        "myst_heading_anchors": 3,
        "maximum_signature_line_length": 80,
        "python_use_unqualified_type_names": True,
    }
    said, warned = io.StringIO(), io.StringIO()
    with patch_docutils(), docutils_namespace():
        app = Sphinx(
            str(source), None, str(out), str(trees), "html",
            confoverrides=settings, status=said, warning=warned, warningiserror=True,
        )  # fmt: skip
        app.build()
    if app.statuscode or warned.getvalue().strip():
        raise GuideError(f"the builder warns:\n{warned.getvalue().strip()}")
