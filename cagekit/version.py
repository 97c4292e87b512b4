"""The version of cagekit."""

__version__ = "0.1.0"
