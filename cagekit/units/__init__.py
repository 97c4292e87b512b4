"""Lengths as people write and read them."""
