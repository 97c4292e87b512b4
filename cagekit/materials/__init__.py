"""What the cage is made of: tubes, plate, steels and bolts, with a source on every number."""
