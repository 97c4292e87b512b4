"""Steels, plate and bolts: every row is whole and can be found."""

from __future__ import annotations

import pytest

from cagekit.data import rows
from cagekit.errors import NotFoundError
from cagekit.materials.fasteners import fastener, fasteners
from cagekit.materials.source import certainty
from cagekit.materials.steels import Steel, steel, steels

TABLES = ("tubes", "steels", "plates", "fasteners", "tolerances")


@pytest.mark.parametrize("table", TABLES)
def test_every_row_has_a_source_and_a_certainty(table: str) -> None:
    assert rows(table)
    for row in rows(table):
        assert row["source"].strip(), row
        assert certainty(row["certainty"])
        assert None not in row, "a row has more cells than the header"
        assert all(value is not None for value in row.values()), "a row has too few cells"


def test_a_certainty_is_one_of_the_known_words() -> None:
    with pytest.raises(ValueError, match="from memory, common practice, measured"):
        certainty("sure")


def test_rows_from_memory_say_so_in_words_too() -> None:
    for row in rows("tubes"):
        assert ("from memory" in row["source"]) or row["certainty"] != "from memory"


@pytest.mark.parametrize("one", steels(), ids=lambda one: one.name)
def test_steel_is_steel(one: Steel) -> None:
    assert one.fy is None or 150 < one.fy < one.fu < 1000
    assert 289 < one.fu < 1000
    assert one.e == pytest.approx(205_000, rel=0.03)
    assert one.density == pytest.approx(7.85e-6, rel=0.003)
    assert one.shear_modulus == pytest.approx(80_000, rel=0.07)
    assert steel(one.name) is one


@pytest.mark.parametrize(
    ("name", "fy", "fu"),
    # As the reference prints them in whole MPa beside ksi.
    [
        ("1020-erw", 262, 359),
        ("1015-dom-sr", 345, 414),
        ("1020-dom-sr", 379, 448),
        ("1020-dom", 414, 483),
        ("4130-n", 517, 655),
        ("a36", 248, 400),
        ("a572-50", 345, 448),
        ("e355-n", 355, 490),
        ("s355", 355, 490),
    ],
)
def test_strength_in_mpa(name: str, fy: float, fu: float) -> None:
    assert steel(name).fy == pytest.approx(fy, abs=0.5)
    assert steel(name).fu == pytest.approx(fu, abs=0.5)


def test_condition_without_a_yield_strength_gives_none() -> None:
    assert steel("e235-c").fy is None


def test_unknown_names_tell_the_closest() -> None:
    with pytest.raises(NotFoundError, match="Did you mean '1020-dom'"):
        steel("1020dom")
    with pytest.raises(NotFoundError, match="Did you mean 'M10'"):
        fastener("M100", "8.8")
    with pytest.raises(NotFoundError, match=r"Known: 10\.9, 8\.8"):
        fastener("M10", "x")


def test_bolts_are_unique() -> None:
    keys = [(bolt.size, bolt.grade) for bolt in fasteners()]
    assert len(set(keys)) == len(keys)
    for bolt in fasteners():
        assert bolt.diameter < bolt.clearance_hole < bolt.diameter * 1.16
        assert 1.4 * bolt.diameter < bolt.across_flats < 1.75 * bolt.diameter
        assert bolt.proof_stress < bolt.fy < bolt.fu
