"""Methods for CadQuery, added when this is imported."""
