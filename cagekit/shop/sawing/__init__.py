"""Sticks, cutting plans and the templates of the tube ends."""
