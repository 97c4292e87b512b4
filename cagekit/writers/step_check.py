"""Read back what was written as STEP and compare it with what it should be.

Cagekit's own reader rebuilds every solid from the text and measures it, and the kernel judges
what was rebuilt: that is quick enough for every run.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from msgspec import Struct, field
from msgspec.structs import replace

from cagekit.errors import KernelError, OutputError
from cagekit.solids.bodies import SURFACE_TOL, VOLUME_TOL
from cagekit.solids.brep import Record
from cagekit.solids.kernel_step import ReadPart
from cagekit.solids.measure import measures
from cagekit.units.tolerance import MICRON
from cagekit.writers.part21 import missing, parse
from cagekit.writers.step_read import read_records, solid_names

if TYPE_CHECKING:
    from concurrent.futures import Future

    from cagekit.solids.worker import KernelWorker


class UnsoundError(KernelError):
    """The kernel does not take some parts of a file for sound solids."""

    def __init__(self, path: Path, parts: Sequence[str]) -> None:
        self.parts = tuple(parts)
        super().__init__(f"{path.name}: the kernel reads {', '.join(parts)} as no sound solid.")


class StepReport(Struct, frozen=True, kw_only=True):
    """What a STEP file was found to hold.

    ``worst`` is the largest relative difference of a volume from what it should be; ``foreign``
    the parts whose text only the kernel can measure; ``size`` the file's bytes; ``left_out`` the
    parts that could not be made, each with why.
    """

    path: Path
    parts: tuple[str, ...]
    worst: float
    foreign: tuple[str, ...]
    size: int
    left_out: Mapping[str, str] = field(default_factory=dict)


class ReadBack:
    """What goes on when files have been read back: the kernel judges in its own process.

    The solids that were rebuilt from the text are given to it as they are; of parts that it made
    itself it reads the files and measures them too.

    Args:
        report: what cagekit's own reader found.
        expected: volume of every part, mm3, by name.
        verdicts: what the kernel finds, when it is done; none if it is not asked.
        worker: its process; it belongs to the reading and ends with it.
        again: writes the files once more with the unsound parts made another way, and reads
            them back.
    """

    def __init__(
        self,
        report: StepReport,
        expected: Mapping[str, float],
        verdicts: Sequence[Future[Sequence[ReadPart]]] = (),
        worker: KernelWorker | None = None,
        again: Callable[[tuple[str, ...]], ReadBack] | None = None,
    ) -> None:
        self.report, self.expected, self.verdicts = report, expected, verdicts
        self.worker, self.again = worker, again

    def result(self) -> StepReport:
        """Wait for the kernel and compare; errors as :func:`compare`."""
        if not self.verdicts:
            return self.report
        parts = [part for verdict in self.verdicts for part in verdict.result()]
        try:
            return compare(self.report, parts, self.expected)
        except UnsoundError as error:
            if self.again is None:
                raise
            return self.again(error.parts).result()

    def close(self) -> None:
        """End the process."""
        if self.worker is not None:
            self.worker.close()


def read_back(
    path: Path, expected: Mapping[str, float], *, kernel_made: Collection[str] = ()
) -> StepReport:
    """Read a file with cagekit's own reader and compare; as :func:`rebuild`.

    Args:
        path: of the file.
        expected: volume by name, mm3.
        kernel_made: names of those that the kernel made.
    """
    return rebuild(path, expected, kernel_made=kernel_made)[0]


def rebuild(
    path: Path, expected: Mapping[str, float], *, kernel_made: Collection[str] = ()
) -> tuple[StepReport, dict[str, Record]]:
    """Rebuild the solids of a file from its text and compare count, names and volumes.

    Args:
        path: the file.
        expected: volume of every part, mm3, by name.
        kernel_made: parts that came from the kernel, which alone measures them.

    Returns:
        What was found, and the rebuilt solids by name.

    Raises:
        OutputError: it is cut short, a reference leads nowhere, it is not in mm, or parts are
            missing, double or strange.
        KernelError: a solid is open or has the wrong volume.
    """
    try:
        text = path.read_text(encoding="ascii")
    except (OSError, UnicodeDecodeError) as error:
        raise OutputError(f"{path.name}: cannot be read back ({error}).") from error
    entities = parse(text)
    lost = missing(entities)
    if lost is not None:
        raise OutputError(
            f"{path.name}: entity #{lost[0]} refers to #{lost[1]}, which is not there."
        )
    if "SI_UNIT(.MILLI.,.METRE.)" not in text:
        raise OutputError(f"{path.name}: is not in millimetres.")
    _same_names(path, list(solid_names(entities).values()), expected)
    worst = 0.0
    foreign = []
    solids: dict[str, Record] = {}
    for name, record in read_records(entities).items():
        if record is None or name in kernel_made:
            foreign.append(name)
            continue
        solids[name] = record
    sizes = measures(list(solids.values()))
    for (name, record), found in zip(solids.items(), sizes, strict=True):
        errors = record.closure_errors(tol=MICRON)
        if errors:
            raise KernelError(f"{path.name}: {name} is not closed when read back ({errors[0]}).")
        if found.gap > SURFACE_TOL:
            raise KernelError(
                f"{path.name}: an edge of {name} lies {found.gap:.2g} mm off its surface."
            )
        worst = max(worst, _off(path, name, found.volume, expected[name]))
    report = StepReport(
        path=path, parts=tuple(expected), worst=worst, foreign=tuple(foreign), size=len(text)
    )
    return report, solids


def confirm(path: Path, text: str) -> None:
    """Compare a file with the text that was written into it.

    Raises:
        OutputError: it cannot be read, or holds something else.
    """
    try:
        found = path.read_bytes()
    except OSError as error:
        raise OutputError(f"{path.name}: cannot be read back ({error.strerror}).") from error
    if found != text.encode("ascii"):
        raise OutputError(f"{path.name}: does not hold what was written into it.")


def compare(
    report: StepReport, parts: Sequence[ReadPart], expected: Mapping[str, float]
) -> StepReport:
    """Compare what the kernel read with what was wanted; errors as :func:`verify_step`.

    Args:
        report: filled in.
        parts: as read.
        expected: volume by name, mm3.

    Raises:
        UnsoundError: a solid is not sound.
        KernelError: a part was not measured.
    """
    path = report.path
    _same_names(path, [p.name for p in parts], expected)
    worst = report.worst
    unsound = [p.name for p in parts if p.solids != 1 or not p.valid]
    if unsound:
        raise UnsoundError(path, unsound)
    for part in parts:
        if part.volume is not None:
            worst = max(worst, _off(path, part.name, part.volume, expected[part.name]))
        elif part.name in report.foreign:
            raise KernelError(f"{path.name}: {part.name} was not measured.")
    return replace(report, worst=worst)


def _off(path: Path, name: str, found: float, wanted: float) -> float:
    off = found / wanted - 1
    if abs(off) > VOLUME_TOL:
        raise KernelError(
            f"{path.name}: {name} has {found:.1f} mm3 when read back, {off:+.1e} of what it "
            "should have."
        )
    return abs(off)


def _same_names(path: Path, found: Sequence[str], wanted: Mapping[str, object]) -> None:
    missing = sorted(set(wanted) - set(found))
    strange = sorted(set(found) - set(wanted))
    twice = sorted({n for n in found if found.count(n) > 1})
    for what, which in (("lacks", missing), ("also holds", strange), ("holds twice", twice)):
        if which:
            raise OutputError(f"{path.name}: {what} {', '.join(which)}.")
