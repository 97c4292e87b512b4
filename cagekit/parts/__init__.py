"""One part alone, from a few dimensions."""
