"""What a round tube bears: yield beside and away from welds, plastic section, buckling.

Partial factors are 1: the numbers are shares of the characteristic strength.
"""

from __future__ import annotations

from functools import cache
from math import inf, pi, sqrt

import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike

from cagekit.data import rows
from cagekit.errors import InputError
from cagekit.geometry.centre_line import Vec
from cagekit.materials.source import Certainty, certainty
from cagekit.materials.steels import steel
from cagekit.materials.tubes import Tube
from cagekit.units import KSI
from cagekit.units.tolerance import LEAST_FLOAT

AROUND = 48
"""Points round the tube where stress is looked at."""
HOT, COLD = 0.21, 0.49
"""Imperfection of hot finished (curve a) and cold formed (curve c) tube.
Source: EN 1993-1-1, Tables 6.1 and 6.2."""


class Yield(Struct, frozen=True, kw_only=True):
    """Yield strength of a tube's steel away from welds and beside them, MPa, and where it is from.

    ``certainty`` is that of the less sure of the two.
    """

    fy: float
    beside_weld: float
    source: str
    certainty: Certainty
    note: str


@cache
def yield_of(material: str) -> Yield:
    """Yield strengths of a steel.

    Raises:
        InputError: the standard of the steel gives no yield strength.
    """
    metal = steel(material)
    soft = next((r for r in rows("weld_softening") if r["steel"] == material), None)
    if soft is None and metal.fy is None:
        raise InputError(
            "steel", "fy", material,
            problem="its standard gives no yield strength.",
            hint="Name the tube's steel in a condition that has one.",
        )  # fmt: skip
    if soft is None:
        assert metal.fy is not None
        return Yield(
            fy=metal.fy, beside_weld=metal.fy, source=metal.source, certainty=metal.certainty,
            note="not hardened by drawing or heat: taken to keep its strength beside the weld",
        )  # fmt: skip
    low = float(soft["fy_beside_weld"]) * (KSI if soft["unit"] == "ksi" else 1.0)
    return Yield(
        fy=metal.fy or low,
        beside_weld=min(low, metal.fy or low),
        source=f"{metal.source}; beside the weld {soft['source']}",
        certainty=certainty(soft["certainty"]),
        note=soft["note"],
    )


class Capacity(Struct, frozen=True, kw_only=True):
    """Plastic capacities of a tube, N and N mm: normal force, bending, torsion, shear.

    Source: thin ring; EN 1993-1-1, 6.2.6 (3) for the shear area 2 A / pi.
    """

    normal: float
    bending: float
    torsion: float
    shear: float


def capacity(tube: Tube, fy: float) -> Capacity:
    """Plastic capacities of a tube of yield strength ``fy`` MPa."""
    shear = fy / sqrt(3)
    full_torsion = 2 * pi / 3 * (tube.outer_radius**3 - tube.inner_radius**3)
    return Capacity(
        normal=tube.area * fy,
        bending=tube.plastic_modulus * fy,
        torsion=full_torsion * shear,
        shear=2 * tube.area / pi * shear,
    )


def gauge(n: ArrayLike, m: ArrayLike) -> Vec:
    """How far normal force and bending are towards the full plastic section, 1 on it.

    Args:
        n: normal force over its capacity, any sign.
        m: bending moment over its capacity, not negative.

    Source: fully plastic thin ring, m = cos(pi n / 2); exact for a thin wall, safe for a thick one.
    """
    n, m = np.broadcast_arrays(np.abs(np.asarray(n, float)), np.asarray(m, float))
    # between the straight line and the box of both; the surface is met by halving
    low, high = np.maximum(n, m), n + m
    for _ in range(50):
        mid = np.maximum((low + high) / 2, LEAST_FLOAT)
        beyond = m / mid > np.cos(pi / 2 * np.minimum(n / mid, 1.0))
        low, high = np.where(beyond, mid, low), np.where(beyond, high, mid)
    return np.asarray(high)


def von_mises(tube: Tube, forces: Vec) -> Vec:
    """Largest equivalent stress on the outside of a tube, MPa.

    Args:
        tube: the tube.
        forces: ``(..., 6)`` normal force, two shears, torsion, two bending moments.

    Source: beam theory; shear of a thin ring, VQ / (2 t I).
    """
    n, vy, vz, t, my, mz = np.moveaxis(np.asarray(forces, float)[..., None], -2, 0)
    phi = 2 * pi * np.arange(AROUND) / AROUND
    c, s = np.cos(phi), np.sin(phi)
    direct = n / tube.area + (my * s - mz * c) / tube.section_modulus
    first = 2 / 3 * (tube.outer_radius**3 - tube.inner_radius**3)
    sheared = first / (tube.second_moment * 2 * tube.wall)
    along = np.abs(t) / tube.torsion_modulus + np.abs(vz * c - vy * s) * sheared
    return np.asarray(np.sqrt(direct**2 + 3 * along**2).max(axis=-1))


def section_class(tube: Tube, fy: float) -> int:
    """Class of the section in bending and compression, 1 to 4. Source: EN 1993-1-1, Table 5.2."""
    slender = tube.od / tube.wall * fy / 235
    return next((c for c, limit in ((1, 50.0), (2, 70.0), (3, 90.0)) if slender <= limit), 4)


def imperfection(material: str) -> float:
    """Imperfection factor of the buckling curve: hot finished or normalised a, all else c."""
    return HOT if "hot finished" in steel(material).condition else COLD


def buckling_factor(slenderness: ArrayLike, alpha: float) -> Vec:
    """Share of its yield load at which a strut buckles. Source: EN 1993-1-1, 6.3.1.2."""
    lam = np.asarray(slenderness, float)
    phi = 0.5 * (1 + alpha * (lam - 0.2) + lam**2)
    chi = 1 / (phi + np.sqrt(np.maximum(phi**2 - lam**2, 0.0)))
    return np.asarray(np.where(lam <= 0.2, 1.0, np.minimum(chi, 1.0)))


def euler_stress(length: float, tube: Tube, e: float) -> float:
    """Elastic buckling stress of a pinned strut, MPa. Source: AISC 360-16, E3-4."""
    return inf if length <= 0 else pi**2 * e / (length / tube.radius_of_gyration) ** 2


def strut_utilisation(tube: Tube, fy: float, length: ArrayLike, n: ArrayLike, m: ArrayLike) -> Vec:
    """Use of a tube between two nodes by compression and bending together; 0 in tension.

    Args:
        tube: the tube.
        fy: MPa.
        length: between the nodes, taken as the buckling length, mm.
        n: compression positive, N.
        m: largest bending moment between the nodes, N mm.

    Source: EN 1993-1-1, 6.3.3 with Annex B, Table B.1, moments taken as uniform (Cm = 1).
    """
    e = steel(tube.material).e
    lam = np.asarray(length, float) / tube.radius_of_gyration * sqrt(fy / e) / pi
    chi = buckling_factor(lam, imperfection(tube.material))
    n, m = np.asarray(n, float), np.asarray(m, float)
    share = np.maximum(n, 0.0) / (chi * tube.area * fy)
    k = np.minimum(1 + (lam - 0.2) * share, 1 + 0.8 * share)
    bend = m / (tube.plastic_modulus * fy)
    return np.asarray(np.where(n > 0, share + np.maximum(k, 1.0) * bend, 0.0))
