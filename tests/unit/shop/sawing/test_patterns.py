"""The search for the most valuable pattern of a bar, by what it leaves behind."""

from __future__ import annotations

import gc
import tracemalloc

from cagekit.shop.sawing.patterns import Kinds, best_pattern


def test_a_search_for_patterns_leaves_its_table_to_nobody() -> None:
    """Tables of a hundred rounds are hundreds of MB, if they wait for the collector."""
    kinds = Kinds((1_234_567, 987_654, 456_789), (4, 4, 4))
    gc.collect()
    gc.disable()
    tracemalloc.start()
    try:
        for _ in range(20):
            best_pattern(kinds, 6_000_000, (3.0, 2.0, 1.0))
        left, most = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
        gc.enable()
    assert most > 20 * left
