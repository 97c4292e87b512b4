"""cagekit: exact safety cages for race cars from a few measurements."""

from cagekit.version import __version__

__all__ = ["__version__"]
