"""Shop papers as data: bends, cuts, materials; the writers turn them into files."""
