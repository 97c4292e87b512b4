"""Checks: will it fit, will it pass, can the shop make it. No CAD kernel."""

from cagekit.checks.finding import Certainty, Evidence, Finding, Status, worst_first
from cagekit.checks.registry import run

__all__ = ["Certainty", "Evidence", "Finding", "Status", "run", "worst_first"]
