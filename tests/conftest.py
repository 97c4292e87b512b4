"""Settings that hold for every test."""

from __future__ import annotations

import gc
import os
from collections.abc import Callable
from functools import partial
from pathlib import Path

import demos
import pytest
from hypothesis import HealthCheck, settings

# The same examples on every run: a red test must be red for everyone. "explore" draws new ones.
settings.register_profile(
    "repeatable",
    derandomize=True,
    deadline=None,
    max_examples=50,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.register_profile("explore", deadline=None, max_examples=2000, print_blob=True)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "repeatable"))


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Keep the tests of a file in one process, where they share what they work out.

    What is slow by itself goes to whoever is free.
    """
    for item in items:
        if not (item.get_closest_marker("xdist_group") or item.get_closest_marker("slow")):
            item.add_marker(pytest.mark.xdist_group(item.nodeid.partition("::")[0]))


def pytest_collection_finish() -> None:
    """Look for garbage seldom: nearly all that tests make is kept for the tests after them.

    Otherwise a tenth of the time goes into looking through the same designs again and again.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(100_000, 50, 100)


@pytest.fixture(scope="session")
def made(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """Give the folder that ``make`` made of a demo, by its name; nobody may write there."""
    base = tmp_path_factory.getbasetemp()
    # Processes that run side by side have a folder each below the one of the whole run.
    shared = base.parent if "PYTEST_XDIST_WORKER" in os.environ else base
    return partial(demos.made, shared=shared)
