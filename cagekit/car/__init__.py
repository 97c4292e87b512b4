"""The car: its shell, floor, doors and glass as surfaces, from the car sheet."""
