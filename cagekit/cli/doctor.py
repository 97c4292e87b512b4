"""``cagekit doctor``: versions, what is missing, where presets are looked for."""

from __future__ import annotations

import argparse
import platform
import sys
import tempfile
from importlib import import_module, metadata
from importlib.util import find_spec
from pathlib import Path

from cagekit.cli.console import emit, table

NEEDED = {
    "numpy": "all geometry",
    "msgspec": "records of all that is worked out",
    "pydantic": "reading files",
    "tomli": "reading files",
    "cadquery": "solids that the direct way refuses, and the CadQuery plug-in",
    "ezdxf": "DXF for plates and templates",
    "hershey-fonts": "letters that a table can scribe",
    "matplotlib": "the DejaVu letters of papers and pictures",
    "u-nesting": "nesting plates on sheets",
    "scipy": "strength, cutting plans",
    "pillow": "pictures",
    "tomlkit": "build files saved with your comments",
    "typst": "PDF papers",
}
"""Packages that come with cagekit, and what they are for."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the verb's arguments."""
    parser.add_argument("--quick", action="store_true", help="do not load the CAD kernel")


def run(args: argparse.Namespace) -> int:
    """Print the findings; exit code 1 when something that is needed is missing."""
    rows = [*_python(), *_packages(), *_places()]
    if not args.quick:
        rows.append(_kernel())
    if args.json:
        emit([{"what": w, "state": s, "about": a, "ok": s != "missing"} for w, s, a in rows])
    else:
        table(rows)
    return 1 if any(state == "missing" for _, state, _ in rows) else 0


def _python() -> list[tuple[str, str, str]]:
    from cagekit.version import __version__

    system = f"{platform.system()} {platform.machine()}"
    return [
        ("cagekit", __version__, str(Path(__file__).parents[1])),
        ("python", platform.python_version(), system),
    ]


def _packages() -> list[tuple[str, str, str]]:
    rows = []
    for name, use in NEEDED.items():
        try:
            rows.append((name, metadata.version(name), use))
        except metadata.PackageNotFoundError:
            rows.append((name, "missing", f"{use}; install it with: pip install {name}"))
    return rows


def _places() -> list[tuple[str, str, str]]:
    from cagekit.inputs.presets import list_presets, roots
    from cagekit.view.fonts import font_folder

    found = list_presets()
    folders = "; ".join(map(str, roots()))
    rows = [("presets", str(len(found)) if found else "missing", folders)]
    rows.append(
        (
            "fonts",
            "found" if font_folder() else "built in",
            str(font_folder() or "pillow's own letters"),
        )
    )
    try:
        with tempfile.TemporaryFile(dir=Path.cwd()):
            rows.append(("this folder", "writable", str(Path.cwd())))
    except OSError as error:
        rows.append(
            ("this folder", "read-only", f"{Path.cwd()} ({error.strerror}); use --out elsewhere")
        )
    return rows


def _kernel() -> tuple[str, str, str]:
    """Load the CAD kernel, since a package that is there may still not load."""
    if find_spec("OCP") is None:
        return "CAD kernel", "missing", "comes with cadquery: pip install cadquery"
    try:
        import_module("OCP.gp")
    except ImportError as error:
        cure = (
            "apt-get install libgl1"
            if "libGL" in str(error) and sys.platform == "linux"
            else "reinstall cadquery"
        )
        return "CAD kernel", "missing", f"does not load: {error}; {cure}"
    return "CAD kernel", "loads", "Open CASCADE through OCP"
