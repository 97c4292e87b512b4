"""Where the torch reaches, and the weld map."""
