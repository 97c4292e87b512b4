"""The measuring sheet: what to measure on the car, its pictures and its blank car file."""
