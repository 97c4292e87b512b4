"""What is said where nobody sits."""

from __future__ import annotations

from cagekit.checks.finding import Finding, Status


def nobody(group: str, what: str) -> Finding:
    """The finding of a build that names no driver."""
    return Finding(
        code=f"{group}/driver",
        group=group,
        subject="driver",
        quantity=what,
        status=Status.NEEDS_INPUT,
        text="Not measured: the build names no driver.",
        cure="Name driver sheets in the build file, e.g. drivers = ['tall-driver'].",
    )
