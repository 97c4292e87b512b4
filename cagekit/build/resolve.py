"""Load a build file and everything that it refers to."""

from __future__ import annotations

from pathlib import Path as FilePath

from cagekit.build.build import Build, BuildFile, entries_of
from cagekit.build.car import Car
from cagekit.build.driver import Driver
from cagekit.build.layout import Layout
from cagekit.build.presets import find_preset, load_file
from cagekit.build.tooling import Tooling
from cagekit.build.tube import TubeFile
from cagekit.materials.tubes import Tube


def load_build(reference: str) -> Build:
    """Load the build ``reference`` (preset name or path) and all its presets.

    Raises:
        InputError: a file is missing or wrong; says file, line, field, and what would do.
    """
    path = find_preset("build", reference)
    return resolve(load_file("build", path, BuildFile), path)


def resolve(file: BuildFile, path: FilePath) -> Build:
    """Load everything that a build file refers to; ``path`` is the file's own place."""
    files: dict[str, FilePath] = {"build": path}

    def found(kind: str, reference: str) -> FilePath:
        """Find a preset; a path in the build file is seen from where that file lies."""
        files[f"{kind} {reference}"] = find_preset(kind, reference, beside=path.parent)
        return files[f"{kind} {reference}"]

    car = load_file("car", found("car", file.car), Car)
    layout = load_file("layout", found("layout", file.layout), Layout)
    tooling = load_file("tooling", found("tooling", file.tooling), Tooling)
    drivers = tuple(load_file("driver", found("driver", d), Driver) for d in file.drivers)
    for profile in file.rules:
        found("rules", profile)
    entries = entries_of(file, layout, str(path))
    references = dict.fromkeys(
        [file.tube, *file.tubes.values(), *(e.tube for e in entries if e.tube)]
    )
    tubes: dict[str, Tube] = {}
    for reference in references:
        tubes[reference] = load_file("tube", found("tube", reference), TubeFile).tube()
    return Build(
        name=file.name,
        file=file,
        car=car,
        drivers=drivers,
        tooling=tooling,
        layout=layout,
        tubes=tubes,
        entries=entries,
        files=files,
    )
