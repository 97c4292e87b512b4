"""Swing-out door bars: the fixed bar divided, its brackets, pins and sleeves, and how it swings."""
