"""How near counts as the same: the tolerances of the whole package, by what they compare.

A number that is held against a limit of a book has its slack in ``checks``; what one search alone
needs stands beside that search, with its reason. Everything else is here, so that two modules
never differ on when two points are one.
"""

from __future__ import annotations

# --- lengths, mm -------------------------------------------------------------------------------

MICRON = 1e-3
"""Finer than anything in a shop is measured or made."""
TENTH_MICRON = 1e-4
"""What a chain of exact steps may lose on its way round: a boundary closes within it."""
EXACT_EDGE = 2e-5
"""How far an edge of a cope, a spline through exact points, may lie off the exact curve; axes and
radii that differ by less are the same to it."""
READ_EDGE = 7e-8
"""How far an edge that is written may lie off the exact curve: readers hold it to 1e-7 mm, and lose
a little more on the way into the planes of its faces."""
READ_CURVE = 5e-8
"""How far a curve that a reader lays along such an edge in a face may leave it there, mm: both
together stay within 1e-7."""
FLAT_POINT = 1e-5
"""Points of a flat pattern nearer than this are one: they went through folds and splits."""
SHARED = 0.02
"""Depth of two walls in each other that the numbers themselves may leave; beyond it they share
steel."""
SAME_POINT = 1e-6
"""Points, stations and edges nearer than this are one."""
KERNEL_POINT = 1e-7
"""What the CAD kernel takes for one point; outlines and records keep to it."""
NO_LENGTH = 1e-9
"""A vector no longer than this has no direction; also the least length to divide by."""
SETTLED = 1e-10
"""A search for a place on a tube has ended when its step is this short."""
LAST_STEP = 1e-11
"""A search along a ray has ended when its step is this short: rounding rules below."""

# --- areas, mm2 --------------------------------------------------------------------------------

NO_AREA = 1e-6
"""An outline round less than this is no plate."""

# --- angles, rad -------------------------------------------------------------------------------

SHOP_ANGLE = 1e-3
"""Finer than anybody in a shop sets or reads: 0.06 degrees."""
SAME_ANGLE = 1e-6
"""Angles nearer than this are one."""
KERNEL_ANGLE = 1e-7
"""Corners round a tube, or a seam, nearer than this are one."""
ANGLE_ROUNDING = 1e-9
"""Angles nearer than this differ by rounding alone."""
LAST_ANGLE = 1e-14
"""A search for an angle has ended when its step is this small: the last digits of a turn."""

# --- directions: of two unit vectors ------------------------------------------------------------

SQUARE = 1e-3
"""Cosine below which two directions stand square on each other."""
ALONG = 1e-4
"""Square of the sine below which one direction is too near another to stand off from it."""
ALIGNED = 1e-6
"""One less the cosine, or the square of the sine, of directions that are taken as the same."""

# --- plain numbers ------------------------------------------------------------------------------

NEAR_END = 1e-3
"""Share of a piece at which to look for what it does at its end."""
VOLUME = 1e-5
"""Relative difference of volumes above which a solid is not the one that was meant."""
NEGLIGIBLE = 1e-6
"""Shares, counts and slopes nearer than this are equal."""
ROUNDING = 1e-9
"""What rounding may leave between numbers of the size of a car, before they are compared or
rounded up."""
INSIDE = 1e-10
"""Share of a stretch by which a sample keeps off its ends."""
NOISE = 1e-12
"""What rounding leaves of a nought, where numbers are of the order of one."""
NEVER_ZERO = 1e-30
"""Least divisor where what is divided is nought as well."""
LEAST_FLOAT = 1e-300
"""The same, where numbers may themselves be as small as they like."""
