"""Checks: will it fit, will it pass, can the shop make it. No CAD kernel."""

from cagekit.checks.finding import Evidence, Finding, Status, worst_first
from cagekit.checks.registry import run
from cagekit.materials.source import Certainty

__all__ = ["Certainty", "Evidence", "Finding", "Status", "run", "worst_first"]
