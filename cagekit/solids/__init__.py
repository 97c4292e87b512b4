"""Exact solids: the B-rep of tubes and plates, and the only door to the CAD kernel.

A coped tube's boundary is known from its path and its cuts, so it is written down
(:mod:`cagekit.solids.tube`) rather than found by booleans; the kernel is asked only for what
that way refuses, and to check what was written.
"""

from __future__ import annotations
