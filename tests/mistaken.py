"""A build with a mistake in one of its files: what becomes of its check, in one word.

A mistake *changes the meaning* of a build when any number of any finding is another. It is *told*
when the file is refused, when a warning names the place, or when the verdict of a finding changes,
which names its tube, plate or person.
"""

from __future__ import annotations

import io
import json
import re
import signal
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from functools import cache
from pathlib import Path

from cagekit.cli.main import run
from cagekit.inputs.presets import shipped_root

BUILDS = ("track-roadster", "sprint-wagon", "hillclimb-coupe", "gravel-hatch")
SECONDS = 20.0
"""A check that takes more time of the processor hangs; it takes one or two."""


def files_of(build: str) -> list[str]:
    """The preset files that a build is made from, below ``presets/``.

    Not its rulebooks: nobody but their author can tell another limit from a slip.
    """
    table = tomllib.loads((shipped_root() / f"builds/{build}.toml").read_text("utf-8"))
    presets = {p["preset"] for p in table.get("plate", ()) if "preset" in p}
    return [
        f"builds/{build}.toml",
        f"cars/{table['car']}.toml",
        f"layouts/{table['layout']}.toml",
        f"tooling/{table['tooling']}.toml",
        f"tubes/{table['tube']}.toml",
        *(f"drivers/{d}.toml" for d in table.get("drivers", ())),
        *(f"plates/{p}.toml" for p in sorted(presets)),
    ]


class Hang(BaseException):
    """No ``except Exception`` of the command may take it for an error of its own."""


@contextmanager
def limited(seconds: float = SECONDS) -> Iterator[None]:
    """End what takes too long, by the time of the processor: the machine may be busy."""

    def late(*_: object) -> None:
        raise Hang

    before = signal.signal(signal.SIGPROF, late)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)


def checked(build: str) -> tuple[int, str, str]:
    """Exit code, findings as text and messages of a check."""
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err), limited():
        code = run(["check", build, "--json", "--all"])
    return code, out.getvalue(), err.getvalue()


def words(findings: str) -> list[tuple[str, str, str]]:
    """Every finding with its status, without its number."""
    return sorted((f["code"], f["subject"], f["status"]) for f in json.loads(findings))


@cache
def sound(build: str) -> tuple[str, list[tuple[str, str, str]]]:
    """The findings of the build as it is shipped."""
    code, findings, _ = checked(build)
    assert code in (0, 1)
    return findings, words(findings)


def outcome(build: str, file: str, text: str, kind: str = "") -> str:
    """The class of what a mistake of a ``kind`` in one file of a build ends in."""
    before, known = sound(build)
    target = Path("presets") / file
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_text(text, encoding="utf-8")
    try:
        code, findings, said = checked(build)
    except Hang:
        return "hang"
    finally:
        target.unlink()
    if "fault in cagekit" in said or "Traceback" in said or "doctor" in said:
        return f"fault: {said.strip().splitlines()[-1][:200]}"
    if code in (2, 3):
        lined = re.search(rf"{re.escape(Path(file).name)}:\d+", said + findings)
        return "refused with line" if lined else "refused without line"
    if code not in (0, 1):
        return f"exit code {code}"
    if findings == before:
        return "no change"
    if "warning:" in said or words(findings) != known:
        return "told"
    # a field that may be left out has a default that the sheet names
    return "default taken" if kind == "lost" else "silent"
