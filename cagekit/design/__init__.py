"""One build and what is worked out from it, each once."""

from cagekit.design.design import Design

__all__ = ["Design"]
