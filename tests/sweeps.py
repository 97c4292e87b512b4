"""How many cases a seeded sweep tries."""

from __future__ import annotations

import os


def size(everyday: int, whole: int) -> int:
    """Cases of a sweep: those of every run, or the whole sweep with HYPOTHESIS_PROFILE=explore.

    The seeds are the same, so that the everyday cases are the first of the whole.
    """
    return whole if os.environ.get("HYPOTHESIS_PROFILE") == "explore" else everyday
