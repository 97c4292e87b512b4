"""What is measured on a cage, each quantity by its name."""
