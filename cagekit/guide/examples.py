"""The examples of a page, run as a reader would run them; what they print goes under them.

In a fenced block ``python`` is run, ``sh`` may hold ``cagekit`` commands and is run, and ``toml``
whose first line is ``# NAME.toml`` is written into the folder of the page, where all of it happens.
``console`` is only shown.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import shlex
import subprocess
import sys
import textwrap
import traceback
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from cagekit.errors import CagekitError

FENCE = re.compile(r"^```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
LINES = 30
"""Lines of what a command prints that are shown."""
SECONDS = 300


class GuideError(CagekitError):
    """An example of the guide does not run, or the site cannot be made."""


def with_results(page: str, text: str, folder: Path) -> str:
    """Run the examples of a page and put what they print under each.

    Args:
        page: its name, for messages.
        text: its Markdown.
        folder: where files are written; it exists.

    Raises:
        GuideError: an example fails; says page, line and why.
    """
    names: dict[str, Any] = {"__name__": "guide"}
    out, done = [], 0
    for found in FENCE.finditer(text):
        language, code = found.groups()
        where = f"{page}:{text.count(chr(10), 0, found.start()) + 2}"
        out.append(text[done : found.end()])
        done = found.end()
        printed = ""
        if language == "python":
            printed = _python(code, names, folder, where)
        elif language == "sh":
            printed = "".join(_commands(code, folder, where))
        elif language == "toml":
            _write(code, folder)
        if printed.strip():
            out.append(f"\n\n```text\n{_shortened(printed)}\n```")
    return "".join([*out, text[done:]])


def _python(code: str, names: dict[str, Any], folder: Path, where: str) -> str:
    said = io.StringIO()
    before = Path.cwd()
    os.chdir(folder)
    try:
        with contextlib.redirect_stdout(said):
            exec(compile(code, where, "exec"), names)
    except Exception as error:
        told = "".join(traceback.format_exception(error)[-4:])
        raise GuideError(f"{where}: the example fails.\n{told}") from None
    finally:
        os.chdir(before)
    return said.getvalue()


def _commands(code: str, folder: Path, where: str) -> Iterator[str]:
    """Run each command of a block; 1 is told by checks that fail and is no fault of the page."""
    home = str(folder / ".config")
    env = {**os.environ, "COLUMNS": "92", "XDG_CONFIG_HOME": home, "APPDATA": home}
    for line in code.replace("\\\n", " ").splitlines():
        words = shlex.split(line, comments=True)
        if not words:
            continue
        if words[0] != "cagekit":
            raise GuideError(f"{where}: {line!r} is no command of cagekit; mark it as `console`.")
        target = None
        if ">" in words:
            at = words.index(">")
            target = folder / words[at + 1]
            words = words[:at]
        run = subprocess.run(
            [sys.executable, "-m", "cagekit", *words[1:]],
            cwd=folder, env=env, capture_output=True, text=True, timeout=SECONDS,
        )  # fmt: skip
        if run.returncode not in (0, 1):
            raise GuideError(f"{where}: {line!r} ends with {run.returncode}.\n{run.stderr}")
        if target is not None:
            target.write_text(run.stdout, "utf-8")
        else:
            yield run.stdout


def _write(code: str, folder: Path) -> None:
    named = re.match(r"# ([\w.-]+\.toml)\n", code)
    if named:
        (folder / named[1]).write_text(code, "utf-8")


def _shortened(printed: str) -> str:
    lines = textwrap.dedent(printed).strip("\n").splitlines()
    if len(lines) <= LINES:
        return "\n".join(line.rstrip() for line in lines)
    return "\n".join([*(line.rstrip() for line in lines[:LINES]), "..."])
