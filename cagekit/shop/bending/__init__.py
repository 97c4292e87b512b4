"""Bend schedules: what to mark, what to set on the bender, in which order."""
