"""Will it hold: the frame, its loads, its collapse, its joints; screening, never approval."""
