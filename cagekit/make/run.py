"""Make a build: every product into the output folder."""

from __future__ import annotations

import shutil
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from msgspec import Struct, field

from cagekit.design import Design
from cagekit.errors import KernelError
from cagekit.inputs.presets import label
from cagekit.make.ahead import processes
from cagekit.make.beside import Second, StaysHereError, packed, take, work_out_for_both
from cagekit.make.products import PRODUCTS, Check, Product, chosen
from cagekit.process import OtherProcess
from cagekit.writers.folder import swapped_in
from cagekit.writers.manifest import manifest, read_manifest, sha256, versions, write_manifest


class Made(Struct, frozen=True, kw_only=True):
    """What a run made: the folder, its files by product, and products kept from the last run.

    ``remarks`` tell of files of the last run that somebody had edited; ``left_out`` are the parts
    whose solid could not be made, each with why. ``alone`` tells why one process made everything
    where two were to; empty where they did, or one was to.
    """

    folder: Path
    files: Mapping[str, tuple[str, ...]]
    kept: tuple[str, ...] = ()
    dropped: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    left_out: Mapping[str, str] = field(default_factory=dict)
    alone: str = ""


def make(
    design: Design,
    target: Path,
    *,
    only: Sequence[str] = (),
    whole: bool = False,
    jobs: int | None = None,
    second: OtherProcess | None = None,
    copied: bool = False,
    progress: Callable[[str], None] = lambda name: None,
) -> Made:
    """Write the products of ``design`` into ``target``, whole or not at all.

    With ``only``, products of the last run stay if they were made from the same inputs; those
    of other inputs are removed, so that a folder never holds two cages. A part whose solid cannot
    be made is left out of the solids and named; everything else is made.

    Args:
        design: the build and its cage.
        target: the output folder.
        only: names of products; all if empty.
        whole: make nothing when a part has to be left out.
        jobs: 2 for products made by two processes side by side, 1 for one after the other; when
            left out, 2 for all products on a machine with more than one core. The files are the
            same.
        second: the second process, where it was started ahead; else it is started here.
        copied: the second process is a copy of this one, in which no other thread is at work.
        progress: told the name of each product before it is made; with two processes by either of
            two threads.

    Raises:
        InputError: ``only`` names no product.
        OutputError: the folder cannot be written.
        GeometryError: a product cannot be made.
        KernelError: files are not what they should be, or ``whole`` and a part has no solid.
    """
    products = chosen(only)
    jobs = processes(products, only, jobs)
    inputs = _inputs(design.files)
    options: dict[str, Any] = {"units": design.units, **dict(sorted(design.options.items()))}
    remarks: list[str] = []
    with swapped_in(target, remarks.append) as fresh, ExitStack() as running:
        files, left_out, alone = _written(
            products, design, fresh, progress, running, jobs, second, copied
        )
        if whole and left_out:
            raise KernelError(*left_out.values())
        last = read_manifest(target)
        kept, dropped = (
            _keep(last, target, fresh, set(files), inputs, options) if only else ({}, ())
        )
        content = manifest(
            fresh,
            build=design.name,
            inputs=inputs,
            products={**files, **kept},
            options=options,
            left_out={**(last.get("left_out", {}) if kept else {}), **left_out},
        )
        write_manifest(fresh, content)
    return Made(
        folder=target,
        files=files,
        kept=tuple(sorted(kept)),
        dropped=dropped,
        remarks=tuple(remarks),
        left_out=left_out,
        alone=alone,
    )


def _written(
    products: Sequence[Product],
    design: Design,
    folder: Path,
    progress: Callable[[str], None],
    running: ExitStack,
    jobs: int,
    started: OtherProcess | None,
    copied: bool,
) -> tuple[dict[str, tuple[str, ...]], dict[str, str], str]:
    """Write products, by ``jobs`` processes; return files, parts left out, why alone."""
    waiting, files = deque(products), dict[str, tuple[str, ...]]()
    checks: list[Check] = []

    def write() -> None:
        while (product := take(waiting.popleft)) is not None:
            progress(product.name)
            files[product.name], check = product.write(design, folder)
            if check is not None:
                checks.append(check)
                running.callback(check.close)

    sent: bytes | Design | None = None
    alone = ""
    if jobs > 1:
        try:
            if copied and len(products) == len(PRODUCTS):
                work_out_for_both(design)
            sent = design if copied else packed(design)
        except StaysHereError as exc:
            alone = str(exc)
    if sent is not None:
        second = running.enter_context(Second(sent, folder, waiting, progress, started))
        write()
        files |= second.files()
    write()  # all of it, or what the second process could not make
    left_out: dict[str, str] = {}
    for check in checks:
        left_out |= check.result().left_out
    return {p.name: files[p.name] for p in products}, left_out, alone


def _inputs(files: Mapping[str, Path]) -> dict[str, Path]:
    """Input files by a name that is the same on every machine, each its own."""
    named: dict[str, Path] = {}
    for what, path in files.items():
        name = label(path)
        if named.get(name, path) != path:
            name = f"{name} ({what})"
        named[name] = path
    return named


def _keep(
    last: Mapping[str, Any],
    target: Path,
    fresh: Path,
    made: set[str],
    inputs: Mapping[str, Path],
    options: Mapping[str, Any],
) -> tuple[dict[str, tuple[str, ...]], tuple[str, ...]]:
    """Bring along what the last run made of the same inputs; return it and what is left out."""
    rows = [r for r in last.get("files", []) if r.get("product") not in made]
    if not rows:
        return {}, ()
    now = [{"path": name, "sha256": sha256(inputs[name])} for name in sorted(inputs)]
    same = (last.get("inputs"), last.get("options"), last.get("versions")) == (
        now,
        dict(options),
        versions(),
    )
    if not same:
        return {}, tuple(sorted({str(r.get("product")) for r in rows}))
    kept: dict[str, list[str]] = {}
    for row in rows:
        source, place = target / row["path"], fresh / row["path"]
        if source.is_file() and not place.exists() and sha256(source) == row["sha256"]:
            place.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(source, place)
            kept.setdefault(row["product"], []).append(row["path"])
    return {name: tuple(files) for name, files in kept.items()}, ()
