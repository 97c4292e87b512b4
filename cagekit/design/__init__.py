"""One build and what is worked out from it, each once."""
