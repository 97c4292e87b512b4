"""Read back what was written as STEP and compare it with what it should be."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from pathlib import Path as FilePath
from re import match

from cagekit.errors import KernelError, OutputError
from cagekit.solids.kernel_step import ReadPart
from cagekit.solids.worker import KernelWorker
from cagekit.writers.part21 import parse, references

VOLUME_TOL = 1e-5


@dataclass(frozen=True, slots=True, kw_only=True)
class StepReport:
    """What a STEP file was found to hold.

    ``worst`` is the largest relative difference of a volume from what it should be; ``size`` the
    file's bytes.
    """

    path: FilePath
    parts: tuple[str, ...]
    worst: float
    size: int


def verify_step(
    path: FilePath, expected: Mapping[str, float], *, worker: KernelWorker | None = None
) -> StepReport:
    """Read a STEP file back with the kernel and compare count, names, soundness and volumes.

    Args:
        path: the file.
        expected: volume of every part, mm3, by name.
        worker: kernel process to use; without one the kernel is loaded here.

    Raises:
        OutputError: the file is cut short, or parts are missing, double or strange.
        KernelError: a solid is unsound or has the wrong volume.
    """
    check_structure(path, tuple(expected))
    if worker is not None:
        return compare(path, worker.call("read", str(path)), expected)
    from cagekit.solids.kernel_step import read_step

    return compare(path, read_step(path), expected)


def start_reading(path: FilePath, worker: KernelWorker) -> Future[Sequence[ReadPart]]:
    """Let the kernel process read a file while the caller goes on; see :func:`compare`."""
    return worker.submit("read", str(path))


def compare(
    path: FilePath, parts: Sequence[ReadPart], expected: Mapping[str, float]
) -> StepReport:
    """Compare what was read with what was wanted; errors as :func:`verify_step`."""
    names = [p.name for p in parts]
    _same_names(path, names, expected)
    worst = 0.0
    for part in parts:
        if part.solids != 1 or not part.valid:
            raise KernelError(f"{path.name}: {part.name} was read back as no sound solid.")
        off = part.volume / expected[part.name] - 1
        worst = max(worst, abs(off))
        if abs(off) > VOLUME_TOL:
            raise KernelError(
                f"{path.name}: {part.name} has {part.volume:.1f} mm3 when read back, "
                f"{off:+.1e} of what it should have."
            )
    return StepReport(path=path, parts=tuple(names), worst=worst, size=path.stat().st_size)


def check_structure(path: FilePath, names: Sequence[str]) -> None:
    """Check a file without the kernel: whole, every reference there, one solid per name, mm.

    Raises:
        OutputError: it is not so.
    """
    try:
        text = path.read_text(encoding="ascii")
    except (OSError, UnicodeDecodeError) as error:
        raise OutputError(f"{path.name}: cannot be read back ({error}).") from error
    entities = parse(text)
    for n, entity in entities.items():
        for r in references(entity):
            if r not in entities:
                raise OutputError(f"{path.name}: entity #{n} refers to #{r}, which is not there.")
    found = []
    for entity in entities.values():
        if solid := match(r"MANIFOLD_SOLID_BREP\('([^']*)'", entity):
            found.append(solid.group(1))
    _same_names(path, found, dict.fromkeys(names))
    if "SI_UNIT(.MILLI.,.METRE.)" not in text:
        raise OutputError(f"{path.name}: is not in millimetres.")


def _same_names(path: FilePath, found: Sequence[str], wanted: Mapping[str, object]) -> None:
    missing = sorted(set(wanted) - set(found))
    strange = sorted(set(found) - set(wanted))
    twice = sorted({n for n in found if found.count(n) > 1})
    for what, which in (("lacks", missing), ("also holds", strange), ("holds twice", twice)):
        if which:
            raise OutputError(f"{path.name}: {what} {', '.join(which)}.")
