"""Files that people write: schemas, presets, messages, and what they resolve to."""
