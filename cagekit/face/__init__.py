"""What a script works with: parts as objects, functions that make them, a design to change."""
