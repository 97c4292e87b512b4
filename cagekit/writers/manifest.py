"""``manifest.json``: what a run made, from which inputs, with which versions.

Equal inputs give equal bytes: no dates, no machine's paths.
"""

from __future__ import annotations

import hashlib
import json
import platform
from collections.abc import Iterable, Mapping
from contextlib import suppress
from importlib import metadata
from pathlib import Path, PurePosixPath, PureWindowsPath
from types import MappingProxyType
from typing import Any

from cagekit.version import __version__

MANIFEST = "manifest.json"
PACKAGES = ("cadquery", "cadquery-ocp", "ezdxf", "numpy", "pillow", "pydantic", "scipy", "typst")
"""Packages whose version can change what a run writes."""


def sha256(path: Path) -> str:
    """Return the SHA-256 of a file, hexadecimal."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def versions() -> dict[str, str]:
    """Return the versions of cagekit, Python and the packages that are installed."""
    found = {"cagekit": __version__, "python": platform.python_version()}
    for name in PACKAGES:
        try:
            found[name] = metadata.version(name)
        except metadata.PackageNotFoundError:
            continue
    return found


def manifest(
    folder: Path,
    *,
    build: str,
    inputs: Mapping[str, Path],
    products: Mapping[str, Iterable[str]],
    options: Mapping[str, Any],
    left_out: Mapping[str, str] = MappingProxyType({}),
) -> dict[str, Any]:
    """Describe a finished folder.

    Args:
        folder: the run's folder.
        build: name of the build.
        inputs: input files by their name.
        products: files of each product, relative with ``/``.
        options: options that change what is written.
        left_out: parts without a solid, each with why; told only if there are any.
    """
    owner = {file: name for name, files in products.items() for file in files}
    files = [
        {
            "path": path,
            "product": owner[path],
            "bytes": (folder / path).stat().st_size,
            "sha256": sha256(folder / path),
        }
        for path in sorted(owner)
    ]
    read = [{"path": name, "sha256": sha256(inputs[name])} for name in sorted(inputs)]
    return {
        "schema": 1,
        "build": build,
        "options": dict(options),
        "versions": versions(),
        "inputs": read,
        "files": files,
        **({"left_out": dict(left_out)} if left_out else {}),
    }


def write_manifest(folder: Path, content: Mapping[str, Any]) -> None:
    """Write ``manifest.json`` into ``folder``."""
    text = json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    (folder / MANIFEST).write_text(text, encoding="utf-8", newline="\n")


def read_manifest(folder: Path) -> dict[str, Any]:
    """Return the manifest of the last run in ``folder``; empty if there is none or it is torn.

    It may have been edited or written by somebody else: a row that is none of ours, or whose path
    leads out of the folder, is left out.
    """
    try:
        content = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return {}
    if not isinstance(content, dict) or content.get("schema") != 1:
        return {}
    if not isinstance(content.get("files"), list):
        return {}
    told = content.get("left_out")
    rest = {k: v for k, v in told.items() if isinstance(v, str)} if isinstance(told, dict) else {}
    return {**content, "files": [r for r in content["files"] if _is_row(r)], "left_out": rest}


def _is_row(row: Any) -> bool:
    """Whether a row of ``files`` tells a file below the folder and what was in it."""
    if not isinstance(row, dict):
        return False
    if not all(isinstance(row.get(key), str) for key in ("path", "product", "sha256")):
        return False
    path = PurePosixPath(row["path"])
    inside = not path.is_absolute() and ".." not in path.parts and path.parts
    return bool(inside) and not PureWindowsPath(row["path"]).drive and "\0" not in row["path"]


def listed_files(folder: Path) -> dict[str, str]:
    """Return the files that the last run made in ``folder`` with their SHA-256."""
    rows = read_manifest(folder).get("files", [])
    return {r["path"]: r["sha256"] for r in rows}


def unchanged_files(folder: Path) -> set[str]:
    """Return the files of the last run that are still as it wrote them, relative with ``/``."""
    found: set[str] = set()
    for path, digest in listed_files(folder).items():
        with suppress(OSError):
            if sha256(folder / path) == digest:
                found.add(path)
    return found
