"""Settings that hold for every test."""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

# The same examples on every run: a red test must be red for everyone. "explore" draws new ones.
settings.register_profile(
    "repeatable", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.register_profile("explore", deadline=None, max_examples=2000, print_blob=True)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "repeatable"))
