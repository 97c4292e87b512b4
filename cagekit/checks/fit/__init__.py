"""Fit: does the cage leave room for the people, the car and the view?

Three check groups: ``fit`` (people), ``car`` (shell and keep-outs), ``sight`` (what the driver
sees). Limits and their sources are data: ``cagekit/data/fit_limits.toml``.
"""

from __future__ import annotations

from cagekit.checks.fit.people import findings

__all__ = ["findings"]
