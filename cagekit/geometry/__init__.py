"""Pure geometry in numpy: paths, frames, copes, clearance. Knows nothing of cars or rules."""
