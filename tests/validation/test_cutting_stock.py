"""Cutting plans reach the published or proved optima of known instances.

Sources, per row of ``tests/data/cutting_stock.csv`` and ``tests/data/cutting_falkenauer.json``:
an encyclopedia example of the cutting-stock problem (optimum 73 proved there), Winston,
"Operations Research", the cutting-stock example's data, Falkenauer, "A hybrid grouping genetic
algorithm for bin packing", Journal of Heuristics 2 (1996), through the ESICUP data sets (CC0),
and three instances built so that the bars fill without a remnant (kerf included).
"""

from __future__ import annotations

import csv
import json
import re
from fractions import Fraction
from pathlib import Path

import pytest

from cagekit.shop.sawing.plan import plan_cuts
from cagekit.shop.sawing.stock import Bar, Blank

DATA = Path(__file__).parents[1] / "data"


def instances():
    for row in csv.DictReader(
        (DATA / "cutting_stock.csv").read_text(encoding="utf-8").splitlines()
    ):
        if found := re.match(r"stock ([\d.]+)( in)?(?:, kerf ([\d/]+))?; (.*)", row["data"]):
            scale = 25.4 if found[2] else 1.0
            sizes = []
            for word in found[4].split():
                size, _, n = word.partition("x")
                sizes += [float(size) * scale] * int(n or 1)
            kerf = float(Fraction(found[3])) * scale if found[3] else 0.0
            yield row["instance"], float(found[1]) * scale, kerf, sizes, int(row["optimum"])


def check(stock, kerf, sizes, optimum, time_limit=60.0):
    pieces = [Blank(name=f"p{i:03d}", length=s) for i, s in enumerate(sizes)]
    plan = plan_cuts(
        pieces, [Bar(name="bar", length=stock, cost=1.0)], kerf=kerf, time_limit=time_limit
    )
    assert len(plan.bars) == optimum
    assert plan.proved
    assert plan.bound == optimum
    assert sorted(p.name for b in plan.bars for p in b.pieces) == [p.name for p in pieces]
    for b in plan.bars:
        assert b.used + kerf * (len(b.pieces) - 1) <= stock + 1e-6


@pytest.mark.parametrize(
    ("stock", "kerf", "sizes", "optimum"),
    [pytest.param(*rest, id=name) for name, *rest in instances()],
)
def test_published_instances(stock, kerf, sizes, optimum):
    check(stock, kerf, sizes, optimum)


def falkenauer(name):
    data = json.loads((DATA / "cutting_falkenauer.json").read_text(encoding="utf-8"))[name]
    return data["capacity"], 0.0, data["items"], data["optimum"]


@pytest.mark.parametrize("name", ["t60_00", "u250_00"])
def test_falkenauer(name):
    check(*falkenauer(name))


@pytest.mark.slow
@pytest.mark.study
@pytest.mark.parametrize("name", ["t60_01", "t120_00", "u250_01"])
def test_falkenauer_harder(name):
    check(*falkenauer(name), time_limit=600.0)
