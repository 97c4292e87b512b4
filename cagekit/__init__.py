"""cagekit: exact safety cages for race cars from a few measurements."""

__version__ = "0.1.0"
