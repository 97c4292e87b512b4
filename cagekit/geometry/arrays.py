"""Arrays by what they hold; numpy checks no shape, so the name tells it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
"""Numbers of any shape."""
Vec = NDArray[np.float64]
"""One point or direction, ``(3,)``."""
Points = NDArray[np.float64]
"""Points or directions in rows, ``(n, 3)``."""
Ints = NDArray[np.intp]
Bools = NDArray[np.bool_]
