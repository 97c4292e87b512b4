"""Flat and folded plates: what they look like flat, folded, and where they sit on the car."""
